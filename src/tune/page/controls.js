// The controls of the chosen slot or of the whole scene, in groups: first what is used most, the rest folded.
import { by } from "./by.js";
import { Field } from "./field.js";
import { atRest, isDragged } from "./soon.js";
import { helpOf, nameOf, neighbours, ownSheet, sheetOf } from "./words.js";

/** What is used most, in this order. */
const MOST = ["grade.thickness", "falloff.height", "soften.sigma", "smear.length", "bands.size", "bands.shape", "slot.haze"];
const MOST_OF_SCENE = ["air.visibility", "air.haze", "air.light", ...MOST.slice(0, -1)];
/** Groups of a slot's own keys; a key that no group names is in the first. */
const OF_SLOT = [
  ["Place, seed and preset", null],
  ["Picture", ["art", "x", "y", "width", "visible", "repeat", "flip", "cast", "exposure", "keep", "tint", "fade", "fade_from", "fade_over", "fade_curve"]],
  ["Strokes", ["strokes", "strokes_x", "strokes_y", "strokes_width", "strokes_weight", "strokes_only"]],
  ["Own sheet", ["sheet", "sheet_x", "sheet_y", "sheet_width"]],
  ["Lines and period", ["line", "shrink", "period", "haze_share", "clear"]],
];
const STEP_WORDS = { bands: "layered noise", falloff: "shape over height", smear: "directional blur", soften: "Gaussian blur", grade: "colour and opacity" };
/** The scene's key that a slot's own stands for, where they aren't called alike. */
const OF_SLOTS = { "slot.haze": "air.haze", "slot.anchor": "air.anchor", "slot.separation": "rim.separation", "slot.seed": "seed", "slot.preset": "preset" };

let fields = [];
let shown = null;
let presets = [];
const opened = new Map();

export function setUpControls(page, hello) {
  presets = hello.presets;
  page.steps = hello.steps;
  shown = null;
  if (page.state) showControls(page);
}

function hint(key) {
  by("hint").textContent = `${nameOf(key)}: ${helpOf(key)}`;
}

/** The scene's measures, for the ranges of sliders. */
function sceneOf(page) {
  const depths = page.state.slots.map((slot) => slot.values["slot.depth"]?.[0] ?? 0);
  const [near, far] = [Math.min(...depths), Math.max(...depths)];
  const camera = page.section?.camera ?? page.state.view[0] / 2;
  return { view: page.state.view, camera, far: Math.max(far, camera), deep: Math.max(far - near, camera / 4) };
}

function groups(page) {
  const most = new Set(page.subject ? MOST : MOST_OF_SCENE);
  const rest = page.keys.filter((key) => !most.has(key.path));
  const table = (name) => rest.filter((key) => key.table === name);
  const steps = page.steps.map((step, at) => ({ title: `${at + 1} ${step}`, note: STEP_WORDS[step], keys: table(step) }));
  if (page.subject) {
    const slots = table("slot");
    const named = new Set(OF_SLOT.flatMap(([, names]) => names ?? []));
    const groups = OF_SLOT.map(([title, names]) => ({ title, keys: slots.filter((key) => (names ? names.includes(key.name) : !named.has(key.name))) }));
    const [place, ...others] = groups;
    const own = ownSheet(page, page.subject);
    return [place, ...steps.map((group) => ({ ...group, note: own ? "no effect: its sheet is a picture" : `${group.note}, ${sheetOf(page, page.subject)}` })), ...others];
  }
  return [
    { title: "Air", note: "colours, anchor, drift", keys: table("air") },
    { title: "Light on the pictures", keys: table("light") },
    { title: "Rims", note: "fog gathered behind silhouettes", keys: table("rim") },
    ...steps.map((group) => ({ ...group, note: `${group.note}, for all slots` })),
    { title: "Scene", note: "view, travel, lines", keys: table("scene") },
    { title: "Check limits", keys: table("check") },
    { title: "Textures", keys: table("texture") },
  ];
}

function element(name, className, text = "") {
  return Object.assign(document.createElement(name), { className, textContent: text });
}

function field(page, key, slot, beside = false) {
  const made = new Field(key, slot, { presets, hint, beside, scene: () => sceneOf(page) });
  fields.push(made);
  return made.root;
}

const keysOf = (page, paths) => paths.map((path) => page.keys.find((key) => key.path === path)).filter(Boolean);

/** The sheet in front of the chosen slot and the one behind it, side by side. */
function sheets(page) {
  const { nearer } = neighbours(page, page.subject);
  const sides = [["in front", nearer], ["behind", page.subject]].map(([word, slot]) => {
    const side = element("div", "side");
    const title = element("h3", "", slot ? sheetOf(page, slot) : "nothing in front");
    title.prepend(element("span", "note", `${word}: `));
    side.append(title);
    const own = slot && ownSheet(page, slot);
    if (own) side.append(element("p", "inert", `Its sheet is the picture ${own}: these have no effect.`));
    if (slot) side.append(...keysOf(page, MOST).map((key) => field(page, key, slot, true)));
    return side;
  });
  const both = element("div", "sides");
  both.append(...sides);
  return both;
}

function folded(page, kind, group) {
  const details = document.createElement("details");
  const name = `${kind}/${group.title}`;
  details.open = opened.get(name) ?? Boolean(group.open);
  details.addEventListener("toggle", () => opened.set(name, details.open));
  const summary = element("summary", "", group.title);
  if (group.note) summary.append(element("span", "note", ` ${group.note}`));
  details.append(summary, ...(group.inside ?? group.keys.map((key) => field(page, key, page.subject || null))));
  return details;
}

function build(page) {
  fields = [];
  const kind = page.subject ? "slot" : "air";
  const first = page.subject
    ? { title: "Fog", note: "in front of it and behind it", inside: [sheets(page)], open: true }
    : { title: "Fog", note: "of the whole scene", keys: keysOf(page, MOST_OF_SCENE), open: true };
  by("controls").replaceChildren(...[first, ...groups(page)].map((group) => folded(page, kind, group)));
}

/** Shows the values of what is chosen. A refused value stays in its field until the value in force is another. */
export function showControls(page) {
  if (!page.state || page.keys.length === 0) return;
  // Sheets are called after their neighbours.
  const subject = page.subject ? JSON.stringify([page.subject, neighbours(page, page.subject), ...page.state.slots.map(({ name }) => ownSheet(page, name))]) : "";
  if (shown !== subject) {
    // A slot that is dragged past another has other neighbours.
    if (shown !== null && isDragged()) return atRest("controls", () => showControls(page));
    shown = subject;
    build(page);
  }
  for (const field of fields) {
    const values = field.slot ? page.slots.get(field.slot).values : page.state.scene;
    const entry = values[field.key.path];
    if (!page.subject) field.tellOwners(...owners(page, field.key.path));
    const looks = JSON.stringify(entry ?? null);
    if (field.last === looks) continue;
    field.last = looks;
    field.show(entry, page.state.scene["air.haze"]?.[0]);
  }
}

/** Slots with a value of their own for a key of the scene, and the path that it has there. */
function owners(page, path) {
  const own = Object.keys(OF_SLOTS).find((slots) => OF_SLOTS[slots] === path) ?? path;
  return [page.state.slots.filter((slot) => slot.values[own]?.[2]).map((slot) => slot.name), own];
}

/** Marks the field that sent a refused value. */
export function refused({ stamp, key }, message) {
  const field = fields.find((field) => field.key.path === key && field.sent === stamp);
  field?.refuse(message);
}

/** The key that mends a finding: the first that its remedy names. */
export function mending(page, { slot, remedy }) {
  for (const [, word] of remedy.matchAll(/`([^`]+)`/g)) {
    const name = word.split(".").at(-1);
    const paths = [...(slot ? [`slot.${name}`] : []), word, `air.${name}`];
    const key = paths.map((path) => page.keys.find((key) => key.path === path)).find(Boolean) ?? page.keys.find((key) => key.name === name);
    if (key) return key;
  }
  return null;
}

/** Opens the group of a key's field and puts the focus there. */
export function lead(page, key) {
  const field = fields.find((field) => field.key.path === key.path && field.slot === (page.subject || null));
  if (!field) return;
  field.root.closest("details").open = true;
  const first = field.root.querySelector("input:not([hidden]), select");
  first?.focus();
  field.root.scrollIntoView({ block: "center" });
}

// The controls of the chosen slot or of the whole scene, in groups, with the five steps in their order.
import { Field } from "./field.js";

const by = (id) => document.getElementById(id);

/** Groups of a slot's own keys; a key that no group names is in the first. */
const OF_SLOT = [
  ["Place and fog", null, true],
  ["Picture", ["art", "x", "y", "width", "visible", "repeat", "flip", "cast", "exposure", "keep", "tint", "fade", "fade_from", "fade_over", "fade_curve"], false],
  ["Lines and period", ["line", "shrink", "period", "haze_share", "clear"], false],
];
const STEP_WORDS = { bands: "layered noise", falloff: "shape over height", smear: "directional blur", soften: "Gaussian blur", grade: "colour and opacity" };

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
  const { description } = key.schema;
  by("hint").textContent = `${key.name.replaceAll("_", " ")}: ${description ?? key.about}`;
}

function groups(page) {
  const keys = page.keys;
  const table = (name) => keys.filter((key) => key.table === name);
  const steps = page.steps.map((step, at) => ({ title: `${at + 1} ${step}`, note: STEP_WORDS[step], keys: table(step), open: at < 2 }));
  if (page.subject) {
    const own = table("slot");
    const named = new Set(OF_SLOT.flatMap(([, names]) => names ?? []));
    const [first, ...others] = OF_SLOT.map(([title, names, open]) => ({ title, open, keys: own.filter((key) => (names ? names.includes(key.name) : !named.has(key.name))) }));
    return [first, ...steps, ...others];
  }
  return [
    { title: "Air", keys: table("air"), open: true },
    { title: "Light on the pictures", keys: table("light"), open: false },
    { title: "Rims", note: "fog gathered behind silhouettes", keys: table("rim"), open: false },
    ...steps.map((group) => ({ ...group, note: `${group.note}, for all slots`, open: false })),
    { title: "Scene", note: "view, travel, lines", keys: table("scene"), open: false },
    { title: "Check limits", keys: table("check"), open: false },
    { title: "Textures", keys: table("texture"), open: false },
  ];
}

function build(page) {
  fields = [];
  const kind = page.subject ? "slot" : "air";
  const made = groups(page).map((group) => {
    const details = document.createElement("details");
    const name = `${kind}/${group.title}`;
    details.open = opened.get(name) ?? group.open;
    details.addEventListener("toggle", () => opened.set(name, details.open));
    const summary = document.createElement("summary");
    summary.append(group.title);
    if (group.note) {
      const note = document.createElement("span");
      note.className = "note";
      note.textContent = ` ${group.note}`;
      summary.append(note);
    }
    details.append(summary);
    for (const key of group.keys) {
      const field = new Field(key, page.subject || null, presets, hint);
      fields.push(field);
      details.append(field.root);
    }
    return details;
  });
  by("controls").replaceChildren(...made);
}

/** Shows the values of what is chosen. A refused value stays in its field until the value in force is another. */
export function showControls(page) {
  if (!page.state || page.keys.length === 0) return;
  if (shown !== page.subject) {
    shown = page.subject;
    build(page);
  }
  const values = page.subject ? page.slots.get(page.subject).values : page.state.scene;
  for (const field of fields) {
    const entry = values[field.key.path];
    const looks = JSON.stringify(entry ?? null);
    if (field.last === looks) continue;
    field.last = looks;
    field.show(entry, page.state.scene["air.haze"]?.[0]);
  }
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
export function lead(key) {
  const field = fields.find((field) => field.key.path === key.path);
  if (!field) return;
  field.root.closest("details").open = true;
  const first = field.root.querySelector("input:not([hidden]), select");
  first?.focus();
  field.root.scrollIntoView({ block: "center" });
}

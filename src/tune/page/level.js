// The slots of the scene: added, renamed, hidden and removed. A picture that is dropped on the page becomes one.
import { by } from "./by.js";
import { send, gestureEnds } from "./wire.js";
import { placeOf, view } from "./view.js";
import { neighbours } from "./words.js";
import { addLamp } from "./lamps.js";

let page = null;
let calls = { choose: () => {}, say: () => {} };
/** A slot that is to be chosen once it is there. */
let expected = null;

const act = (message, event) => { gestureEnds(); return send(message, event); };
const valueOf = (name, path) => page.slots.get(name)?.values[path]?.[0];

/** Half the way from the chosen slot, or else the nearest one, to what stands before it. */
function depthOfNew() {
  const camera = page.section?.camera ?? page.state.view[0] / 2;
  const names = [...page.slots.keys()];
  const from = page.subject || names.reduce((one, other) => (valueOf(other, "slot.depth") < valueOf(one, "slot.depth") ? other : one), names[0]);
  const depth = valueOf(from, "slot.depth") ?? 0;
  const { nearer } = neighbours(page, from);
  const next = nearer === null ? depth - (camera + depth) * 0.2 : valueOf(nearer, "slot.depth");
  return Number(((depth + next) / 2).toPrecision(4));
}

/** The picture's left edge, so that its middle is where it was dropped. */
async function leftOf(file, depth, px) {
  const camera = page.section?.camera ?? page.state.view[0] / 2;
  const image = await createImageBitmap(file).catch(() => null);
  if (!image || px === null) return "";
  const left = px - image.width / 2 + (view.camera[0] * camera) / (camera + depth);
  image.close();
  return `&x=${Math.round(left)}`;
}

async function upload(file, px) {
  const depth = depthOfNew();
  try {
    const left = await leftOf(file, depth, px);
    const answer = await fetch(`picture?name=${encodeURIComponent(file.name)}&depth=${depth}${left}`, { method: "POST", body: file });
    const found = await answer.json();
    if (found.slot) return choose(found.slot);
    const [first] = found.faults.list;
    calls.say(`${first.message}. ${first.remedy ?? ""}`, true);
  } catch {
    calls.say(`${file.name} couldn't be copied.`, true);
  }
}

function choose(name) {
  expected = name;
  expect();
}

/** Chooses what was waited for. */
function expect() {
  if (!expected || !page.slots.has(expected)) return;
  const name = expected;
  expected = null;
  calls.choose(name);
}

/** Shows what can be done with the chosen slot. */
export function showLevel() {
  expect();
  const { subject } = page;
  by("level").hidden = !subject;
  by("adding").hidden = Boolean(subject);
  if (!subject) return;
  if (document.activeElement !== by("slot-name")) by("slot-name").value = subject;
  const hidden = valueOf(subject, "slot.fog") === false && valueOf(subject, "slot.visible") === false;
  by("hide").setAttribute("aria-pressed", String(hidden));
}

function setUpDrop() {
  const stage = by("stage");
  stage.addEventListener("dragover", (event) => {
    if (![...event.dataTransfer.types].includes("Files")) return;
    event.preventDefault();
    event.dataTransfer.dropEffect = "copy";
  });
  stage.addEventListener("drop", (event) => {
    event.preventDefault();
    const px = placeOf(event).px[0];
    for (const file of event.dataTransfer.files) upload(file, px);
  });
}

export function setUpLevel(shared, called) {
  [page, calls] = [shared, called];
  by("slot-name").addEventListener("change", (event) => {
    const name = by("slot-name").value.trim();
    if (!name || name === page.subject) return showLevel();
    expected = name;
    act({ do: "rename", slot: page.subject, name }, event);
  });
  by("hide").addEventListener("click", (event) => act({ do: "hide", slot: page.subject, hidden: by("hide").getAttribute("aria-pressed") !== "true" }, event));
  by("remove").addEventListener("click", (event) => act({ do: "remove", slot: page.subject }, event));
  by("add-lamp").addEventListener("click", (event) => {
    const camera = page.section?.camera ?? page.state.view[0] / 2;
    addLamp(page.subject, camera / (camera + (valueOf(page.subject, "slot.depth") ?? 0)), event);
  });
  by("add").addEventListener("click", (event) => act({ do: "add", name: "air", depth: depthOfNew() }, event));
  by("picture-file").addEventListener("change", () => {
    for (const file of by("picture-file").files) upload(file, page.state.view[0] / 2);
    by("picture-file").value = "";
  });
  setUpDrop();
}

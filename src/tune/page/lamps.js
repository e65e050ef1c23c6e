// Lamps: handles on the picture. One is dragged, or moved by the arrow keys; the chosen one shows its colour and its numbers.
import { by } from "./by.js";
import { send, gesture, gestureEnds } from "./wire.js";
import { onMoves } from "./moves.js";
import { view, whenAsked } from "./view.js";
import { tidy } from "./numbers.js";

/** Fields of the chosen lamp: key, what it is called, least, most. */
const FIELDS = [["strength", "Strength", 0, 1000], ["core", "Radius", 0.5, 1000], ["x", "From the left", -1e7, 1e7], ["y", "From the top", -1e7, 1e7]];
let state = null;
/** The place of the chosen lamp among all. */
let chosen = null;
let held = null;
/** How many lamps there will be once the new one is there. */
let expected = 0;
const handles = [];
const fields = new Map();

const called = (lamp, at) => lamp.name ?? `lamp ${at + 1}`;

function set(at, values, event, held = false) {
  const named = Object.fromEntries(Object.entries(values).map(([key, value]) => [`lamp.${key}`, value]));
  const more = held ? { gesture: gesture(`lamp/${at}/${Object.keys(values)}`) } : {};
  send({ do: "lamp", at, values: named, ...more }, event);
}

/** From a lamp's scene px to shares of the view, and back. */
const place = ({ x, y, rate }) => [x, y].map((at, way) => (at - view.camera[way] * rate) / state.view[way]);

function moveTo(at, x, y, event) {
  const lamp = state.lamps[at];
  const strip = state.view.map((side, way) => side + state.travel[way] * lamp.rate);
  const inside = (value, end) => tidy(Math.min(end, Math.max(0, Math.round(value))));
  [lamp.x, lamp.y] = [inside(x, strip[0]), inside(y, strip[1])];
  put(at);
  showFields();
  set(at, { x: lamp.x, y: lamp.y }, event, true);
}

function put(at) {
  const [left, top] = place(state.lamps[at]);
  const handle = handles[at];
  handle.style.left = `${left * 100}%`;
  handle.style.top = `${top * 100}%`;
  // What isn't in the view can't be reached by Tab either.
  handle.hidden = left < 0 || left > 1 || top < 0 || top > 1;
  handle.style.setProperty("--light", state.lamps[at].colour);
  handle.setAttribute("aria-pressed", String(chosen === at));
  handle.setAttribute("aria-label", `${called(state.lamps[at], at)} in ${state.lamps[at].slot}: ${Math.round(state.lamps[at].x)}, ${Math.round(state.lamps[at].y)} px`);
  handle.title = `${called(state.lamps[at], at)}: drag it, or move it by the arrow keys`;
}

function make(at) {
  const handle = document.createElement("button");
  handle.type = "button";
  handle.className = "lamp";
  handle.addEventListener("pointerdown", (event) => {
    event.stopPropagation();
    if (event.button !== 0) return;
    handle.setPointerCapture(event.pointerId);
    gestureEnds();
    const { x, y } = state.lamps[at];
    held = { at, x, y, from: [event.clientX, event.clientY] };
    choose(at);
  });
  onMoves(handle, (event) => {
    if (held?.at !== at) return;
    const box = by("frame").getBoundingClientRect();
    const [x, y] = [(event.clientX - held.from[0]) / box.width, (event.clientY - held.from[1]) / box.height];
    if (x || y) moveTo(at, held.x + x * state.view[0], held.y + y * state.view[1], event);
  });
  for (const end of ["pointerup", "pointercancel", "lostpointercapture"]) handle.addEventListener(end, () => { if (held) gestureEnds(); held = null; });
  handle.addEventListener("click", () => choose(at));
  handle.addEventListener("keydown", (event) => {
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (event.key === "Delete") return remove(at, event);
    if (!way || event.ctrlKey || event.altKey || event.metaKey) return;
    event.preventDefault();
    event.stopPropagation();
    const [x, y] = way.map((step) => step * (event.shiftKey ? 10 : 1));
    moveTo(at, state.lamps[at].x + x, state.lamps[at].y + y, event);
  });
  by("frame").append(handle);
  return handle;
}

function remove(at, event) {
  gestureEnds();
  choose(null);
  send({ do: "remove-lamp", at }, event);
}

/** Adds a lamp to a slot that moves by `rate`, where the middle of the picture is. */
export function addLamp(slot, rate, event) {
  gestureEnds();
  expected = state.lamps.length + 1;
  const at = [0.5, 0.4].map((share, way) => Math.round(state.view[way] * share + view.camera[way] * rate));
  send({ do: "add-lamp", slot, at }, event);
}

function choose(at) {
  chosen = at;
  state.lamps.forEach((_, at) => put(at));
  showFields();
}

function showFields() {
  const lamp = chosen === null ? null : state.lamps[chosen];
  by("lamp").hidden = !lamp;
  if (!lamp) return;
  by("lamp-name").textContent = `${called(lamp, chosen)} in ${lamp.slot}`;
  for (const [key, input] of fields) {
    if (document.activeElement !== input || input.type === "color") input.value = lamp[key];
  }
}

function field(key, name, type, more) {
  const label = document.createElement("label");
  const input = Object.assign(document.createElement("input"), { type, ...more });
  // A colour is sent while its picker is dragged, a number once it is written.
  input.addEventListener(type === "color" ? "input" : "change", (event) => {
    const value = type === "color" ? input.value : Number(input.value);
    if (input.value !== "" && input.checkValidity()) set(chosen, { [key]: value }, event, type === "color");
    else input.reportValidity();
  });
  input.addEventListener("blur", gestureEnds);
  label.append(name, input);
  fields.set(key, input);
  return label;
}

/** Shows the lamps where the camera is now. */
export function showLamps(now = state) {
  if (!now?.lamps) return;
  // What is held is newer on the page than in the state that arrives.
  const kept = held && state?.lamps[held.at];
  state = now;
  if (kept && state.lamps[held.at]) Object.assign(state.lamps[held.at], { x: kept.x, y: kept.y });
  while (handles.length > state.lamps.length) handles.pop().remove();
  while (handles.length < state.lamps.length) handles.push(make(handles.length));
  if (chosen !== null && chosen >= state.lamps.length) chosen = null;
  if (expected && state.lamps.length === expected) {
    chosen = expected - 1;
    expected = 0;
  }
  state.lamps.forEach((_, at) => put(at));
  showFields();
}

export function setUpLamps() {
  whenAsked(() => showLamps());
  by("lamp-fields").append(field("colour", "Colour", "color", {}), ...FIELDS.map(([key, name, min, max]) => field(key, name, "number", { min, max, step: "any", required: true })));
  by("lamp-remove").addEventListener("click", (event) => { if (chosen !== null) remove(chosen, event); });
  by("lamp-close").addEventListener("click", () => { const at = chosen; choose(null); handles[at]?.focus(); });
}

// The section's handles: made once, kept while their values change, dragged by the pointer.
import { by } from "./by.js";
import { gestureEnds, together, catchUp } from "./wire.js";
import { EDGE, svg } from "./draw.js";
import { byKey } from "./keys.js";
import { onMoves } from "./moves.js";

export const grips = new Map();
/** What is held, and the section's scale then. */
export let held = null;
/** The section's position on the page, while a handle is held. */
let corner = [0, 0];
let calls = { choose: () => {}, released: () => {} };

/** `choose` is called with the slot of a handle that is used, `released` with whether it was moved. */
export function setUpGrips(called) {
  calls = called;
}

function at(event) {
  return [event.clientX - corner[0], event.clientY - corner[1]];
}

function press(made, id, event) {
  if (event.button !== 0) return;
  event.preventDefault();
  made.focus({ preventScroll: true });
  made.setPointerCapture(event.pointerId);
  const box = by("lines").getBoundingClientRect();
  corner = [box.left, box.top];
  const [x, y] = at(event);
  held = { id, sides: made.work.sides, from: made.at ?? made.work.from, x, y };
  gestureEnds();
  if (made.work.slot) calls.choose(made.work.slot);
}

function drag(made, id, event) {
  if (held?.id !== id) return;
  const [x, y] = at(event);
  held.to = [held.from[0] + x - held.x, held.from[1] + y - held.y];
  together("held", () => follow(made));
  made.work.move(...held.to, event);
}

function release(id) {
  if (held?.id !== id) return;
  const moved = held.to;
  catchUp();
  held = null;
  gestureEnds();
  calls.released(Boolean(moved));
}

function make(id) {
  const made = svg("g", { role: "slider", tabindex: 0, "data-grip": id });
  made.addEventListener("pointerdown", (event) => press(made, id, event));
  onMoves(made, (event) => drag(made, id, event));
  for (const end of ["pointerup", "pointercancel", "lostpointercapture"]) made.addEventListener(end, () => release(id));
  made.addEventListener("keydown", (event) => byKey(event, made.work, calls.choose));
  made.addEventListener("focus", () => { if (made.work.slot && !held && made.matches(":focus-visible")) calls.choose(made.work.slot); });
  grips.set(id, made);
  return made;
}

/** A handle. Of its `work`, `move` gets the place in the section, `step` a direction and a stride, `ends` whether it is the last. */
export function grip(id, more, work) {
  const made = grips.get(id) ?? make(id);
  made.work = { ...work, from: more.from };
  for (const [key, value] of Object.entries(more.attributes)) put(made, key, String(value));
  renew(made, more.inside);
  if (held?.id === id && held.to) follow(made);
  else {
    made.at = null;
    if (made.style.transform) made.style.transform = "";
  }
  return made;
}

/** What is held goes with the pointer; the rest of the section comes later. */
function follow(made) {
  if (held?.id !== made.dataset.grip || !held.to) return;
  const { width, top, ground } = held.sides;
  made.at = [Math.min(width - EDGE.right, Math.max(EDGE.left, held.to[0])), Math.min(ground - 4, Math.max(top, held.to[1]))];
  const [x, y] = made.at.map((place, axis) => place - made.work.from[axis]);
  made.style.transform = made.getAttribute("aria-orientation") === "vertical" ? `translate(0, ${y.toFixed(1)}px)` : `translate(${x.toFixed(1)}px, 0)`;
}

/** Setting an attribute to the value it has would still trigger a layout. */
export function put(made, key, value) {
  if (made.getAttribute(key) !== value) made.setAttribute(key, value);
}

/** What the children of an element are, as they were last made. */
const known = new WeakMap();
/** Makes the children like the shapes `fresh` but keeps existing elements: one under the pointer isn't replaced, and an equal one isn't laid
 * out again. */
export function renew(made, fresh) {
  const looks = JSON.stringify(fresh);
  if (known.get(made) === looks) return;
  known.set(made, looks);
  const old = [...made.children];
  if (old.length !== fresh.length || old.some((child, place) => child.tagName !== fresh[place].name)) {
    return made.replaceChildren(...fresh.map(({ name, attributes, text }) => svg(name, attributes, ...(text ? [text] : []))));
  }
  fresh.forEach(({ attributes, text }, place) => {
    for (const [name, value] of Object.entries(attributes)) put(old[place], name, String(value));
    if (old[place].textContent !== text) old[place].textContent = text;
  });
}

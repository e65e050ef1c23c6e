// The hand on the picture: dragging, pinching, the wheel, clicks and keys.
import { by } from "./by.js";
import { onMoves } from "./moves.js";
import { on, send } from "./wire.js";
import { view, look, placeOf } from "./view.js";
import { isZoomed, shift, zoomBy, zoomKey, zoomTo } from "./zoom.js";

/** How far a pointer may move and still click, CSS px. */
const CLICK = 4;
/** What a turn of the wheel that steps the size comes to; chosen by eye. */
const NOTCH = 80;
/** How far apart fingers must have gone to step the size. */
const PINCH = 1.35;

let pan = () => {};
let choose = () => {};
let tool = null;
const pointers = new Map();
let grip = null;
let pinch = 0;

/** Gives the picture to a tool (`down`, `move`, `up` get the event), or back to panning with null. */
export function useTool(made) {
  tool?.end?.();
  tool = made;
  by("stage").classList.toggle("tooled", Boolean(made));
}

function press(event) {
  if (event.button !== 0) return;
  pointers.set(event.pointerId, event);
  by("stage").setPointerCapture(event.pointerId);
  if (tool && pointers.size === 1) return tool.down?.(event);
  if (pointers.size === 2) {
    grip = null;
    pinch = apart();
    return;
  }
  grip = { x: event.clientX, y: event.clientY, moved: false };
  by("stage").classList.add("held");
}

function apart() {
  const [one, other] = [...pointers.values()];
  return Math.hypot(one.clientX - other.clientX, one.clientY - other.clientY);
}

/** Pans the camera by so many CSS px. */
function panBy(rest, event) {
  if (rest[0] || rest[1]) pan(view.camera.map((place, way) => place + rest[way] / look.scale), event);
}

function move(event) {
  if (pointers.has(event.pointerId)) pointers.set(event.pointerId, event);
  if (pointers.size === 2 && pinch) {
    const ratio = apart() / pinch;
    if (ratio < PINCH && ratio > 1 / PINCH) return;
    const [one, other] = [...pointers.values()];
    zoomBy(ratio > 1 ? 1 : -1, { timeStamp: event.timeStamp, clientX: (one.clientX + other.clientX) / 2, clientY: (one.clientY + other.clientY) / 2 });
    pinch = apart();
    return;
  }
  if (tool) return tool.move?.(event);
  if (!grip) return;
  const by = [event.clientX - grip.x, event.clientY - grip.y];
  if (!grip.moved && Math.hypot(...by) < CLICK) return;
  Object.assign(grip, { x: event.clientX, y: event.clientY, moved: true });
  // Where the picture ends, the camera goes on.
  panBy(shift([-by[0], -by[1]], event), event);
}

function release(event) {
  if (!pointers.delete(event.pointerId)) return;
  if (tool && !pinch) tool.up?.(event);
  if (grip && !grip.moved && event.type === "pointerup") pick(event);
  grip = null;
  if (pointers.size < 2) pinch = 0;
  by("stage").classList.remove("held");
}

let last = { at: [-1, -1], slots: "", turn: 0 };
/** Asks what lies there; a click at the same place goes on to the next behind. */
function pick(event) {
  const { share } = placeOf(event);
  if (share.some((one) => one < 0 || one > 1)) return;
  const near = Math.hypot(event.clientX - last.at[0], event.clientY - last.at[1]) <= CLICK;
  const quick = event.timeStamp - last.time < 400;
  // The second click of a double click changes the size alone.
  if (near && quick) return;
  last = { at: [event.clientX, event.clientY], time: event.timeStamp, slots: last.slots, turn: near ? last.turn + 1 : 0 };
  send({ do: "pick", at: share }, event);
}

function picked(slots) {
  if (String(slots) !== last.slots) last.turn = 0;
  last.slots = String(slots);
  if (slots.length) choose(slots[last.turn % slots.length]);
}

let turned = 0;
function wheel(event) {
  event.preventDefault();
  const sideways = event.shiftKey && !event.deltaX ? event.deltaY : event.deltaX;
  if (Math.abs(sideways) > Math.abs(event.shiftKey ? 0 : event.deltaY)) {
    panBy(shift([sideways, 0], event), event);
    return;
  }
  // A pinch on a touch pad comes as small turns with Ctrl.
  turned -= event.deltaY * (event.ctrlKey ? 4 : 1) * (event.deltaMode === 1 ? 30 : 1);
  if (Math.abs(turned) < NOTCH) return;
  zoomBy(Math.sign(turned), event);
  turned = 0;
}

function byKey(event, ways) {
  if (event.ctrlKey || event.altKey || event.metaKey || event.target !== by("stage")) return;
  const way = ways[event.key.toLowerCase()];
  if (way && !event.repeat) way(true, event);
  const [wide, tall] = look.size;
  const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1], PageUp: [-20, 0], PageDown: [20, 0] }[event.key];
  if (step && (step[0] || isZoomed() || look.travel[1] > 0)) {
    // On the stage a step is as large whatever the size of the picture.
    const unit = isZoomed() ? 60 : (wide / 40) * look.scale;
    panBy(shift([step[0] * unit, step[1] * unit], event), event);
  } else if (event.key === "Home" || event.key === "End") pan(event.key === "Home" ? [0, 0] : look.travel, event);
  else if (!way && !zoomKey(event)) return;
  event.preventDefault();
}

/** `panTo` is called with a place of the camera, `chosen` with a slot that is clicked on, `ways` with keys that are held. */
export function setUpStage(panTo, chosen, ways) {
  [pan, choose] = [panTo, chosen];
  const stage = by("stage");
  stage.addEventListener("pointerdown", press);
  onMoves(stage, move);
  for (const end of ["pointerup", "pointercancel", "lostpointercapture"]) stage.addEventListener(end, release);
  stage.addEventListener("dblclick", (event) => { if (!tool) zoomTo(isZoomed() ? 0 : 1, event); });
  stage.addEventListener("wheel", wheel, { passive: false });
  stage.addEventListener("keydown", (event) => byKey(event, ways));
  stage.addEventListener("keyup", (event) => ways[event.key.toLowerCase()]?.(false, event));
  stage.addEventListener("blur", (event) => Object.values(ways).forEach((way) => way(false, event)));
  on("picked", picked);
}

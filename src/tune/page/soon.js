// When the page shows what is new: pictures have priority.
import { awaitsPicture } from "./wire.js";

/** Least time between two updates while something is dragged, ms. */
const HELD = 300;
/** How long a pointer that is held must have stood still before much of the page is laid out anew, ms. */
const STILL = 150;
/** How long that waits for a picture at most, and how often it looks, ms. */
const PATIENCE = 300;
const LOOK = 30;

let pressed = false;
/** When the pointer was last pressed or moved. */
let moved = 0;
const move = () => { moved = performance.now(); };
addEventListener("pointerdown", () => { pressed = true; move(); }, true);
addEventListener("pointermove", move, true);
for (const end of ["pointerup", "pointercancel"]) addEventListener(end, () => { pressed = false; }, true);

/** Whether something is being dragged just now. */
export const isDragged = () => pressed && performance.now() - moved < STILL;

let due = null;
let last = 0;
/** Does `work` with the next frame, and during a drag a few times a second. */
export function soon(work) {
  if (!due) {
    due = new Map();
    const rest = pressed ? HELD - (performance.now() - last) : 0;
    if (rest > 0) setTimeout(() => requestAnimationFrame(showDue), rest);
    else requestAnimationFrame(showDue);
  }
  // A repeated request moves to the end: the section comes after the state that it shows.
  due.delete(work.word);
  due.set(work.word, work.run);
}

function showDue() {
  const works = due;
  due = null;
  last = performance.now();
  const [[, first], ...rest] = works;
  if (!pressed || rest.length === 0) return works.forEach((run) => run());
  // One with each frame, so that a picture comes in between.
  due = new Map(rest);
  requestAnimationFrame(showDue);
  first();
}

/** Works that wait, and when each was asked for. */
const late = new Map();
let timer = 0;
/** Does `work`, which takes longer than a frame, once nothing is dragged and no picture is awaited. A newer `work` of the same name replaces it. */
export function atRest(name, work) {
  late.set(name, { work, since: late.get(name)?.since ?? performance.now() });
  timer ||= setTimeout(doLate, LOOK);
}

function doLate() {
  timer = 0;
  const now = performance.now();
  for (const [name, { work, since }] of late) {
    if (isDragged() || (awaitsPicture() && now - since < PATIENCE)) continue;
    late.delete(name);
    work();
  }
  if (late.size) timer = setTimeout(doLate, LOOK);
}

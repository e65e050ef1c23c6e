// How large the picture is shown: whole, or texel by texel at 100, 200 and 400 %.
import { by } from "./by.js";
import { view, look, ask } from "./view.js";

/** Most of a narrow window's height that the pinned picture takes; chosen by eye. */
const PINNED = 0.4;
const LEVELS = [1, 2, 4];
/** Whole is 0; else screen texels for one texel of the picture. */
let zoom = 0;
/** The place in the middle of the stage, scene px. */
let middle = [0, 0];

/** CSS px for one scene px where the whole picture fits. */
function whole(room) {
  return Math.min(room[0] / look.size[0], room[1] / look.size[1]);
}

function room() {
  const stage = by("stage");
  const narrow = getComputedStyle(by("desk")).display === "block";
  // In a narrow window the picture stays pinned over the controls, and leaves them room.
  const wide = stage.clientWidth;
  const tall = narrow ? Math.min(innerHeight * PINNED, (wide * look.size[1]) / look.size[0]) : stage.clientHeight;
  stage.style.height = narrow ? `${tall}px` : "";
  return { wide, tall, narrow };
}

/** Places the picture on the stage; asks for the part in view where that is another one. */
export function fit(event) {
  const { wide, tall, narrow } = room();
  if (wide < 10 || tall < 10) return;
  const space = [wide, tall];
  look.scale = zoom ? zoom / devicePixelRatio : whole(space);
  const place = (axis) => {
    const length = look.size[axis] * look.scale;
    if (length <= space[axis]) return (space[axis] - length) / 2;
    return Math.min(0, Math.max(space[axis] - length, space[axis] / 2 - middle[axis] * look.scale));
  };
  // On whole texels of the screen, or texels would be of several sizes.
  const snap = (px) => (zoom ? Math.round(px * devicePixelRatio) / devicePixelRatio : px);
  [look.left, look.top] = [snap(place(0)), snap(place(1))];
  middle = [0, 1].map((axis) => (space[axis] / 2 - [look.left, look.top][axis]) / look.scale);
  const frame = by("frame").style;
  frame.width = `${look.size[0] * look.scale}px`;
  frame.height = `${look.size[1] * look.scale}px`;
  frame.transform = `translate(${look.left}px, ${look.top}px)`;
  document.documentElement.style.setProperty("--pinned", narrow ? `${by("view").offsetHeight}px` : "0px");
  const part = zoom ? partOf(space) : null;
  if (JSON.stringify(part) === JSON.stringify(view.part)) return;
  view.part = part;
  ask(event);
}

function partOf(space) {
  const from = [look.left, look.top].map((edge, axis) => Math.max(0, Math.floor(-edge / look.scale)));
  const to = [look.left, look.top].map((edge, axis) => Math.min(look.size[axis], Math.ceil((space[axis] - edge) / look.scale)));
  return [...from, Math.max(1, Math.ceil(to[0] - from[0])), Math.max(1, Math.ceil(to[1] - from[1]))];
}

/** Shows the picture at `level` so that the scene px under `event` stays where it is. */
export function zoomTo(level, event) {
  if (level === zoom) return;
  const box = by("stage").getBoundingClientRect();
  const inside = event?.clientX !== undefined && event.type !== "change";
  const at = inside ? [event.clientX - box.left, event.clientY - box.top] : [box.width / 2, box.height / 2];
  const px = [(at[0] - look.left) / look.scale, (at[1] - look.top) / look.scale];
  const { wide, tall } = room();
  zoom = level;
  const scale = zoom ? zoom / devicePixelRatio : whole([wide, tall]);
  middle = [px[0] + (wide / 2 - at[0]) / scale, px[1] + (tall / 2 - at[1]) / scale];
  by("zoom").value = String(zoom);
  by("stage").classList.toggle("zoomed", zoom > 0);
  fit(event);
}

/** The next larger or smaller size. */
export function zoomBy(way, event) {
  const { wide, tall } = room();
  const scaleOf = (level) => (level ? level / devicePixelRatio : whole([wide, tall]));
  const all = [0, ...LEVELS].sort((a, b) => scaleOf(a) - scaleOf(b));
  const next = all[all.indexOf(zoom) + way];
  if (next !== undefined) zoomTo(next, event);
}

/** Moves the part in view by so many CSS px; returns what of it the edges leave over. */
export function shift([x, y], event) {
  if (!zoom) return [x, y];
  const before = [look.left, look.top];
  middle = [middle[0] + x / look.scale, middle[1] + y / look.scale];
  fit(event);
  return [x - (before[0] - look.left), y - (before[1] - look.top)];
}

export function setUpZoom() {
  by("zoom").addEventListener("change", (event) => zoomTo(Number(by("zoom").value), event));
  new ResizeObserver(() => fit()).observe(by("stage"));
  addEventListener("resize", () => fit());
}

/** What a key does to the size; false if nothing. */
export function zoomKey(event) {
  if (event.key === "+" || event.key === "=") zoomBy(1, event);
  else if (event.key === "-") zoomBy(-1, event);
  else if (["0", "1", "2", "4"].includes(event.key)) zoomTo(Number(event.key), event);
  else return false;
  return true;
}

export const isZoomed = () => zoom > 0;

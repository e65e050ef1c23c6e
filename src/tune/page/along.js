// The curve along the travel, under the picture: points are dragged, moved by keys, added and removed. It is the chosen slot's, or the air's.
import { by } from "./by.js";
import { send, gesture, gestureEnds } from "./wire.js";
import { onMoves } from "./moves.js";
import { view, look, whenAsked } from "./view.js";
import { pointsText, tidy } from "./numbers.js";

/** As the scene file takes them. */
const MOST = { factor: 100, points: 256 };
/** The factor at the top of the curve's room, unless a point is higher. */
const TOP = 2;
/** Steps of the drawn curve. */
const STEPS = 240;

let page = null;
/** What is shown: the key, its slot, and its points. */
let shown = { key: "air.along", slot: null, points: [] };
let top = TOP;
let held = null;
let chosen = -1;
const handles = [];

/** The slope at a point, after Steffen 1990: the curve never leaves what two points say. */
function slope(points, at) {
  if (at === 0 || at === points.length - 1) return 0;
  const [a, b, c] = points.slice(at - 1, at + 2);
  const lengths = [b[0] - a[0], c[0] - b[0]];
  const slopes = [(b[1] - a[1]) / lengths[0], (c[1] - b[1]) / lengths[1]];
  if (slopes[0] * slopes[1] <= 0) return 0;
  const parabola = (slopes[0] * lengths[1] + slopes[1] * lengths[0]) / (lengths[0] + lengths[1]);
  return 2 * Math.sign(slopes[0]) * Math.min(Math.abs(slopes[0]), Math.abs(slopes[1]), Math.abs(parabola) / 2);
}

function factorAt(points, place) {
  if (points.length === 0) return 1;
  const next = points.findIndex((point) => point[0] > place);
  if (next === 0) return points[0][1];
  if (next < 0) return points.at(-1)[1];
  const [from, to] = [points[next - 1], points[next]];
  const length = to[0] - from[0];
  const t = (place - from[0]) / length;
  const [a, b, step] = [slope(points, next - 1) * length, slope(points, next) * length, to[1] - from[1]];
  return from[1] + t * (a + t * (3 * step - 2 * a - b + t * (a + b - 2 * step)));
}

/** A factor in words. */
const dense = (factor) => (tidy(factor) === 1 ? "as it is" : `${tidy(factor)} times as dense`);

const across = (place) => (100 * place) / Math.max(look.travel[0], 1e-6);
const down = (factor) => 100 * (1 - factor / top);

function draw() {
  const { points } = shown;
  const line = Array.from({ length: STEPS + 1 }, (_, at) => {
    const place = (look.travel[0] * at) / STEPS;
    return `${((100 * at) / STEPS).toFixed(2)} ${down(factorAt(points, place)).toFixed(2)}`;
  });
  by("along-curve").setAttribute("d", `M${line.join("L")}`);
  by("along-one").setAttribute("d", `M0 ${down(1)}H100`);
  by("along-camera").setAttribute("d", `M${across(view.camera[0])} 0V100`);
  while (handles.length > points.length) handles.pop().remove();
  while (handles.length < points.length) handles.push(make(handles.length));
  points.forEach((_, at) => put(at));
  by("along-remove").disabled = chosen < 0 || chosen >= points.length;
  const told = chosen >= 0 && chosen < points.length ? points[chosen] : [view.camera[0], factorAt(points, view.camera[0])];
  by("along-told").textContent = `${Math.round(told[0])} px: ${dense(told[1])}`;
}

function put(at) {
  const [place, factor] = shown.points[at];
  const handle = handles[at];
  handle.style.left = `${Math.min(100, Math.max(0, across(place)))}%`;
  handle.style.top = `${Math.min(100, Math.max(0, down(factor)))}%`;
  handle.setAttribute("aria-pressed", String(chosen === at));
  handle.setAttribute("aria-label", `Point ${at + 1} of ${shown.points.length} along the travel: ${Math.round(place)} px, ${dense(factor)}`);
}

/** Sends the points as they stand; quick changes of the same are one step. */
function tell(event, what = null) {
  const { key, slot, points } = shown;
  if (points.length === 0) return send({ do: "unset", slot, key }, event);
  const more = what !== null ? { gesture: gesture(`${slot ?? ""}/${key}/${what}`) } : {};
  return send({ do: "set", slot, key, value: points, ...more }, event);
}

/** Moves a point, which stays between its neighbours. */
function move(at, place, factor, event) {
  const { points } = shown;
  // A px apart at least; what lies beyond the travel may stay there.
  const least = at > 0 ? points[at - 1][0] + 1 : Math.min(0, points[at][0]);
  const most = at < points.length - 1 ? points[at + 1][0] - 1 : Math.max(look.travel[0], points[at][0]);
  points[at] = [Math.min(most, Math.max(least, Math.round(place))), tidy(Math.min(MOST.factor, Math.max(0, factor)))];
  draw();
  tell(event, at);
}

/** Adds a point; the first one stands between two at the ends, so that what is far from it stays. */
function add(place, factor, event) {
  const { points } = shown;
  const at = Math.round(Math.min(look.travel[0], Math.max(0, place)));
  if (points.length >= MOST.points || points.some((point) => Math.abs(point[0] - at) < 1)) return -1;
  const ends = points.length === 0 ? [0, look.travel[0]].filter((end) => Math.abs(end - at) >= 1).map((end) => [end, 1]) : [];
  const made = [at, tidy(Math.min(MOST.factor, Math.max(0, factor)))];
  shown.points = [...points, ...ends, made].sort((a, b) => a[0] - b[0]);
  chosen = shown.points.indexOf(made);
  draw();
  return chosen;
}

function remove(at, event) {
  gestureEnds();
  shown.points.splice(at, 1);
  chosen = Math.min(at, shown.points.length - 1);
  draw();
  tell(event);
  (handles[chosen] ?? by("along-add")).focus();
}

function choose(at) {
  chosen = at;
  draw();
}

/** The place and the factor under the pointer. */
function under(event) {
  const box = by("along-way").getBoundingClientRect();
  return [((event.clientX - box.left) / box.width) * look.travel[0], (1 - (event.clientY - box.top) / box.height) * top];
}

function take(at, event) {
  gestureEnds();
  choose(at);
  const [place, factor] = under(event);
  held = { at, apart: [shown.points[at][0] - place, shown.points[at][1] - factor] };
}

function make(at) {
  const handle = document.createElement("button");
  handle.type = "button";
  handle.className = "point";
  handle.addEventListener("pointerdown", (event) => {
    event.stopPropagation();
    if (event.button !== 0) return;
    handle.setPointerCapture(event.pointerId);
    take(at, event);
  });
  onMoves(handle, (event) => {
    if (held?.at !== at) return;
    const [place, factor] = under(event);
    move(at, place + held.apart[0], factor + held.apart[1], event);
  });
  for (const end of ["pointerup", "pointercancel", "lostpointercapture"]) handle.addEventListener(end, letGo);
  handle.addEventListener("focus", () => choose(at));
  handle.addEventListener("dblclick", (event) => { event.stopPropagation(); remove(at, event); });
  handle.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[event.key];
    const [place, factor] = shown.points[at];
    const stride = event.shiftKey ? 10 : 1;
    if (way) move(at, place + (way[0] * stride * Math.max(1, look.travel[0] / 200)), factor + way[1] * stride * 0.05, event);
    else if (event.key === "Delete" || event.key === "Backspace") remove(at, event);
    else return;
    event.preventDefault();
  });
  by("along-way").append(handle);
  return handle;
}

function letGo() {
  if (!held) return;
  held = null;
  gestureEnds();
  rescale();
  draw();
}

function rescale() {
  top = Math.max(TOP, 1.15 * Math.max(0, ...shown.points.map((point) => point[1])));
}

/** Shows the curve of the chosen slot, or the air's. */
export function showAlong() {
  if (!page?.state) return;
  by("along").hidden = look.travel[0] <= 0;
  const slot = page.subject || null;
  const key = slot ? "slot.along" : "air.along";
  const values = slot ? page.slots.get(slot).values : page.state.scene;
  // What is held is newer on the page than in the state that arrives.
  if (held && shown.key === key && shown.slot === slot) return draw();
  const points = (values[key]?.[0] ?? []).map((point) => [...point]);
  if (shown.key !== key || shown.slot !== slot) chosen = -1;
  held = null;
  shown = { key, slot, points };
  by("along-name").textContent = slot ? `Fog of ${slot} along the travel` : "Fog along the travel";
  rescale();
  draw();
}

export function setUpAlong(shared) {
  page = shared;
  whenAsked(() => { if (!by("along").hidden) draw(); });
  by("along-way").addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    gestureEnds();
    const [place, factor] = under(event);
    const at = add(place, factor, event);
    if (at < 0) return;
    tell(event, at);
    handles[at].setPointerCapture(event.pointerId);
    held = { at, apart: [0, 0] };
  });
  by("along-add").addEventListener("click", (event) => {
    gestureEnds();
    const at = add(view.camera[0], factorAt(shown.points, view.camera[0]), event);
    if (at < 0) return;
    tell(event);
    handles[at].focus();
  });
  by("along-remove").addEventListener("click", (event) => { if (shown.points[chosen]) remove(chosen, event); });
  by("along-way").title = `Click to add a point, drag it; ${pointsText([[0, 1]])} means as dense as the air gives at the start`;
}

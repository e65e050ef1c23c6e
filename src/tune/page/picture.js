// The picture: incoming frames, panning, view modes, the divider between last saved and current, marks of the check.
import { on, send, shown, together } from "./wire.js";

const by = (id) => document.getElementById(id);
const view = { camera: 0, bare: false, values: false, compare: false };
let travel = 0;
let placed = false;
let size = [16, 9];
let split = 0.5;
let marks = [];
let failing = new Set();
let current = null;

function ask(event) {
  send({ do: "view", ...view }, event);
  by("fails").replaceChildren();
}

const SIDES = ["now", "old"];
function put(frame) {
  const canvas = by(SIDES[frame.kind]);
  if (canvas.width !== frame.width || canvas.height !== frame.height) Object.assign(canvas, { width: frame.width, height: frame.height });
  canvas.getContext("2d", { alpha: false }).putImageData(frame.image, 0, 0);
  shown(frame);
  if (frame.kind === 1) {
    by("old").hidden = !view.compare;
    return;
  }
  current = { turn: frame.turn, camera: frame.camera, settled: frame.settled };
  by("settling").hidden = frame.settled;
  document.documentElement.dataset.turn = frame.turn;
  document.documentElement.dataset.settled = frame.settled;
  // Marks may arrive before their picture.
  drawMarks();
}

/** Most of a narrow window's height that the pinned picture takes; chosen by eye. */
const PINNED = 0.4;

function fit() {
  const stage = by("stage");
  const narrow = getComputedStyle(by("desk")).display === "block";
  // In a narrow window the picture stays pinned over the controls, and leaves them room.
  const [wide, tall] = [stage.clientWidth, narrow ? innerHeight * PINNED : stage.clientHeight];
  const width = Math.min(wide, (tall * size[0]) / size[1]);
  by("frame").style.width = `${width}px`;
  by("frame").style.height = `${(width * size[1]) / size[0]}px`;
  document.documentElement.style.setProperty("--pinned", narrow ? `${by("view").offsetHeight}px` : "0px");
}

/** The travel and the view's shape. */
export function setTravel(state) {
  const same = placed && travel === state.travel && String(size) === String(state.view);
  if (same) return;
  [travel, size] = [state.travel, state.view];
  const slider = by("camera");
  slider.max = Math.max(travel, 1e-6);
  slider.disabled = travel === 0;
  // The camera position of the first pictures, which may arrive before the state.
  if (!placed) view.camera = travel / 2;
  placed = true;
  if (view.camera > travel) pan(travel);
  tellPlace();
  fit();
}

function tellPlace() {
  const px = `${Math.round(view.camera)} px`;
  by("camera").value = view.camera;
  by("camera").setAttribute("aria-valuetext", px);
  by("place").textContent = px;
}

function pan(to, event) {
  const camera = Math.min(Math.max(0, to), travel);
  if (camera === view.camera) return;
  view.camera = camera;
  together("place", tellPlace);
  ask(event);
}

/** Marks where outlines fail, as the server found them from a camera position. */
export function showMarks(found, { camera, turn }) {
  marks = { found, camera, turn };
  drawMarks();
}

/** Slots that fail the check. */
export function setFailing(slots) {
  failing = slots;
  drawMarks();
}

function drawMarks() {
  const fits = marks.found && current?.turn === marks.turn && current.camera === marks.camera && current.settled;
  if (!fits || by("check").hidden || view.bare) return by("fails").replaceChildren();
  const [wide, tall] = [1000, (1000 * size[1]) / size[0]];
  by("fails").setAttribute("viewBox", `0 0 ${wide} ${tall}`);
  const of = (places) => places.map(([x, y]) => `M${(x * wide - 3).toFixed(1)} ${(y * tall + 3).toFixed(1)}l6 -6`).join("");
  const path = (places, colour, width) => {
    const made = document.createElementNS("http://www.w3.org/2000/svg", "path");
    made.setAttribute("d", of(places));
    made.setAttribute("stroke", colour);
    made.setAttribute("stroke-width", width);
    made.setAttribute("fill", "none");
    return made;
  };
  const shown = marks.found.filter((one) => failing.has(one.slot));
  by("fails").replaceChildren(...shown.flatMap((one) => [path(one.places, "#000", 3), path(one.places, "#ffd479", 1.5)]));
}

/** A button that is active while held. */
function hold(id, word) {
  const button = by(id);
  const set = (on, event) => {
    if (view[word] === on) return;
    view[word] = on;
    button.setAttribute("aria-pressed", String(on));
    ask(event);
  };
  button.addEventListener("pointerdown", (event) => { if (event.button === 0) { button.setPointerCapture(event.pointerId); set(true, event); } });
  for (const end of ["pointerup", "pointercancel", "lostpointercapture", "blur"]) button.addEventListener(end, (event) => set(false, event));
  button.addEventListener("keydown", (event) => { if ((event.key === " " || event.key === "Enter") && !event.repeat) set(true, event); });
  button.addEventListener("keyup", (event) => set(false, event));
  return set;
}

function placeSplit() {
  const percent = Math.round(split * 100);
  by("divider").style.left = `${split * 100}%`;
  by("old").style.clipPath = `inset(0 ${100 - split * 100}% 0 0)`;
  by("divider").setAttribute("aria-valuenow", percent);
  by("divider").setAttribute("aria-valuetext", `${percent} % of the picture as last saved`);
}

function setUpDivider() {
  const divider = by("divider");
  by("compare").addEventListener("click", (event) => {
    view.compare = !view.compare;
    by("compare").setAttribute("aria-pressed", String(view.compare));
    divider.hidden = !view.compare;
    if (!view.compare) by("old").hidden = true;
    placeSplit();
    ask(event);
  });
  const to = (share) => { split = Math.min(1, Math.max(0, share)); placeSplit(); };
  let held = false;
  divider.addEventListener("pointerdown", (event) => { held = event.button === 0; if (held) divider.setPointerCapture(event.pointerId); event.stopPropagation(); });
  divider.addEventListener("pointermove", (event) => {
    const box = by("frame").getBoundingClientRect();
    if (held) to((event.clientX - box.left) / box.width);
  });
  for (const end of ["pointerup", "pointercancel", "lostpointercapture"]) divider.addEventListener(end, () => { held = false; });
  divider.addEventListener("keydown", (event) => {
    const step = { ArrowLeft: split - 0.02, ArrowRight: split + 0.02, PageDown: split - 0.2, PageUp: split + 0.2, Home: 0, End: 1 }[event.key];
    if (step === undefined || event.ctrlKey || event.altKey || event.metaKey) return;
    event.preventDefault();
    event.stopPropagation();
    to(step);
  });
}

export function setUpPicture() {
  on("picture", put);
  on("open", () => { if (current) ask(); });
  const ways = { f: hold("bare", "bare"), l: hold("values", "values") };
  setUpDivider();
  by("marks").addEventListener("click", () => {
    by("check").hidden = !by("check").hidden;
    by("marks").setAttribute("aria-expanded", String(!by("check").hidden));
    drawMarks();
    fit();
  });
  by("camera").addEventListener("input", (event) => pan(Number(by("camera").value), event));
  const stage = by("stage");
  stage.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    const wide = size[0];
    const to = { ArrowLeft: view.camera - wide / 40, ArrowRight: view.camera + wide / 40, PageUp: view.camera - wide / 2, PageDown: view.camera + wide / 2, Home: 0, End: travel }[event.key];
    const way = ways[event.key.toLowerCase()];
    if (to === undefined && !way) return;
    event.preventDefault();
    if (way && !event.repeat) way(true, event);
    if (to !== undefined) pan(to, event);
  });
  stage.addEventListener("keyup", (event) => ways[event.key.toLowerCase()]?.(false, event));
  stage.addEventListener("blur", (event) => Object.values(ways).forEach((way) => way(false, event)));
  let grip = null;
  stage.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    grip = { x: event.clientX, camera: view.camera };
    stage.setPointerCapture(event.pointerId);
    stage.classList.add("held");
  });
  stage.addEventListener("pointermove", (event) => {
    if (grip) pan(grip.camera - ((event.clientX - grip.x) * size[0]) / by("frame").clientWidth, event);
  });
  for (const end of ["pointerup", "pointercancel", "lostpointercapture"]) {
    stage.addEventListener(end, () => { grip = null; stage.classList.remove("held"); });
  }
  stage.addEventListener("wheel", (event) => {
    if (event.ctrlKey || travel === 0) return;
    const by = Math.abs(event.deltaX) > Math.abs(event.deltaY) ? event.deltaX : event.deltaY;
    event.preventDefault();
    pan(view.camera + (by * size[0]) / 1600, event);
  }, { passive: false });
  new ResizeObserver(fit).observe(stage);
  addEventListener("resize", fit);
}

// The picture: incoming frames, the camera, marks of the check, the outline of the chosen slot.
import { by } from "./by.js";
import { on, shown, together } from "./wire.js";
import { view, look, ask, isNewest, whenAsked } from "./view.js";
import { fit, setUpZoom } from "./zoom.js";
import { setUpStage } from "./stage.js";
import { setUpHolds } from "./hold.js";
import { setUpCompare } from "./compare.js";

let placed = false;
let marks = [];
let failing = new Set();
let current = null;
/** What the part in view shows, but for where it lies. */
let partOf = "";

/** The camera's two directions: to the right, and down. */
const SLIDERS = ["camera", "height"];
const CANVASES = ["now", "other", "part", "outline"];
/** The colour of the line around what is chosen, blue first, and its most opacity of 255. */
const LINE = 0x79_d4_ff;
const OPACITY = 200;

function put(frame) {
  const canvas = by(CANVASES[frame.kind]);
  if (!frame.isPart && (canvas.width !== frame.width || canvas.height !== frame.height)) Object.assign(canvas, { width: frame.width, height: frame.height });
  const image = frame.line ? outlined(frame) : frame.image;
  canvas.getContext("2d", { alpha: frame.kind === 3 }).putImageData(image, frame.isPart ? frame.left : 0, frame.isPart ? frame.top : 0);
  shown(frame);
  if (frame.kind === 1) by("other").hidden = !view.compare;
  else if (frame.kind === 3) showOutline(frame);
  else showNow(frame);
}

function showNow(frame) {
  const of = JSON.stringify([frame.turn, { ...view, part: null, chosen: null }]);
  // Under sharp texels of the same a draft is no news.
  if (frame.kind === 0 && !frame.settled && view.part && partOf === of) return;
  const changed = current?.turn !== frame.turn;
  current = { turn: frame.turn, camera: frame.camera, settled: frame.settled };
  if (frame.kind === 2) {
    place(by("part"), frame.left, frame.top, frame.width, frame.height);
    partOf = of;
  }
  // Sharp texels stay while the same picture is moved about.
  by("part").hidden = partOf !== of || !view.part;
  if (changed) by("outline").hidden = true;
  by("settling").hidden = frame.settled;
  const data = document.documentElement.dataset;
  Object.assign(data, { turn: frame.turn, settled: frame.settled, texels: frame.kind === 2 ? `${frame.width} ${frame.height}` : "" });
  // Marks may arrive before their picture.
  drawMarks();
}

/** Puts a canvas on the scene px that it shows. */
function place(canvas, left, top, width, height) {
  const share = (px, axis) => `${(100 * px) / look.size[axis]}%`;
  Object.assign(canvas.style, { left: share(left, 0), top: share(top, 1), width: share(width, 0), height: share(height, 1) });
}

function outlined({ line, width, height }) {
  const image = new ImageData(width, height);
  const to = new Uint32Array(image.data.buffer);
  for (let at = 0; at < to.length; at += 1) to[at] = (((line[at] * OPACITY) >> 8) << 24) | LINE;
  return image;
}

function showOutline(frame) {
  if (!isNewest(frame.stamp) || !view.chosen) return;
  const [left, top, width, height] = view.part ?? [0, 0, ...look.size];
  place(by("outline"), left, top, width, height);
  by("outline").hidden = false;
}

/** The slot that is outlined. */
export function outline(slot) {
  if (view.chosen === (slot || null)) return;
  view.chosen = slot || null;
  if (current) ask();
}

/** The travel and the view's shape. */
export function setTravel(state) {
  const same = placed && String(look.travel) === String(state.travel) && String(look.size) === String(state.view);
  if (same) return;
  Object.assign(look, { travel: state.travel, size: state.view });
  for (const [way, slider] of SLIDERS.map(by).entries()) {
    slider.max = Math.max(look.travel[way], 1e-6);
    slider.disabled = look.travel[way] === 0;
  }
  by("down").hidden = look.travel[1] === 0;
  // The camera position of the first pictures, which may arrive before the state.
  if (!placed) view.camera = look.travel.map((way) => way / 2);
  placed = true;
  pan(view.camera);
  tellPlace();
  fit();
}

function tellPlace() {
  for (const [way, slider] of SLIDERS.map(by).entries()) {
    slider.value = view.camera[way];
    slider.setAttribute("aria-valuetext", `${Math.round(view.camera[way])} px`);
  }
  by("place").textContent = `${view.camera.slice(0, look.travel[1] > 0 ? 2 : 1).map(Math.round).join(", ")} px`;
}

function pan(to, event) {
  const camera = to.map((place, way) => Math.min(Math.max(0, place), look.travel[way]));
  if (String(camera) === String(view.camera)) return;
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
  const fits = marks.found && current?.turn === marks.turn && String(current.camera) === String(marks.camera) && current.settled;
  if (!fits || by("check").hidden || view.bare || view.only) return by("fails").replaceChildren();
  const [wide, tall] = [1000, (1000 * look.size[1]) / look.size[0]];
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

/** `choose` is called with the slot of a picture that is clicked on. */
export function setUpPicture(choose) {
  on("picture", put);
  on("open", () => { if (current) ask(); });
  // What was found in another view is stale.
  whenAsked(() => {
    by("fails").replaceChildren();
    by("outline").hidden = true;
  });
  setUpCompare();
  setUpZoom();
  setUpStage(pan, choose, setUpHolds());
  by("marks").addEventListener("click", () => {
    by("check").hidden = !by("check").hidden;
    by("marks").setAttribute("aria-expanded", String(!by("check").hidden));
    drawMarks();
    fit();
  });
  for (const slider of SLIDERS.map(by)) slider.addEventListener("input", (event) => pan(SLIDERS.map((name) => Number(by(name).value)), event));
}

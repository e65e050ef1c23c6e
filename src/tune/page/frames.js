// Smaller frames: what of the view other screens show, one row of fields each. They are the scene's own.
import { by } from "./by.js";
import { make } from "./field.js";
import { send, gestureEnds } from "./wire.js";

/** Most frames that a scene names. */
const MOST = 16;

let page = null;
let shown = "";
let rows = [];

const frames = () => page.state.scene.also_view?.[0] ?? [];

function tell(wanted, event) {
  gestureEnds();
  if (wanted.length) send({ do: "set", slot: null, key: "also_view", value: wanted, gesture: null }, event);
  else send({ do: "unset", slot: null, key: "also_view" }, event);
}

function side(at, axis) {
  const input = make("input", { type: "number", min: 1, step: 1, required: true });
  input.addEventListener("change", (event) => {
    if (!input.checkValidity()) return input.reportValidity();
    tell(frames().map((frame, other) => (other === at ? frame.map((one, way) => (way === axis ? Number(input.value) : one)) : frame)), event);
  });
  return input;
}

function row(at) {
  const sides = [side(at, 0), side(at, 1)];
  const remove = make("button", { type: "button", title: "Remove this frame (Undo brings it back)" }, "Remove");
  remove.setAttribute("aria-label", `Remove frame ${at + 1}`);
  remove.addEventListener("click", (event) => {
    tell(frames().filter((_, other) => other !== at), event);
    by("frame-add").focus();
  });
  const labels = ["Width", "Height"].map((name, axis) => make("label", {}, name, sides[axis]));
  const root = make("fieldset", { className: "place" }, make("legend", {}, `Frame ${at + 1}`), ...labels, remove);
  const show = (frame) => sides.forEach((input, axis) => {
    // No frame is larger than the view.
    input.max = page.state.view[axis];
    if (document.activeElement !== input || input.checkValidity()) input.value = frame[axis];
  });
  return { root, show };
}

/** A frame that isn't there yet: as tall as the view, of the first shape that fits. */
function another() {
  const [width, height] = page.state.view;
  const there = new Set(frames().map(String));
  const shapes = [[16, 9], [4, 3], [1, 1], [9, 16], [9, 20]];
  const fitting = shapes.map(([x, y]) => [Math.round((height * x) / y), height]).filter((frame) => frame[0] < width && !there.has(String(frame)));
  let [wide, high] = [width, height];
  while (!fitting.length && there.has(String([wide, high])) && wide > 2) [wide, high] = [Math.round(wide * 0.9), Math.round(high * 0.9)];
  return fitting[0] ?? [wide, high];
}

/** Shows the frames while the whole scene is tuned. */
export function showFrames() {
  by("frames").hidden = Boolean(page.subject);
  if (page.subject) return;
  const [, who = "", given = false] = page.state.scene.also_view ?? [];
  const count = frames().length;
  const from = who ? `, ${given ? "set in:" : "from"} ${who}` : "";
  by("frame-count").textContent = count ? ` ${count} besides the view${from}` : " none besides the view";
  by("frame-add").disabled = count >= MOST;
  if (shown !== String(count)) {
    shown = String(count);
    rows = frames().map((_, at) => row(at));
    by("frame-list").replaceChildren(...rows.map(({ root }) => root));
  }
  rows.forEach(({ show }, at) => show(frames()[at]));
}

export function setUpFrames(shared) {
  page = shared;
  by("frame-add").addEventListener("click", (event) => tell([...frames(), another()], event));
}

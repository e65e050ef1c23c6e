const stack = JSON.parse(document.getElementById("stack").textContent);
const by = (id) => document.getElementById(id);
let canvas = by("picture");
const [stage, pause, names, status] = ["stage", "pause", "names", "status"].map(by);
const sliders = ["camera", "height"].map(by);
const [width, height] = stack.view;
// The canvas has the texel size that the pictures were stored for.
canvas.width = Math.round(width * stack.scale);
canvas.height = Math.round(height * stack.scale);
// The stage is as large as the window leaves it room for.
stage.style.setProperty("--ratio", width / height);
// A finger that moves up and down scrolls the page where the camera can't follow it.
if (stack.travel[1] > 0) stage.style.touchAction = "none";
let pen = null;
const calm = matchMedia("(prefers-reduced-motion: reduce)");
const state = { camera: stack.travel.map((way) => way / 2), drifted: 0, playing: !calm.matches, ready: false, last: 0, due: false };

const labels = new Map();
for (const layer of stack.layers) {
  layer.image = new Image();
  if (!labels.has(layer.slot)) {
    const label = document.createElement("span");
    label.className = "name";
    label.textContent = layer.slot;
    labels.set(layer.slot, { label, layer });
    names.append(label);
  }
  // A slot's label is placed by its picture, if it has one.
  if (layer.kind === "art") labels.get(layer.slot).layer = layer;
}

by("rim").disabled = !stack.layers.some((layer) => layer.kind === "rim");
const shown = (layer) => layer.kind === "art" || by(layer.kind).checked;

function left(layer) {
  return layer.rect[0] - state.camera[0] * layer.rate + layer.drift * state.drifted;
}

function topOf(layer) {
  return layer.rect[1] - state.camera[1] * layer.rate;
}

function draw() {
  state.due = false;
  if (!state.ready) return;
  const start = performance.now();
  pen.begin(stack.backdrop);
  for (const layer of stack.layers) {
    if (!shown(layer)) continue;
    const wide = layer.rect[2];
    let x = left(layer);
    if (!layer.period) {
      pen.layer(layer, x, topOf(layer), wide);
      continue;
    }
    x -= Math.ceil((x + wide) / layer.period) * layer.period;
    for (; x < width; x += layer.period) {
      if (x + wide <= 0) continue;
      // Whole texels, so that neighbours meet without a gap.
      const [from, to] = [x, x + wide].map((edge) => Math.round(edge * stack.scale) / stack.scale);
      pen.layer(layer, from, topOf(layer), to - from);
    }
  }
  performance.measure("drawing", { start, end: performance.now() });
  if (!names.hidden) place();
}

// Names stand side by side along their pictures, the farther the more to the left, and move down where they would overlap.
function place() {
  const ratio = stage.clientWidth / width;
  const taken = [];
  for (const [order, { label, layer }] of [...labels.values()].entries()) {
    const x = left(layer);
    const [from, to] = layer.period ? [0, width] : [Math.max(0, x), Math.min(width, x + layer.rect[2])];
    label.hidden = from >= to;
    if (label.hidden) continue;
    const [wide, tall] = [label.offsetWidth, label.offsetHeight + 2];
    const at = Math.min(Math.max(0, (from + ((to - from) * (order + 0.5)) / labels.size) * ratio - wide / 2), stage.clientWidth - wide);
    let top = Math.min(Math.max(4, topOf(layer) * ratio + 4), stage.clientHeight - tall);
    while (taken.some((box) => at < box.at + box.wide && box.at < at + wide && Math.abs(box.top - top) < tall)) top += 4;
    taken.push({ at, wide, top });
    label.style.transform = `translate(${at}px, ${top}px)`;
  }
}

function redraw() {
  if (!state.due) {
    state.due = true;
    requestAnimationFrame(draw);
  }
}

function pan(to) {
  state.camera = to.map((place, way) => Math.min(Math.max(0, place), stack.travel[way]));
  for (const [way, slider] of sliders.entries()) {
    slider.value = state.camera[way];
    slider.setAttribute("aria-valuetext", `${Math.round(state.camera[way])} px`);
  }
  by("place").textContent = `${state.camera.slice(0, stack.travel[1] > 0 ? 2 : 1).map(Math.round).join(", ")} px`;
  redraw();
}

function tick(now) {
  if (!state.playing) return;
  // No jump after the page was hidden.
  state.drifted += Math.min(0.1, (now - state.last) / 1000);
  state.last = now;
  draw();
  requestAnimationFrame(tick);
}

function play(on) {
  state.playing = on;
  pause.textContent = on ? "Pause drift" : "Resume drift";
  if (on) {
    state.last = performance.now();
    requestAnimationFrame(tick);
  }
}

pause.addEventListener("click", () => play(!state.playing));
calm.addEventListener("change", () => play(!calm.matches));
for (const slider of sliders) slider.addEventListener("input", () => pan(sliders.map((one) => Number(one.value))));
for (const id of ["fog", "rim"]) by(id).addEventListener("change", redraw);
by("labels").addEventListener("change", (event) => {
  names.hidden = !event.target.checked;
  redraw();
});
by("values").addEventListener("change", (event) => canvas.classList.toggle("values", event.target.checked));
by("controls").addEventListener("submit", (event) => event.preventDefault());

const go = (right, down) => () => [state.camera[0] + right, state.camera[1] + down];
const keys = {
  ArrowLeft: go(-width / 40, 0),
  ArrowRight: go(width / 40, 0),
  ArrowUp: go(0, -width / 40),
  ArrowDown: go(0, width / 40),
  PageUp: go(-width / 2, 0),
  PageDown: go(width / 2, 0),
  Home: () => [0, 0],
  End: () => stack.travel,
};
stage.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey || !Object.hasOwn(keys, event.key)) return;
  event.preventDefault();
  pan(keys[event.key]());
});

let grip = null;
stage.addEventListener("pointerdown", (event) => {
  if (event.button !== 0) return;
  grip = { x: event.clientX, y: event.clientY, camera: state.camera };
  stage.setPointerCapture(event.pointerId);
  stage.classList.add("held");
});
stage.addEventListener("pointermove", (event) => {
  if (!grip) return;
  const moved = [event.clientX - grip.x, event.clientY - grip.y];
  pan(grip.camera.map((place, way) => place - (moved[way] * width) / stage.clientWidth));
});
for (const end of ["pointerup", "pointercancel", "lostpointercapture"]) {
  stage.addEventListener(end, () => {
    grip = null;
    stage.classList.remove("held");
  });
}
addEventListener("resize", redraw);

status.textContent = "Loading pictures.";
Promise.all(stack.layers.map((layer) => {
  layer.image.src = layer.data;
  layer.data = "";
  return layer.image.decode();
})).then(() => {
  [canvas, pen] = painterOf(canvas, stack);
  state.ready = true;
  status.textContent = "";
  document.documentElement.dataset.ready = "yes";
  pan(state.camera);
  play(state.playing);
}, () => {
  status.textContent = "A picture in this file is damaged; render the preview again.";
});

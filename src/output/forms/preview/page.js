const stack = JSON.parse(document.getElementById("stack").textContent);
const by = (id) => document.getElementById(id);
let canvas = by("picture");
const [stage, slider, pause, names, status] =
  ["stage", "camera", "pause", "names", "status"].map(by);
const [width, height] = stack.view;
// The canvas has the texel size that the pictures were stored for.
canvas.width = Math.round(width * stack.scale);
canvas.height = Math.round(height * stack.scale);
// The stage is as large as the window leaves it room for.
stage.style.setProperty("--ratio", width / height);
let pen = null;
const calm = matchMedia("(prefers-reduced-motion: reduce)");
const state = { camera: stack.travel / 2, drifted: 0, playing: !calm.matches, ready: false, last: 0, due: false };

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
  return layer.rect[0] - state.camera * layer.rate + layer.drift * state.drifted;
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
      pen.layer(layer, x, wide);
      continue;
    }
    x -= Math.ceil((x + wide) / layer.period) * layer.period;
    for (; x < width; x += layer.period) {
      if (x + wide <= 0) continue;
      // Whole texels, so that neighbours meet without a gap.
      const [from, to] = [x, x + wide].map((edge) => Math.round(edge * stack.scale) / stack.scale);
      pen.layer(layer, from, to - from);
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
    let top = Math.min(Math.max(4, layer.rect[1] * ratio + 4), stage.clientHeight - tall);
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
  state.camera = Math.min(Math.max(0, to), stack.travel);
  slider.value = state.camera;
  const px = `${Math.round(state.camera)} px`;
  by("place").textContent = px;
  slider.setAttribute("aria-valuetext", px);
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
slider.addEventListener("input", () => pan(Number(slider.value)));
for (const id of ["fog", "rim"]) by(id).addEventListener("change", redraw);
by("labels").addEventListener("change", (event) => {
  names.hidden = !event.target.checked;
  redraw();
});
by("values").addEventListener("change", (event) => canvas.classList.toggle("values", event.target.checked));
by("controls").addEventListener("submit", (event) => event.preventDefault());

const keys = {
  ArrowLeft: () => state.camera - width / 40,
  ArrowRight: () => state.camera + width / 40,
  PageUp: () => state.camera - width / 2,
  PageDown: () => state.camera + width / 2,
  Home: () => 0,
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
  grip = { x: event.clientX, camera: state.camera };
  stage.setPointerCapture(event.pointerId);
  stage.classList.add("held");
});
stage.addEventListener("pointermove", (event) => {
  if (grip) pan(grip.camera - ((event.clientX - grip.x) * width) / stage.clientWidth);
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

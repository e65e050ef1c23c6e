// Two states of the scene side by side, with a divider to drag.
import { by } from "./by.js";
import { view, ask } from "./view.js";

let split = 0.5;

function placeSplit() {
  const percent = Math.round(split * 100);
  by("divider").style.left = `${split * 100}%`;
  by("other").style.clipPath = `inset(0 ${100 - split * 100}% 0 0)`;
  by("divider").setAttribute("aria-valuenow", percent);
  by("divider").setAttribute("aria-valuetext", `${percent} % ${by("side-other").textContent}`);
}

function to(share) {
  split = Math.min(1, Math.max(0, share));
  placeSplit();
}

/** What can be compared with; a mood's name stands after a colon, the scene without one has none. */
export function setMoods(moods, tuned) {
  const select = by("compare");
  const wanted = [["", "nothing"], ["saved", "last saved"], ["before", "before the last change"]];
  if (tuned) wanted.push([":", "the scene without a mood"]);
  for (const mood of moods) if (mood !== tuned) wanted.push([`:${mood}`, `mood ${mood}`]);
  if (select.dataset.names === JSON.stringify(wanted)) return;
  select.dataset.names = JSON.stringify(wanted);
  const before = select.value;
  select.replaceChildren(...wanted.map(([value, text]) => Object.assign(document.createElement("option"), { value, textContent: text })));
  select.value = wanted.some(([value]) => value === before) ? before : "";
  if (select.value !== before) change();
}

function change(event) {
  const word = by("compare").value;
  view.compare = word.startsWith(":") ? { mood: word.slice(1) || null } : word || null;
  by("side-other").textContent = { saved: "saved", before: "before", ":": "no mood" }[word] ?? word.slice(1);
  by("divider").hidden = !view.compare;
  by("other").hidden = true;
  placeSplit();
  ask(event);
}

export function setUpCompare() {
  by("compare").addEventListener("change", change);
  const divider = by("divider");
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

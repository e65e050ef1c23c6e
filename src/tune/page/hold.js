// What is seen as long as a button or a key is held; none of it is written into the scene.
import { by } from "./by.js";
import { view, ask } from "./view.js";

/** Makes a button that calls `set` with true as long as it is held. Returns what does the same for a key. */
function hold(button, set) {
  let held = false;
  const to = (on, event) => {
    if (held === on) return;
    held = on;
    button.setAttribute("aria-pressed", String(on));
    set(on);
    ask(event);
  };
  button.addEventListener("pointerdown", (event) => { if (event.button === 0) { button.setPointerCapture(event.pointerId); to(true, event); } });
  for (const end of ["pointerup", "pointercancel", "lostpointercapture", "blur"]) button.addEventListener(end, (event) => to(false, event));
  button.addEventListener("keydown", (event) => { if ((event.key === " " || event.key === "Enter") && !event.repeat) to(true, event); });
  button.addEventListener("keyup", (event) => to(false, event));
  return to;
}

function alone(id, what) {
  return hold(by(id), (on) => {
    view.only = on && view.chosen ? { slot: view.chosen, what } : null;
    // All but one slot stand on the scene's own ground.
    view.ground = view.only && what !== "without" ? by("ground").value : "scene";
  });
}

/** The keys that hold something, each with what it does. */
export function setUpHolds() {
  const plain = (id) => hold(by(id), (on) => { view[id] = on; });
  return { f: plain("bare"), l: plain("values"), g: alone("fog-alone", "fog"), p: alone("picture-alone", "picture"), o: alone("without", "without") };
}

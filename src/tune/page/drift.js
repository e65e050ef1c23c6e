// Let it drift: what can't be seen in a still picture runs in it, as long as one likes.
import { by } from "./by.js";
import { on } from "./wire.js";
import { view, ask } from "./view.js";

let begun = null;

/** Asks for the next picture once the last is shown. */
function step() {
  if (begun === null) return;
  view.drift = (performance.now() - begun) / 1000;
  ask();
}

function toggle(event) {
  begun = begun === null ? performance.now() : null;
  by("drift").setAttribute("aria-pressed", String(begun !== null));
  // Another view than before, or no picture comes to go on from.
  view.drift = begun === null ? 0 : 1e-3;
  ask(event);
}

export function setUpDrift() {
  by("drift").addEventListener("click", toggle);
  on("picture", (frame) => { if (begun !== null && frame.kind === 0) requestAnimationFrame(step); });
}

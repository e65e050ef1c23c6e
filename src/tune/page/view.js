// What the page wants to see, and the picture's measures.
import { send } from "./wire.js";

/** As the server reads it. */
export const view = { camera: [0, 0], bare: false, values: false, compare: null, part: null, chosen: null, only: null, ground: "scene", drift: 0 };
/** The scene's view in scene px, its travel, and where the picture stands on the stage: CSS px for one scene px, left and top. */
export const look = { size: [16, 9], travel: [0, 0], scale: 1, left: 0, top: 0 };
const asked = new Set();
let latest = 0;

/** Calls `work` whenever another view is asked for. */
export function whenAsked(work) {
  asked.add(work);
}

/** Asks for the view as it is now. */
export function ask(event) {
  latest = send({ do: "view", view }, event) || latest;
  for (const work of asked) work();
}

/** Whether a picture with the number `stamp` holds the newest view. */
export function isNewest(stamp) {
  return stamp >= latest;
}

/** The place under the pointer: scene px in the view, and shares of its width and height. */
export function placeOf(event) {
  const box = document.getElementById("frame").getBoundingClientRect();
  const share = [(event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height];
  return { share, px: [share[0] * look.size[0], share[1] * look.size[1]] };
}

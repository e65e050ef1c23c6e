// Presets, chosen from small pictures of this very scene under each.
import { by } from "./by.js";
import { on, send, gestureEnds } from "./wire.js";

let page = null;
const buttons = new Map();

function button(name) {
  const made = document.createElement("button");
  made.type = "button";
  made.append(document.createElement("canvas"), Object.assign(document.createElement("span"), { textContent: name }));
  made.firstChild.setAttribute("aria-hidden", "true");
  made.addEventListener("click", (event) => {
    gestureEnds();
    const slot = page.subject || null;
    send({ do: "set", slot, key: slot ? "slot.preset" : "preset", value: name, gesture: null }, event);
  });
  return made;
}

function draw({ slot, name, size, rgb }) {
  if ((slot ?? "") !== page.subject || !buttons.has(name)) return;
  const canvas = buttons.get(name).firstChild;
  const [width, height] = size;
  Object.assign(canvas, { width, height });
  const image = new ImageData(width, height);
  const bytes = atob(rgb);
  for (let from = 0, to = 0; from < bytes.length; from += 3, to += 4) {
    for (let part = 0; part < 3; part += 1) image.data[to + part] = bytes.charCodeAt(from + part);
    image.data[to + 3] = 255;
  }
  canvas.getContext("2d").putImageData(image, 0, 0);
}

/** The preset in force. */
function current() {
  const values = page.subject ? page.slots.get(page.subject).values : page.state.scene;
  return values["slot.preset"]?.[0] ?? values.preset?.[0] ?? page.state.scene.preset?.[0];
}

let asked = "";
/** Shows which preset is in force, and asks for pictures where they are looked at and older than the scene. */
export function showRecipes() {
  if (!page.state || !page.presets) return;
  if (buttons.size === 0) {
    for (const name of page.presets) buttons.set(name, button(name));
    by("shelf").replaceChildren(...buttons.values());
  }
  const now = current();
  for (const [name, made] of buttons) made.setAttribute("aria-pressed", String(name === now));
  const wanted = `${page.subject}/${page.state.turn}`;
  if (!by("recipes").open || asked === wanted) return;
  asked = wanted;
  send({ do: "recipes", slot: page.subject || null });
}

export function setUpRecipes(shared) {
  page = shared;
  by("recipes").addEventListener("toggle", showRecipes);
  on("recipe", draw);
}

// The offer of unsaved changes that an earlier run left.
import { send } from "./wire.js";

function add(box, name, text) {
  const made = document.createElement(name);
  made.textContent = text;
  box.append(made);
  return made;
}

export function offer(box) {
  add(box, "strong", "An earlier run left unsaved changes.");
  add(box, "span", "If you take them over, Undo brings back what the file has.");
  for (const [text, take] of [["Take them over", true], ["Delete them", false]]) {
    const button = add(box, "button", text);
    button.type = "button";
    button.addEventListener("click", () => send({ do: "recover", take }));
  }
}

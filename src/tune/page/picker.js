// Takes a colour from the picture.
import { by } from "./by.js";
import { useTool } from "./stage.js";
import { placeOf, view } from "./view.js";

/** The colour that a canvas shows under the pointer; none if it doesn't lie there. */
function colourOf(canvas, event) {
  const box = canvas.getBoundingClientRect();
  const [x, y] = [(event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height];
  if (canvas.hidden || x < 0 || y < 0 || x >= 1 || y >= 1) return null;
  const place = [Math.floor(x * canvas.width), Math.floor(y * canvas.height), 1, 1];
  const [red, green, blue] = canvas.getContext("2d").getImageData(...place).data;
  return `#${[red, green, blue].map((code) => code.toString(16).padStart(2, "0")).join("")}`;
}

function colourAt(event) {
  const { share } = placeOf(event);
  if (share.some((one) => one < 0 || one >= 1) || view.compare) return colourOf(by("now"), event);
  return colourOf(by("part"), event) ?? colourOf(by("now"), event);
}

/** Gives the next click on the picture to `take` as a colour; Escape, or another click on `button`, ends it. */
export function pickColour(button, take) {
  if (button.getAttribute("aria-pressed") === "true") return useTool(null);
  const leave = (event) => { if (event.key === "Escape") useTool(null); };
  useTool({
    up(event) {
      const colour = event.type === "pointerup" ? colourAt(event) : null;
      if (!colour) return;
      useTool(null);
      take(colour, event);
    },
    end() {
      button.removeAttribute("aria-pressed");
      removeEventListener("keydown", leave);
    },
  });
  button.setAttribute("aria-pressed", "true");
  by("hint").textContent = "Click on the picture to take the colour there; Escape ends it.";
  addEventListener("keydown", leave);
}

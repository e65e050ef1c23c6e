// Drawing on the picture: strokes of fog, or of clear air, into the chosen slot.
import { by } from "./by.js";
import { on, send, gesture, gestureEnds } from "./wire.js";
import { view, placeOf } from "./view.js";
import { useTool } from "./stage.js";
import { ownSheet } from "./words.js";

/** Most points of a stroke that are sent; beyond, every other one is left out. */
const MOST = 1200;
/** Points are as far apart as this share of the nib's width. */
const APART = 0.1;

let page = null;
let tool = "";
/** The stroke that is drawn now. */
let stroke = null;
/** Number of the message that isn't answered yet, and the event to tell after it. */
let unanswered = 0;
let later = null;

function tell(held, event) {
  if (held && unanswered) {
    later = event;
    return;
  }
  later = null;
  unanswered = send({ do: "stroke", held, stroke }, event);
}

function add(event) {
  const { px } = placeOf(event);
  const at = px.map((one) => Math.round(one * 10) / 10);
  const last = stroke.points.at(-1);
  if (last && Math.hypot(at[0] - last[0], at[1] - last[1]) < Math.max(1, APART * stroke.width)) return false;
  if (stroke.points.length >= MOST) stroke.points = stroke.points.filter((_, index) => index % 2 === 0);
  stroke.points.push(at);
  return true;
}

const hand = {
  down(event) {
    gestureEnds();
    stroke = {
      slot: page.subject, points: [], camera: view.camera, width: Math.max(1, Number(by("nib").value) || 1),
      strength: Number(by("strength").value), clear: tool === "clear", gesture: gesture("stroke"),
    };
    add(event);
    tell(true, event);
  },
  move(event) {
    if (stroke && add(event)) tell(true, event);
  },
  up(event) {
    if (!stroke) return;
    add(event);
    tell(false, event);
    stroke = null;
    gestureEnds();
  },
  end() {
    stroke = null;
    tool = "";
    press();
  },
};

function press() {
  for (const id of ["draw", "clear"]) by(id).setAttribute("aria-pressed", String(tool === id));
}

function choose(id) {
  if (tool === id) return useTool(null);
  useTool(hand);
  tool = id;
  press();
}

/** Shows what draws while a slot with fog is chosen. */
export function showHand() {
  // Nothing is drawn into a sheet that is a picture.
  const drawable = Boolean(page?.subject) && !ownSheet(page, page.subject);
  by("hand").hidden = !drawable;
  if (!drawable && tool) useTool(null);
}

export function setUpHand(shared) {
  page = shared;
  for (const id of ["draw", "clear"]) by(id).addEventListener("click", () => choose(id));
  addEventListener("keydown", (event) => { if (event.key === "Escape" && tool) useTool(null); });
  const answered = (number) => {
    if (number !== unanswered) return;
    unanswered = 0;
    if (later && stroke) tell(true, later);
  };
  on("done", answered);
  on("refused", (refusal) => {
    if (refusal.stamp !== unanswered) return;
    stroke = null;
    answered(refusal.stamp);
  });
  on("gone", () => { [stroke, unanswered, later] = [null, 0, null]; });
}

// The section: the scene from the side, like a cross-section of the weather. Slots are moved in depth, the fog's top edge up and down,
// and the visibility along the depth. Here it is drawn; `grips.js` drags its handles, `keys.js` moves them by keys.
import { by } from "./by.js";
import { send, gesture } from "./wire.js";
import { Sides, EDGE, rowsOf, svg, shape, paintDensity, ticks, curve } from "./draw.js";
import { grips, grip as makeGrip, held, put, renew, setUpGrips } from "./grips.js";
import { short, tidy } from "./numbers.js";
import { sheetOf } from "./words.js";

let sides = null;
/** Its width and height; asked for once, since asking has the page laid out. */
let room = { width: 0, height: 0 };
let current = null;
const still = svg("g", { "aria-hidden": "true" });
const grip = (id, more, work) => makeGrip(id, more, { ...work, sides });

function set(slot, key, value, event) {
  send({ do: "set", slot, key, value, gesture: gesture(`section/${slot}/${key}`) }, event);
}

/** Most letters of a name on its tag. */
const LETTERS = 16;
const tagOf = (name) => (name.length > LETTERS ? `${name.slice(0, LETTERS - 1)}…` : name);

/** Names in rows above the lines, so that none lies over another. Where there is no room for one, its tag shows once it is pointed at,
 * reached by Tab or chosen. */
function rows(page, slots) {
  const taken = [];
  const places = new Map();
  const place = (slot) => {
    const wide = tagOf(slot.name).length * 6.9 + 14;
    const x = sides.x(slot.depth);
    const left = Math.min(Math.max(2, x - wide / 2), sides.width - wide - 2);
    const free = (row) => (taken[row] ?? []).every(([from, to]) => to + 4 <= left || left + wide + 4 <= from);
    const row = Array.from({ length: rowsOf(sides.width) }, (_, at) => at).find(free);
    if (row !== undefined) (taken[row] ??= []).push([left, left + wide]);
    places.set(slot, { left, wide, y: 3 + (row ?? 0) * 19, crowded: row === undefined });
  };
  // The chosen slot and those that fail the check have their tags first.
  const weight = (slot) => (slot.name === page.subject ? 0 : page.failing.has(slot.name) ? 1 : 2);
  [...slots].sort((a, b) => weight(a) - weight(b)).forEach(place);
  return slots.map((slot) => {
    const label = places.get(slot);
    const x = sides.x(slot.depth);
    const below = taken.slice((label.y - 3) / 19 + 1);
    // A line begins under all tags where it would cross another's.
    const clear = !label.crowded && below.every((row) => (row ?? []).every(([from, to]) => x < from - 2 || to + 2 < x));
    return { ...label, foot: clear ? label.y + 17 : sides.top - 4 };
  });
}

/** Half the width of a slot's target: no more than half the way to its neighbours. */
function halfTarget(slots, slot) {
  const gaps = slots.filter((other) => other !== slot).map((other) => Math.abs(sides.x(other.depth) - sides.x(slot.depth)));
  return Math.min(12, Math.max(2, Math.min(...gaps, 24) / 2));
}

function slotGrip(page, slot, label, half) {
  const x = sides.x(slot.depth);
  const top = Math.min(sides.ground - 12, Math.max(sides.top - 4, sides.y(slot.art ?? section(page).reach * 0.25)));
  const inside = [
    shape("line", { class: "upright-back", x1: x, x2: x, y1: label.foot, y2: sides.ground }),
    shape("line", { class: "upright", x1: x, x2: x, y1: slot.art === null ? label.foot : Math.max(label.foot, top), y2: sides.ground }),
    shape("line", { class: "tick", x1: x, x2: x, y1: label.foot, y2: Math.max(label.foot, top) }),
    shape("rect", { class: "target", x: x - half, y: sides.top, width: 2 * half, height: sides.ground - sides.top }),
    shape("rect", { class: "pill", x: label.left, y: label.y, width: label.wide, height: 17, rx: 3 }),
    shape("text", { class: "pill-name", x: label.left + label.wide / 2, y: label.y + 12.5, "text-anchor": "middle" }, tagOf(slot.name)),
    shape("title", {}, slot.name),
  ];
  const camera = section(page).camera;
  const to = (depth, event) => {
    const least = -camera * 0.95;
    set(slot.name, "slot.depth", tidy(Math.max(least, depth)), event);
  };
  return grip(`depth/${slot.name}`, {
    from: [x, 0],
    attributes: {
      class: `grip${page.subject === slot.name ? " chosen" : ""}${page.failing.has(slot.name) ? " failing" : ""}${label.crowded ? " crowded" : ""}`,
      "aria-label": `Depth of ${slot.name}`,
      "aria-orientation": "horizontal",
      "aria-valuemin": short(-camera), "aria-valuemax": 1e9, "aria-valuenow": slot.depth,
      "aria-valuetext": `${short(slot.depth)} depth units, ${Math.round(slot.left * 100)} % contrast left${page.failing.has(slot.name) ? ", fails the check" : ""}`,
    },
    inside,
  }, {
    slot: slot.name,
    move: (px, _, event) => to((held?.sides ?? sides).depth(px), event),
    ends: (last, event) => to(last ? sides.to : sides.from, event),
    step: (stride, event) => to(Math.abs(slot.depth) < 5 && Math.abs(stride) < 5 ? slot.depth + stride : slot.depth + ((camera + slot.depth) * stride) / 100, event),
  });
}

function topGrip(page, slot, half) {
  const sky = slot.anchor === "sky";
  const tall = section(page).skyLine;
  const over = sky ? tall - slot.lift - slot.height : slot.lift + slot.height;
  const x = sides.x(slot.depth);
  const y = Math.min(sides.ground - 4, Math.max(sides.top, sides.y(over)));
  const wide = Math.min(10, half);
  const to = (height, event) => set(slot.name, "falloff.height", tidy(Math.min(1e5, Math.max(1, height))), event);
  return grip(`top/${slot.name}`, {
    from: [x, y],
    attributes: {
      class: `grip up${page.subject === slot.name ? " chosen" : ""}`,
      "aria-label": `${sky ? "Bottom" : "Top"} edge of the ${sheetOf(page, slot.name)}: scale height`,
      "aria-orientation": "vertical",
      "aria-valuemin": 1, "aria-valuemax": 100000, "aria-valuenow": slot.height,
      "aria-valuetext": `${short(slot.height)} scene px at pan rate 1`,
    },
    inside: [
      shape("rect", { class: "target", x: x - half - 2, y: y - 12, width: 2 * half + 4, height: 24 }),
      shape("rect", { class: "bar", x: x - wide, y: y - 3, width: 2 * wide, height: 6, rx: 2 }),
    ],
  }, {
    slot: slot.name,
    move: (_, py, event) => {
      const over = (held?.sides ?? sides).over(py);
      to(sky ? tall - slot.lift - over : over - slot.lift, event);
    },
    ends: (last, event) => to(last !== sky ? section(page).reach - slot.lift : 1, event),
    step: (stride, event) => to(slot.height * (1 + (sky ? -stride : stride) * 0.02), event),
  });
}

function visibilityGrip(page) {
  const { visibility, nearest } = section(page);
  const x = sides.x(nearest + visibility);
  const name = `visibility ${short(visibility)}`;
  const wide = name.length * 6.6 + 12;
  const left = Math.min(Math.max(2, x - wide / 2), sides.width - wide - 2);
  const y = sides.ground - 19;
  const to = (value, event) => set(null, "air.visibility", tidy(Math.max(1, value)), event);
  return grip("visibility", {
    from: [x, 0],
    attributes: {
      class: "grip", "aria-label": "Visibility: distance at which 5 % contrast is left", "aria-orientation": "horizontal",
      "aria-valuemin": 1, "aria-valuemax": 1e9, "aria-valuenow": visibility, "aria-valuetext": `${short(visibility)} depth units`,
    },
    inside: [
      shape("line", { class: "seen", x1: x, x2: x, y1: sides.top - 4, y2: y }),
      shape("rect", { class: "target", x: x - 8, y: sides.top, width: 16, height: y - sides.top }),
      shape("rect", { class: "seen-pill", x: left, y, width: wide, height: 18, rx: 3 }),
      shape("text", { class: "seen-name", x: left + wide / 2, y: y + 13, "text-anchor": "middle" }, name),
    ],
  }, {
    slot: "",
    move: (px, _, event) => to((held?.sides ?? sides).depth(px) - nearest, event),
    ends: (last, event) => to((last ? sides.to : sides.from) - nearest, event),
    step: (stride, event) => to(visibility * (1 + stride * 0.02), event),
  });
}

const section = (page) => page.section;

/** The fixed parts: ground, axis, contrast curve. */
function backdrop(page) {
  const drawn = [shape("line", { class: "ground", x1: EDGE.left, x2: sides.width - EDGE.right, y1: sides.ground, y2: sides.ground })];
  for (const depth of ticks(sides)) {
    const x = sides.x(depth);
    drawn.push(shape("line", { class: "tick", x1: x, x2: x, y1: sides.ground, y2: sides.ground + 4 }));
    drawn.push(shape("text", { class: "axis", x, y: sides.ground + 17, "text-anchor": "middle" }, depth === 0 ? "0" : String(depth)));
  }
  drawn.push(shape("text", { class: "axis", x: sides.width - 4, y: sides.ground + 17, "text-anchor": "end" }, sides.width > 500 ? "depth" : ""));
  for (const percent of [100, 50, 5]) {
    const y = sides.left(percent / 100);
    drawn.push(shape("text", { class: "axis curve-name", x: sides.width - 4, y: y + 4, "text-anchor": "end" }, `${percent} %`));
  }
  const path = curve(section(page), sides);
  drawn.push(shape("path", { class: "curve-back", d: path }), shape("path", { class: "curve", d: path }));
  const edge = [...section(page).slots].filter((slot) => slot.fog && typeof slot.height === "number").sort((a, b) => a.depth - b.depth);
  const over = (slot) => (slot.anchor === "sky" ? section(page).skyLine - slot.lift - slot.height : slot.lift + slot.height);
  if (edge.length > 1) {
    const points = edge.map((slot) => `${sides.x(slot.depth).toFixed(1)},${Math.max(sides.top, sides.y(over(slot))).toFixed(1)}`);
    drawn.push(shape("polyline", { class: "top-edge", points: points.join(" ") }));
  }
  for (const slot of section(page).slots) drawn.push(shape("circle", { class: "dot", cx: sides.x(slot.depth), cy: sides.left(slot.left), r: 3.5 }));
  renew(still, drawn);
}

/** Draws the section. While a handle is held the scale stays, so that it stays under the pointer. */
export function showSection(page) {
  current = page;
  if (!page.section || !page.state) return;
  if (room.width < 50) return;
  sides = held?.sides ?? new Sides(page.section, room.width, room.height);
  paintDensity(by("density"), page.section, sides, held ? 4 : 2);
  // The state has the newest numbers; the section's data may be slightly older.
  const slots = [...page.section.slots].filter((slot) => page.slots.has(slot.name)).sort((a, b) => a.depth - b.depth);
  const labels = rows(page, slots);
  const tops = slots.filter((slot) => slot.fog && typeof slot.height === "number");
  const uprights = slots.map((slot, at) => slotGrip(page, slot, labels[at], halfTarget(slots, slot)));
  const wanted = [...uprights, visibilityGrip(page), ...tops.map((slot) => topGrip(page, slot, halfTarget(slots, slot)))];
  const lines = by("lines");
  put(lines, "viewBox", `0 0 ${sides.width} ${sides.height}`);
  backdrop(page);
  if (still.parentNode !== lines) lines.prepend(still);
  for (const [id, made] of grips) {
    if (!wanted.includes(made)) {
      made.remove();
      grips.delete(id);
    }
  }
  // Keeps the focus: no element that is in its place already is moved.
  const there = [...lines.children].slice(1);
  if (there.length !== wanted.length || there.some((one, place) => one !== wanted[place])) {
    const focused = document.activeElement;
    const keep = wanted.includes(focused) && (held || focused.matches(":focus"));
    if (keep) {
      const at = wanted.indexOf(focused);
      for (const made of wanted.slice(0, at)) lines.insertBefore(made, focused);
      for (const made of wanted.slice(at + 1)) lines.append(made);
    } else lines.append(...wanted);
  }
}

export function setUpSection(page, choose) {
  setUpGrips({
    choose: (name, focus) => { if (page.subject !== name || focus) choose(name, focus); },
    // A released handle keeps its place until the section with its value arrives.
    released: (moved) => { if (current && !moved) showSection(current); },
  });
  new ResizeObserver(([{ contentRect }]) => {
    room = contentRect;
    showSection(page);
  }).observe(by("section"));
}

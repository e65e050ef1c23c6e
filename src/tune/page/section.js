// The section: the scene from the side, like a cross-section of the weather. Slots are moved in depth, the fog's top edge up and down,
// and the visibility along the depth; everything also by the arrow keys.
import { send, gesture, gestureEnds, together, catchUp } from "./wire.js";
import { Sides, EDGE, rowsOf, svg, paintDensity, ticks, curve } from "./draw.js";
import { short, tidy } from "./field.js";

const by = (id) => document.getElementById(id);
let sides = null;
/** Its width and height; asked for once, since asking has the page laid out. */
let room = { width: 0, height: 0 };
/** Its position on the page, while a handle is held. */
let corner = [0, 0];
let held = null;
let chooses = () => {};
let current = null;
const grips = new Map();
const still = svg("g", { "aria-hidden": "true" });

function set(slot, key, value, event) {
  send({ do: "set", slot, key, value, gesture: gesture(`section/${slot}/${key}`) }, event);
}

/** A handle: dragged by the pointer, moved by keys. `move` gets the place in the section, `step` a direction and a stride. */
function grip(id, more, { move, step, slot }) {
  let made = grips.get(id);
  if (!made) {
    made = svg("g", { role: "slider", tabindex: 0, "data-grip": id });
    made.addEventListener("pointerdown", (event) => {
      if (event.button !== 0) return;
      event.preventDefault();
      made.focus({ preventScroll: true });
      made.setPointerCapture(event.pointerId);
      const box = by("lines").getBoundingClientRect();
      corner = [box.left, box.top];
      const [x, y] = at(event);
      held = { id, sides, from: made.at ?? made.work.from, x, y };
      gestureEnds();
      if (made.work.slot) chooses(made.work.slot);
    });
    made.addEventListener("pointermove", (event) => {
      if (held?.id !== id) return;
      const [x, y] = at(event);
      held.to = [held.from[0] + x - held.x, held.from[1] + y - held.y];
      together("held", () => follow(made));
      made.work.move(...held.to, event);
    });
    for (const end of ["pointerup", "pointercancel", "lostpointercapture"]) {
      made.addEventListener(end, () => {
        if (held?.id !== id) return;
        const moved = held.to;
        catchUp();
        held = null;
        gestureEnds();
        // A released handle keeps its place until the section with its value arrives.
        if (current && !moved) showSection(current);
      });
    }
    made.addEventListener("keydown", (event) => {
      if (event.ctrlKey || event.altKey || event.metaKey) return;
      const stride = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1, PageUp: 10, PageDown: -10 }[event.key];
      if (event.key === "Enter" && made.work.slot) chooses(made.work.slot, true);
      if (!stride) return;
      event.preventDefault();
      made.work.step(stride * (event.shiftKey ? 5 : 1), event);
    });
    made.addEventListener("focus", () => { if (made.work.slot && !held && made.matches(":focus-visible")) chooses(made.work.slot); });
    grips.set(id, made);
  }
  made.work = { move, step, slot, from: more.from };
  for (const [key, value] of Object.entries(more.attributes)) put(made, key, String(value));
  renew(made, more.inside);
  if (held?.id === id && held.to) follow(made);
  else {
    made.at = null;
    if (made.style.transform) made.style.transform = "";
  }
  return made;
}

/** What is held goes with the pointer; the rest of the section comes later. */
function follow(made) {
  if (held?.id !== made.dataset.grip || !held.to) return;
  const { width, top, ground } = sides;
  made.at = [Math.min(width - EDGE.right, Math.max(EDGE.left, held.to[0])), Math.min(ground - 4, Math.max(top, held.to[1]))];
  const [x, y] = made.at.map((place, axis) => place - made.work.from[axis]);
  made.style.transform = made.getAttribute("aria-orientation") === "vertical" ? `translate(0, ${y.toFixed(1)}px)` : `translate(${x.toFixed(1)}px, 0)`;
}

/** Setting an attribute to the value it has would still trigger a layout. */
function put(made, key, value) {
  if (made.getAttribute(key) !== value) made.setAttribute(key, value);
}

/** Makes the children like `fresh` but keeps existing elements: one under the pointer isn't replaced, and an equal one isn't laid out
 * again. */
function renew(made, fresh) {
  const old = [...made.children];
  if (old.length !== fresh.length || old.some((child, place) => child.tagName !== fresh[place].tagName)) return made.replaceChildren(...fresh);
  old.forEach((child, place) => {
    for (const { name, value } of fresh[place].attributes) put(child, name, value);
    if (child.tagName === "text" && child.textContent !== fresh[place].textContent) child.textContent = fresh[place].textContent;
  });
}

function at(event) {
  return [event.clientX - corner[0], event.clientY - corner[1]];
}

/** Names in rows above the lines, so that none lies over another. */
function rows(slots) {
  const ends = [];
  return slots.map((slot) => {
    const wide = Math.min(slot.name.length * 6.7 + 14, 120);
    const x = sides.x(slot.depth);
    const left = Math.min(Math.max(2, x - wide / 2), sides.width - wide - 2);
    let row = ends.findIndex((end) => end + 4 <= left);
    if (row < 0) row = ends.length < rowsOf(sides.width) ? ends.length : ends.indexOf(Math.min(...ends));
    ends[row] = left + wide;
    return { left, wide, y: 3 + row * 19 };
  });
}

function slotGrip(page, slot, label) {
  const x = sides.x(slot.depth);
  const top = Math.min(sides.ground - 12, Math.max(sides.top - 4, sides.y(slot.art ?? section(page).reach * 0.25)));
  const inside = [
    svg("line", { class: "upright-back", x1: x, x2: x, y1: label.y + 17, y2: sides.ground }),
    svg("line", { class: "upright", x1: x, x2: x, y1: slot.art === null ? label.y + 17 : top, y2: sides.ground }),
    svg("line", { class: "tick", x1: x, x2: x, y1: label.y + 17, y2: top }),
    svg("rect", { class: "target", x: x - 12, y: sides.top, width: 24, height: sides.ground - sides.top }),
    svg("rect", { class: "pill", x: label.left, y: label.y, width: label.wide, height: 17, rx: 3 }),
    svg("text", { class: "pill-name", x: label.left + label.wide / 2, y: label.y + 12.5, "text-anchor": "middle" }, slot.name),
  ];
  const camera = section(page).camera;
  const to = (depth, event) => {
    const least = -camera * 0.95;
    set(slot.name, "slot.depth", tidy(Math.max(least, depth)), event);
  };
  return grip(`depth/${slot.name}`, {
    from: [x, 0],
    attributes: {
      class: `grip${page.subject === slot.name ? " chosen" : ""}`,
      "aria-label": `Depth of ${slot.name}`,
      "aria-orientation": "horizontal",
      "aria-valuemin": short(-camera), "aria-valuemax": 1e9, "aria-valuenow": slot.depth,
      "aria-valuetext": `${short(slot.depth)} depth units, ${Math.round(slot.left * 100)} % contrast left`,
    },
    inside,
  }, {
    slot: slot.name,
    move: (px, _, event) => to((held?.sides ?? sides).depth(px), event),
    step: (stride, event) => to(Math.abs(slot.depth) < 5 && Math.abs(stride) < 5 ? slot.depth + stride : slot.depth + ((camera + slot.depth) * stride) / 100, event),
  });
}

function topGrip(page, slot) {
  const sky = slot.anchor === "sky";
  const tall = section(page).skyLine;
  const over = sky ? tall - slot.lift - slot.height : slot.lift + slot.height;
  const x = sides.x(slot.depth);
  const y = Math.min(sides.ground - 4, Math.max(sides.top, sides.y(over)));
  const to = (height, event) => set(slot.name, "falloff.height", tidy(Math.min(1e5, Math.max(1, height))), event);
  return grip(`top/${slot.name}`, {
    from: [x, y],
    attributes: {
      class: `grip up${page.subject === slot.name ? " chosen" : ""}`,
      "aria-label": `${sky ? "Bottom" : "Top"} edge of the fog at ${slot.name}: scale height`,
      "aria-orientation": "vertical",
      "aria-valuemin": 1, "aria-valuemax": 100000, "aria-valuenow": slot.height,
      "aria-valuetext": `${short(slot.height)} scene px at pan rate 1`,
    },
    inside: [
      svg("rect", { class: "target", x: x - 14, y: y - 12, width: 28, height: 24 }),
      svg("rect", { class: "bar", x: x - 10, y: y - 3, width: 20, height: 6, rx: 2 }),
    ],
  }, {
    slot: slot.name,
    move: (_, py, event) => {
      const over = (held?.sides ?? sides).over(py);
      to(sky ? tall - slot.lift - over : over - slot.lift, event);
    },
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
      svg("line", { class: "seen", x1: x, x2: x, y1: sides.top - 4, y2: y }),
      svg("rect", { class: "target", x: x - 8, y: sides.top, width: 16, height: y - sides.top }),
      svg("rect", { class: "seen-pill", x: left, y, width: wide, height: 18, rx: 3 }),
      svg("text", { class: "seen-name", x: left + wide / 2, y: y + 13, "text-anchor": "middle" }, name),
    ],
  }, {
    slot: "",
    move: (px, _, event) => to((held?.sides ?? sides).depth(px) - nearest, event),
    step: (stride, event) => to(visibility * (1 + stride * 0.02), event),
  });
}

const section = (page) => page.section;

/** The fixed parts: ground, axis, contrast curve. */
function backdrop(page) {
  const drawn = [svg("line", { class: "ground", x1: EDGE.left, x2: sides.width - EDGE.right, y1: sides.ground, y2: sides.ground })];
  for (const depth of ticks(sides)) {
    const x = sides.x(depth);
    drawn.push(svg("line", { class: "tick", x1: x, x2: x, y1: sides.ground, y2: sides.ground + 4 }));
    drawn.push(svg("text", { class: "axis", x, y: sides.ground + 17, "text-anchor": "middle" }, depth === 0 ? "0" : String(depth)));
  }
  drawn.push(svg("text", { class: "axis", x: sides.width - 4, y: sides.ground + 17, "text-anchor": "end" }, sides.width > 500 ? "depth" : ""));
  for (const percent of [100, 50, 5]) {
    const y = sides.left(percent / 100);
    drawn.push(svg("text", { class: "axis curve-name", x: sides.width - 4, y: y + 4, "text-anchor": "end" }, `${percent} %`));
  }
  const path = curve(section(page), sides);
  drawn.push(svg("path", { class: "curve-back", d: path }), svg("path", { class: "curve", d: path }));
  const edge = [...section(page).slots].filter((slot) => slot.fog && typeof slot.height === "number").sort((a, b) => a.depth - b.depth);
  const over = (slot) => (slot.anchor === "sky" ? section(page).skyLine - slot.lift - slot.height : slot.lift + slot.height);
  if (edge.length > 1) {
    const points = edge.map((slot) => `${sides.x(slot.depth).toFixed(1)},${Math.max(sides.top, sides.y(over(slot))).toFixed(1)}`);
    drawn.push(svg("polyline", { class: "top-edge", points: points.join(" ") }));
  }
  for (const slot of section(page).slots) drawn.push(svg("circle", { class: "dot", cx: sides.x(slot.depth), cy: sides.left(slot.left), r: 3.5 }));
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
  const labels = rows(slots);
  const tops = slots.filter((slot) => slot.fog && typeof slot.height === "number");
  const uprights = slots.map((slot, at) => slotGrip(page, slot, labels[at]));
  const wanted = [...uprights, visibilityGrip(page), ...tops.map((slot) => topGrip(page, slot))];
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
  chooses = (name, focus) => { if (page.subject !== name || focus) choose(name, focus); };
  new ResizeObserver(([{ contentRect }]) => {
    room = contentRect;
    showSection(page);
  }).observe(by("section"));
}

// Drawing of the section: positions of depths and heights, the density of the fog, the contrast curve.
const SVG = "http://www.w3.org/2000/svg";

/** An SVG element. */
export function svg(name, more = {}, ...inside) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(more)) made.setAttribute(key, value);
  made.append(...inside);
  return made;
}

/** What an SVG element is to be: its name, its attributes, its text. */
export const shape = (name, attributes = {}, text = "") => ({ name, attributes, text });

export const EDGE = { left: 14, right: 46, foot: 24 };
/** Rows of names that fit. */
export const rowsOf = (width) => (width < 520 ? 5 : 3);

/** From depths and heights to places, and back. Depth runs by the logarithm of its distance from the eye. */
export class Sides {
  constructor(section, width, height) {
    const eye = (depth) => Math.max(section.camera + depth, section.camera * 1e-3);
    const depths = section.slots.map((slot) => slot.depth);
    const far = Math.max(...depths, section.nearest + section.visibility);
    const [from, to] = [Math.log(eye(Math.min(...depths, 0)) * 0.82), Math.log(eye(far) * 1.28)];
    this.top = 8 + 19 * rowsOf(width);
    const [wide, tall] = [width - EDGE.left - EDGE.right, height - this.top - EDGE.foot];
    Object.assign(this, { width, height, reach: section.reach, ground: height - EDGE.foot, tall });
    this.x = (depth) => EDGE.left + (wide * (Math.log(eye(depth)) - from)) / (to - from);
    this.depth = (x) => Math.exp(from + ((x - EDGE.left) / wide) * (to - from)) - section.camera;
    this.y = (over) => this.ground - (tall * over) / section.reach;
    this.over = (y) => ((this.ground - y) / tall) * section.reach;
    // Contrast uses the same height, from 0 to 1.
    this.left = (share) => this.ground - tall * share;
    this.from = this.depth(EDGE.left);
    this.to = this.depth(width - EDGE.right);
  }
}

function rgb(hex) {
  return [1, 3, 5].map((at) => parseInt(hex.slice(at, at + 2), 16));
}

let painted = {};
/** The density of the fog: each sheet holds the air between its slot and the next farther one. */
export function paintDensity(canvas, section, sides, coarse) {
  const { from, to } = sides;
  const now = { section, from, to, wide: sides.width, tall: sides.height, coarse };
  if (Object.keys(now).every((word) => painted[word] === now[word])) return;
  painted = now;
  const [width, height] = [sides.width, sides.height].map((side) => Math.max(1, Math.round(side / coarse)));
  if (canvas.width !== width || canvas.height !== height) Object.assign(canvas, { width, height });
  const pen = canvas.getContext("2d");
  const image = pen.createImageData(width, height);
  const near = [...section.slots].sort((a, b) => a.depth - b.depth).filter((slot) => slot.density.length);
  if (near.length === 0) return;
  const places = near.map((slot) => sides.x(slot.depth));
  const ends = places.map((x, at) => places[at + 1] ?? sides.width - EDGE.right);
  const colours = near.map((slot) => rgb(slot.haze ?? section.haze));
  // Each slot's density over height, once.
  const densities = near.map((slot) => {
    const { length } = slot.density;
    const strength = 0.75 * Math.min(slot.thickness, 3);
    return Float32Array.from({ length: height }, (_, py) => {
      const place = (sides.over((py + 0.5) * coarse) / section.reach) * length - 0.5;
      const low = Math.max(0, Math.min(length - 1, Math.floor(place)));
      const high = Math.min(low + 1, length - 1);
      return (slot.density[low] + (slot.density[high] - slot.density[low]) * Math.min(1, Math.max(0, place - low))) * strength;
    });
  });
  let ground = 0;
  while (ground < height && sides.over((ground + 0.5) * coarse) >= 0) ground += 1;
  const { data } = image;
  for (let px = 0; px < width; px += 1) {
    const x = (px + 0.5) * coarse;
    if (x < places[0] || x > sides.width - EDGE.right) continue;
    let at = places.findLastIndex((place) => place <= x);
    at = Math.max(at, 0);
    // The density blends into that of the next sheet, so that no false steps show.
    const share = Math.min(1, Math.max(0, (x - places[at]) / Math.max(1, ends[at] - places[at])));
    const next = Math.min(at + 1, near.length - 1);
    const blend = share * share * (3 - 2 * share);
    const [own, other] = [densities[at], densities[next]];
    const [red, green, blue] = colours[at].map((code, c) => code * (1 - blend) + colours[next][c] * blend);
    for (let py = 0, spot = px * 4; py < ground; py += 1, spot += width * 4) {
      data[spot] = red;
      data[spot + 1] = green;
      data[spot + 2] = blue;
      data[spot + 3] = 235 * (1 - Math.exp(-(own[py] * (1 - blend) + other[py] * blend)));
    }
  }
  pen.putImageData(image, 0, 0);
}

/** Round depths for the axis. */
export function ticks(sides) {
  const all = [0];
  for (let power = 1; power < 1e9; power *= 10) for (const step of [1, 2, 5]) all.push(power * step, -power * step);
  const inside = all.filter((depth) => depth > sides.from && depth < sides.to).sort((a, b) => (Math.abs(Math.log10(Math.abs(a) || 1)) % 1) - (Math.abs(Math.log10(Math.abs(b) || 1)) % 1));
  const kept = [];
  for (const depth of [0, ...inside.filter((depth) => depth !== 0)]) {
    const x = sides.x(depth);
    const wide = String(depth).length * 7 + 14;
    if (kept.every((other) => Math.abs(sides.x(other) - x) > wide)) kept.push(depth);
  }
  return kept;
}

/** The contrast that the extinction law leaves over depth, from the nearest slot on. */
export function curve(section, sides) {
  let path = "";
  for (let x = Math.max(EDGE.left, sides.x(section.nearest)); x <= sides.width - EDGE.right; x += 3) {
    const left = Math.exp(-section.extinction * Math.max(0, sides.depth(x) - section.nearest));
    path += `${path ? "L" : "M"}${x.toFixed(1)} ${sides.left(left).toFixed(1)}`;
  }
  return path;
}

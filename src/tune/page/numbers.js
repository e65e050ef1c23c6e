// Numbers and other values: how they read, and how a slider's way maps to them.

/** A number as it is, but for what arithmetic leaves in its last digits. */
export function short(number) {
  if (typeof number !== "number") return String(number);
  return String(Number(number.toPrecision(15)));
}

/** Points of a curve, as they are typed and read: each a place and a factor. */
export function pointsText(points) {
  return points.map(([place, factor]) => `${short(place)}: ${short(factor)}`).join(", ");
}

/** Points that were typed; not a number where one isn't. */
export function pointsOf(text) {
  return text.split(/[,;]/).map((point) => point.split(":").map((one) => (one.trim() === "" ? NaN : Number(one))));
}

/** Any value in words. */
export function words(value) {
  if (value === null || value === undefined || value === "") return "not set";
  if (value === true) return "yes";
  if (value === false) return "no";
  if (Array.isArray(value) && Array.isArray(value[0])) return pointsText(value);
  if (Array.isArray(value)) return value.map(short).join(" x ");
  return typeof value === "number" ? short(value) : value;
}

/** A number short enough to read, fine enough for its size. */
export function tidy(value, { whole = false, min = -Infinity, max = Infinity } = {}) {
  const digits = Math.max(0, 2 - Math.floor(Math.log10(Math.max(Math.abs(value), 1e-3))));
  const rounded = whole ? Math.round(value) : Number(value.toFixed(Math.min(digits, 6)));
  return Math.min(max, Math.max(min, rounded));
}

const ratio = (from, to) => ({ at: (t) => from * (to / from) ** t, of: (v) => Math.log(Math.max(v, from) / from) / Math.log(to / from) });
const even = (from, to) => ({ at: (t) => from + (to - from) * t, of: (v) => (v - from) / (to - from) });

/** From `from` over `middle` to `to`, the finer the nearer to the middle. */
function fine(from, middle, to) {
  // Of the way out, s; 0.35 s + 0.65 s² of the distance.
  const out = (s) => 0.35 * s + 0.65 * s * s;
  const back = (d) => (Math.sqrt(0.35 ** 2 + 4 * 0.65 * d) - 0.35) / (2 * 0.65);
  return {
    at: (t) => (t < 0.5 ? middle - (middle - from) * out(1 - 2 * t) : middle + (to - middle) * out(2 * t - 1)),
    of: (v) => (v < middle ? 0.5 - back(Math.min(1, (middle - v) / (middle - from))) / 2 : 0.5 + back(Math.min(1, (v - middle) / (to - middle))) / 2),
  };
}

/** Useful ranges: least, middle, most. Those of lengths are shares of the view's height. Chosen by eye. */
const PLAIN = {
  "grade.thickness": [0, 1, 5], "bands.shape": [0, 1, 2], "bands.warp": [0, 0.15, 1], "bands.flow": [0, 12, 60], "bands.flow_angle": [-90, 0, 180], "air.loop_seconds": [2, 16, 60], "bands.octaves": [1, 5, 10], "bands.stretch": [0.2, 4, 16],
  "soften.stretch": [0.2, 2, 10], "smear.angle": [-45, 0, 45], "falloff.slope": [-30, 0, 30], "rim.separation": [0, 6, 30], "slot.separation": [0, 6, 30], "air.drift": [-100, 0, 100],
  "air.light": [-180, 90, 270], floor: [0, 0.1, 0.5],
};
const OF_HEIGHT = {
  "falloff.height": [0.003, 0.2, 1.2], "falloff.beyond": [0.003, 0.2, 1.2], "falloff.lift": [-0.5, 0, 0.8], "falloff.sway": [0, 0.03, 0.3], "falloff.wave": [0.05, 1.1, 5],
  "smear.length": [0, 0.12, 1], "soften.sigma": [0, 0.012, 0.1], "bands.size": [0.01, 0.12, 0.8], "grade.aloft": [0.05, 0.6, 3], "rim.spread": [0.002, 0.025, 0.2],
  horizon: [0, 0.5, 1], ground: [0, 0.8, 1.3], sky: [-0.5, 0, 1], "slot.line": [0, 0.8, 1.3], "slot.y": [-1, 0.3, 1.2], "slot.fade_from": [-0.2, 0.5, 1.2], "slot.fade_over": [0.005, 0.2, 1],
};
/** Distances, as shares of the scene's depth from the nearest slot to the farthest. */
const OF_DEPTH = { "air.visibility": [0.02, 5], "air.clear": [0.1, 100], "air.beyond": [0.02, 5] };

/** Maps a slider's way, 0 to 1, to the useful range of `path`. `scene` has the view, the camera and the depths. */
export function scaleOf(path, { minimum: min, maximum: max }, whole, scene) {
  const inside = (range) => range.map((one) => Math.min(max, Math.max(min, one)));
  if (PLAIN[path]) return () => fine(...inside(PLAIN[path]));
  if (OF_HEIGHT[path]) return () => fine(...inside(OF_HEIGHT[path].map((share) => share * scene().view[1])));
  if (OF_DEPTH[path]) return () => ratio(...inside(OF_DEPTH[path].map((share) => share * scene().deep)));
  if (path === "slot.depth") return () => fromEye(scene());
  if (max - min <= 1000 || (whole && max - min <= 64)) return () => even(min, max);
  if (min > 0 && max / min <= 1e5) return () => ratio(min, max);
  return (value) => {
    const size = Math.max(Math.abs(value), 10);
    if (min >= 0 && value > 0) return ratio(Math.max(min, value / 6, 1e-3), Math.min(max, value * 6));
    return even(Math.max(min, value - size * 2), Math.min(max, value + size * 2));
  };
}

/** Depths, by the ratio of their distances from the eye, as the section has them. */
function fromEye({ camera, far }) {
  const way = ratio(camera * 0.3, camera + far * 1.5 + camera * 0.5);
  return { at: (t) => way.at(t) - camera, of: (v) => way.of(v + camera) };
}

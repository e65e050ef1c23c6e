// What the page calls things: keys in a painter's words, sheets by what stands on either side of them.

const NAMES = {
  "grade.thickness": "thickness", "falloff.height": "top", "soften.sigma": "softness", "smear.length": "smear", "bands.size": "size", "bands.shape": "shape", "bands.flow": "flow", "bands.flow_angle": "flow direction",
  "slot.along": "along the travel", "air.along": "along the travel", "slot.haze": "colour", "air.haze": "colour", "air.visibility": "visibility",
};

/** The name of a key. */
export function nameOf(key) {
  return NAMES[key.path] ?? key.name.replaceAll("_", " ");
}

const HELP = {
  "grade.thickness": "How thick this fog is. 1 is what the visibility makes of the distance; 0 takes the fog away, 2 is twice the air.",
  "falloff.height": "How high the fog reaches: a third of it is left at this height over its line. \"inf\" fills the sheet to the top.",
  "soften.sigma": "How soft its edges are.",
  "smear.length": "How far the fog is drawn out sideways, as by wind.",
  "bands.size": "How tall its largest shapes are.",
  "bands.shape": "How much shape it has: 0 is an even veil, 1 as the preset has it, 2 bold heaps and gaps.",
  "air.visibility": "How far one sees: at this distance a dark shape is all but gone. Smaller is thicker air.",
  "air.haze": "Colour of the fog; usually the sky's at the horizon. \"sampled\" takes it from the farthest picture.",
  "slot.haze": "A colour of its own for this fog, mixed with the scene's.",
  "slot.art": "The picture that stands here.",
  "slot.along": "How dense this fog is along the travel, besides the air's own curve: places and factors, like 0: 1, 4000: 3. It is drawn under the picture.",
  "air.along": "How dense all fog is along the travel: places and factors, like 0: 1, 4000: 3. It is drawn under the picture.",
  "slot.sheet": "A picture that is its sheet as it is, instead of one that is made: neither the recipe nor the air changes it.",
  "slot.strokes": "A picture of strokes that become its fog: white adds, black clears.",
};

/** What a key does, for a painter: no notation of files. */
export function helpOf(key) {
  const unit = key.unit ? ` In ${key.unit}.` : "";
  const without = key.without ? ` Unless set: ${key.without.replaceAll('"', "")}.` : "";
  return `${HELP[key.path] ?? key.about}${unit}${without}`;
}

const depthOf = (slot) => slot.values["slot.depth"]?.[0] ?? 0;

/** A slot's neighbours in depth. */
export function neighbours(page, name) {
  const slots = [...page.slots.values()].map((slot, at) => [depthOf(slot), at, slot.name]).sort(([a, i], [b, j]) => a - b || j - i).map(([, , one]) => one);
  const at = slots.indexOf(name);
  return { nearer: slots[at - 1] ?? null, farther: slots[at + 1] ?? null };
}

/** The picture that is a slot's sheet; none where that is made. */
export function ownSheet(page, name) {
  return page.slots.get(name)?.values["slot.sheet"]?.[0] ?? null;
}

/** A slot's sheet, by what it hangs between: it stands for the air behind the slot. */
export function sheetOf(page, name) {
  const { farther } = neighbours(page, name);
  return farther ? `air between the ${name} and the ${farther}` : `air behind the ${name}`;
}

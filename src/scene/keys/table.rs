//! The table itself.

use crate::scene::keys::Fallback::{self, Like, Literal, OfLowestView, OfView, Required, Words};
use crate::scene::keys::{Key, Kind, SAMPLED};

/// Scene px.
const PX: &str = "scene px";
/// Scene px on the play plane; elsewhere times the pan rate.
const RATE_PX: &str = "scene px at pan rate 1";
/// Depth units.
const DEPTH: &str = "depth units";
/// Degrees.
const DEGREES: &str = "degrees";

/// Farthest place that a position may name, px or depth units.
const FAR: f64 = 1e6;

/// Every key of scene and preset files, in the order in which documents list them.
#[rustfmt::skip] // One row, one line.
pub const KEYS: &[Key] = &[
    // The scene.
    key("name", Kind::Text, "", Words("the file's name"), "Display name."),
    key("view", Kind::Pair { min: 1.0, max: 65_536.0 }, PX, Required, "Width and height of the camera's frame."),
    key("also_view", Kind::Pairs { min: 1.0, max: 65_536.0, most: 16 }, PX, Words("none"), "Smaller frames that the game shows too, each no wider and no taller than the view; `plan` and `check` say what changes in them."),
    key("travel", Kind::NumberOrPair { min: 0.0, max: 1e7 }, PX, Literal("0"), "How far the camera pans on the play plane, to the right and down."),
    key("camera", from(1e-3, 1e9), DEPTH, OfView(0, 0.5, "half the view's width"), "The eye's distance from the play plane."),
    key("horizon", from(-FAR, FAR), PX, OfView(1, 0.52, "0.52 of the view's height"), "Height of the horizon, from the top of the view down."),
    key("ground", from(-FAR, FAR), PX, OfLowestView(0.83, "0.83 of the view's height, with the camera at its lowest"), "Height of the ground line on the play plane."),
    key("sky", from(-FAR, FAR), PX, Literal("0"), "Height of the sky line on the play plane."),
    key("seed", Kind::Whole { min: 0, max: i64::MAX }, "", Literal("1"), "Seed of all noise; each slot derives its own from it and from its name."),
    key("preset", Kind::Preset, "", Literal("\"radiation-fog\""), "The preset that every slot's recipe starts from."),
    key("floor", from(0.0, 50.0), "CIE L*", Literal("0"), "Lifts black in pictures and fog to this lightness, so that nothing is pure black."),
    key("backdrop", Kind::Colour, "", Like("air.haze", "the haze"), "Colour that the still is drawn on."),
    // The air.
    key("air.haze", Kind::ColourOr(SAMPLED), "", Literal("\"#c3ccd4\""), "Colour of the fog, usually the sky's at the horizon (for a deck: where it hangs); \"sampled\" picks it from the farthest picture."),
    key("air.aloft", Kind::Colour, "", Words("the haze"), "Colour that the haze blends into away from the anchor line."),
    key("air.glow", Kind::Colour, "", Words("the haze, lightened"), "Colour that the lit side of the fog shifts toward."),
    key("air.shade", Kind::Colour, "", Words("the haze, darkened"), "Colour that the unlit side of the fog shifts toward."),
    key("air.visibility", from(1e-3, 1e9), DEPTH, Words("the preset's"), "Distance at which 5 % of contrast remains, along the line of the fog."),
    key("air.clear", endless(1e-3, 1e9), DEPTH, Words("the preset's, as many times the visibility"), "Distance at which 5 % of contrast remains outside the fog, at any height; inf: there is no other air."),
    key("air.anchor", ANCHOR, "", Words("the preset's"), "Where the fog lies: on the ground, or under the sky line."),
    key("air.light", from(-360.0, 360.0), DEGREES, Literal("135"), "Where the light comes from: 0 right, 90 above, 180 left."),
    key("air.blending", Kind::Choice(&["encoded", "linear"]), "", Literal("\"encoded\""), "How the target renderer blends: stored sRGB values, or linear light."),
    key("air.beyond", from(0.0, 1e9), DEPTH, Like("air.visibility", "the visibility"), "Depth of the air behind the farthest slot."),
    key("air.drift", from(-1e4, 1e4), "scene px per second at pan rate 1", Literal("12"), "Suggested speed at which fog drifts to the right; slower far away."),
    key("air.loop_seconds", from(1.0, 3600.0), "seconds", Literal("16"), "Duration of the loop that the frames of animated fog make."),
    key("air.along", ALONG, PX, Words("1 throughout"), "Factor on the density of all fog along the travel: points of [place, factor], smooth between."),
    // The light on the pictures.
    key("light.cast", Kind::Colour, "", Literal("\"#ffffff\""), "Colour of the light that falls on the pictures; it multiplies them in linear light."),
    key("light.exposure", from(-16.0, 16.0), "stops", Literal("0"), "How much lighter that light makes the pictures: -1 halves it, 1 doubles it."),
    key("light.keep", from(0.0, 100.0), "CIE L*", Literal("100"), "What a picture shows lighter than this, on a scale of 0 to 100, keeps its own light, as lit windows and lamps do."),
    // Textures.
    key("texture.fit", Kind::Fit, "", Literal("\"full\""), "Size of stored sheets: as drawn, half, powers of two, or the smallest within an error in 8-bit steps."),
    key("texture.alpha", Kind::Choice(&["straight", "premultiplied"]), "", Literal("\"straight\""), "How colour and alpha are stored."),
    key("texture.side", Kind::Whole { min: 64, max: 32_768 }, "texels", Literal("32768"), "Maximum side of a texture; longer ones are cut into tiles. 2048, 4096 and 8192 are usual."),
    key("texture.trim", Kind::Flag, "", Literal("false"), "Whether empty margins are cropped; never along a repeat."),
    // Rims.
    key("rim.separation", from(0.0, 60.0), "CIE L*", Literal("6"), "Lightness difference that rims aim for across an outline; 0 for no rims."),
    key("rim.spread", from(1.0, 1024.0), RATE_PX, Literal("26"), "Standard deviation of a rim's blur; widened where an edge would show."),
    key("rim.most", from(0.0, 0.95), "", Literal("0.5"), "Maximum rim opacity; places that would need more are left as they are and reported."),
    key("rim.darken", Kind::Flag, "", Literal("false"), "Whether a rim may darken where the haze is no lighter than the picture."),
    key("rim.dark", Kind::Colour, "", Words("the haze at 0.3 of its lightness"), "Colour of a darkening rim."),
    // Limits of a check.
    key("check.below", SHARE, "", Literal("0.1"), "Maximum share of a slot's outline below its wanted separation."),
    key("check.darkest", from(0.0, 100.0), "CIE L*", Literal("0"), "Lowest lightness allowed in the frame."),
    key("check.lightest", from(0.0, 100.0), "CIE L*", Literal("100"), "Highest lightness allowed in the frame."),
    key("check.steady", Kind::Flag, "", Literal("false"), "Whether lightness must be monotonic from far to near."),
    key("check.memory", endless(0.0, 1e6), "MB", Literal("inf"), "Maximum texture memory of all files together, at four bytes a texel."),
    key("check.overdraw", endless(0.0, 1e4), "", Literal("inf"), "Maximum number of texels blended per texel of the view."),
    // Step 1.
    key("bands.kind", Kind::Choice(&["smooth", "billowed", "ridged", "cellular"]), "", Literal("\"smooth\""), "Kind of noise: soft drifts, heaps, thin crests, or rounded cells."),
    key("bands.amount", SHARE, "", Literal("0.6"), "Share of the density that comes from bands; 0 is even fog."),
    key("bands.size", from(1.0, 8192.0), RATE_PX, Literal("120"), "Height of the largest features."),
    key("bands.stretch", from(0.05, 40.0), "", Literal("4"), "Width of a feature divided by its height; below 1 it is upright."),
    key("bands.octaves", Kind::Whole { min: 1, max: 24 }, "", Literal("5"), "Number of noise octaves."),
    key("bands.gain", SHARE, "", Literal("0.5"), "Amplitude of each octave relative to the one before."),
    key("bands.lacunarity", from(1.2, 4.0), "", Literal("2"), "Frequency of each octave relative to the one before."),
    key("bands.coverage", from(0.02, 0.98), "", Literal("0.6"), "Share of the area that fog covers."),
    key("bands.contrast", SHARE, "", Literal("0.35"), "Hardness of the edge between fog and gap: 0 none, 1 nearly cut out."),
    key("bands.warp", from(0.0, 4.0), "", Literal("0.125"), "How far slow noise displaces features, as a share of their size."),
    key("bands.shape", from(0.0, 2.0), "", Literal("1"), "Scales all structure at once, bands, breath, sway, heaps, strands and torn ends: 0 is even, 1 is the recipe's, 2 is bold."),
    key("bands.flow", from(0.0, 1e3), "scene px per second at pan rate 1", Literal("12"), "Speed at which the fog flows through its sheet in frames of animated fog."),
    key("bands.flow_angle", from(-360.0, 360.0), DEGREES, Literal("0"), "Where it flows to: 0 along the drift, 90 up, -90 down, 180 against the drift."),
    // Step 2.
    key("falloff.height", endless(1.0, FAR), RATE_PX, Literal("220"), "Height over which fog thins to 37 % on the open side of the line; inf for no thinning."),
    key("falloff.beyond", endless(1.0, FAR), RATE_PX, Literal("inf"), "The same on the far side of the line; inf fills it."),
    key("falloff.lift", from(-1e5, 1e5), RATE_PX, Literal("0"), "Distance of the fog's line from the anchor line, toward the open side."),
    key("falloff.breath", from(0.0, 0.95), "", Literal("0.35"), "How much the scale height varies along the view, as a share of it."),
    key("falloff.sway", from(0.0, 1e5), RATE_PX, Literal("0"), "How far the line rises and falls along the view."),
    key("falloff.firm", from(0.0, 1.0), "", Literal("0"), "How much of the fog is a body with a top of its own, over a foot that stays whole; the rest thins evenly upward."),
    key("falloff.heaps", from(0.0, 4.0), "", Literal("0"), "How far heaps and bays displace the top of the body, in scale heights."),
    key("falloff.strands", SHARE, "", Literal("0"), "How dense the long, thin strands are that stand off over the top of the body, fewer the higher; 0 for none."),
    key("falloff.wave", from(8.0, FAR), RATE_PX, Literal("1200"), "Length over which breath and sway vary; heaps are about half as wide."),
    key("falloff.slope", from(-60.0, 60.0), DEGREES, Literal("0"), "How steeply the line rises to the right, with all that lies along it; the sheet then covers the whole travel, and doesn't drift."),
    // Step 3.
    key("smear.length", from(0.0, 16_384.0), RATE_PX, Literal("120"), "Length of the directional blur; 0 for none."),
    key("smear.angle", from(-90.0, 90.0), DEGREES, Literal("0"), "Direction of the smear: 0 is level, positive turns its right end upward."),
    // Step 4.
    key("soften.sigma", from(0.0, 2048.0), RATE_PX, Literal("12"), "Standard deviation of the Gaussian along the height; 0 for none."),
    key("soften.stretch", from(0.05, 40.0), "", Literal("2"), "Standard deviation along the width divided by that along the height."),
    key("soften.torn", SHARE, "", Literal("0"), "How far the fog's ends over its line are torn after the blurs, by fine bands; what is thick stays whole."),
    // Step 5.
    key("grade.thickness", from(0.0, 100.0), "", Literal("1"), "Factor on the optical depth that follows from the visibility, less the clear air's; 1 is physically correct."),
    key("grade.lit", SHARE, "", Literal("0.2"), "How much the side facing the light is brightened."),
    key("grade.aloft", endless(1.0, FAR), RATE_PX, Literal("600"), "Distance from the line at which the haze reaches the aloft colour."),
    // A slot.
    key("slot.name", Kind::Name, "", Required, "Unique name; output files are named after it."),
    key("slot.depth", from(-1e9, 1e9), DEPTH, Required, "0 on the play plane, positive behind it, negative in front."),
    key("slot.art", Kind::Path, "", Words("none"), "Its picture, PNG or SVG, in the scene's folder or below; FILE.ora#LAYER is a layer of a layered file."),
    key("slot.x", from(-1e7, 1e7), PX, Words("the layer's, else 0"), "Left edge of the picture, with the camera at the start of the travel."),
    key("slot.y", from(-FAR, FAR), PX, Words("the layer's, else its foot on the ground"), "Top edge of the picture."),
    key("slot.width", from(1.0, 1e7), PX, Words("the picture's own"), "Width of the picture."),
    key("slot.visible", Kind::Flag, "", Words("the layer's, else true"), "Whether its picture is drawn; its fog is made either way."),
    key("slot.repeat", Kind::FlagOrNumber { min: 1.0, max: 1e7 }, PX, Literal("false"), "Repeats the picture along x: edge to edge, or at this interval."),
    key("slot.flip", Kind::Flag, "", Literal("false"), "Mirrors the picture left to right."),
    key("slot.separation", from(0.0, 60.0), "CIE L*", Words("that of [rim]"), "Lightness difference that its rim aims for across its outline; 0 for no rim."),
    key("slot.tint", SHARE, "", Literal("0"), "Share of the fog in front of it that is mixed into the picture's own colours."),
    key("slot.cast", Kind::Colour, "", Words("that of [light]"), "Colour of the light on its picture."),
    key("slot.exposure", from(-16.0, 16.0), "stops", Words("that of [light]"), "How much lighter the light makes its picture."),
    key("slot.keep", from(0.0, 100.0), "CIE L*", Words("that of [light]"), "What its picture shows lighter than this, on a scale of 0 to 100, keeps its own light."),
    key("slot.fade", Kind::Choice(&["no", "top", "foot"]), "", Literal("\"no\""), "Which end of the picture fades into the background."),
    key("slot.fade_from", from(-FAR, FAR), PX, Words("so that it ends at the picture's edge"), "Height at which the fade starts."),
    key("slot.fade_over", from(1.0, 1e5), PX, Words("a third of the picture's height"), "Length of the fade."),
    key("slot.fade_curve", Kind::Choice(&["smooth", "straight", "early", "late"]), "", Literal("\"smooth\""), "Shape of the fade: gentle at both ends, even, fastest at the start, or fastest at the end."),
    key("slot.clear", SHARE, "", Words("1; 0 where the picture behind it fills the view behind all others, as a sky painted with its air does"), "Share of the clear air in its sheet that is seen at every height; the rest lies in the fog."),
    key("slot.fog", Kind::Flag, "", Literal("true"), "Whether a sheet is made for the air behind it."),
    key("slot.along", ALONG, PX, Words("1 throughout"), "Factor on its fog's density along the travel: points of [place, factor], smooth between; besides the air's."),
    key("slot.strokes", Kind::Path, "", Words("none"), "Picture whose strokes become its fog: white adds, black clears, alpha is how much. PNG, SVG or FILE.ora#LAYER."),
    key("slot.strokes_x", from(-1e7, 1e7), PX, Words("the layer's, else 0"), "Left edge of the strokes, with the camera at the start of the travel."),
    key("slot.strokes_y", from(-FAR, FAR), PX, Words("the layer's, else 0"), "Top edge of the strokes."),
    key("slot.strokes_width", from(1.0, 1e7), PX, Words("the picture's own"), "Width of the strokes' picture."),
    key("slot.strokes_weight", from(0.0, 100.0), "", Literal("1"), "Density of white strokes; 1 is that of the fog's line."),
    key("slot.strokes_only", Kind::Flag, "", Literal("false"), "Whether the sheet is what is drawn and nothing else."),
    key("slot.sheet", Kind::Path, "", Words("none"), "Picture that is its sheet as it is, not made: PNG, SVG or FILE.ora#LAYER. Recipe, air and haze don't change it."),
    key("slot.sheet_x", from(-1e7, 1e7), PX, Words("the layer's, else that of the sheet that it replaces"), "Left edge of the picture that is its sheet, with the camera at the start of the travel."),
    key("slot.sheet_y", from(-FAR, FAR), PX, Words("the layer's, else that of the sheet that it replaces"), "Top edge of that picture."),
    key("slot.sheet_width", from(1.0, 1e7), PX, Words("the picture's own; that of the sheet that it replaces where it has the same shape"), "Width of that picture."),
    key("slot.seed", Kind::Whole { min: 0, max: i64::MAX }, "", Words("the scene's"), "Its own seed."),
    key("slot.stream", Kind::Text, "", Words("its name"), "Name that its noise is drawn by; a renamed slot keeps its fog under the old one."),
    key("slot.preset", Kind::Preset, "", Words("the scene's"), "The preset that its recipe starts from."),
    key("slot.anchor", ANCHOR, "", Words("the air's, else its preset's"), "Where its fog lies."),
    key("slot.haze", Kind::Colour, "", Words("the air's"), "Its own fog colour, mixed with the air's."),
    key("slot.haze_share", SHARE, "", Words("what the air between it and the play plane lets through"), "Share of its own haze in the mix."),
    key("slot.line", from(-FAR, FAR), PX, Words("from perspective"), "Height of its anchor line."),
    key("slot.shrink", from(1e-3, 1e3), "", Words("its pan rate"), "Factor on heights, feature sizes and smear."),
    key("slot.period", from(1.0, 1e7), PX, Words("chosen to tile"), "Interval at which its sheet repeats; one that is a picture stands once without it, unless it has the shape of the sheet that it replaces."),
    // Further places of a slot's pictures.
    key("place.art", Kind::Path, "", Words("the slot's"), "Picture that stands there too; one that names none is a further copy of the slot's own, with its `y`, `width` and `flip`."),
    key("place.x", from(-1e7, 1e7), PX, Words("the layer's, else required"), "Left edge of the picture, with the camera at the start of the travel."),
    key("place.y", from(-FAR, FAR), PX, Words("the layer's, else its foot on the ground"), "Top edge of the picture."),
    key("place.width", from(1.0, 1e7), PX, Words("the picture's own"), "Width of the picture."),
    key("place.flip", Kind::Flag, "", Literal("false"), "Mirrors the picture left to right."),
    // Lamps.
    key("lamp.name", Kind::Text, "", Words("none"), "Name, by which moods and the command line change the lamp."),
    key("lamp.slot", Kind::Text, "", Required, "Name of the slot that the lamp hangs in; its light lies before that slot's picture."),
    key("lamp.x", from(-FAR, FAR), PX, Required, "The lamp's middle, with the camera at the start of the travel."),
    key("lamp.y", from(-FAR, FAR), PX, Required, "Height of the lamp's middle, from the top of the view down."),
    key("lamp.colour", Kind::Colour, "", Literal("\"#ffd9a0\""), "Colour of the lamp's light."),
    key("lamp.strength", from(0.0, 1000.0), "", Literal("1"), "How strongly the lamp shines, in proportion; 0 is out."),
    key("lamp.core", from(0.5, 1000.0), PX, Literal("4"), "Radius of the lamp itself, within which the light is full."),
    // The head of a preset.
    key("preset.title", Kind::Text, "", Required, "Display name."),
    key("preset.from", Kind::Preset, "", Words("none"), "The preset that it is built on."),
    key("preset.word", Kind::Choice(&["dense fog", "thick fog", "moderate fog", "light fog", "mist", "haze", "smoke", "cloud"]), "", Words("that of the preset it is built on"), "Weather word, which bounds its visibility."),
    key("preset.about", Kind::Text, "", Words("that of the preset it is built on"), "When to use it."),
    key("preset.definition", Kind::Text, "", Words("that of the preset it is built on"), "Meteorological definition of the word."),
    key("preset.source", Kind::Text, "", Words("that of the preset it is built on"), "Citation for the definition."),
    key("preset.anchor", ANCHOR, "", Words("that of the preset it is built on"), "Where its fog lies."),
    key("preset.visibility", from(1e-3, 1e9), "m", Words("that of the preset it is built on"), "Visibility unless the air sets another; one depth unit is taken as one metre."),
    key("preset.clear", endless(1e-3, 1e9), "m", Words("that of the preset it is built on, else inf"), "Visibility outside the fog unless the air sets another, as many times the air's as it is here."),
];

/// Where fog lies.
const ANCHOR: Kind = Kind::Choice(&["ground", "sky"]);
/// Factors on the density by places of the camera.
const ALONG: Kind = Kind::Points { place: [-FAR, 1e7], most: 100.0 };
/// A share.
const SHARE: Kind = from(0.0, 1.0);

/// A row.
const fn key(
    path: &'static str,
    kind: Kind,
    unit: &'static str,
    fallback: Fallback,
    about: &'static str,
) -> Key {
    Key { path, kind, unit, fallback, about }
}

/// A number.
const fn from(min: f64, max: f64) -> Kind {
    Kind::Number { min, max, endless: false }
}

/// A number, or `inf`.
const fn endless(min: f64, max: f64) -> Kind {
    Kind::Number { min, max, endless: true }
}

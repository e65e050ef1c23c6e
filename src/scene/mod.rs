//! The scene as meant: every default, colour and override resolved. What renders reads this and interprets nothing.

mod check;
mod moods;
pub mod read;
mod sets;
mod source;
mod texture;
mod written;

pub use source::Source;
pub use texture::{Alpha, Fit, Texture};

use crate::colour::Srgb;
use crate::recipe::{Anchor, Recipe};
use std::fmt;
use std::path::PathBuf;

/// Whether a slot may be called so.
pub(crate) fn is_slot_name(name: &str) -> bool {
    check::name(name).is_ok()
}

/// How the target renderer mixes colours.
#[derive(schemars::JsonSchema, Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Blending {
    /// On the stored sRGB values.
    Encoded,
    /// On linear light.
    Linear,
}

impl fmt::Display for Blending {
    /// As scene files write it.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Blending::Encoded => "encoded",
            Blending::Linear => "linear",
        })
    }
}

/// The scene's one set of facts; every sheet derives from it.
#[derive(Clone, Debug, PartialEq)]
pub struct Air {
    /// Colour of the haze, sRGB.
    pub haze: Srgb,
    /// Colour that the haze turns into away from the anchor line, if any.
    pub aloft: Option<Srgb>,
    /// Colour that the lit side of the fog leans to; none: the haze, lightened.
    pub glow: Option<Srgb>,
    /// Colour that the side away from the light leans to; none: the haze, darkened.
    pub shade: Option<Srgb>,
    /// Distance at which 5 % of contrast is left, in depth units.
    pub visibility: f64,
    /// Where the light comes from, degrees: 0 right, 90 above, 180 left.
    pub light: f64,
    /// How the renderer mixes colours.
    pub blending: Blending,
    /// Length of the air behind the farthest slot, in depth units.
    pub beyond: f64,
    /// Suggested drift of fog to the right, scene px per second at pan rate 1.
    pub drift: f64,
}

/// A slot's picture and where it stands.
#[derive(Clone, Debug, PartialEq)]
pub struct ArtPlace {
    /// The file as the scene names it, joined to the scene's folder.
    pub file: PathBuf,
    /// The layer of a layered file.
    pub layer: Option<String>,
    /// Left edge in scene px, with the camera at the start of the travel; that of the layer, or 0, if not said.
    pub x: f64,
    /// Top edge in scene px; none: the foot stands on the slot's anchor line on the ground.
    pub y: Option<f64>,
    /// Width in scene px; none: the picture's own.
    pub width: Option<f64>,
    /// Repeats along x, edge to edge or at this distance.
    pub repeat: Repeat,
    /// Mirrored left to right.
    pub flip: bool,
}

/// Whether an art repeats along x.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Repeat {
    /// Stands once.
    No,
    /// Stands edge to edge.
    Edge,
    /// Stands again at every such distance, scene px.
    Every(f64),
}

/// A place in depth.
#[derive(Clone, Debug, PartialEq)]
pub struct Slot {
    /// Its identity; outputs are named after it.
    pub name: String,
    /// 0 on the play plane, positive behind it, negative in front; always greater than minus the camera's distance.
    pub depth: f64,
    /// The picture.
    pub art: Option<ArtPlace>,
    /// Whether a sheet is made for the air behind it.
    pub fog: bool,
    /// Seed of its dice, hashed from the scene's seed and its name unless given.
    pub seed: u64,
    /// Name of the preset its recipe starts from.
    pub preset: String,
    /// Where its fog lies.
    pub anchor: Anchor,
    /// The recipe as meant.
    pub recipe: Recipe,
    /// Its own haze; mixed in Oklab with the air's by `haze_share`.
    pub haze: Option<Srgb>,
    /// Share of its own haze in the mix, 0 to 1; none: the share of its colour that the air between it and the play plane leaves.
    pub haze_share: Option<f64>,
    /// Height of its anchor line in scene px; none: by perspective.
    pub line: Option<f64>,
    /// Factor on heights, feature sizes and smear; none: its pan rate.
    pub shrink: Option<f64>,
    /// Period of its sheet in scene px; none: picked by the plan.
    pub period: Option<f64>,
}

/// A scene, resolved. Slots are sorted from far to near, ties by name, whatever their order in the file.
#[derive(Clone, Debug, PartialEq)]
pub struct Scene {
    /// Its name, for tables.
    pub name: String,
    /// The camera's frame, scene px.
    pub view: [f64; 2],
    /// How far the camera pans on the play plane, scene px.
    pub travel: f64,
    /// The eye's distance from the play plane, depth units.
    pub camera: f64,
    /// Height of the horizon, scene px from the top of the view.
    pub horizon: f64,
    /// Height of the ground line on the play plane.
    pub ground: f64,
    /// Height of the sky line on the play plane.
    pub sky: f64,
    /// What the still is drawn on.
    pub backdrop: Srgb,
    /// The air.
    pub air: Air,
    /// How textures are stored.
    pub texture: Texture,
    /// The slots, far to near.
    pub slots: Vec<Slot>,
}

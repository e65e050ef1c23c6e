//! The scene as meant: every default, colour and override resolved. What renders reads this and interprets nothing.

use crate::base::colour::Srgb;
use crate::base::units::{Px, Travel};
use crate::base::words::{Anchor, Blending};
use crate::scene::{Lamp, Texture, keys, layered};
use crate::steps::along::Along;
use crate::steps::recipe::Recipe;
use serde::{Deserialize, Deserializer};
use std::fmt;
use std::path::{Path, PathBuf};

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
#[derive(Clone, Debug, PartialEq, Deserialize)]
pub struct Air {
    /// Colour of the haze, sRGB.
    #[serde(deserialize_with = "colour_or_sampled")]
    pub haze: Srgb,
    /// Colour that the haze turns into away from the anchor line, if any.
    pub aloft: Option<Srgb>,
    /// Colour that the lit side of the fog leans to; none: the haze, lightened.
    pub glow: Option<Srgb>,
    /// Colour that the side away from the light leans to; none: the haze, darkened.
    pub shade: Option<Srgb>,
    /// Distance at which 5 % of contrast is left along the line of the fog, in depth units.
    pub visibility: f64,
    /// Distance at which 5 % of contrast is left outside the fog, in depth units; infinite: there is no other air.
    pub clear: f64,
    /// Where the light comes from, degrees: 0 right, 90 above, 180 left.
    pub light: f64,
    /// How the renderer mixes colours.
    pub blending: Blending,
    /// Length of the air behind the farthest slot, in depth units.
    pub beyond: f64,
    /// Suggested drift of fog to the right, scene px per second at pan rate 1.
    pub drift: f64,
    /// Duration of the loop that frames of fog make, seconds.
    pub loop_seconds: f64,
    /// Factor on the density of all fog, by places of the camera, scene px.
    pub along: Option<Along>,
}

/// The light on the pictures.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
pub struct Lighting {
    /// Its colour, which multiplies the pictures in linear light.
    pub cast: Srgb,
    /// Stops by which it makes them lighter.
    pub exposure: f64,
    /// CIE L* over which a picture keeps its own light.
    pub keep: f64,
}

/// How rims are made.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
pub struct Rims {
    /// Standard deviation over which a rim spreads, scene px at pan rate 1; at least.
    pub spread: Px,
    /// Most opacity that a rim may have.
    pub most: f64,
    /// Whether a rim may darken where the haze can't set off the art.
    pub darken: bool,
    /// Colour of a rim that darkens; none: it may not.
    pub dark: Option<Srgb>,
}

/// What a check holds a scene to.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, Deserialize)]
pub struct CheckLimits {
    /// Most of a slot's outline that may stay below its wanted separation, 0 to 1.
    pub below: f64,
    /// Least CIE L* of the frame.
    pub darkest: f64,
    /// Most CIE L* of the frame.
    pub lightest: f64,
    /// Whether lightness must run one way from far to near.
    pub steady: bool,
    /// Most texture memory, bytes / 10^6; may be infinite, which JSON writes as null.
    pub memory: f64,
    /// Most texels blended per view texel; may be infinite, which JSON writes as null.
    pub overdraw: f64,
}

/// Which end of a picture dissolves, from where, over what length and along which curve.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
pub struct Fade {
    /// The end that dissolves.
    #[serde(rename = "fade")]
    pub end: End,
    /// Height at which it starts, scene px; none: so that it ends at the picture's edge.
    #[serde(rename = "fade_from")]
    pub from: Option<Px>,
    /// Length over which it dissolves, scene px; none: a third of the picture's height.
    #[serde(rename = "fade_over")]
    pub over: Option<Px>,
    /// How.
    #[serde(rename = "fade_curve")]
    pub curve: Curve,
}

/// An end of a picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum End {
    /// The top.
    Top,
    /// The foot.
    Foot,
}

/// How a picture dissolves over the length of its fade.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Curve {
    /// Gently at both ends.
    Smooth,
    /// Evenly.
    Straight,
    /// Most at first.
    Early,
    /// Most at last.
    Late,
}

/// A slot's picture and where it stands.
#[derive(Clone, Debug, PartialEq, Deserialize)]
pub struct ArtPlace {
    /// The file as the scene names it, joined to the scene's folder.
    #[serde(rename = "art")]
    pub file: PathBuf,
    /// The layer of a layered file.
    #[serde(skip)]
    pub layer: Option<String>,
    /// Left edge in scene px, with the camera at the start of the travel; that of the layer, or 0, if not said.
    #[serde(default)]
    pub x: Px,
    /// Top edge in scene px; none: the foot stands on the slot's anchor line on the ground.
    pub y: Option<Px>,
    /// Width in scene px; none: the picture's own.
    pub width: Option<Px>,
    /// Repeats along x, edge to edge or at this distance; as the slot's first, with all its others.
    #[serde(default)]
    pub repeat: Repeat,
    /// Mirrored left to right.
    pub flip: bool,
    /// The number of its `[[slot.place]]`, from 1 on; 0 for the slot's own.
    #[serde(skip)]
    pub number: usize,
}

/// Strokes that are drawn into a slot's fog, and where.
#[derive(Clone, Debug, PartialEq, Deserialize)]
pub struct StrokesPlace {
    /// The file as the scene names it, joined to the scene's folder.
    #[serde(rename = "strokes")]
    pub file: PathBuf,
    /// The layer of a layered file.
    #[serde(skip)]
    pub layer: Option<String>,
    /// Left edge in scene px, with the camera at the start of the travel; that of the layer, or 0, if not said.
    #[serde(rename = "strokes_x", default)]
    pub x: Px,
    /// Top edge in scene px; that of the layer, or 0, if not said.
    #[serde(rename = "strokes_y", default)]
    pub y: Px,
    /// Width in scene px; none: the picture's own.
    #[serde(rename = "strokes_width")]
    pub width: Option<Px>,
    /// Density of what is white; 1 is that of the fog's line.
    #[serde(rename = "strokes_weight")]
    pub weight: f64,
    /// Whether nothing else is fog.
    #[serde(rename = "strokes_only")]
    pub only: bool,
}

impl StrokesPlace {
    /// Strokes in a file, or in a layer of one (`FILE.ora#LAYER`), at their own size from the left top of the view on.
    pub fn of(file: &Path) -> StrokesPlace {
        let text = file.to_string_lossy();
        let (file, layer) = match layered::reference(&text) {
            (path, Some(layer)) => (PathBuf::from(path), Some(layer.to_owned())),
            (_, None) => (file.to_path_buf(), None),
        };
        let (x, y) = (Px(0.0), Px(0.0));
        StrokesPlace { file, layer, x, y, width: None, weight: 1.0, only: false }
    }
}

/// A picture that is a slot's sheet as it is, and where.
#[derive(Clone, Debug, PartialEq, Deserialize)]
pub struct SheetPlace {
    /// The file as the scene names it, joined to the scene's folder.
    #[serde(rename = "sheet")]
    pub file: PathBuf,
    /// The layer of a layered file.
    #[serde(skip)]
    pub layer: Option<String>,
    /// Left edge in scene px, with the camera at the start of the travel; that of the layer, if not said.
    #[serde(rename = "sheet_x")]
    pub x: Option<Px>,
    /// Top edge in scene px; that of the layer, if not said.
    #[serde(rename = "sheet_y")]
    pub y: Option<Px>,
    /// Width in scene px; none: the picture's own.
    #[serde(rename = "sheet_width")]
    pub width: Option<Px>,
}

impl SheetPlace {
    /// Whether nothing says where it stands.
    pub fn is_open(&self) -> bool {
        self.x.is_none() && self.y.is_none() && self.width.is_none()
    }
}

/// Whether an art repeats along x.
#[derive(Clone, Copy, Debug, Default, PartialEq, Deserialize)]
#[serde(from = "FlagOrLength")]
pub enum Repeat {
    /// Stands once.
    #[default]
    No,
    /// Stands edge to edge.
    Edge,
    /// Stands again at every such distance, scene px.
    Every(Px),
}

/// What a file may say of a repeat.
#[derive(Deserialize)]
#[serde(untagged)]
enum FlagOrLength {
    Flag(bool),
    Length(Px),
}

impl From<FlagOrLength> for Repeat {
    fn from(given: FlagOrLength) -> Repeat {
        match given {
            FlagOrLength::Flag(false) => Repeat::No,
            FlagOrLength::Flag(true) => Repeat::Edge,
            FlagOrLength::Length(every) => Repeat::Every(every),
        }
    }
}

/// A place in depth.
#[derive(Clone, Debug, PartialEq, Deserialize)]
pub struct Slot {
    /// Its identity; outputs are named after it.
    pub name: String,
    /// 0 on the play plane, positive behind it, negative in front; always greater than minus the camera's distance.
    pub depth: f64,
    /// The picture.
    #[serde(flatten)]
    pub art: Option<ArtPlace>,
    /// Further pictures on its plane, each over those before it; none where there is no `art`.
    #[serde(skip)]
    pub places: Vec<ArtPlace>,
    /// Whether a sheet is made for the air behind it.
    pub fog: bool,
    /// Factor on its fog's density, by places of the camera, scene px; besides the air's.
    pub along: Option<Along>,
    /// What is drawn into its fog.
    #[serde(flatten)]
    pub strokes: Option<StrokesPlace>,
    /// What is its sheet instead of one that is made.
    #[serde(flatten)]
    pub sheet: Option<SheetPlace>,
    /// Name that its noise is drawn by; none: its own.
    pub stream: Option<String>,
    /// Seed of its noise, hashed from its own seed or the scene's and its stream.
    pub seed: u64,
    /// Name of the preset its recipe starts from.
    pub preset: String,
    /// Where its fog lies.
    pub anchor: Anchor,
    /// The recipe as meant, from the numbers that its slot resolves to.
    #[serde(skip)]
    pub recipe: Recipe<Px>,
    /// Its own haze; mixed in Oklab with the air's by `haze_share`.
    pub haze: Option<Srgb>,
    /// Share of its own haze in the mix, 0 to 1; none: the share of its colour that the air between it and the play plane leaves.
    pub haze_share: Option<f64>,
    /// Height of its anchor line in scene px; none: by perspective.
    pub line: Option<Px>,
    /// Factor on heights, feature sizes and smear; none: its pan rate.
    pub shrink: Option<f64>,
    /// Period of its sheet in scene px; none: picked by the plan.
    pub period: Option<Px>,
    /// Wanted step of CIE L* across its outline; 0: no rim.
    pub separation: f64,
    /// Share of the air in front of it that is moved into its picture's colours.
    pub tint: f64,
    /// Share of the clear air in its sheet that is seen at every height; none: all of it, unless a painted sky is behind it.
    pub clear: Option<f64>,
    /// Colour of the light on its picture; none: the scene's.
    pub cast: Option<Srgb>,
    /// Stops by which the light makes its picture lighter; none: the scene's.
    pub exposure: Option<f64>,
    /// CIE L* over which its picture keeps its own light; none: the scene's.
    pub keep: Option<f64>,
    /// How its picture dissolves, if it does.
    #[serde(flatten)]
    pub fade: Option<Fade>,
}

impl Slot {
    /// Its pictures with their places, in the order in which they are drawn.
    pub fn pictures(&self) -> impl Iterator<Item = &ArtPlace> {
        self.art.iter().chain(&self.places)
    }

    /// The picture files that it names.
    pub fn files(&self) -> impl Iterator<Item = &Path> {
        self.pictures()
            .map(|art| art.file.as_path())
            .chain(self.strokes.as_ref().map(|strokes| strokes.file.as_path()))
            .chain(self.sheet.as_ref().map(|sheet| sheet.file.as_path()))
    }
}

/// What of a scene's colours is still to be sampled from its pictures.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Sampled {
    /// The haze.
    pub haze: bool,
    /// The backdrop, which is the haze where nothing else is said.
    pub backdrop: bool,
    /// The rim's dark colour, which follows from the haze where nothing else is said.
    pub dark: bool,
}

/// A scene, resolved. Slots are sorted from far to near, ties by name, whatever their order in the file.
#[derive(Clone, Debug, PartialEq, Deserialize)]
pub struct Scene {
    /// Its name, for tables.
    pub name: String,
    /// The camera's frame, scene px.
    pub view: [Px; 2],
    /// Smaller frames that the game shows too, scene px.
    #[serde(default)]
    pub also_view: Vec<[Px; 2]>,
    /// How far the camera pans on the play plane, to the right and down, scene px.
    pub travel: Travel,
    /// The eye's distance from the play plane, depth units.
    pub camera: f64,
    /// Height of the horizon, scene px from the top of the view.
    pub horizon: Px,
    /// Height of the ground line on the play plane.
    pub ground: Px,
    /// Height of the sky line on the play plane.
    pub sky: Px,
    /// What the still is drawn on.
    #[serde(deserialize_with = "colour_or_sampled")]
    pub backdrop: Srgb,
    /// Whether the haze is still to be sampled from the farthest art (`plan::haze`), and the backdrop with it.
    #[serde(skip)]
    pub sampled: Sampled,
    /// Lightness that black is lifted to, CIE L*.
    pub floor: f64,
    /// The air.
    pub air: Air,
    /// The light on the pictures.
    pub light: Lighting,
    /// How textures are stored.
    pub texture: Texture,
    /// How rims are made.
    #[serde(rename = "rim")]
    pub rims: Rims,
    /// What a check holds it to.
    pub check: CheckLimits,
    /// The slots, far to near.
    #[serde(skip)]
    pub slots: Vec<Slot>,
    /// The lamps, in the file's order.
    #[serde(skip)]
    pub lamps: Vec<Lamp>,
}

/// A colour; black as long as it is still to be sampled.
fn colour_or_sampled<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Srgb, D::Error> {
    let text = String::deserialize(deserializer)?;
    if text == keys::SAMPLED {
        return Ok(Srgb::default());
    }
    Srgb::try_from(text).map_err(serde::de::Error::custom)
}

//! The jobs of a plan: what is made, where it stands, and from what.

use crate::base::colour::Srgb;
use crate::base::placing::Placing;
use crate::base::units::Px;
use crate::base::words::Anchor;
use crate::plan::lamps::LampJob;
use crate::plan::places::Place;
use crate::plan::treatment::Treatment;
use crate::steps::field::FieldSpec;
use crate::steps::sheet::SheetSpec;
use crate::steps::step5_grade::Tones;
use serde::Serialize;

/// A sheet to be made.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FogJob {
    /// Where it stands.
    #[serde(flatten)]
    pub placing: Placing,
    /// Length of air that it stands for, in depth units.
    pub gap: f64,
    /// Optical depth along its line, of clear air and fog.
    pub optical_depth: f64,
    /// Optical depth of the clear air in it, at any height.
    pub clear_depth: f64,
    /// Opacity along its line where density is 1.
    pub opacity: f64,
    /// Places of the camera and the factor on the density there; empty where it is 1 all along.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub along: Vec<[f64; 2]>,
    /// Height of its anchor line, scene px.
    pub line: Px,
    /// Where its fog lies.
    pub anchor: Anchor,
    /// Name of the preset it starts from.
    pub preset: String,
    /// Its haze.
    pub haze: String,
    /// All that the sheet is made from.
    #[serde(skip)]
    pub spec: SheetSpec,
}

impl FogJob {
    /// Whether its fog may drift: neither drawn anywhere nor thicker in one place than in another, nor along a slope.
    pub fn moves(&self) -> bool {
        let FieldSpec { strokes, slope, .. } = &self.spec.field;
        strokes.is_none() && slope.is_none() && self.along.windows(2).all(|pair| pair[0][1] == pair[1][1])
    }
}

/// An art to be drawn.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ArtJob {
    /// Where it stands.
    #[serde(flatten)]
    pub placing: Placing,
    /// Mirrored left to right.
    pub flip: bool,
    /// Its edges meet when it repeats.
    pub wraps: bool,
    /// Width and height of its file, px; of the first of several.
    #[serde(skip)]
    pub natural: [f64; 2],
    /// The pictures that it is put together of, in the order in which they are drawn; empty where a slot's own is all.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub places: Vec<Place>,
    /// What is done to the copy that is drawn.
    #[serde(skip)]
    pub treatment: Treatment,
}

/// One job.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(untagged)]
pub enum Job {
    /// A sheet.
    Fog(Box<FogJob>),
    /// A picture that is a sheet as it is.
    Own(Box<ArtJob>),
    /// A rim; the art that it serves follows it.
    Rim(Box<RimJob>),
    /// An art.
    Art(Box<ArtJob>),
    /// The glow of lamps before the art.
    Lamp(Box<LampJob>),
}

impl Job {
    /// Where the job's picture stands.
    pub fn placing(&self) -> &Placing {
        match self {
            Job::Fog(job) => &job.placing,
            Job::Rim(job) => &job.placing,
            Job::Art(job) | Job::Own(job) => &job.placing,
            Job::Lamp(job) => &job.placing,
        }
    }
}

/// A rim to be made.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RimJob {
    /// Where it stands, with all the room that it may take; what it takes in the end is known when it is made.
    #[serde(flatten)]
    pub placing: Placing,
    /// Wanted step of CIE L* across the outline.
    pub separation: f64,
    /// All that the rim is made from, but for what stands behind it.
    #[serde(skip)]
    pub spec: RimSpec,
}

/// All that a rim is made from, but for what stands behind it. Lengths in texels of its canvas: the art and room around it.
#[derive(Clone, Debug, PartialEq)]
pub struct RimSpec {
    /// Size of the canvas, anchor line, recipe and seed.
    pub field: FieldSpec,
    /// Colours.
    pub tones: Tones,
    /// Colour of fog that darkens, where the haze can't set the art off; none: it may not.
    pub dark: Option<Srgb>,
    /// Where the light comes from, degrees.
    pub light: f64,
    /// The art's left top on the canvas.
    pub corner: [i64; 2],
    /// The art repeats edge to edge.
    pub wraps: bool,
    /// The canvas is one period.
    pub periodic: bool,
    /// Standard deviation of the spread along y: at least, and at most.
    pub spread: [f64; 2],
    /// Wanted step of CIE L* across the outline.
    pub separation: f64,
    /// Most opacity.
    pub most: f64,
}

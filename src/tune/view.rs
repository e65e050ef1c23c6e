//! What a page wants to see.

use crate::base::placing::{Kind, Placing};
use crate::base::units::Camera;
use crate::plan::{Job, Plan};
use serde::Deserialize;

/// Longest that fog is seen to drift, seconds.
const DRIFT_MAX: f64 = 86_400.0;
/// Most texels of a part along either side.
const PART_MAX: u32 = 8192;

/// What a page wants to see.
#[derive(Clone, Debug, Default, PartialEq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(super) struct View {
    /// From where.
    pub camera: Camera,
    /// Without fog.
    pub bare: bool,
    /// In steps of lightness.
    pub values: bool,
    /// What it is compared with, beside it.
    pub compare: Option<Against>,
    /// The part of the view that is seen at 100 % or more: left, top, width, height in texels at scale 1.
    pub part: Option<[u32; 4]>,
    /// The slot that is outlined.
    pub chosen: Option<String>,
    /// Some layers alone.
    pub only: Option<Only>,
    /// What lies under the layers.
    pub ground: Ground,
    /// How long the fog has drifted and flowed, seconds.
    pub drift: f64,
}

/// Another state of the scene.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum Against {
    /// As it was last saved.
    Saved,
    /// Before the last change.
    Before,
    /// In another mood; none: the scene itself.
    Mood(Option<String>),
}

/// Layers that are seen alone, or not at all.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Only {
    pub slot: String,
    pub what: Part,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum Part {
    /// The slot's fog alone, its rim with it.
    Fog,
    /// Its picture alone.
    Picture,
    /// All but the slot.
    Without,
}

/// What lies under the layers.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum Ground {
    /// The scene's own.
    #[default]
    Scene,
    Checkerboard,
    Light,
    Dark,
}

impl View {
    /// Whether it can be drawn.
    pub fn is_sound(&self) -> bool {
        let fits = |[_, _, width, height]: &[u32; 4]| {
            (1..=PART_MAX).contains(width) && (1..=PART_MAX).contains(height)
        };
        <[f64; 2]>::from(self.camera).iter().all(|place| place.is_finite())
            && (0.0..=DRIFT_MAX).contains(&self.drift)
            && self.part.as_ref().is_none_or(fits)
    }

    /// Whether it is the scene at rest, in its own colours.
    pub fn is_plain(&self) -> bool {
        self.drift == 0.0 && !self.bare && !self.values
    }

    /// Whether a draft shows both alike: it is of the whole view, without an outline.
    pub fn is_drafted_as(&self, other: &View) -> bool {
        let drafted = |view: &View| View { part: None, chosen: None, ..view.clone() };
        drafted(self) == drafted(other)
    }

    /// How far a job's layer has drifted, texels of `plan`.
    pub fn drifted(&self, plan: &Plan, job: &Job) -> f64 {
        plan.drift_of(job) * self.drift * plan.scale.0
    }

    /// Whether a layer is seen.
    pub fn shows(&self, placing: &Placing) -> bool {
        let Some(Only { slot, what }) = &self.only else { return true };
        let own = placing.slot == *slot;
        match what {
            Part::Fog => own && matches!(placing.kind, Kind::Fog | Kind::Rim),
            Part::Picture => own && placing.kind == Kind::Art,
            Part::Without => !own,
        }
    }
}

//! What a solve reads, what it asks of each place of the outline, and how it comes out.

use crate::base::bitmap::Bitmap;
use crate::base::space::Space;
use crate::base::units::Scale;
use crate::plan::RimJob;
use crate::rim::outline::Point;
use crate::steps::grid::Plane;
use crate::steps::step5_grade::Ramp;
use rayon::prelude::*;

/// Share of the outline that a rim sees to, of what lacks its separation and can have it. Chosen by eye.
pub const SHARE: f64 = 0.95;
/// How far below its wanted separation an outline counts as having it, CIE L*. Chosen by eye.
pub const TOLERANCE: f64 = 0.5;

/// How a rim's strength came out.
#[derive(Clone, Copy, Debug, Default, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Outcome {
    /// Places looked at: points of the outline times camera places.
    pub places: usize,
    /// Of these, those that lack the separation without the rim, or are lighter than what is behind them and taken through with their
    /// neighbours.
    pub lacking: usize,
    /// Of those lacking it, those where fog can bring it.
    pub attainable: usize,
    /// Of the attainable, those that have it with the rim, within [`TOLERANCE`].
    pub reached: usize,
    /// Places that have their separation without the rim, and lose it to the fog that others need.
    pub spoiled: usize,
    /// Standard deviation of the spread along y, texels.
    pub spread: f64,
    /// Fastest change of the rim's opacity outside the art, per texel.
    pub steepest: f64,
    /// That of the slot's sheet, if there is one.
    pub sheet_steepest: Option<f64>,
}

/// Fog of one colour that a rim is made of: its optical depth on the grid, of a finished rim as coefficients of the spline.
#[derive(Clone, Debug)]
pub(super) struct Air {
    pub depth: Plane,
    /// Its one colour; none: the haze with its lit and its far side.
    pub colour: Option<[f32; 3]>,
}

/// What stands behind a point of the outline at one camera place, in the blending's own space.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Observation {
    /// Which point.
    pub point: u32,
    /// From which camera place.
    pub camera: u16,
    /// The composite of everything behind.
    pub behind: [f32; 3],
}

/// All that a solve reads.
pub(crate) struct Problem<'a> {
    pub job: &'a RimJob,
    pub scale: Scale,
    pub picture: &'a Bitmap,
    pub points: &'a [Point],
    pub observations: &'a [Observation],
    pub space: &'a Space,
    /// Fastest change of the slot's own sheet's opacity, per texel.
    pub sheet_steepest: Option<f64>,
}

impl Problem<'_> {
    /// Where a point lies on the rim's canvas, texels.
    pub(super) fn place(&self, point: &Point) -> [f64; 2] {
        let [x, y] = point.at;
        let [left, top] = self.job.spec.corner;
        [(i64::from(x) + left) as f64 + 0.5, (i64::from(y) + top) as f64 + 0.5]
    }

    /// The haze's colour at each of these points, in the blending's own space, where it faces the light so much.
    pub(super) fn haze(&self, points: &[Point], facing: impl Fn(usize) -> f32 + Sync) -> Vec<[f32; 3]> {
        // The haze changes with height alone: one ramp for each row, or for all.
        let by_height = self.job.spec.tones.aloft.is_some();
        let heights: Vec<i32> = points.iter().map(|point| if by_height { point.at[1] } else { 0 }).collect();
        let first = heights.iter().copied().min().unwrap_or(0);
        let last = heights.iter().copied().max().unwrap_or(0);
        let top = self.job.spec.corner[1] as f64 + 0.5;
        let ramps = self.job.spec.tones.ramps();
        let ramps: Vec<Ramp> =
            (first..=last).map(|y| ramps.at(self.job.spec.field.aloft_share(f64::from(y) + top))).collect();
        heights
            .par_iter()
            .enumerate()
            .map(|(at, y)| {
                let [r, g, b, _] = ramps[(y - first) as usize].at(facing(at).clamp(-1.0, 1.0));
                self.space.enter([r, g, b])
            })
            .collect()
    }
}

//! What a solve reads, what it asks of each place of the outline, and how it comes out.

use crate::base::bitmap::Bitmap;
use crate::base::exp::opacity;
use crate::base::space::Space;
use crate::base::units::Scale;
use crate::plan::RimJob;
use crate::rim::depth::{KNEE, optical_depth};
use crate::rim::lightness_step::{Ends, LightnessStep};
use crate::rim::outline::Point;
use crate::steps::grid::Plane;
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

/// Optical depth that one observation asks for, by one air; infinite where that air can't give it.
#[derive(Clone, Copy)]
pub(super) struct Requirement {
    pub point: u32,
    /// For the wanted separation, and for what counts as it.
    pub full: f32,
    pub enough: f32,
}

impl Requirement {
    /// Whether the separation is lacking without fog.
    pub fn is_lacking(&self) -> bool {
        self.full > 0.0
    }

    /// Whether fog can give it, or needn't.
    pub fn is_attainable(&self) -> bool {
        self.full.is_finite()
    }

    /// Whether it is lacking and can be had.
    pub fn is_open(&self) -> bool {
        self.is_lacking() && self.is_attainable()
    }
}

/// How many lack the separation and can have it.
pub(super) fn count_open(requirements: &[Requirement]) -> usize {
    requirements.iter().filter(|requirement| requirement.is_open()).count()
}

/// How many have the separation or can have it.
pub(super) fn count_attainable(requirements: &[Requirement]) -> usize {
    requirements.iter().filter(|requirement| requirement.is_attainable()).count()
}

impl Problem<'_> {
    /// Where a point lies on the rim's canvas, texels.
    pub(super) fn place(&self, point: &Point) -> [f64; 2] {
        let [x, y] = point.at;
        let [left, top] = self.job.spec.corner;
        [(i64::from(x) + left) as f64 + 0.5, (i64::from(y) + top) as f64 + 0.5]
    }

    /// Where all points lie.
    pub(super) fn places(&self) -> Vec<[f64; 2]> {
        self.points.iter().map(|point| self.place(point)).collect()
    }

    /// The lightness step that the observation `at` sees, with fog of its point's colour in `colours`.
    fn step(&self, at: usize, colours: &[[f32; 3]]) -> LightnessStep<'_> {
        let Observation { point, behind, .. } = self.observations[at];
        let point = point as usize;
        LightnessStep::new(self.space, &self.points[point], behind, colours[point])
    }

    /// What each observation asks of fog of these colours, by point, held under each point's own limit.
    pub(super) fn requirements(&self, colours: &[[f32; 3]], limits: &[f32]) -> Vec<Requirement> {
        (0..self.observations.len())
            .into_par_iter()
            .map(|at| {
                let (step, point) = (self.step(at, colours), self.observations[at].point);
                let (limit, bare) = (limits[point as usize], step.signed(0.0));
                // Many need no fog, and what the most of it would do there is nobody's concern.
                if bare.abs() >= self.job.spec.separation as f32 {
                    return Requirement { point, full: 0.0, enough: 0.0 };
                }
                let depths = self.depths(limit, step, bare, LightnessStep::opacity);
                let (full, enough) = depths.unwrap_or((f32::INFINITY, None));
                Requirement { point, full, enough: enough.unwrap_or(f32::INFINITY) }
            })
            .collect()
    }

    /// What the observation `at` asks for to have its step on the fog's side; none where fog can't give it.
    pub(super) fn requirement_on_fog_side(
        &self,
        at: usize,
        colours: &[[f32; 3]],
        limits: &[f32],
    ) -> Option<Requirement> {
        let (step, point) = (self.step(at, colours), self.observations[at].point);
        let (limit, bare) = (limits[point as usize], step.signed(0.0));
        let (full, enough) = self.depths(limit, step, bare, LightnessStep::opacity_on_fog_side)?;
        Some(Requirement { point, full, enough: enough.unwrap_or(full) })
    }

    /// The optical depths that bring a step, which is `bare` without fog, to the wanted separation and to what counts as it, as `solve`
    /// finds their opacities.
    fn depths<'a>(
        &self,
        limit: f32,
        step: LightnessStep<'a>,
        bare: f32,
        solve: fn(&LightnessStep<'a>, f32, &Ends) -> Option<f32>,
    ) -> Option<(f32, Option<f32>)> {
        let (wanted, ends) = (self.job.spec.separation as f32, step.ends(bare, opacity(KNEE * limit)));
        let full = optical_depth(solve(&step, wanted, &ends)?);
        let enough = (wanted - TOLERANCE as f32).max(0.0);
        Some((full, solve(&step, enough, &ends).map(optical_depth)))
    }

    /// Observations that have their step without fog, and lose it to fog of these opacities, by point.
    pub(super) fn spoiled(
        &self,
        opacities: &[f32],
        requirements: &[Requirement],
        colours: &[[f32; 3]],
    ) -> Vec<usize> {
        let enough = (self.job.spec.separation - TOLERANCE).max(0.0) as f32;
        (0..requirements.len())
            .into_par_iter()
            .filter(|at| !requirements[*at].is_lacking())
            .filter(|at| {
                let opacity = opacities[self.observations[*at].point as usize];
                opacity > 0.0 && self.step(*at, colours).signed(opacity).abs() < enough
            })
            .collect()
    }
}

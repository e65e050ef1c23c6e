//! What each observation of a part requires of the fog.

use crate::base::exp::opacity;
use crate::rim::depth::{KNEE, optical_depth};
use crate::rim::lightness_step::{Ends, LightnessStep};
use crate::rim::part::{Part, Seen};
use crate::rim::problem::TOLERANCE;
use rayon::prelude::*;

/// Opacity up to which fog takes no step that is there: in either space it changes L* by less than [`TOLERANCE`].
const FAINT: f32 = 5e-4;

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

impl Part<'_> {
    /// How many have the separation or can have it, of the whole outline.
    pub(super) fn count_attainable(&self, requirements: &[Requirement]) -> usize {
        let here = requirements.iter().filter(|requirement| requirement.is_attainable()).count();
        here + self.content_elsewhere
    }

    /// The lightness step that an observation sees, with fog of its point's colour in `colours`.
    fn step(&self, seen: &Seen, colours: &[[f32; 3]]) -> LightnessStep<'_> {
        let point = seen.point as usize;
        LightnessStep::new(self.problem.space, &self.sides[point], seen.behind, colours[point])
    }

    /// What each observation asks of fog of these colours, by point, held under each point's own limit.
    pub(super) fn requirements(&self, colours: &[[f32; 3]], limits: &[f32]) -> Vec<Requirement> {
        self.seen
            .par_iter()
            .map(|seen| {
                let point = seen.point;
                // Many need no fog, and what the most of it would do there is nobody's concern.
                if !seen.lacking {
                    return Requirement { point, full: 0.0, enough: 0.0 };
                }
                let limit = limits[point as usize];
                let depths = self.depths(limit, &self.step(seen, colours), LightnessStep::opacity);
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
        let seen = &self.seen[at];
        let (step, point) = (self.step(seen, colours), seen.point);
        let solve = LightnessStep::opacity_on_fog_side;
        let (full, enough) = self.depths(limits[point as usize], &step, solve)?;
        Some(Requirement { point, full, enough: enough.unwrap_or(full) })
    }

    /// The optical depths that bring a step to the wanted separation and to what counts as it, as `solve` finds their opacities.
    fn depths<'a>(
        &self,
        limit: f32,
        step: &LightnessStep<'a>,
        solve: fn(&LightnessStep<'a>, f32, &Ends) -> Option<f32>,
    ) -> Option<(f32, Option<f32>)> {
        let separation = self.problem.job.spec.separation as f32;
        let ends = step.ends(step.signed(0.0), opacity(KNEE * limit));
        let full = optical_depth(solve(step, separation, &ends)?);
        let enough = (separation - TOLERANCE as f32).max(0.0);
        Some((full, solve(step, enough, &ends).map(optical_depth)))
    }

    /// Observations that have their step without fog, and lose it to fog of these opacities, by point.
    pub(super) fn spoiled(
        &self,
        opacities: &[f32],
        requirements: &[Requirement],
        colours: &[[f32; 3]],
    ) -> Vec<usize> {
        let enough = (self.problem.job.spec.separation - TOLERANCE).max(0.0) as f32;
        let lacks = |seen: &Seen| {
            let opacity = opacities[seen.point as usize];
            opacity > FAINT && self.step(seen, colours).is_less(opacity, enough)
        };
        (0..requirements.len())
            .into_par_iter()
            .filter(|at| !requirements[*at].is_lacking() && lacks(&self.seen[*at]))
            .collect()
    }
}

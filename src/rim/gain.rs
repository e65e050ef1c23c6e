//! The gain: a smooth field that, times the spread, meets the requirements along the outline.

use crate::rim::SHARE;
use crate::rim::ceiling::Limits;
use crate::rim::depth::{solved_depth, solved_depth_below_knee};
use crate::rim::kernel::Around;
use crate::rim::part::Part;
use crate::rim::requirement::{Requirement, count_open};
use crate::rim::spread::Spread;
use crate::steps::grid::Plane;
use rayon::prelude::*;

/// Corrections of the gain; a few more change nothing that is seen. Chosen by eye.
const CORRECTIONS: usize = 8;
/// Most that one correction multiplies or divides by; chosen by eye.
const CORRECTION_MAX: f32 = 1.4;
/// How often what is too thick is thinned, and the share of it from which it counts as held; chosen by eye.
const HOLDS: usize = 3;
const HELD: f32 = 0.99;
/// Square of the share below which places that are held count alike; chosen by eye.
const MUCH: f32 = 4e-4;
/// Share of the densest part of the outline below which a place counts as far from it: there the gain stays as it is. Chosen by eye.
const FAR: f32 = 4e-3;
/// How much more a place that lacks fog weighs in a correction than one that has enough; chosen by eye.
const LACKING_WEIGHT: f32 = 5.0;
/// How much a place weighs that has more than it may have; chosen by eye.
const EXCESS_WEIGHT: f32 = 12.0;
/// How much a place weighs that needs none; chosen by eye.
const CONTENT_WEIGHT: f32 = 0.3;
/// Most that the field as a whole is thickened in the end; chosen by eye.
const THICKENING_MAX: f32 = 2.5;
/// What rounding may take of the last factor.
const ROUNDING: f32 = 1.0005;
/// Least depth that is divided by.
const DEPTH_MIN: f32 = 1e-6;
/// Least sum of weights that is divided by.
const WEIGHT_MIN: f32 = 1e-12;

/// One air as solved.
pub(super) struct SolvedAir {
    /// Its depth on the spread's grid.
    pub depth: Plane,
    /// How many of the attainable have their separation by it.
    pub reached: usize,
}

/// The air that meets the requirements that are `selected`.
pub(super) fn solve_air(
    part: &Part<'_>,
    spread: &Spread,
    requirements: &[Requirement],
    selected: &[bool],
    limits: &Limits,
) -> SolvedAir {
    let selected: Vec<bool> = requirements
        .iter()
        .zip(selected)
        .map(|(requirement, selected)| *selected && requirement.is_open())
        .collect();
    let fit = Fit::new(spread, (requirements, &selected), &limits.own);
    if fit.wanted.iter().all(|wanted| *wanted <= 0.0) {
        return SolvedAir {
            depth: Plane::new(spread.samples.grid.cols, spread.samples.grid.rows),
            reached: 0,
        };
    }
    let mut gain = fit.first_gain();
    for _ in 0..CORRECTIONS {
        fit.correct(&mut gain);
    }
    let mut depth = fit.multiply(gain);
    fit.hold(&mut depth);
    // The least of it that serves enough of the outline, as it is drawn.
    let mut coefficients = depth.clone();
    part.upsampler().prefilter(&mut coefficients);
    let drawn = depths(&spread.samples.places, |place| place.sample_spline(&coefficients));
    let factors: Vec<f32> = requirements
        .iter()
        .map(|requirement| solved_depth(requirement.enough, limits.most) / drawn[requirement.point as usize])
        .collect();
    let factor = last_factor(part, requirements, &selected, &factors);
    depth.data.iter_mut().for_each(|depth| *depth *= factor);
    let held = if factor > 1.0 { fit.hold(&mut depth) } else { vec![1.0; spread.samples.places.len()] };
    let reached = requirements
        .iter()
        .zip(&factors)
        .filter(|(requirement, own)| {
            requirement.is_lacking() && **own <= factor * held[requirement.point as usize]
        })
        .count();
    SolvedAir { depth, reached }
}

/// The minimum of the factors, one a requirement, that meets [`SHARE`] of what is selected and of all that is attainable.
fn last_factor(part: &Part<'_>, requirements: &[Requirement], selected: &[bool], factors: &[f32]) -> f32 {
    let mut sorted: Vec<f32> =
        factors.iter().zip(selected).filter(|(_, selected)| **selected).map(|(factor, _)| *factor).collect();
    sorted.sort_by(f32::total_cmp);
    let last = sorted.len() - 1;
    let specks = count_open(requirements) - sorted.len();
    let missed = missable(sorted.len())
        .min(missable(part.count_attainable(requirements)).saturating_sub(specks))
        .min(last);
    (sorted[last - missed] * ROUNDING).min(THICKENING_MAX)
}

/// How many of `count` may be missed.
fn missable(count: usize) -> usize {
    ((1.0 - SHARE) * count as f64) as usize
}

/// The outline, as the gain is fitted along it; by point.
struct Fit<'a> {
    spread: &'a Spread,
    observed: Vec<bool>,
    /// The spread there.
    own: Vec<f32>,
    /// The largest solved depth that is asked for there.
    wanted: Vec<f32>,
    /// The largest drawn depth that is allowed there.
    ceilings: &'a [f32],
}

impl<'a> Fit<'a> {
    fn new(
        spread: &'a Spread,
        (requirements, selected): (&[Requirement], &[bool]),
        ceilings: &'a [f32],
    ) -> Fit<'a> {
        let mut wanted = vec![0.0_f32; spread.samples.places.len()];
        let mut observed = vec![false; spread.samples.places.len()];
        for (requirement, selected) in requirements.iter().zip(selected) {
            let at = requirement.point as usize;
            observed[at] = true;
            if *selected {
                wanted[at] = wanted[at].max(solved_depth_below_knee(requirement.full));
            }
        }
        let own = depths(&spread.samples.places, |place| place.sample(&spread.spread));
        Fit { spread, observed, own, wanted, ceilings }
    }

    /// Values at the observed points, blurred like the spread, on the samples for that; so is the gain.
    fn blurred(&self, value: impl Fn(usize) -> f32) -> Plane {
        let samples = &self.spread.blurred;
        samples.blur(samples.scatter(|at| self.observed[at].then(|| value(at))))
    }

    /// What is wanted over what the spread has, both blurred.
    fn first_gain(&self) -> Plane {
        let (mut wanted, own) =
            rayon::join(|| self.blurred(|at| self.wanted[at]), || self.blurred(|at| self.own[at]));
        let far = FAR * largest(&own);
        for (wanted, own) in wanted.data.iter_mut().zip(&own.data) {
            *wanted = (wanted.max(0.0) + WEIGHT_MIN) / (own.max(0.0) + far + WEIGHT_MIN);
        }
        wanted
    }

    /// Multiplies `gain` by what is wanted over what the spread has by it, both weighed and blurred.
    fn correct(&self, gain: &mut Plane) {
        let places = self.spread.blurred.places.par_iter().zip(&self.own);
        let own: Vec<f32> = places.map(|(place, own)| (own * place.sample(gain)).max(DEPTH_MIN)).collect();
        let (wanted, own) = rayon::join(
            || self.blurred(|at| self.weight(at, own[at]) * self.wanted[at]),
            || self.blurred(|at| self.weight(at, own[at]) * own[at]),
        );
        // Where no outline is near, the gain stays as it is.
        let far = FAR * largest(&own) + WEIGHT_MIN;
        for (gain, (wanted, own)) in gain.data.iter_mut().zip(wanted.data.iter().zip(&own.data)) {
            *gain *=
                ((wanted.max(0.0) + far) / (own.max(0.0) + far)).clamp(1.0 / CORRECTION_MAX, CORRECTION_MAX);
        }
    }

    /// How much a point counts in a correction that has the depth `own`.
    fn weight(&self, at: usize, own: f32) -> f32 {
        if own > self.ceilings[at] && own > self.wanted[at] {
            EXCESS_WEIGHT
        } else if self.wanted[at] <= 0.0 {
            CONTENT_WEIGHT
        } else if own < self.wanted[at] {
            LACKING_WEIGHT
        } else {
            1.0
        }
    }

    /// Thins `depth` around places that have more than they may; what is left of it at each point.
    fn hold(&self, depth: &mut Plane) -> Vec<f32> {
        let Spread { samples, blurred, .. } = self.spread;
        let mut held = vec![1.0_f32; samples.places.len()];
        let mut own = depths(&samples.places, |place| place.sample(depth));
        for _ in 0..HOLDS {
            let parts = own.iter().zip(self.ceilings);
            let left: Vec<f32> =
                parts.map(|(own, most)| (solved_depth_below_knee(*most) / own).min(1.0)).collect();
            if left.iter().all(|left| *left > HELD) {
                break;
            }
            // Who has far too much counts far more.
            let weight = |at: usize| 1.0 / (left[at] * left[at]).max(MUCH);
            let (mut sum, weights) = rayon::join(
                || blurred.near(blurred.scatter(|at| Some(weight(at) * left[at]))),
                || blurred.near(blurred.scatter(|at| Some(weight(at)))),
            );
            // Where no outline is near, it stays as it is.
            let far = FAR * largest(&sum) + WEIGHT_MIN;
            for (sum, weight) in sum.data.iter_mut().zip(&weights.data) {
                *sum = ((sum.max(0.0) + far) / (weight.max(0.0) + far)).min(1.0);
            }
            let share = blurred.interpolate(sum, samples);
            for (depth, share) in depth.data.iter_mut().zip(&share.data) {
                *depth *= share.clamp(0.0, 1.0);
            }
            let now = depths(&samples.places, |place| place.sample(depth));
            held.iter_mut().zip(own.iter().zip(&now)).for_each(|(held, (own, now))| *held *= now / own);
            own = now;
        }
        held
    }

    /// The spread times the `gain`, on the spread's samples.
    fn multiply(&self, gain: Plane) -> Plane {
        let Spread { samples, blurred, spread, .. } = self.spread;
        let mut depth = blurred.interpolate(gain, samples);
        for (depth, spread) in depth.data.iter_mut().zip(&spread.data) {
            *depth = depth.max(0.0) * spread.max(0.0);
        }
        depth
    }
}

/// The depth at each place, as `depth` has it.
fn depths(places: &[Around], depth: impl Fn(&Around) -> f32 + Sync) -> Vec<f32> {
    places.par_iter().map(|place| depth(place).max(DEPTH_MIN)).collect()
}

fn largest(plane: &Plane) -> f32 {
    plane.data.iter().copied().fold(0.0, f32::max)
}

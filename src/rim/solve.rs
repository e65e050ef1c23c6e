//! The solve: from the art and what stands behind its outline to the rim, at the least spread that shows no edge.

use crate::base::exp::opacity;
use crate::base::picture::Picture;
use crate::base::space::Space;
use crate::base::units::Scale;
use crate::plan::RimJob;
use crate::rim::kernel::sample;
use crate::rim::need::{Step, depth};
use crate::rim::outline::Point;
use crate::rim::spread::Spread;
use crate::rim::{Air, KNEE, Outcome, Rim, TOLERANCE};
use crate::steps::step5_grade::Ramp;
use rayon::prelude::*;

/// Spreads that are tried.
const TRIES: usize = 5;
/// Share of the steepest change allowed that is near enough to it.
const NEAR: f64 = 0.88;
/// How much gentler than the sheet's steepest change the rim's stays: texels change a little faster than samples show.
const GENTLE: f64 = 0.85;

/// What stands behind a point of the outline at one camera place, in the blending's own space.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Sight {
    /// Which point.
    pub point: u32,
    /// From which camera place.
    pub place: u16,
    /// The composite of everything behind.
    pub behind: [f32; 3],
}

/// All that a solve reads.
pub(crate) struct Case<'a> {
    pub job: &'a RimJob,
    pub scale: Scale,
    pub picture: &'a Picture,
    pub points: &'a [Point],
    pub sights: &'a [Sight],
    pub space: &'a Space,
    /// Fastest change of the slot's own sheet's opacity, per texel.
    pub sheet_steepest: Option<f64>,
}

/// Optical depth that one sight asks for, by one air; infinite where that air can't give it.
#[derive(Clone, Copy)]
pub(super) struct Need {
    pub point: u32,
    /// For the wanted separation, and for what counts as it.
    pub full: f32,
    pub enough: f32,
}

/// Airs solved at one spread.
pub(super) struct Solved {
    pub outcome: Outcome,
    pub airs: Vec<Air>,
    pub spread: Spread,
}

impl Case<'_> {
    pub(super) fn place(&self, point: &Point) -> [f64; 2] {
        let [x, y] = point.at;
        let [left, top] = self.job.spec.corner;
        [(i64::from(x) + left) as f64 + 0.5, (i64::from(y) + top) as f64 + 0.5]
    }

    /// The haze's colour at each point, in the blending's own space.
    pub(super) fn colours(&self, spread: &Spread) -> Vec<[f32; 3]> {
        // The haze turns with height alone: one ramp for each row, or for all.
        let turns = self.job.spec.tones.aloft.is_some();
        let heights: Vec<i32> = self.points.iter().map(|point| if turns { point.at[1] } else { 0 }).collect();
        let first = heights.iter().copied().min().unwrap_or(0);
        let last = heights.iter().copied().max().unwrap_or(0);
        let top = self.job.spec.corner[1] as f64 + 0.5;
        let ramps = self.job.spec.tones.ramps();
        let ramps: Vec<Ramp> =
            (first..=last).map(|y| ramps.at(self.job.spec.field.turned(f64::from(y) + top))).collect();
        self.points
            .par_iter()
            .zip(&heights)
            .map(|(point, y)| {
                let facing = sample(&spread.facing, &spread.grid, self.place(point)).clamp(-1.0, 1.0);
                let [r, g, b, _] = ramps[(y - first) as usize].at(facing);
                self.space.enter([r, g, b])
            })
            .collect()
    }

    fn needs(&self, colours: &[[f32; 3]], limit: f32) -> Vec<Need> {
        let most = opacity(limit);
        let wanted = self.job.spec.separation as f32;
        let enough = (wanted - TOLERANCE as f32).max(0.0);
        self.sights
            .par_iter()
            .map(|sight| {
                let at = sight.point as usize;
                let step = Step::new(self.space, &self.points[at], sight.behind, colours[at]);
                let to_depth = |opacity: Option<f32>| opacity.map_or(f32::INFINITY, depth);
                let full = to_depth(step.least(wanted, most));
                let enough = if full.is_finite() { to_depth(step.least(enough, most)) } else { full };
                Need { point: sight.point, full, enough }
            })
            .collect()
    }

    /// Solves for the rim.
    pub fn solve(&self) -> Rim {
        let spec = &self.job.spec;
        let outcome = Outcome {
            places: self.sights.len(),
            lacking: 0,
            attainable: 0,
            reached: 0,
            spoiled: 0,
            spread: spec.spread[0],
            steepest: 0.0,
            sheet_steepest: self.sheet_steepest,
        };
        if self.sights.is_empty() || spec.separation <= 0.0 {
            return self.empty(outcome);
        }
        let limit = depth(spec.most as f32);
        let gentle = self.sheet_steepest.map_or(f64::INFINITY, |sheet| GENTLE * sheet);
        // Which sights are served is told at the least spread, so that a wider one serves the same.
        let mut served = [None, None];
        let [least, most] = spec.spread;
        let mut deviation = least;
        // The widest spread that is too steep, and its steepest change.
        let mut too_steep: Option<(f64, f64)> = None;
        let mut kept: Option<Solved> = None;
        for _ in 0..TRIES {
            let solved = self.at(deviation, limit, &mut served, outcome);
            if solved.outcome.reached == 0 {
                return self.empty(solved.outcome);
            }
            let steep = solved.outcome.steepest;
            let better = kept.as_ref().is_none_or(|kept| {
                let (own, other) = (steep, kept.outcome.steepest);
                if own <= gentle && other <= gentle { deviation < kept.outcome.spread } else { own < other }
            });
            if better {
                kept = Some(solved);
            }
            if steep > gentle {
                if deviation >= most {
                    break;
                }
                too_steep = Some((deviation, steep));
                // As the spread widens, its slopes fall about as fast.
                deviation = (deviation * (1.03 * steep / gentle).max(1.1)).min(most);
            } else if let Some((narrow, steeper)) = too_steep
                && steep < NEAR * gentle
                && deviation > 1.1 * narrow
            {
                // Between the two, by powers.
                let share = libm::log(steeper / (0.5 * (1.0 + NEAR) * gentle)) / libm::log(steeper / steep);
                deviation = narrow * libm::pow(deviation / narrow, share.clamp(0.2, 0.9));
            } else {
                break;
            }
        }
        match kept {
            Some(solved) => self.finish(solved, limit),
            None => self.empty(outcome),
        }
    }

    /// The airs that meet the needs at this spread.
    fn at(
        &self,
        deviation: f64,
        limit: f32,
        served: &mut [Option<Vec<bool>>; 2],
        mut outcome: Outcome,
    ) -> Solved {
        let spread = Spread::new(self, deviation);
        let colours = self.colours(&spread);
        let mut needs = self.needs(&colours, KNEE * limit);
        let [bright, dark] = served;
        let own = bright.get_or_insert_with(|| self.served(&spread, &needs));
        let (depth, mut reached) = self.mended(&spread, &mut needs, own, &colours, limit, &mut outcome);
        outcome.lacking = needs.iter().filter(|need| need.full > 0.0).count();
        outcome.attainable = count(&needs);
        let mut airs = vec![Air { depth, colour: None }];
        if let Some(colour) = self.job.spec.dark {
            let mut dark_needs =
                self.needs(&vec![self.space.enter(colour.0); self.points.len()], KNEE * limit);
            for (need, bright) in dark_needs.iter_mut().zip(&needs) {
                if bright.full.is_finite() {
                    (need.full, need.enough) = (0.0, 0.0);
                }
            }
            let own = dark.get_or_insert_with(|| self.served(&spread, &dark_needs));
            let (depth, more) = self.air(&spread, &dark_needs, own, limit);
            if more > 0 {
                outcome.attainable += count(&dark_needs);
                reached += more;
                airs.push(Air { depth, colour: Some(colour.0) });
            }
        }
        outcome.reached = reached;
        outcome.spread = deviation;
        outcome.steepest = spread.steepest(&airs, limit);
        Solved { outcome, airs, spread }
    }
}

/// Sights that lack the separation and can have it.
pub(super) fn count(needs: &[Need]) -> usize {
    needs.iter().filter(|need| need.full > 0.0 && need.full.is_finite()).count()
}

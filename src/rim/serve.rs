//! Which places of an outline a rim serves, and which it takes through.

use crate::base::exp::opacity;
use crate::rim::kernel::{sample, splat};
use crate::rim::need::{Step, depth};
use crate::rim::solve::{Case, Need};
use crate::rim::spread::Spread;
use crate::rim::{KNEE, Outcome, TOLERANCE, finished};
use crate::steps::grid::Plane;
use rayon::prelude::*;

/// Share of what is seen nearby that must lack its separation too, lest a place is left as a speck: a mast that passes behind.
const STRETCH: f32 = 0.3;
/// Most of the attainable outline that may be left as specks.
const SPECKS: f64 = 0.03;
/// Most of the attainable outline that may lose its step to a rim before it is taken through, and how often that is tried.
const SPOILED: f64 = 0.01;
const ROUNDS: usize = 4;

impl Case<'_> {
    /// As [`Case::air`]; but where fog that others need would cost places the step that they have, an art lighter than what is behind
    /// it, these are taken through to the other side, as long as that mends more than it costs.
    pub(super) fn mended(
        &self,
        spread: &Spread,
        needs: &mut [Need],
        served: &mut [bool],
        colours: &[[f32; 3]],
        limit: f32,
        outcome: &mut Outcome,
    ) -> (Plane, usize) {
        let attainable = needs.iter().filter(|need| need.full.is_finite()).count();
        // Those that an earlier spread has taken through.
        for at in 0..needs.len() {
            if served[at] && needs[at].full <= 0.0 {
                needs[at] = self.beyond(at, colours, limit).unwrap_or(needs[at]);
            }
        }
        let mut best: Option<(Plane, usize, Vec<bool>, usize)> = None;
        for _ in 0..ROUNDS {
            let (depth, reached) = self.air(spread, needs, served, limit);
            let spoiled = self.spoiled(&depth, spread, needs, colours, limit);
            let score = |reached: usize, spoiled: usize| reached as i64 - spoiled as i64;
            let mends = best
                .as_ref()
                .is_none_or(|(_, other, _, lost)| score(reached, spoiled.len()) > score(*other, *lost));
            if mends {
                best = Some((depth, reached, served.to_vec(), spoiled.len()));
            } else {
                break;
            }
            if spoiled.len() as f64 <= SPOILED * attainable as f64 {
                break;
            }
            let mut more = false;
            for at in spoiled {
                if let Some(need) = self.beyond(at, colours, limit) {
                    (needs[at], served[at], more) = (need, true, true);
                }
            }
            if !more {
                break;
            }
        }
        let (depth, reached, kept, spoiled) = best.unwrap_or_else(|| {
            let (depth, reached) = self.air(spread, needs, served, limit);
            (depth, reached, served.to_vec(), 0)
        });
        served.copy_from_slice(&kept);
        outcome.spoiled = spoiled;
        (depth, reached)
    }

    /// What the sight `at` needs to have its step on the fog's side.
    pub(super) fn beyond(&self, at: usize, colours: &[[f32; 3]], limit: f32) -> Option<Need> {
        let sight = &self.sights[at];
        let point = sight.point as usize;
        let step = Step::new(self.space, &self.points[point], sight.behind, colours[point]);
        let (wanted, most) = (self.job.spec.separation as f32, opacity(KNEE * limit));
        let full = depth(step.beyond(wanted, most)?);
        let enough = step.beyond((wanted - TOLERANCE as f32).max(0.0), most).map_or(full, depth);
        Some(Need { point: sight.point, full, enough })
    }

    /// Sights that have their step without fog, and lose it to this one.
    pub(super) fn spoiled(
        &self,
        field: &Plane,
        spread: &Spread,
        needs: &[Need],
        colours: &[[f32; 3]],
        limit: f32,
    ) -> Vec<usize> {
        let enough = (self.job.spec.separation - TOLERANCE).max(0.0) as f32;
        let drawn: Vec<f32> = self
            .points
            .par_iter()
            .map(|point| {
                let solved = sample(field, &spread.grid, self.place(point));
                opacity(finished(solved, limit))
            })
            .collect();
        (0..needs.len())
            .into_par_iter()
            .filter(|at| needs[*at].full <= 0.0)
            .filter(|at| {
                let sight = &self.sights[*at];
                let point = sight.point as usize;
                let step = Step::new(self.space, &self.points[point], sight.behind, colours[point]);
                drawn[point] > 0.0 && step.signed(drawn[point]).abs() < enough
            })
            .collect()
    }

    /// The sights that a rim serves: those that lack the separation, can have it, and stand in a stretch that lacks it. What is left
    /// are specks, and few of them.
    pub(super) fn served(&self, spread: &Spread, needs: &[Need]) -> Vec<bool> {
        let lacking = |need: &Need| need.full > 0.0 && need.full.is_finite();
        let (grid, kernel) = (&spread.grid, &spread.kernel);
        let mut nearby = vec![1.0_f32; needs.len()];
        let most = self.sights.iter().map(|sight| sight.place).max().unwrap_or(0);
        for place in 0..=most {
            let here: Vec<usize> = (0..needs.len()).filter(|at| self.sights[*at].place == place).collect();
            if !here.iter().any(|at| lacking(&needs[*at])) {
                continue;
            }
            let (mut all, mut short) = (Plane::new(grid.cols, grid.rows), Plane::new(grid.cols, grid.rows));
            for at in &here {
                let place = self.place(&self.points[needs[*at].point as usize]);
                splat(&mut all, grid, place, 1.0);
                if needs[*at].full > 0.0 {
                    splat(&mut short, grid, place, 1.0);
                }
            }
            let (all, short) = rayon::join(|| kernel.near(all, grid), || kernel.near(short, grid));
            for at in here {
                let place = self.place(&self.points[needs[at].point as usize]);
                nearby[at] = sample(&short, grid, place) / sample(&all, grid, place).max(1e-6);
            }
        }
        let attainable = needs.iter().filter(|need| need.full.is_finite()).count();
        let mut loose: Vec<f32> = (0..needs.len())
            .filter(|at| lacking(&needs[*at]) && nearby[*at] < STRETCH)
            .map(|at| nearby[at])
            .collect();
        loose.sort_by(f32::total_cmp);
        let spared = (SPECKS * attainable as f64) as usize;
        let bound = loose.get(spared).copied().unwrap_or(STRETCH);
        needs.iter().zip(&nearby).map(|(need, nearby)| lacking(need) && *nearby >= bound).collect()
    }
}

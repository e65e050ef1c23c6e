//! The field of quotients: the spread times it meets the needs along the outline.

use crate::rim::kernel::{drawn, sample, splat};
use crate::rim::solve::{Case, Need, count};
use crate::rim::spread::Spread;
use crate::rim::{SHARE, undone, unfinished};
use crate::steps::grid::Plane;
use crate::steps::upsample::Stretch;
use rayon::prelude::*;

/// Corrections of the quotients, and how far one may go.
const CORRECTIONS: usize = 8;
const STRIDE: f32 = 1.4;
/// Share of the densest stretch of outline below which a place counts as far from it: there quotients stay as they are.
const FAR: f32 = 4e-3;
/// How much more a place that lacks fog weighs in a correction than one that has enough.
const LACKING: f32 = 5.0;
/// How much a place weighs that needs none.
const CONTENT: f32 = 0.3;
/// Most that the field as a whole is thickened in the end.
const THICKEST: f32 = 2.5;

impl Case<'_> {
    /// The depth of one air that meets `needs`, and how many of the attainable it meets.
    pub(super) fn air(&self, spread: &Spread, needs: &[Need], served: &[bool], limit: f32) -> (Plane, usize) {
        let (grid, kernel) = (&spread.grid, &spread.kernel);
        let served: Vec<bool> = needs
            .iter()
            .zip(served)
            .map(|(need, served)| *served && need.full > 0.0 && need.full.is_finite())
            .collect();
        let mut wanted = vec![0.0_f32; self.points.len()];
        let mut seen = vec![false; self.points.len()];
        for (need, served) in needs.iter().zip(&served) {
            let at = need.point as usize;
            seen[at] = true;
            if *served {
                wanted[at] = wanted[at].max(undone(need.full));
            }
        }
        let mut depth = Plane::new(grid.cols, grid.rows);
        if wanted.iter().all(|wanted| *wanted <= 0.0) {
            return (depth, 0);
        }
        let places: Vec<[f64; 2]> = self.points.iter().map(|point| self.place(point)).collect();
        let own: Vec<f32> =
            places.par_iter().map(|place| sample(&spread.spread, grid, *place).max(1e-6)).collect();
        let blurred = |value: &(dyn Fn(usize) -> f32 + Sync)| {
            let mut plane = Plane::new(grid.cols, grid.rows);
            for at in (0..places.len()).filter(|at| seen[*at]) {
                splat(&mut plane, grid, places[at], value(at));
            }
            kernel.apply(&plane, grid)
        };
        let over = |above: &Plane, below: &Plane, floor: f32| {
            let least = floor * below.data.iter().copied().fold(0.0, f32::max);
            let quotient =
                |(above, below): (&f32, &f32)| (above.max(0.0) + 1e-12) / (below.max(0.0) + least + 1e-12);
            above.data.iter().zip(&below.data).map(quotient).collect::<Vec<f32>>()
        };
        let both = |above: &(dyn Fn(usize) -> f32 + Sync), below: &(dyn Fn(usize) -> f32 + Sync)| {
            rayon::join(|| blurred(above), || blurred(below))
        };
        let (above, below) = both(&|at| wanted[at], &|at| own[at]);
        let mut quotient = over(&above, &below, FAR);
        let write = |depth: &mut Plane, quotient: &[f32]| {
            for ((depth, spread), quotient) in depth.data.iter_mut().zip(&spread.spread.data).zip(quotient) {
                *depth = spread.max(0.0) * quotient;
            }
        };
        for _ in 0..CORRECTIONS {
            write(&mut depth, &quotient);
            let have: Vec<f32> =
                places.par_iter().map(|place| sample(&depth, grid, *place).max(1e-6)).collect();
            let weight = |at: usize| {
                if wanted[at] <= 0.0 {
                    CONTENT
                } else if have[at] < wanted[at] {
                    LACKING
                } else {
                    1.0
                }
            };
            let (above, below) = both(&|at| weight(at) * wanted[at], &|at| weight(at) * have[at]);
            // Where no outline is near, the quotient stays as it is.
            let most = below.data.iter().copied().fold(0.0, f32::max);
            for (quotient, (above, below)) in quotient.iter_mut().zip(above.data.iter().zip(&below.data)) {
                let still = FAR * most + 1e-12;
                *quotient *=
                    ((above.max(0.0) + still) / (below.max(0.0) + still)).clamp(1.0 / STRIDE, STRIDE);
            }
        }
        write(&mut depth, &quotient);
        // The least of it that serves enough of the outline, as it is drawn.
        let mut coefficients = depth.clone();
        Stretch::new(*grid, self.job.spec.field.cols as usize).prepare(&mut coefficients);
        let have: Vec<f32> =
            places.par_iter().map(|place| drawn(&coefficients, grid, *place).max(1e-6)).collect();
        let factor_of = |need: &Need| unfinished(need.enough, limit) / have[need.point as usize];
        let mut factors: Vec<f32> = needs
            .iter()
            .zip(&served)
            .filter(|(_, served)| **served)
            .map(|(need, _)| factor_of(need))
            .collect();
        factors.sort_by(f32::total_cmp);
        let attainable = needs.iter().filter(|need| need.full.is_finite()).count();
        let specks = count(needs) - factors.len();
        // Of what is served, and of all that is attainable.
        let missed = (((1.0 - SHARE) * factors.len() as f64) as usize)
            .min((((1.0 - SHARE) * attainable as f64) as usize).saturating_sub(specks));
        let factor = (factors[factors.len() - 1 - missed.min(factors.len() - 1)] * 1.0005).min(THICKEST);
        depth.data.iter_mut().for_each(|depth| *depth *= factor);
        let met = needs.iter().filter(|need| need.full > 0.0 && factor_of(need) <= factor).count();
        (depth, met)
    }
}

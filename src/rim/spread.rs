//! The spread: an art's coverage, broken up by bands, gathered toward the anchor, smeared and softened.

use crate::base::exp::opacity;
use crate::base::seed;
use crate::base::units::Texel;
use crate::plan::RimSpec;
use crate::rim::kernel::{Kernel, sample, splat};
use crate::rim::solve::Case;
use crate::rim::{Air, finished, outline};
use crate::steps::grid::{Grid, Plane};
use crate::steps::recipe::Bands;
use crate::steps::{step1_bands, step2_falloff, step3_smear, step4_soften};
use rayon::prelude::*;

/// How far the spread sinks toward the anchor, as a share of its deviation.
const SINK: f64 = 0.4;
/// Share of the spread that the bands, and the falloff, leave alone: in their gaps a rim thins, but doesn't tear.
const EVEN: [f32; 2] = [0.4, 0.35];
/// How much of the rim off its outline is the sheet's own bands.
const BROKEN: f32 = 0.85;
/// Least softness of those bands, in spreads: what is softer than the rim's own slope doesn't widen it.
const SOFT: f64 = 0.25;
/// Largest size of those bands, in spreads.
const LARGEST: f64 = 2.5;
/// How much more of the rim off its outline there is at the anchor's height, and less at the art's far end.
const GATHERED: f64 = 0.2;
/// Deviation, in spreads, over which an outline counts as near; and the share of its usual nearness from which it counts as off.
const CLOSE: f64 = 0.4;
/// See [`CLOSE`].
const OFF: f32 = 0.3;

/// The spread on its grid.
pub(super) struct Spread {
    pub kernel: Kernel,
    pub grid: Grid,
    coverage: Plane,
    pub spread: Plane,
    pub facing: Plane,
}

impl Spread {
    /// The spread of a case's art, at a standard deviation of `deviation` texels along y.
    pub fn new(case: &Case<'_>, deviation: f64) -> Spread {
        let spec = &case.job.spec;
        let field = &spec.field;
        let kernel = Kernel::new(field, deviation);
        let grid = kernel.grid([field.cols, field.rows]);
        let (cols, rows) = (i64::from(field.cols), i64::from(field.rows));
        let coverage = Plane {
            cols: grid.cols,
            data: outline::coverage(
                case.picture,
                [grid.cols, grid.rows],
                |x| {
                    let at = x + spec.corner[0];
                    let at = if spec.periodic { at.rem_euclid(cols) } else { at };
                    (at >= 0 && at < cols)
                        .then(|| ((at as f64 + 0.5) / grid.step[0]) as usize)
                        .map(|col| col.min(grid.cols - 1))
                },
                |y| {
                    let at = y + spec.corner[1];
                    (at >= 0 && at < rows)
                        .then(|| ((at as f64 + 0.5) / grid.step[1]) as usize)
                        .map(|row| row.min(grid.rows - 1))
                },
                grid.step[0] * grid.step[1],
            ),
        };
        let mut shape = Plane::new(grid.cols, grid.rows);
        step1_bands::fill(
            &field.recipe.bands,
            seed::of(field.seed, "bands"),
            field.time,
            field.line.0,
            Some(kernel.deviation),
            &grid,
            &mut shape,
        );
        let mut fall = Plane::new(grid.cols, grid.rows);
        fall.data.fill(1.0);
        let dice = seed::of(field.seed, "falloff");
        step2_falloff::apply(
            &field.recipe.falloff,
            dice,
            field.time,
            field.line.0,
            field.open,
            &grid,
            &mut fall,
        );
        // Drawn from rows farther from the anchor, so that the fog has sunk toward it.
        let sink = (SINK * deviation / grid.step[1]).round() as i64 * field.open as i64;
        shape.each_row(
            #[inline(always)]
            |row, numbers| {
                let from = (row as i64 + sink).clamp(0, grid.rows as i64 - 1) as usize;
                for ((number, covered), fall) in numbers.iter_mut().zip(coverage.row(from)).zip(fall.row(row))
                {
                    let bands = EVEN[0] + (1.0 - EVEN[0]) * number.clamp(0.0, 2.0);
                    *number = covered * bands * (EVEN[1] + (1.0 - EVEN[1]) * fall.min(1.0));
                }
            },
        );
        let mut spread = kernel.apply(&shape, &grid);
        break_up(case, &kernel, &grid, &mut spread);
        let facing = facing(&spread, &grid, spec, &kernel);
        Spread { kernel, grid, coverage, spread, facing }
    }

    /// Fastest change of opacity per texel between neighbouring samples, where the art doesn't cover both.
    pub fn steepest(&self, airs: &[Air], limit: f32) -> f64 {
        let grid = &self.grid;
        let seen = |at: usize| {
            let sum: f32 = airs.iter().map(|air| air.depth.data[at].max(0.0)).sum();
            f64::from(opacity(finished(sum, limit)))
        };
        let slope = |at: usize| {
            if self.coverage.data[at] > 0.9 {
                return 0.0;
            }
            let own = seen(at);
            let mut slope = [0.0; 2];
            if at % grid.cols + 1 < grid.cols {
                slope[0] = (seen(at + 1) - own) / grid.step[0];
            }
            if at / grid.cols + 1 < grid.rows {
                slope[1] = (seen(at + grid.cols) - own) / grid.step[1];
            }
            libm::hypot(slope[0], slope[1])
        };
        let rows = (0..grid.rows).into_par_iter();
        let most_of = |row: usize| (row * grid.cols..(row + 1) * grid.cols).map(slope).fold(0.0, f64::max);
        rows.map(most_of).reduce(|| 0.0, f64::max)
    }
}

/// Breaks the spread up by the slot's bands once more, as soft as in its sheet, and gathers it toward the anchor: off the outline
/// alone, where nothing hangs on it.
fn break_up(case: &Case<'_>, kernel: &Kernel, grid: &Grid, spread: &mut Plane) {
    let field = &case.job.spec.field;
    let recipe = &field.recipe;
    let own = recipe.soften.sigma.0;
    let gentle = kernel.deviation.map(|deviation| SOFT * deviation);
    let sigma = [(own * recipe.soften.stretch).max(gentle[0]), own.max(gentle[1])];
    let mut bands = Plane::new(grid.cols, grid.rows);
    let seed = seed::of(field.seed, "bands");
    // Bands much larger than the rim would only make it thicker here and thinner there.
    let own = Bands { size: recipe.bands.size.min(Texel(LARGEST * kernel.deviation[1])), ..recipe.bands };
    step1_bands::fill(&own, seed, field.time, field.line.0, Some(sigma), grid, &mut bands);
    let bands = step3_smear::apply(bands, recipe.smear.length.0, recipe.smear.angle, grid.step);
    let bands = step4_soften::apply(bands, [sigma[0] / grid.step[0], sigma[1] / grid.step[1]]);
    let mut outline = Plane::new(grid.cols, grid.rows);
    for point in case.points {
        splat(&mut outline, grid, case.place(point), 1.0);
    }
    let outline =
        step4_soften::apply(outline, [0, 1].map(|axis| CLOSE * kernel.deviation[axis] / grid.step[axis]));
    let mut there: Vec<f32> =
        case.points.par_iter().map(|point| sample(&outline, grid, case.place(point))).collect();
    let middle = there.len() / 2;
    let usual = *there.select_nth_unstable_by(middle, f32::total_cmp).1;
    // A spread that had to be widened has no slope to spare.
    let broken = BROKEN * (case.job.spec.spread[0] / kernel.deviation[1]).sqrt().min(1.0) as f32;
    let over = |y: f64| (y - field.line.0) * field.open;
    let highest = case.points.iter().map(|point| over(case.place(point)[1])).fold(0.0, f64::max);
    spread.each_row(
        #[inline(always)]
        |row, numbers| {
            let height = if highest > 0.0 { (over(grid.y(row)) / highest).clamp(0.0, 1.0) } else { 0.5 };
            let gathered = (GATHERED * (1.0 - 2.0 * height)) as f32;
            for ((number, bands), near) in numbers.iter_mut().zip(bands.row(row)).zip(outline.row(row)) {
                let near = near / (OFF * usual);
                let off = 1.0 / (1.0 + near * near);
                let bands = broken * (bands.clamp(0.0, 2.0) - 1.0);
                *number *= (1.0 + off * bands) * (1.0 + off * gathered);
            }
        },
    );
}

/// How much each place of the spread faces the light.
fn facing(spread: &Plane, grid: &Grid, spec: &RimSpec, kernel: &Kernel) -> Plane {
    let turn = spec.light.to_radians();
    let reach = kernel.deviation.map(|deviation| 0.5 * deviation);
    let dx = (libm::cos(turn) * reach[0] / grid.step[0]).round() as i64;
    let dy = (-libm::sin(turn) * reach[1] / grid.step[1]).round() as i64;
    let rows = grid.rows as i64;
    let wrap = |at: i64| at.rem_euclid(grid.cols as i64) as usize;
    let mut out = Plane::new(grid.cols, grid.rows);
    out.each_row(
        #[inline(always)]
        |row, numbers| {
            let toward = spread.row((row as i64 + dy).clamp(0, rows - 1) as usize);
            let away = spread.row((row as i64 - dy).clamp(0, rows - 1) as usize);
            for (col, number) in numbers.iter_mut().enumerate() {
                let slope = 2.5 * (away[wrap(col as i64 - dx)] - toward[wrap(col as i64 + dx)]);
                *number = slope / (1.0 + slope * slope).sqrt();
            }
        },
    );
    out
}

//! The spread: an art's coverage, broken up by bands, gathered toward the anchor, smeared and softened.

use crate::base::exp::opacity;
use crate::base::seed;
use crate::base::units::Texel;
use crate::rim::ceiling::gathered;
use crate::rim::depth::drawn_depth;
use crate::rim::kernel::Kernel;
use crate::rim::outline::{self, ToCell};
use crate::rim::part::Part;
use crate::rim::problem::Air;
use crate::rim::samples::Samples;
use crate::steps::field::FieldSpec;
use crate::steps::grid::{Grid, Plane};
use crate::steps::recipe::Bands;
use crate::steps::{step1_bands, step2_falloff, step3_smear, step4_soften};
use rayon::prelude::*;
use std::ops::Range;

/// How far the spread sinks toward the anchor, as a share of its deviation; chosen by eye.
const SINK: f64 = 0.4;
/// Share of the spread that the bands, and the falloff, leave alone: in their gaps a rim thins, but doesn't tear. Chosen by eye.
const EVEN: [f32; 2] = [0.4, 0.35];
/// Most density of the bands that counts, where their mean is 1; chosen by eye.
const DENSITY_MAX: f32 = 2.0;
/// How much of the rim off its outline is the sheet's own bands; chosen by eye.
const BROKEN: f32 = 0.85;
/// Least softness of those bands, in spreads: what is softer than the rim's own slope doesn't widen it. Chosen by eye.
const SOFT: f64 = 0.25;
/// Largest size of those bands, in spreads: larger ones would only make the rim thicker here and thinner there. Chosen by eye.
const LARGEST: f64 = 2.5;
/// How much more of the rim off its outline there is at the anchor's height, and less at the art's far end; chosen by eye.
const GATHERED: f64 = 0.2;
/// Deviation, in spreads, over which an outline counts as near; and the share of its usual nearness from which it counts as off. Chosen
/// by eye.
const CLOSE: f64 = 0.4;
const OFF: f32 = 0.3;
/// Share of a sample that the art covers from which the rim's slope there isn't seen; chosen by eye.
const COVERED: f32 = 0.9;
/// Over which length the spread's slope toward the light is taken, in spreads; and how much of it faces the light in full. Chosen by
/// eye.
const FACING_REACH: f64 = 0.5;
const FACING_GAIN: f32 = 2.5;

/// The spread on the grid of its part.
pub(super) struct Spread {
    pub samples: Samples,
    /// For what is only blurred.
    pub blurred: Samples,
    coverage: Plane,
    pub spread: Plane,
    pub facing: Plane,
}

impl Spread {
    /// The spread of a part's art.
    pub fn new(part: &Part<'_>) -> Spread {
        let spec = &part.problem.job.spec;
        let (kernel, grid, left) = (part.kernel, part.grid(), part.left());
        let coverage = coverage(part);
        let samples = Samples::own(part);
        let shape = shape(part, &coverage);
        let mut spread = kernel.apply(shape, &grid);
        break_up(part, &samples, &mut spread);
        let mut facing = facing(&spread, &grid, spec.light, &kernel);
        facing.each_row(
            #[inline(always)]
            |row, numbers| {
                // Thin fog has no lit side.
                let share = |x: f64| gathered(&spec.field, [x, grid.y(row)]) as f32;
                if spec.field.slope.is_none() {
                    let share = share(0.0);
                    numbers.iter_mut().for_each(|number| *number *= share);
                } else {
                    for (col, number) in numbers.iter_mut().enumerate() {
                        *number *= share(left + (col as f64 + 0.5) * grid.step[0]);
                    }
                }
            },
        );
        Spread { samples, blurred: Samples::blurred(part), coverage, spread, facing }
    }

    /// How much of what lies within about a spread the art covers.
    pub fn solid(&self) -> Plane {
        self.samples.near(self.coverage.clone())
    }

    /// Fastest change of opacity per texel between neighbouring samples, where the art doesn't cover both.
    pub fn steepest(&self, airs: &[Air], limit: f32) -> f64 {
        let Grid { cols, rows, .. } = self.samples.grid;
        let mut opacities = Plane::new(cols, rows);
        opacities.each_row(
            #[inline(always)]
            |row, numbers| {
                for air in airs {
                    for (sum, depth) in numbers.iter_mut().zip(air.depth.row(row)) {
                        *sum += depth.max(0.0);
                    }
                }
                numbers.iter_mut().for_each(|number| *number = opacity(drawn_depth(*number, limit)));
            },
        );
        let opacities = opacities.data;
        (0..opacities.len()).into_par_iter().map(|at| self.slope(&opacities, at)).reduce(|| 0.0, f64::max)
    }

    /// How fast opacities change from the sample `at` on, per texel.
    fn slope(&self, opacities: &[f32], at: usize) -> f64 {
        let Grid { cols, rows, step, .. } = self.samples.grid;
        if self.coverage.data[at] > COVERED {
            return 0.0;
        }
        let own = f64::from(opacities[at]);
        let mut slope = [0.0; 2];
        if at % cols + 1 < cols {
            slope[0] = (f64::from(opacities[at + 1]) - own) / step[0];
        }
        if at / cols + 1 < rows {
            slope[1] = (f64::from(opacities[at + cols]) - own) / step[1];
        }
        (slope[0] * slope[0] + slope[1] * slope[1]).sqrt()
    }
}

/// How much of each sample the art covers.
fn coverage(part: &Part<'_>) -> Plane {
    let spec = &part.problem.job.spec;
    let to_cell = |axis: usize, cells: &Range<usize>| ToCell {
        corner: spec.corner[axis],
        texels: i64::from([spec.field.cols, spec.field.rows][axis]),
        wraps: axis == 0 && spec.periodic,
        step: part.whole.step[axis],
        cells: [part.whole.cols, part.whole.rows][axis],
        seen: cells.clone(),
    };
    let to_cell = [to_cell(0, &part.region.cols), to_cell(1, &part.region.rows)];
    Plane { cols: part.region.cols.len(), data: outline::coverage(part.problem.picture, &to_cell) }
}

/// Coverage times bands times falloff: what is spread.
fn shape(part: &Part<'_>, coverage: &Plane) -> Plane {
    let (field, kernel, grid) = (&part.problem.job.spec.field, &part.kernel, &part.grid());
    let mut shape = along_line(part, |grid| bands(field, &field.recipe.bands, kernel.deviation, grid));
    let fall = along_line(part, |grid| {
        let mut fall = Plane::new(grid.cols, grid.rows);
        fall.data.fill(1.0);
        let (falloff, seed) = (&field.recipe.falloff, seed::derive(field.seed, "falloff"));
        step2_falloff::apply(falloff, seed, &field.moment, field.line.0, field.open, grid, &mut fall);
        fall
    });
    // Drawn from rows farther from the anchor, so that the fog has sunk toward it.
    let sink = (SINK * kernel.deviation[1] / grid.step[1]).round() as i64 * field.open as i64;
    shape.each_row(
        #[inline(always)]
        |row, numbers| {
            let from = (row as i64 + sink).clamp(0, grid.rows as i64 - 1) as usize;
            for ((number, covered), fall) in numbers.iter_mut().zip(coverage.row(from)).zip(fall.row(row)) {
                let bands = EVEN[0] + (1.0 - EVEN[0]) * number.clamp(0.0, DENSITY_MAX);
                *number = covered * bands * (EVEN[1] + (1.0 - EVEN[1]) * fall.min(1.0));
            }
        },
    );
    shape
}

/// What `level` draws along a level line, along the fog's own, in a part. Fields come round: they are drawn over the whole width.
fn along_line(part: &Part<'_>, level: impl Fn(&Grid) -> Plane) -> Plane {
    let field = &part.problem.job.spec.field;
    let grid = Grid { cols: part.whole.cols, ..part.grid() };
    let plane = match field.slope {
        None => level(&grid),
        Some(slope) => {
            let [low, high] = slope.range(f64::from(field.cols)).map(|up| up / grid.step[1]);
            let (over, under) = ((-low).ceil().max(0.0) + 2.0, high.ceil().max(0.0) + 2.0);
            let (rows, top) = (grid.rows + (over + under) as usize, grid.top - over * grid.step[1]);
            let own = Grid { rows, top, ..grid };
            slope.displace(&level(&own), &own, &grid, 0.0)
        }
    };
    let cols = &part.region.cols;
    if cols.len() == grid.cols {
        return plane;
    }
    let rows = plane.data.chunks_exact(grid.cols);
    Plane { cols: cols.len(), data: rows.flat_map(|row| &row[cols.clone()]).copied().collect() }
}

/// The slot's bands on a grid, under a Gaussian of `sigma` texels.
fn bands(field: &FieldSpec, bands: &Bands<Texel>, sigma: [f64; 2], grid: &Grid) -> Plane {
    let mut plane = Plane::new(grid.cols, grid.rows);
    let seed = seed::derive(field.seed, "bands");
    step1_bands::fill(bands, seed, &field.moment, field.line.0, Some(sigma), grid, &mut plane);
    plane
}

/// Breaks the spread up by the slot's bands once more, as soft as in its sheet, and gathers it toward the anchor: off the outline
/// alone, where nothing hangs on it.
fn break_up(part: &Part<'_>, samples: &Samples, spread: &mut Plane) {
    let spec = &part.problem.job.spec;
    let (kernel, grid) = (&part.kernel, &part.grid());
    let bands = soft_bands(part);
    let (near, usual) = nearness(samples, kernel);
    // A spread that had to be widened has no slope to spare.
    let broken = BROKEN * (spec.spread[0] / kernel.deviation[1]).sqrt().min(1.0) as f32;
    let over = |y: f64| (y - spec.field.line.0) * spec.field.open;
    let highest = part.known.highest;
    spread.each_row(
        #[inline(always)]
        |row, numbers| {
            let height = if highest > 0.0 { (over(grid.y(row)) / highest).clamp(0.0, 1.0) } else { 0.5 };
            let gathered = (GATHERED * (1.0 - 2.0 * height)) as f32;
            for ((number, bands), near) in numbers.iter_mut().zip(bands.row(row)).zip(near.row(row)) {
                let near = near / (OFF * usual);
                let off = 1.0 / (1.0 + near * near);
                let bands = broken * (bands.clamp(0.0, DENSITY_MAX) - 1.0);
                *number *= (1.0 + off * bands) * (1.0 + off * gathered);
            }
        },
    );
}

/// How near the outline is to each sample; and the median of that along the outline.
fn nearness(samples: &Samples, kernel: &Kernel) -> (Plane, f32) {
    let step = samples.grid.step;
    let near = samples.scatter(|_| Some(1.0));
    let near = step4_soften::apply(near, [0, 1].map(|axis| CLOSE * kernel.deviation[axis] / step[axis]));
    let mut along: Vec<f32> = samples.places.par_iter().map(|place| place.sample(&near)).collect();
    let middle = along.len() / 2;
    let median = *along.select_nth_unstable_by(middle, f32::total_cmp).1;
    (near, median)
}

/// The slot's bands as its sheet has them, no larger and no less soft than suits the rim.
fn soft_bands(part: &Part<'_>) -> Plane {
    let (field, kernel) = (&part.problem.job.spec.field, &part.kernel);
    let recipe = &field.recipe;
    let own = recipe.soften.sigma.0;
    let gentle = kernel.deviation.map(|deviation| SOFT * deviation);
    let sigma = [(own * recipe.soften.stretch).max(gentle[0]), own.max(gentle[1])];
    let size = recipe.bands.size.min(Texel(LARGEST * kernel.deviation[1]));
    along_line(part, |grid| {
        let plane = bands(field, &Bands { size, ..recipe.bands }, sigma, grid);
        let plane = step3_smear::apply(plane, recipe.smear.length.0, recipe.smear.angle, grid.step);
        step4_soften::apply(plane, [sigma[0] / grid.step[0], sigma[1] / grid.step[1]])
    })
}

/// How much each place of the spread faces the light, which comes from `light` degrees.
fn facing(spread: &Plane, grid: &Grid, light: f64, kernel: &Kernel) -> Plane {
    let radians = light.to_radians();
    let reach = kernel.deviation.map(|deviation| FACING_REACH * deviation);
    let dx = (libm::cos(radians) * reach[0] / grid.step[0]).round() as i64;
    let dy = (-libm::sin(radians) * reach[1] / grid.step[1]).round() as i64;
    let (cols, rows) = (grid.cols as i64, grid.rows as i64);
    let mut out = Plane::new(grid.cols, grid.rows);
    out.each_row(
        #[inline(always)]
        |row, numbers| {
            let toward = spread.row((row as i64 + dy).clamp(0, rows - 1) as usize);
            let away = spread.row((row as i64 - dy).clamp(0, rows - 1) as usize);
            for (col, number) in numbers.iter_mut().enumerate() {
                let [left, right] =
                    [col as i64 - dx, col as i64 + dx].map(|col| col.rem_euclid(cols) as usize);
                let slope = FACING_GAIN * (away[left] - toward[right]);
                *number = slope / (1.0 + slope * slope).sqrt();
            }
        },
    );
    out
}

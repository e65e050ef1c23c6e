//! The blur that spreads a rim: the sheet's own smear and soften, wider.

use crate::plan::rims::{aspect, variances};
use crate::steps::field::FieldSpec;
use crate::steps::grid::{Grid, Plane};
use crate::steps::{step3_smear, step4_soften, upsample};

/// Most of the spread's variance that the smear may have: a box alone would leave corners. Chosen by eye.
const SMEAR_SHARE_MAX: f64 = 0.6;
/// Samples to a standard deviation: the Gaussian's own share of it still spans three.
const SAMPLES_PER_DEVIATION: f64 = 5.0;
/// Deviation of [`Kernel::near`], in spreads; chosen by eye.
const NEAR: f64 = 0.7;

/// A smear and a Gaussian, lengths in texels.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Kernel {
    /// Standard deviation of the whole along x and y.
    pub deviation: [f64; 2],
    length: f64,
    angle: f64,
    sigma: [f64; 2],
}

impl Kernel {
    /// The blurs of `field` at a standard deviation of `spread` texels along y.
    pub fn new(field: &FieldSpec, spread: f64) -> Kernel {
        let deviation = [spread * aspect(field), spread];
        let mut smeared = [0.0; 2];
        let mut sigma = deviation;
        for (axis, (smear, gauss)) in variances(field).into_iter().enumerate() {
            if smear > 0.0 {
                let share = (smear / (smear + gauss)).min(SMEAR_SHARE_MAX);
                smeared[axis] = deviation[axis] * libm::sqrt(12.0 * share);
                sigma[axis] = deviation[axis] * libm::sqrt(1.0 - share);
            }
        }
        let length = libm::hypot(smeared[0], smeared[1]);
        let steep = libm::atan2(smeared[1], smeared[0]).to_degrees();
        Kernel { deviation, length, angle: steep * field.recipe.smear.angle.signum(), sigma }
    }

    /// The grid on which this kernel is worked out for a canvas of `size` texels.
    pub fn grid(&self, size: [u32; 2]) -> Grid {
        let [width, height] = size.map(f64::from);
        let [x, y] = self.deviation.map(|deviation| (deviation / SAMPLES_PER_DEVIATION).max(1.0));
        let cols = (width / x).ceil().max(1.0);
        let rows = (height / y).ceil().max(1.0);
        Grid { cols: cols as usize, rows: rows as usize, step: [width / cols, height / rows], top: 0.0 }
    }

    /// Sums up what is near on that grid: within about a spread, alike along x and y.
    pub fn near(&self, plane: Plane, grid: &Grid) -> Plane {
        let deviation = self.deviation[0].min(self.deviation[1]);
        step4_soften::apply(plane, grid.step.map(|step| NEAR * deviation / step))
    }

    /// Blurs a plane on that grid.
    pub fn apply(&self, plane: &Plane, grid: &Grid) -> Plane {
        let smeared = step3_smear::apply(plane.clone(), self.length, self.angle, grid.step);
        step4_soften::apply(smeared, [self.sigma[0] / grid.step[0], self.sigma[1] / grid.step[1]])
    }
}

/// The value at a place in texels between the samples, by Catmull and Rom's cubic; wraps in x.
pub(super) fn sample(plane: &Plane, grid: &Grid, place: [f64; 2]) -> f32 {
    interpolate(plane, grid, place, upsample::catmull_rom)
}

/// The same of a plane of the spline's coefficients, as it is drawn.
pub(super) fn sample_spline(plane: &Plane, grid: &Grid, place: [f64; 2]) -> f32 {
    interpolate(plane, grid, place, upsample::b_spline)
}

fn interpolate(plane: &Plane, grid: &Grid, [x, y]: [f64; 2], weights: fn(f64) -> [f32; 4]) -> f32 {
    let (col, right) = cell(x, grid.step[0]);
    let (row, below) = cell(y - grid.top, grid.step[1]);
    let (across, down) = (weights(right), weights(below));
    let mut sum = 0.0;
    for (tap, weight) in down.iter().enumerate() {
        let line = plane.row((row + tap as i64 - 1).clamp(0, grid.rows as i64 - 1) as usize);
        let along: f32 = across
            .iter()
            .enumerate()
            .map(|(tap, weight)| weight * line[(col + tap as i64 - 1).rem_euclid(grid.cols as i64) as usize])
            .sum();
        sum += weight * along;
    }
    sum
}

/// The sample before a place, `step` texels apart, and how far the place is on the way to the next, 0..1.
fn cell(place: f64, step: f64) -> (i64, f64) {
    let position = place / step - 0.5;
    (position.floor() as i64, position - position.floor())
}

/// Adds `value` to the four samples around a place in texels, by their nearness.
pub(super) fn scatter(plane: &mut Plane, grid: &Grid, [x, y]: [f64; 2], value: f32) {
    let (col, right) = cell(x, grid.step[0]);
    let (row, below) = cell(y - grid.top, grid.step[1]);
    let (right, below) = (right as f32, below as f32);
    for (down, share_y) in [(0, 1.0 - below), (1, below)] {
        for (across, share_x) in [(0, 1.0 - right), (1, right)] {
            let at_row = (row + down).clamp(0, grid.rows as i64 - 1) as usize;
            let at_col = (col + across).rem_euclid(grid.cols as i64) as usize;
            plane.data[at_row * grid.cols + at_col] += value * share_x * share_y;
        }
    }
}

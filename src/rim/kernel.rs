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
    pub fn apply(&self, plane: Plane, grid: &Grid) -> Plane {
        let smeared = step3_smear::apply(plane, self.length, self.angle, grid.step);
        step4_soften::apply(smeared, [self.sigma[0] / grid.step[0], self.sigma[1] / grid.step[1]])
    }
}

/// The samples around a place of a grid, and how near they are: found once, since a solve asks for the same places time and again.
pub(super) struct Around {
    /// The columns, which wrap, and the rows of four by four samples.
    cols: [u32; 4],
    rows: [u32; 4],
    /// How far the place is on the way from the second to the third of them, 0..1.
    between: [f64; 2],
    /// Catmull and Rom's weights along x and y.
    weights: [[f32; 4]; 2],
}

impl Around {
    /// Around a place in texels.
    pub fn new(grid: &Grid, [x, y]: [f64; 2]) -> Around {
        let (col, right) = cell(x, grid.step[0]);
        let (row, below) = cell(y - grid.top, grid.step[1]);
        Around {
            cols: [-1, 0, 1, 2].map(|tap| (col + tap).rem_euclid(grid.cols as i64) as u32),
            rows: [-1, 0, 1, 2].map(|tap| (row + tap).clamp(0, grid.rows as i64 - 1) as u32),
            between: [right, below],
            weights: [right, below].map(upsample::catmull_rom),
        }
    }

    /// The value of a plane on the grid at the place, by Catmull and Rom's cubic.
    pub fn sample(&self, plane: &Plane) -> f32 {
        self.interpolate(plane, &self.weights)
    }

    /// The same of a plane of the spline's coefficients, as it is drawn.
    pub fn sample_spline(&self, plane: &Plane) -> f32 {
        self.interpolate(plane, &self.between.map(upsample::b_spline))
    }

    #[inline]
    fn interpolate(&self, plane: &Plane, [across, down]: &[[f32; 4]; 2]) -> f32 {
        let [first, .., last] = self.cols.map(|col| col as usize);
        // Down first: four columns at once.
        let mut sums = [0.0_f32; 4];
        for (row, weight) in self.rows.iter().zip(down) {
            let line = plane.row(*row as usize);
            let taps = match line.get(first..first + 4) {
                Some([a, b, c, d]) if last == first + 3 => [*a, *b, *c, *d],
                _ => self.cols.map(|col| line[col as usize]),
            };
            for (sum, tap) in sums.iter_mut().zip(taps) {
                *sum += weight * tap;
            }
        }
        let [a, b, c, d] = sums;
        across[0] * a + across[1] * b + across[2] * c + across[3] * d
    }

    /// Adds `value` to the four nearest samples, by their nearness.
    pub fn scatter(&self, plane: &mut Plane, value: f32) {
        let [right, below] = self.between.map(|share| share as f32);
        for (row, share_y) in [(self.rows[1], 1.0 - below), (self.rows[2], below)] {
            for (col, share_x) in [(self.cols[1], 1.0 - right), (self.cols[2], right)] {
                plane.data[row as usize * plane.cols + col as usize] += value * share_x * share_y;
            }
        }
    }
}

/// The sample before a place, `step` texels apart, and how far the place is on the way to the next, 0..1.
fn cell(place: f64, step: f64) -> (i64, f64) {
    let position = place / step - 0.5;
    (position.floor() as i64, position - position.floor())
}

//! Samples of a part, and where its outline lies among them: as fine as the spread asks for, and coarser for what is only blurred.

use crate::rim::kernel::{Around, Kernel};
use crate::rim::part::Part;
use crate::steps::grid::{Grid, Plane};
use crate::steps::upsample::Upsampler;
use rayon::prelude::*;

/// Samples to a deviation for what is blurred by the kernel, or by what is near, and for nothing else. With three and a half as many places
/// have their step as with five, to 1 %.
const BLURRED_PER_DEVIATION: f64 = 3.5;

/// Samples of a part.
pub(super) struct Samples {
    kernel: Kernel,
    pub grid: Grid,
    /// Where the points of the outline lie on it.
    pub places: Vec<Around>,
}

impl Samples {
    /// On the part's own grid.
    pub fn own(part: &Part<'_>) -> Samples {
        Samples::on(part, part.grid())
    }

    /// On a grid over the same place that is as coarse as blurred values allow.
    pub fn blurred(part: &Part<'_>) -> Samples {
        let (own, deviation) = (part.grid(), part.kernel.deviation);
        let side = |axis: usize, count: usize| {
            let most = (deviation[axis] / BLURRED_PER_DEVIATION).max(own.step[axis]);
            let length = count as f64 * own.step[axis];
            // As many as they are, but for what rounding does to the quotient.
            let count = ((length / most - 1e-6).ceil() as usize).clamp(1, count);
            (count, length / count as f64)
        };
        let ((cols, x), (rows, y)) = (side(0, own.cols), side(1, own.rows));
        Samples::on(part, Grid { cols, rows, step: [x, y], top: own.top })
    }

    fn on(part: &Part<'_>, grid: Grid) -> Samples {
        let left = part.left();
        let places = part.places.par_iter().map(|[x, y]| Around::new(&grid, [x - left, *y])).collect();
        Samples { kernel: part.kernel, grid, places }
    }

    /// The sum of values at those of the points that have one.
    pub fn scatter(&self, value: impl Fn(usize) -> Option<f32>) -> Plane {
        let mut plane = Plane::new(self.grid.cols, self.grid.rows);
        for (at, place) in self.places.iter().enumerate() {
            if let Some(value) = value(at) {
                place.scatter(&mut plane, value);
            }
        }
        plane
    }

    /// Blurs a plane like the spread.
    pub fn blur(&self, plane: Plane) -> Plane {
        self.kernel.apply(plane, &self.grid)
    }

    /// Sums up what is near: [`Kernel::near`].
    pub fn near(&self, plane: Plane) -> Plane {
        self.kernel.near(plane, &self.grid)
    }

    /// A plane of these samples on those of `finer`, by the spline through them.
    pub fn interpolate(&self, mut plane: Plane, finer: &Samples) -> Plane {
        let (own, to) = (self.grid, finer.grid);
        if (own.cols, own.rows) == (to.cols, to.rows) {
            return plane;
        }
        // Measured in samples of the finer grid.
        let step = [to.cols as f64 / own.cols as f64, to.rows as f64 / own.rows as f64];
        let upsampler = Upsampler::new(Grid { step, top: 0.0, ..own }, to.cols);
        upsampler.prefilter(&mut plane);
        let mut fine = Plane::new(to.cols, to.rows);
        fine.each_row_with(
            #[inline(always)]
            |line: &mut Vec<f32>, row, numbers| {
                upsampler.down(&plane, row as f64, [0, numbers.len()], line);
                upsampler.across(line, 0, numbers);
            },
        );
        fine
    }
}

//! The grid on which a field is worked out, and planes of numbers on it.

use crate::base::simd::vectorize;
use crate::base::threads;

/// Sample points of a field: `cols` over one period in x, `rows` from `top` downward. All lengths in texels of the sheet.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Grid {
    /// Samples over one period.
    pub cols: usize,
    /// Rows.
    pub rows: usize,
    /// Distance between samples along x and y, in texels; at least 1.
    pub step: [f64; 2],
    /// Place of the upper edge of the first row's cell, in texels from the sheet's top.
    pub top: f64,
}

impl Grid {
    /// Place of the sample `row` in texels from the sheet's top.
    pub fn y(&self, row: usize) -> f64 {
        self.top + (row as f64 + 0.5) * self.step[1]
    }
}

/// One number per grid point, row by row; periodic in x.
#[derive(Clone, Debug, PartialEq)]
pub struct Plane {
    /// Samples per row.
    pub cols: usize,
    /// The numbers.
    pub data: Vec<f32>,
}

impl Plane {
    /// A plane of zeros.
    pub fn new(cols: usize, rows: usize) -> Plane {
        Plane { cols, data: vec![0.0; cols * rows] }
    }

    /// Number of rows.
    pub fn rows(&self) -> usize {
        self.data.len() / self.cols
    }

    /// One row.
    pub fn row(&self, row: usize) -> &[f32] {
        &self.data[row * self.cols..(row + 1) * self.cols]
    }

    /// Runs `work(row, numbers of the row)` over all rows, side by side. Rows don't see each other, so that the number of
    /// threads can't change a bit.
    pub fn each_row(&mut self, work: impl Fn(usize, &mut [f32]) + Sync + Send) {
        self.each_row_with(
            #[inline(always)]
            |(), row, numbers| work(row, numbers),
        );
    }

    /// Like [`Plane::each_row`], with something kept from row to row by each thread, which must not change what is written.
    pub fn each_row_with<T: Default>(&mut self, work: impl Fn(&mut T, usize, &mut [f32]) + Sync + Send) {
        threads::each_part(&mut self.data, self.cols, 1, |kept, row, numbers| {
            vectorize(
                #[inline(always)]
                || work(kept, row, numbers),
            )
        });
    }
}

//! The mean of a field along a line.

use crate::steps::field::Field;

impl Field {
    /// Mean along a line with this height (texels) in each column; none where it leaves the rows.
    pub(super) fn mean_along(&self, heights: &[f64]) -> Option<f64> {
        let mut sum = 0.0;
        for (col, y) in heights.iter().enumerate() {
            let place = (y - self.grid.top) / self.grid.step[1] - 0.5;
            let base = place.floor();
            if base < 1.0 || base + 3.0 > self.grid.rows as f64 {
                return None;
            }
            let samples: [f64; 4] = std::array::from_fn(|at| {
                f64::from(self.density.data[(base as usize + at - 1) * self.grid.cols + col])
            });
            sum += cubic(samples, place - base);
        }
        Some(sum / heights.len() as f64)
    }
}

/// Lagrange's cubic through samples at -1, 0, 1 and 2.
fn cubic([a, b, c, d]: [f64; 4], t: f64) -> f64 {
    let (before, after) = (t + 1.0, t - 1.0);
    let past = t - 2.0;
    -a * t * after * past / 6.0 + b * before * after * past / 2.0 - c * before * t * past / 2.0
        + d * before * t * after / 6.0
}

//! Mean density of a field at each height, for the scene's section.

use crate::steps::field::Field;
use crate::steps::grid::Grid;

/// The mean of each row of a field.
pub(super) struct RowMeans {
    grid: Grid,
    means: Vec<f32>,
}

impl RowMeans {
    pub fn new(field: &Field) -> RowMeans {
        let mean = |row: usize| {
            let row = field.density.row(row);
            // Sums side by side: one after the other each waits for the last.
            let (eights, rest) = row.as_chunks::<8>();
            let mut sums = [0.0_f32; 8];
            for eight in eights {
                for (sum, number) in sums.iter_mut().zip(eight) {
                    *sum += number;
                }
            }
            sums.iter().chain(rest).sum::<f32>() / row.len() as f32
        };
        RowMeans { grid: field.grid, means: (0..field.grid.rows).map(mean).collect() }
    }

    /// Mean density at height `y`, texels from the sheet's top.
    pub fn at(&self, y: f64) -> f32 {
        let place = (y - self.grid.top) / self.grid.step[1] - 0.5;
        let last = self.means.len() - 1;
        let low = place.floor().clamp(0.0, last as f64);
        let (a, b) = (self.means[low as usize], self.means[(low as usize + 1).min(last)]);
        a + (b - a) * (place - low).clamp(0.0, 1.0) as f32
    }
}

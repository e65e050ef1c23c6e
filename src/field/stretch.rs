//! From the grid to texels: a cubic that wraps in x.
//!
//! Catmull-Rom (Catmull & Rom 1974): passes through the samples, third-order exact, no more overshoot than a field that soften
//! has smoothed can show.

use super::grid::{Grid, Plane};

/// Weights of the four samples around a place `t` (0..1) between the second and the third.
#[inline]
pub fn weights(t: f64) -> [f32; 4] {
    let (t2, t3) = (t * t, t * t * t);
    [
        (0.5 * (-t3 + 2.0 * t2 - t)) as f32,
        (0.5 * (3.0 * t3 - 5.0 * t2 + 2.0)) as f32,
        (0.5 * (-3.0 * t3 + 4.0 * t2 + t)) as f32,
        (0.5 * (t3 - t2)) as f32,
    ]
}

/// Draws rows of texels out of a grid.
#[derive(Clone, Debug)]
pub struct Stretch {
    grid: Grid,
    /// For each texel column: first of four columns of the padded line, and the weights. Empty where columns are texels.
    columns: Vec<(u32, [f32; 4])>,
}

impl Stretch {
    /// For sheets `texels` wide.
    pub fn new(grid: Grid, texels: usize) -> Stretch {
        let columns = if grid.cols == texels {
            Vec::new()
        } else {
            (0..texels)
                .map(|texel| {
                    let position = (texel as f64 + 0.5) / grid.step[0] - 0.5;
                    let base = position.floor();
                    // The line is padded by two samples on the left, so base - 1 stands at base + 1.
                    ((base + 1.0) as u32, weights(position - base))
                })
                .collect()
        };
        Stretch { grid, columns }
    }

    /// Writes the texels of row `row` of the sheet into `out`, from column `first` on, wrapping; `line` is scratch.
    pub fn row(&self, plane: &Plane, row: f64, first: usize, line: &mut Vec<f32>, out: &mut [f32]) {
        let cols = self.grid.cols;
        line.clear();
        line.resize(cols + 4, 0.0);
        let position = (row + 0.5 - self.grid.top) / self.grid.step[1] - 0.5;
        let base = position.floor();
        let weights = weights(position - base);
        let last = self.grid.rows as i64 - 1;
        for (tap, weight) in weights.iter().enumerate() {
            if *weight == 0.0 {
                continue;
            }
            let at = (base as i64 + tap as i64 - 1).clamp(0, last) as usize;
            for (sum, value) in line[2..cols + 2].iter_mut().zip(plane.row(at)) {
                *sum += weight * value;
            }
        }
        if self.columns.is_empty() {
            wrapped(first, cols, out, |from, part| {
                part.copy_from_slice(&line[2 + from..2 + from + part.len()])
            });
            return;
        }
        for side in 0..2 {
            line[side] = line[2 + (cols * 2 + side - 2) % cols];
            line[cols + 2 + side] = line[2 + side % cols];
        }
        wrapped(first, self.columns.len(), out, |from, part| {
            for (texel, (first, weights)) in part.iter_mut().zip(&self.columns[from..]) {
                let taps = &line[*first as usize..*first as usize + 4];
                *texel =
                    weights[0] * taps[0] + weights[1] * taps[1] + weights[2] * taps[2] + weights[3] * taps[3];
            }
        });
    }
}

/// Hands out `out` in runs that don't cross the wrap: `run(first column, its texels)`.
fn wrapped(first: usize, cols: usize, out: &mut [f32], mut run: impl FnMut(usize, &mut [f32])) {
    let (mut from, mut rest) = (first % cols, out);
    while !rest.is_empty() {
        let length = rest.len().min(cols - from);
        let (part, after) = rest.split_at_mut(length);
        run(from, part);
        (from, rest) = (0, after);
    }
}

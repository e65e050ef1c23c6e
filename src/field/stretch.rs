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
pub struct Stretch {
    grid: Grid,
    columns: Columns,
}

/// How texels are drawn from the samples of a line that is padded by two on each side.
enum Columns {
    /// Samples are texels.
    Same(usize),
    /// A sample every so many texels, a power of two: five weights for each place between two samples.
    Whole(usize, [Vec<f32>; 5]),
    /// For each texel: the first of four samples, and their weights.
    Any(Vec<(u32, [f32; 4])>),
}

impl Stretch {
    /// For sheets `texels` wide.
    pub fn new(grid: Grid, texels: usize) -> Stretch {
        let place = |texel: usize| {
            let position = (texel as f64 + 0.5) / grid.step[0] - 0.5;
            (position.floor(), weights(position - position.floor()))
        };
        let ratio = texels / grid.cols;
        let columns = if grid.cols == texels {
            Columns::Same(texels)
        } else if ratio * grid.cols == texels && matches!(ratio, 2 | 4 | 8 | 16) {
            let mut five: [Vec<f32>; 5] = std::array::from_fn(|_| vec![0.0; ratio]);
            for (texel, (base, four)) in (0..ratio).map(place).enumerate() {
                // The first half of the texels lies before the sample, the second behind it.
                let first = if base < 0.0 { 0 } else { 1 };
                for (tap, weight) in four.into_iter().enumerate() {
                    five[first + tap][texel] = weight;
                }
            }
            Columns::Whole(ratio, five)
        } else {
            // The padded line's first sample is two before the row's, so `base - 1` stands at `base + 1`.
            Columns::Any((0..texels).map(place).map(|(base, four)| ((base + 1.0) as u32, four)).collect())
        };
        Stretch { grid, columns }
    }

    /// The grid that it draws from.
    pub fn grid(&self) -> Grid {
        self.grid
    }

    /// The samples of the height of texel row `row`, between the grid's rows: into `line`, for [`Stretch::across`].
    pub fn down(&self, plane: &Plane, row: f64, line: &mut Vec<f32>) {
        let cols = self.grid.cols;
        line.clear();
        line.resize(cols + 4, 0.0);
        let position = (row + 0.5 - self.grid.top) / self.grid.step[1] - 0.5;
        let base = position.floor();
        let last = self.grid.rows as i64 - 1;
        for (tap, weight) in weights(position - base).iter().enumerate() {
            if *weight == 0.0 {
                continue;
            }
            let at = (base as i64 + tap as i64 - 1).clamp(0, last) as usize;
            for (sum, value) in line[2..cols + 2].iter_mut().zip(plane.row(at)) {
                *sum += weight * value;
            }
        }
    }

    /// The samples in a line from [`Stretch::down`], to be worked on.
    pub fn samples<'a>(&self, line: &'a mut [f32]) -> &'a mut [f32] {
        &mut line[2..self.grid.cols + 2]
    }

    /// Writes the texels of a line into `out`, from column `first` on, wrapping.
    pub fn across(&self, line: &mut [f32], first: usize, out: &mut [f32]) {
        let cols = self.grid.cols;
        for side in 0..2 {
            line[side] = line[2 + (cols * 2 + side - 2) % cols];
            line[cols + 2 + side] = line[2 + side % cols];
        }
        match &self.columns {
            Columns::Same(texels) => wrapped(first, *texels, out, |from, part| {
                part.copy_from_slice(&line[2 + from..2 + from + part.len()]);
            }),
            Columns::Whole(2, five) => whole::<2>(five, line, cols, first, out),
            Columns::Whole(4, five) => whole::<4>(five, line, cols, first, out),
            Columns::Whole(8, five) => whole::<8>(five, line, cols, first, out),
            Columns::Whole(_, five) => whole::<16>(five, line, cols, first, out),
            Columns::Any(places) => wrapped(first, places.len(), out, |from, part| {
                for (texel, (first, weights)) in part.iter_mut().zip(&places[from..]) {
                    let taps = &line[*first as usize..*first as usize + 4];
                    *texel = weights[0] * taps[0]
                        + weights[1] * taps[1]
                        + weights[2] * taps[2]
                        + weights[3] * taps[3];
                }
            }),
        }
    }
}

/// [`Stretch::across`] for `R` texels a sample.
fn whole<const R: usize>(five: &[Vec<f32>; 5], line: &[f32], cols: usize, first: usize, out: &mut [f32]) {
    let five: [[f32; R]; 5] = std::array::from_fn(|tap| std::array::from_fn(|at| five[tap][at]));
    let texels = |sample: usize| -> [f32; R] {
        let taps: [f32; 5] = std::array::from_fn(|tap| line[sample + tap]);
        std::array::from_fn(|at| (0..5).map(|tap| five[tap][at] * taps[tap]).sum())
    };
    wrapped(first, cols * R, out, |from, part| {
        // The run may begin and end within a sample's texels.
        let lead = ((R - from % R) % R).min(part.len());
        let (head, rest) = part.split_at_mut(lead);
        head.copy_from_slice(&texels(from / R)[from % R..][..head.len()]);
        let mut sample = from.div_ceil(R);
        let mut runs = rest.chunks_exact_mut(R);
        for run in &mut runs {
            run.copy_from_slice(&texels(sample));
            sample += 1;
        }
        let tail = runs.into_remainder();
        if !tail.is_empty() {
            tail.copy_from_slice(&texels(sample)[..tail.len()]);
        }
    });
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

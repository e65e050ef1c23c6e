//! From the grid to texels: a cubic spline through the samples, that wraps in x.
//!
//! The samples are turned into coefficients of cubic B-splines once (Unser, Aldroubi & Eden, "B-spline signal processing", 1993:
//! one pole, sqrt(3) - 2, forward and back along each axis); four weights a texel then draw the spline. It passes through the
//! samples, its slope and curvature are continuous, and it misses half of what Catmull-Rom's cubic misses at the same cost a texel.

use crate::base::simd::vectorize;
use crate::base::threads;
use crate::steps::coefficients::{Coefficients, Rows};
use crate::steps::grid::{Grid, Plane};
use std::ops::Range;

/// Weights of the four coefficients around a place `t` (0..1) between the second and the third: the cubic B-spline.
#[inline]
pub(crate) fn b_spline(t: f64) -> [f32; 4] {
    let (u, t2, t3) = (1.0 - t, t * t, t * t * t);
    let second = (3.0 * t3 - 6.0 * t2 + 4.0) / 6.0;
    let last = t3 / 6.0;
    let first = u * u * u / 6.0;
    [first as f32, second as f32, (1.0 - first - second - last) as f32, last as f32]
}

/// Weights of the four samples around a place `t` (0..1) between the second and the third: Catmull and Rom's cubic (1974).
#[inline]
pub fn catmull_rom(t: f64) -> [f32; 4] {
    let (t2, t3) = (t * t, t * t * t);
    [
        (0.5 * (-t3 + 2.0 * t2 - t)) as f32,
        (0.5 * (3.0 * t3 - 5.0 * t2 + 2.0)) as f32,
        (0.5 * (-3.0 * t3 + 4.0 * t2 + t)) as f32,
        (0.5 * (t3 - t2)) as f32,
    ]
}

/// Draws rows of texels out of planes on a grid, which [`Upsampler::prefilter`] must have turned into coefficients.
#[derive(Clone)]
pub struct Upsampler {
    grid: Grid,
    columns: Columns,
}

/// Texels to a sample that are drawn fastest, from the most down: [`Columns::Integer`].
pub(super) const WHOLE: [usize; 5] = [16, 8, 4, 3, 2];

/// How texels are drawn from the samples of a line that is padded by two on each side.
#[derive(Clone)]
enum Columns {
    /// Samples are texels.
    Identity(usize),
    /// A sample every so many texels, one of [`WHOLE`]: five weights for each place between two samples.
    Integer(usize, [Vec<f32>; 5]),
    /// For each texel: the first of four samples, and their weights.
    Fractional(Vec<(u32, [f32; 4])>),
}

impl Upsampler {
    /// For a sheet `texels` wide.
    pub fn new(grid: Grid, texels: usize) -> Upsampler {
        let ratio = texels / grid.cols;
        let columns = if grid.cols == texels {
            Columns::Identity(texels)
        } else if ratio * grid.cols == texels && WHOLE.contains(&ratio) {
            let mut five: [Vec<f32>; 5] = std::array::from_fn(|_| vec![0.0; ratio]);
            for (texel, (base, four)) in (0..ratio).map(|texel| taps(texel, grid.step[0])).enumerate() {
                // The first half of the texels lies before the sample, the second behind it.
                let first = if base < 0.0 { 0 } else { 1 };
                for (tap, weight) in four.into_iter().enumerate() {
                    five[first + tap][texel] = weight;
                }
            }
            Columns::Integer(ratio, five)
        } else {
            // The padded line's first sample is two before the row's, so `base - 1` stands at `base + 1`.
            Columns::Fractional(
                (0..texels)
                    .map(|texel| taps(texel, grid.step[0]))
                    .map(|(base, four)| ((base + 1.0) as u32, four))
                    .collect(),
            )
        };
        Upsampler { grid, columns }
    }

    /// The grid that it draws from.
    pub fn grid(&self) -> Grid {
        self.grid
    }

    /// Whether texels are the samples themselves along x and y.
    pub(crate) fn is_identity(&self) -> [bool; 2] {
        let aligned = (self.grid.top - self.grid.top.round()).abs() < 1e-9;
        [matches!(self.columns, Columns::Identity(_)), self.grid.step[1] == 1.0 && aligned]
    }

    /// Turns samples into the coefficients of the spline through them, in place. Beyond its first and last row a plane goes on as
    /// if mirrored in them.
    pub fn prefilter(&self, plane: &mut Plane) {
        let [same_x, same_y] = self.is_identity();
        if !same_x {
            coefficients_along(plane);
        }
        if !same_y {
            vectorize(
                #[inline(always)]
                || coefficients_down(plane),
            );
        }
    }

    /// Does what of [`Upsampler::prefilter`] another, of the same samples, has left undone.
    pub fn prefilter_after(&self, other: &Upsampler, plane: &mut Plane) {
        let (own, other) = (self.is_identity(), other.is_identity());
        if other[0] && !own[0] {
            coefficients_along(plane);
        }
        if other[1] && !own[1] {
            vectorize(
                #[inline(always)]
                || coefficients_down(plane),
            );
        }
    }

    /// The coefficients of texel row `row`, between the grid's rows: into `line`, for [`Upsampler::across`] of `count` texels from
    /// column `first` on. The rest of the line is left as it is.
    #[cfg_attr(feature = "simd", inline(always))]
    pub fn down<R: Rows>(&self, plane: &R, row: f64, [first, count]: [usize; 2], line: &mut Vec<f32>) {
        let cols = self.grid.cols;
        line.resize(cols + 4, 0.0);
        let part = self.support(first, count);
        let out = &mut line[2 + part.start..2 + part.end];
        let position = (row + 0.5 - self.grid.top) / self.grid.step[1] - 0.5;
        let last = self.grid.rows as i64 - 1;
        if self.is_identity()[1] {
            let at = (position.round() as i64).clamp(0, last) as usize;
            let row = &plane.row(at)[part];
            out.iter_mut().zip(row).for_each(|(out, item)| *out = plane.number(*item));
            return;
        }
        let base = position.floor();
        let weights = b_spline(position - base);
        let [a, b, c, d] =
            [-1, 0, 1, 2].map(|tap| &plane.row((base as i64 + tap).clamp(0, last) as usize)[part.clone()]);
        let taps = a.iter().zip(b).zip(c).zip(d);
        for (sum, (((a, b), c), d)) in out.iter_mut().zip(taps) {
            let [a, b, c, d] = [*a, *b, *c, *d].map(|item| plane.number(item));
            *sum = weights[0] * a + weights[1] * b + weights[2] * c + weights[3] * d;
        }
    }

    /// The same of coefficients as a sheet holds them.
    #[inline(always)]
    pub fn down_held(&self, plane: &Coefficients, row: f64, columns: [usize; 2], line: &mut Vec<f32>) {
        match plane {
            Coefficients::Exact(plane) => self.down(plane, row, columns, line),
            Coefficients::Rounded(rounded) => self.down(rounded, row, columns, line),
        }
    }

    /// The samples of a row that `count` texels from column `first` on are drawn from; all where they wrap.
    fn support(&self, first: usize, count: usize) -> Range<usize> {
        // Two more to each side than the spline needs, for what rounding does to their places.
        let from = (first as f64 / self.grid.step[0]) as usize;
        let to = ((first + count) as f64 / self.grid.step[0]) as usize + 5;
        if from < 4 || to > self.grid.cols { 0..self.grid.cols } else { from - 4..to }
    }

    /// Writes the texels of a line into `out`, from column `first` on, wrapping.
    #[cfg_attr(feature = "simd", inline(always))]
    pub fn across(&self, line: &mut [f32], first: usize, out: &mut [f32]) {
        let cols = self.grid.cols;
        for side in 0..2 {
            line[side] = line[2 + (cols * 2 + side - 2) % cols];
            line[cols + 2 + side] = line[2 + side % cols];
        }
        match &self.columns {
            Columns::Identity(texels) => each_run(
                first,
                *texels,
                out,
                #[inline(always)]
                |from, part| {
                    part.copy_from_slice(&line[2 + from..2 + from + part.len()]);
                },
            ),
            Columns::Integer(2, five) => integer::<2>(five, line, cols, first, out),
            Columns::Integer(3, five) => integer::<3>(five, line, cols, first, out),
            Columns::Integer(4, five) => integer::<4>(five, line, cols, first, out),
            Columns::Integer(8, five) => integer::<8>(five, line, cols, first, out),
            Columns::Integer(_, five) => integer::<16>(five, line, cols, first, out),
            Columns::Fractional(places) => each_run(
                first,
                places.len(),
                out,
                #[inline(always)]
                |from, part| {
                    for (texel, (first, weights)) in part.iter_mut().zip(&places[from..]) {
                        let taps = &line[*first as usize..*first as usize + 4];
                        *texel = weights[0] * taps[0]
                            + weights[1] * taps[1]
                            + weights[2] * taps[2]
                            + weights[3] * taps[3];
                    }
                },
            ),
        }
    }
}

/// The sample before a texel, `step` texels apart, and the weights of the four around it.
fn taps(texel: usize, step: f64) -> (f64, [f32; 4]) {
    let position = (texel as f64 + 0.5) / step - 0.5;
    (position.floor(), b_spline(position - position.floor()))
}

/// The pole of the cubic spline's filter, and how far its memory reaches in single precision.
const POLE: f32 = -0.267_949_2;
const MEMORY: usize = 14;

/// Lines that are filtered together: each number waits for the one before it, but lines don't wait for each other.
const LINES: usize = 8;

/// Rows of samples, which wrap, to coefficients.
fn coefficients_along(plane: &mut Plane) {
    let cols = plane.cols;
    threads::each_part(&mut plane.data, cols * LINES, 1, |(), _, rows| {
        vectorize(
            #[inline(always)]
            || {
                let mut lines = rows.chunks_exact_mut(cols);
                match std::array::from_fn(|_| lines.next()) {
                    [Some(a), Some(b), Some(c), Some(d), Some(e), Some(f), Some(g), Some(h)] => {
                        coefficients::<LINES>([a, b, c, d, e, f, g, h]);
                    }
                    few => few.into_iter().flatten().for_each(|line| coefficients([line])),
                }
            },
        );
    });
}

/// Lines of samples to coefficients, all of one length.
#[inline(always)]
fn coefficients<const N: usize>(mut lines: [&mut [f32]; N]) {
    let count = lines.iter().map(|line| line.len()).min().unwrap_or(0);
    let mut sums = [0.0; N];
    for back in (1..=MEMORY).rev() {
        for (sum, line) in sums.iter_mut().zip(&lines) {
            *sum = line[(count * MEMORY - back) % count] + POLE * *sum;
        }
    }
    for at in 0..count {
        for (sum, line) in sums.iter_mut().zip(&mut lines) {
            *sum = line[at] + POLE * *sum;
            line[at] = *sum;
        }
    }
    let mut sums = [0.0; N];
    for ahead in (0..MEMORY).rev() {
        for (sum, line) in sums.iter_mut().zip(&lines) {
            *sum = POLE * (*sum - line[ahead % count]);
        }
    }
    for at in (0..count).rev() {
        for (sum, line) in sums.iter_mut().zip(&mut lines) {
            *sum = POLE * (*sum - line[at]);
            line[at] = 6.0 * *sum;
        }
    }
}

/// The same along columns, mirrored in the first and the last row.
#[inline(always)]
fn coefficients_down(plane: &mut Plane) {
    let (cols, rows) = (plane.cols, plane.rows());
    if rows < 2 {
        return;
    }
    // First row: the samples below, mirrored above it.
    let mut first = plane.row(0).to_vec();
    let mut share = 1.0;
    for back in 1..MEMORY.min(rows) {
        share *= POLE;
        first.iter_mut().zip(plane.row(back)).for_each(|(sum, value)| *sum += share * value);
    }
    plane.data[..cols].copy_from_slice(&first);
    for row in 1..rows {
        let (above, here) = plane.data[(row - 1) * cols..(row + 1) * cols].split_at_mut(cols);
        here.iter_mut().zip(above).for_each(|(value, above)| *value += POLE * *above);
    }
    // Last row: c = z / (z^2 - 1) (d[n] + z d[n - 1]).
    let scale = 6.0 * POLE / (POLE * POLE - 1.0);
    let (above, last) = plane.data[(rows - 2) * cols..].split_at_mut(cols);
    last.iter_mut().zip(above).for_each(|(value, above)| *value = scale * (*value + POLE * *above));
    for row in (0..rows - 1).rev() {
        let (here, below) = plane.data[row * cols..(row + 2) * cols].split_at_mut(cols);
        here.iter_mut().zip(below).for_each(|(value, below)| *value = POLE * (*below - 6.0 * *value));
    }
}

/// The spline through the samples of a single column, at `position` in samples; held at its ends.
pub fn interpolate(mut column: Plane, position: f64) -> f64 {
    coefficients_down(&mut column);
    let last = column.rows() - 1;
    let position = position.clamp(0.0, last as f64);
    let base = position.floor();
    let weights = b_spline(position - base);
    let last = last as i64;
    (0..4)
        .map(|tap| {
            let at = base as i64 + tap - 1;
            // Mirrored in the first and the last sample, as the coefficients are.
            let mirrored = last - (last - at.abs()).abs();
            f64::from(weights[tap as usize]) * f64::from(column.data[mirrored as usize])
        })
        .sum()
}

/// [`Upsampler::across`] for `R` texels a sample.
#[inline(always)]
fn integer<const R: usize>(five: &[Vec<f32>; 5], line: &[f32], cols: usize, first: usize, out: &mut [f32]) {
    let five: [[f32; R]; 5] = std::array::from_fn(|tap| std::array::from_fn(|at| five[tap][at]));
    each_run(
        first,
        cols * R,
        out,
        #[inline(always)]
        |from, part| {
            // The run may begin and end within a sample's texels.
            let lead = ((R - from % R) % R).min(part.len());
            let (head, rest) = part.split_at_mut(lead);
            head.copy_from_slice(&texels_around(&five, line, from / R)[from % R..][..head.len()]);
            let mut sample = from.div_ceil(R);
            let mut runs = rest.chunks_exact_mut(R);
            for run in &mut runs {
                run.copy_from_slice(&texels_around(&five, line, sample));
                sample += 1;
            }
            let tail = runs.into_remainder();
            if !tail.is_empty() {
                tail.copy_from_slice(&texels_around(&five, line, sample)[..tail.len()]);
            }
        },
    );
}

/// The texels that `R` to a sample lie around one.
#[inline(always)]
fn texels_around<const R: usize>(five: &[[f32; R]; 5], line: &[f32], sample: usize) -> [f32; R] {
    let mut out = [0.0; R];
    for (weights, tap) in five.iter().zip(&line[sample..sample + 5]) {
        for (out, weight) in out.iter_mut().zip(weights) {
            *out += weight * tap;
        }
    }
    out
}

/// Hands out `out` in runs that don't cross the wrap: `run(first column, its texels)`.
#[inline(always)]
fn each_run(first: usize, cols: usize, out: &mut [f32], mut run: impl FnMut(usize, &mut [f32])) {
    let (mut from, mut rest) = (first % cols, out);
    while !rest.is_empty() {
        let length = rest.len().min(cols - from);
        let (part, after) = rest.split_at_mut(length);
        run(from, part);
        (from, rest) = (0, after);
    }
}

//! From the grid to texels: a cubic spline through the samples, that wraps in x.
//!
//! The samples are turned into coefficients of cubic B-splines once (Unser, Aldroubi & Eden, "B-spline signal processing", 1993:
//! one pole, sqrt(3) - 2, forward and back along each axis); four weights a texel then draw the spline. It passes through the
//! samples, its slope and curvature are continuous, and it misses half of what Catmull-Rom's cubic misses at the same cost a texel.

use super::grid::{Grid, Plane};

/// Weights of the four coefficients around a place `t` (0..1) between the second and the third: the cubic B-spline.
#[inline]
pub(crate) fn spline(t: f64) -> [f32; 4] {
    let (u, t2, t3) = (1.0 - t, t * t, t * t * t);
    let second = (3.0 * t3 - 6.0 * t2 + 4.0) / 6.0;
    let last = t3 / 6.0;
    let first = u * u * u / 6.0;
    [first as f32, second as f32, (1.0 - first - second - last) as f32, last as f32]
}

/// Weights of the four samples around a place `t` (0..1) between the second and the third: Catmull and Rom's cubic (1974).
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

/// Draws rows of texels out of planes on a grid, which [`Stretch::prepare`] must have turned into coefficients.
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
            (position.floor(), spline(position - position.floor()))
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

    /// Whether texels are the samples themselves along x and y.
    fn same(&self) -> [bool; 2] {
        let whole = (self.grid.top - self.grid.top.round()).abs() < 1e-9;
        [matches!(self.columns, Columns::Same(_)), self.grid.step[1] == 1.0 && whole]
    }

    /// Turns samples into the coefficients of the spline through them, in place. Beyond its first and last row a plane goes on as
    /// if mirrored in them.
    pub fn prepare(&self, plane: &mut Plane) {
        let [same_x, same_y] = self.same();
        if !same_x {
            plane.each_row(
                #[inline(always)]
                |_, numbers| coefficients(numbers),
            );
        }
        if !same_y {
            coefficients_down(plane);
        }
    }

    /// The coefficients of texel row `row`, between the grid's rows: into `line`, for [`Stretch::across`].
    #[inline(always)]
    pub fn down(&self, plane: &Plane, row: f64, line: &mut Vec<f32>) {
        let cols = self.grid.cols;
        line.clear();
        line.resize(cols + 4, 0.0);
        let position = (row + 0.5 - self.grid.top) / self.grid.step[1] - 0.5;
        let last = self.grid.rows as i64 - 1;
        if self.same()[1] {
            let at = (position.round() as i64).clamp(0, last) as usize;
            line[2..cols + 2].copy_from_slice(plane.row(at));
            return;
        }
        let base = position.floor();
        for (tap, weight) in spline(position - base).iter().enumerate() {
            let at = (base as i64 + tap as i64 - 1).clamp(0, last) as usize;
            for (sum, value) in line[2..cols + 2].iter_mut().zip(plane.row(at)) {
                *sum += weight * value;
            }
        }
    }

    /// Writes the texels of a line into `out`, from column `first` on, wrapping.
    #[inline(always)]
    pub fn across(&self, line: &mut [f32], first: usize, out: &mut [f32]) {
        let cols = self.grid.cols;
        for side in 0..2 {
            line[side] = line[2 + (cols * 2 + side - 2) % cols];
            line[cols + 2 + side] = line[2 + side % cols];
        }
        match &self.columns {
            Columns::Same(texels) => wrapped(
                first,
                *texels,
                out,
                #[inline(always)]
                |from, part| {
                    part.copy_from_slice(&line[2 + from..2 + from + part.len()]);
                },
            ),
            Columns::Whole(2, five) => whole::<2>(five, line, cols, first, out),
            Columns::Whole(4, five) => whole::<4>(five, line, cols, first, out),
            Columns::Whole(8, five) => whole::<8>(five, line, cols, first, out),
            Columns::Whole(_, five) => whole::<16>(five, line, cols, first, out),
            Columns::Any(places) => wrapped(
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

/// The pole of the cubic spline's filter, and how far its memory reaches in single precision.
const POLE: f32 = -0.267_949_2;
const MEMORY: usize = 14;

/// Samples of a line that wraps to coefficients.
fn coefficients(line: &mut [f32]) {
    let count = line.len();
    let mut carried = 0.0;
    for back in (1..=MEMORY).rev() {
        carried = line[(count * MEMORY - back) % count] + POLE * carried;
    }
    for value in line.iter_mut() {
        carried = *value + POLE * carried;
        *value = carried;
    }
    let mut carried = 0.0;
    for ahead in (0..MEMORY).rev() {
        carried = POLE * (carried - line[ahead % count]);
    }
    for value in line.iter_mut().rev() {
        carried = POLE * (carried - *value);
        *value = 6.0 * carried;
    }
}

/// The same along columns, mirrored in the first and the last row.
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
pub fn between(mut column: Plane, position: f64) -> f64 {
    coefficients_down(&mut column);
    let last = column.rows() - 1;
    let position = position.clamp(0.0, last as f64);
    let base = position.floor();
    let taps = spline(position - base);
    // Mirrored in the first and the last sample, as the coefficients are.
    let tap = |at: i64| f64::from(column.data[(last as i64 - (last as i64 - at.abs()).abs()) as usize]);
    (0..4).map(|at| f64::from(taps[at as usize]) * tap(base as i64 + at - 1)).sum()
}

/// [`Stretch::across`] for `R` texels a sample.
#[inline(always)]
fn whole<const R: usize>(five: &[Vec<f32>; 5], line: &[f32], cols: usize, first: usize, out: &mut [f32]) {
    let five: [[f32; R]; 5] = std::array::from_fn(|tap| std::array::from_fn(|at| five[tap][at]));
    wrapped(
        first,
        cols * R,
        out,
        #[inline(always)]
        |from, part| {
            // The run may begin and end within a sample's texels.
            let lead = ((R - from % R) % R).min(part.len());
            let (head, rest) = part.split_at_mut(lead);
            head.copy_from_slice(&around(&five, line, from / R)[from % R..][..head.len()]);
            let mut sample = from.div_ceil(R);
            let mut runs = rest.chunks_exact_mut(R);
            for run in &mut runs {
                run.copy_from_slice(&around(&five, line, sample));
                sample += 1;
            }
            let tail = runs.into_remainder();
            if !tail.is_empty() {
                tail.copy_from_slice(&around(&five, line, sample)[..tail.len()]);
            }
        },
    );
}

/// The texels that `R` to a sample lie around one.
#[inline(always)]
fn around<const R: usize>(five: &[[f32; R]; 5], line: &[f32], sample: usize) -> [f32; R] {
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
fn wrapped(first: usize, cols: usize, out: &mut [f32], mut run: impl FnMut(usize, &mut [f32])) {
    let (mut from, mut rest) = (first % cols, out);
    while !rest.is_empty() {
        let length = rest.len().min(cols - from);
        let (part, after) = rest.split_at_mut(length);
        run(from, part);
        (from, rest) = (0, after);
    }
}

//! Step 4: soften. A separable Gaussian, wrapping in x.
//!
//! Gaussians follow one another by adding variances. So a wide one begins with a narrow one that makes every other sample
//! superfluous, and goes on with what is left on half the samples, until three of them span its deviation.

use crate::steps::grid::{Grid, Plane};

/// Deviations that a kernel reaches to each side; what lies beyond weighs 6e-5 of the whole.
pub const REACH: f64 = 4.0;

/// Half a Gaussian kernel: weight of the middle, then of each offset; the whole sums to 1. Sampled at integers, cut at
/// [`REACH`] deviations. A deviation of 0 gives the single weight 1.
pub fn kernel(sigma: f64) -> Vec<f32> {
    if sigma <= 0.0 {
        return vec![1.0];
    }
    let reach = (REACH * sigma + 0.5) as usize;
    let weights: Vec<f64> =
        (0..=reach).map(|at| libm::exp(-0.5 * (at as f64 / sigma) * (at as f64 / sigma))).collect();
    let sum = weights[0] + 2.0 * weights[1..].iter().sum::<f64>();
    weights.iter().map(|weight| (weight / sum) as f32).collect()
}

/// Softens with deviations of `sigma` samples along x and y. Rows outside are taken as the outermost row.
pub fn apply(plane: Plane, sigma: [f64; 2]) -> Plane {
    let across = kernel(sigma[0]);
    let down = kernel(sigma[1]);
    let plane = if across.len() > 1 { along_x(plane, &across) } else { plane };
    if down.len() > 1 { along_y(&plane, &down) } else { plane }
}

/// Deviation of the Gaussian before samples are halved, in samples: of a wave that half of them would take for a slow one it
/// leaves 6e-4 at the most, and what is left for the wide Gaussian on half the samples is still wide.
const HALVING: f64 = 1.2;

/// A Gaussian of this deviation in samples, or more, begins by halving them: what is left then spans 2.7 samples or more.
const HALVED_MIN: f64 = 5.5;

/// How often samples along one axis are halved under a Gaussian of `sigma` samples.
pub fn halvings(sigma: f64) -> u32 {
    halved(sigma, |_| true).0
}

/// How often samples are halved under a Gaussian of `sigma` samples as long as they `may` be once more, and what is left of it.
fn halved(mut sigma: f64, may: impl Fn(u32) -> bool) -> (u32, f64) {
    let mut count = 0;
    while sigma >= HALVED_MIN && may(count) {
        sigma = remaining(sigma);
        count += 1;
    }
    (count, sigma)
}

/// What is left of a deviation after one halving, in the wider samples.
fn remaining(sigma: f64) -> f64 {
    0.5 * libm::sqrt(sigma * sigma - halving_weights().1)
}

/// Weights of the narrow Gaussian between two samples, of the pairs from the inside out, and its variance.
fn halving_weights() -> ([f32; 5], f64) {
    let places: [f64; 5] = std::array::from_fn(|at| at as f64 + 0.5);
    let weights = places.map(|place| libm::exp(-0.5 * place * place / (HALVING * HALVING)));
    let sum = 2.0 * weights.iter().sum::<f64>();
    let squares = weights.iter().zip(places).map(|(weight, place)| weight * place * place);
    (weights.map(|weight| (weight / sum) as f32), 2.0 * squares.sum::<f64>() / sum)
}

/// Softens with deviations of `sigma` texels a plane on `grid`; what comes back has no more samples than are needed to draw it, but
/// they stay as close as `finest` texels. Rows outside are taken as the outermost row.
pub fn reduce(mut plane: Plane, grid: Grid, sigma: [f64; 2], finest: [f64; 2]) -> (Plane, Grid) {
    let (reduced, remaining) = reduced(grid, sigma, finest);
    // Rows first: they are next to each other in memory, and halve the work on columns.
    while plane.rows() > reduced.rows {
        plane = halve_y(&plane);
    }
    while plane.cols > reduced.cols {
        plane = halve_x(&plane);
    }
    (apply(plane, remaining), reduced)
}

/// The grid that [`reduce`] leaves of `grid`, and the deviation that is left to it, in its samples.
pub fn reduced(mut grid: Grid, sigma: [f64; 2], finest: [f64; 2]) -> (Grid, [f64; 2]) {
    let close = |axis: usize, count: u32| grid.step[axis] * f64::from(2_u32 << count) <= finest[axis];
    let evenly = |count: u32| grid.cols.is_multiple_of(2 << count) && close(0, count);
    let (across, left_x) = halved(sigma[0] / grid.step[0], evenly);
    let (down, left_y) = halved(sigma[1] / grid.step[1], |count| close(1, count));
    grid.cols >>= across;
    for _ in 0..down {
        grid.rows = grid.rows.div_ceil(2);
    }
    for (step, count) in grid.step.iter_mut().zip([across, down]) {
        *step *= f64::from(1_u32 << count);
    }
    (grid, [left_x, left_y])
}

fn halve_y(plane: &Plane) -> Plane {
    let (weights, _) = halving_weights();
    let rows = plane.rows();
    let mut out = Plane::new(plane.cols, rows.div_ceil(2));
    out.each_row(
        #[inline(always)]
        |row, numbers| {
            for (at, weight) in weights.into_iter().enumerate() {
                let above = plane.row((2 * row).saturating_sub(at));
                let below = plane.row((2 * row + 1 + at).min(rows - 1));
                for ((number, a), b) in numbers.iter_mut().zip(above).zip(below) {
                    *number += weight * (a + b);
                }
            }
        },
    );
    out
}

fn halve_x(plane: &Plane) -> Plane {
    let (weights, _) = halving_weights();
    let half = plane.cols / 2;
    let mut out = Plane::new(half, plane.rows());
    // Samples at even and at odd places, each padded by what the weights reach.
    let pad = weights.len() / 2;
    out.each_row_with(
        #[inline(always)]
        |parted: &mut [Vec<f32>; 2], row, numbers| {
            let source = plane.row(row);
            for (odd, part) in parted.iter_mut().enumerate() {
                part.clear();
                part.extend((0..half + 2 * pad).map(|at| source[2 * ((at + half * pad - pad) % half) + odd]));
            }
            let [even, odd] = parted;
            for (at, weight) in weights.into_iter().enumerate() {
                // `at` samples before the even one of the pair, and as many behind the odd one.
                let by = at / 2;
                let (before, behind) = if at % 2 == 0 {
                    (&even[pad - by..], &odd[pad + by..])
                } else {
                    (&odd[pad - by - 1..], &even[pad + by + 1..])
                };
                for ((number, a), b) in numbers.iter_mut().zip(before).zip(behind) {
                    *number += weight * (a + b);
                }
            }
        },
    );
    out
}

fn along_x(mut plane: Plane, kernel: &[f32]) -> Plane {
    let cols = plane.cols;
    let reach = kernel.len() - 1;
    plane.each_row_with(
        #[inline(always)]
        |padded: &mut Vec<f32>, _, numbers| {
            padded.clear();
            // The row wraps as often as the kernel reaches.
            padded.extend(numbers.iter().cycle().skip(reach.next_multiple_of(cols) - reach).take(reach));
            padded.extend_from_slice(numbers);
            padded.extend(numbers.iter().cycle().take(reach));
            for (number, value) in numbers.iter_mut().zip(&padded[reach..]) {
                *number = kernel[0] * value;
            }
            for (at, weight) in kernel.iter().enumerate().skip(1) {
                let (left, right) = (&padded[reach - at..], &padded[reach + at..]);
                for ((number, a), b) in numbers.iter_mut().zip(left).zip(right) {
                    *number += weight * (a + b);
                }
            }
        },
    );
    plane
}

fn along_y(plane: &Plane, kernel: &[f32]) -> Plane {
    let rows = plane.rows() as i64;
    let mut out = Plane::new(plane.cols, plane.rows());
    out.each_row(
        #[inline(always)]
        |row, numbers| {
            for (number, value) in numbers.iter_mut().zip(plane.row(row)) {
                *number = kernel[0] * value;
            }
            for (at, weight) in kernel.iter().enumerate().skip(1) {
                let above = plane.row((row as i64 - at as i64).max(0) as usize);
                let below = plane.row((row as i64 + at as i64).min(rows - 1) as usize);
                for ((number, a), b) in numbers.iter_mut().zip(above).zip(below) {
                    *number += weight * (a + b);
                }
            }
        },
    );
    out
}

//! Step 4: soften. A separable Gaussian, wrapping in x.

use super::grid::Plane;

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
    let plane = if across.len() > 1 { along_x(&plane, &across) } else { plane };
    if down.len() > 1 { along_y(&plane, &down) } else { plane }
}

fn along_x(plane: &Plane, kernel: &[f32]) -> Plane {
    let cols = plane.cols;
    let reach = kernel.len() - 1;
    let mut out = Plane::new(cols, plane.rows());
    out.each_row(|row, numbers| {
        let source = plane.row(row);
        let padded: Vec<f32> = (0..cols + 2 * reach)
            .map(|at| source[(at as i64 - reach as i64).rem_euclid(cols as i64) as usize])
            .collect();
        for (number, value) in numbers.iter_mut().zip(&padded[reach..]) {
            *number = kernel[0] * value;
        }
        for (at, weight) in kernel.iter().enumerate().skip(1) {
            let (left, right) = (&padded[reach - at..], &padded[reach + at..]);
            for ((number, a), b) in numbers.iter_mut().zip(left).zip(right) {
                *number += weight * (a + b);
            }
        }
    });
    out
}

fn along_y(plane: &Plane, kernel: &[f32]) -> Plane {
    let rows = plane.rows() as i64;
    let mut out = Plane::new(plane.cols, plane.rows());
    out.each_row(|row, numbers| {
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
    });
    out
}

//! From exact values to 8 bits: ordered dither, so that no band shows.
//!
//! The 8 by 8 threshold matrix after Bayer (1973). Its 64 thresholds are spread evenly, so over a tile the mean error is below
//! 1/128 of a step and the variance that of a rectangular dither, f (1 - f). Values of 0 and 1 stay 0 and full.

use crate::wide::whole;

/// Side of the threshold matrix, texels.
pub const SIDE: usize = 8;

const fn matrix() -> [[f32; SIDE]; SIDE] {
    let mut out = [[0.0; SIDE]; SIDE];
    let mut y = 0;
    while y < SIDE {
        let mut x = 0;
        while x < SIDE {
            // Interleaves the bits of x ^ y and y, lowest bit first to the top.
            let (mut rank, mut bit) = (0, 0);
            while bit < 3 {
                rank = (rank << 2) | ((((x ^ y) >> bit) & 1) << 1) | ((y >> bit) & 1);
                bit += 1;
            }
            out[y][x] = (rank as f32 + 0.5) / 64.0;
            x += 1;
        }
        y += 1;
    }
    out
}

static THRESHOLDS: [[f32; SIDE]; SIDE] = matrix();

/// The thresholds of a row, 0..1, repeating every [`SIDE`] texels.
pub fn row(y: usize) -> &'static [f32; SIDE] {
    &THRESHOLDS[y % SIDE]
}

/// A value of 0..1 as an 8-bit code under a threshold.
#[inline(always)]
pub fn code(value: f32, threshold: f32) -> u8 {
    // Clamped, so that 1.0 gives 255 under any threshold.
    whole((value * 255.0 + threshold).clamp(0.0, 255.0)) as u8
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_threshold_once() {
        let mut ranks: Vec<usize> = (0..SIDE).flat_map(row).map(|t| (t * 64.0) as usize).collect();
        ranks.sort_unstable();
        assert_eq!(ranks, (0..64).collect::<Vec<_>>());
    }

    #[test]
    fn moments_of_a_rectangular_dither() {
        // Mean and variance of rectangular dither of one step (Wannamaker, Lipshitz, Vanderkooy & Wright 2000): error 0, f (1 - f).
        for fraction in [0.0, 0.1, 0.25, 0.4, 0.5, 0.9] {
            let value = (100.0 + fraction) / 255.0;
            let codes: Vec<f64> =
                (0..SIDE).flat_map(row).map(|&t| f64::from(code(value as f32, t))).collect();
            let mean = codes.iter().sum::<f64>() / 64.0;
            let variance = codes.iter().map(|code| (code - mean) * (code - mean)).sum::<f64>() / 64.0;
            assert!((mean - 100.0 - fraction).abs() <= 1.0 / 128.0 + 1e-4, "{fraction}: mean {mean}");
            assert!((variance - fraction * (1.0 - fraction)).abs() < 0.01, "{fraction}: variance {variance}");
        }
    }

    #[test]
    fn empty_and_full_are_left_alone() {
        for threshold in (0..SIDE).flat_map(row) {
            assert_eq!(code(0.0, *threshold), 0);
            assert_eq!(code(1.0, *threshold), 255);
        }
    }
}

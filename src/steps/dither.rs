//! From exact values to 8 bits: ordered dither, so that no band shows.
//!
//! The 8 by 8 threshold matrix after Bayer (1973). Its 64 thresholds are spread evenly, so over a tile the mean error is below
//! 1/128 of a step and the variance that of a rectangular dither, f (1 - f). Values of 0 and 1 stay 0 and full.

use crate::base::simd::truncate;

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
    truncate((value * 255.0 + threshold).clamp(0.0, 255.0)) as u8
}

/// Rows and columns between the thresholds of a texel's opacity and those of its colour, so that the two don't rise together.
const COLOUR: [usize; 2] = [3, 5];

/// A row of colours, the fourth number of each its opacity, as RGBA of 8 bits: opacities are dithered, colours too if they are
/// `shaded`, else they are rounded. `y` is the row's place in the picture; the dither begins again with every `period` of texels, so
/// that they repeat exactly.
#[inline(always)]
pub fn texels(y: usize, texels: &[[f32; 4]], shaded: bool, period: usize, out: &mut [u8]) {
    let (own, other) = (row(y), row(y + COLOUR[0]));
    let thresholds: [[f32; 4]; SIDE] = std::array::from_fn(|at| {
        let colour = if shaded { other[(at + COLOUR[1]) % SIDE] } else { 0.5 };
        [colour, colour, colour, own[at]]
    });
    for (texels, out) in texels.chunks(period).zip(out.chunks_mut(4 * period)) {
        codes(texels, &thresholds, out);
    }
}

/// A row of colours, whatever the fourth number of each, as opaque RGBA of 8 bits: all dithered.
#[inline(always)]
pub fn opaque(y: usize, colours: &[[f32; 4]], out: &mut [u8]) {
    // Under such a threshold every value is full.
    codes(colours, &row(y).map(|threshold| [threshold, threshold, threshold, 255.0]), out);
}

/// The samples of a tile lie side by side, so that wide registers take them.
#[inline(always)]
fn codes(texels: &[[f32; 4]], thresholds: &[[f32; 4]; SIDE], out: &mut [u8]) {
    let (tiles, rest) = texels.as_chunks::<SIDE>();
    let (of_tiles, of_rest) = out.as_chunks_mut::<{ 4 * SIDE }>();
    let thresholds = thresholds.as_flattened();
    for (tile, out) in tiles.iter().zip(of_tiles) {
        let values = tile.as_flattened();
        for at in 0..4 * SIDE {
            out[at] = code(values[at], thresholds[at]);
        }
    }
    for ((out, value), threshold) in of_rest.iter_mut().zip(rest.as_flattened()).zip(thresholds) {
        *out = code(*value, *threshold);
    }
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

    #[test]
    fn rows_are_texels_one_by_one() {
        let texel = |at: usize| std::array::from_fn(|of| ((at * 4 + of) as f32 * 0.713).fract());
        let row: Vec<[f32; 4]> = (0..53).map(texel).collect();
        let (mut translucent, mut solid) = (vec![0; 53 * 4], vec![0; 53 * 4]);
        texels(3, &row, false, 21, &mut translucent);
        opaque(5, &row, &mut solid);
        for (at, [r, g, b, a]) in row.into_iter().enumerate() {
            let threshold = super::row(3)[at % 21 % SIDE];
            let want = [code(r, 0.5), code(g, 0.5), code(b, 0.5), code(a, threshold)];
            assert_eq!(translucent[4 * at..][..4], want, "{at}");
            let threshold = super::row(5)[at % SIDE];
            assert_eq!(
                solid[4 * at..][..4],
                [code(r, threshold), code(g, threshold), code(b, threshold), 255]
            );
        }
    }
}

//! Resampling against a plain double-precision convolution, and its laws.

use crate::made::{rgba, rgba16, scattered};
use crate::{draw, read};
use fogweft::base::limits::Limits;
use fogweft::base::picture::Picture;
use fogweft::base::words::Blending;

/// 8-bit codes as a picture of 16 bits, so that what comes out isn't rounded to codes.
fn wide(size: [u32; 2], texels: &[[u8; 4]]) -> Vec<u8> {
    let texels: Vec<[u16; 4]> = texels.iter().map(|texel| texel.map(|code| u16::from(code) * 257)).collect();
    rgba16(size, &texels)
}

/// Keys 1981, "Cubic convolution interpolation for digital image processing", equation 15: a = -1/2.
fn keys(x: f64) -> f64 {
    let x = x.abs();
    if x < 1.0 {
        1.5 * x * x * x - 2.5 * x * x + 1.0
    } else if x < 2.0 {
        -0.5 * x * x * x + 2.5 * x * x - 4.0 * x + 2.0
    } else {
        0.0
    }
}

/// One axis: weights at texel centres, kernel widened when shrinking, normalised.
fn line(values: &[f64], to: usize, wraps: bool) -> Vec<f64> {
    let from = values.len() as i64;
    let ratio = from as f64 / to as f64;
    let wide = ratio.max(1.0);
    let at = |i: usize| {
        let centre = (i as f64 + 0.5) * ratio - 0.5;
        let (mut sum, mut weights) = (0.0, 0.0);
        for j in (centre - 2.0 * wide).floor() as i64..=(centre + 2.0 * wide).ceil() as i64 {
            if !wraps && !(0..from).contains(&j) {
                continue;
            }
            let weight = keys((j as f64 - centre) / wide);
            sum += weight * values[j.rem_euclid(from) as usize];
            weights += weight;
        }
        sum / weights
    };
    (0..to).map(at).collect()
}

fn plane(values: &[f64], from: [usize; 2], to: [usize; 2], wraps: bool) -> Vec<f64> {
    let rows: Vec<Vec<f64>> = values.chunks(from[0]).map(|row| line(row, to[0], wraps)).collect();
    let columns: Vec<Vec<f64>> =
        (0..to[0]).map(|x| line(&rows.iter().map(|row| row[x]).collect::<Vec<_>>(), to[1], false)).collect();
    (0..to[0] * to[1]).map(|at| columns[at % to[0]][at / to[0]]).collect()
}

/// IEC 61966-2-1.
fn decode(v: f64) -> f64 {
    if v <= 0.04045 { v / 12.92 } else { libm::pow((v + 0.055) / 1.055, 2.4) }
}

fn encode(v: f64) -> f64 {
    if v <= 0.003_130_8 { v * 12.92 } else { 1.055 * libm::pow(v, 1.0 / 2.4) - 0.055 }
}

/// Straight texels 0..1 after resampling premultiplied values in double precision.
fn reference(
    texels: &[[u16; 4]],
    from: [u32; 2],
    to: [u32; 2],
    wraps: bool,
    blending: Blending,
) -> Vec<[f64; 4]> {
    let (from, to) = (from.map(|s| s as usize), to.map(|s| s as usize));
    let linear = blending == Blending::Linear;
    let channel = |i: usize| -> Vec<f64> {
        let values = texels.iter().map(|texel| {
            let [value, alpha] = [texel[i], texel[3]].map(|sample| f64::from(sample) / 65535.0);
            if i == 3 { alpha } else { alpha * if linear { decode(value) } else { value } }
        });
        plane(&values.collect::<Vec<_>>(), from, to, wraps)
    };
    let [r, g, b, a] = [0, 1, 2, 3].map(channel);
    (0..to[0] * to[1])
        .map(|at| {
            let alpha = a[at].clamp(0.0, 1.0);
            let colour = [r[at], g[at], b[at]].map(|value| {
                let value = (value / alpha).clamp(0.0, 1.0);
                if linear { encode(value) } else { value }
            });
            [colour[0], colour[1], colour[2], alpha]
        })
        .collect()
}

#[test]
fn texels_agree_with_plain_convolution() {
    let from = [19u32, 11];
    let mut numbers = scattered(3);
    let texels: Vec<[u16; 4]> = (0..from[0] * from[1])
        .map(|_| {
            let mut next = || numbers.next().unwrap();
            // Within bounds, so that the kernel's negative lobes clip nothing between the two passes.
            [next() / 2 + 16384, next() / 2 + 16384, next() / 2 + 16384, next() / 4 + 24576]
        })
        .collect();
    let source = read("noise.png", rgba16(from, &texels)).unwrap();
    for to in [[8, 5], [40, 30], [19, 23], [5, 11], [1, 1]] {
        for (wraps, blending) in
            [(false, Blending::Encoded), (true, Blending::Encoded), (true, Blending::Linear)]
        {
            let drawn = draw(&source, to, wraps, blending);
            let expected = reference(&texels, from, to, wraps, blending);
            for (drawn, expected) in drawn.texels.iter().zip(expected) {
                let [r, g, b, a] = drawn.map(|sample| f64::from(sample) / 65535.0);
                assert!((a - expected[3]).abs() < 2.0 / 65535.0, "alpha {a} for {}", expected[3]);
                // Premultiplied integers know a colour to about 1.5 / alpha of a step; the slope of the sRGB curve
                // at black is 12.92. Where the negative lobes leave little alpha, colours are the neighbours'.
                let slope = if blending == Blending::Linear { 12.92 } else { 1.0 };
                let known = slope * 3.0 / 65535.0 / a;
                for (value, expected) in [r, g, b].into_iter().zip(expected) {
                    assert!(
                        a < 0.02 || (value - expected).abs() < known + 1e-4,
                        "{value} for {expected} under {a}"
                    );
                }
            }
        }
    }
}

#[test]
fn colours_under_low_alpha_stay_within_half_an_8_bit_step() {
    // Flat colour, alpha falling from 255 to 1: the true colour of every texel is known.
    let colour = [173, 42, 250];
    let texels: Vec<[u8; 4]> =
        (0..256u32 * 8).map(|at| [colour[0], colour[1], colour[2], (at % 256) as u8]).collect();
    let source = read("ramp.png", wide([256, 8], &texels)).unwrap();
    for blending in [Blending::Encoded, Blending::Linear] {
        for to in [[100, 3], [128, 8], [613, 17]] {
            for texel in draw(&source, to, false, blending).texels {
                for (value, code) in texel.into_iter().zip(colour) {
                    let error = (f64::from(value) / 257.0 - f64::from(code)).abs();
                    assert!(error <= 0.5, "{error} codes off under alpha {}", texel[3]);
                }
            }
        }
    }
}

#[test]
fn a_half_of_black_and_white_depends_on_the_renderers_space() {
    // The mean of codes 0 and 255: 127.5 encoded, 188 in linear light (IEC 61966-2-1, computed).
    let texels: Vec<[u8; 4]> =
        (0..16).map(|at| if (at % 4 + at / 4) % 2 == 0 { [0, 0, 0, 255] } else { [255; 4] }).collect();
    let source = read("board.png", wide([4, 4], &texels)).unwrap();
    let middle = |blending| f64::from(draw(&source, [1, 1], true, blending).texels[0][0]) / 257.0;
    assert!((middle(Blending::Encoded) - 127.5).abs() < 0.1);
    assert!((middle(Blending::Linear) - 187.5).abs() < 0.1);
}

#[test]
fn a_clear_edge_draws_no_fringe() {
    // Worked example of an article on filtering cut-outs (2009): opaque green beside clear black, sampled half
    // way, over blue: (0, 0.5, 0.5), not (0, 0.25, 0.5).
    let texels = [[0, 255, 0, 255], [0, 0, 0, 0]];
    let source = read("edge.png", wide([2, 1], &texels)).unwrap();
    let drawn = draw(&source, [16, 1], false, Blending::Encoded);
    for [r, g, b, a] in &drawn.texels {
        assert_eq!((*r, *g, *b), (0, 65535, 0), "under alpha {a}");
    }
    // Half way between the two middle texels, filtered straight as a renderer does.
    let [left, right] =
        [drawn.texels[7], drawn.texels[8]].map(|texel| texel.map(|sample| f64::from(sample) / 65535.0));
    let mid = [0, 1, 2, 3].map(|i| (left[i] + right[i]) / 2.0);
    assert!((mid[3] - 0.5).abs() < 0.01);
    let over_blue = [mid[0] * mid[3], mid[1] * mid[3], mid[2] * mid[3] + 1.0 - mid[3]];
    for (value, expected) in over_blue.into_iter().zip([0.0, 0.5, 0.5]) {
        assert!((value - expected).abs() < 0.01, "{over_blue:?}");
    }
}

#[test]
fn a_wrapped_picture_is_the_middle_of_three() {
    let mut numbers = scattered(5);
    let row: Vec<[u8; 4]> = (0..12).map(|_| [0; 4].map(|_: u8| numbers.next().unwrap() as u8)).collect();
    let once: Vec<[u8; 4]> = row.repeat(4);
    let thrice: Vec<[u8; 4]> = row.repeat(12);
    for (one, three) in [([5, 4], [15, 4]), ([30, 4], [90, 4])] {
        let single = draw(&read("one.png", wide([12, 4], &once)).unwrap(), one, true, Blending::Encoded);
        let triple =
            draw(&read("three.png", wide([36, 4], &thrice)).unwrap(), three, false, Blending::Encoded);
        let middle: Vec<[u16; 4]> = triple
            .texels
            .chunks(three[0] as usize)
            .flat_map(|row| row[one[0] as usize..][..one[0] as usize].to_vec())
            .collect();
        for (single, middle) in single.texels.iter().zip(&middle) {
            assert!(single[3].abs_diff(middle[3]) <= 1, "{single:?} {middle:?}");
            if single[3] > 1000 {
                assert!((0..3).all(|i| single[i].abs_diff(middle[i]) <= 200), "{single:?} {middle:?}");
            }
        }
    }
}

#[test]
fn a_mirror_commutes_with_resampling() {
    let mut numbers = scattered(8);
    let texels: Vec<[u8; 4]> =
        (0..9 * 7).map(|_| [0; 4].map(|_: u8| numbers.next().unwrap() as u8 | 64)).collect();
    let mirrored: Vec<[u8; 4]> = texels.chunks(9).flat_map(|row| row.iter().rev().copied()).collect();
    let limits = Limits::default();
    let draw = |texels: &[[u8; 4]], flip| -> Picture {
        read("a.png", wide([9, 7], texels))
            .unwrap()
            .draw([20, 5], flip, false, Blending::Encoded, &limits)
            .unwrap()
    };
    for (a, b) in draw(&texels, true).texels.iter().zip(draw(&mirrored, false).texels) {
        assert!((0..4).all(|i| a[i].abs_diff(b[i]) <= 8), "{a:?} {b:?}");
    }
}

#[test]
fn the_same_texels_come_out_everywhere() {
    // Integer arithmetic: this digest was taken on x86-64 with AVX2 and must not change on any processor.
    let mut numbers = scattered(21);
    let texels: Vec<[u8; 4]> =
        (0..64 * 48).map(|_| [0; 4].map(|_: u8| numbers.next().unwrap() as u8)).collect();
    let source = read("noise.png", wide([64, 48], &texels)).unwrap();
    let mut hash = blake3::Hasher::new();
    for blending in [Blending::Encoded, Blending::Linear] {
        for sample in draw(&source, [41, 77], true, blending).texels.iter().flatten() {
            hash.update(&sample.to_le_bytes());
        }
    }
    assert_eq!(&hash.finalize().to_hex()[..16], "6ab596f8f53ebe27");
}

/// W3C PNG, sample depth rescaling: a file of 8 bits holds codes, and a still drawn from what comes out is one of the files.
#[test]
fn a_picture_of_8_bits_comes_out_in_codes() {
    let mut numbers = scattered(13);
    let texels: Vec<[u8; 4]> =
        (0..9 * 7).map(|_| [0; 4].map(|_: u8| numbers.next().unwrap() as u8)).collect();
    for blending in [Blending::Encoded, Blending::Linear] {
        let fine = draw(&read("a.png", wide([9, 7], &texels)).unwrap(), [20, 5], false, blending);
        let codes = draw(&read("a.png", rgba([9, 7], &texels)).unwrap(), [20, 5], false, blending);
        for (fine, code) in fine.texels.as_flattened().iter().zip(codes.texels.as_flattened()) {
            assert_eq!(f64::from(*code), (f64::from(*fine) / 257.0).round() * 257.0);
        }
    }
}

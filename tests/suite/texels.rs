//! From optical depth to texels in a PNG: dither, 0 and full, colour under alpha 0, 16 bits.

use crate::util::{Decoded, decode, even, mean, near};
use fogweft::base::colour::Srgb;
use fogweft::base::law;
use fogweft::base::units::{Px, Scale, Texel};
use fogweft::base::words::{Anchor, Bits};
use fogweft::output::stream;
use fogweft::steps::field::{FieldSpec, Sampling};
use fogweft::steps::recipe::Recipe;
use fogweft::steps::sheet::{Sheet, SheetSpec};
use fogweft::steps::step5_grade::Tones;

const HAZE: Srgb = Srgb([200.0 / 255.0, 120.0 / 255.0, 30.0 / 255.0]);

fn sheet(recipe: &Recipe<Px>, size: [u32; 2], line: f64, tau: f64) -> Sheet {
    let field = FieldSpec::new(size, Anchor::Ground, Texel(line), Scale(1.0), recipe, 4);
    let tones = Tones::new(HAZE, None, None, None, recipe.grade.lit);
    Sheet::new(SheetSpec { field, tau, clear: 0.0, tones, light: 135.0 }, Sampling::Full)
}

/// A sheet through the real encoder and crate `image`'s decoder.
fn written(sheet: &Sheet, bits: Bits) -> Decoded {
    let [width, height] = sheet.size();
    let decoded = decode(&stream::sheet(sheet, width, bits));
    assert_eq!(decoded.size, [width, height]);
    decoded
}

/// Optical depth of an opacity.
fn tau(alpha: f64) -> f64 {
    -libm::log(1.0 - alpha)
}

/// Wannamaker, Lipshitz, Vanderkooy & Wright, 'A theory of non-subtractive dither' (2000): rectangular dither of one step has no
/// mean error and the variance f (1 - f) at the fractional level f. Exact moments by integration: 0, 0.09, 0.1875, 0.24, 0.25.
#[test]
fn dither_moments() {
    for level in [1.0, 17.0, 100.0, 253.0] {
        for (fraction, variance) in [(0.0, 0.0), (0.1, 0.09), (0.25, 0.1875), (0.4, 0.24), (0.5, 0.25)] {
            let sheet = sheet(&even(), [64, 64], 40.0, tau((level + fraction) / 255.0));
            let codes: Vec<f64> =
                written(&sheet, Bits::Eight).texels.iter().map(|texel| f64::from(texel[3]) / 257.0).collect();
            let got = mean(codes.iter().copied());
            // The 64 thresholds of the matrix lie 1/64 apart: the mean is right to half of that.
            near(got, level + fraction, 1.0 / 128.0 + 1e-4);
            near(mean(codes.iter().map(|code| (code - got) * (code - got))), variance, 0.012);
            assert!(codes.iter().all(|code| (code - level - fraction).abs() < 1.0));
            // Below a tile, too, no region is off: each 8 by 8 has the same mean.
            for tile in 0..64 {
                let of_tile = (0..64).map(|at| codes[(tile / 8 * 8 + at / 8) * 64 + tile % 8 * 8 + at % 8]);
                near(mean(of_tile), level + fraction, 1.0 / 128.0 + 1e-4);
            }
        }
    }
}

/// Clamped dither would lift 0 by 0.125 of a step (same theory, levels below half a step): what is empty stays empty, what is
/// full stays full.
#[test]
fn empty_and_full_are_left_alone() {
    let mut recipe = even();
    recipe.falloff.height = Px(1.0);
    recipe.falloff.beyond = Px(1.0);
    let sheet = sheet(&recipe, [32, 400], 200.5, 120.0);
    let rows: Vec<Vec<u16>> = written(&sheet, Bits::Eight)
        .texels
        .chunks(32)
        .map(|row| row.iter().map(|texel| texel[3]).collect())
        .collect();
    assert!(rows[200].iter().all(|&alpha| alpha == u16::MAX), "optical depth 120 is opaque");
    assert!(
        rows[..90].iter().chain(&rows[310..]).flatten().all(|&alpha| alpha == 0),
        "far from the line nothing is left"
    );
    let empty = self::sheet(&even(), [16, 16], 8.0, 0.0);
    assert!(written(&empty, Bits::Eight).texels.iter().all(|texel| texel[3] == 0));
}

/// W3C PNG, alpha as a mask: colours under alpha 0 are kept, so that no filter draws a fringe.
#[test]
fn colour_is_kept_under_alpha_0() {
    let mut recipe = even();
    recipe.falloff.height = Px(2.0);
    for bits in [Bits::Eight, Bits::Sixteen] {
        let decoded = written(&sheet(&recipe, [24, 300], 280.0, 1.5), bits);
        assert!(decoded.texels.iter().filter(|texel| texel[3] == 0).count() > 24 * 200);
        for texel in &decoded.texels {
            assert_eq!(texel[..3], [200 * 257, 120 * 257, 30 * 257]);
        }
    }
    // Where the fog is lit, empty texels have the haze in itself.
    recipe.grade.lit = 0.8;
    for texel in &written(&sheet(&recipe, [24, 300], 280.0, 1.5), Bits::Eight).texels[..24 * 20] {
        assert_eq!(*texel, [200 * 257, 120 * 257, 30 * 257, 0]);
    }
}

/// W3C PNG, sample depth: 16 bits hold floor(65535 alpha + 0.5) of the law's opacity; single precision strays by a hair.
#[test]
fn sixteen_bits_are_exact() {
    for at in 0..64 {
        let tau = 0.0007 * libm::pow(1.21, f64::from(at));
        let decoded = written(&sheet(&even(), [8, 8], 4.0, tau), Bits::Sixteen);
        assert!(decoded.deep);
        for texel in decoded.texels {
            near(f64::from(texel[3]), 65535.0 * law::opacity(tau), 0.5 + 0.02);
        }
    }
}

/// The same along a falloff: every texel's alpha is the law's.
#[test]
fn every_texel_follows_the_law() {
    let mut recipe = even();
    recipe.falloff.height = Px(37.0);
    recipe.falloff.beyond = Px(11.0);
    let decoded = written(&sheet(&recipe, [8, 256], 200.5, 2.5), Bits::Sixteen);
    for (row, texels) in decoded.texels.chunks(8).enumerate() {
        let over = 200.0 - row as f64;
        let density = libm::exp(if over >= 0.0 { -over / 37.0 } else { over / 11.0 });
        for texel in texels {
            near(f64::from(texel[3]), 65535.0 * law::opacity(2.5 * density), 0.5 + 0.02);
        }
    }
}

/// Repeats are exact at periods that the dither's tile doesn't divide.
#[test]
fn repeats_are_exact_texel_by_texel() {
    let mut recipe = even();
    recipe.bands.amount = 0.7;
    recipe.bands.size = Px(20.0);
    recipe.grade.lit = 0.5;
    let sheet = sheet(&recipe, [101, 40], 30.0, 1.0);
    let wide = decode(&stream::sheet(&sheet, 333, Bits::Eight));
    for row in wide.texels.chunks(333) {
        for x in 0..333 - 101 {
            assert_eq!(row[x], row[x + 101]);
        }
    }
}

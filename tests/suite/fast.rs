//! The reduced grid against a reference that shares only the noise with it: every octave at every texel, blurs as plain sums in
//! double precision, the exponential of the platform-independent `libm`.

use crate::util::{even, preset, presets, texels, thorough};
use fogweft::base::seed;
use fogweft::base::units::{Px, Scale, Texel};
use fogweft::base::words::Anchor;
use fogweft::steps::field::{FieldSpec, Sampling};
use fogweft::steps::grid::{Grid, Plane};
use fogweft::steps::recipe::{Noise, Recipe, Smear, Soften};
use fogweft::steps::{step1_bands, step2_falloff, step3_smear, tears};
use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::TestRunner;

/// Opacity at every texel of a sheet of optical depth 1 along the line, which must run through the middle of a row.
fn reference(spec: &FieldSpec) -> Vec<f64> {
    let recipe = &spec.recipe;
    let sigma = [recipe.soften.sigma.0 * recipe.soften.stretch, recipe.soften.sigma.0];
    let blurs = 6.0 * sigma[1] + step3_smear::REACH * recipe.smear.length.0;
    // The fog's own line leaves the sheet.
    let margin = (blurs + recipe.falloff.sway.0).ceil() as usize + 4;
    let (cols, rows) = (spec.cols as usize, spec.rows as usize + 2 * margin);
    let grid = Grid { cols, rows, step: [1.0, 1.0], top: -(margin as f64) };
    let mut plane = Plane::new(cols, rows);
    step1_bands::fill(
        &recipe.bands,
        seed::derive(spec.seed, "bands"),
        &spec.moment,
        spec.line.0,
        None,
        &grid,
        &mut plane,
    );
    let dice = seed::derive(spec.seed, "falloff");
    step2_falloff::apply(&recipe.falloff, dice, &spec.moment, spec.line.0, spec.open, &grid, &mut plane);
    let plane: Vec<f64> = plane.data.into_iter().map(f64::from).collect();
    let plane = smeared(&plane, cols, recipe);
    let plane = gauss(&plane, [cols, rows], sigma);
    let line = spec.own_line();
    let heights = line.heights(cols);
    let mean = (0..cols).map(|col| at_height(&plane, cols, col, heights[col] + margin as f64)).sum::<f64>()
        / cols as f64;
    let mut plane = Plane { cols, data: plane.into_iter().map(|density| (density / mean) as f32).collect() };
    tears::tear(recipe, seed::derive(spec.seed, "tears"), &spec.moment, &line, &grid, &mut plane);
    let seen = &plane.data[margin * cols..(rows - margin) * cols];
    seen.iter().map(|density| 1.0 - libm::exp(-f64::from(*density))).collect()
}

/// A column's density at `y` rows from the first one's edge: by the parabola through the nearest three rows.
fn at_height(plane: &[f64], cols: usize, col: usize, y: f64) -> f64 {
    let near = (y - 0.5).round().clamp(1.0, (plane.len() / cols) as f64 - 2.0);
    let d = y - 0.5 - near;
    let [a, b, c] = [0, 1, 2].map(|over| plane[(near as usize + over - 1) * cols + col]);
    b + 0.5 * d * (c - a) + 0.5 * d * d * (a + c - 2.0 * b)
}

/// Three boxes, one after the other: each the line of taps that smear's own checks hold to a segment's moments, as a plain sum.
fn smeared(plane: &[f64], cols: usize, recipe: &Recipe<Texel>) -> Vec<f64> {
    let whole = step3_smear::extent(recipe.smear.length.0, recipe.smear.angle, [1.0, 1.0]);
    step3_smear::BOXES
        .into_iter()
        .fold(plane.to_vec(), |plane, share| one_box(&plane, cols, whole.map(|side| share * side)))
}

fn one_box(plane: &[f64], cols: usize, [x, y]: [f64; 2]) -> Vec<f64> {
    let rows = plane.len() / cols;
    let long = x.abs().max(y.abs());
    if long == 0.0 {
        return plane.to_vec();
    }
    let line = step3_smear::Line::new(long);
    let reach = line.reach as i64 + 1;
    let mut out = vec![0.0; plane.len()];
    for at in -reach..=reach {
        let weight = line.weight(at);
        let along = at as f64 / long;
        let (dx, dy) = (along * x, along * y);
        // Lagrange's quadratic on the axis across, whose moments are exact to the second.
        let across = if x.abs() >= y.abs() { dy } else { dx };
        let near = across.round();
        let d = across - near;
        for (side, share) in [(-1.0, 0.5 * (d * d - d)), (0.0, 1.0 - d * d), (1.0, 0.5 * (d * d + d))] {
            let over = (near + side) as i64;
            let (dx, dy) =
                if x.abs() >= y.abs() { (dx.round() as i64, over) } else { (over, dy.round() as i64) };
            for row in 0..rows {
                let from = (row as i64 + dy).clamp(0, rows as i64 - 1) as usize * cols;
                for col in 0..cols {
                    let source = (col as i64 + dx).rem_euclid(cols as i64) as usize;
                    out[row * cols + col] += weight * share * plane[from + source];
                }
            }
        }
    }
    out
}

/// The Gaussian, six deviations to each side.
fn gauss(plane: &[f64], [cols, rows]: [usize; 2], sigma: [f64; 2]) -> Vec<f64> {
    let kernel = |sigma: f64| -> Vec<f64> {
        let reach = (6.0 * sigma).ceil() as i64;
        let weight = |at: i64| if sigma > 0.0 { libm::exp(-0.5 * (at as f64 / sigma).powi(2)) } else { 1.0 };
        let all: Vec<f64> = (-reach..=reach).map(weight).collect();
        let sum: f64 = all.iter().sum();
        all.into_iter().map(|weight| weight / sum).collect()
    };
    let (across, down) = (kernel(sigma[0]), kernel(sigma[1]));
    let mut half = vec![0.0; plane.len()];
    for (row, out) in plane.chunks_exact(cols).zip(half.chunks_exact_mut(cols)) {
        for (tap, weight) in across.iter().enumerate() {
            let shift = (tap as i64 - across.len() as i64 / 2).rem_euclid(cols as i64) as usize;
            for (col, sum) in out.iter_mut().enumerate() {
                *sum += weight * row[(col + shift) % cols];
            }
        }
    }
    let mut out = vec![0.0; plane.len()];
    for (row, sums) in out.chunks_exact_mut(cols).enumerate() {
        for (tap, weight) in down.iter().enumerate() {
            let from = (row as i64 + tap as i64 - down.len() as i64 / 2).clamp(0, rows as i64 - 1) as usize;
            for (sum, value) in sums.iter_mut().zip(&half[from * cols..]) {
                *sum += weight * value;
            }
        }
    }
    out
}

/// Largest and mean difference in opacity, in steps of 8 bits, of densities from opacities.
fn off(densities: &[Vec<f32>], opacities: &[f64]) -> (f64, f64) {
    let (mut most, mut sum) = (0.0_f64, 0.0);
    for (density, want) in densities.iter().flatten().zip(opacities) {
        let off = 255.0 * (1.0 - libm::exp(-f64::from(density.max(0.0))) - want).abs();
        most = most.max(off);
        sum += off;
    }
    (most, sum / opacities.len() as f64)
}

/// Spec of a recipe whose line runs through the middle of a row.
fn spec_of(recipe: &Recipe<Px>, anchor: Anchor, size: [u32; 2], unit: f64, seed: u64) -> FieldSpec {
    let line = match anchor {
        Anchor::Ground => 0.8 * f64::from(size[1]),
        Anchor::Sky => 0.2 * f64::from(size[1]),
    };
    let mut spec = FieldSpec::new(size, anchor, Texel(line), Scale(unit), recipe, seed);
    spec.line = Texel(spec.line.0.clamp(4.0, f64::from(size[1]) - 4.0).floor() + 0.5);
    spec
}

#[test]
fn every_preset_at_every_scale_is_the_reference() {
    // Each at one of the scales; at all of them where `FOGWEFT_THOROUGH` is set.
    for (at, name) in presets().into_iter().enumerate() {
        let (anchor, recipe) = preset(&name);
        let scales = [0.5, 1.0, 2.0];
        for &scale in if thorough() { &scales[..] } else { &scales[at % 3..=at % 3] } {
            let spec = spec_of(&recipe, anchor, [320, 160], scale, 21);
            let want = reference(&spec);
            for sampling in [Sampling::Full, Sampling::Reduced] {
                let (most, mean) = off(&texels(&spec, sampling), &want);
                println!("{name} at {scale}, {sampling:?}: {most:.3} at most, {mean:.4} on average");
                // Where a fog is whole again its tears end at once: a corner, which samples round at a few texels.
                let bar = if recipe.soften.torn > 0.0 { 2.5 } else { 0.25 };
                assert!(most <= bar, "{name} at {scale}, {sampling:?}: {most} at most");
                assert!(mean <= 0.02, "{name} at {scale}, {sampling:?}: {mean} on average");
            }
        }
    }
}

fn any_recipe() -> impl Strategy<Value = Recipe<Px>> {
    let kind = prop::sample::select(vec![Noise::Smooth, Noise::Billowed, Noise::Ridged, Noise::Cellular]);
    let bands = (kind, 20.0..120.0, 0.6..5.0, 1_u32..=6, 0.3..0.55, 1.7..2.3, 0.2..0.9, 0.0..1.0, 0.0..0.3);
    let blurs = (0.0..200.0, -90.0..90.0, 0.0..24.0, 1.0..2.0, any::<bool>());
    let falloff = (30.0..300.0, 0.0..0.8, 0.0..30.0, 100.0..800.0);
    let body = (prop::sample::select(vec![0.0, 0.0, 0.6, 1.0]), 0.0..1.5);
    (bands, blurs, falloff, body).prop_map(|(bands, blurs, falloff, body)| {
        let mut recipe = even();
        recipe.bands.amount = 0.9;
        let b = &mut recipe.bands;
        let (kind, size, ..) = bands;
        (_, _, b.stretch, b.octaves, b.gain, b.lacunarity, b.coverage, b.contrast, b.warp) = bands;
        (b.kind, b.size) = (kind, Px(size));
        // A sheet holds several features: density is measured by its mean along the line.
        b.stretch = b.stretch.min(100.0 / size);
        let (length, angle, sigma, stretch, level) = blurs;
        recipe.smear = Smear { length: Px(length), angle };
        recipe.soften = Soften { sigma: Px(sigma), stretch, torn: if body.0 > 0.0 { 0.7 } else { 0.0 } };
        if level {
            recipe.smear.angle = 0.0;
        }
        let (height, breath, sway, wave) = falloff;
        let f = &mut recipe.falloff;
        (f.height, f.breath, f.sway, f.wave) = (Px(height), breath, Px(sway), Px(wave));
        (f.firm, f.heaps) = body;
        f.strands = 0.5 * body.0;
        recipe
    })
}

/// Recipes drawn at random, always the same ones: within a quarter of a step, half a step where bands are cut almost to yes or no;
/// torn ends, which come after the blurs, within two and a half at the worst place.
#[test]
fn random_recipes_follow_the_reference() {
    let mut runner = TestRunner::deterministic();
    let count = std::env::var("FOGWEFT_RECIPES")
        .map_or(if thorough() { 96 } else { 32 }, |count| count.parse().expect("a number"));
    let mut all = Vec::new();
    for seed in 0..count {
        let recipe = any_recipe().new_tree(&mut runner).unwrap().current();
        let spec = spec_of(&recipe, Anchor::Ground, [320, 120], 1.0, seed);
        let (most, mean) = off(&texels(&spec, Sampling::Reduced), &reference(&spec));
        let torn = recipe.soften.torn > 0.0;
        let bar = if torn {
            2.5
        } else if recipe.bands.contrast > 0.7 {
            0.5
        } else {
            0.25
        };
        all.push((most / bar, most, mean, seed));
    }
    all.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mean = all.iter().map(|one| one.2).sum::<f64>() / count as f64;
    println!("of {count}, on average {mean:.4}; the worst: {:.3?}", &all[..8.min(all.len())]);
    assert!(mean <= 0.02, "{mean}");
    assert!(all[0].0 <= 1.0, "{:.3?}", all[0]);
}

//! What every recipe must reach to the eye: no repeat within its period, no bands at 8 bits, and the spectrum it claims.

use crate::spectrum::{self, exponent};
use crate::util::{mean, preset, presets, spec, texels};
use fogweft::base::seed;
use fogweft::base::units::{Scale, Texel};
use fogweft::steps::field::Sampling;
use fogweft::steps::grid::{Grid, Plane};
use fogweft::steps::moment::Moment;
use fogweft::steps::recipe::Bands;
use fogweft::steps::{dither, step1_bands, step3_smear};
use rustfft::FftPlanner;
use rustfft::num_complex::Complex;

/// The density of a recipe over a view of 1920 by 1080 px, at a quarter of that; the period is a little over two views, as plans pick it.
fn field(name: &str, seed: u64) -> Vec<Vec<f32>> {
    texels(&spec(name, [1024, 270], seed), Sampling::Reduced)
}

/// Largest correlation of a field with itself moved along x, at lags from where it first falls to 0 up to half the period. What is
/// seen is opacity, and only where there is some: rows are weighed by their own variance.
///
/// A row's mean isn't part of it: density differs with height in every fog, which is no repeat.
fn repeat(rows: &[Vec<f32>]) -> f64 {
    let cols = rows[0].len();
    let forward = FftPlanner::<f64>::new().plan_fft_forward(cols);
    let back = FftPlanner::<f64>::new().plan_fft_inverse(cols);
    let mut power = vec![Complex::new(0.0, 0.0); cols];
    for row in rows {
        let seen = row.iter().map(|&density| -libm::expm1(-f64::from(density)));
        let middle = mean(seen.clone());
        let mut line: Vec<Complex<f64>> = seen.map(|value| Complex::new(value - middle, 0.0)).collect();
        forward.process(&mut line);
        for (sum, value) in power.iter_mut().zip(&line) {
            *sum += Complex::new(value.norm_sqr(), 0.0);
        }
    }
    // Wiener and Khinchin: the correlation is the power's transform.
    back.process(&mut power);
    let whole = power[0].re;
    let own: Vec<f64> = power[..=cols / 2].iter().map(|value| value.re / whole).collect();
    let first = own.iter().position(|&value| value <= 0.0).unwrap_or(own.len());
    own[first..].iter().copied().fold(0.0, f64::max)
}

/// Common practice, no source: what looks like itself at a distance reads as wallpaper; 0.35 is the bar. A strip that repeats within
/// its period shows 1, as the second half of the test does.
#[test]
fn no_recipe_repeats_within_its_period() {
    let mut worst = (0.0, String::new());
    for name in presets() {
        for seed in 1..=6 {
            let got = repeat(&field(&name, seed));
            println!("{name} {seed}: {got:.3}");
            if got > worst.0 {
                worst = (got, format!("{name} under seed {seed}"));
            }
        }
    }
    println!("largest: {worst:?}");
    assert!(worst.0 < 0.35, "{} is like itself at a distance: {}", worst.1, worst.0);
    // The measure sees a repeat where there is one.
    let rows = field("radiation-fog", 1);
    let twice: Vec<Vec<f32>> = rows.iter().map(|row| [&row[..300], &row[..300]].concat()).collect();
    assert!(repeat(&twice) > 0.99);
}

/// Power at each frequency of rows of the recipe's bands, before the blurs, over many dice. A row is whole periods: no window is
/// needed.
fn power(recipe: &Bands<Texel>, cols: usize, dice: u64) -> Vec<f64> {
    let mut sum = vec![0.0; cols / 2];
    for seed in 0..dice {
        let grid = Grid { cols, rows: 4, step: [1.0, 1.0], top: 0.0 };
        let mut plane = Plane::new(grid.cols, grid.rows);
        step1_bands::fill(recipe, seed::derive(seed, "bands"), &Moment::REST, 512.0, None, &grid, &mut plane);
        for (sum, value) in sum.iter_mut().zip(spectrum::power(&plane, |_, _| 1.0)) {
            *sum += value;
        }
    }
    sum
}

/// Liquid water in marine stratocumulus: its spectrum falls close to k^-5/3 down to some metres (Gerber et al. 2001, Journal of the
/// Atmospheric Sciences, abstract). Stratocumulus claims it for its bands; measured along x from a feature's width to where the recipe's
/// own blurs leave a hundredth of the power.
#[test]
fn stratocumulus_has_the_spectrum_it_claims() {
    let recipe = preset("stratocumulus").1.texels(Scale(1.0));
    let shelf = fogweft::scene::recipe::shelf::Shelf::embedded();
    let claims = |name: &String| shelf.get(name).unwrap().source.contains("k^-5/3");
    assert_eq!(presets().into_iter().filter(claims).collect::<Vec<_>>(), ["stratocumulus"]);
    let cols = 8192;
    let wide = recipe.bands.size.0 * recipe.bands.stretch;
    let from = cols as f64 / wide;
    // The Gaussian's and the smear's share of the power at a frequency.
    let left = |cycles: f64| {
        let turn = std::f64::consts::PI * cycles / cols as f64;
        let gauss = libm::exp(-libm::pow(2.0 * turn * recipe.soften.sigma.0 * recipe.soften.stretch, 2.0));
        let of_box = |share: f64| {
            let half = turn * share * recipe.smear.length.0;
            libm::pow(libm::sin(half) / half, 2.0)
        };
        gauss * step3_smear::BOXES.map(of_box).into_iter().product::<f64>()
    };
    let mut to = from;
    while left(to + 1.0) > 0.01 {
        to += 1.0;
    }
    assert!(to > 3.0 * from, "hardly any band is left: {from} to {to}");
    let got = exponent(&power(&recipe.bands, cols, 80), from, to, 16);
    println!("{got:.3} for 1.667 from {wide} to {:.0} px", cols as f64 / to);
    crate::util::near(got, 5.0 / 3.0, 0.15);
}

/// What an eye takes in where a band ends: the mean over a tile of the dither across the end, and over a stretch along it.
const ACROSS: usize = 8;
const ALONG: usize = 64;

/// Means over `wide` by `high` texels from each place on, as far as they fit.
fn means(
    rows: usize,
    cols: usize,
    [wide, high]: [usize; 2],
    value: impl Fn(usize, usize) -> f64,
) -> Vec<Vec<f64>> {
    let mut sums = vec![vec![0.0; cols + 1]; rows + 1];
    for y in 0..rows {
        let mut row = 0.0;
        for x in 0..cols {
            row += value(y, x);
            sums[y + 1][x + 1] = sums[y][x + 1] + row;
        }
    }
    let area = (wide * high) as f64;
    let mean = |y: usize, x: usize| {
        (sums[y + high][x + wide] - sums[y][x + wide] - sums[y + high][x] + sums[y][x]) / area
    };
    (0..=rows - high).map(|y| (0..=cols - wide).map(|x| mean(y, x)).collect()).collect()
}

/// Shortest stretch of equal code that is a band, texels.
const RUN: usize = 16;

/// Largest contrast of a band's end along one line, `shown` and `exact` its means in codes: at least [`RUN`] texels over which what is
/// shown changes by less than a sixteenth of a code, then, within a tile, a jump that the exact values, which move by less than a
/// code there, don't make. In shares of the luminance.
fn worst(shown: &[f64], exact: &[f64]) -> f64 {
    let light = |code: f64| crate::util::to_linear(code / 255.0);
    let (mut most, mut start) = (0.0_f64, 0);
    for at in 1..shown.len() - ACROSS {
        if (shown[at] - shown[start]).abs() >= 1.0 / 16.0 {
            start = at;
        }
        let moved = exact[at + ACROSS] - exact[at];
        if at + 1 - start >= RUN && moved.abs() < 1.0 {
            let jump = (shown[at + ACROSS] - shown[at] - moved).abs();
            most = most.max(light(shown[at] + jump) / light(shown[at]) - 1.0);
        }
    }
    most
}

/// The largest contrast of a band's end over all rows and columns of a picture.
fn banding(
    rows: usize,
    cols: usize,
    shown: impl Fn(usize, usize) -> f64,
    exact: impl Fn(usize, usize) -> f64,
) -> f64 {
    let along_rows = [ACROSS, ALONG];
    let (seen, known) = (means(rows, cols, along_rows, &shown), means(rows, cols, along_rows, &exact));
    let across = seen.iter().zip(&known).map(|(seen, known)| worst(seen, known)).fold(0.0, f64::max);
    // The same with rows for columns.
    let (shown, exact) = (|y: usize, x: usize| shown(x, y), |y: usize, x: usize| exact(x, y));
    let (seen, known) = (means(cols, rows, along_rows, shown), means(cols, rows, along_rows, exact));
    let down = seen.iter().zip(&known).map(|(seen, known)| worst(seen, known)).fold(0.0, f64::max);
    across.max(down)
}

/// No band's end may show where contrast is stretched four times. An eye sees steps of luminance from about 1 % on (Weber's ratio; so
/// Poynton, Gamma notes), so the bar is a quarter of that. Rounded to whole codes, one code is 0.9 to 8 % (sRGB, IEC 61966-2-1), and
/// the same measure finds it.
#[test]
fn no_recipe_shows_bands_at_8_bits() {
    const BAR: f64 = 0.01 / 4.0;
    let (dark, haze) = (48.0, 200.0);
    let mut bands = 0;
    for name in presets() {
        let rows: Vec<Vec<f64>> = field(&name, 2)
            .into_iter()
            .map(|row| row.into_iter().map(|density| -libm::expm1(-0.8 * f64::from(density))).collect())
            .collect();
        let (high, wide) = (rows.len(), 512);
        let exact = |y: usize, x: usize| dark + (haze - dark) * rows[y][x];
        let code = |value: f64, y: usize, x: usize| {
            f64::from(dither::code(value as f32, dither::row(y)[x % dither::SIDE]))
        };
        // A sheet's opacity at 8 bits, mixed by a renderer; and the still, which is dithered whole.
        let sheet = banding(high, wide, |y, x| dark + (haze - dark) * code(rows[y][x], y, x) / 255.0, exact);
        let still = banding(high, wide, |y, x| code(exact(y, x) / 255.0, y, x), exact);
        let rounded = banding(high, wide, |y, x| exact(y, x).round(), exact);
        println!("{name}: sheet {sheet:.5}, still {still:.5}, rounded {rounded:.5}, bar {BAR}");
        assert!(sheet.max(still) < BAR, "{name} shows bands: {sheet} in its sheet, {still} in a still");
        bands += usize::from(rounded > BAR);
    }
    assert!(bands >= 10, "the measure finds rounding in {bands} recipes alone");
}

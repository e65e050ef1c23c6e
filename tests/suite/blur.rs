//! Smear and soften against the published kernels, and a second library.

use crate::util::near;
use fogweft::steps::grid::{Grid, Plane};
use fogweft::steps::step3_smear::{self, Line};
use fogweft::steps::step4_soften;
use libblur::{
    BlurImage, BlurImageMut, EdgeMode, EdgeMode2D, FastBlurChannels, GaussianBlurParams,
    IeeeBinaryConvolutionMode, ThreadingPolicy, gaussian_blur_f32,
};

/// One bright sample in the middle.
fn impulse(side: usize) -> Plane {
    let mut plane = Plane::new(side, side);
    plane.data[side / 2 * side + side / 2] = 1.0;
    plane
}

/// Numbers without order, 0..1.
fn scattered(cols: usize, rows: usize) -> Plane {
    let mut plane = Plane::new(cols, rows);
    for (at, value) in plane.data.iter_mut().enumerate() {
        *value = fogweft::base::seed::uniform(at as u64) as f32;
    }
    plane
}

/// Sum, mean along x and y, and second moments (xx, yy, xy) about the middle; y upward.
fn moments(plane: &Plane) -> (f64, [f64; 2], [f64; 3]) {
    let middle = (plane.cols / 2) as f64;
    let (mut sum, mut first, mut second) = (0.0, [0.0; 2], [0.0; 3]);
    for (at, &weight) in plane.data.iter().enumerate() {
        let weight = f64::from(weight);
        let (x, y) = ((at % plane.cols) as f64 - middle, middle - (at / plane.cols) as f64);
        sum += weight;
        first = [first[0] + weight * x, first[1] + weight * y];
        second = [second[0] + weight * x * x, second[1] + weight * y * y, second[2] + weight * x * y];
    }
    (sum, first, second)
}

/// Holds a smeared impulse to the moments of a segment; how far sum and variances may be off (relative), the mean place (samples), and
/// the variances besides (samples squared).
#[track_caller]
fn segment(smeared: &Plane, angle: f64, length: f64, [share, place, variance]: [f64; 3]) {
    let (sum, first, second) = moments(smeared);
    let turn = f64::to_radians(angle);
    let (cos, sin) = (libm::cos(turn), libm::sin(turn));
    let box_variance = length * length / 12.0;
    near(sum, 1.0, share);
    near(first[0], 0.0, place);
    near(first[1], 0.0, place);
    let along = cos * cos * second[0] + sin * sin * second[1] + 2.0 * cos * sin * second[2];
    let across = sin * sin * second[0] + cos * cos * second[1] - 2.0 * cos * sin * second[2];
    near(along, box_variance, share * box_variance + variance);
    near(across, 0.0, share * box_variance + variance);
}

/// A directional blur's variance is that of a continuous box of its length along it, L^2/12, and 0 across (box variance, elementary
/// probability): the second moments are those of a segment at this angle, for any length.
#[test]
fn smear_has_the_moments_of_a_segment() {
    for angle in [0.0, 7.0, 22.5, 30.0, 45.0, 61.3, 90.0, -17.0, -45.0, -88.0] {
        for length in [0.4, 1.0, 3.5, 7.25, 40.0, 121.3, 200.0] {
            let smeared = step3_smear::apply(impulse(401), length, angle, [1.0, 1.0]);
            segment(&smeared, angle, length, [2e-6, 1e-4, 1e-7]);
        }
    }
}

/// Lines too long to be drawn tap by tap have the same moments. Their ends taper: the profile along the segment falls from its middle on
/// either side, and begins and ends with no ramp of one slope.
#[test]
fn a_long_smear_is_a_segment_too() {
    for (angle, length) in [(30.0, 1300.0), (-71.0, 1100.0), (45.0, 1200.0)] {
        let smeared = step3_smear::apply(impulse(2561), length, angle, [1.0, 1.0]);
        segment(&smeared, angle, length, [2e-5, 1e-2, 0.05]);
        let turn = f64::to_radians(angle);
        let (cos, sin) = (libm::cos(turn), libm::sin(turn));
        // Weight in windows of 64 samples along the segment.
        let middle = 1280.0;
        let mut windows = vec![0.0_f64; 48];
        for (at, weight) in smeared.data.iter().enumerate() {
            let (x, y) = ((at % 2561) as f64 - middle, middle - (at / 2561) as f64);
            let place = (x * cos + y * sin) / 64.0 + 24.5;
            if (0.0..48.0).contains(&place) {
                windows[place as usize] += f64::from(*weight);
            }
        }
        for side in [1_i64, -1] {
            let half: Vec<f64> = (0..24).map(|at| windows[(24 + side * at) as usize]).collect();
            assert!(half.windows(2).all(|pair| pair[1] <= pair[0] + 0.02 * half[0]), "{angle}: {half:.4?}");
            let seen: Vec<f64> = half.into_iter().take_while(|weight| *weight > 1e-5).collect();
            let end = seen.len() - 1;
            assert!(
                seen[end - 1] - seen[end] < 0.5 * (seen[end / 2] - seen[end / 2 + 1]),
                "{angle}: {seen:.4?}"
            );
        }
    }
}

/// Grids that are coarser along one axis: the angle and the length are those on the sheet.
#[test]
fn smear_knows_the_grids_step() {
    let step = [3.0, 1.5];
    let (_, _, second) = moments(&step3_smear::apply(impulse(257), 90.0, 30.0, step));
    let (x, y) = (90.0 * libm::cos(f64::to_radians(30.0)) / 3.0, 45.0 / 1.5);
    near(second[0], x * x / 12.0, 1e-3);
    near(second[1], y * y / 12.0, 1e-3);
    near(second[2], x * y / 12.0, 1e-3);
}

/// Variance of a discrete box of n taps, (n^2 - 1)/12, exact; the line of that variance is the box itself.
#[test]
fn box_table() {
    let table = [(3, 0.666667), (5, 2.0), (9, 6.666667), (15, 18.666667), (33, 90.666667)];
    for (taps, variance) in table {
        let n = f64::from(taps);
        near((n * n - 1.0) / 12.0, variance, 5e-7);
        let line = Line::new((n * n - 1.0).sqrt());
        let weights: Vec<f64> = (-40..=40).map(|at| line.weight(at)).collect();
        for (at, weight) in (-40_i64..=40).zip(&weights) {
            let want = if 2 * at.abs() < i64::from(taps) { 1.0 / n } else { 0.0 };
            near(*weight, want, 1e-12);
        }
        let spread: f64 = (-40_i64..=40).zip(&weights).map(|(at, weight)| (at * at) as f64 * weight).sum();
        near(spread, variance, 5e-7);
    }
}

/// The level smear wraps, also where it is longer than the period: against the plain sum over its taps.
#[test]
fn level_smear_wraps_at_any_length() {
    let plane = scattered(37, 3);
    for length in [0.7, 5.0, 36.9, 37.0, 50.0, 160.3, 1000.0] {
        let got = step3_smear::apply(plane.clone(), length, 0.0, [1.0, 1.0]);
        let mut want: Vec<f64> = plane.data.iter().map(|&value| f64::from(value)).collect();
        for share in step3_smear::BOXES {
            let line = Line::new(share * length);
            let reach = line.reach as i64 + 1;
            let taken = |at: usize, by: i64| at / 37 * 37 + (at as i64 % 37 + by).rem_euclid(37) as usize;
            let sum = |at| (-reach..=reach).map(|by| line.weight(by) * want[taken(at, by)]).sum::<f64>();
            want = (0..want.len()).map(sum).collect();
        }
        for (got, want) in got.data.iter().zip(want) {
            near(f64::from(*got), want, 1e-6);
        }
    }
}

/// Zero length, zero deviation: nothing changes, to the bit.
#[test]
fn identity_at_zero() {
    let plane = scattered(41, 17);
    assert_eq!(step3_smear::apply(plane.clone(), 0.0, 30.0, [1.0, 1.0]), plane);
    assert_eq!(step4_soften::apply(plane.clone(), [0.0, 0.0]), plane);
    // Continuous there, too.
    for (a, b) in step3_smear::apply(plane.clone(), 1e-3, 30.0, [1.0, 1.0]).data.iter().zip(&plane.data) {
        near(f64::from(*a), f64::from(*b), 1e-6);
    }
}

/// SciPy's `gaussian_filter1d`, impulse responses at offsets 0..8 and variances of the whole kernels; radius int(4 s + 0.5).
#[test]
fn impulse_responses() {
    #[rustfmt::skip]
    let table: [(f64, usize, [f64; 9], f64); 4] = [
        (1.0, 4, [0.398943469356, 0.241971445657, 0.053991127421, 0.004431861620, 0.000133830625, 0.0, 0.0, 0.0, 0.0], 0.999927999827),
        (2.0, 8, [0.199474647865, 0.176035758885, 0.120987489765, 0.064759936605, 0.026995957967, 0.008764304363, 0.002215963173, 0.000436349021, 0.000066916290], 3.998613005372),
        (4.0, 16, [0.099739099531, 0.096670450042, 0.088019446403, 0.075287022193, 0.060494821838, 0.045663887238, 0.032380544755, 0.021570093000, 0.013498219285], 15.989749594305),
        (8.0, 32, [0.049870178972, 0.049482086160, 0.048335834869, 0.046484118114, 0.044010278474, 0.041022090255, 0.037643986046, 0.034008507310, 0.030247792552], 63.946378692012),
    ];
    for (sigma, radius, response, variance) in table {
        let side = 81;
        for (axis, deviations) in [(1, [sigma, 0.0]), (side, [0.0, sigma])] {
            let got = step4_soften::apply(impulse(side), deviations).data;
            let middle = side / 2 * side + side / 2;
            for (at, want) in response.into_iter().enumerate() {
                near(f64::from(got[middle + at * axis]), want, 2e-8);
                near(f64::from(got[middle - at * axis]), want, 2e-8);
            }
            assert!(got[middle + radius * axis] > 0.0 && got[middle + (radius + 1) * axis] == 0.0);
        }
        let (sum, _, second) = moments(&step4_soften::apply(impulse(side), [sigma, sigma]));
        near(sum, 1.0, 1e-6);
        near(second[0], variance, 1e-5 * variance);
        near(second[1], variance, 1e-5 * variance);
        near(second[2], 0.0, 1e-9);
        // Two passes are the product: at the centre for deviation 2, 0.039790135140764016.
        if sigma == 2.0 {
            let both = step4_soften::apply(impulse(side), [2.0, 2.0]);
            near(f64::from(both.data[side / 2 * side + side / 2]), 0.039790135140764016, 1e-8);
        }
    }
}

/// SciPy's documentation of `gaussian_filter1d`: its example mirrors at the edges, which is a period of twice the length.
#[test]
fn scipys_worked_example() {
    let mut plane = Plane::new(10, 1);
    plane.data = [1, 2, 3, 4, 5, 5, 4, 3, 2, 1].map(|value| value as f32).to_vec();
    let table = [
        (1.0, [1.42704095, 2.06782203, 3.0, 3.93217797, 4.57295905]),
        (4.0, [2.91948343, 2.95023502, 3.0, 3.04976498, 3.08051657]),
    ];
    for (sigma, want) in table {
        let got = step4_soften::apply(plane.clone(), [sigma, 0.0]);
        for (got, want) in got.data.into_iter().zip(want) {
            near(f64::from(got), want, 1e-6);
        }
    }
}

/// Convolution adds variances: 3, then 4, is 5. Kernels are cut at four deviations, 6e-5 of the whole.
#[test]
fn variances_add() {
    let twice = step4_soften::apply(step4_soften::apply(impulse(101), [3.0, 3.0]), [4.0, 4.0]);
    let once = step4_soften::apply(impulse(101), [5.0, 5.0]);
    let most = once.data.iter().copied().fold(0.0, f32::max);
    for (a, b) in twice.data.iter().zip(&once.data) {
        near(f64::from(*a), f64::from(*b), 5e-4 * f64::from(most));
    }
}

/// A wide Gaussian halves the samples on its way: by the addition of variances, what comes back still has its own.
#[test]
fn a_gaussian_on_fewer_samples_keeps_its_variance() {
    let side = 1024;
    for [wide, tall] in [[6.0, 4.0], [9.5, 14.0], [31.0, 5.6], [60.0, 60.0]] {
        let grid = Grid { cols: side, rows: side, step: [1.0, 1.0], top: 0.0 };
        let (soft, grid) = step4_soften::reduce(impulse(side), grid, [wide, tall], [f64::INFINITY; 2]);
        assert!(grid.cols < side || wide < 5.0);
        let (mut sum, mut second) = (0.0, [0.0; 2]);
        for (at, weight) in soft.data.iter().enumerate() {
            let weight = f64::from(*weight) * grid.step[0] * grid.step[1];
            let middle = side as f64 / 2.0 + 0.5;
            let x = ((at % grid.cols) as f64 + 0.5) * grid.step[0] - middle;
            let y = grid.y(at / grid.cols) - middle;
            sum += weight;
            second = [second[0] + weight * x * x, second[1] + weight * y * y];
        }
        near(sum, 1.0, 1e-3);
        near(second[0], wide * wide, 0.01 * wide * wide);
        near(second[1], tall * tall, 0.01 * tall * tall);
    }
}

/// Crate `libblur`'s exact Gaussian on the same numbers, away from the edges, where the two wrap or clamp differently.
#[test]
fn a_second_library_agrees() {
    let (cols, rows) = (160, 120);
    let plane = scattered(cols, rows);
    for sigma in [[1.0, 1.0], [2.5, 1.3], [4.0, 6.0]] {
        let got = step4_soften::apply(plane.clone(), sigma);
        let size = |sigma: f64| 2 * (4.0 * sigma + 0.5) as u32 + 1;
        let params = GaussianBlurParams {
            x_kernel: size(sigma[0]),
            x_sigma: sigma[0],
            y_kernel: size(sigma[1]),
            y_sigma: sigma[1],
        };
        let from = BlurImage::borrow(&plane.data, cols as u32, rows as u32, FastBlurChannels::Plane);
        let mut other = BlurImageMut::alloc(cols as u32, rows as u32, FastBlurChannels::Plane);
        gaussian_blur_f32(
            &from,
            &mut other,
            params,
            EdgeMode2D::new(EdgeMode::Clamp),
            ThreadingPolicy::Single,
            IeeeBinaryConvolutionMode::Normal,
        )
        .unwrap();
        let margin = 26;
        for row in margin..rows - margin {
            for col in margin..cols - margin {
                let (a, b) = (got.row(row)[col], other.data.borrow()[row * cols + col]);
                near(f64::from(a), f64::from(b), 2e-6);
            }
        }
    }
}

//! Layered noise: how its spectrum falls with gain and lacunarity.

use crate::util::{even, mean, near};
use fogweft::base::units::{Scale, Texel};
use fogweft::steps::grid::{Grid, Plane};
use fogweft::steps::moment::Moment;
use fogweft::steps::recipe::Noise;
use fogweft::steps::step1_bands;
use rustfft::FftPlanner;
use rustfft::num_complex::Complex;

/// Hann's window at column `at` of so many.
fn hann(at: usize, cols: usize) -> f64 {
    0.5 - 0.5 * libm::cos(std::f64::consts::TAU * at as f64 / cols as f64)
}

/// Power at each frequency of the rows, summed over them; each is weighed by `window(column, columns)`.
pub fn power(plane: &Plane, window: impl Fn(usize, usize) -> f64) -> Vec<f64> {
    let cols = plane.cols;
    let transform = FftPlanner::<f64>::new().plan_fft_forward(cols);
    let mut sum = vec![0.0; cols / 2];
    for row in 0..plane.rows() {
        let numbers = plane.row(row);
        let middle = mean(numbers.iter().map(|&value| f64::from(value)));
        let mut line: Vec<Complex<f64>> = numbers
            .iter()
            .enumerate()
            .map(|(at, &value)| Complex::new((f64::from(value) - middle) * window(at, cols), 0.0))
            .collect();
        transform.process(&mut line);
        for (sum, value) in sum.iter_mut().zip(&line) {
            *sum += value.norm_sqr();
        }
    }
    sum
}

/// Exponent of the power over frequencies `from..to` (cycles per row), by least squares over `bins` of equal ratio.
pub fn exponent(power: &[f64], from: f64, to: f64, bins: u32) -> f64 {
    let ratio = libm::pow(to / from, 1.0 / f64::from(bins));
    let mut points = Vec::new();
    let mut low = from;
    for _ in 0..bins {
        let (a, b) = (low.round() as usize, (low * ratio).round() as usize);
        if b > a {
            let middle = libm::sqrt(a as f64 * (b - 1) as f64);
            points.push((libm::log(middle), libm::log(mean(power[a..b].iter().copied()))));
        }
        low *= ratio;
    }
    let (x, y) = (mean(points.iter().map(|point| point.0)), mean(points.iter().map(|point| point.1)));
    let slope = points.iter().map(|point| (point.0 - x) * (point.1 - y)).sum::<f64>()
        / points.iter().map(|point| (point.0 - x) * (point.0 - x)).sum::<f64>();
    -slope
}

/// Fractal sums: H = -ln(gain)/ln(lacunarity), and the power of a cut falls with 2 H + 1 (spectral synthesis, after Voss; the
/// relation gain = 2^-H is in common use). Measured with 9 octaves from 1024 px on rows of 4096: within 0.1.
#[test]
fn slopes_follow_gain_and_lacunarity() {
    let table = [
        (0.5, 2.0, 3.0),
        (0.7071068, 2.0, 2.0),
        (0.7937005, 2.0, 5.0 / 3.0),
        (0.6, 2.0, 2.473931),
        (0.5, 3.0, 2.261860),
        (0.65, 2.1, 2.161238),
    ];
    for (gain, lacunarity, want) in table {
        let mut recipe = even().texels(Scale(1.0)).bands;
        recipe.amount = 1.0;
        recipe.size = Texel(1024.0);
        recipe.stretch = 1.0;
        recipe.octaves = if lacunarity > 2.5 { 6 } else { 9 };
        recipe.gain = gain;
        recipe.lacunarity = lacunarity;
        recipe.coverage = 0.5;
        recipe.contrast = 0.0;
        recipe.warp = 0.0;
        near(2.0 * -libm::log(gain) / libm::log(lacunarity) + 1.0, want, 1e-6);
        let mut sum = vec![0.0; 2048];
        // Few rows of many fields: rows of one field are alike over a feature's height.
        for seed in 0..80 {
            let grid = Grid { cols: 4096, rows: 4, step: [1.0, 1.0], top: 0.0 };
            let mut plane = Plane::new(grid.cols, grid.rows);
            step1_bands::fill(&recipe, seed, &Moment::REST, 512.0, None, &grid, &mut plane);
            for (sum, value) in sum.iter_mut().zip(power(&plane, hann)) {
                *sum += value;
            }
        }
        let got = exponent(&sum, 8.0, 256.0, 24);
        println!("gain {gain}, lacunarity {lacunarity}: {got} for {want}");
        near(got, want, 0.1);
    }
}

/// Power of `plane`, square and alike along both axes, by direction: the mean over frequencies `from..to` (cycles per side) in each of
/// `sectors` equal parts of half a turn, the first around the x axis; over the mean of all.
fn by_direction(planes: &[Plane], [from, to]: [f64; 2], sectors: usize) -> Vec<f64> {
    let (mut sums, mut counts) = (vec![0.0; sectors], vec![0.0; sectors]);
    for plane in planes {
        let side = plane.cols;
        let transform = FftPlanner::<f64>::new().plan_fft_forward(side);
        let middle = mean(plane.data.iter().map(|&value| f64::from(value)));
        let mut numbers: Vec<Complex<f64>> = (0..side * side)
            .map(|at| {
                let (col, row) = (at % side, at / side);
                let weight = hann(col, side) * hann(row, side);
                Complex::new((f64::from(plane.row(row)[col]) - middle) * weight, 0.0)
            })
            .collect();
        transform.process(&mut numbers);
        let mut turned: Vec<Complex<f64>> =
            (0..side * side).map(|at| numbers[at % side * side + at / side]).collect();
        transform.process(&mut turned);
        for (at, value) in turned.iter().enumerate() {
            let signed = |at: usize| if at > side / 2 { at as f64 - side as f64 } else { at as f64 };
            // Turned: columns are frequencies along y now.
            let (y, x) = (signed(at % side), signed(at / side));
            let length = libm::sqrt(x * x + y * y);
            if length >= from && length < to {
                let share =
                    (libm::atan2(y, x) / std::f64::consts::PI * sectors as f64).rem_euclid(sectors as f64);
                let sector = (share.round() as usize) % sectors;
                sums[sector] += value.norm_sqr();
                counts[sector] += 1.0;
            }
        }
    }
    let all = sums.iter().sum::<f64>() / counts.iter().sum::<f64>();
    sums.iter().zip(counts).map(|(sum, count)| sum / count / all).collect()
}

/// A field of folded noise has no direction of its own: the power of its spectrum is as large in all of them, within a factor of 1.2. A
/// bound of our own; of isotropic noise it is 1 (definition of isotropy).
#[test]
fn folded_noise_favours_no_axis() {
    for kind in [Noise::Billowed, Noise::Ridged] {
        for octaves in [1, 3] {
            let mut recipe = even().texels(Scale(1.0)).bands;
            (recipe.kind, recipe.amount, recipe.octaves) = (kind, 1.0, octaves);
            (recipe.size, recipe.stretch, recipe.warp) = (Texel(16.0), 1.0, 0.0);
            (recipe.coverage, recipe.contrast) = (0.5, 0.0);
            let planes: Vec<Plane> = (0..24)
                .map(|seed| {
                    let grid = Grid { cols: 512, rows: 512, step: [1.0, 1.0], top: 0.0 };
                    let mut plane = Plane::new(grid.cols, grid.rows);
                    step1_bands::fill(&recipe, seed, &Moment::REST, 256.0, None, &grid, &mut plane);
                    plane
                })
                .collect();
            // From half a cycle to two cycles a cell.
            let all = by_direction(&planes, [16.0, 64.0], 12);
            println!("{kind:?}, {octaves} octaves: {all:.2?}");
            assert!(
                all.iter().all(|share| (1.0 / 1.2..1.2).contains(share)),
                "{kind:?}, {octaves}: {all:.2?}"
            );
        }
    }
}

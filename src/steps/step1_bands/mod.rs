//! Step 1: bands. Layered noise, periodic in x, cut to a coverage.

pub mod cells;
pub mod lattice;
pub mod octave;

use crate::base::seed;
use crate::base::simd::wide;
use crate::base::units::Texel;
use crate::steps::drift::Drift;
use crate::steps::grid::{Grid, Plane};
use crate::steps::recipe::{Bands, Noise};
use crate::steps::step1_bands::cells::Cells;
use crate::steps::step1_bands::lattice::Lattice;
use crate::steps::step1_bands::octave::{FOLDED, Octave, Ready, Scratch, Source, Warp};
use rayon::prelude::*;
use std::sync::LazyLock;

/// An octave of which the blurs leave less than this share of the density's mean is lost: a fortieth of a step of 8 bits.
const UNSEEN: f64 = 0.0003;

/// Half the width of the narrowest edge, in samples.
const BETWEEN: f64 = 0.8;

/// One octave's weight (squares sum to 1 over all of them) and its cell in texels.
struct Part {
    amplitude: f64,
    cell: [f64; 2],
    across: f64,
}

fn parts(bands: &Bands<Texel>, period: f64) -> Vec<Part> {
    let feature = [(bands.size.0 * bands.stretch).min(period), bands.size.0];
    let total = (0..bands.octaves).map(|k| libm::pow(bands.gain, 2.0 * f64::from(k))).sum::<f64>();
    let part = |k| {
        let shrink = libm::pow(bands.lacunarity, f64::from(k));
        let across = (period / (feature[0] / shrink)).round().max(1.0);
        Part {
            amplitude: libm::pow(bands.gain, f64::from(k)) / libm::sqrt(total),
            cell: [period / across, feature[1] / shrink],
            across,
        }
    };
    (0..bands.octaves).map(part).collect()
}

/// What blurs with the variances `[xx, yy, xy]` of `blur`, texels squared, leave of the deviation of noise with this cell.
///
/// Gradient noise is a sum of bumps times a slope: its spectrum is f^2 exp(-(2 pi s f)^2), near enough, with s^2 = 0.14 for the
/// quintic bump, in cells. Folded noise and cells have theirs from 0 up, and finer. The integrals over a Gaussian are elementary.
fn left(kind: Noise, cell: [f64; 2], blur: [f64; 3]) -> f64 {
    let own = if kind == Noise::Smooth { 0.14 } else { 0.05 };
    let [x, y] = [0, 1].map(|axis| own + blur[axis] / (cell[axis] * cell[axis]));
    let both = blur[2] / (cell[0] * cell[1]);
    let area = (x * y - both * both).max(own * own);
    let flat = own / libm::sqrt(area);
    libm::sqrt(if kind == Noise::Smooth { flat * own * (x + y) / (2.0 * area) } else { flat })
}

/// The smallest cell along x and y, in texels, of the octaves that the blurs (variances `[xx, yy, xy]` in
/// texels squared) don't take away.
pub fn finest(bands: &Bands<Texel>, period: f64, blur: [f64; 3]) -> [f64; 2] {
    let mut least = [f64::INFINITY; 2];
    if bands.amount > 0.0 {
        let unseen = UNSEEN / (bands.amount * Edge::new(bands.coverage, bands.contrast, 0.0, 0.0).rise());
        for part in parts(bands, period) {
            if part.amplitude * left(bands.kind, part.cell, blur) >= unseen {
                least = [least[0].min(part.cell[0]), least[1].min(part.cell[1])];
            }
        }
    }
    least
}

/// Mean square of how much an octave rises from sample to sample, beyond what it rises from texel to texel.
fn risen(kind: Noise, amplitude: f64, cell: [f64; 2], step: [f64; 2]) -> f64 {
    // Root mean square slope along an axis, per cell, of noise of deviation 1: of gradient noise 2 pi times the root of its
    // spectrum's second moment; as much of folded noise before it is brought to deviation 1; of a distance 1 along its own line.
    let slope = match kind {
        Noise::Smooth => 2.67,
        Noise::Billowed | Noise::Ridged => 2.67 / FOLDED.1,
        Noise::Cellular => 0.707 / 0.19,
    };
    let square = |step: f64, cell: f64| {
        let per_texel = slope * amplitude / cell;
        // Samples a texel apart are the reference: their edges stay as they are.
        per_texel * per_texel * (step * step - 1.0)
    };
    square(step[0], cell[0]) + square(step[1], cell[1])
}

/// Whether samples `step` texels apart hold noise with this cell: two to a cell, but for what rounding takes.
fn held(cell: [f64; 2], step: [f64; 2]) -> bool {
    cell.iter().zip(step).all(|(cell, step)| *cell >= 1.99 * step)
}

/// Half the width of the edge between gaps and fog, in deviations of the noise.
fn half_width(contrast: f64) -> f64 {
    2.2 * (1.0 - contrast) + 0.03
}

/// How much finer a grid with steps of `step` texels should be so that the edge doesn't fall between samples: 0.2 to 1.
pub fn sharpness(bands: &Bands<Texel>, period: f64, step: [f64; 2]) -> f64 {
    let rise = parts(bands, period)
        .into_iter()
        .filter(|part| held(part.cell, step))
        .map(|part| risen(bands.kind, part.amplitude, part.cell, step))
        .sum::<f64>();
    (half_width(bands.contrast) / libm::sqrt(rise).max(1e-9)).clamp(0.2, 1.0)
}

/// Writes the bands into `plane`: mean about 1 where `amount` is above 0, exactly 1 where it is 0. Lengths of the recipe and
/// `line` in texels. With a `sigma` (the Gaussian's deviation along x and y, texels) octaves are worked out as coarsely as it
/// allows; without, at every sample. `time` is the place in the loop of their evolution, 0 to 1.
pub fn fill(
    bands: &Bands<Texel>,
    seed: u64,
    time: f64,
    line: f64,
    sigma: Option<[f64; 2]>,
    grid: &Grid,
    plane: &mut Plane,
) {
    if bands.amount <= 0.0 {
        plane.data.fill(1.0);
        return;
    }
    let period = grid.cols as f64 * grid.step[0];
    let feature = [(bands.size.0 * bands.stretch).min(period), bands.size.0];
    // Coarse grids of octaves reach a little farther.
    let beyond = 5.0 * 16.0 * grid.step[1];
    let (top, foot) = (grid.y(0) - line - beyond, grid.y(grid.rows.max(1) - 1) - line + beyond);
    let reach = [bands.warp.abs() * feature[0], bands.warp.abs() * feature[1]];

    // Of features far finer than a texel nothing is seen, bent or not; their tables would be vast.
    let warp = (bands.warp > 0.0 && feature[1] >= 0.25).then(|| {
        // Twice a feature's size, so that features bend and don't curdle.
        let across = (period / (2.0 * feature[0])).round().max(1.0) as usize;
        let height = 2.0 * feature[1];
        let dice = ["warp x", "warp y"].map(|part| seed::of(seed, part));
        let offsets = dice.map(|dice| seed::unit(dice) * 64.0);
        let drift = |axis: usize| {
            Drift::new(dice[axis], across, top / height + offsets[axis], foot / height + offsets[axis])
        };
        let (x, y) = rayon::join(|| drift(0), || drift(1));
        Warp { drifts: [x, y], offsets, height, reach }
    });
    let warp = warp.as_ref();

    let (mut lost, mut rise) = (0.0, 0.0);
    let mut kept = Vec::new();
    for (k, part) in parts(bands, period).into_iter().enumerate() {
        // The blurs, which the grid is chosen by, leave nothing of it but a wider edge.
        if k > 0 && !held(part.cell, grid.step) {
            lost += part.amplitude * part.amplitude;
        } else {
            rise += risen(bands.kind, part.amplitude, part.cell, grid.step);
            kept.push((k, part));
        }
    }
    let octave = |(k, Part { amplitude, cell, across }): (usize, Part)| {
        let dice = seed::of(seed, &format!("octave {k}"));
        let offset = seed::unit(dice) * 64.0;
        // The warp's noise stays within +-1.
        let from = (top - reach[1]) / cell[1] + offset - 1.0;
        let to = (foot + reach[1]) / cell[1] + offset + 1.0;
        let margin = reach[0] / cell[0] + 1.0;
        let source = match bands.kind {
            Noise::Cellular => Source::Cells(Cells::new(dice, across as usize, margin, from, to, time)),
            _ => {
                let mut lattice = Lattice::new(dice, across as usize, margin, from, to);
                // Finer layers live faster.
                lattice.turn(dice, across as usize, time, 2 + k as u64 / 2);
                Source::Gradient(lattice)
            }
        };
        let octave = Octave {
            source,
            amplitude: amplitude as f32,
            per_texel: [across / period, 1.0 / cell[1]],
            offset,
            shift: seed::unit(dice ^ 1),
        };
        Ready::new(octave, warp, line, grid, sigma)
    };
    let octaves: Vec<Ready> = kept.into_par_iter().map(octave).collect();

    let edge = Edge::new(bands.coverage, bands.contrast, lost, rise);
    let amount = bands.amount as f32;
    plane.each_row_with(
        #[inline(always)]
        |scratch: &mut Scratch, row, numbers| {
            let y = grid.y(row) - line;
            scratch.bend(warp, y, numbers.len());
            numbers.fill(0.0);
            for octave in &octaves {
                octave.add(bands.kind, warp, (row, y), grid.step[0], scratch, numbers);
            }
            edge.cut(numbers);
            for number in numbers.iter_mut() {
                *number = 1.0 - amount + amount * *number;
            }
        },
    );
}

/// The cut from layered noise (mean 0, deviation 1) to density with mean 1.
struct Edge {
    from: f32,
    over: f32,
    scale: f32,
    /// Where much was lost: densities from -[`FAR`] to [`FAR`] deviations.
    table: Vec<f32>,
}

/// How far a table of an edge reaches, deviations, and its samples a deviation.
const FAR: f32 = 8.0;
const FINE: f32 = 128.0;

impl Edge {
    /// `lost` is the variance of the octaves that were left out: the blur spreads the edge by as much. `rise` is the mean square of
    /// how much the noise rises from sample to sample: an edge narrower than that falls between samples, and is given this width.
    fn new(coverage: f64, contrast: f64, lost: f64, rise: f64) -> Edge {
        let middle = -quantile(coverage);
        let plain = |half: f64, scale: f32| Edge {
            from: (middle - half) as f32,
            over: (0.5 / half) as f32,
            scale,
            table: Vec::new(),
        };
        let half = half_width(contrast);
        // The same scale on every grid.
        let whole = plain(half, 1.0);
        let mean = over_normal(|noise| f64::from(whole.step(noise as f32)));
        let scale = (1.0 / mean.max(1e-3)) as f32;
        let half = half.max(BETWEEN * libm::sqrt(rise));
        // A smooth step of half width w has a slope of variance w^2/5: a little more only widens it.
        if 5.0 * lost < 0.04 * half * half {
            return plain(libm::sqrt(half * half + 5.0 * lost), scale);
        }
        let edge = plain(half, 1.0);
        let table = edge.spread(libm::sqrt(lost));
        Edge { table, scale, ..edge }
    }

    /// A plain edge as what `deviation` of the noise, spread over the normal distribution, makes of it: samples from -[`FAR`] to [`FAR`].
    fn spread(&self, deviation: f64) -> Vec<f32> {
        const SIDE: usize = 8;
        let mut table = vec![0.0; (2.0 * FAR * FINE) as usize + 1];
        table.par_chunks_mut(SIDE).with_min_len(32).enumerate().for_each(|(part, samples)| {
            wide(
                #[inline(always)]
                || {
                    let noise: [f64; SIDE] =
                        std::array::from_fn(|at| f64::from((part * SIDE + at) as f32 / FINE - FAR));
                    let means = over_normal_each(
                        #[inline(always)]
                        |lost| {
                            // Not by `map`, which isn't inlined.
                            let mut densities = [0.0; SIDE];
                            for (density, noise) in densities.iter_mut().zip(noise) {
                                *density = f64::from(self.step((noise + deviation * lost) as f32));
                            }
                            densities
                        },
                    );
                    samples.iter_mut().zip(means).for_each(|(sample, mean)| *sample = mean as f32);
                },
            );
        });
        table
    }

    /// Noise to density, in place.
    #[inline(always)]
    fn cut(&self, numbers: &mut [f32]) {
        // Two loops, so that the plain one runs several numbers at once.
        if self.table.is_empty() {
            numbers.iter_mut().for_each(|number| *number = self.step(*number));
        } else {
            numbers.iter_mut().for_each(|number| *number = self.looked_up(*number));
        }
    }

    /// How much the density rises for a deviation of the noise: root mean square over the noise, of the plain edge.
    fn rise(&self) -> f64 {
        let square = |noise: f64| {
            let t = ((noise as f32 - self.from) * self.over).clamp(0.0, 1.0);
            f64::from(6.0 * self.scale * self.over * t * (1.0 - t)).powi(2)
        };
        libm::sqrt(over_normal(square))
    }

    #[inline(always)]
    fn step(&self, noise: f32) -> f32 {
        let t = ((noise - self.from) * self.over).clamp(0.0, 1.0);
        self.scale * t * t * (3.0 - 2.0 * t)
    }

    #[inline(always)]
    fn looked_up(&self, noise: f32) -> f32 {
        let place = ((noise + FAR) * FINE).clamp(0.0, 2.0 * FAR * FINE - 1.0);
        let at = place as usize;
        let share = place - at as f32;
        self.scale * (self.table[at] + (self.table[at + 1] - self.table[at]) * share)
    }
}

/// The mean of `value` over the normal distribution, by the midpoint rule over +-6 deviations.
fn over_normal(value: impl Fn(f64) -> f64) -> f64 {
    over_normal_each(|noise| [value(noise)])[0]
}

/// The same of several values side by side.
#[inline(always)]
fn over_normal_each<const SIDE: usize>(values: impl Fn(f64) -> [f64; SIDE]) -> [f64; SIDE] {
    const STEPS: usize = 600;
    const WIDTH: f64 = 0.02;
    // Places and what the distribution is there: tables of edges ask for them thousands of times.
    static BELL: LazyLock<[(f64, f64); STEPS]> = LazyLock::new(|| {
        std::array::from_fn(|at| {
            let n = (at as f64 + 0.5) * WIDTH - 6.0;
            (n, libm::exp(-0.5 * n * n))
        })
    });
    let mut sums = [0.0; SIDE];
    for (n, bell) in BELL.iter() {
        for (sum, value) in sums.iter_mut().zip(values(*n)) {
            *sum += value * bell * WIDTH;
        }
    }
    sums.map(|sum| sum / libm::sqrt(std::f64::consts::TAU))
}

/// The value below which the share `p` of the normal distribution lies; by bisection of the error function.
fn quantile(p: f64) -> f64 {
    let (mut low, mut high) = (-8.0, 8.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if 0.5 * libm::erfc(-middle / std::f64::consts::SQRT_2) < p {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

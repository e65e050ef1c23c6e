//! Step 1: bands. Layered noise, periodic in x, cut to a coverage.

use super::grid::{Grid, Plane};
use super::lattice::{DEVIATION, Lattice};
use super::wander::{Drift, Wrapping, cell_distance};
use crate::recipe::{Bands, Noise};
use crate::seed;

/// An octave whose share of the finished field would be smaller than this is left out; its variance still widens the edge.
const UNSEEN: f64 = 0.001;

/// Mean and deviation that each kind's octave has before it is brought to mean 0, deviation 1; measured over 4 million samples
/// of the lattice in units of its deviation, and 400 thousand of crate `noise`'s cells.
const FOLDED: (f32, f32) = (0.8169, 0.5768);
const CELLS: (f32, f32) = (0.4087, 0.1704);

enum Source {
    Gradient(Lattice),
    Cells(Wrapping),
}

struct Octave {
    source: Source,
    amplitude: f32,
    /// Cells per texel along x and y.
    per_texel: [f64; 2],
    /// Place of the anchor line among the cells.
    offset: f64,
    /// Shift along x in cells.
    shift: f64,
}

/// How much a blur leaves of a wave, by its cell's size in texels: the least that any direction of the octave loses.
pub struct Passes {
    /// Gaussian's deviation along x and y, texels.
    pub sigma: [f64; 2],
    /// Extent of the smear along x and y, texels.
    pub smear: [f64; 2],
}

impl Passes {
    fn left(&self, cell: [f64; 2]) -> f64 {
        let along = |axis: usize| {
            // Gradient noise has little below half a wave per cell.
            let frequency = 0.5 / cell[axis];
            let gauss = libm::exp(-2.0 * libm::pow(std::f64::consts::PI * self.sigma[axis] * frequency, 2.0));
            let smear = 1.0 / (1.0 + std::f64::consts::PI * frequency * self.smear[axis]);
            gauss * smear
        };
        along(0).max(along(1))
    }
}

/// Writes the bands into `plane`: mean about 1 where `amount` is above 0, exactly 1 where it is 0. Lengths of the recipe and
/// `line` in texels.
pub fn fill(bands: &Bands, seed: u64, line: f64, passes: &Passes, grid: &Grid, plane: &mut Plane) {
    if bands.amount <= 0.0 {
        plane.data.fill(1.0);
        return;
    }
    let period = grid.cols as f64 * grid.step[0];
    let feature = [(bands.size * bands.stretch).min(period), bands.size];
    let (top, foot) = (grid.y(0) - line, grid.y(grid.rows.max(1) - 1) - line);
    let reach = bands.warp.abs() * feature[1] + 1.0;

    let mut octaves = Vec::new();
    let total = (0..bands.octaves).map(|k| libm::pow(bands.gain, 2.0 * f64::from(k))).sum::<f64>();
    let mut lost = 0.0;
    for k in 0..bands.octaves {
        let shrink = libm::pow(bands.lacunarity, f64::from(k));
        let amplitude = libm::pow(bands.gain, f64::from(k)) / libm::sqrt(total);
        let across = (period / (feature[0] / shrink)).round().max(1.0);
        let cell = [period / across, feature[1] / shrink];
        let too_fine = cell[0] < 2.0 * grid.step[0] || cell[1] < 2.0 * grid.step[1];
        if k > 0 && (too_fine || amplitude * passes.left(cell) < UNSEEN) {
            lost += amplitude * amplitude;
            continue;
        }
        let dice = seed::of(seed, &format!("octave {k}"));
        let offset = seed::unit(dice) * 64.0;
        let (from, to) = ((top - reach) / cell[1] + offset, (foot + reach) / cell[1] + offset);
        let source = match bands.kind {
            Noise::Cellular => Source::Cells(Wrapping::new(dice, across as usize)),
            _ => {
                // The warp's noise stays within +-1.
                let margin = bands.warp.abs() * feature[0] / cell[0] + 1.0;
                Source::Gradient(Lattice::new(dice, across as usize, margin, from, to))
            }
        };
        octaves.push(Octave {
            source,
            amplitude: amplitude as f32,
            per_texel: [across / period, 1.0 / cell[1]],
            offset,
            shift: seed::unit(dice ^ 1),
        });
    }

    let warp = (bands.warp > 0.0).then(|| {
        // Twice a feature's size, so that features bend and don't curdle.
        let across = (period / (2.0 * feature[0])).round().max(1.0) as usize;
        let height = 2.0 * feature[1];
        let drift = |part| {
            let dice = seed::of(seed, part);
            let offset = seed::unit(dice) * 64.0;
            (Drift::new(dice, across, top / height + offset, foot / height + offset), offset)
        };
        (drift("warp x"), drift("warp y"), height)
    });

    let edge = Edge::new(bands.coverage, bands.contrast, lost);
    let amount = bands.amount as f32;
    plane.each_row(|row, numbers| {
        let y = grid.y(row) - line;
        let (mut push_x, mut push_y) = (Vec::new(), Vec::new());
        if let Some(((x, x_offset), (y_drift, y_offset), height)) = &warp {
            push_x.resize(numbers.len(), 0.0);
            push_y.resize(numbers.len(), 0.0);
            x.row(y / height + x_offset, &mut push_x);
            y_drift.row(y / height + y_offset, &mut push_y);
        }
        numbers.fill(0.0);
        for octave in &octaves {
            let (cells_x, cells_y) = (octave.per_texel[0], octave.per_texel[1]);
            let v = (y * cells_y + octave.offset) as f32;
            let start = octave.shift + 0.5 * grid.step[0] * cells_x;
            let by = grid.step[0] * cells_x;
            let bend =
                [(bands.warp * feature[0] * cells_x) as f32, (bands.warp * feature[1] * cells_y) as f32];
            let place = |at: usize| {
                let u = (start + at as f64 * by) as f32;
                if push_x.is_empty() { (u, v) } else { (u + bend[0] * push_x[at], v + bend[1] * push_y[at]) }
            };
            octave.add(bands.kind, place, numbers);
        }
        for number in numbers.iter_mut() {
            *number = 1.0 - amount + amount * edge.density(*number);
        }
    });
}

impl Octave {
    #[inline]
    fn add(&self, kind: Noise, place: impl Fn(usize) -> (f32, f32), numbers: &mut [f32]) {
        match (&self.source, kind) {
            (Source::Gradient(lattice), Noise::Smooth) => {
                let scale = self.amplitude / DEVIATION;
                for (at, number) in numbers.iter_mut().enumerate() {
                    let (u, v) = place(at);
                    *number += scale * lattice.sample(u, v);
                }
            }
            (Source::Gradient(lattice), _) => {
                let sign = if kind == Noise::Billowed { 1.0 } else { -1.0 };
                let scale = sign * self.amplitude / FOLDED.1;
                for (at, number) in numbers.iter_mut().enumerate() {
                    let (u, v) = place(at);
                    *number += scale * (lattice.sample(u, v).abs() / DEVIATION - FOLDED.0);
                }
            }
            (Source::Cells(hasher), _) => {
                for (at, number) in numbers.iter_mut().enumerate() {
                    let (u, v) = place(at);
                    let distance = cell_distance(hasher, f64::from(u), f64::from(v)) as f32;
                    *number += self.amplitude * (CELLS.0 - distance) / CELLS.1;
                }
            }
        }
    }
}

/// The cut from layered noise (mean 0, deviation 1) to density with mean 1.
struct Edge {
    from: f32,
    over: f32,
    scale: f32,
}

impl Edge {
    /// `lost` is the variance of the octaves that were left out: the blur spreads the edge by as much.
    fn new(coverage: f64, contrast: f64, lost: f64) -> Edge {
        let middle = -quantile(coverage);
        let half = 2.2 * (1.0 - contrast) + 0.03;
        // A smooth step of half width w has a slope of variance w^2/5.
        let half = libm::sqrt(half * half + 5.0 * lost);
        let edge = Edge { from: (middle - half) as f32, over: (0.5 / half) as f32, scale: 1.0 };
        // Mean over the normal distribution, by the midpoint rule over +-6 deviations.
        let (steps, width) = (1200, 0.01);
        let mean: f64 = (0..steps)
            .map(|at| {
                let n = (f64::from(at) + 0.5) * width - 6.0;
                f64::from(edge.density(n as f32)) * libm::exp(-0.5 * n * n) * width
            })
            .sum::<f64>()
            / libm::sqrt(std::f64::consts::TAU);
        Edge { scale: (1.0 / mean.max(1e-3)) as f32, ..edge }
    }

    #[inline]
    fn density(&self, noise: f32) -> f32 {
        let t = ((noise - self.from) * self.over).clamp(0.0, 1.0);
        self.scale * t * t * (3.0 - 2.0 * t)
    }
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

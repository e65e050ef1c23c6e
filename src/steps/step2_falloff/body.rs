//! The body of a fog: instead of thinning evenly upward it is whole up to a top that heaves in heaps and bays, firm in one place and
//! lost in another. Bands mottle a body's top, hardly its foot.
//!
//! In scale heights over the line, h, a body's density is a logistic step in h - 1 - heaps n(x, y) u(h): as much fog as the exponential
//! has. u rises from 0 at the line to 1 a scale height above it, so that whatever the heaps, the foot stays whole.

use crate::base::exp::exp_neg;
use crate::base::seed;
use crate::base::units::Texel;
use crate::steps::grid::Grid;
use crate::steps::periodic_noise::PeriodicNoise2d;
use crate::steps::recipe::Falloff;

// All chosen by eye.

/// Width and height of the largest heaps: shares of the wave's length, and of the scale height.
const HEAP: [f64; 2] = [0.45, 1.7];
/// Octaves of the heaps, how much smaller each is than the one before, and how much less it displaces.
const OCTAVES: u32 = 4;
const SHRINK: f64 = 2.15;
const GAIN: f64 = 0.52;
/// The factor that brings the sum of octaves to about -1..1.
const SPREAD: f64 = 1.55;
/// The step's width in scale heights where it is firmest and where it is lost.
const FIRM: f64 = 0.045;
const LOST: f64 = 0.55;
/// Width and height over which firmness varies, as [`HEAP`].
const FIRMNESS: [f64; 2] = [0.3, 3.0];
/// What floats between these heights over the line, in scale heights, is taken away.
const GONE: [f32; 2] = [2.4, 3.6];
/// How much of the bands is left in a body's foot, and at its top.
const QUIET: [f32; 2] = [0.3, 0.7];

/// Least side of a cell, texels: of finer ones nothing is seen, and their tables would be vast.
const CELL_MIN: f64 = 6.0;
/// Samples to a cell of the heaps that draw them.
const PER_CELL: f64 = 4.0;
/// Slope of the noise, per cell, where it is steep.
const SLOPE: f64 = 1.5;
/// How far from the line places are told apart, in scale heights: twice what floats, for where the height breathes.
const REACH: f64 = 7.2;

/// A noise over the sheet, and where it lies.
struct Placed {
    /// The noise, and the one that it goes round with over the loop.
    noises: [Option<PeriodicNoise2d>; 2],
    turn: [f32; 2],
    height: f64,
    offset: f64,
    amplitude: f32,
}

impl Placed {
    /// Noise with cells of `cell` texels; `rows` are the first and the last place that is sampled, over the line.
    fn new(seed: u64, cell: [f64; 2], period: f64, rows: [f64; 2], time: f64, amplitude: f64) -> Placed {
        let across = (period / cell[0]).round().max(1.0) as usize;
        let offset = seed::uniform(seed) * 64.0;
        let [from, to] = rows.map(|row| row / cell[1] + offset);
        let angle = std::f64::consts::TAU * time;
        let turn = [libm::cos(angle), libm::sin(angle)];
        let noises = [("own", turn[0]), ("turned", turn[1])].map(|(label, share)| {
            (share != 0.0).then(|| PeriodicNoise2d::new(seed::derive(seed, label), across, from, to))
        });
        Placed {
            noises,
            turn: turn.map(|share| share as f32),
            height: cell[1],
            offset,
            amplitude: amplitude as f32,
        }
    }

    /// Where the noise is read at `over` texels over the line: here a flow comes in.
    fn place(&self, over: f64) -> f64 {
        over / self.height + self.offset
    }

    /// Adds the noise along a row.
    #[inline(always)]
    fn add(&self, over: f64, own: &mut [f32], sum: &mut [f32]) {
        for (noise, turn) in self.noises.iter().zip(self.turn) {
            let Some(noise) = noise else { continue };
            noise.row(self.place(over), own);
            let share = self.amplitude * turn;
            sum.iter_mut().zip(&*own).for_each(|(sum, own)| *sum += share * own);
        }
    }
}

/// The least step that the heaps and the firmest edge of a body allow between samples, texels; none where there is no body.
pub fn finest(falloff: &Falloff<Texel>) -> Option<[f64; 2]> {
    has_body(falloff).then(|| {
        let height = falloff.height.0;
        // The edge is as steep as the heaps make it along each axis.
        let (mut steep, mut least) = ([0.0, 1.0], [f64::INFINITY; 2]);
        for (cell, amplitude) in cells(falloff) {
            for axis in 0..2 {
                steep[axis] += SLOPE * amplitude * height / cell[axis];
                least[axis] = f64::min(least[axis], cell[axis] / PER_CELL);
            }
        }
        [0, 1].map(|axis| least[axis].min(FIRM * height / steep[axis]))
    })
}

/// The cells of the heaps' octaves, and how far each displaces; finer ones aren't seen.
fn cells(falloff: &Falloff<Texel>) -> impl Iterator<Item = ([f64; 2], f64)> {
    (0..OCTAVES)
        .map(|k| {
            let [shrink, gain] = [SHRINK, GAIN].map(|base| libm::pow(base, f64::from(k)));
            let cell = [HEAP[0] * falloff.wave.0 / shrink, HEAP[1] * falloff.height.0 / shrink];
            (cell, SPREAD * falloff.heaps * gain)
        })
        .filter(|(cell, amplitude)| *amplitude > 0.0 && cell[0].min(cell[1]) >= CELL_MIN)
}

fn has_body(falloff: &Falloff<Texel>) -> bool {
    falloff.firm > 0.0 && falloff.height.0.is_finite()
}

/// The body on a grid.
pub(super) struct Body {
    heaps: Vec<Placed>,
    firmness: Placed,
    share: f32,
    height: f32,
    /// Places farther from the line than this, in texels, are taken as this far.
    reach: f64,
}

/// Buffers of one row, used again for the next.
#[derive(Default)]
pub(super) struct Scratch {
    own: Vec<f32>,
    heaps: Vec<f32>,
    widths: Vec<f32>,
}

impl Body {
    /// The body of a falloff, if it has one; `rows` as in [`Placed::new`].
    pub fn new(falloff: &Falloff<Texel>, seed: u64, time: f64, grid: &Grid, rows: [f64; 2]) -> Option<Body> {
        if !has_body(falloff) {
            return None;
        }
        let (height, period) = (falloff.height.0, grid.cols as f64 * grid.step[0]);
        let reach = falloff.sway.0.abs() + REACH * height;
        let rows = rows.map(|row| row.clamp(-reach, reach));
        let noise = |label: &str, cell: [f64; 2], amplitude: f64| {
            Placed::new(seed::derive(seed, label), cell, period, rows, time, amplitude)
        };
        let heaps = cells(falloff)
            .enumerate()
            .map(|(k, (cell, amplitude))| noise(&format!("heaps {k}"), cell, amplitude))
            .collect();
        let cell = [FIRMNESS[0] * falloff.wave.0, FIRMNESS[1] * height].map(|side| side.max(CELL_MIN));
        let firmness = noise("firmness", cell, 1.0);
        Some(Body { heaps, firmness, share: falloff.firm as f32, height: height as f32, reach })
    }

    /// Works out the heaps and the step's width along a row `over` texels over the anchor line.
    #[inline(always)]
    pub fn row(&self, over: f64, cols: usize, scratch: &mut Scratch) {
        let Scratch { own, heaps, widths } = scratch;
        for line in [&mut *own, &mut *heaps, &mut *widths] {
            line.clear();
            line.resize(cols, 0.0);
        }
        let over = over.clamp(-self.reach, self.reach);
        for noise in &self.heaps {
            noise.add(over, own, heaps);
        }
        self.firmness.add(over, own, widths);
        let range = libm::log(LOST / FIRM) as f32;
        for width in widths.iter_mut() {
            // From firm to lost by its logarithm: -0.6..0.6 is nearly all of the noise.
            let lost = (0.5 + 0.85 * *width).clamp(0.0, 1.0);
            let lost = lost * lost * (3.0 - 2.0 * lost);
            *width = LOST as f32 * exp_neg(range * (1.0 - lost));
        }
    }

    /// The density of a place `over` the moving line, where the scale height is `height`: of bands of density `bands`, and as the
    /// exponential alone, `veil`, has it.
    #[inline(always)]
    pub fn density(
        &self,
        at: usize,
        over: f32,
        height: f32,
        bands: f32,
        veil: f32,
        scratch: &Scratch,
    ) -> f32 {
        let h = over / height;
        let up = smooth(h);
        // The step is as wide where the height breathes.
        let top = (1.0 - h + scratch.heaps[at] * up) * height / (self.height * scratch.widths[at]);
        // A logistic step, by the exponential of what is below 0.
        let tail = exp_neg(top.abs());
        let step = if top >= 0.0 { 1.0 / (1.0 + tail) } else { tail / (1.0 + tail) };
        let gone = 1.0 - smooth((h - GONE[0]) / (GONE[1] - GONE[0]));
        let body = step * gone * if h < 0.0 { veil } else { 1.0 };
        let quiet = 1.0 - self.share * (1.0 - QUIET[0] - (QUIET[1] - QUIET[0]) * up);
        (1.0 + quiet * (bands - 1.0)) * (veil + self.share * (body - veil))
    }
}

#[inline(always)]
fn smooth(t: f32) -> f32 {
    let t = t.clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

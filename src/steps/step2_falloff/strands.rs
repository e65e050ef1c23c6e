//! Strands: thin fog that stands off over the top of a body, long, low and with gaps between; fewer the higher.
//!
//! No source: strands over a top are common practice in painting.

use super::body::{is_seen, smooth};
use crate::base::seed;
use crate::base::units::Texel;
use crate::steps::moment::Moment;
use crate::steps::recipe::Falloff;
use crate::steps::turning_noise::{self, Kept, TurningNoise};

// All chosen by eye.

/// Width and height of the largest strands: shares of the wave's length, and of the scale height.
const CELL: [f64; 2] = [0.3, 0.45];
/// Octaves of the noise, how much smaller each is than the one before, and how much less it counts.
const OCTAVES: u32 = 2;
const SHRINK: f64 = 2.3;
const GAIN: f64 = 0.5;
/// Width and height, as in [`CELL`], of where strands gather, and how much that counts.
const GATHER: [f64; 2] = [0.6, 3.0];
const GATHER_SHARE: f64 = 1.2;
/// The noise at which a strand begins, and at which it is whole.
const EDGE: [f64; 2] = [0.5, 1.1];
/// How much more noise it takes a scale height farther off.
const RARER: f32 = 0.3;
/// Distance from the top at which strands begin and at which they are whole, in scale heights.
const FROM: [f32; 2] = [0.15, 0.5];
/// Heights over the line between which the last end.
pub(super) const GONE: [f32; 2] = [3.0, 4.5];
/// How far the top's heaps lift the strands over them.
const FOLLOW: f32 = 0.6;

/// The strands on a sheet.
pub(super) struct Strands {
    noises: Vec<TurningNoise>,
    pub shape: Shape,
}

/// What makes a density of their noise.
#[derive(Clone, Copy)]
pub(super) struct Shape {
    amount: f32,
    /// The noise at which they begin, and one over how much more makes them whole.
    from: f32,
    per_width: f32,
}

/// The cells of the noises, with their amplitudes.
fn cells(falloff: &Falloff<Texel>) -> impl Iterator<Item = ([f64; 2], f64)> {
    let of = |[width, height]: [f64; 2], shrink: f64| {
        [width * falloff.wave.0 / shrink, height * falloff.height.0 / shrink]
    };
    let octaves = (0..OCTAVES).map(move |k| {
        let [shrink, gain] = [SHRINK, GAIN].map(|base| libm::pow(base, f64::from(k)));
        (of(CELL, shrink), gain)
    });
    octaves.chain([(of(GATHER, 1.0), GATHER_SHARE)])
}

/// The cells that are drawn, with their places among all: a noise is the same whichever others are too fine.
fn seen(falloff: &Falloff<Texel>) -> impl Iterator<Item = (usize, ([f64; 2], f64))> {
    cells(falloff).enumerate().filter(|(_, (cell, _))| is_seen(*cell))
}

impl Strands {
    /// The strands of a falloff, if it has any.
    pub fn new(falloff: &Falloff<Texel>, seed: u64, moment: &Moment, period: f64) -> Option<Strands> {
        if falloff.strands <= 0.0 {
            return None;
        }
        let seeds = |k: usize| seed::derive(seed, &format!("strands {k}"));
        let noises = seen(falloff)
            .map(|(k, (cell, amplitude))| TurningNoise::new(seeds(k), cell, period, moment, amplitude))
            .collect();
        let unseen: f64 = cells(falloff)
            .filter(|(cell, _)| !is_seen(*cell))
            .map(|(_, amplitude)| amplitude * amplitude * TurningNoise::VARIANCE)
            .sum();
        // As a distribution, a smoothstep's slope has a twentieth of its squared width as its variance.
        let middle = 0.5 * (EDGE[0] + EDGE[1]);
        let half = libm::sqrt(0.25 * (EDGE[1] - EDGE[0]) * (EDGE[1] - EDGE[0]) + 5.0 * unseen);
        let (from, per_width) = ((middle - half) as f32, (0.5 / half) as f32);
        Some(Strands { noises, shape: Shape { amount: falloff.strands as f32, from, per_width } })
    }

    /// Writes their noise along a row `over` texels over the line.
    #[cfg_attr(feature = "simd", inline(always))]
    pub fn row(&self, over: f64, kept: &mut Vec<Kept>, noises: &mut [f32]) {
        turning_noise::add_all(&self.noises, over, kept, noises);
    }
}

impl Shape {
    /// Where there are no strands: density 0, whatever the noise.
    pub const NONE: Shape = Shape { amount: 0.0, from: 0.0, per_width: 0.0 };

    /// The density of their `noise` at a height `h` over the line, over a top at `top` that a heap displaces by `heap`; all in scale
    /// heights. The farther off, the fewer and the thinner.
    #[inline(always)]
    pub fn density(self, noise: f32, h: f32, top: f32, heap: f32) -> f32 {
        let off = h - top - FOLLOW * heap;
        let left = smooth((off - FROM[0]) / (FROM[1] - FROM[0]))
            * (1.0 - smooth((h - GONE[0]) / (GONE[1] - GONE[0])));
        let strand = smooth((noise - self.from - RARER * off.max(0.0)) * self.per_width);
        self.amount * strand * left
    }
}

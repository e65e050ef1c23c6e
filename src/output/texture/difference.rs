//! How far apart two texels draw, in the space that a renderer filters and mixes in.

use crate::base::colour::Linear;
use crate::base::words::{Alpha, Blending};
use ::wide::f32x4;
use std::sync::LazyLock;

/// How far apart two texels draw at most, over black and over white, which bound what lies between; in 8-bit steps. Texels are in
/// the space that the renderer mixes in ([`enter`]).
#[derive(Clone, Copy)]
pub struct Difference {
    alpha: Alpha,
    blending: Blending,
}

/// The distance of two texels, a channel in each place; the fourth counts for nothing. The largest of many is as good as each.
pub(super) trait Gap: Fn(f32x4, f32x4) -> f32x4 + Sync {}
impl<T: Fn(f32x4, f32x4) -> f32x4 + Sync> Gap for T {}

/// Work that goes by distances, compiled for each way to measure them.
pub(super) trait Measuring {
    /// What comes of it.
    type Outcome;
    /// Does it.
    fn run(self, gap: impl Gap) -> Self::Outcome;
}

impl Difference {
    /// For texels stored as `alpha` says and a renderer that mixes as `blending` says.
    pub fn new(alpha: Alpha, blending: Blending) -> Difference {
        Difference { alpha, blending }
    }

    /// The distance of two texels.
    #[inline]
    pub fn between(&self, a: [f32; 4], b: [f32; 4]) -> f32 {
        let [a, b] = [a, b].map(f32x4::from);
        steps(match (self.alpha, self.blending) {
            (Alpha::Straight, Blending::Encoded) => straight(a, b),
            (Alpha::Premultiplied, Blending::Encoded) => premultiplied(a, b),
            (alpha, Blending::Linear) => in_light(alpha, a, b),
        })
    }

    /// Does `work` with these distances.
    #[inline(always)]
    #[expect(clippy::redundant_closure, reason = "a closure is told to be inlined into wide loops")]
    pub(super) fn measure<W: Measuring>(&self, work: W) -> W::Outcome {
        match (self.alpha, self.blending) {
            (Alpha::Straight, Blending::Encoded) => work.run(
                #[inline(always)]
                |a, b| straight(a, b),
            ),
            (Alpha::Premultiplied, Blending::Encoded) => work.run(
                #[inline(always)]
                |a, b| premultiplied(a, b),
            ),
            (alpha, Blending::Linear) => work.run(move |a, b| in_light(alpha, a, b)),
        }
    }
}

/// The largest of three channels' distances, in 8-bit steps.
#[inline(always)]
pub(super) fn steps(gap: f32x4) -> f32 {
    let [r, g, b, _] = gap.to_array();
    r.max(g).max(b) * 255.0
}

#[inline(always)]
fn opacity(texel: f32x4) -> f32x4 {
    f32x4::splat(texel.to_array()[3])
}

#[inline(always)]
fn straight(a: f32x4, b: f32x4) -> f32x4 {
    let (over_a, over_b) = (opacity(a), opacity(b));
    let gap = a * over_a - b * over_b;
    gap.abs().fast_max((gap - (over_a - over_b)).abs())
}

#[inline(always)]
fn premultiplied(a: f32x4, b: f32x4) -> f32x4 {
    let gap = a - b;
    gap.abs().fast_max((gap - (opacity(a) - opacity(b))).abs())
}

fn in_light(alpha: Alpha, a: f32x4, b: f32x4) -> f32x4 {
    let [a, b] = [a, b].map(f32x4::to_array);
    let light = |texel: [f32; 4], channel: usize| match alpha {
        Alpha::Straight => texel[channel] * texel[3],
        Alpha::Premultiplied => texel[channel],
    };
    let gap = |channel: usize| {
        let (p, q) = (light(a, channel), light(b, channel));
        (encode(p) - encode(q)).abs().max((encode(p + 1.0 - a[3]) - encode(q + 1.0 - b[3])).abs())
    };
    f32x4::from([gap(0), gap(1), gap(2), 0.0])
}

/// Steps of the tables below: finer than 16-bit codes.
const STEPS: usize = 65_536;

/// (decoded, encoded) by code; IEC 61966-2-1.
static CURVES: LazyLock<(Vec<f32>, Vec<f32>)> = LazyLock::new(|| {
    let value = |at: usize| at as f32 / STEPS as f32;
    (
        (0..=STEPS).map(|at| crate::base::colour::Srgb([value(at); 3]).linear().0[0]).collect(),
        (0..=STEPS).map(|at| Linear([value(at); 3]).encode().0[0]).collect(),
    )
});

#[inline]
fn decode(value: f32) -> f32 {
    CURVES.0[(value.clamp(0.0, 1.0) * STEPS as f32 + 0.5) as usize]
}

#[inline]
fn encode(value: f32) -> f32 {
    CURVES.1[(value.clamp(0.0, 1.0) * STEPS as f32 + 0.5) as usize]
}

/// From stored codes to the values that the renderer filters and mixes: linear light where it mixes so, which is what a texture
/// marked as sRGB is decoded to before it is filtered.
pub fn enter([r, g, b, alpha]: [f32; 4], blending: Blending) -> [f32; 4] {
    match blending {
        Blending::Encoded => [r, g, b, alpha],
        Blending::Linear => [decode(r), decode(g), decode(b), alpha],
    }
}

/// The way back.
pub fn leave([r, g, b, alpha]: [f32; 4], blending: Blending) -> [f32; 4] {
    match blending {
        Blending::Encoded => [r, g, b, alpha],
        Blending::Linear => [encode(r), encode(g), encode(b), alpha],
    }
}

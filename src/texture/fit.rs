//! The smallest texture of a sheet that still draws within a stated error.

use super::resample::{Axis, Image};
use crate::colour::Linear;
use crate::scene::{Alpha, Blending};
use rayon::prelude::*;
use std::sync::LazyLock;

/// How far apart two texels draw at most, over black and over white, which bound what lies between; in 8-bit steps. Texels are in
/// the space that the renderer mixes in ([`enter`]).
#[derive(Clone, Copy)]
pub struct Gauge {
    alpha: Alpha,
    blending: Blending,
}

impl Gauge {
    /// For texels stored as `alpha` says and a renderer that mixes as `blending` says.
    pub fn new(alpha: Alpha, blending: Blending) -> Gauge {
        Gauge { alpha, blending }
    }

    /// The distance of two texels.
    #[inline]
    pub fn between(&self, a: [f32; 4], b: [f32; 4]) -> f32 {
        let mut most = 0.0_f32;
        for channel in 0..3 {
            let (over_black, over_white) = match (self.alpha, self.blending) {
                (Alpha::Straight, Blending::Encoded) => {
                    let gap = a[channel] * a[3] - b[channel] * b[3];
                    (gap, gap - (a[3] - b[3]))
                }
                (Alpha::Premultiplied, Blending::Encoded) => {
                    let gap = a[channel] - b[channel];
                    (gap, gap - (a[3] - b[3]))
                }
                (alpha, Blending::Linear) => {
                    let light = |texel: [f32; 4]| match alpha {
                        Alpha::Straight => texel[channel] * texel[3],
                        Alpha::Premultiplied => texel[channel],
                    };
                    let (p, q) = (light(a), light(b));
                    (encode(p) - encode(q), encode(p + 1.0 - a[3]) - encode(q + 1.0 - b[3]))
                }
            };
            most = most.max(over_black.abs()).max(over_white.abs());
        }
        most * 255.0
    }

    /// The distance of two pictures of one size.
    pub fn most(&self, a: &Image, b: &Image) -> f32 {
        a.data
            .par_chunks(4096)
            .zip(b.data.par_chunks(4096))
            .map(|(a, b)| a.iter().zip(b).map(|(a, b)| self.between(*a, *b)).fold(0.0, f32::max))
            .reduce(|| 0.0, f32::max)
    }
}

const STEPS: usize = 65_536;

/// (decoded, encoded) by code; IEC 61966-2-1.
static CURVES: LazyLock<(Vec<f32>, Vec<f32>)> = LazyLock::new(|| {
    let value = |at: usize| at as f32 / STEPS as f32;
    (
        (0..=STEPS).map(|at| crate::colour::Srgb([value(at); 3]).linear().0[0]).collect(),
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

/// Shares of the error that are tried for the width; the height has the rest.
const SHARES: [f32; 5] = [0.3, 0.45, 0.6, 0.75, 0.9];

/// The size, not over that of `image`, with the fewest texels of those tried that draws within `most` steps.
///
/// Each axis is searched by itself on every few lines, since tents draw the axes one after the other; the outcome is then
/// measured whole and grown until it holds.
pub fn smallest(image: &Image, wraps: bool, most: f64, gauge: Gauge) -> [usize; 2] {
    let most = most as f32;
    let [width, height] = image.size;
    let rows = image.sparse(height / 160);
    let columns = image.turned().sparse(width / 320);
    let mut found: Vec<[usize; 2]> = SHARES
        .iter()
        .map(|share| {
            [along(&rows, wraps, most * share, gauge), along(&columns, false, most * (1.0 - share), gauge)]
        })
        .collect();
    found.push([along(&rows, wraps, most, gauge), height]);
    found.push([width, along(&columns, false, most, gauge)]);
    found.sort_by_key(|size| size[0] * size[1]);
    found.dedup();
    for mut size in found {
        // What a few lines don't show costs a few per cent.
        for _ in 0..6 {
            if size[0] * size[1] >= width * height {
                break;
            }
            if error(image, size, wraps, gauge) <= most {
                return size;
            }
            let grown = |side: usize, full: usize| (side + side / 24 + 1).min(full);
            size = [grown(size[0], width), grown(size[1], height)];
        }
    }
    image.size
}

/// How far `image`, stored at `size`, is drawn from itself.
pub fn error(image: &Image, size: [usize; 2], wraps: bool, gauge: Gauge) -> f32 {
    let stored = store(image, size, wraps);
    gauge.most(&draw(&stored, image.size, wraps), image)
}

/// `image` at `size`.
pub fn store(image: &Image, size: [usize; 2], wraps: bool) -> Image {
    let across = Axis::new(image.size[0], size[0], wraps);
    let down = Axis::new(image.size[1], size[1], false);
    image.stored(&across).turned().stored(&down).turned()
}

fn draw(stored: &Image, size: [usize; 2], wraps: bool) -> Image {
    let across = Axis::new(size[0], stored.size[0], wraps);
    let down = Axis::new(size[1], stored.size[1], false);
    stored.turned().drawn(&down).turned().drawn(&across)
}

/// Fewest texels along x at which the lines of `image` are drawn within `most`; those of `image` if no fewer do.
fn along(image: &Image, wraps: bool, most: f32, gauge: Gauge) -> usize {
    let full = image.size[0];
    let holds = |to: usize| {
        let axis = Axis::new(full, to, wraps);
        gauge.most(&image.stored(&axis).drawn(&axis), image) <= most
    };
    let (mut fails, mut works) = (if wraps { 3 } else { 1 }, full);
    if fails >= full {
        return full;
    }
    if holds(fails) {
        return fails;
    }
    while works - fails > 1 + works / 64 {
        // Halving the ratio, not the difference: the error goes with the square of the stretch.
        let middle = ((fails as f64 * works as f64).sqrt() as usize).clamp(fails + 1, works - 1);
        if holds(middle) { works = middle } else { fails = middle }
    }
    works
}

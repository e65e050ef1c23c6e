//! The smallest texture of a sheet that still draws within a stated error.

use crate::base::colour::Linear;
use crate::base::words::{Alpha, Blending};
use crate::output::texture::resample::{Axis, Ends, Image};
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

/// Shares of the error that are tried for the width; the height has the rest.
const SHARES: [f32; 5] = [0.3, 0.45, 0.6, 0.75, 0.9];

/// How far apart texels are drawn, in texels of the view, that are tried first. With even ratios no drawn texel stands on a stored
/// one, where tents miss most.
const EVEN: [usize; 10] = [64, 48, 32, 24, 16, 12, 8, 6, 4, 2];

/// The ends of a picture's width, where those of its height are `tall`.
fn ends(wraps: bool, tall: Ends) -> Ends {
    if wraps { Ends::Wrap } else { tall }
}

/// The size, not over that of `image`, with the fewest texels of those tried that draws within `most` steps; `tall` are the ends of
/// its height, and of its width where it doesn't wrap.
///
/// Each axis is searched by itself on every few lines, since tents draw the axes one after the other; the outcome is then
/// measured whole and grown until it holds.
pub fn smallest(image: &Image, wraps: bool, tall: Ends, most: f64, gauge: Gauge) -> [usize; 2] {
    let most = most as f32;
    let [width, height] = image.size;
    let rows = image.sparse(height / 160);
    let columns = image.turned().sparse(width / 320);
    let mut found = vec![
        [along(&rows, ends(wraps, tall), most, gauge), height],
        [width, along(&columns, tall, most, gauge)],
    ];
    for share in SHARES {
        let down = along(&columns, tall, most * (1.0 - share), gauge);
        found.push([along(&rows, ends(wraps, tall), most * share, gauge), down]);
    }
    found.sort_by_key(|size| size[0] * size[1]);
    found.dedup();
    for mut size in found {
        // What a few lines don't show costs a few per cent.
        for _ in 0..6 {
            if size[0] * size[1] >= width * height {
                break;
            }
            if error(image, size, wraps, tall, gauge) <= most {
                return size;
            }
            let grown = |side: usize, full: usize| (side + side / 24 + 1).min(full);
            size = [grown(size[0], width), grown(size[1], height)];
        }
    }
    image.size
}

/// How far `image`, stored at `size`, is drawn from itself.
pub fn error(image: &Image, size: [usize; 2], wraps: bool, tall: Ends, gauge: Gauge) -> f32 {
    let stored = store(image, size, wraps, tall);
    let across = Axis::new(image.size[0], size[0], ends(wraps, tall));
    let down = Axis::new(image.size[1], size[1], tall);
    gauge.most(&stored.turned().drawn(&down).turned().drawn(&across), image)
}

/// `image` at `size`.
pub fn store(image: &Image, size: [usize; 2], wraps: bool, tall: Ends) -> Image {
    let across = Axis::new(image.size[0], size[0], ends(wraps, tall));
    let down = Axis::new(image.size[1], size[1], tall);
    image.stored(&across).turned().stored(&down).turned()
}

/// Fewest texels along x at which the lines of `image` are drawn within `most`; those of `image` if no fewer do.
fn along(image: &Image, ends: Ends, most: f32, gauge: Gauge) -> usize {
    let full = image.size[0];
    let least = if ends == Ends::Inner { 1 } else { 3 };
    let holds = |to: usize| {
        let axis = Axis::new(full, to, ends);
        gauge.most(&image.stored(&axis).drawn(&axis), image) <= most
    };
    let (mut fails, mut works) = (least, full);
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
    let even = EVEN.into_iter().filter(|ratio| full.is_multiple_of(*ratio)).map(|ratio| match ends {
        Ends::Beyond => full / ratio + 2,
        Ends::Wrap | Ends::Inner => full / ratio,
    });
    even.filter(|to| (least..works).contains(to)).find(|to| holds(*to)).unwrap_or(works)
}

/// Rows of a block; bands are whole blocks.
pub const BLOCK: usize = 16;

/// Most bands of a picture.
const BANDS: usize = 4;

/// What a further band must save of the texels to be worth a file.
const WORTH: f64 = 0.8;

/// Where to cut `image` across into bands that are stored at sizes of their own: their first rows, the first being 0. Fog is often
/// sharp along its line and plain elsewhere.
///
/// Both axes are looked at by themselves, block by block; the cut is that with the fewest texels.
pub fn bands(image: &Image, wraps: bool, most: f64, gauge: Gauge) -> Vec<usize> {
    let [width, height] = image.size;
    let count = height.div_ceil(BLOCK);
    let columns = image.turned().sparse(width / 320);
    let lines = image.sparse(BLOCK / 4);
    let missed = |image: &Image, to: usize, ends: Ends| {
        let axis = Axis::new(image.size[0], to, ends);
        image.stored(&axis).drawn(&axis)
    };
    let ratios = || EVEN.into_iter().chain([3, 1]);
    let mut across: Vec<(f64, Vec<f32>)> = Vec::new();
    let mut down: Vec<(f64, Vec<f32>)> = Vec::new();
    for ratio in ratios() {
        if ratio == 1 {
            across.push((1.0, vec![0.0; count]));
            down.push((1.0, vec![0.0; count]));
            continue;
        }
        if width / ratio >= 3 {
            let ends = ends(wraps, Ends::Beyond);
            let drawn = missed(&lines, width / ratio + if wraps { 0 } else { 2 }, ends);
            let mut most = vec![0.0_f32; count];
            for y in 0..lines.size[1] {
                let block = &mut most[y * (BLOCK / 4) / BLOCK];
                for (a, b) in drawn.row(y).iter().zip(lines.row(y)) {
                    *block = block.max(gauge.between(*a, *b));
                }
            }
            across.push((ratio as f64, most));
        }
        if height / ratio >= 3 {
            let drawn = missed(&columns, height / ratio + 2, Ends::Beyond);
            let mut most = vec![0.0_f32; count];
            for x in 0..columns.size[1] {
                for (y, (a, b)) in drawn.row(x).iter().zip(columns.row(x)).enumerate() {
                    most[y / BLOCK] = most[y / BLOCK].max(gauge.between(*a, *b));
                }
            }
            down.push((ratio as f64, most));
        }
    }
    let cost = |from: usize, to: usize| {
        let worst = |(ratio, missed): &(f64, Vec<f32>)| {
            (*ratio, missed[from..to].iter().copied().fold(0.0, f32::max))
        };
        let down: Vec<(f64, f32)> = down.iter().map(worst).collect();
        let rows = ((to * BLOCK).min(height) - from * BLOCK) as f64;
        let mut least = f64::INFINITY;
        for (wide, missed) in across.iter().map(worst) {
            for (tall, also) in &down {
                if f64::from(missed + also) <= most {
                    least = least.min((rows / tall + 2.0) * (width as f64 / wide));
                }
            }
        }
        least
    };
    let costs: Vec<Vec<f64>> = (0..count)
        .into_par_iter()
        .map(|from| (from + 1..=count).map(|to| cost(from, to)).collect())
        .collect();
    // The least for the first blocks in so many bands, and where the last of these begins.
    let mut least: Vec<Vec<(f64, usize)>> = vec![(1..=count).map(|to| (costs[0][to - 1], 0)).collect()];
    for bands in 1..BANDS.min(count) {
        let before = &least[bands - 1];
        let last = |to: usize| {
            let cut = |from: usize| (before[from - 1].0 + costs[from][to - from - 1], from);
            (1..to).map(cut).min_by(|a, b| a.0.total_cmp(&b.0)).unwrap_or((f64::INFINITY, 0))
        };
        least.push((1..=count).map(last).collect());
    }
    let mut bands = 0;
    for more in 1..least.len() {
        if least[more][count - 1].0 < WORTH.powi((more - bands) as i32) * least[bands][count - 1].0 {
            bands = more;
        }
    }
    let (mut cuts, mut to) = (Vec::new(), count);
    for bands in (0..=bands).rev() {
        to = least[bands][to - 1].1;
        cuts.push(to * BLOCK);
    }
    cuts.reverse();
    cuts
}

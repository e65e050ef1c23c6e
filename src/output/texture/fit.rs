//! The smallest texture of a sheet that still draws within a stated error.

use crate::base::colour::Linear;
use crate::base::words::{Alpha, Blending};
use crate::output::texture::resample::{Axis, Ends, Image};
use rayon::prelude::*;
use std::collections::BTreeMap;
use std::sync::LazyLock;

/// How far apart two texels draw at most, over black and over white, which bound what lies between; in 8-bit steps. Texels are in
/// the space that the renderer mixes in ([`enter`]).
#[derive(Clone, Copy)]
pub struct Difference {
    alpha: Alpha,
    blending: Blending,
}

impl Difference {
    /// For texels stored as `alpha` says and a renderer that mixes as `blending` says.
    pub fn new(alpha: Alpha, blending: Blending) -> Difference {
        Difference { alpha, blending }
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

    /// The distance of two rows: as an error if it is over `most`.
    fn row_within(&self, a: &[[f32; 4]], b: &[[f32; 4]], most: f32) -> Result<f32, f32> {
        let error = a.iter().zip(b).map(|(a, b)| self.between(*a, *b)).fold(0.0, f32::max);
        if error <= most { Ok(error) } else { Err(error) }
    }
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

/// Rows and columns that are looked at in a search, about; the outcome is measured on all. Chosen by eye.
const ROWS: usize = 160;
const COLUMNS: usize = 320;

/// How often a size that draws too far off grows, by a `GROWTH`th of each side. Chosen by eye.
const GROWTHS: usize = 6;
const GROWTH: usize = 24;

/// Shares of the error that are tried for the width; the height has the rest. Chosen by eye.
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
pub fn smallest(image: &Image, wraps: bool, tall: Ends, most: f64, difference: Difference) -> [usize; 2] {
    let most = most as f32;
    let [width, height] = image.size;
    let lines = |image, ends| Lines { image, ends, difference, known: BTreeMap::new() };
    let mut rows = lines(image.every_nth_row(height / ROWS), ends(wraps, tall));
    let mut columns = lines(image.transposed().every_nth_row(width / COLUMNS), tall);
    let mut found = vec![[rows.fewest(most), height], [width, columns.fewest(most)]];
    for share in SHARES {
        let down = columns.fewest(most * (1.0 - share));
        found.push([rows.fewest(most * share), down]);
    }
    found.sort_by_key(|size| size[0] * size[1]);
    found.dedup();
    for mut size in found {
        // What a few lines don't show costs a few per cent.
        for _ in 0..GROWTHS {
            if size[0] * size[1] >= width * height {
                break;
            }
            if holds(image, size, wraps, tall, most, difference) {
                return size;
            }
            let grown = |side: usize, full: usize| (side + side / GROWTH + 1).min(full);
            size = [grown(size[0], width), grown(size[1], height)];
        }
    }
    image.size
}

/// Whether `image`, stored at `size`, is drawn within `most` steps of itself.
fn holds(
    image: &Image,
    size: [usize; 2],
    wraps: bool,
    tall: Ends,
    most: f32,
    difference: Difference,
) -> bool {
    let stored = store(image, size, wraps, tall);
    let across = Axis::new(image.size[0], size[0], ends(wraps, tall));
    let down = Axis::new(image.size[1], size[1], tall);
    let tall = stored.transposed().drawn(&down).transposed();
    tall.each_drawn(&across, |y, drawn| difference.row_within(drawn, image.row(y), most)).is_ok()
}

/// `image` at `size`.
pub fn store(image: &Image, size: [usize; 2], wraps: bool, tall: Ends) -> Image {
    let across = Axis::new(image.size[0], size[0], ends(wraps, tall));
    let down = Axis::new(image.size[1], size[1], tall);
    image.stored(&across).transposed().stored(&down).transposed()
}

/// How far lines are drawn from themselves that are stored in so many texels.
#[derive(Clone, Copy)]
enum Known {
    /// By so much at most.
    Exactly(f32),
    /// By more than so much somewhere: whoever looked went no farther.
    Over(f32),
}

/// Lines that are stored in ever fewer texels, and what is known of that.
struct Lines {
    image: Image,
    ends: Ends,
    difference: Difference,
    /// By texels of a line.
    known: BTreeMap<usize, Known>,
}

impl Lines {
    /// Fewest texels at which the lines are drawn within `most`; those that they have if no fewer do.
    fn fewest(&mut self, most: f32) -> usize {
        let full = self.image.size[0];
        let least = if self.ends == Ends::Inner { 1 } else { 3 };
        let (mut fails, mut works) = (least, full);
        if fails >= full {
            return full;
        }
        if self.holds(fails, most) {
            return fails;
        }
        while works - fails > 1 + works / 64 {
            // Halving the ratio, not the difference: the error goes with the square of the stretch.
            let middle = ((fails as f64 * works as f64).sqrt() as usize).clamp(fails + 1, works - 1);
            if self.holds(middle, most) { works = middle } else { fails = middle }
        }
        let beyond = if self.ends == Ends::Beyond { 2 } else { 0 };
        let even =
            EVEN.into_iter().filter(|ratio| full.is_multiple_of(*ratio)).map(|ratio| full / ratio + beyond);
        even.filter(|to| (least..works).contains(to)).find(|to| self.holds(*to, most)).unwrap_or(works)
    }

    /// Whether the lines, stored in `to` texels, are drawn within `most`.
    fn holds(&mut self, to: usize, most: f32) -> bool {
        match self.known.get(&to) {
            Some(Known::Exactly(error)) => return *error <= most,
            Some(Known::Over(error)) if *error >= most => return false,
            _ => {}
        }
        let Lines { image, ends, difference, .. } = self;
        let axis = Axis::new(image.size[0], to, *ends);
        let found = image.each_again(&axis, |y, drawn| difference.row_within(drawn, image.row(y), most));
        self.known.insert(to, found.map_or_else(Known::Over, Known::Exactly));
        found.is_ok()
    }
}

/// Rows of a block, texels; bands are whole blocks. Chosen by eye.
pub const BLOCK: usize = 16;

/// Rows from one that is looked at to the next, for the error along x.
const ROW_STEP: usize = BLOCK / 4;

/// Most bands of a picture: each is a file. Chosen by eye.
const BANDS: usize = 4;

/// What a further band must save of the texels to be worth a file. Chosen by eye.
const WORTH: f64 = 0.8;

/// Where to cut `image` across into bands that are stored at sizes of their own: their first rows, the first being 0. Fog is often
/// sharp along its line and plain elsewhere.
///
/// Both axes are looked at by themselves, block by block; the cut is that with the fewest texels.
pub fn bands(image: &Image, wraps: bool, most: f64, difference: Difference) -> Vec<usize> {
    let [width, height] = image.size;
    let count = height.div_ceil(BLOCK);
    let rows = image.every_nth_row(ROW_STEP);
    let across = block_errors(&rows, ends(wraps, Ends::Beyond), difference, count, |_, y| y * ROW_STEP);
    let columns = image.transposed().every_nth_row(width / COLUMNS);
    let down = block_errors(&columns, Ends::Beyond, difference, count, |x, _| x);
    let texels = |from: usize, to: usize| {
        let size = [width, (to * BLOCK).min(height) - from * BLOCK];
        fewest_texels(size, &worst(&across, from, to), &worst(&down, from, to), most)
    };
    let texels: Vec<Vec<f64>> = (0..count)
        .into_par_iter()
        .map(|from| (from + 1..=count).map(|to| texels(from, to)).collect())
        .collect();
    cheapest_cuts(&texels).into_iter().map(|block| block * BLOCK).collect()
}

/// A ratio of drawn to stored texels along an axis, and how far each block is drawn from itself at it.
struct BlockErrors {
    ratio: usize,
    errors: Vec<f32>,
}

/// The errors along the rows of `lines` at each ratio; `row` gives the row of the picture from a place in `lines`.
fn block_errors(
    lines: &Image,
    ends: Ends,
    difference: Difference,
    count: usize,
    row: impl Fn(usize, usize) -> usize,
) -> Vec<BlockErrors> {
    let width = lines.size[0];
    let beyond = if ends == Ends::Beyond { 2 } else { 0 };
    let mut all = Vec::new();
    for ratio in EVEN.into_iter().chain([3]).filter(|ratio| width / ratio >= 3) {
        let axis = Axis::new(width, width / ratio + beyond, ends);
        let drawn = lines.stored(&axis).drawn(&axis);
        let mut errors = vec![0.0_f32; count];
        for (at, (a, b)) in drawn.data.iter().zip(&lines.data).enumerate() {
            let block = &mut errors[row(at % width, at / width) / BLOCK];
            *block = block.max(difference.between(*a, *b));
        }
        all.push(BlockErrors { ratio, errors });
    }
    all.push(BlockErrors { ratio: 1, errors: vec![0.0; count] });
    all
}

/// Each ratio with its largest error in the blocks from `from` to before `to`.
fn worst(all: &[BlockErrors], from: usize, to: usize) -> Vec<(f64, f32)> {
    let most = |errors: &[f32]| errors[from..to].iter().copied().fold(0.0, f32::max);
    all.iter().map(|one| (one.ratio as f64, most(&one.errors))).collect()
}

/// The fewest texels for a band of this size whose errors along both axes come to no more than `most` together.
fn fewest_texels([width, rows]: [usize; 2], across: &[(f64, f32)], down: &[(f64, f32)], most: f64) -> f64 {
    let mut fewest = f64::INFINITY;
    for (wide, error) in across {
        for (tall, _) in down.iter().filter(|(_, also)| f64::from(error + also) <= most) {
            fewest = fewest.min((rows as f64 / tall + 2.0) * (width as f64 / wide));
        }
    }
    fewest
}

/// The first blocks of the bands with the fewest texels; `texels[from][to - from - 1]` are those of a band.
fn cheapest_cuts(texels: &[Vec<f64>]) -> Vec<usize> {
    let count = texels.len();
    // The fewest for the first blocks in so many bands, and where the last of these begins.
    let mut fewest: Vec<Vec<(f64, usize)>> = vec![texels[0].iter().map(|texels| (*texels, 0)).collect()];
    for bands in 1..BANDS.min(count) {
        let before = &fewest[bands - 1];
        let last = |to: usize| {
            let cut = |from: usize| (before[from - 1].0 + texels[from][to - from - 1], from);
            (1..to).map(cut).min_by(|a, b| a.0.total_cmp(&b.0)).unwrap_or((f64::INFINITY, 0))
        };
        fewest.push((1..=count).map(last).collect());
    }
    let mut bands = 0;
    for more in 1..fewest.len() {
        if fewest[more][count - 1].0 < WORTH.powi((more - bands) as i32) * fewest[bands][count - 1].0 {
            bands = more;
        }
    }
    let (mut cuts, mut to) = (Vec::new(), count);
    for bands in (0..=bands).rev() {
        to = fewest[bands][to - 1].1;
        cuts.push(to);
    }
    cuts.reverse();
    cuts
}

//! Where a picture is cut into bands that are stored at sizes of their own.

use crate::base::simd::vectorize;
use crate::output::texture::difference::Difference;
use crate::output::texture::difference::{Gap, Measuring, steps};
use crate::output::texture::fit::{Again, EVEN, ends, is_even};
use crate::output::texture::image::View;
use crate::output::texture::resample::{Axis, Ends, Scratch};
use ::wide::f32x4;
use rayon::prelude::*;
use std::cmp::Reverse;

/// Rows of a block, texels; bands are whole blocks. Chosen by eye.
pub const BLOCK: usize = 16;

/// Rows from one that is looked at to the next, for the error along x.
const ROW_STEP: usize = BLOCK / 2;

/// Most bands of a picture: each is a file. Chosen by eye.
const BANDS: usize = 4;

/// What a further band must save of the texels to be worth a file. Chosen by eye.
const WORTH: f64 = 0.8;

/// Share of the error that is allowed up to which a block counts as hardly off.
const HARDLY: f32 = 0.125;

/// Where to cut `image` across into bands that are stored at sizes of their own: their first rows, the first being 0. Fog is often
/// sharp along its line and plain elsewhere.
///
/// Both axes are looked at by themselves, block by block; the cut is that with the fewest texels. `columns` are some of its columns.
pub fn bands(
    image: View<'_>,
    columns: View<'_>,
    wraps: bool,
    most: f64,
    difference: Difference,
) -> Vec<usize> {
    let [width, height] = image.size;
    let count = height.div_ceil(BLOCK);
    let look = |lines, ends| Looked { lines, ends, difference, most: most as f32, count };
    let across = look(image, ends(wraps, Ends::Beyond)).at_ratios(Looked::rows_off);
    let down = look(columns, Ends::Beyond).at_ratios(Looked::columns_off);
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

/// A ratio of drawn to stored texels along an axis, and how far each block is drawn from itself at it; of what is too far, no more
/// than that it is.
struct BlockErrors {
    ratio: usize,
    errors: Vec<f32>,
}

/// Rows or columns of a picture that are looked at, which has `count` blocks.
struct Looked<'a> {
    lines: View<'a>,
    ends: Ends,
    difference: Difference,
    most: f32,
    count: usize,
}

impl Looked<'_> {
    /// What `off` says of the blocks at each ratio; of those it is told how far they were off at a larger one.
    fn at_ratios(&self, off: impl Fn(&Self, &Axis, &[f32]) -> Vec<f32>) -> Vec<BlockErrors> {
        let width = self.lines.size[0];
        let beyond = if self.ends == Ends::Beyond { 2 } else { 0 };
        let mut ratios: Vec<usize> = EVEN.into_iter().chain([3]).filter(|ratio| width / ratio >= 3).collect();
        ratios.sort_unstable_by_key(|ratio| Reverse(*ratio));
        let mut all: Vec<BlockErrors> = Vec::new();
        for ratio in ratios {
            let axis = Axis::new(width, width / ratio + beyond, self.ends);
            let unknown = vec![f32::INFINITY; self.count];
            let errors = off(self, &axis, all.last().map_or(&unknown, |larger| &larger.errors));
            all.push(BlockErrors { ratio, errors });
        }
        all.push(BlockErrors { ratio: 1, errors: vec![0.0; self.count] });
        all
    }

    /// How far the rows of each block are off. The error goes with the square of the stretch: what is hardly off at a larger one is no
    /// farther off here.
    fn rows_off(&self, axis: &Axis, larger: &[f32]) -> Vec<f32> {
        let off = |scratch: &mut Scratch, block: usize| {
            if larger[block] <= HARDLY * self.most {
                return larger[block];
            }
            let rows = (block * BLOCK..(block + 1) * BLOCK).step_by(ROW_STEP);
            let mut farthest = 0.0_f32;
            for line in rows.take_while(|y| *y < self.lines.size[1]).map(|y| self.lines.row(y)) {
                if is_even(line) {
                    continue;
                }
                let again = Again { axis, line, scratch, most: self.most };
                farthest = farthest.max(self.difference.measure(again));
                if farthest > self.most {
                    break;
                }
            }
            farthest
        };
        (0..self.count).into_par_iter().map_init(Scratch::default, off).collect()
    }

    /// How far the columns, each a row of `lines`, are off in each block.
    fn columns_off(&self, axis: &Axis, _: &[f32]) -> Vec<f32> {
        let none = || vec![0.0; self.count];
        let off = |(mut scratch, mut errors): (Scratch, Vec<f32>), y: usize| {
            let line = self.lines.row(y);
            self.difference.measure(Blocks { axis, line, scratch: &mut scratch, errors: &mut errors });
            (scratch, errors)
        };
        let farther = |mut a: Vec<f32>, b: Vec<f32>| {
            a.iter_mut().zip(b).for_each(|(a, b)| *a = a.max(b));
            a
        };
        let lines = (0..self.lines.size[1]).into_par_iter();
        lines.fold(|| (Scratch::default(), none()), off).map(|(_, errors)| errors).reduce(none, farther)
    }
}

/// A line that is stored by the axis and drawn again: how far it is off in each block, where that is more than is known.
struct Blocks<'a> {
    axis: &'a Axis,
    line: &'a [[f32; 4]],
    scratch: &'a mut Scratch,
    errors: &'a mut [f32],
}

impl Measuring for Blocks<'_> {
    type Outcome = ();

    #[inline(always)]
    fn run(self, gap: impl Gap) {
        vectorize(
            #[inline(always)]
            || {
                let drawn = self.axis.again(self.line, self.scratch);
                let blocks = drawn.chunks(BLOCK).zip(self.line.chunks(BLOCK));
                for (error, (drawn, line)) in self.errors.iter_mut().zip(blocks) {
                    let mut farthest = f32x4::splat(0.0);
                    for (a, b) in drawn.iter().zip(line) {
                        farthest = farthest.fast_max(gap(f32x4::from(*a), f32x4::from(*b)));
                    }
                    *error = error.max(steps(farthest));
                }
            },
        );
    }
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

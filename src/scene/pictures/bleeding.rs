//! Alpha bleeding: colour where alpha is low or 0, so that a renderer's own filtering draws no fringe.
//!
//! A premultiplied value of n bits says little about the colour under a low alpha, and nothing under 0. Each texel keeps
//! the colours that its value allows; within them it takes the one nearest to its neighbours'. What is drawn
//! source-over stays the same to within the value's own rounding.

use crate::base::picture::Picture;
use crate::base::simd::vectorize;
use std::cell::Cell;

/// The straight colours that a premultiplied value allows, 16 bits, both ends included.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Doubt {
    low: [u16; 3],
    high: [u16; 3],
}

impl Doubt {
    /// For premultiplied `colour` under `alpha`, integers on the same scale; each colour is known to half a step plus
    /// `error` steps.
    pub fn new(colour: [u16; 3], alpha: u16, error: u16) -> Doubt {
        if alpha == 0 {
            return Doubt { low: [0; 3], high: [u16::MAX; 3] };
        }
        let (alpha, error) = (u64::from(alpha), u64::from(error));
        // In half steps, so that the arithmetic is whole; 16-bit codes of value / alpha.
        let code = |halves: u64| (halves * 65535 / (2 * alpha)).min(65535) as u16;
        Doubt {
            low: colour.map(|value| code((2 * u64::from(value)).saturating_sub(1 + 2 * error))),
            high: colour.map(|value| code(2 * u64::from(value) + 1 + 2 * error)),
        }
    }

    /// The same through a rising curve.
    pub fn encoded(self, curve: impl Fn(u16) -> u16) -> Doubt {
        Doubt { low: self.low.map(&curve), high: self.high.map(&curve) }
    }

    /// How wide the range is, 16-bit steps.
    fn width(self) -> u16 {
        (0..3).map(|i| self.high[i] - self.low[i]).max().unwrap_or(0)
    }
}

/// Widths of doubt, 16-bit steps.
#[derive(Clone, Copy, Debug)]
pub(super) struct Trust {
    /// Up to which a colour counts as known.
    pub known: u16,
    /// From which on it comes from afar rather than from doubtful neighbours.
    pub blind: u16,
}

/// A row of a picture before colours bleed.
#[derive(Default)]
pub(super) struct Row {
    pub texels: Vec<[u16; 4]>,
    /// Whose colour is known: of no clear texel.
    pub sure: Vec<bool>,
}

impl Row {
    /// Makes it a row of these texels.
    pub fn fill(&mut self, texels: impl Iterator<Item = ([u16; 4], bool)>) {
        self.texels.clear();
        self.sure.clear();
        texels.for_each(|(texel, sure)| {
            self.texels.push(texel);
            self.sure.push(sure);
        });
    }
}

/// A picture whose colours are to bleed. Rows are asked for more than once: less is held, and most of them are quick to find out.
pub(super) trait Doubtful {
    /// Width and height in texels; neither is 0.
    fn size(&self) -> [usize; 2];
    /// Writes row `y` over what is in `row`.
    fn row(&self, y: usize, row: &mut Row);
    /// What the value of a texel that isn't sure allows, by its place among all.
    fn doubt(&self, at: usize) -> Doubt;
}

/// Hands each row to `take`, from the top, with the colours filled in that aren't known. With `wraps`, the left and right edges are
/// neighbours.
///
/// A texel takes the mean of its neighbours whose colour is known; failing that, the mean of all of them if it isn't
/// blind; else that of the known texels in the smallest block around it that has any.
pub(super) fn bled(
    picture: &impl Doubtful,
    trust: Trust,
    wraps: bool,
    take: &mut dyn FnMut(usize, &mut [[u16; 4]]),
) {
    let [width, height] = picture.size();
    let (mut near, mut afar) = (Near::new(width, wraps), None);
    let (mut close, mut row) = (vec![false; width], Vec::with_capacity(width));
    for y in 0..height {
        near.go_to(picture, y, height);
        row.clear();
        row.extend_from_slice(&near.rows[1].texels);
        if near.rows[1].sure.contains(&false) {
            near.close(&mut close);
            let afar = afar.get_or_insert_with(|| Afar::new(picture));
            fill(&mut row, y, (picture, trust), &near, &close, afar);
        }
        take(y, &mut row);
    }
}

/// Fills in the colours of row `y`, which is in the middle of `near`; `close` are those that a known one is next to.
fn fill(
    row: &mut [[u16; 4]],
    y: usize,
    (picture, trust): (&impl Doubtful, Trust),
    near: &Near,
    close: &[bool],
    afar: &Afar,
) {
    let width = row.len();
    // Nothing is known anywhere, and nothing is here.
    if afar.is_empty() && near.is_clear() {
        return;
    }
    for x in 0..width {
        if near.rows[1].sure[x] {
            continue;
        }
        let [.., alpha] = row[x];
        // Most of what isn't sure is clear, and far from all that is.
        if alpha == 0
            && !close[x]
            && let Some([r, g, b]) = afar.colour(x, y)
        {
            row[x] = [r, g, b, 0];
            continue;
        }
        let doubt = picture.doubt(y * width + x);
        let all = || near.mean(x, |_, _| true);
        let wanted = if close[x] { near.mean(x, |row, x| row.sure[x]) } else { None };
        let wanted = wanted
            .or_else(|| if doubt.width() < trust.blind { all() } else { None })
            .or_else(|| afar.colour(x, y))
            .or_else(all);
        let [r, g, b, _] = row[x];
        let wanted = wanted.unwrap_or([r, g, b]);
        let [r, g, b] = [0, 1, 2].map(|i| wanted[i].clamp(doubt.low[i], doubt.high[i]));
        row[x] = [r, g, b, alpha];
    }
}

/// A picture whose colours are all known but under alpha 0.
struct Clear<'a> {
    size: [usize; 2],
    texels: &'a [Cell<[u16; 4]>],
}

impl Doubtful for Clear<'_> {
    fn size(&self) -> [usize; 2] {
        self.size
    }

    fn row(&self, y: usize, row: &mut Row) {
        let width = self.size[0];
        let texels = self.texels[y * width..][..width].iter().map(Cell::get);
        row.fill(texels.map(|texel| (texel, texel[3] > 0)));
    }

    fn doubt(&self, _: usize) -> Doubt {
        Doubt::new([0; 3], 0, 0)
    }
}

/// Fills in the colours under alpha 0; all others are known.
pub(super) fn bleed(picture: &mut Picture, wraps: bool) {
    let size = picture.size.map(|side| side as usize);
    // A row is replaced once it, and those next to it, were read; what is known of colours stays.
    let texels = Cell::from_mut(&mut *picture.texels).as_slice_of_cells();
    let mut take = |y: usize, row: &mut [[u16; 4]]| {
        texels[y * size[0]..].iter().zip(row).for_each(|(texel, bled)| texel.set(*bled));
    };
    bled(&Clear { size, texels }, Trust { known: 0, blind: 0 }, wraps, &mut take);
}

/// Whether the colour of a texel that leaves such a doubt counts as known.
pub(super) fn is_sure(doubt: Doubt, trust: Trust) -> bool {
    doubt.width() <= trust.known
}

/// Sum of colours times alpha, and of alpha.
type Sum = [f32; 4];

fn add(sum: &mut Sum, other: Sum) {
    for (sum, value) in sum.iter_mut().zip(other) {
        *sum += value;
    }
}

/// A row of a picture with those over and under it, as they were before any of them was filled in.
struct Near {
    width: usize,
    wraps: bool,
    /// Empty over the first and under the last.
    rows: [Row; 3],
}

impl Near {
    fn new(width: usize, wraps: bool) -> Near {
        Near { width, wraps, rows: Default::default() }
    }

    /// Goes on to row `y` of `height`, the one after the last.
    fn go_to(&mut self, picture: &impl Doubtful, y: usize, height: usize) {
        self.rows.rotate_left(1);
        if y == 0 {
            picture.row(0, &mut self.rows[1]);
        }
        if y + 1 < height {
            picture.row(y + 1, &mut self.rows[2]);
        } else {
            self.rows[2] = Row::default();
        }
    }

    /// Whether all three are.
    fn is_clear(&self) -> bool {
        self.rows.iter().flat_map(|row| &row.texels).all(|texel| texel[3] == 0)
    }

    /// Mean colour of the eight neighbours of the texel `x` and the texel, by alpha, of those that count, by row and column; none where
    /// these are all clear.
    fn mean(&self, x: usize, counts: impl Fn(&Row, usize) -> bool) -> Option<[u16; 3]> {
        let Near { width, wraps, rows } = self;
        let columns = [
            if x > 0 { Some(x - 1) } else { wraps.then(|| width - 1) },
            Some(x),
            if x + 1 < *width { Some(x + 1) } else { wraps.then_some(0) },
        ];
        let mut sums = [0u64; 4];
        for row in rows.iter().filter(|row| !row.texels.is_empty()) {
            for x in columns.into_iter().flatten().filter(|x| counts(row, *x)) {
                let [r, g, b, alpha] = row.texels[x].map(u64::from);
                for (sum, value) in sums.iter_mut().zip([r * alpha, g * alpha, b * alpha, alpha]) {
                    *sum += value;
                }
            }
        }
        let [r, g, b, alpha] = sums;
        (alpha > 0).then(|| [r, g, b].map(|sum| ((sum + alpha / 2) / alpha) as u16))
    }

    /// Which texels of the row have one that is sure among their eight neighbours and themselves. Over most of a picture's clear part
    /// there is none.
    fn close(&self, close: &mut [bool]) {
        let width = self.width;
        let mut column = vec![false; width];
        for row in &self.rows {
            column.iter_mut().zip(&row.sure).for_each(|(column, sure)| *column |= *sure);
        }
        let inner = close.len().min(1);
        for (close, three) in close[inner..].iter_mut().zip(column.windows(3)) {
            *close = three[0] | three[1] | three[2];
        }
        let (first, last) = (column[0], column[width - 1]);
        close[0] = first | column[1.min(width - 1)] | (self.wraps & last);
        close[width - 1] = last | column[width.saturating_sub(2)] | (self.wraps & first);
    }
}

struct Level {
    width: usize,
    sums: Vec<Sum>,
}

/// Sums of the texels that are sure, in blocks of 4 x 4: of the sums of 2 x 2, since blocks of 2 x 2 are neighbours of each other.
fn blocks(picture: &impl Doubtful) -> Level {
    let [width, height] = picture.size();
    let (pairs, across) = (width.div_ceil(2), width.div_ceil(4));
    let (mut row, mut small) = (Row::default(), vec![[0.0; 4]; pairs]);
    let mut sums = vec![[0.0; 4]; across * height.div_ceil(4)];
    let mut any = false;
    for y in 0..height {
        picture.row(y, &mut row);
        if row.sure.contains(&true) {
            any = true;
            vectorize(
                #[inline(always)]
                || add_row(&mut small, &row),
            );
        }
        if any && (y % 2 == 1 || y + 1 == height) {
            let sums = &mut sums[y / 4 * across..][..across];
            small.iter().enumerate().for_each(|(at, sum)| add(&mut sums[at / 2], *sum));
            small.fill([0.0; 4]);
            any = false;
        }
    }
    Level { width: across, sums }
}

/// Adds the texels of a row that are sure to the sums of each two of them.
#[inline(always)]
fn add_row(sums: &mut [Sum], row: &Row) {
    for ((sum, texels), sure) in sums.iter_mut().zip(row.texels.chunks(2)).zip(row.sure.chunks(2)) {
        for (texel, _) in texels.iter().zip(sure).filter(|(_, sure)| **sure) {
            let [r, g, b, alpha] = texel.map(f32::from);
            add(sum, [r * alpha, g * alpha, b * alpha, alpha]);
        }
    }
}

/// Blocks of 4 x 4, and then of 2 x 2 of those before, up to one for all.
fn pyramid(picture: &impl Doubtful) -> Vec<Level> {
    let mut levels = vec![blocks(picture)];
    while let Some(Level { width, sums }) = levels.last()
        && sums.len() > 1
    {
        let (across, height) = (width.div_ceil(2), sums.len() / width);
        let mut larger = vec![[0.0; 4]; across * height.div_ceil(2)];
        for (y, row) in sums.chunks_exact(*width).enumerate() {
            let larger = &mut larger[y / 2 * across..][..across];
            row.iter().enumerate().for_each(|(x, sum)| add(&mut larger[x / 2], *sum));
        }
        levels.push(Level { width: across, sums: larger });
    }
    levels
}

/// For each block of 4 x 4 texels the mean colour of the smallest block of the pyramid around it that has any sum.
struct Afar {
    width: usize,
    colours: Vec<Option<[u16; 3]>>,
}

impl Afar {
    fn new(picture: &impl Doubtful) -> Afar {
        let mut afar = Afar { width: 1, colours: vec![None] };
        // From the one block around all of it down.
        for Level { width, sums } in pyramid(picture).into_iter().rev() {
            let own = |at: usize, [r, g, b, alpha]: Sum| {
                if alpha > 0.0 {
                    Some([r, g, b].map(|sum| (sum / alpha + 0.5) as u16))
                } else {
                    afar.colours[at / width / 2 * afar.width + at % width / 2]
                }
            };
            let colours = sums.into_iter().enumerate().map(|(at, sum)| own(at, sum)).collect();
            afar = Afar { width, colours };
        }
        afar
    }

    /// Whether nothing is sure.
    fn is_empty(&self) -> bool {
        self.colours[0].is_none()
    }

    /// That around a texel next to none that is sure.
    #[inline]
    fn colour(&self, x: usize, y: usize) -> Option<[u16; 3]> {
        self.colours[y / 4 * self.width + x / 4]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A picture with a few texels of colour in it, the same for the same `turn`.
    fn picture(size: [u32; 2], turn: u32) -> Picture {
        let mut state = turn + 1;
        let mut next = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (state >> 16) as u16
        };
        let texel = |_| {
            let [r, g, b, chance] = [next(), next(), next(), next()];
            if chance < 9_000 { [r, g, b, chance % 3 * 32_767] } else { [r, g, b, 0] }
        };
        Picture { size, deep: true, texels: (0..size[0] * size[1]).map(texel).collect() }
    }

    /// The mean colour by alpha of the texels of `picture` in a rectangle, wrapping along x; none where all are clear.
    fn mean(picture: &Picture, [from, to]: [[i64; 2]; 2], wraps: bool) -> Option<[f64; 3]> {
        let [width, height] = picture.size.map(i64::from);
        let mut sums = [0.0; 4];
        for y in from[1].max(0)..to[1].min(height) {
            for x in from[0]..to[0] {
                if wraps || (0..width).contains(&x) {
                    let texel = picture.texels[(y * width + x.rem_euclid(width)) as usize].map(f64::from);
                    for (sum, value) in sums.iter_mut().zip([texel[0], texel[1], texel[2], 1.0]) {
                        *sum += value * texel[3];
                    }
                }
            }
        }
        (sums[3] > 0.0).then(|| [0, 1, 2].map(|i| sums[i] / sums[3]))
    }

    #[test]
    fn clear_texels_take_the_mean_of_their_neighbours_or_of_the_smallest_block_around_them() {
        for (turn, size) in
            [[1, 1], [2, 1], [1, 7], [2, 5], [3, 3], [17, 9], [40, 33], [64, 64]].into_iter().enumerate()
        {
            for wraps in [false, true] {
                let before = picture(size, turn as u32);
                let mut after = before.clone();
                bleed(&mut after, wraps && size[0] > 2);
                for (at, (old, new)) in before.texels.iter().zip(&after.texels).enumerate() {
                    if old[3] > 0 || before.texels.iter().all(|texel| texel[3] == 0) {
                        assert_eq!(old, new);
                        continue;
                    }
                    let [x, y] = [at as u32 % size[0], at as u32 / size[0]].map(i64::from);
                    let block = |step: u32| {
                        let from = [x >> step << step, y >> step << step];
                        mean(&before, [from, from.map(|start| start + (1 << step))], false)
                    };
                    let around = mean(&before, [[x - 1, y - 1], [x + 2, y + 2]], wraps && size[0] > 2);
                    let wanted = around.or_else(|| (1..8).find_map(block)).expect("a colour");
                    for i in 0..3 {
                        let gap = (f64::from(new[i]) - wanted[i]).abs();
                        assert!(gap <= 1.0, "{size:?} at {x}, {y}: {new:?} for {wanted:?}");
                    }
                }
            }
        }
    }
}

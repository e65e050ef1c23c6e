//! Alpha bleeding: colour where alpha is low or 0, so that a renderer's own filtering draws no fringe.
//!
//! A premultiplied value of n bits says little about the colour under a low alpha, and nothing under 0. Each texel keeps
//! the colours that its value allows; within them it takes the one nearest to its neighbours'. What is drawn
//! source-over stays the same to within the value's own rounding.

use crate::base::picture::Picture;

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

/// Fills in the colours that aren't known, all but those that are `sure`; of others `doubt` tells what their value allows. With `wraps`,
/// the left and right edges are neighbours.
///
/// A texel takes the mean of its neighbours whose colour is known; failing that, the mean of all of them if it isn't
/// blind; else that of the known texels in the smallest block around it that has any.
pub(super) fn bleed_doubtful(
    picture: &mut Picture,
    sure: &[bool],
    doubt: impl Fn(usize) -> Doubt,
    trust: Trust,
    wraps: bool,
) {
    if sure.iter().all(|sure| *sure) || picture.texels.iter().all(|texel| texel[3] == 0) {
        return;
    }
    let afar = Afar::new(picture, sure);
    let [width, height] = picture.size.map(|side| side as usize);
    let (mut near, mut close) = (Near::new(width, wraps), vec![false; width]);
    for y in 0..height {
        near.go_to(picture, y);
        near.close(sure, y, &mut close);
        for x in (0..width).filter(|x| !sure[y * width + x]) {
            let at = y * width + x;
            let doubt = doubt(at);
            let all = || near.mean(x, |_| true);
            let wanted =
                if close[x] { near.mean(x, |(row, x)| sure[(y + row - 1) * width + x]) } else { None };
            let wanted = wanted
                .or_else(|| if doubt.width() < trust.blind { all() } else { None })
                .or_else(|| afar.colour(x, y))
                .or_else(all);
            let [r, g, b, _] = picture.texels[at];
            let wanted = wanted.unwrap_or([r, g, b]);
            let colour = [0, 1, 2].map(|i| wanted[i].clamp(doubt.low[i], doubt.high[i]));
            picture.texels[at][..3].copy_from_slice(&colour);
        }
    }
}

/// Fills in the colours under alpha 0; all others are known.
pub(super) fn bleed(picture: &mut Picture, wraps: bool) {
    let sure: Vec<bool> = picture.texels.iter().map(|texel| texel[3] > 0).collect();
    let nothing = |_| Doubt::new([0; 3], 0, 0);
    bleed_doubtful(picture, &sure, nothing, Trust { known: 0, blind: 0 }, wraps);
}

/// Whether the colour of a texel that leaves such a doubt counts as known.
pub(super) fn is_sure(doubt: Doubt, trust: Trust) -> bool {
    doubt.width() <= trust.known
}

/// Sum of colours times alpha, and of alpha.
type Sum = [f32; 4];

/// A row of a picture with those over and under it, as they were before any of them was filled in.
struct Near {
    width: usize,
    wraps: bool,
    /// None over the first and under the last: nothing.
    rows: [Vec<[u16; 4]>; 3],
}

impl Near {
    fn new(width: usize, wraps: bool) -> Near {
        Near { width, wraps, rows: Default::default() }
    }

    /// Goes on to row `y`, the one after the last.
    fn go_to(&mut self, picture: &Picture, y: usize) {
        let width = self.width;
        let row = |y: usize| picture.texels.get(y * width..(y + 1) * width).unwrap_or_default();
        self.rows.rotate_left(1);
        if y == 0 {
            self.rows[1] = row(0).to_vec();
        }
        self.rows[2].clear();
        self.rows[2].extend_from_slice(row(y + 1));
    }

    /// Mean colour of the eight neighbours of the texel `x` and the texel, by alpha, of those that count, by row and column; none where
    /// these are all clear.
    fn mean(&self, x: usize, counts: impl Fn((usize, usize)) -> bool) -> Option<[u16; 3]> {
        let Near { width, wraps, rows } = self;
        let columns = [
            if x > 0 { Some(x - 1) } else { wraps.then(|| width - 1) },
            Some(x),
            if x + 1 < *width { Some(x + 1) } else { wraps.then_some(0) },
        ];
        let mut sums = [0u64; 4];
        for (at, row) in rows.iter().enumerate().filter(|(_, row)| !row.is_empty()) {
            for x in columns.into_iter().flatten().filter(|x| counts((at, *x))) {
                let [r, g, b, alpha] = row[x].map(u64::from);
                for (sum, value) in sums.iter_mut().zip([r * alpha, g * alpha, b * alpha, alpha]) {
                    *sum += value;
                }
            }
        }
        let [r, g, b, alpha] = sums;
        (alpha > 0).then(|| [r, g, b].map(|sum| ((sum + alpha / 2) / alpha) as u16))
    }

    /// Which texels of row `y` have one that is sure, and not clear, among their eight neighbours and themselves. Over most of a picture's
    /// clear part there is none.
    fn close(&self, sure: &[bool], y: usize, close: &mut [bool]) {
        let width = self.width;
        let mut column = vec![false; width];
        for (at, row) in self.rows.iter().enumerate().filter(|(_, row)| !row.is_empty()) {
            let sure = &sure[(y + at - 1) * width..][..width];
            for ((column, texel), sure) in column.iter_mut().zip(row).zip(sure) {
                *column |= *sure & (texel[3] > 0);
            }
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

/// Each level sums 2 x 2 of the one before; the first does so with the texels that are sure.
fn pyramid(picture: &Picture, sure: &[bool]) -> Vec<Level> {
    let mut sides = picture.size.map(|side| side as usize);
    let mut levels: Vec<Level> = Vec::new();
    while levels.is_empty() || sides != [1, 1] {
        let [width, height] = sides;
        sides = sides.map(|side| side.div_ceil(2));
        let mut sums = vec![[0.0; 4]; sides[0] * sides[1]];
        let mut add = |x: usize, y: usize, value: Sum| {
            let sum: &mut Sum = &mut sums[y / 2 * sides[0] + x / 2];
            for (sum, value) in sum.iter_mut().zip(value) {
                *sum += value;
            }
        };
        for y in 0..height {
            for x in 0..width {
                add(
                    x,
                    y,
                    match levels.last() {
                        Some(level) => level.sums[y * width + x],
                        None if !sure[y * width + x] => [0.0; 4],
                        None => {
                            let [r, g, b, alpha] = picture.texels[y * width + x].map(f32::from);
                            [r * alpha, g * alpha, b * alpha, alpha]
                        }
                    },
                );
            }
        }
        levels.push(Level { width: sides[0], sums });
    }
    levels
}

/// For each block of 2 x 2 texels the mean colour of the smallest block of the pyramid around it that has any sum.
struct Afar {
    width: usize,
    colours: Vec<Option<[u16; 3]>>,
}

impl Afar {
    fn new(picture: &Picture, sure: &[bool]) -> Afar {
        let mut afar = Afar { width: 1, colours: vec![None] };
        // From the one block around all of it down.
        for Level { width, sums } in pyramid(picture, sure).into_iter().rev() {
            let own = |at: usize, [r, g, b, alpha]: Sum| {
                if alpha > 0.0 {
                    Some([r, g, b].map(|sum| (sum / alpha + 0.5) as u16))
                } else {
                    afar.colour(at % width, at / width)
                }
            };
            let colours = sums.into_iter().enumerate().map(|(at, sum)| own(at, sum)).collect();
            afar = Afar { width, colours };
        }
        afar
    }

    /// That around a texel, or around a block of the next smaller ones.
    fn colour(&self, x: usize, y: usize) -> Option<[u16; 3]> {
        self.colours[y / 2 * self.width + x / 2]
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

//! Colour where alpha is low or 0, so that a renderer's own filtering draws no fringe.
//!
//! A premultiplied value of n bits says little about the colour under a low alpha, and nothing under 0. Each texel keeps
//! the colours that its value allows; within them it takes the one nearest to its neighbours'. What is drawn
//! source-over stays the same to within the value's own rounding.

use super::Picture;

/// The straight colours that a premultiplied value allows, 16 bits, both ends included.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Doubt {
    low: [u16; 3],
    high: [u16; 3],
}

impl Doubt {
    /// For premultiplied `colour` under `alpha`, integers on the same scale; each colour is known to half a step plus
    /// `error` steps.
    pub fn of(colour: [u16; 3], alpha: u16, error: u16) -> Doubt {
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

    /// Whether the colour is not known to an 8-bit step, either way.
    fn matters(self) -> bool {
        (0..3).any(|i| self.high[i] - self.low[i] > 2 * 257)
    }
}

/// Settles the colours that are in doubt. With `wraps`, the left and right edges are neighbours.
pub(super) fn settle(picture: &mut Picture, doubts: &[Doubt], wraps: bool) {
    if !doubts.iter().any(|doubt| doubt.matters()) || picture.texels.iter().all(|texel| texel[3] == 0) {
        return;
    }
    let levels = pyramid(picture);
    let around = |x: usize, y: usize| nearby(picture, x, y, wraps).unwrap_or_else(|| farther(&levels, x, y));
    let width = picture.size[0] as usize;
    let settled: Vec<[u16; 3]> = doubts
        .iter()
        .enumerate()
        .map(|(at, doubt)| {
            let [r, g, b, _] = picture.texels[at];
            if !doubt.matters() {
                return [r, g, b];
            }
            let wanted = around(at % width, at / width);
            [0, 1, 2].map(|i| wanted[i].clamp(doubt.low[i], doubt.high[i]))
        })
        .collect();
    for (texel, colour) in picture.texels.iter_mut().zip(settled) {
        texel[..3].copy_from_slice(&colour);
    }
}

/// Sum of colours times alpha, and of alpha.
type Sum = [f32; 4];

/// Mean colour of the eight neighbours and the texel, by alpha; none where all are clear.
fn nearby(picture: &Picture, x: usize, y: usize, wraps: bool) -> Option<[u16; 3]> {
    let [width, height] = picture.size.map(|side| side as usize);
    let columns = [
        if x > 0 { Some(x - 1) } else { wraps.then(|| width - 1) },
        Some(x),
        if x + 1 < width { Some(x + 1) } else { wraps.then_some(0) },
    ];
    let mut sums = [0u64; 4];
    for y in y.saturating_sub(1)..=(y + 1).min(height - 1) {
        for x in columns.into_iter().flatten() {
            let [r, g, b, alpha] = picture.texels[y * width + x].map(u64::from);
            for (sum, value) in sums.iter_mut().zip([r * alpha, g * alpha, b * alpha, alpha]) {
                *sum += value;
            }
        }
    }
    let [r, g, b, alpha] = sums;
    (alpha > 0).then(|| [r, g, b].map(|sum| ((sum + alpha / 2) / alpha) as u16))
}

struct Level {
    width: usize,
    sums: Vec<Sum>,
}

/// Each level sums 2 x 2 of the one before; the first does so with the texels.
fn pyramid(picture: &Picture) -> Vec<Level> {
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

/// Mean colour of the smallest block around the texel that isn't all clear.
fn farther(levels: &[Level], x: usize, y: usize) -> [u16; 3] {
    for (step, level) in levels.iter().enumerate() {
        let [r, g, b, alpha] = level.sums[(y >> (step + 1)) * level.width + (x >> (step + 1))];
        if alpha > 0.0 {
            return [r, g, b].map(|sum| (sum / alpha + 0.5) as u16);
        }
    }
    [0; 3]
}

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

/// Fills in the colours that aren't known. With `wraps`, the left and right edges are neighbours.
///
/// A texel takes the mean of its neighbours whose colour is known; failing that, the mean of all of them if it isn't
/// blind; else that of the known texels in the smallest block around it that has any.
pub(super) fn bleed_doubtful(picture: &mut Picture, doubts: &[Doubt], trust: Trust, wraps: bool) {
    let sure: Vec<bool> = doubts.iter().map(|doubt| doubt.width() <= trust.known).collect();
    if sure.iter().all(|sure| *sure) || picture.texels.iter().all(|texel| texel[3] == 0) {
        return;
    }
    let levels = pyramid(picture, &sure);
    let width = picture.size[0] as usize;
    let mut found: Vec<([u16; 3], usize)> = Vec::with_capacity(sure.iter().filter(|sure| !**sure).count());
    found.extend((0..doubts.len()).filter(|at| !sure[*at]).map(|at| {
        let (x, y, doubt) = (at % width, at / width, doubts[at]);
        let wanted =
            nearby(picture, x, y, wraps, |at| sure[at])
                .or_else(|| {
                    if doubt.width() < trust.blind { nearby(picture, x, y, wraps, |_| true) } else { None }
                })
                .or_else(|| farther(&levels, x, y))
                .or_else(|| nearby(picture, x, y, wraps, |_| true));
        let [r, g, b, _] = picture.texels[at];
        let wanted = wanted.unwrap_or([r, g, b]);
        ([0, 1, 2].map(|i| wanted[i].clamp(doubt.low[i], doubt.high[i])), at)
    }));
    for (colour, at) in found {
        picture.texels[at][..3].copy_from_slice(&colour);
    }
}

/// Fills in the colours under alpha 0; all others are known.
pub(super) fn bleed(picture: &mut Picture, wraps: bool) {
    if picture.texels.iter().all(|texel| texel[3] > 0) {
        return;
    }
    let doubt = |[r, g, b, alpha]: &[u16; 4]| match alpha {
        0 => Doubt::new([0; 3], 0, 0),
        _ => Doubt { low: [*r, *g, *b], high: [*r, *g, *b] },
    };
    let doubts: Vec<Doubt> = picture.texels.iter().map(doubt).collect();
    bleed_doubtful(picture, &doubts, Trust { known: 0, blind: 0 }, wraps);
}

/// Sum of colours times alpha, and of alpha.
type Sum = [f32; 4];

/// Mean colour of the eight neighbours and the texel, by alpha, of those that count; none where these are all clear.
fn nearby(
    picture: &Picture,
    x: usize,
    y: usize,
    wraps: bool,
    counts: impl Fn(usize) -> bool,
) -> Option<[u16; 3]> {
    let [width, height] = picture.size.map(|side| side as usize);
    let columns = [
        if x > 0 { Some(x - 1) } else { wraps.then(|| width - 1) },
        Some(x),
        if x + 1 < width { Some(x + 1) } else { wraps.then_some(0) },
    ];
    let mut sums = [0u64; 4];
    for y in y.saturating_sub(1)..=(y + 1).min(height - 1) {
        for at in columns.into_iter().flatten().map(|x| y * width + x).filter(|at| counts(*at)) {
            let [r, g, b, alpha] = picture.texels[at].map(u64::from);
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

/// Mean colour of the smallest block around the texel that has any sum.
fn farther(levels: &[Level], x: usize, y: usize) -> Option<[u16; 3]> {
    for (step, level) in levels.iter().enumerate() {
        let [r, g, b, alpha] = level.sums[(y >> (step + 1)) * level.width + (x >> (step + 1))];
        if alpha > 0.0 {
            return Some([r, g, b].map(|sum| (sum / alpha + 0.5) as u16));
        }
    }
    None
}

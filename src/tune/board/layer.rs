//! Layers in whole numbers of 16 bits.

use crate::base::picture::Picture;
use crate::base::simd::{truncate, vectorize};
use crate::base::space::Space;
use crate::base::words::Blending;
use crate::steps::sheet::{Row, Sheet};
use rayon::prelude::*;
use std::sync::{Arc, LazyLock};

/// Opacity that no draft shows, of 65535.
const UNSEEN: u16 = 32;
/// Columns of a picture that are drawn together, or not at all: much of it is empty.
const PIECE: usize = 32;

/// To linear light, and back, by codes of 16 bits.
pub(super) static LIGHT: LazyLock<[Vec<u16>; 2]> = LazyLock::new(|| {
    let space = Space::new(Blending::Linear);
    let table = |turn: &dyn Fn([f32; 3]) -> [f32; 3]| -> Vec<u16> {
        (0..=u16::MAX).map(|code| sixteen(turn([f32::from(code) / 65535.0; 3])[0])).collect()
    };
    [table(&|colour| space.enter(colour)), table(&|colour| space.leave(colour))]
});

#[inline(always)]
pub(super) fn sixteen(value: f32) -> u16 {
    truncate(value.clamp(0.0, 1.0) * 65535.0 + 0.5) as u16
}

/// The upper half of a product: a 65536th of it.
#[inline(always)]
pub(super) fn of(value: u16, share: u16) -> u16 {
    ((u32::from(value) * u32::from(share)) >> 16) as u16
}

#[inline(always)]
pub(super) fn between(a: u16, b: u16) -> u16 {
    ((u32::from(a) + u32::from(b) + 1) >> 1) as u16
}

/// Source-over (Porter & Duff 1984) of a colour that was multiplied by its opacity.
#[inline(always)]
pub(super) fn over(under: &mut u16, colour: u16, alpha: u16) {
    *under = (*under - of(*under, alpha)).saturating_add(colour);
}

/// Planes of red, green, blue, each times opacity, and of opacity.
pub(super) type Four = [Vec<u16>; 4];

/// Columns of a sheet in whole numbers.
pub(super) struct Poured {
    pub(super) sheet: Arc<Sheet>,
    pub(super) linear: bool,
    /// The first column, and how many, wrapping.
    first: usize,
    pub(super) count: usize,
    pub(super) planes: Four,
    /// Rows of which nothing is to be seen.
    pub(super) empty: Vec<bool>,
}

impl Poured {
    pub(super) fn new(sheet: &Arc<Sheet>, linear: bool, [first, count]: [usize; 2]) -> Poured {
        let rows = sheet.size()[1] as usize;
        let mut planes: Four = std::array::from_fn(|_| vec![0; count * rows]);
        let [red, green, blue, alpha] = &mut planes;
        let mut empty = vec![false; rows];
        let all = red
            .par_chunks_mut(count)
            .zip(green.par_chunks_mut(count).zip(blue.par_chunks_mut(count)))
            .zip(alpha.par_chunks_mut(count).zip(&mut empty))
            .enumerate();
        all.for_each_init(Row::default, |row, (y, ((red, (green, blue)), (alpha, empty)))| {
            vectorize(
                #[inline(always)]
                || {
                    sheet.row(y, first, count, row);
                    for (to, from) in alpha.iter_mut().zip(&row.alpha) {
                        *to = sixteen(*from);
                    }
                    *empty = alpha.iter().copied().fold(0, u16::max) < UNSEEN;
                    if !*empty {
                        pour(&row.colour, alpha, linear, [red, green, blue]);
                    }
                },
            );
        });
        Poured { sheet: Arc::clone(sheet), linear, first, count, planes, empty }
    }

    /// Where column `first` of the sheet stands, if so many from it on are here.
    pub(super) fn holds(&self, [first, count]: [usize; 2]) -> Option<usize> {
        let cols = self.sheet.size()[0] as usize;
        let from = (first + cols - self.first) % cols;
        (self.count == cols || from + count <= self.count).then_some(from)
    }
}

/// Colours times opacity, plane by plane.
#[inline(always)]
fn pour(colours: &[[f32; 4]], alpha: &[u16], linear: bool, planes: [&mut [u16]; 3]) {
    for (at, plane) in planes.into_iter().enumerate() {
        let all = plane.iter_mut().zip(colours.iter().zip(alpha));
        // Two loops: only the one without a table takes many at once.
        if linear {
            for (to, (colour, alpha)) in all {
                *to = of(LIGHT[0][sixteen(colour[at]) as usize], *alpha);
            }
        } else {
            for (to, (colour, alpha)) in all {
                *to = of(sixteen(colour[at]), *alpha);
            }
        }
    }
}

/// A picture, and where there is something of it.
pub(super) struct Pieced {
    pub(super) picture: Arc<Picture>,
    /// By rows, of each piece.
    filled: Vec<bool>,
}

impl Pieced {
    pub(super) fn new(picture: &Arc<Picture>) -> Pieced {
        let width = picture.size[0] as usize;
        let filled = picture.texels.par_chunks(width).flat_map_iter(|row| {
            row.chunks(PIECE).map(|piece| piece.iter().fold(0, |all, texel| all | texel[3]) > 0)
        });
        Pieced { picture: Arc::clone(picture), filled: filled.collect() }
    }

    /// Whether there is something in row `y` around column `x`, and the first column that this doesn't say of.
    #[inline(always)]
    pub(super) fn filled(&self, y: usize, x: usize) -> (bool, usize) {
        let pieces = (self.picture.size[0] as usize).div_ceil(PIECE);
        (self.filled[y * pieces + x / PIECE], (x / PIECE + 1) * PIECE)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_over_a_colour_leaves_it_and_full_cover_hides_it() {
        for under in [0, 1, 257, 30_000, u16::MAX] {
            let (mut left, mut hidden) = (under, under);
            over(&mut left, 0, 0);
            over(&mut hidden, of(20_000, u16::MAX), u16::MAX);
            assert_eq!(left, under);
            assert!(hidden.abs_diff(20_000) <= 1);
        }
    }
}

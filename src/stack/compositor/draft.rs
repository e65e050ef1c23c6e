//! Pixels of drafts: whole numbers of 16 bits, red, green and blue apart, so that one instruction takes sixteen texels.
//!
//! Within a code of 8 bits of the exact ones; sheets may be coarser than the view. What this gains: `tests/bench/page.txt`.

use super::upsample::Columns;
use super::{Pixels, Place, Texel, code};
use crate::base::space::{Lanes, Space};
use crate::base::words::Blending;
use crate::steps::sheet::{Row, Sheet};
use std::sync::LazyLock;

/// Opacity that no draft shows, of 65535.
const UNSEEN: u16 = 32;

/// Texels of a picture whose channels are parted together.
const SPAN: usize = 32;

/// To linear light, and back, by codes of 16 bits.
static LIGHT: LazyLock<[Vec<u16>; 2]> = LazyLock::new(|| {
    let space = Space::new(Blending::Linear);
    let table = |turn: &dyn Fn([f32; 3]) -> [f32; 3]| -> Vec<u16> {
        (0..=u16::MAX).map(|at| code(turn([f32::from(at) / 65535.0; 3])[0])).collect()
    };
    [table(&|colour| space.enter(colour)), table(&|colour| space.leave(colour))]
});

/// The upper half of a product: a 65536th of it.
#[inline(always)]
pub(super) fn part(value: u16, share: u16) -> u16 {
    ((u32::from(value) * u32::from(share)) >> 16) as u16
}

/// Source-over of a colour that was multiplied by its opacity.
#[inline(always)]
fn over(under: &mut u16, colour: u16, alpha: u16) {
    *under = (*under - part(*under, alpha)).saturating_add(colour);
}

/// Planes of red, green, blue, each times opacity, and of opacity.
type Four = [Vec<u16>; 4];

/// A row of a sheet, as far as its columns are seen.
#[derive(Default)]
struct Line {
    y: Option<usize>,
    planes: Four,
    /// Whether nothing of it is to be seen.
    empty: bool,
}

impl Line {
    #[inline(always)]
    fn draw(&mut self, sheet: &Sheet, y: usize, columns: &Columns, row: &mut Row, space: &Space) {
        self.y = Some(y);
        sheet.row(y, columns.first, columns.count, row);
        let [red, green, blue, alpha] = &mut self.planes;
        alpha.resize(columns.count, 0);
        for (to, from) in alpha.iter_mut().zip(&row.alpha) {
            *to = code(*from);
        }
        self.empty = alpha.iter().copied().fold(0, u16::max) < UNSEEN;
        for (at, plane) in [red, green, blue].into_iter().enumerate() {
            plane.resize(columns.count, 0);
            let all = plane.iter_mut().zip(row.colour.iter().zip(&*alpha));
            // Loops apart: only those without a table take many at once.
            if self.empty {
                plane.fill(0);
            } else if space.blending == Blending::Linear {
                for (to, (colour, alpha)) in all {
                    *to = part(LIGHT[0][code(colour[at]) as usize], *alpha);
                }
            } else {
                for (to, (colour, alpha)) in all {
                    *to = part(code(colour[at]), *alpha);
                }
            }
        }
    }
}

/// See the module.
#[derive(Default)]
pub(crate) struct Draft {
    width: usize,
    /// Red, green and blue in the blending's own space, 0..65535, row by row.
    pub planes: [Vec<u16>; 3],
    /// Two neighbouring rows of a sheet, and room to upsample what lies between them.
    lines: [Line; 2],
    mixed: Four,
    spare: Vec<u16>,
}

impl Draft {
    /// Encodes the planes in sRGB.
    pub fn leave(&mut self, space: &Space) {
        if space.blending == Blending::Linear {
            let encode = &LIGHT[1];
            for code in self.planes.iter_mut().flatten() {
                *code = encode[*code as usize];
            }
        }
    }

    /// What layers look like by themselves that were drawn over black, here, and over `white`, as texels in sRGB with straight alpha. Source-over
    /// is associative (Porter & Duff 1984): drawn over anything else those texels are what the layers are.
    pub fn by_themselves(&self, white: &Draft, space: &Space) -> Vec<[u16; 4]> {
        let encode =
            |code: u16| if space.blending == Blending::Linear { LIGHT[1][code as usize] } else { code };
        let [red, green, blue] = &self.planes;
        let all = red.iter().zip(green).zip(blue).zip(&white.planes[1]);
        all.map(|(((red, green), blue), white)| {
            let alpha = u16::MAX - white.saturating_sub(*green);
            let straight = |times: u16| {
                let code = (u32::from(times) << 16).checked_div(u32::from(alpha)).unwrap_or(0);
                encode(code.min(u32::from(u16::MAX)) as u16)
            };
            [straight(*red), straight(*green), straight(*blue), alpha]
        })
        .collect()
    }

    /// A row of the view between the two lines, `share` on the way from the first to the second.
    #[inline(always)]
    fn between(&mut self, share: u16, columns: &Columns) {
        let [low, high] = &self.lines;
        for ((mixed, low), high) in self.mixed.iter_mut().zip(&low.planes).zip(&high.planes) {
            mixed.resize(columns.count, 0);
            for (mixed, (low, high)) in mixed.iter_mut().zip(low.iter().zip(high)) {
                *mixed = part(*low, u16::MAX - share) + part(*high, share);
            }
            columns.upsample(mixed, &mut self.spare, self.width);
        }
    }
}

impl Pixels for Draft {
    // Of a coarser sheet a strip draws one row more than it has.
    const ROWS: usize = 30;

    fn clear(&mut self, [width, rows]: [usize; 2], [r, g, b, _]: Lanes) {
        self.width = width;
        for (plane, ground) in self.planes.iter_mut().zip([r, g, b]) {
            plane.clear();
            plane.resize(width * rows, code(ground));
        }
    }

    #[inline(always)]
    fn span<T: Texel>(&mut self, at: usize, texels: &[T], space: &Space) {
        // Channels apart first: then one instruction takes many texels of each.
        let mut apart = [[0; SPAN]; 4];
        for (texels, at) in texels.chunks(SPAN).zip((at..).step_by(SPAN)) {
            for (column, texel) in texels.iter().enumerate() {
                for (channel, code) in apart.iter_mut().zip(texel.codes()) {
                    channel[column] = code;
                }
            }
            let [colours @ .., alphas] = &mut apart;
            if space.blending == Blending::Linear {
                for code in colours.iter_mut().flat_map(|colours| &mut colours[..texels.len()]) {
                    *code = LIGHT[0][*code as usize];
                }
            }
            for (plane, colours) in self.planes.iter_mut().zip(&*colours) {
                let all = plane[at..][..texels.len()].iter_mut().zip(colours.iter().zip(&*alphas));
                for (under, (colour, alpha)) in all {
                    over(under, part(*colour, *alpha), *alpha);
                }
            }
        }
    }

    #[inline(always)]
    fn sheet(&mut self, y: usize, sheet: &Sheet, place: &Place, row: &mut Row, space: &Space) {
        let columns = Columns::new(place, self.width);
        self.lines[0].y = None;
        self.lines[1].y = None;
        for at in 0..self.planes[0].len() / self.width {
            let Some((rows, share)) = place.rows(y + at) else { continue };
            if self.lines[1].y == Some(rows[0]) {
                self.lines.swap(0, 1);
            }
            for (line, y) in self.lines.iter_mut().zip(rows) {
                if line.y != Some(y) {
                    line.draw(sheet, y, &columns, row, space);
                }
            }
            if self.lines.iter().all(|line| line.empty) {
                continue;
            }
            self.between(code(share), &columns);
            let [red, green, blue, alpha] = &self.mixed;
            for (plane, colour) in self.planes.iter_mut().zip([red, green, blue]) {
                let out = &mut plane[at * self.width..][..self.width];
                for (under, (colour, alpha)) in out.iter_mut().zip(colour.iter().zip(alpha)) {
                    over(under, *colour, *alpha);
                }
            }
        }
    }

    fn colours(&self, out: &mut [[f32; 3]]) {
        let [red, green, blue] = &self.planes;
        for (out, (r, (g, b))) in out.iter_mut().zip(red.iter().zip(green.iter().zip(blue))) {
            *out = [r, g, b].map(|code| f32::from(*code) / 65535.0);
        }
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
            over(&mut hidden, part(20_000, u16::MAX), u16::MAX);
            assert_eq!(left, under);
            assert!(hidden.abs_diff(20_000) <= 1);
        }
    }
}

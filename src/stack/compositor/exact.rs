//! Pixels that are kept exactly, in lanes of single precision: what every output is made of.

use super::{Pixels, Place, Texel};
use crate::base::simd::blend;
use crate::base::space::{Lanes, Space};
use crate::base::words::Blending;
use crate::steps::sheet::{Row, Sheet};

/// See the module.
#[derive(Default)]
pub(crate) struct Exact {
    width: usize,
    /// Colours in the blending's own space, row by row.
    pub lanes: Vec<Lanes>,
}

/// Source-over of a straight colour.
#[inline(always)]
pub(super) fn over(under: &mut Lanes, colour: Lanes, alpha: f32) {
    *under = blend(*under, colour, alpha);
}

impl Pixels for Exact {
    const ROWS: usize = 10;

    fn clear(&mut self, [width, rows]: [usize; 2], ground: Lanes) {
        self.width = width;
        self.lanes.clear();
        self.lanes.resize(width * rows, ground);
    }

    #[inline(always)]
    fn span<T: Texel>(&mut self, at: usize, texels: &[T], space: &Space) {
        for (under, texel) in self.lanes[at..].iter_mut().zip(texels) {
            let (colour, alpha) = texel.parts();
            over(under, space.enter_lanes(colour), alpha);
        }
    }

    #[inline(always)]
    fn sheet(&mut self, y: usize, sheet: &Sheet, place: &Place, row: &mut Row, space: &Space) {
        for (y, out) in (y..).zip(self.lanes.chunks_mut(self.width)) {
            let Some(from) = place.row(y) else { continue };
            if place.is_even() {
                even(sheet, from, place.first(), row, space, out);
            } else {
                sheet.row(from, 0, sheet.size()[0] as usize, row);
                uneven(place, row, space, out);
            }
        }
    }

    fn colours(&self, out: &mut [[f32; 3]]) {
        for (out, [r, g, b, _]) in out.iter_mut().zip(&self.lanes) {
            *out = [*r, *g, *b];
        }
    }
}

/// A row of a sheet from column `first` on, whose texels are as wide as the view's.
#[inline(always)]
fn even(sheet: &Sheet, from: usize, first: usize, row: &mut Row, space: &Space, out: &mut [Lanes]) {
    if let Some(colour) = sheet.colour() {
        // One colour: entered once for the row.
        let colour = space.enter_lanes(colour.lanes());
        sheet.paint(from, first, row, out, |under, _, alpha| over(under, colour, alpha));
    } else if space.blending == Blending::Encoded {
        sheet.paint(from, first, row, out, over);
    } else {
        let put = |under: &mut Lanes, colour, alpha| over(under, space.enter_lanes(colour), alpha);
        sheet.paint(from, first, row, out, put);
    }
}

/// A row of a sheet whose texels are wider or narrower than the view's, by its period: opacities run straight between them.
#[inline(always)]
fn uneven(place: &Place, row: &Row, space: &Space, out: &mut [Lanes]) {
    for (x, under) in out.iter_mut().enumerate() {
        let ([a, b], share) = place.between(x);
        let alpha = row.alpha[a] + (row.alpha[b] - row.alpha[a]) * share;
        let colour = if share < 0.5 { row.colour[a] } else { row.colour[b] };
        over(under, space.enter_lanes(colour), alpha);
    }
}

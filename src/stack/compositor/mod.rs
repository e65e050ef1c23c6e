//! The compositor: layers drawn far to near, source-over, on a view or at single places of it.
//!
//! What is kept of a texel, and what a colour with an opacity does to it, is said by the kind of [`Pixels`]: [`Exact`] ones are what
//! every output is made of, [`Draft`] ones are quicker. Places that lie apart are drawn by [`Gather`].

#[cfg(feature = "tune")]
mod draft;
mod exact;
mod gather;
mod place;
#[cfg(feature = "tune")]
mod upsample;

#[cfg(feature = "tune")]
pub(crate) use draft::Draft;
pub(crate) use exact::Exact;
pub(crate) use gather::{Asked, Gather, Probe, Probes};
pub(crate) use place::Place;

use crate::base::bitmap::{Bitmap, Unpacked};
use crate::base::picture::Picture;
use crate::base::placing::Placing;
use crate::base::simd::{truncate, vectorize};
use crate::base::space::{Lanes, Space};
use crate::base::units::Camera;
use crate::base::words::Blending;
use crate::plan::Plan;
use crate::rim::Rim;
use crate::steps::sheet::{Row, Sheet};
use rayon::prelude::*;
use std::ops::Range;

/// Columns of a picture that are drawn together, or not at all: much of it is empty.
const PIECE: usize = 32;

/// What a layer is drawn from.
#[derive(Clone, Copy)]
pub enum Source<'a> {
    /// Fog.
    Sheet(&'a Sheet),
    /// A rim.
    Rim(&'a Rim),
    /// Art.
    Bitmap(&'a Bitmap),
    /// A picture that isn't packed: a glow of lamps.
    Picture(&'a Picture),
    /// Texels of 8 bits, width and height; the codes are mixed as they are, 0 to 255.
    Codes(&'a [[u8; 4]], [u32; 2]),
}

impl<'a> Source<'a> {
    /// Width and height in texels.
    pub fn size(&self) -> [u32; 2] {
        match self {
            Source::Sheet(sheet) => sheet.size(),
            Source::Rim(rim) => rim.size(),
            Source::Bitmap(bitmap) => bitmap.size,
            Source::Picture(picture) => picture.size,
            Source::Codes(_, size) => *size,
        }
    }

    /// Where it stands if its job stands at `placing`: a rim takes no more room than it fills.
    pub(crate) fn placing(self, placing: &'a Placing) -> &'a Placing {
        if let Source::Rim(rim) = self { &rim.placing } else { placing }
    }
}

/// A layer at one camera place.
#[derive(Clone, Copy)]
pub(crate) struct Layer<'a> {
    pub source: Source<'a>,
    pub place: Place,
}

/// The code of 16 bits of a value of 0..1.
#[inline(always)]
fn code(value: f32) -> u16 {
    truncate(value.clamp(0.0, 1.0) * 65535.0 + 0.5) as u16
}

/// Texels with straight alpha, encoded in sRGB.
pub(crate) trait Texel: Copy + Default {
    /// Its colour, and its opacity as 0..1.
    fn parts(self) -> (Lanes, f32);

    /// Red, green, blue and alpha by codes of 16 bits.
    fn codes(self) -> [u16; 4];
}

impl Texel for [u16; 4] {
    #[inline(always)]
    fn parts(self) -> (Lanes, f32) {
        let [r, g, b, a] = self;
        let unit = [f32::from(r) / 65535.0, f32::from(g) / 65535.0, f32::from(b) / 65535.0, 0.0];
        (unit, f32::from(a) / 65535.0)
    }

    #[inline(always)]
    fn codes(self) -> [u16; 4] {
        self
    }
}

impl Texel for [u8; 4] {
    #[inline(always)]
    fn parts(self) -> (Lanes, f32) {
        let [r, g, b, a] = self;
        ([f32::from(r), f32::from(g), f32::from(b), 255.0], f32::from(a) / 255.0)
    }

    #[inline(always)]
    fn codes(self) -> [u16; 4] {
        self.map(|code| u16::from(code) * 257)
    }
}

impl Texel for (Lanes, f32) {
    #[inline(always)]
    fn parts(self) -> (Lanes, f32) {
        self
    }

    #[inline(always)]
    fn codes(self) -> [u16; 4] {
        let ([r, g, b, _], a) = self;
        [code(r), code(g), code(b), code(a)]
    }
}

/// A strip of rows of a view while layers are drawn over them.
pub(crate) trait Pixels: Default + Send {
    /// Most rows of a strip: few enough to stay near the processor; an even number.
    const ROWS: usize;

    /// Begins: `rows` rows of `width` texels of the colour `ground`, in the space itself.
    fn clear(&mut self, size: [usize; 2], ground: Lanes);

    /// Source-over (Porter & Duff 1984) of texels, the first of them on the texel `at`.
    fn span<T: Texel>(&mut self, at: usize, texels: &[T], space: &Space);

    /// Source-over of a sheet; the first row is that of the view at `y`.
    fn sheet(&mut self, y: usize, sheet: &Sheet, place: &Place, row: &mut Row, space: &Space);

    /// The colours in the blending's own space, 0..1.
    fn colours(&self, out: &mut [[f32; 3]]);
}

/// What a thread uses again from strip to strip.
#[derive(Default)]
struct Scratch {
    row: Row,
    /// Of each layer.
    unpacked: Vec<Unpacked>,
}

/// A view and its layers in drawing order.
pub(crate) struct Compositor<'a> {
    /// Width and height in texels.
    pub size: [usize; 2],
    pub space: Space,
    /// What lies under all layers, in the blending's own space.
    ground: Lanes,
    layers: Vec<Layer<'a>>,
}

impl<'a> Compositor<'a> {
    /// The plan's view at camera place `camera` (scene px of travel), of `sources` in drawing order.
    pub fn new(
        plan: &Plan,
        sources: impl IntoIterator<Item = (&'a Placing, Source<'a>)>,
        camera: Camera,
    ) -> Compositor<'a> {
        let space = Space::new(plan.blending);
        let [r, g, b] = space.enter(plan.backdrop.0);
        let layer = |(placing, source): (&'a Placing, Source<'a>)| {
            let place = Place::new(source.placing(placing), source.size(), plan.scale, camera);
            Layer { source, place }
        };
        Compositor {
            size: plan.texels.map(|side| side as usize),
            space,
            ground: [r, g, b, 0.0],
            layers: sources.into_iter().map(layer).collect(),
        }
    }

    /// A view `size` texels large of `layers` in drawing order over texels of the colour `ground`, all mixed as they are.
    pub fn plain(size: [u32; 2], ground: Lanes, layers: Vec<Layer<'a>>) -> Compositor<'a> {
        let space = Space::new(Blending::Encoded);
        Compositor { size: size.map(|side| side as usize), space, ground, layers }
    }

    /// The part of it that begins with the texel at `left` and `top`, `width` by `height` texels large: the same texels.
    #[cfg(feature = "tune")]
    pub fn part(mut self, [left, top]: [u32; 2], size: [u32; 2]) -> Compositor<'a> {
        for layer in &mut self.layers {
            layer.place = layer.place.within([left, top].map(i64::from));
        }
        self.size = size.map(|side| side as usize);
        self
    }

    /// Each layer so many texels farther to the right.
    #[cfg(feature = "tune")]
    pub fn moved(mut self, by: &[f64]) -> Compositor<'a> {
        for (layer, by) in self.layers.iter_mut().zip(by) {
            layer.place = layer.place.moved(*by);
        }
        self
    }

    /// Draws it over the colour `ground`, sRGB-encoded, in the place of the plan's.
    #[cfg(feature = "tune")]
    pub fn over(mut self, ground: [f32; 3]) -> Compositor<'a> {
        let [r, g, b] = self.space.enter(ground);
        self.ground = [r, g, b, 0.0];
        self
    }

    /// Draws `texels`, as large as it is, under all layers.
    #[cfg(feature = "tune")]
    pub fn over_texels(mut self, texels: &'a Picture) -> Compositor<'a> {
        let layer = Layer { source: Source::Picture(texels), place: Place::at([0, 0], texels.size) };
        self.layers.insert(0, layer);
        self
    }

    /// Draws `texels`, as large as it is, over all layers.
    #[cfg(feature = "tune")]
    pub fn under_texels(mut self, texels: &'a Picture) -> Compositor<'a> {
        let layer = Layer { source: Source::Picture(texels), place: Place::at([0, 0], texels.size) };
        self.layers.push(layer);
        self
    }

    /// Draws strips of [`Pixels::ROWS`] rows side by side, each handed to `take` with its first row and what of `outs` belongs to it.
    pub fn strips<P: Pixels, T: Send>(
        &self,
        outs: impl IndexedParallelIterator<Item = T>,
        take: impl Fn(usize, &mut P, T) + Sync + Send,
    ) {
        self.strips_from(0, outs, take);
    }

    /// The same from the strip `from` on.
    pub fn strips_from<P: Pixels, T: Send>(
        &self,
        from: usize,
        outs: impl IndexedParallelIterator<Item = T>,
        take: impl Fn(usize, &mut P, T) + Sync + Send,
    ) {
        let draw = |(scratch, pixels): &mut (Scratch, P), (strip, out): (usize, T)| {
            let first = (from + strip) * P::ROWS;
            pixels.clear([self.size[0], self.rows::<P>(first).len()], self.ground);
            scratch.unpacked.resize_with(self.layers.len(), Unpacked::default);
            for (layer, unpacked) in self.layers.iter().zip(&mut scratch.unpacked) {
                vectorize(
                    #[inline(always)]
                    || self.layer(layer, first, (&mut scratch.row, unpacked), pixels),
                );
            }
            take(first, pixels, out);
        };
        outs.enumerate().for_each_init(Default::default, draw);
    }

    /// Draws one layer on the rows of a strip that begins with row `first` of the view.
    #[inline(always)]
    fn layer<P: Pixels>(
        &self,
        layer: &Layer<'_>,
        first: usize,
        (row, unpacked): (&mut Row, &mut Unpacked),
        pixels: &mut P,
    ) {
        let place = &layer.place;
        match layer.source {
            Source::Sheet(sheet) => pixels.sheet(first, sheet, place, row, &self.space),
            Source::Rim(rim) => self.rim(rim, place, first, row, pixels),
            Source::Bitmap(bitmap) => {
                for (at, y) in self.rows::<P>(first).enumerate() {
                    let Some(from) = place.row(y) else { continue };
                    self.picture(bitmap.row(from, unpacked), place, at, pixels);
                }
            }
            Source::Picture(picture) => self.texels(&picture.texels, place, first, pixels),
            Source::Codes(texels, _) => self.texels(texels, place, first, pixels),
        }
    }

    /// Rows of the view from `first` on that belong to a strip.
    fn rows<P: Pixels>(&self, first: usize) -> Range<usize> {
        first..self.size[1].min(first + P::ROWS)
    }

    #[inline(always)]
    fn rim<P: Pixels>(&self, rim: &Rim, place: &Place, first: usize, row: &mut Row, pixels: &mut P) {
        let mut texels = [(Lanes::default(), 0.0); PIECE];
        for (at, y) in self.rows::<P>(first).enumerate() {
            let Some(from) = place.row(y) else { continue };
            rim.row(from, row);
            for left in (0..self.size[0]).step_by(PIECE) {
                let texels = &mut texels[..PIECE.min(self.size[0] - left)];
                for (texel, x) in texels.iter_mut().zip(left..) {
                    *texel = match place.column(x) {
                        Some(column) => (row.colour[column], row.alpha[column]),
                        None => (Lanes::default(), 0.0),
                    };
                }
                pixels.span(at * self.size[0] + left, texels, &self.space);
            }
        }
    }

    #[inline(always)]
    fn texels<P: Pixels, T: Texel>(&self, texels: &[T], place: &Place, first: usize, pixels: &mut P) {
        for (at, y) in self.rows::<P>(first).enumerate() {
            let Some(from) = place.row(y) else { continue };
            self.picture(place.texels(texels, from), place, at, pixels);
        }
    }

    /// Draws a row of a picture on the row `at` of the strip.
    #[inline(always)]
    fn picture<P: Pixels, T: Texel>(&self, texels: &[T], place: &Place, at: usize, pixels: &mut P) {
        for (to, first) in place.spans(self.size[0]) {
            let pieces = texels[first..first + to.len()].chunks(PIECE);
            for (piece, left) in pieces.zip((at * self.size[0] + to.start..).step_by(PIECE)) {
                // All channels, since neighbouring numbers are taken together.
                let all = piece.iter().fold([0; 4], |all, texel| {
                    let codes = texel.codes();
                    [all[0] | codes[0], all[1] | codes[1], all[2] | codes[2], all[3] | codes[3]]
                });
                if all[3] > 0 {
                    pixels.span(left, piece, &self.space);
                }
            }
        }
    }
}

#[cfg(test)]
mod tests;

//! Which of PNG's forms holds a raster exactly, and the raster packed into it.
//!
//! Depths below 8 bits aren't used: they saved 0.4 % of the demo's bytes, all of it in the value view (`tests/bench/png.txt`).

use crate::base::raster::Raster;
use ::png::{BitDepth, ColorType};
use std::borrow::Cow;
use std::collections::HashMap;

/// Most entries of a palette (PNG 11.2.2).
const MOST_COLOURS: usize = 256;

/// A form of PNG.
pub(super) struct Form {
    /// PNG 6.1.
    pub colour_type: ColorType,
    /// Bits of a sample or an index: 8 or 16.
    pub depth: BitDepth,
    pub palette: Option<Palette>,
}

/// The distinct texels of an indexed picture, translucent ones first.
pub(super) struct Palette {
    pub entries: Vec<[u8; 4]>,
    numbers: HashMap<[u8; 4], u8>,
}

/// A raster as PNG stores it: rows of big-endian samples or of indices.
pub(super) struct Packed<'a> {
    pub form: Form,
    /// The rows, one after the other.
    pub bytes: Cow<'a, [u8]>,
}

/// What texels of 8 bits ask of their form, found out while they come.
pub(super) struct Scan {
    grey: bool,
    opaque: bool,
    /// The distinct ones; none once there are too many.
    colours: Option<HashMap<[u8; 4], u8>>,
}

impl Default for Scan {
    /// Nothing came yet.
    fn default() -> Scan {
        Scan { grey: true, opaque: true, colours: Some(HashMap::new()) }
    }
}

impl Scan {
    /// Looks at some more texels.
    pub fn take(&mut self, texels: &[[u8; 4]]) {
        let (grey, opaque) = grey_and_opaque(texels.as_flattened(), u8::MAX);
        (self.grey, self.opaque) = (self.grey && grey, self.opaque && opaque);
        let Some(colours) = &mut self.colours else { return };
        let mut last = None;
        for texel in texels {
            if last != Some(texel) && !colours.contains_key(texel) {
                if colours.len() == MOST_COLOURS {
                    self.colours = None;
                    return;
                }
                colours.insert(*texel, 0);
            }
            last = Some(texel);
        }
    }

    /// Whether all that came was opaque.
    pub fn is_opaque(&self) -> bool {
        self.opaque
    }

    /// A small form for all that came: opaque grey; else a palette for up to 256 colours; else without the channels that say nothing.
    pub fn form(self) -> Form {
        match self.colours {
            // A palette takes chunks of its own.
            Some(colours) if !(self.grey && self.opaque) => Form::indexed(colours),
            _ => Form::channels(!self.grey, !self.opaque, BitDepth::Eight),
        }
    }
}

impl Form {
    pub fn channels(colour: bool, alpha: bool, depth: BitDepth) -> Form {
        let colour_type = match (colour, alpha) {
            (false, false) => ColorType::Grayscale,
            (false, true) => ColorType::GrayscaleAlpha,
            (true, false) => ColorType::Rgb,
            (true, true) => ColorType::Rgba,
        };
        Form { colour_type, depth, palette: None }
    }

    /// Bytes of a texel.
    pub fn bytes(&self) -> usize {
        self.colour_type.samples() * if self.depth == BitDepth::Sixteen { 2 } else { 1 }
    }

    fn indexed(mut numbers: HashMap<[u8; 4], u8>) -> Form {
        let mut entries: Vec<[u8; 4]> = numbers.keys().copied().collect();
        // By alpha, then lightness: neighbours in fog become neighbours in the palette, and tRNS can stop early.
        let light = |[r, g, b, _]: [u8; 4]| 2 * u32::from(r) + 7 * u32::from(g) + u32::from(b);
        entries.sort_by_key(|texel| (texel[3], light(*texel), *texel));
        numbers.extend(entries.iter().copied().zip(0..=u8::MAX));
        let palette = Some(Palette { entries, numbers });
        Form { colour_type: ColorType::Indexed, depth: BitDepth::Eight, palette }
    }

    /// Samples of texels of 8 bits in this form, which is that of a [`Scan`] of them.
    pub fn pack<'a>(&self, samples: &'a [u8]) -> Cow<'a, [u8]> {
        let Some(palette) = &self.palette else {
            return match self.colour_type {
                ColorType::Rgba => Cow::Borrowed(samples),
                colour_type => Cow::Owned(picked(samples, colour_type, |code| [code])),
            };
        };
        let mut last = None;
        let number = |texel: &[u8; 4]| match last {
            Some((same, number)) if same == *texel => number,
            _ => {
                let number = palette.numbers[texel];
                last = Some((*texel, number));
                number
            }
        };
        Cow::Owned(samples.as_chunks::<4>().0.iter().map(number).collect())
    }
}

impl<'a> Packed<'a> {
    /// In a small form: opaque grey; else a palette for up to 256 colours of 8 bits; else without the channels that say nothing.
    pub fn smallest(raster: Raster<'a>) -> Packed<'a> {
        match raster {
            Raster::Eight { samples, .. } => {
                let mut scan = Scan::default();
                scan.take(samples.as_chunks::<4>().0);
                let form = scan.form();
                Packed { bytes: form.pack(samples), form }
            }
            Raster::Grey { .. } => Packed::channels(raster, false, false),
            Raster::Sixteen { samples, .. } => {
                let (grey, opaque) = grey_and_opaque(samples, u16::MAX);
                Packed::channels(raster, !grey, !opaque)
            }
        }
    }

    /// As grey or RGB, with alpha or without, at the raster's own depth. What the form has no room for is left out; a raster of greys
    /// is written as grey.
    pub fn channels(raster: Raster<'a>, colour: bool, alpha: bool) -> Packed<'a> {
        let form = |depth| Form::channels(colour, alpha, depth);
        match raster {
            Raster::Eight { samples, .. } => {
                let form = form(BitDepth::Eight);
                Packed { bytes: form.pack(samples), form }
            }
            Raster::Sixteen { samples, .. } => {
                let form = form(BitDepth::Sixteen);
                let bytes = Cow::Owned(picked(samples, form.colour_type, u16::to_be_bytes));
                Packed { form, bytes }
            }
            Raster::Grey { samples, .. } => {
                let form = Form::channels(false, false, BitDepth::Eight);
                Packed { form, bytes: Cow::Borrowed(samples) }
            }
        }
    }
}

/// Whether red, green and blue are the same everywhere, and whether alpha is `full` everywhere.
fn grey_and_opaque<T: Copy + PartialEq>(samples: &[T], full: T) -> (bool, bool) {
    let texels = samples.as_chunks::<4>().0;
    (texels.iter().all(|[r, g, b, _]| r == g && g == b), texels.iter().all(|[.., alpha]| *alpha == full))
}

/// The samples of each texel that the colour type has room for, as bytes.
fn picked<T: Copy, const N: usize>(
    samples: &[T],
    colour_type: ColorType,
    bytes: impl Fn(T) -> [u8; N],
) -> Vec<u8> {
    fn texels<T: Copy, const C: usize, const N: usize>(
        samples: &[T],
        channels: [usize; C],
        bytes: impl Fn(T) -> [u8; N],
    ) -> Vec<u8> {
        let texels = samples.as_chunks::<4>().0.iter();
        let picked: Vec<[[u8; N]; C]> = texels.map(|texel| channels.map(|at| bytes(texel[at]))).collect();
        picked.into_flattened().into_flattened()
    }
    match colour_type {
        ColorType::Grayscale => texels(samples, [0], bytes),
        ColorType::GrayscaleAlpha => texels(samples, [0, 3], bytes),
        ColorType::Rgb => texels(samples, [0, 1, 2], bytes),
        _ => texels(samples, [0, 1, 2, 3], bytes),
    }
}

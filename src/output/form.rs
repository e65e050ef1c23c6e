//! Which of PNG's forms holds a raster exactly, and the raster packed into it.
//!
//! Depths below 8 bits aren't used: they saved 0.4 % of the demo's bytes, all of it in the value view (`tests/bench/png.txt`).

use crate::base::raster::Raster;
use ::png::{BitDepth, ColorType};
use std::borrow::Cow;
use std::collections::HashMap;

/// Most entries of a palette (PNG 11.2.2).
const MOST_COLOURS: usize = 256;

/// A raster as PNG stores it: rows of big-endian samples or of indices.
pub(super) struct Packed<'a> {
    /// PNG 6.1.
    pub colour_type: ColorType,
    /// Bits of a sample or an index: 8 or 16.
    pub depth: BitDepth,
    /// The distinct texels, translucent ones first, if indexed.
    pub palette: Option<Vec<[u8; 4]>>,
    /// The rows, one after the other.
    pub bytes: Cow<'a, [u8]>,
}

impl<'a> Packed<'a> {
    /// In a small form: opaque grey; else a palette for up to 256 colours of 8 bits; else without the channels that say nothing.
    pub fn smallest(raster: Raster<'a>) -> Packed<'a> {
        let (grey, opaque) = match raster {
            Raster::Eight { samples, .. } => grey_and_opaque(samples, u8::MAX),
            Raster::Grey { .. } => (true, true),
            Raster::Sixteen { samples, .. } => grey_and_opaque(samples, u16::MAX),
        };
        let palette = match raster {
            // A palette takes chunks of its own.
            Raster::Eight { samples, .. } if !(grey && opaque) => indexed(samples.as_chunks::<4>().0),
            _ => None,
        };
        palette.unwrap_or_else(|| Packed::channels(raster, !grey, !opaque))
    }

    /// As grey or RGB, with alpha or without, at the raster's own depth. What the form has no room for is left out; a raster of greys
    /// is written as grey.
    pub fn channels(raster: Raster<'a>, colour: bool, alpha: bool) -> Packed<'a> {
        let colour_type = match (colour, alpha) {
            (false, false) => ColorType::Grayscale,
            (false, true) => ColorType::GrayscaleAlpha,
            (true, false) => ColorType::Rgb,
            (true, true) => ColorType::Rgba,
        };
        let packed = |depth, bytes| Packed { colour_type, depth, palette: None, bytes };
        match raster {
            Raster::Eight { samples, .. } if colour_type == ColorType::Rgba => {
                packed(BitDepth::Eight, Cow::Borrowed(samples))
            }
            Raster::Eight { samples, .. } => {
                packed(BitDepth::Eight, Cow::Owned(picked(samples, colour_type, |code| [code])))
            }
            Raster::Sixteen { samples, .. } => {
                packed(BitDepth::Sixteen, Cow::Owned(picked(samples, colour_type, u16::to_be_bytes)))
            }
            Raster::Grey { samples, .. } => Packed {
                colour_type: ColorType::Grayscale,
                ..packed(BitDepth::Eight, Cow::Borrowed(samples))
            },
        }
    }
}

/// As indices into a palette; none if there are too many colours.
fn indexed(texels: &[[u8; 4]]) -> Option<Packed<'static>> {
    let mut numbers: HashMap<[u8; 4], u8> = HashMap::new();
    let mut last = None;
    for texel in texels {
        if last != Some(texel) && !numbers.contains_key(texel) {
            if numbers.len() == MOST_COLOURS {
                return None;
            }
            numbers.insert(*texel, 0);
        }
        last = Some(texel);
    }
    let mut palette: Vec<[u8; 4]> = numbers.keys().copied().collect();
    // By alpha, then lightness: neighbours in fog become neighbours in the palette, and tRNS can stop early.
    let light = |[r, g, b, _]: [u8; 4]| 2 * u32::from(r) + 7 * u32::from(g) + u32::from(b);
    palette.sort_by_key(|texel| (texel[3], light(*texel), *texel));
    numbers.extend(palette.iter().copied().zip(0..=u8::MAX));
    let bytes = texels.iter().map(|texel| numbers[texel]).collect();
    Some(Packed {
        colour_type: ColorType::Indexed,
        depth: BitDepth::Eight,
        palette: Some(palette),
        bytes: Cow::Owned(bytes),
    })
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

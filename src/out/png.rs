//! Rasters to PNG: the smallest lossless form, marked as sRGB.
//!
//! Source: Portable Network Graphics (PNG) Specification, third edition (W3C Recommendation, 24 June 2025).

use super::form::{self, Form, Packed};
use ::png::{BitDepth, ColorType, Compression, DeflateCompression, Encoder, Filter, SrgbRenderingIntent};
use rayon::prelude::*;

/// Texels to be written: straight alpha, sRGB-encoded, four samples per texel, rows from the top.
#[derive(Clone, Copy, Debug)]
pub enum Raster<'a> {
    /// 8 bits per sample.
    Eight {
        /// Width and height in texels.
        size: [u32; 2],
        /// Red, green, blue, alpha of each texel.
        samples: &'a [u8],
    },
    /// 16 bits per sample.
    Sixteen {
        /// Width and height in texels.
        size: [u32; 2],
        /// Red, green, blue, alpha of each texel.
        samples: &'a [u16],
        /// Whether 16 bits are written even where 8 would hold every sample exactly (v = 257 k).
        keep_depth: bool,
    },
}

impl Raster<'_> {
    /// Width and height in texels.
    pub fn size(&self) -> [u32; 2] {
        match *self {
            Raster::Eight { size, .. } | Raster::Sixteen { size, .. } => size,
        }
    }
}

/// How much time is spent on making the file small. The texels are the same at every effort.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Effort {
    /// One quick try, for previews.
    Fast,
    /// The likely filters, compressed well.
    #[default]
    Balanced,
    /// Every filter in every sensible form, compressed as hard as the library can.
    Small,
}

/// One way to write the samples: deflate level (0: the quick compressor) and row filter.
type Way = (u8, Filter);

/// Encodes `raster`, losslessly, in the smallest of the forms that PNG has for it.
///
/// Grey, palette, colour, each with or without alpha, at the least depth that holds every sample exactly. Colours
/// under alpha 0 are kept. The file says that it is sRGB (perceptual intent), with gAMA and cHRM for readers that
/// know nothing else.
///
/// # Panics
/// If the samples are not four for each texel, or a side is 0 or over 2^31 - 1: the caller checked these before it
/// allocated them.
pub fn encode(raster: Raster, effort: Effort) -> Vec<u8> {
    let [width, height] = raster.size();
    let length = match raster {
        Raster::Eight { samples, .. } => samples.len(),
        Raster::Sixteen { samples, .. } => samples.len(),
    };
    assert!(width > 0 && height > 0, "a raster without texels");
    assert_eq!(length as u64, u64::from(width) * u64::from(height) * 4, "four samples for each texel");

    let forms = form::choose(raster, effort == Effort::Small);
    let tries: Vec<(&Form, Way)> =
        forms.iter().flat_map(|form| ways(form, effort).into_iter().map(move |way| (form, way))).collect();
    let packed: Vec<Packed> = forms.iter().map(|form| form.pack(raster)).collect();
    let files: Vec<Vec<u8>> = tries
        .par_iter()
        .map(|(form, way)| {
            let at = forms.iter().position(|other| std::ptr::eq(other, *form)).unwrap_or(0);
            write([width, height], form, &packed[at], *way)
        })
        .collect();
    // The first of the smallest, so that equal sizes don't depend on the order of threads.
    files.into_iter().min_by_key(Vec::len).unwrap_or_default()
}

/// The ways worth trying. Measured on fog sheets of 3000 x 1080 texels (see `tests/png_out.rs`).
fn ways(form: &Form, effort: Effort) -> Vec<Way> {
    // Filters predict from whole bytes: below 8 bits they only add noise (PNG 12.7 advises none).
    let packed = form.depth < 8;
    match (effort, packed) {
        (Effort::Fast, true) => vec![(1, Filter::NoFilter)],
        (Effort::Fast, false) => vec![(1, Filter::Up)],
        (Effort::Balanced, true) => vec![(6, Filter::NoFilter)],
        (Effort::Balanced, false) => vec![(6, Filter::NoFilter), (6, Filter::Adaptive)],
        (Effort::Small, true) => vec![(9, Filter::NoFilter), (9, Filter::Up), (9, Filter::MinEntropy)],
        (Effort::Small, false) => [
            Filter::NoFilter,
            Filter::Sub,
            Filter::Up,
            Filter::Avg,
            Filter::Paeth,
            Filter::Adaptive,
            Filter::MinEntropy,
        ]
        .map(|filter| (9, filter))
        .to_vec(),
    }
}

/// Writes one file.
fn write([width, height]: [u32; 2], form: &Form, packed: &Packed, (level, filter): Way) -> Vec<u8> {
    let mut file = Vec::new();
    let mut encoder = Encoder::new(&mut file, width, height);
    encoder.set_color(match (form.palette.is_some(), form.colour, form.alpha) {
        (true, ..) => ColorType::Indexed,
        (_, false, false) => ColorType::Grayscale,
        (_, false, true) => ColorType::GrayscaleAlpha,
        (_, true, false) => ColorType::Rgb,
        (_, true, true) => ColorType::Rgba,
    });
    encoder.set_depth(match form.depth {
        1 => BitDepth::One,
        2 => BitDepth::Two,
        4 => BitDepth::Four,
        8 => BitDepth::Eight,
        _ => BitDepth::Sixteen,
    });
    if let Some(palette) = &form.palette {
        encoder.set_palette(
            palette.iter().flat_map(|entry| [entry[0], entry[1], entry[2]]).collect::<Vec<u8>>(),
        );
        // Entries without a tRNS value are opaque; the translucent ones come first, so the rest is left out.
        let translucent: Vec<u8> =
            palette.iter().map(|entry| entry[3]).take_while(|alpha| *alpha < 255).collect();
        if !translucent.is_empty() {
            encoder.set_trns(translucent);
        }
    }
    encoder.set_source_srgb(SrgbRenderingIntent::Perceptual);
    // PNG 11.3.2.5: the values that stand for sRGB in gAMA and cHRM.
    encoder.set_source_gamma(::png::ScaledFloat::from_scaled(45455));
    encoder.set_source_chromaticities(::png::SourceChromaticities::new(
        (0.3127, 0.3290),
        (0.64, 0.33),
        (0.30, 0.60),
        (0.15, 0.06),
    ));
    if level == 0 {
        encoder.set_compression(Compression::Fast);
    } else {
        encoder.set_deflate_compression(DeflateCompression::Level(level));
    }
    encoder.set_filter(filter);
    // A `Vec` takes whatever is written, and the header was checked: only a wrong length could fail here.
    let written = encoder.write_header().and_then(|mut writer| {
        writer.write_image_data(&packed.0)?;
        writer.finish()
    });
    written.expect("the header and the length of the samples are right");
    file
}

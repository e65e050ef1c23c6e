//! Rasters to PNG: a small lossless form, marked as sRGB.
//!
//! Source: Portable Network Graphics (PNG) Specification, third edition (W3C Recommendation, 24 June 2025).

use crate::base::raster::Raster;
use crate::output::form::Packed;
use ::png::{DeflateCompression, Encoder, Filter, SrgbRenderingIntent};
use rayon::prelude::*;
use std::borrow::Cow;

/// How much time is spent on making the file small. The texels are the same at every effort.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Effort {
    /// One quick try, for previews: half as large again as `Balanced` or more, in a third of its time.
    Fast,
    /// The likely filters: about half a second for 3000 x 1080 texels of fog on two cores.
    #[default]
    Balanced,
    /// Every filter, compressed as hard as the library can: a tenth to a quarter smaller than `Balanced`, ten times as slow.
    Small,
}

/// Deflate levels: 1 quick to 9 thorough.
type Level = u8;

/// How many strips of a tall picture filters are tried on, and the rows of each: with these, the best filter of the strips was the
/// best of the whole in all pictures of the demo.
const STRIPS: usize = 8;
const STRIP_ROWS: usize = 24;

/// Encodes `raster`, losslessly, in a small one of the forms that PNG has for it.
///
/// Grey, palette, colour, each with or without alpha, at 8 or 16 bits. Colours under alpha 0 are kept. The file says that it
/// is sRGB (perceptual intent), with gAMA and cHRM for readers that know nothing else.
///
/// # Panics
/// If the samples are not four (of grey: one) for each texel, or a side is 0 or over 2^31 - 1: the caller checked these before it
/// allocated them.
pub fn encode(raster: Raster, effort: Effort) -> Vec<u8> {
    compress(&Packed::smallest(raster), raster.size(), effort)
}

/// As [`encode`], but as RGB, or RGBA if `alpha`, at the raster's own depth, whatever smaller form would hold it: for
/// readers that are promised it.
///
/// # Panics
/// As [`encode`].
pub fn encode_channels(raster: Raster, alpha: bool, effort: Effort) -> Vec<u8> {
    compress(&Packed::channels(raster, true, alpha), raster.size(), effort)
}

/// Tries the effort's filters at a quick level, and writes the file by the best at a thorough one.
fn compress(packed: &Packed, size: [u32; 2], effort: Effort) -> Vec<u8> {
    let (filters, quick, thorough): (&[Filter], Level, Level) = match effort {
        Effort::Fast => (&[Filter::Sub], 2, 2),
        Effort::Balanced => (&[Filter::Sub, Filter::NoFilter, Filter::Paeth, Filter::Adaptive], 2, 6),
        Effort::Small => (
            &[
                Filter::Sub,
                Filter::NoFilter,
                Filter::Up,
                Filter::Avg,
                Filter::Paeth,
                Filter::Adaptive,
                Filter::MinEntropy,
            ],
            6,
            9,
        ),
    };
    if let [only] = filters {
        return write(packed, &packed.bytes, size, *only, thorough);
    }
    let height = size[1] as usize;
    let (sample, rows) = if effort == Effort::Balanced && height >= 4 * STRIPS * STRIP_ROWS {
        (Cow::Owned(strips(&packed.bytes, height)), STRIPS * STRIP_ROWS)
    } else {
        (Cow::Borrowed(&*packed.bytes), height)
    };
    let length = |filter: &Filter| write(packed, &sample, [size[0], rows as u32], *filter, quick).len();
    let lengths: Vec<usize> = filters.par_iter().map(length).collect();
    // The first of the smallest, so that equal sizes don't depend on the order of threads.
    let best = (0..filters.len()).min_by_key(|at| lengths[*at]).unwrap_or(0);
    write(packed, &packed.bytes, size, filters[best], thorough)
}

/// Strips of a picture, evenly from its top to its foot, as one picture.
fn strips(bytes: &[u8], height: usize) -> Vec<u8> {
    let stride = bytes.len() / height;
    let first = |strip: usize| (height - STRIP_ROWS) * strip / (STRIPS - 1);
    (0..STRIPS).flat_map(|strip| &bytes[first(strip) * stride..][..STRIP_ROWS * stride]).copied().collect()
}

/// Writes `bytes`, rows in the form of `packed`, as one file.
fn write(packed: &Packed, bytes: &[u8], [width, height]: [u32; 2], filter: Filter, level: Level) -> Vec<u8> {
    let mut file = Vec::new();
    let mut encoder = Encoder::new(&mut file, width, height);
    encoder.set_color(packed.colour_type);
    encoder.set_depth(packed.depth);
    if let Some(palette) = &packed.palette {
        encoder.set_palette(palette.iter().flat_map(|entry| &entry[..3]).copied().collect::<Vec<u8>>());
        // Entries without a tRNS value are opaque; the translucent ones come first, so the rest is left out.
        let translucent: Vec<u8> =
            palette.iter().map(|entry| entry[3]).take_while(|alpha| *alpha < 255).collect();
        if !translucent.is_empty() {
            encoder.set_trns(translucent);
        }
    }
    mark_srgb(&mut encoder);
    encoder.set_deflate_compression(DeflateCompression::Level(level));
    encoder.set_filter(filter);
    // A `Vec` takes whatever is written: only a side of 0 or a wrong length could fail here.
    let written = encoder.write_header().and_then(|mut writer| {
        writer.write_image_data(bytes)?;
        writer.finish()
    });
    written.expect("a raster with texels, and so many samples for each");
    file
}

/// Says that the samples are sRGB, perceptual intent, with the gAMA and cHRM that stand for it (PNG 11.3.2.5).
pub(crate) fn mark_srgb<W: std::io::Write>(encoder: &mut Encoder<'_, W>) {
    encoder.set_source_srgb(SrgbRenderingIntent::Perceptual);
    encoder.set_source_gamma(::png::ScaledFloat::from_scaled(45455));
    encoder.set_source_chromaticities(::png::SourceChromaticities::new(
        (0.3127, 0.3290),
        (0.64, 0.33),
        (0.30, 0.60),
        (0.15, 0.06),
    ));
}

//! Rasters to PNG: a small lossless form, marked as sRGB.
//!
//! Source: Portable Network Graphics (PNG) Specification, third edition (W3C Recommendation, 24 June 2025).

use crate::base::bitmap::Bitmap;
use crate::base::raster::Raster;
use crate::output::form::{Form, Packed, Palette, Scan};
use ::png::{BitDepth, DeflateCompression, Encoder, Filter, SrgbRenderingIntent};
use rayon::prelude::*;
use std::borrow::Cow;
use std::io::Write;
use std::ops::Range;

/// How much time is spent on making the file small. The texels are the same at every effort.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Effort {
    /// One quick try, for previews: fog is half as large again as with `Balanced`, or more.
    Fast,
    /// The likely filters, tried on strips of the picture.
    #[default]
    Balanced,
    /// Every filter, compressed as hard as the library can: a tenth to a quarter smaller than `Balanced`, ten times as slow.
    Small,
}

/// Deflate levels: 1 quick to 9 thorough.
type Level = u8;

/// How many strips of a picture filters are tried on, and the least rows and bytes of each: with these, and at the level of the file, the
/// best filter of the strips was the best of the whole in all pictures of the demo (`tests/bench/png.txt`). Deflate sees 32 KiB back
/// (RFC 1951, 2): in a wide picture hardly two rows. A strip's first row is next to none of its own.
const STRIPS: usize = 8;
const STRIP_ROWS: usize = 6;
const STRIP_BYTES: usize = 32 << 10;

/// One of these was the best of each picture of the demo; `Adaptive` picks among all others row by row.
const LIKELY: [Filter; 3] = [Filter::Sub, Filter::NoFilter, Filter::Adaptive];

/// Levels of `Balanced`: of textures, where level 6 wrote 4 % less of a scene's pictures in 1.7 times the time, and of all else.
const OF_TEXTURES: Level = 4;
const OF_OTHERS: Level = 6;

/// Encodes `raster`, losslessly, in a small one of the forms that PNG has for it.
///
/// Grey, palette, colour, each with or without alpha, at 8 or 16 bits. Colours under alpha 0 are kept. The file says that it
/// is sRGB (perceptual intent), with gAMA and cHRM for readers that know nothing else.
///
/// # Panics
/// If the samples are not four (of grey: one) for each texel, or a side is 0 or over 2^31 - 1: the caller checked these before it
/// allocated them.
pub fn encode(raster: Raster, effort: Effort) -> Vec<u8> {
    compress_whole(&Packed::smallest(raster), raster.size(), effort, OF_OTHERS)
}

/// The same of a texture.
pub(crate) fn encode_texture(raster: Raster, effort: Effort) -> Vec<u8> {
    compress_whole(&Packed::smallest(raster), raster.size(), effort, OF_TEXTURES)
}

/// As [`encode`], but as RGB, or RGBA if `alpha`, at the raster's own depth, whatever smaller form would hold it: for
/// readers that are promised it.
///
/// # Panics
/// As [`encode`].
pub fn encode_channels(raster: Raster, alpha: bool, effort: Effort) -> Vec<u8> {
    compress_whole(&Packed::channels(raster, true, alpha), raster.size(), effort, OF_OTHERS)
}

/// Encodes `bitmap` with 8 bits per sample as [`encode`] does, some of its rows at a time; and whether all of it is opaque.
pub(crate) fn encode_bitmap(bitmap: &Bitmap, effort: Effort) -> (Vec<u8>, bool) {
    let ([width, height], mut scan) = (bitmap.size, Scan::default());
    let together = (TOGETHER / width as usize).max(1);
    for from in (0..height as usize).step_by(together) {
        let rows = from..(from + together).min(height as usize);
        scan.take(bitmap.eight_rows(rows).as_chunks::<4>().0);
    }
    let (opaque, form) = (scan.is_opaque(), scan.form());
    let rows = |rows| {
        let samples = bitmap.eight_rows(rows);
        let packed = match form.pack(&samples) {
            Cow::Owned(packed) => Some(packed),
            Cow::Borrowed(_) => None,
        };
        packed.unwrap_or(samples)
    };
    let rows = Rows { form: &form, size: bitmap.size, together, rows: &rows, whole: None };
    (compress(&rows, effort, OF_TEXTURES), opaque)
}

/// Encodes greys of 8 bits, some rows of them at a time.
pub(crate) fn encode_greys(
    size: [u32; 2],
    rows: &(dyn Fn(Range<usize>) -> Vec<u8> + Sync),
    effort: Effort,
) -> Vec<u8> {
    let (form, [width, height]) =
        (Form::channels(false, false, BitDepth::Eight), size.map(|side| side as usize));
    let whole = (width * height <= CHUNK).then(|| rows(0..height));
    let together = (TOGETHER / width).max(1);
    compress(&Rows { form: &form, size, together, rows, whole: whole.as_deref() }, effort, OF_OTHERS)
}

/// Texels that are packed and written at once.
const TOGETHER: usize = 1 << 16;

/// Bytes of a chunk of a file that is written while it is made: enough for most files to have one.
const CHUNK: usize = 4 << 20;

/// A picture in a form, some rows at a time.
struct Rows<'a> {
    form: &'a Form,
    size: [u32; 2],
    /// How many rows are asked for together.
    together: usize,
    rows: &'a (dyn Fn(Range<usize>) -> Vec<u8> + Sync),
    /// All of them, where they are few and at hand.
    whole: Option<&'a [u8]>,
}

/// Encodes what is at hand.
fn compress_whole(packed: &Packed, size: [u32; 2], effort: Effort, balanced: Level) -> Vec<u8> {
    let stride = packed.bytes.len() / size[1].max(1) as usize;
    let rows = |rows: Range<usize>| packed.bytes[rows.start * stride..rows.end * stride].to_vec();
    let together = (TOGETHER / size[0].max(1) as usize).max(1);
    // Crate `png` filters at once what it is given at once, and holds it besides.
    let whole = (packed.bytes.len() <= CHUNK).then_some(&*packed.bytes);
    let rows = Rows { form: &packed.form, size, together, rows: &rows, whole };
    compress(&rows, effort, balanced)
}

/// Tries the effort's filters, on strips where these tell enough, and writes the file by the best; `balanced` is the level of `Balanced`.
fn compress(rows: &Rows<'_>, effort: Effort, balanced: Level) -> Vec<u8> {
    let (filters, tried, level): (&[Filter], Level, Level) = match effort {
        // PNG 12.7: indices, and steps of grey, don't change by and by.
        Effort::Fast if rows.form.bytes() == 1 => (&[Filter::NoFilter], 2, 2),
        Effort::Fast => (&[Filter::Sub], 2, 2),
        Effort::Balanced => (&LIKELY, balanced, balanced),
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
        return write(rows, *only, level);
    }
    let strips = if effort == Effort::Balanced { strips(rows) } else { None };
    let file = |filter: &Filter| match &strips {
        Some((strips, height)) => {
            let size = [rows.size[0], *height];
            write(&Rows { size, whole: Some(strips), ..*rows }, *filter, tried)
        }
        None => write(rows, *filter, tried),
    };
    let mut files: Vec<Vec<u8>> = filters.par_iter().map(file).collect();
    // The first of the smallest, so that equal sizes don't depend on the order of threads.
    let best = (0..filters.len()).min_by_key(|at| files[*at].len()).unwrap_or(0);
    if strips.is_none() && tried == level {
        return files.swap_remove(best);
    }
    drop(files);
    write(rows, filters[best], level)
}

/// Strips of a picture, evenly from its top to its foot, as one picture, and their rows; none where they would be half of it.
fn strips(rows: &Rows<'_>) -> Option<(Vec<u8>, u32)> {
    let [width, height] = rows.size.map(|side| side as usize);
    let each = STRIP_BYTES.div_ceil((width * rows.form.bytes()).max(1)).max(STRIP_ROWS);
    if 2 * STRIPS * each > height {
        return None;
    }
    let first = |strip: usize| (height - each) * strip / (STRIPS - 1);
    let strips = (0..STRIPS).flat_map(|strip| (rows.rows)(first(strip)..first(strip) + each)).collect();
    Some((strips, (STRIPS * each) as u32))
}

/// Writes a picture as one file.
fn write(rows: &Rows<'_>, filter: Filter, level: Level) -> Vec<u8> {
    let ([width, height], mut file) = (rows.size, Vec::new());
    let mut encoder = Encoder::new(&mut file, width, height);
    encoder.set_color(rows.form.colour_type);
    encoder.set_depth(rows.form.depth);
    if let Some(Palette { entries, .. }) = &rows.form.palette {
        encoder.set_palette(entries.iter().flat_map(|entry| &entry[..3]).copied().collect::<Vec<u8>>());
        // Entries without a tRNS value are opaque; the translucent ones come first, so the rest is left out.
        let translucent: Vec<u8> =
            entries.iter().map(|entry| entry[3]).take_while(|alpha| *alpha < 255).collect();
        if !translucent.is_empty() {
            encoder.set_trns(translucent);
        }
    }
    mark_srgb(&mut encoder);
    encoder.set_deflate_compression(DeflateCompression::Level(level));
    encoder.set_filter(filter);
    let written = encoder.write_header().and_then(|mut writer| {
        if let Some(whole) = rows.whole {
            writer.write_image_data(whole)?;
            return writer.finish();
        }
        let mut stream = writer.stream_writer_with_size(CHUNK)?;
        for from in (0..height as usize).step_by(rows.together) {
            stream.write_all(&(rows.rows)(from..(from + rows.together).min(height as usize)))?;
        }
        stream.finish()?;
        writer.finish()
    });
    // A `Vec` takes whatever is written: only a side of 0 or a wrong length could fail here.
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

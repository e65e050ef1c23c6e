//! Rasters to PNG: the smallest lossless form, marked as sRGB.
//!
//! Source: Portable Network Graphics (PNG) Specification, third edition (W3C Recommendation, 24 June 2025).

use crate::base::raster::Raster;
use crate::output::filter::{self, Kind};
use crate::output::form::{self, Form, Packed};
use crate::output::parts::{self, Part, Press};
use ::png::{BitDepth, ColorType, DeflateCompression, Encoder, Filter, SrgbRenderingIntent};
use rayon::prelude::*;

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

/// Encodes `raster`, losslessly, in the smallest of the forms that PNG has for it.
///
/// Grey, palette, colour, each with or without alpha, at the least depth that holds every sample exactly. Colours
/// under alpha 0 are kept. The file says that it is sRGB (perceptual intent), with gAMA and cHRM for readers that
/// know nothing else.
///
/// # Panics
/// If the samples are not four (of grey: one) for each texel, or a side is 0 or over 2^31 - 1: the caller checked these before it
/// allocated them.
pub fn encode(raster: Raster, effort: Effort) -> Vec<u8> {
    smallest(raster, form::choose(raster, effort == Effort::Small), effort)
}

/// As [`encode`], but as RGB, or RGBA if `alpha`, at the raster's own depth, whatever smaller form would hold it: for
/// readers that are promised it.
///
/// # Panics
/// As [`encode`].
pub fn encode_channels(raster: Raster, alpha: bool, effort: Effort) -> Vec<u8> {
    let depth = if matches!(raster, Raster::Sixteen { .. }) { 16 } else { 8 };
    smallest(raster, vec![Form { colour: true, alpha, depth, palette: None }], effort)
}

fn smallest(raster: Raster, forms: Vec<Form>, effort: Effort) -> Vec<u8> {
    let [width, height] = raster.size();
    let (length, each) = match raster {
        Raster::Eight { samples, .. } => (samples.len(), 4),
        Raster::Grey { samples, .. } => (samples.len(), 1),
        Raster::Sixteen { samples, .. } => (samples.len(), 4),
    };
    assert!(width > 0 && height > 0, "a raster without texels");
    assert_eq!(length as u64, u64::from(width) * u64::from(height) * each, "so many samples for each texel");
    let packed: Vec<Packed> = forms.iter().map(|form| form.pack(raster)).collect();
    let write = |(at, filter, level): (usize, Filter, Level)| {
        write([width, height], &forms[at], &packed[at], filter, level)
    };
    // Each filter at a quick level, then the best two at a thorough one: that finds the best of all in most cases. Of a large
    // picture strips are tried, and the best filter alone is taken.
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
    let tries: Vec<(usize, Filter, Level)> = (0..forms.len())
        .flat_map(|at| {
            // Filters predict from whole bytes: below 8 bits they only add noise (PNG 12.7 advises none).
            let filters = if forms[at].depth < 8 { &[Filter::NoFilter][..] } else { filters };
            filters.iter().map(move |filter| (at, *filter, quick))
        })
        .collect();
    if effort == Effort::Balanced && height >= 4 * STRIPS * STRIP {
        let tried: Vec<Packed> = packed.iter().map(|packed| strips(packed, height)).collect();
        let length = |&(at, filter, level): &(usize, Filter, Level)| {
            self::write([width, STRIPS * STRIP], &forms[at], &tried[at], filter, level).len()
        };
        let lengths: Vec<usize> = tries.par_iter().map(length).collect();
        let best = (0..tries.len()).min_by_key(|at| lengths[*at]).unwrap_or(0);
        return write((tries[best].0, tries[best].1, thorough));
    }
    let mut files: Vec<Vec<u8>> = tries.par_iter().copied().map(write).collect();
    if quick != thorough {
        let mut order: Vec<usize> = (0..tries.len()).collect();
        order.sort_by_key(|at| files[*at].len());
        // An adaptive filter often comes to the same as a fixed one.
        order.dedup_by_key(|at| files[*at].len());
        let best: Vec<(usize, Filter, Level)> =
            order.iter().take(2).map(|at| (tries[*at].0, tries[*at].1, thorough)).collect();
        files.extend(best.into_par_iter().map(write).collect::<Vec<_>>());
    }
    // The first of the smallest, so that equal sizes don't depend on the order of threads.
    files.into_iter().min_by_key(Vec::len).unwrap_or_default()
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

/// How many strips of a large picture filters are tried on, and their rows.
const STRIPS: u32 = 8;
const STRIP: u32 = 24;

/// Strips of a packed picture, evenly from its top to its foot, as a picture.
fn strips(packed: &Packed, height: u32) -> Packed {
    let stride = packed.0.len() / height as usize;
    let mut out = Vec::with_capacity((STRIPS * STRIP) as usize * stride);
    for strip in 0..STRIPS {
        let from = (u64::from(height - STRIP) * u64::from(strip) / u64::from(STRIPS - 1)) as usize;
        out.extend_from_slice(&packed.0[from * stride..(from + STRIP as usize) * stride]);
    }
    Packed(out)
}

/// Writes one file.
fn write([width, height]: [u32; 2], form: &Form, packed: &Packed, filter: Filter, level: Level) -> Vec<u8> {
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
    mark_srgb(&mut encoder);
    encoder.set_deflate_compression(DeflateCompression::Level(level));
    encoder.set_filter(filter);
    let own = own(filter).filter(|_| packed.0.len() >= 2 * PART);
    // A `Vec` takes whatever is written, and the header was checked: only a wrong length could fail here.
    let written = encoder.write_header().and_then(|mut writer| {
        match own {
            Some(kind) => {
                let stride = packed.0.len() / height as usize;
                parts::write(in_parts(packed, stride, form.back(), kind, level), &mut writer)?;
            }
            None => writer.write_image_data(&packed.0)?,
        }
        writer.finish()
    });
    written.expect("the header and the length of the samples are right");
    file
}

/// Bytes of a part of a large picture, about: many times deflate's window of 32 KiB, which begins anew with each.
const PART: usize = 1 << 20;

/// The same filter for parts, where there is one.
fn own(filter: Filter) -> Option<Kind> {
    Some(match filter {
        Filter::NoFilter => Kind::Fixed(0),
        Filter::Sub => Kind::Fixed(1),
        Filter::Up => Kind::Fixed(2),
        Filter::Avg => Kind::Fixed(3),
        Filter::Paeth => Kind::Fixed(4),
        Filter::Adaptive => Kind::Adaptive,
        _ => return None,
    })
}

/// Filters and compresses a picture's rows in parts, side by side.
fn in_parts(packed: &Packed, stride: usize, back: usize, kind: Kind, level: Level) -> Vec<Part> {
    let rows = PART.div_ceil(stride);
    let count = packed.0.len() / stride;
    let part = |(press, filtered): &mut (Press, Vec<u8>), at: usize| {
        let (from, to) = (at * rows, count.min((at + 1) * rows));
        filtered.clear();
        let first = vec![0; stride];
        for row in from..to {
            let above = if row == 0 { &first } else { &packed.0[(row - 1) * stride..row * stride] };
            filter::row(kind, &packed.0[row * stride..(row + 1) * stride], above, back, filtered);
        }
        press.part(filtered, to == count)
    };
    parts::side_by_side(count.div_ceil(rows), || (Press::new(level), Vec::new()), part)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::seed;

    /// Large pictures are filtered and compressed in parts of our own; crate `png` must read back what went in.
    #[test]
    fn parts_come_back_under_every_filter() {
        let size = [701_u32, 1201];
        for (alpha, colour, depth) in [(true, true, 8), (false, true, 8), (false, false, 8), (true, true, 16)]
        {
            let form = Form { colour, alpha, depth, palette: None };
            let stride = size[0] as usize * form.back();
            // A slope, so that filters differ, with dice over it.
            let byte =
                |at: usize| ((at % stride / 3 + at / stride) as u64 + seed::hash(7, at as i64, 0) % 5) as u8;
            let packed = Packed((0..stride * size[1] as usize * 3).map(byte).collect());
            let size = [size[0], size[1] * 3];
            for filter in
                [Filter::NoFilter, Filter::Sub, Filter::Up, Filter::Avg, Filter::Paeth, Filter::Adaptive]
            {
                assert!(own(filter).is_some() && packed.0.len() >= 2 * PART);
                let file = write(size, &form, &packed, filter, 1);
                let mut reader = ::png::Decoder::new(std::io::Cursor::new(&file)).read_info().unwrap();
                let mut texels = vec![0; reader.output_buffer_size().unwrap()];
                reader.next_frame(&mut texels).unwrap();
                assert!(texels == packed.0, "{filter:?} of {form:?}");
            }
        }
    }
}

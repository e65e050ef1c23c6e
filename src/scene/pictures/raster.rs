//! PNG files to texels.
//!
//! Source: PNG Specification, third edition (W3C Recommendation, 24 June 2025).

use crate::base::fault::{Class, Fault};
use crate::base::limits::Limits;
use crate::base::picture::Picture;
use crate::base::room;
use crate::base::words::Blending;
use crate::scene::pictures::scale::Target;
use crate::scene::pictures::{check_size, contained};
use png::{BitDepth, ColorType, Transformations};
use std::io::Cursor;

/// Room for the decoder's own buffers and for profiles and texts in the file, bytes.
const SLACK: u64 = 64 << 20;

/// What has no room where a fault says so.
const WHAT: &str = "a picture";

/// What a PNG says before its pixels.
pub(super) struct Head {
    /// Width and height in texels.
    pub size: [u32; 2],
    /// What of it is not honoured.
    pub warnings: Vec<String>,
}

/// Reads all that stands before the pixels.
pub(super) fn head(bytes: &[u8], limits: &Limits) -> Result<Head, Fault> {
    contained(|| {
        let reader = reader(bytes, limits)?;
        let info = reader.info();
        let mut warnings = Vec::new();
        // PNG 4.3 ranks them: cICP, iCCP, sRGB, then gAMA with cHRM.
        let foreign = match (&info.coding_independent_code_points, &info.icc_profile, info.srgb) {
            // BT.709 primaries (1) with the sRGB transfer (13), ITU-T H.273.
            (Some(points), ..) if (points.color_primaries, points.transfer_function) == (1, 13) => None,
            (Some(_), ..) => Some("colour codes (cICP) other than sRGB"),
            (None, Some(_), _) => Some("a colour profile"),
            (None, None, Some(_)) => None,
            (None, None, None) => info
                .gama_chunk
                .filter(|gamma| !(45_000..=46_000).contains(&gamma.into_scaled()))
                .map(|_| "a gamma other than that of sRGB"),
        };
        if let Some(foreign) = foreign {
            warnings.push(format!(
                "it has {foreign}, which is ignored: convert it to sRGB if the colours look wrong"
            ));
        }
        if info.animation_control.is_some() {
            warnings.push("it is animated: only its first picture is used".into());
        }
        Ok(Head { size: [info.width, info.height], warnings })
    })
}

/// A decoder that has read all that stands before the pixels, bounded in what it may take.
fn reader<'a>(bytes: &'a [u8], limits: &Limits) -> Result<png::Reader<Cursor<&'a [u8]>>, Fault> {
    let mut decoder =
        png::Decoder::new_with_limits(Cursor::new(bytes), png::Limits { bytes: SLACK as usize });
    decoder.set_ignore_text_chunk(true);
    // Indices to colours, depths below 8 to 8, tRNS to alpha.
    decoder.set_transformations(Transformations::EXPAND);
    let info = decoder.read_header_info().map_err(broken)?;
    let size = [info.width, info.height];
    check_size(size, "the PNG is", limits)?;
    // Eight bytes for each texel; the row buffers count as well.
    let most = u64::from(size[0]) * u64::from(size[1]) * 8 + SLACK;
    decoder.set_limits(png::Limits { bytes: most as usize });
    decoder.read_info().map_err(broken)
}

/// Draws the pixels at `size`, exactly where that is their own. The file is decoded some rows at a time, so that no more than those are held
/// of a large one; an interlaced one as a whole, as its file holds it.
pub(super) fn draw(
    bytes: &[u8],
    size: [u32; 2],
    wraps: bool,
    blending: Blending,
    limits: &Limits,
) -> Result<Picture, Fault> {
    contained(|| {
        let mut reader = reader(bytes, limits)?;
        let own = [reader.info().width, reader.info().height];
        let (colour_type, depth) = reader.output_color_type();
        let deep = depth == BitDepth::Sixteen;
        let line = reader.output_line_size(own[0]).ok_or_else(swollen)?;
        let mut target = Target::new(own, size, deep, wraps, blending)?;
        let band = line * target.band();
        let mut take = |samples: &[u8]| {
            if deep {
                target.take(&texels(samples, colour_type, u16::from_be_bytes))
            } else {
                // A code times 257 is exact (PNG 12.4).
                target.take(&texels(samples, colour_type, |[code]| u16::from(code) * 257))
            }
        };
        if reader.info().interlaced {
            let mut samples = room::zeroed(reader.output_buffer_size().ok_or_else(swollen)?, WHAT)?;
            reader.next_frame(&mut samples).map_err(broken)?;
            samples.chunks(band).try_for_each(&mut take)?;
        } else {
            let mut samples = Vec::with_capacity(band);
            while let Some(row) = reader.next_row().map_err(broken)? {
                samples.extend_from_slice(row.data());
                if samples.len() >= band {
                    take(&samples)?;
                    samples.clear();
                }
            }
            take(&samples)?;
        }
        target.finish()
    })
}

/// Samples of `N` bytes each to texels.
fn texels<const N: usize>(
    samples: &[u8],
    colour_type: ColorType,
    value: fn([u8; N]) -> u16,
) -> Vec<[u16; 4]> {
    fn each<const N: usize, const C: usize>(
        samples: &[u8],
        value: fn([u8; N]) -> u16,
        texel: fn([u16; C]) -> [u16; 4],
    ) -> Vec<[u16; 4]> {
        samples.as_chunks().0.as_chunks().0.iter().map(|samples| texel(samples.map(value))).collect()
    }
    match colour_type {
        ColorType::Grayscale => each(samples, value, |[v]| [v, v, v, u16::MAX]),
        ColorType::GrayscaleAlpha => each(samples, value, |[v, alpha]| [v, v, v, alpha]),
        ColorType::Rgb => each(samples, value, |[r, g, b]| [r, g, b, u16::MAX]),
        // No indices are left.
        ColorType::Rgba | ColorType::Indexed => each(samples, value, |texel| texel),
    }
}

fn broken(error: png::DecodingError) -> Fault {
    match error {
        png::DecodingError::IoError(_) => cut_short(),
        png::DecodingError::LimitsExceeded => swollen(),
        _ => Fault::new(Class::Picture, format!("the PNG is damaged: {error}")).remedy("Save it again."),
    }
}

fn cut_short() -> Fault {
    Fault::new(Class::Picture, "the PNG is truncated").remedy("Copy or save it again.")
}

fn swollen() -> Fault {
    Fault::new(Class::Limit, "the PNG unpacks to far more data than its size needs")
        .remedy("Save it again without profiles and text.")
}

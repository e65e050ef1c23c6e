//! PNG files to texels.
//!
//! Source: PNG Specification, third edition (W3C Recommendation, 24 June 2025).

use crate::base::fault::{Class, Fault};
use crate::base::limits::Limits;
use crate::base::picture::Picture;
use crate::scene::pictures::{check_size, contained};
use image::codecs::png::PngDecoder;
use image::{DynamicImage, ImageError};
use std::io::Cursor;

/// Room for the decoder's own buffers and for profiles and texts in the file, bytes.
const SLACK: u64 = 64 << 20;

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
        let mut decoder =
            png::Decoder::new_with_limits(Cursor::new(bytes), png::Limits { bytes: SLACK as usize });
        decoder.set_ignore_text_chunk(true);
        let info = decoder.read_header_info().map_err(|error| broken(&error))?;
        let size = [info.width, info.height];
        check_size(size, "the PNG is", limits)?;
        // The row buffers count as well.
        decoder.set_limits(png::Limits { bytes: allocation(size) as usize });
        let reader = decoder.read_info().map_err(|error| broken(&error))?;
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
        Ok(Head { size, warnings })
    })
}

/// Decodes the pixels, exactly.
pub(super) fn decode(bytes: &[u8], limits: &Limits) -> Result<Picture, Fault> {
    let size = head(bytes, limits)?.size;
    contained(|| {
        let mut bounds = image::Limits::no_limits();
        bounds.max_image_width = Some(limits.side);
        bounds.max_image_height = Some(limits.side);
        bounds.max_alloc = Some(allocation(size));
        let decoded =
            PngDecoder::with_limits(Cursor::new(bytes), bounds).and_then(DynamicImage::from_decoder);
        texels(decoded.map_err(refused)?)
    })
}

/// Most bytes that decoding may take: eight for each texel, and slack.
fn allocation([width, height]: [u32; 2]) -> u64 {
    u64::from(width) * u64::from(height) * 8 + SLACK
}

/// To 16 bits: a code times 257 is exact (PNG 12.4).
fn texels(image: DynamicImage) -> Result<Picture, Fault> {
    fn eight<const N: usize>(samples: Vec<u8>, make: fn([u8; N]) -> [u8; 4]) -> Vec<[u16; 4]> {
        samples.as_chunks::<N>().0.iter().map(|s| make(*s).map(|code| u16::from(code) * 257)).collect()
    }
    fn sixteen<const N: usize>(samples: Vec<u16>, make: fn([u16; N]) -> [u16; 4]) -> Vec<[u16; 4]> {
        samples.as_chunks::<N>().0.iter().map(|s| make(*s)).collect()
    }
    let size = [image.width(), image.height()];
    let (deep, texels) = match image {
        DynamicImage::ImageLuma8(i) => (false, eight(i.into_raw(), |[v]| [v, v, v, 255])),
        DynamicImage::ImageLumaA8(i) => (false, eight(i.into_raw(), |[v, a]| [v, v, v, a])),
        DynamicImage::ImageRgb8(i) => (false, eight(i.into_raw(), |[r, g, b]| [r, g, b, 255])),
        DynamicImage::ImageRgba8(i) => (false, eight(i.into_raw(), |texel: [u8; 4]| texel)),
        DynamicImage::ImageLuma16(i) => (true, sixteen(i.into_raw(), |[v]| [v, v, v, 65535])),
        DynamicImage::ImageLumaA16(i) => (true, sixteen(i.into_raw(), |[v, a]| [v, v, v, a])),
        DynamicImage::ImageRgb16(i) => (true, sixteen(i.into_raw(), |[r, g, b]| [r, g, b, 65535])),
        DynamicImage::ImageRgba16(i) => (true, sixteen(i.into_raw(), |texel: [u16; 4]| texel)),
        _ => {
            return Err(Fault::new(Class::Picture, "the PNG has an unknown pixel format")
                .remedy("Save it as RGBA with 8 or 16 bits."));
        }
    };
    Ok(Picture { size, deep, texels })
}

fn broken(error: &png::DecodingError) -> Fault {
    match error {
        png::DecodingError::IoError(_) => cut_short(),
        png::DecodingError::LimitsExceeded => swollen(),
        _ => Fault::new(Class::Picture, format!("the PNG is damaged: {error}")).remedy("Save it again."),
    }
}

fn refused(error: ImageError) -> Fault {
    match &error {
        ImageError::IoError(_) => cut_short(),
        ImageError::Limits(_) => swollen(),
        ImageError::Decoding(inner) => {
            let inner = std::error::Error::source(inner).and_then(|inner| inner.downcast_ref());
            inner.map_or_else(
                || {
                    Fault::new(Class::Picture, format!("the PNG is damaged: {error}"))
                        .remedy("Save it again.")
                },
                broken,
            )
        }
        _ => {
            Fault::new(Class::Picture, format!("the PNG can't be decoded: {error}")).remedy("Save it again.")
        }
    }
}

fn cut_short() -> Fault {
    Fault::new(Class::Picture, "the PNG is truncated").remedy("Copy or save it again.")
}

fn swollen() -> Fault {
    Fault::new(Class::Limit, "the PNG unpacks to far more data than its size needs")
        .remedy("Save it again without profiles and text.")
}

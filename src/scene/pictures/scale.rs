//! Resampling by convolution, on premultiplied 16-bit integers.

use crate::base::fault::{Class, Fault};
use crate::base::picture::Picture;
use crate::base::words::Blending;
use crate::scene::pictures::bleeding::{Doubt, Trust, bleed_doubtful};
use fast_image_resize::images::{TypedImage, TypedImageRef};
use fast_image_resize::pixels::U16x4;
use fast_image_resize::{FilterType, ResizeAlg, ResizeOptions, Resizer};
use std::sync::LazyLock;

/// Radius of the Catmull-Rom kernel, in texels of the coarser side.
const RADIUS: f64 = 2.0;

/// In doubt below an 8-bit step: under alphas that 8 bits can hardly tell from 0.
const TRUST: Trust = Trust { known: 257, blind: 257 };

/// The picture at exactly `size`, which is not 0.
///
/// Premultiplied 16-bit values, rounded in each of two passes, keep a colour to 1.5 / alpha of a 16-bit step: half an
/// 8-bit step where alpha is 3/255. Below that, colours mix with their neighbours (`bleeding`). Linear light costs near black
/// what it gains elsewhere: the darkest 8-bit code is kept to 1 part in 40.
pub(super) fn resize(
    picture: Picture,
    size: [u32; 2],
    wraps: bool,
    blending: Blending,
) -> Result<Picture, Fault> {
    let [width, height] = picture.size;
    let deep = picture.deep;
    let pad = if wraps { padding(width, size[0]) } else { 0 };
    let source = premultiplied(&picture, pad, blending);
    drop(picture);
    let options = ResizeOptions::new()
        .resize_alg(ResizeAlg::Convolution(FilterType::CatmullRom))
        .use_alpha(false)
        // The kernel reads beyond the crop: into the padding.
        .crop(f64::from(pad), 0.0, f64::from(width), f64::from(height));
    let mut target = TypedImage::<U16x4>::new(size[0], size[1]);
    let outcome = TypedImageRef::new(width + 2 * pad, height, &source)
        .map_err(|error| error.to_string())
        .and_then(|source| {
            Resizer::new().resize_typed(&source, &mut target, &options).map_err(|error| error.to_string())
        });
    outcome.map_err(|error| {
        Fault::new(Class::Picture, format!("the picture can't be resized: {error}")).remedy("Save it again.")
    })?;
    drop(source);
    let linear = blending == Blending::Linear;
    let tables = linear.then(|| &*TABLES);
    let encode = |value: u16| tables.map_or(value, |tables| tables.encode[usize::from(value)]);
    let mut doubts = Vec::with_capacity(target.pixels().len());
    let texels = target
        .pixels()
        .iter()
        .map(|pixel| {
            let [r, g, b, alpha] = pixel.0;
            // Two passes round once each.
            doubts.push(Doubt::new([r, g, b], alpha, 1).encoded(encode));
            let [r, g, b] = [r, g, b].map(|value| encode(straight(value, alpha)));
            [r, g, b, alpha]
        })
        .collect();
    let mut picture = Picture { size, deep, texels };
    bleed_doubtful(&mut picture, &doubts, TRUST, wraps);
    Ok(picture)
}

/// Texels to add on each side so that the kernel sees the next period.
fn padding(from: u32, to: u32) -> u32 {
    let shrink = (f64::from(from) / f64::from(to)).max(1.0);
    (RADIUS * shrink).ceil() as u32 + 1
}

fn premultiplied(picture: &Picture, pad: u32, blending: Blending) -> Vec<U16x4> {
    let tables = (blending == Blending::Linear).then(|| &*TABLES);
    let (width, pad) = (picture.size[0] as usize, pad as usize);
    let mut pixels = Vec::with_capacity((width + 2 * pad) * picture.size[1] as usize);
    for row in picture.texels.chunks_exact(width) {
        let start = (width - pad % width) % width;
        pixels.extend(row.iter().cycle().skip(start).take(width + 2 * pad).map(|&[r, g, b, alpha]| {
            let [r, g, b] = [r, g, b].map(|value| {
                let value = tables.map_or(value, |tables| tables.decode[usize::from(value)]);
                ((u64::from(value) * u64::from(alpha) + 32767) / 65535) as u16
            });
            U16x4::new([r, g, b, alpha])
        }));
    }
    pixels
}

/// PNG 12.3: divided by alpha, rounded; 0 where alpha is.
fn straight(value: u16, alpha: u16) -> u16 {
    let (value, alpha) = (u32::from(value), u32::from(alpha));
    (value * 65535 + alpha / 2).checked_div(alpha).map_or(0, |code| code.min(65535) as u16)
}

struct Tables {
    decode: Vec<u16>,
    encode: Vec<u16>,
}

/// IEC 61966-2-1 on 16-bit codes.
static TABLES: LazyLock<Tables> = LazyLock::new(|| {
    let table = |curve: fn(f64) -> f64| {
        (0..=u16::MAX).map(|code| (curve(f64::from(code) / 65535.0) * 65535.0 + 0.5) as u16).collect()
    };
    Tables {
        decode: table(|v| if v <= 0.04045 { v / 12.92 } else { libm::pow((v + 0.055) / 1.055, 2.4) }),
        encode: table(|v| if v <= 0.003_130_8 { v * 12.92 } else { 1.055 * libm::pow(v, 1.0 / 2.4) - 0.055 }),
    }
});

//! Sheets to PNG, band by band: each is drawn, filtered and compressed by itself, on whatever thread is free, and the sheet never
//! exists whole in memory.

use crate::base::simd::vectorize;
use crate::base::words::Bits;
use crate::output::filter;
use crate::output::parts::{self, Press};
use crate::steps::dither;
use crate::steps::sheet::{Row, Sheet};
use ::png::{BitDepth, ColorType, Encoder, EncodingError};

/// Rows of a band: enough for deflate to find what repeats, little enough to stay small beside the field.
const BAND: usize = 48;

/// Level of deflate. On dithered opacities level 2 writes 1.7 times the bytes of level 6 in a fifth of its time; level 1 saves
/// another half of the time for 1.6 times the bytes; the quick compressor of level 0 is slower than level 1 and writes more.
const LEVEL: u8 = 2;

/// How a sheet's texels are stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Form {
    /// One colour, 8 bits: the palette's 256 entries are the opacities.
    Opacities,
    /// RGBA, 8 bits.
    Eight,
    /// RGBA, 16 bits.
    Sixteen,
}

impl Form {
    fn bytes(self) -> usize {
        match self {
            Form::Opacities => 1,
            Form::Eight => 4,
            Form::Sixteen => 8,
        }
    }
}

/// Encodes `width` columns of `sheet`, wrapping, losslessly, in the smallest form that holds it: 256 opacities of one colour
/// where it has one colour and 8 bits, else RGBA. Colour is kept where opacity is 0; 8-bit opacities are dithered.
pub fn sheet(sheet: &Sheet, width: u32, bits: Bits) -> Vec<u8> {
    let mut out = Vec::new();
    // Writing to memory can't fail, and the header is ours.
    write(sheet, width, bits, &mut out).unwrap_or_default();
    out
}

fn form(sheet: &Sheet, bits: Bits) -> Form {
    match (bits, sheet.colour()) {
        (Bits::Eight, Some(_)) => Form::Opacities,
        (Bits::Eight, None) => Form::Eight,
        (Bits::Sixteen, _) => Form::Sixteen,
    }
}

fn write(sheet: &Sheet, width: u32, bits: Bits, out: &mut Vec<u8>) -> Result<(), EncodingError> {
    let form = form(sheet, bits);
    let stride = width as usize * form.bytes();
    let fresh = || (Press::new(LEVEL), Vec::new());
    let deflated = draw(sheet, width, bits, fresh, |(press, filtered), texels, last| {
        filtered.clear();
        for row in texels.chunks(stride) {
            filter::sub(row, form.bytes(), filtered);
        }
        press.part(filtered, last)
    });
    // The palette and what marks the colours take the rest.
    out.reserve(parts::bytes(&deflated) + (1 << 11));
    let mut encoder = Encoder::new(out, width, sheet.size()[1]);
    super::png::mark_srgb(&mut encoder);
    encoder.set_depth(if form == Form::Sixteen { BitDepth::Sixteen } else { BitDepth::Eight });
    match (form, sheet.colour()) {
        (Form::Opacities, Some(colour)) => {
            encoder.set_color(ColorType::Indexed);
            encoder.set_palette(colour.to_codes().repeat(256));
            encoder.set_trns((0..=255).collect::<Vec<u8>>());
        }
        _ => encoder.set_color(ColorType::Rgba),
    }
    let mut writer = encoder.write_header()?;
    parts::write(deflated, &mut writer)?;
    writer.finish()
}

/// Draws `width` columns of `sheet`, wrapping, and hands its texels to `taker` band by band, side by side, as the bytes that a PNG
/// of it filters: an opacity a texel, or R, G, B and opacity of 8 or 16 bits, the high byte first; and whether it is the last band.
/// What it made of them comes back in order. Each thread begins with something `fresh`, which `taker` is given every time.
pub fn draw<K, T: Send>(
    sheet: &Sheet,
    width: u32,
    bits: Bits,
    fresh: impl Fn() -> K + Sync,
    taker: impl Fn(&mut K, &[u8], bool) -> T + Sync,
) -> Vec<T> {
    let form = form(sheet, bits);
    let stride = width as usize * form.bytes();
    let [cols, rows] = sheet.size().map(|side| side as usize);
    let band = |(row, texels, kept): &mut (Row, Vec<u8>, K), from: usize| {
        let to = rows.min(from + BAND);
        texels.resize(stride * (to - from), 0);
        for (y, out) in (from..to).zip(texels.chunks_mut(stride)) {
            vectorize(
                #[inline(always)]
                || {
                    match form {
                        Form::Opacities => sheet.opacities(y, 0, width as usize, row),
                        Form::Eight | Form::Sixteen => sheet.row(y, 0, width as usize, row),
                    }
                    pack(form, y, cols, row, out);
                },
            );
        }
        taker(kept, texels, to == rows)
    };
    parts::side_by_side(
        rows.div_ceil(BAND),
        || (Row::default(), Vec::new(), fresh()),
        |kept, at| band(kept, at * BAND),
    )
}

/// Writes a row's texels as bytes of the file. The dither starts anew with every period of `cols`, so that texels repeat exactly.
#[inline(always)]
fn pack(form: Form, y: usize, cols: usize, row: &mut Row, out: &mut [u8]) {
    match form {
        Form::Opacities => {
            let thresholds = dither::row(y);
            for (codes, alphas) in out.chunks_mut(cols).zip(row.alpha.chunks(cols)) {
                let (tiles, rest) = codes.as_chunks_mut::<{ dither::SIDE }>();
                let (whole, part) = alphas.as_chunks::<{ dither::SIDE }>();
                for (codes, alphas) in tiles.iter_mut().zip(whole) {
                    for at in 0..dither::SIDE {
                        codes[at] = dither::code(alphas[at], thresholds[at]);
                    }
                }
                for ((code, alpha), threshold) in rest.iter_mut().zip(part).zip(thresholds) {
                    *code = dither::code(*alpha, *threshold);
                }
            }
        }
        Form::Eight => dither::texels(y, row.texels(), cols, out),
        Form::Sixteen => {
            // 16-bit samples are stored with the high byte first (W3C PNG).
            for (sample, value) in out.as_chunks_mut::<2>().0.iter_mut().zip(row.texels().as_flattened()) {
                *sample = ((value * 65535.0 + 0.5) as u16).to_be_bytes();
            }
        }
    }
}

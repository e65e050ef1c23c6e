//! Sheets to PNG, band by band: while one band is encoded the next is drawn, and the sheet never exists whole in memory.

use crate::sheet::{Bits, Row, Sheet, dither};
use ::png::{BitDepth, ColorType, DeflateCompression, Encoder, Filter};
use rayon::prelude::*;
use std::io::{self, Write};

/// Rows of a band: enough to keep two threads busy, little enough to stay small beside the field.
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

fn write(sheet: &Sheet, width: u32, bits: Bits, out: &mut Vec<u8>) -> io::Result<()> {
    let form = form(sheet, bits);
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
    encoder.set_filter(Filter::Sub);
    encoder.set_deflate_compression(DeflateCompression::Level(LEVEL));
    let mut writer = encoder.write_header()?;
    let mut stream = writer.stream_writer_with_size(1 << 16)?;
    draw(sheet, width, bits, |texels| stream.write_all(texels))?;
    stream.finish()?;
    writer.finish()?;
    Ok(())
}

/// Draws `width` columns of `sheet`, wrapping, and hands its texels to `taker` band by band, as the bytes that a PNG of it
/// filters: an opacity a texel, or R, G, B and opacity of 8 or 16 bits, the high byte first. While one band is taken the next is
/// drawn.
pub fn draw(
    sheet: &Sheet,
    width: u32,
    bits: Bits,
    mut taker: impl FnMut(&[u8]) -> io::Result<()> + Send,
) -> io::Result<()> {
    let form = form(sheet, bits);
    let stride = width as usize * form.bytes();
    let rows = sheet.size()[1] as usize;
    let band = |from: usize, mut texels: Vec<u8>| {
        let count = BAND.min(rows.saturating_sub(from));
        texels.resize(stride * count, 0);
        texels.par_chunks_mut(stride).enumerate().for_each_init(Row::default, |row, (y, out)| {
            match form {
                Form::Opacities => sheet.opacities(from + y, 0, width as usize, row),
                Form::Eight | Form::Sixteen => sheet.row(from + y, 0, width as usize, row),
            }
            pack(form, from + y, sheet.size()[0] as usize, row, out);
        });
        texels
    };
    let (mut ready, mut spare) = (band(0, Vec::new()), Vec::new());
    for from in (0..rows).step_by(BAND) {
        let next = std::mem::take(&mut spare);
        let (taken, drawn) = rayon::join(|| taker(&ready), || band(from + BAND, next));
        taken?;
        spare = std::mem::replace(&mut ready, drawn);
    }
    Ok(())
}

/// Writes a row's texels as bytes of the file. The dither starts anew with every period of `cols`, so that texels repeat exactly.
fn pack(form: Form, y: usize, cols: usize, row: &Row, out: &mut [u8]) {
    let thresholds = dither::row(y);
    match form {
        Form::Opacities => {
            for (codes, alphas) in out.chunks_mut(cols).zip(row.alpha.chunks(cols)) {
                for (codes, alphas) in codes.chunks_mut(dither::SIDE).zip(alphas.chunks(dither::SIDE)) {
                    for ((code, alpha), threshold) in codes.iter_mut().zip(alphas).zip(thresholds) {
                        *code = dither::code(*alpha, *threshold);
                    }
                }
            }
        }
        Form::Eight => {
            for (at, (texel, alpha)) in out.chunks_exact_mut(4).zip(&row.alpha).enumerate() {
                for (code, value) in texel.iter_mut().zip(row.colour[at]) {
                    *code = (value * 255.0 + 0.5) as u8;
                }
                texel[3] = dither::code(*alpha, thresholds[at % cols % dither::SIDE]);
            }
        }
        Form::Sixteen => {
            // 16-bit samples are stored with the high byte first (W3C PNG).
            for ((texel, alpha), colour) in out.chunks_exact_mut(8).zip(&row.alpha).zip(&row.colour) {
                let [r, g, b] = *colour;
                for (sample, value) in texel.chunks_exact_mut(2).zip([r, g, b, *alpha]) {
                    sample.copy_from_slice(&((value * 65535.0 + 0.5) as u16).to_be_bytes());
                }
            }
        }
    }
}

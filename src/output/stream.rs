//! Sheets, rims and the still to PNG, band by band: each is drawn, filtered and compressed by itself, on whatever thread is free, and the
//! picture never exists whole in memory.
//!
//! Crate `png` compresses a whole picture on one thread; for the same time of the processor this shares the work out over all of
//! them and holds less than half of the memory (`tests/bench/png.txt`). A band ends on a whole byte, by an empty stored block (RFC 1951,
//! 3.2.4), and nothing in it refers to what came before, so the bands together are one zlib stream; its check is put together from
//! those of the bands (RFC 1950, 2.2).

use crate::base::bitmap::Bytes;
use crate::base::simd::vectorize;
use crate::base::units::Camera;
use crate::base::words::Bits;
use crate::rim::Rim;
use crate::stack::{Stack, still};
use crate::steps::dither;
use crate::steps::sheet::{Row, Sheet};
use ::png::chunk::IDAT;
use ::png::{BitDepth, ColorType, Encoder, EncodingError, Writer};
use flate2::Compression;
use flate2::write::DeflateEncoder;
use rayon::prelude::*;
use std::io::Write;

/// Rows of a band: enough for deflate to find what repeats, little enough to stay small beside the field.
const BAND: usize = 48;

/// Runs of bands for each thread: enough that none waits long for the last, few since each has buffers of its own.
const RUNS: usize = 4;

/// Level of deflate. On dithered opacities level 2 writes 1.7 times the bytes of level 6 in a fifth of its time; level 1 saves
/// another half of the time for 1.6 times the bytes; the quick compressor of level 0 is slower than level 1 and writes more.
const LEVEL: u32 = 2;
/// The same of rims, in colours that change from texel to texel: level 2 would make them larger by two fifths, level 6 smaller by a
/// twelfth in twice the time.
const THOROUGH: u32 = 5;

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
    fn new(sheet: &Sheet, bits: Bits) -> Form {
        match (bits, sheet.colour()) {
            (Bits::Eight, Some(_)) => Form::Opacities,
            (Bits::Eight, None) => Form::Eight,
            (Bits::Sixteen, _) => Form::Sixteen,
        }
    }

    /// Bits of a sample.
    fn depth(self) -> BitDepth {
        if self == Form::Sixteen { BitDepth::Sixteen } else { BitDepth::Eight }
    }

    /// Bytes of a texel.
    fn bytes(self) -> usize {
        match self {
            Form::Opacities => 1,
            Form::Eight => 4,
            Form::Sixteen => 8,
        }
    }
}

/// A compressed band.
struct Band {
    deflated: Vec<u8>,
    /// Adler-32 of its filtered bytes, and their number.
    check: u32,
    length: u64,
    /// Whether it ends the stream.
    last: bool,
}

/// Encodes `width` columns of `sheet`, wrapping, losslessly, in the smallest form that holds it: 256 opacities of one colour
/// where it has one colour and 8 bits, else RGBA. Colour is kept where opacity is 0; 8-bit opacities are dithered.
pub fn sheet(sheet: &Sheet, width: u32, bits: Bits) -> Vec<u8> {
    let form = Form::new(sheet, bits);
    let bands =
        draw(sheet, width, bits, |rows, last| compress(rows, width as usize, form.bytes(), LEVEL, last));
    let head = |encoder: &mut Encoder<'_, &mut Vec<u8>>| {
        encoder.set_depth(form.depth());
        match (form, sheet.colour()) {
            (Form::Opacities, Some(colour)) => {
                encoder.set_color(ColorType::Indexed);
                encoder.set_palette(colour.to_codes().repeat(256));
                encoder.set_trns((0..=255).collect::<Vec<u8>>());
            }
            _ => encoder.set_color(ColorType::Rgba),
        }
    };
    file([width, sheet.size()[1]], head, |stream| bands.into_iter().for_each(|band| stream.put(band)))
}

/// Encodes a rim, losslessly, as RGBA: colour is kept where opacity is 0; 8-bit opacities are dithered.
pub fn rim(rim: &Rim, bits: Bits) -> Vec<u8> {
    let ([width, height], form) = (rim.size(), if bits == Bits::Eight { Form::Eight } else { Form::Sixteen });
    let size = [width, height].map(|side| side as usize);
    let draw = |y: usize, row: &mut Row, out: &mut [u8]| {
        rim.row(y, row);
        vectorize(
            #[inline(always)]
            || pack(form, y, rim.is_shaded(), size[0], row, out),
        );
    };
    let bands = each_band(size, form.bytes(), draw, |rows, last| {
        compress(rows, size[0], form.bytes(), THOROUGH, last)
    });
    let head = |encoder: &mut Encoder<'_, &mut Vec<u8>>| {
        encoder.set_depth(form.depth());
        encoder.set_color(ColorType::Rgba);
    };
    file([width, height], head, |stream| bands.into_iter().for_each(|band| stream.put(band)))
}

/// What is shown from a camera place, drawn, encoded and dropped strip by strip.
pub(crate) struct ShownFile {
    /// The file of its texels: opaque, dithered at 8 bits.
    pub file: Vec<u8>,
    /// The grey of each texel's step of lightness.
    pub greys: Bytes,
}

impl Stack<'_> {
    /// What is shown at camera place `camera`, of the jobs that were needed, as a file.
    pub(crate) fn shown_file(&self, camera: Camera, bits: Bits) -> ShownFile {
        let (depth, back) = if bits == Bits::Eight { (BitDepth::Eight, 3) } else { (BitDepth::Sixteen, 6) };
        let compositor = self.compositor(camera);
        let (width, size) = (compositor.size[0], compositor.size.map(|side| side as u32));
        let head = |encoder: &mut Encoder<'_, &mut Vec<u8>>| {
            encoder.set_depth(depth);
            encoder.set_color(ColorType::Rgb);
        };
        let mut greys = Bytes::default();
        let file = file(size, head, |stream| {
            let strip = |rows: &mut [u8], last| compress(rows, width, back, LEVEL, last);
            greys = still::strips(&compositor, bits, strip, |band| stream.put(band));
        });
        ShownFile { file, greys }
    }
}

/// A file's stream of texels, to which one band is put after the other.
struct Stream<'a> {
    writer: Writer<&'a mut Vec<u8>>,
    /// Adler-32 of all that was put to it.
    check: u32,
    failed: bool,
}

impl Stream<'_> {
    /// Puts the next band to it, which is dropped then.
    fn put(&mut self, band: std::io::Result<Band>) {
        // Writing to memory can't fail, and the header is ours.
        self.failed |= band.map_err(EncodingError::from).and_then(|band| self.write(band)).is_err();
    }

    fn write(&mut self, mut band: Band) -> Result<(), EncodingError> {
        self.check = joined_check(self.check, band.check, band.length);
        if band.last {
            band.deflated.extend(self.check.to_be_bytes());
        }
        self.writer.write_chunk(IDAT, &band.deflated)
    }
}

/// A file; `head` says how its texels are stored, `put` puts all bands to its stream.
fn file(
    size: [u32; 2],
    head: impl FnOnce(&mut Encoder<'_, &mut Vec<u8>>),
    put: impl FnOnce(&mut Stream<'_>),
) -> Vec<u8> {
    let mut out = Vec::new();
    let whole = write(&mut out, size, head, put).unwrap_or(false);
    if whole { out } else { Vec::new() }
}

/// Whether all of it was written.
fn write(
    out: &mut Vec<u8>,
    [width, height]: [u32; 2],
    head: impl FnOnce(&mut Encoder<'_, &mut Vec<u8>>),
    put: impl FnOnce(&mut Stream<'_>),
) -> Result<bool, EncodingError> {
    let mut encoder = Encoder::new(out, width, height);
    super::png::mark_srgb(&mut encoder);
    head(&mut encoder);
    let mut stream = Stream { writer: encoder.write_header()?, check: 1, failed: false };
    // 32 KiB of window, the quickest of levels, no dictionary; a multiple of 31 (RFC 1950, 2.2).
    stream.writer.write_chunk(IDAT, &[0x78, 0x01])?;
    put(&mut stream);
    let failed = stream.failed;
    stream.writer.finish()?;
    Ok(!failed)
}

/// Filters a band's rows by Sub (PNG 9.2), in place, and compresses them; a texel has `back` bytes, and the `last` band ends the stream.
fn compress(rows: &mut [u8], width: usize, back: usize, level: u32, last: bool) -> std::io::Result<Band> {
    let mut plain = Vec::new();
    for row in rows.chunks_mut(1 + width * back) {
        row[0] = 1;
        plain.clear();
        plain.extend_from_slice(&row[1..]);
        for (byte, left) in row[1 + back..].iter_mut().zip(&plain) {
            *byte = byte.wrapping_sub(*left);
        }
    }
    let mut check = simd_adler32::Adler32::new();
    check.write(rows);
    let room = Vec::with_capacity(rows.len() / 8);
    let mut encoder = DeflateEncoder::new(room, Compression::new(level));
    encoder.write_all(rows)?;
    // All bands are held until they are one file. A copy leaves no room beside it that only few others fit in.
    let deflated = if last {
        encoder.finish()?
    } else {
        encoder.flush()?;
        encoder.get_ref().clone()
    };
    Ok(Band { deflated, check: check.finish(), length: rows.len() as u64, last })
}

/// Adler-32 of two runs of bytes from those of each; the second is `length` bytes long (RFC 1950, 8.2: two sums modulo 65521).
fn joined_check(first: u32, second: u32, length: u64) -> u32 {
    const BASE: u64 = 65_521;
    let [(a, b), (c, d)] = [first, second].map(|check| (u64::from(check & 0xffff), u64::from(check >> 16)));
    // Both sums of the second run began at 1 and 0; what it began with after the first is counted once for each of its bytes.
    let sum = (a + c + BASE - 1) % BASE;
    let sums = (b + d + (length % BASE) * ((a + BASE - 1) % BASE)) % BASE;
    (sums as u32) << 16 | sum as u32
}

/// Draws `width` columns of `sheet`, wrapping, and hands them to `taker` band by band, side by side, as the rows that a PNG of it
/// filters: a byte for the filter's type, then an opacity a texel, or R, G, B and opacity of 8 or 16 bits, the high byte first; and
/// whether it is the last band. What it made of them comes back in order.
pub fn draw<T: Send>(
    sheet: &Sheet,
    width: u32,
    bits: Bits,
    taker: impl Fn(&mut [u8], bool) -> T + Sync + Send,
) -> Vec<T> {
    let form = Form::new(sheet, bits);
    let size = [width, sheet.size()[1]].map(|side| side as usize);
    let draw = |y: usize, row: &mut Row, out: &mut [u8]| draw_row(sheet, form, y, row, out);
    each_band(size, form.bytes(), draw, taker)
}

/// Has rows drawn, each behind a byte for its filter's type, and handed to `taker` band by band, as [`draw`] does.
fn each_band<T: Send>(
    [width, height]: [usize; 2],
    bytes_of_texel: usize,
    draw: impl Fn(usize, &mut Row, &mut [u8]) + Sync,
    taker: impl Fn(&mut [u8], bool) -> T + Sync + Send,
) -> Vec<T> {
    let stride = 1 + width * bytes_of_texel;
    let band = |(row, bytes): &mut (Row, Vec<u8>), band: usize| {
        let (from, to) = (band * BAND, height.min((band + 1) * BAND));
        bytes.resize(stride * (to - from), 0);
        for (y, out) in (from..to).zip(bytes.chunks_mut(stride)) {
            draw(y, row, &mut out[1..]);
        }
        taker(bytes, to == height)
    };
    let bands = height.div_ceil(BAND);
    let run = bands.div_ceil(RUNS * rayon::current_num_threads());
    (0..bands).into_par_iter().with_max_len(run).with_min_len(run).map_init(Default::default, band).collect()
}

/// Draws the row `y` as bytes of the file.
fn draw_row(sheet: &Sheet, form: Form, y: usize, row: &mut Row, out: &mut [u8]) {
    let width = out.len() / form.bytes();
    vectorize(
        #[inline(always)]
        || {
            match form {
                Form::Opacities => sheet.opacities(y, 0, width, row),
                Form::Eight | Form::Sixteen => sheet.row(y, 0, width, row),
            }
            pack(form, y, sheet.colour().is_none(), sheet.size()[0] as usize, row, out);
        },
    );
}

/// Writes a row's texels as bytes of the file; `shaded` if their colour changes. The dither begins again with every period of `cols`, so that texels repeat exactly.
#[inline(always)]
fn pack(form: Form, y: usize, shaded: bool, cols: usize, row: &mut Row, out: &mut [u8]) {
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
        Form::Eight => dither::texels(y, row.texels(), shaded, cols, out),
        Form::Sixteen => {
            // 16-bit samples are stored with the high byte first (W3C PNG).
            for (sample, value) in out.as_chunks_mut::<2>().0.iter_mut().zip(row.texels().as_flattened()) {
                *sample = ((value * 65535.0 + 0.5) as u16).to_be_bytes();
            }
        }
    }
}

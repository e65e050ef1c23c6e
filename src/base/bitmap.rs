//! A finished picture as a stack holds it: packed by bands of rows, or plain where it is drawn again and again.
//!
//! Art is flat for the most part: by LZ4's block format the demo's pictures take a fifth of their bytes at 1080p, a twentieth at four
//! times that, and are unpacked at some GB/s, in the order in which whoever draws, measures or writes them asks for rows.

use crate::base::picture::{Picture, nearest};
use lz4_flex::block;
use rayon::prelude::*;
use std::borrow::Cow;
use std::ops::Range;

/// Texels of a band, about: few enough to stay near the processor.
const BAND: usize = 1 << 16;

/// A picture of which nothing changes any more.
#[derive(Debug)]
pub struct Bitmap {
    /// Width and height in texels.
    pub size: [u32; 2],
    /// Whether the source had 16 bits per sample.
    pub deep: bool,
    held: Held,
}

#[derive(Debug)]
enum Held {
    Plain(Vec<[u16; 4]>),
    Packed(Bits, Vec<Box<[u8]>>),
}

/// What of a sample is packed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Bits {
    /// Codes of 8 bits: all samples are such a code times 257.
    Eight,
    Sixteen,
}

impl Bits {
    /// Bytes of a texel.
    fn bytes(self) -> usize {
        if self == Bits::Eight { 4 } else { 8 }
    }
}

/// Rows of a band of a picture so wide.
fn band_rows(width: u32) -> usize {
    (BAND / width.max(1) as usize).max(1)
}

/// A band of a packed picture, unpacked; whoever asks for one row after the other hands it on.
#[derive(Default)]
pub struct Unpacked {
    band: Option<usize>,
    bytes: Vec<u8>,
    texels: Vec<[u16; 4]>,
}

impl Bitmap {
    /// A picture that is drawn too often to be unpacked each time.
    pub fn plain(picture: Picture) -> Bitmap {
        let Picture { size, deep, texels } = picture;
        Bitmap { size, deep, held: Held::Plain(texels) }
    }

    /// Bytes that it takes.
    pub fn bytes(&self) -> usize {
        match &self.held {
            Held::Plain(texels) => size_of_val(&**texels),
            Held::Packed(_, bands) => bands.iter().map(|band| band.len() + size_of::<Box<[u8]>>()).sum(),
        }
    }

    /// Its texels in a form that may be changed.
    pub fn to_picture(&self) -> Picture {
        let texels = self.rows(0..self.size[1] as usize).into_owned();
        Picture { size: self.size, deep: self.deep, texels }
    }

    /// Row `y`, of the band in `unpacked` or of one that takes its place there.
    #[inline]
    pub fn row<'a>(&'a self, y: usize, unpacked: &'a mut Unpacked) -> &'a [[u16; 4]] {
        let width = self.size[0] as usize;
        match &self.held {
            Held::Plain(texels) => &texels[y * width..][..width],
            Held::Packed(bits, bands) => {
                let rows = band_rows(self.size[0]);
                if unpacked.band != Some(y / rows) {
                    unpacked.fill(*bits, &bands[y / rows], width * rows);
                    unpacked.band = Some(y / rows);
                }
                &unpacked.texels[y % rows * width..][..width]
            }
        }
    }

    /// Some of its rows.
    pub fn rows(&self, rows: Range<usize>) -> Cow<'_, [[u16; 4]]> {
        let width = self.size[0] as usize;
        if let Held::Plain(texels) = &self.held {
            return Cow::Borrowed(&texels[rows.start * width..rows.end * width]);
        }
        let (mut all, mut unpacked) = (Vec::with_capacity(rows.len() * width), Unpacked::default());
        rows.for_each(|y| all.extend_from_slice(self.row(y, &mut unpacked)));
        Cow::Owned(all)
    }

    /// Texels of a band of [`Bitmap::bands`]; the last may have fewer.
    pub fn band(&self) -> usize {
        self.size[0] as usize * band_rows(self.size[0])
    }

    /// Its rows in bands, side by side: the first row of each, and its texels.
    pub fn bands(&self) -> impl IndexedParallelIterator<Item = (usize, Cow<'_, [[u16; 4]]>)> {
        let (rows, height) = (band_rows(self.size[0]), self.size[1] as usize);
        (0..height.div_ceil(rows)).into_par_iter().map(move |band| {
            let first = band * rows;
            (first, self.rows(first..height.min(first + rows)))
        })
    }

    /// Its texels with 8 bits per sample: the nearest codes.
    pub fn eight(&self) -> Vec<u8> {
        let (rows, height) = (band_rows(self.size[0]), self.size[1] as usize);
        let mut out = vec![0; self.size[0] as usize * height * 4];
        out.par_chunks_mut(4 * self.band()).enumerate().for_each(|(band, out)| {
            let first = band * rows;
            out.copy_from_slice(&self.eight_rows(first..height.min(first + rows)));
        });
        out
    }

    /// The same of some of its rows.
    pub fn eight_rows(&self, rows: Range<usize>) -> Vec<u8> {
        let Held::Packed(Bits::Eight, bands) = &self.held else {
            return self.rows(rows).as_flattened().iter().map(|sample| nearest(*sample)).collect();
        };
        let (each, row) = (band_rows(self.size[0]), 4 * self.size[0] as usize);
        let (mut out, mut codes) = (Vec::with_capacity(rows.len() * row), vec![0; each * row]);
        let touched = rows.start / each..rows.end.div_ceil(each);
        for (band, packed) in touched.clone().zip(&bands[touched]) {
            // It was packed here: nothing else can come of it.
            let _ = block::decompress_into(packed, &mut codes);
            let [from, to] = [rows.start, rows.end].map(|y| y.clamp(band * each, (band + 1) * each) % each);
            let to = if to == 0 { each } else { to };
            out.extend_from_slice(&codes[from * row..to * row]);
        }
        out
    }
}

impl Unpacked {
    /// Unpacks a band of at most so many texels.
    fn fill(&mut self, bits: Bits, band: &[u8], most: usize) {
        self.bytes.resize(most * bits.bytes(), 0);
        // It was packed here: nothing else can come of it.
        let length = block::decompress_into(band, &mut self.bytes).unwrap_or_default();
        let bytes = &self.bytes[..length];
        self.texels.resize(length / bits.bytes(), [0; 4]);
        match bits {
            Bits::Eight => {
                let samples = self.texels.as_flattened_mut().iter_mut().zip(bytes);
                samples.for_each(|(sample, code)| *sample = u16::from(*code) * 257);
            }
            Bits::Sixteen => bytemuck::cast_slice_mut(&mut self.texels).copy_from_slice(bytes),
        }
    }
}

/// Packs a picture whose rows come from the top.
pub struct Packer {
    size: [u32; 2],
    deep: bool,
    bits: Bits,
    /// Rows that don't fill a band yet.
    bytes: Vec<u8>,
    bands: Vec<Box<[u8]>>,
}

impl Packer {
    /// Of a picture `size` texels large; `deep` as [`Bitmap::deep`]. With `eight`, every sample is a code of 8 bits times 257.
    pub fn new(size: [u32; 2], deep: bool, eight: bool) -> Packer {
        let bits = if eight { Bits::Eight } else { Bits::Sixteen };
        Packer { size, deep, bits, bytes: Vec::new(), bands: Vec::new() }
    }

    /// Packs whole rows.
    pub fn take(&mut self, rows: &[[u16; 4]]) {
        match self.bits {
            Bits::Eight => self.bytes.extend(rows.as_flattened().iter().map(|sample| (sample >> 8) as u8)),
            Bits::Sixteen => self.bytes.extend_from_slice(bytemuck::cast_slice(rows)),
        }
        let band = self.size[0] as usize * band_rows(self.size[0]) * self.bits.bytes();
        let whole = self.bytes.len() / band * band;
        self.bands.extend(self.bytes[..whole].chunks(band).map(packed));
        self.bytes.drain(..whole);
    }

    /// The picture, once all rows were taken.
    pub fn finish(mut self) -> Bitmap {
        if !self.bytes.is_empty() {
            self.bands.push(packed(&self.bytes));
        }
        Bitmap { size: self.size, deep: self.deep, held: Held::Packed(self.bits, self.bands) }
    }
}

fn packed(band: &[u8]) -> Box<[u8]> {
    block::compress(band).into_boxed_slice()
}

/// A plane of bytes, packed row by row: what is asked for a row at a time, out of order.
#[derive(Clone, Debug, Default)]
pub struct Bytes {
    width: usize,
    rows: Vec<Box<[u8]>>,
}

impl Bytes {
    /// Of rows of `width` bytes.
    pub fn new(width: usize, plane: &[u8]) -> Bytes {
        Bytes { width, rows: plane.par_chunks(width.max(1)).map(packed).collect() }
    }

    /// The same with the rows of another below.
    pub fn and(mut self, below: Bytes) -> Bytes {
        self.rows.extend(below.rows);
        Bytes { width: below.width, ..self }
    }

    /// Bytes that it takes.
    pub fn bytes(&self) -> usize {
        self.rows.iter().map(|row| row.len() + size_of::<Box<[u8]>>()).sum()
    }

    /// A row.
    pub fn row(&self, y: usize) -> Vec<u8> {
        let mut row = vec![0; self.width];
        // It was packed here: nothing else can come of it.
        let _ = block::decompress_into(&self.rows[y], &mut row);
        row
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_packed_picture_is_the_picture() {
        for (size, eight) in [([1, 1], true), ([300, 500], true), ([300, 500], false), ([70_000, 3], true)] {
            let step = if eight { 257 } else { 1 };
            let texel = |at: u32| [at % 256, at / 7 % 256, 9, at / 1000 % 256].map(|code| code as u16 * step);
            let texels: Vec<[u16; 4]> = (0..size[0] * size[1]).map(texel).collect();
            let mut packer = Packer::new(size, !eight, eight);
            // Rows come as they will.
            texels.chunks(size[0] as usize * 7).for_each(|rows| packer.take(rows));
            let packed = packer.finish();
            let plain = Bitmap::plain(Picture { size, deep: !eight, texels: texels.clone() });
            assert!(packed.to_picture().texels == texels, "{size:?}");
            assert!(packed.eight() == plain.eight());
            let some = size[1] as usize / 3..size[1] as usize - size[1] as usize / 5;
            assert!(packed.eight_rows(some.clone()) == plain.eight_rows(some), "{size:?}");
            let (width, mut unpacked) = (size[0] as usize, Unpacked::default());
            for y in (0..size[1] as usize).rev().step_by(3) {
                assert!(packed.row(y, &mut unpacked) == &texels[y * width..][..width], "{size:?} {y}");
            }
            let bands: Vec<(usize, usize)> =
                packed.bands().map(|(first, rows)| (first, rows.len())).collect();
            assert_eq!(bands.iter().map(|(_, length)| length).sum::<usize>(), texels.len());
            assert!(packed.bytes() < plain.bytes() || size == [1, 1]);
        }
    }

    #[test]
    fn packed_bytes_are_the_bytes() {
        let plane: Vec<u8> = (0..300 * 40_u32).map(|at| (at / 50) as u8).collect();
        let (top, foot) = plane.split_at(300 * 25);
        let packed = Bytes::new(300, top).and(Bytes::new(300, foot));
        assert!((0..40).all(|y| packed.row(y) == plane[y * 300..][..300]) && packed.bytes() < plane.len());
    }
}

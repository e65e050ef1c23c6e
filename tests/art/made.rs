//! PNG files made by hand, from the PNG Specification, third edition (W3C, 2025), without any library.

use crate::crc::crc;

/// Colour types (PNG 11.2.1).
pub const GREY: u8 = 0;
pub const RGB: u8 = 2;
pub const INDEXED: u8 = 3;
pub const GREY_ALPHA: u8 = 4;
pub const RGBA: u8 = 6;

/// A chunk: length, type, data, CRC (PNG 5.3).
pub fn chunk(name: &[u8; 4], data: &[u8]) -> Vec<u8> {
    let body: Vec<u8> = name.iter().chain(data).copied().collect();
    let mut chunk = (data.len() as u32).to_be_bytes().to_vec();
    chunk.extend(&body);
    chunk.extend(crc(&body).to_be_bytes());
    chunk
}

/// A zlib stream of stored blocks (RFC 1950, RFC 1951 3.2.4).
pub fn stored(data: &[u8]) -> Vec<u8> {
    let mut stream = vec![0x78, 0x01];
    let blocks: Vec<&[u8]> = data.chunks(65535).collect();
    for (at, block) in blocks.iter().enumerate() {
        stream.push(u8::from(at + 1 == blocks.len()));
        stream.extend((block.len() as u16).to_le_bytes());
        stream.extend((!(block.len() as u16)).to_le_bytes());
        stream.extend(*block);
    }
    let (a, b) = data.iter().fold((1u32, 0u32), |(a, b), byte| {
        let a = (a + u32::from(*byte)) % 65521;
        (a, (b + a) % 65521)
    });
    stream.extend((b << 16 | a).to_be_bytes());
    stream
}

/// Packs samples of one row, the first in the high bits; 16-bit ones big-endian (PNG 7.2, 7.1).
fn row(samples: &[u16], depth: u8) -> Vec<u8> {
    if depth == 16 {
        return samples.iter().flat_map(|sample| sample.to_be_bytes()).collect();
    }
    let each = usize::from(8 / depth);
    let pack = |group: &[u16]| {
        group
            .iter()
            .enumerate()
            .fold(0, |byte, (at, sample)| byte | (*sample as u8) << (8 - depth * (at as u8 + 1)))
    };
    samples.chunks(each).map(pack).collect()
}

/// What a PNG is made of.
pub struct Made<'a> {
    pub size: [u32; 2],
    pub colour: u8,
    pub depth: u8,
    pub interlaced: bool,
    /// Chunks between IHDR and IDAT.
    pub between: Vec<Vec<u8>>,
    /// Samples by rows.
    pub samples: &'a [u16],
}

impl Made<'_> {
    pub fn channels(&self) -> usize {
        match self.colour {
            GREY | INDEXED => 1,
            GREY_ALPHA => 2,
            RGB => 3,
            _ => 4,
        }
    }

    /// The file, unfiltered and stored.
    pub fn file(&self) -> Vec<u8> {
        let [width, height] = self.size.map(|side| side as usize);
        let channels = self.channels();
        // Start and step of each pass along x and y (PNG 8.1).
        let passes: &[[usize; 4]] = if self.interlaced {
            &[
                [0, 8, 0, 8],
                [4, 8, 0, 8],
                [0, 4, 4, 8],
                [2, 4, 0, 4],
                [0, 2, 2, 4],
                [1, 2, 0, 2],
                [0, 1, 1, 2],
            ]
        } else {
            &[[0, 1, 0, 1]]
        };
        let mut lines = Vec::new();
        for [x0, dx, y0, dy] in passes {
            for y in (*y0..height).step_by(*dy) {
                let samples: Vec<u16> = (*x0..width)
                    .step_by(*dx)
                    .flat_map(|x| &self.samples[(y * width + x) * channels..][..channels])
                    .copied()
                    .collect();
                if !samples.is_empty() {
                    lines.push(0);
                    lines.extend(row(&samples, self.depth));
                }
            }
        }
        let mut head = Vec::new();
        head.extend(self.size[0].to_be_bytes());
        head.extend(self.size[1].to_be_bytes());
        head.extend([self.depth, self.colour, 0, 0, u8::from(self.interlaced)]);
        let mut file = b"\x89PNG\r\n\x1a\n".to_vec();
        file.extend(chunk(b"IHDR", &head));
        file.extend(self.between.iter().flatten());
        file.extend(chunk(b"IDAT", &stored(&lines)));
        file.extend(chunk(b"IEND", &[]));
        file
    }
}

/// An RGBA file of 8 bits.
pub fn rgba(size: [u32; 2], texels: &[[u8; 4]]) -> Vec<u8> {
    let samples: Vec<u16> = texels.iter().flatten().map(|code| u16::from(*code)).collect();
    Made { size, colour: RGBA, depth: 8, interlaced: false, between: vec![], samples: &samples }.file()
}

/// An RGBA file of 16 bits.
pub fn rgba16(size: [u32; 2], texels: &[[u16; 4]]) -> Vec<u8> {
    Made { size, colour: RGBA, depth: 16, interlaced: false, between: vec![], samples: texels.as_flattened() }
        .file()
}

/// Numbers that look random and are the same each time (Knuth's multiplicative hash).
pub fn scattered(seed: u32) -> impl Iterator<Item = u16> {
    (1..).map(move |at: u32| ((at ^ seed << 7).wrapping_mul(2_654_435_761) >> 13) as u16)
}

//! Which of PNG's forms hold a raster exactly, and the raster packed into one.

use super::png::Raster;
use rayon::prelude::*;

/// Rows that are looked through, or packed, by one thread at a time.
const TOGETHER: usize = 64;

/// A form that PNG has for pixels (PNG 6.1: colour type and bit depth).
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Form {
    /// Red, green and blue, not grey.
    pub colour: bool,
    /// With an alpha channel.
    pub alpha: bool,
    /// Bits per sample, or per index.
    pub depth: u8,
    /// The distinct texels, translucent ones first, if indexed.
    pub palette: Option<Vec<[u8; 4]>>,
}

/// Rows as PNG wants them: big-endian samples, or several in a byte, each row from a fresh byte.
pub(super) struct Packed(pub Vec<u8>);

/// What all texels of a raster have in common.
struct Census {
    grey: bool,
    opaque: bool,
    /// Every 16-bit sample is 257 k, so 8 bits hold it.
    narrow: bool,
    /// Least depth for grey: 1, 2, 4 or 8.
    grey_depth: u8,
    /// The distinct texels, if there are at most 256 and 8 bits hold them.
    distinct: Option<Colours>,
}

/// Up to 256 distinct texels, each with a number; found by hashing, because every texel is looked up.
struct Colours {
    list: Vec<[u8; 4]>,
    /// 1 + the number of the texel there, or 0.
    slots: Vec<u16>,
}

impl Colours {
    const BITS: u32 = 11;

    fn new() -> Colours {
        Colours { list: Vec::new(), slots: vec![0; 1 << Colours::BITS] }
    }

    /// The number of a texel; a new one is added. None if that is one too many.
    fn number(&mut self, texel: [u8; 4]) -> Option<u8> {
        let mut at = (u32::from_le_bytes(texel).wrapping_mul(0x9e37_79b1) >> (32 - Colours::BITS)) as usize;
        while self.slots[at] != 0 {
            let number = self.slots[at] - 1;
            if self.list[usize::from(number)] == texel {
                return u8::try_from(number).ok();
            }
            at = (at + 1) % self.slots.len();
        }
        if self.list.len() == 256 {
            return None;
        }
        self.list.push(texel);
        self.slots[at] = self.list.len() as u16;
        u8::try_from(self.list.len() - 1).ok()
    }
}

impl Form {
    /// Bits of one texel.
    fn bits(&self) -> u32 {
        let samples = match (self.palette.is_some(), self.colour, self.alpha) {
            (true, ..) | (_, false, false) => 1,
            (_, false, true) => 2,
            (_, true, false) => 3,
            (_, true, true) => 4,
        };
        samples * u32::from(self.depth)
    }

    /// Bytes from a texel to the next, at least 1: what filters look back by (PNG 9.2).
    pub fn back(&self) -> usize {
        self.bits().div_ceil(8) as usize
    }

    /// Packs the raster; it must fit the form.
    pub fn pack(&self, raster: Raster) -> Packed {
        let width = raster.size()[0] as usize;
        match raster {
            Raster::Eight { samples, .. } => {
                self.rows(width, samples, |rows| self.pack_eight(width, texels(rows)))
            }
            Raster::Sixteen { samples, .. } if self.depth == 16 => self.rows(width, samples, |rows| {
                let mut bytes = Vec::with_capacity(rows.len() * 2);
                for texel in texels(rows) {
                    self.each(texel, |sample: u16| bytes.extend(sample.to_be_bytes()));
                }
                bytes
            }),
            Raster::Sixteen { samples, .. } => self.rows(width, samples, |rows| {
                self.pack_eight(width, texels(rows).map(|texel| texel.map(narrow)))
            }),
        }
    }

    /// Packs some rows at a time, side by side.
    fn rows<T: Sync>(
        &self,
        width: usize,
        samples: &[T],
        pack: impl Fn(&[T]) -> Vec<u8> + Sync + Send,
    ) -> Packed {
        let packed: Vec<Vec<u8>> = samples.par_chunks((4 * width * TOGETHER).max(4)).map(pack).collect();
        Packed(packed.concat())
    }

    fn pack_eight(&self, width: usize, texels: impl Iterator<Item = [u8; 4]>) -> Vec<u8> {
        if let Some(palette) = &self.palette {
            let mut colours = Colours::new();
            for texel in palette {
                colours.number(*texel);
            }
            let indices = texels.map(|texel| colours.number(texel).unwrap_or(0));
            return pack_bits(width, self.depth, indices);
        }
        if self.depth < 8 {
            // The most significant bits: the sample is a multiple of 255 / (2^depth - 1).
            let step = 255 / ((1u16 << self.depth) - 1) as u8;
            return pack_bits(width, self.depth, texels.map(|texel| texel[0] / step));
        }
        let mut bytes = Vec::new();
        for texel in texels {
            self.each(texel, |sample| bytes.push(sample));
        }
        bytes
    }

    /// Hands on the samples that the form has a channel for.
    fn each<T: Copy>(&self, [r, g, b, a]: [T; 4], mut put: impl FnMut(T)) {
        put(r);
        if self.colour {
            put(g);
            put(b);
        }
        if self.alpha {
            put(a);
        }
    }
}

/// The forms worth trying, the likeliest first; only that one unless `all`.
pub(super) fn choose(raster: Raster, all: bool) -> Vec<Form> {
    let some = (4 * raster.size()[0] as usize * TOGETHER).max(4);
    let census = match raster {
        Raster::Eight { samples, .. } => samples
            .par_chunks(some)
            .map(|samples| census(texels(samples).map(|texel| texel.map(widen))))
            .reduce(Census::new, Census::with),
        Raster::Sixteen { samples, .. } => {
            samples.par_chunks(some).map(|samples| census(texels(samples))).reduce(Census::new, Census::with)
        }
    };
    let deep = match raster {
        Raster::Eight { .. } => false,
        Raster::Sixteen { keep_depth, .. } => keep_depth || !census.narrow,
    };
    let (colour, alpha) = (!census.grey, !census.opaque);
    if deep {
        return vec![Form { colour, alpha, depth: 16, palette: None }];
    }
    let depth = if census.grey && census.opaque { census.grey_depth } else { 8 };
    let mut forms = vec![Form { colour, alpha, depth, palette: None }];
    if let Some(distinct) = census.distinct {
        let depth = match distinct.list.len() {
            0..=2 => 1,
            3..=4 => 2,
            5..=16 => 4,
            _ => 8,
        };
        let form = Form { colour: true, alpha: true, depth, palette: Some(sorted(distinct.list)) };
        // A palette costs its own chunks, so an equally deep grey is better.
        if form.bits() < forms[0].bits() {
            forms.insert(0, form);
        }
    }
    if !all {
        forms.truncate(1);
    }
    forms
}

/// By alpha, then lightness: neighbours in fog become neighbours in the palette, and tRNS can stop early.
fn sorted(mut palette: Vec<[u8; 4]>) -> Vec<[u8; 4]> {
    let light = |[r, g, b, _]: [u8; 4]| 2 * u32::from(r) + 7 * u32::from(g) + u32::from(b);
    palette.sort_by_key(|texel| (texel[3], light(*texel), *texel));
    palette
}

impl Census {
    /// Of no texels.
    fn new() -> Census {
        Census { grey: true, opaque: true, narrow: true, grey_depth: 1, distinct: Some(Colours::new()) }
    }

    /// Of the texels of both.
    fn with(self, other: Census) -> Census {
        let both = |(mut own, other): (Colours, Colours)| {
            other.list.iter().all(|texel| own.number(*texel).is_some()).then_some(own)
        };
        Census {
            grey: self.grey && other.grey,
            opaque: self.opaque && other.opaque,
            narrow: self.narrow && other.narrow,
            grey_depth: self.grey_depth.max(other.grey_depth),
            distinct: self.distinct.zip(other.distinct).and_then(both),
        }
    }
}

fn census(texels: impl Iterator<Item = [u16; 4]>) -> Census {
    let mut census = Census::new();
    let mut last = None;
    for texel in texels {
        if last == Some(texel) {
            continue;
        }
        last = Some(texel);
        let [r, g, b, a] = texel;
        census.grey &= r == g && g == b;
        census.opaque &= a == u16::MAX;
        census.narrow &= texel.iter().all(|sample| sample % 257 == 0);
        if !census.narrow {
            census.distinct = None;
            continue;
        }
        let code = narrow(r);
        while census.grey_depth < 8 && !code.is_multiple_of(255 / ((1u16 << census.grey_depth) - 1) as u8) {
            census.grey_depth *= 2;
        }
        if let Some(distinct) = &mut census.distinct
            && distinct.number(texel.map(narrow)).is_none()
        {
            census.distinct = None;
        }
    }
    census
}

/// Several samples in a byte, the leftmost in the high bits (PNG 7.2).
fn pack_bits(width: usize, depth: u8, samples: impl Iterator<Item = u8>) -> Vec<u8> {
    if depth == 8 {
        return samples.collect();
    }
    let mut bytes = Vec::new();
    let (mut byte, mut filled) = (0u8, 0u8);
    let mut x = 0;
    for sample in samples {
        byte |= sample << (8 - depth - filled);
        filled += depth;
        x += 1;
        if filled == 8 || x == width {
            bytes.push(byte);
            (byte, filled) = (0, 0);
        }
        if x == width {
            x = 0;
        }
    }
    bytes
}

fn texels<T: Copy>(samples: &[T]) -> impl Iterator<Item = [T; 4]> {
    samples.as_chunks::<4>().0.iter().copied()
}

/// 8 bits to 16, exactly (PNG 12.4: v * 65535 / 255).
fn widen(code: u8) -> u16 {
    u16::from(code) * 257
}

/// 16 bits to 8, for samples that are 257 k.
fn narrow(sample: u16) -> u8 {
    (sample >> 8) as u8
}

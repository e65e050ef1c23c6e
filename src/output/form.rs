//! Which of PNG's forms hold a raster exactly, and the raster packed into one.

use crate::base::raster::Raster;
use crate::base::simd::vectorize;
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
    /// A texel, and 1 + its number or, where there is none, 0.
    slots: Box<[(u32, u32); Colours::SLOTS]>,
}

impl Colours {
    const BITS: u32 = 11;
    const SLOTS: usize = 1 << Colours::BITS;

    fn new() -> Colours {
        Colours { list: Vec::new(), slots: Box::new([(0, 0); Colours::SLOTS]) }
    }

    fn of(list: impl IntoIterator<Item = [u8; 4]>) -> Colours {
        let mut colours = Colours::new();
        for texel in list {
            colours.number(texel);
        }
        colours
    }

    /// The number of a texel; a new one is added. None if that is one too many.
    #[inline]
    fn number(&mut self, texel: [u8; 4]) -> Option<u8> {
        let key = u32::from_le_bytes(texel);
        let mut at = (key.wrapping_mul(0x9e37_79b1) >> (32 - Colours::BITS)) as usize;
        loop {
            match self.slots[at] {
                (_, 0) => break,
                (there, number) if there == key => return u8::try_from(number - 1).ok(),
                _ => at = (at + 1) % Colours::SLOTS,
            }
        }
        if self.list.len() == 256 {
            return None;
        }
        self.list.push(texel);
        self.slots[at] = (key, self.list.len() as u32);
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

    /// Packs the raster, some rows at a time, side by side; it must fit the form.
    pub fn pack(&self, raster: Raster) -> Packed {
        let [width, height] = raster.size().map(|side| side as usize);
        let stride = (width * self.bits() as usize).div_ceil(8);
        let mut packed = vec![0; stride * height];
        let blocks = packed.par_chunks_mut(stride * TOGETHER);
        match raster {
            Raster::Eight { samples, .. } => blocks
                .zip(samples.par_chunks(4 * width * TOGETHER))
                .for_each(|(bytes, rows)| self.pack_eight(width, texels(rows), bytes)),
            Raster::Grey { samples, .. } => blocks
                .zip(samples.par_chunks(width * TOGETHER))
                .for_each(|(bytes, rows)| self.pack_greys(width, rows, bytes)),
            Raster::Sixteen { samples, .. } => {
                blocks.zip(samples.par_chunks(4 * width * TOGETHER)).for_each(|(bytes, rows)| {
                    if self.depth == 16 {
                        self.pack_sixteen(texels(rows), bytes);
                    } else {
                        self.pack_eight(width, texels(rows).map(|texel| texel.map(narrow)), bytes);
                    }
                });
            }
        }
        Packed(packed)
    }

    fn pack_eight(&self, width: usize, texels: impl Iterator<Item = [u8; 4]>, bytes: &mut [u8]) {
        if let Some(palette) = &self.palette {
            let mut colours = Colours::of(palette.iter().copied());
            let indices = texels.map(|texel| colours.number(texel).unwrap_or(0));
            return pack_bits(width, self.depth, indices, bytes);
        }
        // A loop for each number of channels, so that it is known there.
        match (self.colour, self.alpha) {
            (false, false) => {
                let step = step_of(self.depth);
                pack_bits(width, self.depth, texels.map(|[grey, ..]| grey / step), bytes);
            }
            (false, true) => put(texels, bytes, |[grey, _, _, alpha]| [grey, alpha]),
            (true, false) => put(texels, bytes, |[r, g, b, _]| [r, g, b]),
            (true, true) => put(texels, bytes, |texel| texel),
        }
    }

    fn pack_greys(&self, width: usize, greys: &[u8], bytes: &mut [u8]) {
        let number = |grey: u8| match &self.palette {
            // Greys that aren't there have no number.
            Some(palette) => palette.iter().position(|texel| texel[0] == grey).unwrap_or(0) as u8,
            None => grey / step_of(self.depth),
        };
        // Few codes, many texels.
        let codes: [u8; 256] = std::array::from_fn(|grey| number(grey as u8));
        pack_bits(width, self.depth, greys.iter().map(|grey| codes[usize::from(*grey)]), bytes);
    }

    fn pack_sixteen(&self, texels: impl Iterator<Item = [u16; 4]>, bytes: &mut [u8]) {
        let [high, low] = [|sample: u16| sample.to_be_bytes()[0], |sample: u16| sample.to_be_bytes()[1]];
        match (self.colour, self.alpha) {
            (false, false) => put(texels, bytes, |[grey, ..]| [high(grey), low(grey)]),
            (false, true) => put(texels, bytes, |[grey, _, _, a]| [high(grey), low(grey), high(a), low(a)]),
            (true, false) => {
                put(texels, bytes, |[r, g, b, _]| [high(r), low(r), high(g), low(g), high(b), low(b)]);
            }
            (true, true) => put(texels, bytes, |[r, g, b, a]| {
                [high(r), low(r), high(g), low(g), high(b), low(b), high(a), low(a)]
            }),
        }
    }
}

/// The forms worth trying, the likeliest first; only that one unless `all`.
pub(super) fn choose(raster: Raster, all: bool) -> Vec<Form> {
    let some = (4 * raster.size()[0] as usize * TOGETHER).max(4);
    let census = match raster {
        Raster::Eight { samples, .. } => {
            samples.par_chunks(some).map(census_of_eight).reduce(Census::new, Census::with)
        }
        Raster::Grey { samples, .. } => {
            samples.par_chunks(some).map(census_of_grey).reduce(Census::new, Census::with)
        }
        Raster::Sixteen { samples, .. } => {
            samples.par_chunks(some).map(|samples| census(texels(samples))).reduce(Census::new, Census::with)
        }
    };
    let deep = match raster {
        Raster::Eight { .. } | Raster::Grey { .. } => false,
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

/// Of 16-bit texels.
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
        census.grey_depth = census.grey_depth.max(depth_of(narrow(r)));
        if let Some(distinct) = &mut census.distinct
            && distinct.number(texel.map(narrow)).is_none()
        {
            census.distinct = None;
        }
    }
    census
}

fn census_of_eight(samples: &[u8]) -> Census {
    let texels = samples.as_chunks::<4>().0;
    let (all, differ) = vectorize(
        #[inline(always)]
        || {
            texels.iter().fold((u32::MAX, 0), |(all, differ), texel| {
                let texel = u32::from_le_bytes(*texel);
                // Red against green in the lowest byte, green against blue in the next.
                (all & texel, differ | ((texel ^ (texel >> 8)) & 0xffff))
            })
        },
    );
    let mut distinct = Colours::new();
    let few = texels.iter().all(|texel| distinct.number(*texel).is_some());
    let opaque = all >> 24 == 255;
    let distinct = few.then_some(distinct);
    // Of use only where all is grey and opaque, and then there are few.
    let greys = distinct.iter().flat_map(|colours| &colours.list);
    let grey_depth = greys.map(|texel| depth_of(texel[0])).max().unwrap_or(1);
    Census { grey: differ == 0, opaque, narrow: true, grey_depth, distinct }
}

fn census_of_grey(samples: &[u8]) -> Census {
    let mut there = [false; 256];
    samples.iter().for_each(|grey| there[usize::from(*grey)] = true);
    let greys = || (0..=255_u8).filter(|grey| there[usize::from(*grey)]);
    Census {
        grey_depth: greys().map(depth_of).max().unwrap_or(1),
        distinct: Some(Colours::of(greys().map(|grey| [grey, grey, grey, u8::MAX]))),
        ..Census::new()
    }
}

/// The least depth, 1, 2, 4 or 8, that holds a grey of 8 bits.
fn depth_of(code: u8) -> u8 {
    [1, 2, 4].into_iter().find(|depth| code.is_multiple_of(step_of(*depth))).unwrap_or(8)
}

/// From one grey of 8 bits to the next that a depth of 1 to 8 bits holds.
fn step_of(depth: u8) -> u8 {
    255 / ((1_u16 << depth) - 1) as u8
}

/// Some bytes of each texel.
fn put<T, const N: usize>(
    texels: impl Iterator<Item = [T; 4]>,
    bytes: &mut [u8],
    some: impl Fn([T; 4]) -> [u8; N],
) {
    for (bytes, texel) in bytes.as_chunks_mut::<N>().0.iter_mut().zip(texels) {
        *bytes = some(texel);
    }
}

/// Several samples in a byte, the leftmost in the high bits, each row from a fresh byte (PNG 7.2).
fn pack_bits(width: usize, depth: u8, mut samples: impl Iterator<Item = u8>, bytes: &mut [u8]) {
    if depth == 8 {
        bytes.iter_mut().zip(samples).for_each(|(byte, sample)| *byte = sample);
        return;
    }
    let each = usize::from(8 / depth);
    for row in bytes.chunks_mut(width.div_ceil(each)) {
        let mut left = width;
        for byte in row {
            let here = left.min(each);
            for (at, sample) in (1..).zip(samples.by_ref().take(here)) {
                *byte |= sample << (8 - depth * at);
            }
            left -= here;
        }
    }
}

fn texels<T: Copy>(samples: &[T]) -> impl Iterator<Item = [T; 4]> {
    samples.as_chunks::<4>().0.iter().copied()
}

/// 16 bits to 8, for samples that are 257 k.
fn narrow(sample: u16) -> u8 {
    (sample >> 8) as u8
}

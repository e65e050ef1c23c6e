//! Texels that own their memory.

/// Texels: four samples each, sRGB-encoded, rows from the top.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Owned {
    /// 8 bits per sample.
    Eight {
        /// Width and height in texels.
        size: [u32; 2],
        /// Red, green, blue, alpha of each texel.
        samples: Vec<u8>,
    },
    /// 16 bits per sample.
    Sixteen {
        /// Width and height in texels.
        size: [u32; 2],
        /// Red, green, blue, alpha of each texel.
        samples: Vec<u16>,
    },
}

impl Owned {
    /// Width and height in texels.
    pub fn size(&self) -> [u32; 2] {
        match self {
            Owned::Eight { size, .. } | Owned::Sixteen { size, .. } => *size,
        }
    }

    /// Bits per sample.
    pub fn bits(&self) -> u8 {
        if matches!(self, Owned::Eight { .. }) { 8 } else { 16 }
    }

    /// For the encoder.
    pub fn raster(&self) -> Raster<'_> {
        match self {
            Owned::Eight { size, samples } => Raster::Eight { size: *size, samples },
            Owned::Sixteen { size, samples } => Raster::Sixteen { size: *size, samples },
        }
    }

    /// Whether every texel is opaque.
    pub fn opaque(&self) -> bool {
        match self {
            Owned::Eight { samples, .. } => samples.iter().skip(3).step_by(4).all(|alpha| *alpha == u8::MAX),
            Owned::Sixteen { samples, .. } => {
                samples.iter().skip(3).step_by(4).all(|alpha| *alpha == u16::MAX)
            }
        }
    }

    /// The texels from column `left` and row `top` on, `width` by `height` of them; columns beyond an edge come from the other
    /// one if `wraps`, else nothing may reach beyond.
    pub fn cut(&self, [left, top, width, height]: [i64; 4], wraps: bool) -> Owned {
        let size = [width as u32, height as u32];
        match self {
            Owned::Eight { size: from, samples } => {
                Owned::Eight { size, samples: cut(samples, from[0], [left, top, width, height], wraps) }
            }
            Owned::Sixteen { size: from, samples } => {
                Owned::Sixteen { size, samples: cut(samples, from[0], [left, top, width, height], wraps) }
            }
        }
    }
}

fn cut<T: Copy>(samples: &[T], from: u32, [left, top, width, height]: [i64; 4], wraps: bool) -> Vec<T> {
    let row_length = from as usize * 4;
    let mut out = Vec::with_capacity((width * height * 4) as usize);
    for y in top..top + height {
        let row = &samples[y as usize * row_length..(y as usize + 1) * row_length];
        if wraps {
            for x in left..left + width {
                let at = x.rem_euclid(i64::from(from)) as usize * 4;
                out.extend_from_slice(&row[at..at + 4]);
            }
        } else {
            out.extend_from_slice(&row[left as usize * 4..(left + width) as usize * 4]);
        }
    }
    out
}

/// Texels to be written: straight alpha, sRGB-encoded, four samples per texel unless all are grey, rows from the top.
#[derive(Clone, Copy, Debug)]
pub enum Raster<'a> {
    /// 8 bits per sample.
    Eight {
        /// Width and height in texels.
        size: [u32; 2],
        /// Red, green, blue, alpha of each texel.
        samples: &'a [u8],
    },
    /// Opaque grey, 8 bits: one sample per texel.
    Grey {
        /// Width and height in texels.
        size: [u32; 2],
        /// The grey of each texel.
        samples: &'a [u8],
    },
    /// 16 bits per sample.
    Sixteen {
        /// Width and height in texels.
        size: [u32; 2],
        /// Red, green, blue, alpha of each texel.
        samples: &'a [u16],
    },
}

impl Raster<'_> {
    /// Width and height in texels.
    pub fn size(&self) -> [u32; 2] {
        match *self {
            Raster::Eight { size, .. } | Raster::Grey { size, .. } | Raster::Sixteen { size, .. } => size,
        }
    }
}

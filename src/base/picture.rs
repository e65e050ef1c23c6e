//! A picture in memory.

/// Texels: straight alpha, sRGB-encoded, 16 bits per sample (an 8-bit code is times 257), rows from the top.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Picture {
    /// Width and height in texels.
    pub size: [u32; 2],
    /// Whether the source had 16 bits per sample.
    pub deep: bool,
    /// Red, green, blue, alpha. Where alpha is 0, a colour that fits its surroundings.
    pub texels: Vec<[u16; 4]>,
}

/// The 8-bit code nearest to a 16-bit one: the exact inverse of code * 257 (W3C PNG, sample depth rescaling).
pub fn nearest(value: u16) -> u8 {
    // value / 257, rounded, for every value: without a division, so that many are worked out at once.
    ((u32::from(value) * 255 + 32895) >> 16) as u8
}

impl Picture {
    /// The texels with 8 bits per sample: the nearest codes.
    pub fn eight(&self) -> Vec<u8> {
        self.texels.as_flattened().iter().map(|value| nearest(*value)).collect()
    }

    /// Rounds every sample to what a file of 8 bits holds.
    pub fn quantize_to_8_bits(&mut self) {
        for sample in self.texels.as_flattened_mut() {
            *sample = u16::from(nearest(*sample)) * 257;
        }
    }

    /// Mirrors left to right.
    pub(crate) fn flip(&mut self) {
        for row in self.texels.chunks_exact_mut(self.size[0] as usize) {
            row.reverse();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_value_has_its_nearest_code() {
        for value in 0..=u16::MAX {
            let code = (f64::from(value) / 257.0).round();
            assert_eq!(f64::from(nearest(value)), code, "{value}");
        }
    }
}

//! The space that colours are mixed in.

use super::colour::Srgb;
use super::simd::truncate;
use super::words::Blending;
use std::sync::LazyLock;

/// A colour and a number that only fills a register: four are mixed as quickly as one.
pub(crate) type Lanes = [f32; 4];

/// The space that colours are mixed in.
pub(crate) struct Space {
    pub(crate) blending: Blending,
    /// Linear light by encoded value, in 4096ths; linear between them.
    decode: &'static [f32],
}

static DECODE: LazyLock<Vec<f32>> = LazyLock::new(|| {
    (0..=DECODE_STEPS).map(|at| Srgb([at as f32 / DECODE_STEPS as f32; 3]).linear().0[0]).collect()
});

const DECODE_STEPS: usize = 4096;

impl Space {
    pub(crate) fn new(blending: Blending) -> Space {
        Space { blending, decode: &DECODE }
    }

    /// From encoded sRGB.
    #[inline(always)]
    pub(crate) fn enter(&self, colour: [f32; 3]) -> [f32; 3] {
        match self.blending {
            Blending::Encoded => colour,
            Blending::Linear => self.all_decoded(colour),
        }
    }

    /// [`Space::enter`]; the fourth number stays.
    #[inline(always)]
    pub(crate) fn enter_lanes(&self, [r, g, b, rest]: Lanes) -> Lanes {
        match self.blending {
            Blending::Encoded => [r, g, b, rest],
            Blending::Linear => [self.decoded(r), self.decoded(g), self.decoded(b), rest],
        }
    }

    /// To linear light.
    #[inline(always)]
    pub(crate) fn light(&self, colour: [f32; 3]) -> [f32; 3] {
        match self.blending {
            Blending::Encoded => self.all_decoded(colour),
            Blending::Linear => colour,
        }
    }

    // Spelled out, here and below: they run for every texel of every layer, and `map` isn't always inlined.
    #[inline(always)]
    fn all_decoded(&self, [r, g, b]: [f32; 3]) -> [f32; 3] {
        [self.decoded(r), self.decoded(g), self.decoded(b)]
    }

    #[inline(always)]
    fn decoded(&self, value: f32) -> f32 {
        let position = value.clamp(0.0, 1.0) * DECODE_STEPS as f32;
        let base = (truncate(position) as usize).min(DECODE_STEPS - 1);
        let (low, high) = (self.decode[base], self.decode[base + 1]);
        low + (high - low) * (position - base as f32)
    }

    #[inline(always)]
    pub(crate) fn leave_row(&self, row: &mut [Lanes]) {
        if self.blending == Blending::Linear {
            for colour in row {
                let [r, g, b] = self.leave([colour[0], colour[1], colour[2]]);
                *colour = [r, g, b, 0.0];
            }
        }
    }

    /// To encoded sRGB.
    #[inline(always)]
    pub(crate) fn leave(&self, colour: [f32; 3]) -> [f32; 3] {
        match self.blending {
            Blending::Encoded => colour,
            Blending::Linear => crate::base::colour::Linear(colour).encode().0,
        }
    }
}

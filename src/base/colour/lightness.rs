//! CIE L* of colours (CIE 15; the constants as rational numbers, as CSS Color 4 gives them).

use crate::base::colour::Linear;

/// Shares of red, green and blue in relative luminance (IEC 61966-2-1, to the four digits that WCAG 2 uses).
pub const LUMINANCE: [f64; 3] = [0.2126, 0.7152, 0.0722];

/// Relative luminance, 0..1.
pub fn luminance(colour: Linear) -> f64 {
    colour.0.iter().zip(LUMINANCE).map(|(value, share)| f64::from(*value) * share).sum()
}

/// L* of a relative luminance: 0 to 100.
pub fn from_luminance(y: f64) -> f64 {
    if y > 216.0 / 24389.0 { 116.0 * libm::cbrt(y) - 16.0 } else { y * 24389.0 / 27.0 }
}

/// L* of a colour in linear light, in single precision: for many colours.
#[inline]
pub(crate) fn from_linear_f32(light: [f32; 3]) -> f32 {
    from_luminance_f32(luminance_f32(light))
}

/// Relative luminance, in single precision.
#[inline(always)]
pub(crate) fn luminance_f32([r, g, b]: [f32; 3]) -> f32 {
    0.2126 * r + 0.7152 * g + 0.0722 * b
}

/// L* of a relative luminance, in single precision.
#[inline]
pub(crate) fn from_luminance_f32(y: f32) -> f32 {
    if y > 216.0 / 24389.0 { 116.0 * libm::cbrtf(y) - 16.0 } else { y * (24389.0 / 27.0) }
}

/// The relative luminance that has this L*, in single precision; of one below 0 less than that of anything.
#[inline]
pub(crate) fn to_luminance_f32(lightness: f32) -> f32 {
    let root = (lightness + 16.0) / 116.0;
    if lightness > 8.0 { root * root * root } else { lightness * (27.0 / 24389.0) }
}

/// The least luminance at which [`from_linear_f32`] gives `lightness` or more, which must be over 0 and at most 100.
pub(crate) fn least_luminance(lightness: f64) -> f32 {
    // Floats of one sign are in the order of their bits.
    let (mut below, mut reached) = (0_u32, 2.0_f32.to_bits());
    while reached - below > 1 {
        let middle = below + (reached - below) / 2;
        if f64::from(from_luminance_f32(f32::from_bits(middle))) >= lightness {
            reached = middle;
        } else {
            below = middle;
        }
    }
    f32::from_bits(reached)
}

//! CIE L* of colours (CIE 15; the constants as rational numbers, as CSS Color 4 gives them).

use super::{Linear, Srgb};

/// Shares of red, green and blue in relative luminance (IEC 61966-2-1, to the four digits that WCAG 2 uses).
pub const LUMINANCE: [f64; 3] = [0.2126, 0.7152, 0.0722];

/// Relative luminance, 0..1.
pub fn luminance(colour: Linear) -> f64 {
    colour.0.iter().zip(LUMINANCE).map(|(value, share)| f64::from(*value) * share).sum()
}

/// L* of a relative luminance: 0 to 100.
pub fn of_luminance(y: f64) -> f64 {
    if y > 216.0 / 24389.0 { 116.0 * libm::cbrt(y) - 16.0 } else { y * 24389.0 / 27.0 }
}

/// L* of a colour.
pub fn of(colour: Srgb) -> f64 {
    of_luminance(luminance(colour.linear()))
}

/// The same in single precision, for many colours in linear light.
#[inline]
pub(crate) fn quick([r, g, b]: [f32; 3]) -> f32 {
    let y = 0.2126 * r + 0.7152 * g + 0.0722 * b;
    if y > 216.0 / 24389.0 { 116.0 * libm::cbrtf(y) - 16.0 } else { y * (24389.0 / 27.0) }
}

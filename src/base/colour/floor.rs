//! The floor of a colour: a tone curve on Oklab lightness (Ottosson 2020), L' = sqrt(f^2 + (1 - f^2) L^2), whose floor f is the
//! lightness of the grey of a given CIE L*.

use super::{Srgb, spaces};

/// Halvings of the share of chroma that still fits: to a millionth, which no code of 16 bits tells.
const HALVINGS: usize = 20;
/// What rounding may take a fitting colour out of sRGB by.
const ROUNDING: f64 = 1e-6;

/// A colour on the floor, CIE L* from 0 to 100; exactly itself where that is 0.
pub fn floored(colour: Srgb, floor: f64) -> Srgb {
    if floor <= 0.0 {
        return colour;
    }
    let floor = oklab_of_grey(floor);
    let [l, a, b] = colour.oklab();
    let lifted = libm::sqrt(floor * floor + (1.0 - floor * floor) * l * l);
    let mut share = 1.0;
    if !is_in_srgb([lifted, a, b]) {
        let (mut low, mut high) = (0.0, 1.0);
        for _ in 0..HALVINGS {
            let middle = 0.5 * (low + high);
            if is_in_srgb([lifted, a * middle, b * middle]) { low = middle } else { high = middle }
        }
        share = low;
    }
    Srgb::from_oklab([lifted, a * share, b * share])
}

/// Oklab lightness of the grey of this CIE L* (CIE 15): both are cube roots of the luminance but for the darkest greys.
fn oklab_of_grey(lightness: f64) -> f64 {
    if lightness > 8.0 { (lightness + 16.0) / 116.0 } else { libm::cbrt(lightness * 27.0 / 24389.0) }
}

/// Whether sRGB has an Oklab colour.
fn is_in_srgb(lab: [f64; 3]) -> bool {
    let range = -ROUNDING..=1.0 + ROUNDING;
    spaces::from_oklab(lab).iter().all(|value| range.contains(value))
}

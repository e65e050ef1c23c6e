//! By crate `palette`.

use palette::convert::FromColorUnclamped;
use palette::{LinSrgb, Oklab, Srgb};

/// Decodes sRGB to linear light.
pub(in crate::base::colour) fn decode([r, g, b]: [f64; 3]) -> [f64; 3] {
    Srgb::new(r, g, b).into_linear().into()
}

/// Encodes linear light as sRGB.
pub(in crate::base::colour) fn encode([r, g, b]: [f64; 3]) -> [f64; 3] {
    let encoded: Srgb<f64> = Srgb::from_linear(LinSrgb::new(r, g, b));
    encoded.into()
}

/// From linear light to Oklab: L, a, b.
pub(in crate::base::colour) fn to_oklab([r, g, b]: [f64; 3]) -> [f64; 3] {
    let lab: Oklab<f64> = Oklab::from_color_unclamped(LinSrgb::new(r, g, b));
    [lab.l, lab.a, lab.b]
}

/// From Oklab to linear light, also where that lies outside sRGB.
pub(in crate::base::colour) fn from_oklab([l, a, b]: [f64; 3]) -> [f64; 3] {
    let linear: LinSrgb<f64> = LinSrgb::from_color_unclamped(Oklab::new(l, a, b));
    linear.into()
}

//! Contrast ratio of two colours (Web Content Accessibility Guidelines 2, "contrast ratio").

use crate::base::colour::{Srgb, lightness};

/// (lighter + 0.05) / (darker + 0.05) of the two relative luminances: 1 to 21, never rounded.
pub fn ratio(a: Srgb, b: Srgb) -> f64 {
    let (a, b) = (lightness::luminance(a.linear()), lightness::luminance(b.linear()));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

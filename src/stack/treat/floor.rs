//! Floor: the darkest tone of a scene is lifted, so that nothing is pure black (common practice).
//!
//! A tone curve on Oklab lightness (Ottosson 2020): L' = sqrt(f^2 + (1 - f^2) L^2). It takes black to the floor f and leaves white,
//! rises everywhere, and hardly moves what is far from black. Hue is kept; chroma too, but where sRGB doesn't reach it.

use super::each_colour;
use crate::base::colour::floor::floored;

/// Lifts the colours of texels, also where they are transparent.
pub(super) fn apply(floor: f64, texels: &mut [[u16; 4]]) {
    each_colour(texels, |colour| floored(colour, floor));
}

//! Floor: the darkest tone of a scene is lifted, so that nothing is pure black (common practice).
//!
//! A tone curve on Oklab lightness (Ottosson 2020): L' = sqrt(f^2 + (1 - f^2) L^2). It takes black to the floor f and leaves white,
//! rises everywhere, and hardly moves what is far from black. Hue is kept; chroma too, but where sRGB doesn't reach it.

use crate::base::colour::Srgb;
use crate::base::colour::floor::floored;
use crate::base::picture::Picture;
use rayon::prelude::*;

/// Lifts a picture's colours, also where it is transparent.
pub(super) fn apply(picture: &mut Picture, floor: f64) {
    picture.texels.par_chunks_mut(4096).for_each(|texels| {
        let mut known = std::collections::HashMap::new();
        for texel in texels {
            let codes = [texel[0], texel[1], texel[2]];
            let lifted = *known.entry(codes).or_insert_with(|| {
                let colour = Srgb(codes.map(|code| f32::from(code) / 65535.0));
                floored(colour, floor).0.map(|value| (value * 65535.0 + 0.5) as u16)
            });
            texel[..3].copy_from_slice(&lifted);
        }
    });
}

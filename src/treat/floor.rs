//! Floor: the darkest tone of a scene is lifted, so that nothing is pure black (common practice).
//!
//! A tone curve on Oklab lightness (Ottosson 2020): L' = sqrt(f^2 + (1 - f^2) L^2). It takes black to the floor f and leaves white,
//! rises everywhere, and hardly moves what is far from black. Hue is kept; chroma too, but where sRGB doesn't reach it.

use crate::art::Picture;
use crate::colour::Srgb;
use rayon::prelude::*;

/// A colour on the floor; exactly itself where `floor` is 0.
pub fn floored(colour: Srgb, floor: f64) -> Srgb {
    if floor <= 0.0 {
        return colour;
    }
    let [l, a, b] = colour.oklab();
    let lifted = libm::sqrt(floor * floor + (1.0 - floor * floor) * l * l);
    let fits = |share: f64| {
        use palette::convert::FromColorUnclamped;
        let lab = palette::Oklab::new(lifted, a * share, b * share);
        let linear: palette::LinSrgb<f64> = palette::LinSrgb::from_color_unclamped(lab);
        [linear.red, linear.green, linear.blue].iter().all(|value| (-1e-6..=1.0 + 1e-6).contains(value))
    };
    let mut share = 1.0;
    if !fits(1.0) {
        let (mut low, mut high) = (0.0, 1.0);
        for _ in 0..20 {
            let middle = 0.5 * (low + high);
            if fits(middle) { low = middle } else { high = middle }
        }
        share = low;
    }
    Srgb::from_oklab([lifted, a * share, b * share])
}

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

//! Tint: air in front of a picture, moved into its own colours by the law.

use crate::base::law;
use crate::base::picture::Picture;
use crate::base::space::Space;
use crate::base::words::Blending;
use crate::plan::treatment::Tint;
use rayon::prelude::*;

/// Moves the air of `tint` into the picture's colours.
pub(super) fn apply(tint: &Tint, picture: &mut Picture, blending: Blending) {
    let space = Space::new(blending);
    let haze = space.enter(tint.haze.0);
    let width = picture.size[0] as usize;
    let factors = tint.along.as_ref().map(|along| along.columns(width));
    picture.texels.par_chunks_mut(width).enumerate().for_each(|(y, texels)| {
        let depths = |x: usize| tint.at([x as f64 + 0.5, y as f64 + 0.5]);
        let even = depths(0);
        let level = law::opacity(even[0] + even[1]) as f32;
        let sloped = tint.falloff.slope.is_some();
        for (x, texel) in texels.iter_mut().enumerate() {
            let opacity = match &factors {
                None if !sloped => level,
                _ => {
                    let [clear, fog] = if sloped { depths(x) } else { even };
                    let factor = factors.as_ref().map_or(1.0, |factors| f64::from(factors[x]));
                    law::opacity(clear + fog * factor) as f32
                }
            };
            let own = space.enter([texel[0], texel[1], texel[2]].map(|code| f32::from(code) / 65535.0));
            let mixed = std::array::from_fn(|at| own[at] + (haze[at] - own[at]) * opacity);
            for (code, value) in texel.iter_mut().zip(space.leave(mixed)) {
                *code = (value.clamp(0.0, 1.0) * 65535.0 + 0.5) as u16;
            }
        }
    });
}

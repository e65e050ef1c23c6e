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
        let [clear, fog] = tint.at(y as f64 + 0.5);
        let even = law::opacity(clear + fog) as f32;
        for (x, texel) in texels.iter_mut().enumerate() {
            let opacity = factors
                .as_ref()
                .map_or(even, |factors| law::opacity(clear + fog * f64::from(factors[x])) as f32);
            let own = space.enter([texel[0], texel[1], texel[2]].map(|code| f32::from(code) / 65535.0));
            let mixed = std::array::from_fn(|at| own[at] + (haze[at] - own[at]) * opacity);
            for (code, value) in texel.iter_mut().zip(space.leave(mixed)) {
                *code = (value.clamp(0.0, 1.0) * 65535.0 + 0.5) as u16;
            }
        }
    });
}

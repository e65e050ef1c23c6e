//! Fade: the top or the foot of a picture dissolves into what is behind it.

use crate::base::picture::Picture;
use crate::plan::treatment::Fade;
use rayon::prelude::*;

/// Lets an end of the picture dissolve.
pub(super) fn apply(fade: &Fade, picture: &mut Picture) {
    let width = picture.size[0] as usize;
    picture.texels.par_chunks_mut(width).enumerate().for_each(|(y, texels)| {
        let left = fade.left(y as f64 + 0.5);
        if left < 1.0 {
            for texel in texels {
                texel[3] = (f64::from(texel[3]) * left + 0.5) as u16;
            }
        }
    });
}

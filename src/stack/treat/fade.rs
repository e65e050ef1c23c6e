//! Fade: the top or the foot of a picture dissolves into what is behind it.

use crate::plan::treatment::Fade;

/// Lets an end of the picture dissolve, in the rows from `first` on.
pub(super) fn apply(fade: &Fade, width: usize, first: usize, rows: &mut [[u16; 4]]) {
    for (y, texels) in (first..).zip(rows.chunks_mut(width)) {
        let left = fade.left(y as f64 + 0.5);
        if left < 1.0 {
            for texel in texels {
                texel[3] = (f64::from(texel[3]) * left + 0.5) as u16;
            }
        }
    }
}

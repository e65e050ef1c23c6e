//! Fade: the top or the foot of a picture dissolves into what is behind it.

use crate::art::Picture;
use crate::scene::{self, Curve};
use rayon::prelude::*;

/// A fade in texels of the picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fade {
    /// Where it starts, from the picture's top.
    pub from: f64,
    /// Over what length; negative: upward.
    pub over: f64,
    /// How.
    pub curve: Curve,
}

impl Fade {
    /// A scene's fade on a picture that stands at `rect` (scene px) at `scale` texels per scene px.
    pub fn new(fade: &scene::Fade, rect: &[f64; 4], scale: f64) -> Fade {
        let [_, top, _, height] = *rect;
        let over = fade.over.unwrap_or(height / 3.0);
        let edge = if fade.top { top + over } else { top + height - over };
        let from = fade.from.unwrap_or(edge);
        Fade {
            from: (from - top) * scale,
            over: if fade.top { -over } else { over } * scale,
            curve: fade.curve,
        }
    }

    /// What is left of the picture at `y` texels from its top: 1 before the fade, 0 after it.
    pub fn left(&self, y: f64) -> f64 {
        let t = ((y - self.from) / self.over).clamp(0.0, 1.0);
        1.0 - match self.curve {
            Curve::Smooth => t * t * (3.0 - 2.0 * t),
            Curve::Straight => t,
            Curve::Early => t * (2.0 - t),
            Curve::Late => t * t,
        }
    }

    pub(super) fn apply(&self, picture: &mut Picture) {
        let width = picture.size[0] as usize;
        picture.texels.par_chunks_mut(width).enumerate().for_each(|(y, texels)| {
            let left = self.left(y as f64 + 0.5);
            if left < 1.0 {
                for texel in texels {
                    texel[3] = (f64::from(texel[3]) * left + 0.5) as u16;
                }
            }
        });
    }
}

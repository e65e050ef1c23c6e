//! Tint: air in front of a picture, moved into its own colours by the law.

use crate::art::Picture;
use crate::colour::Srgb;
use crate::field::{FieldSpec, falloff};
use crate::law;
use crate::scene::Blending;
use crate::still::Space;
use rayon::prelude::*;

/// Air moved into a picture's colours.
#[derive(Clone, Debug, PartialEq)]
pub struct Tint {
    /// Its optical depth along the fog's line.
    pub depth: f64,
    /// Its colour.
    pub haze: Srgb,
    /// Its line and falloff, in texels from the picture's top; its bands stay in the sheets.
    pub falloff: FieldSpec,
}

impl Tint {
    /// Optical depth at `y` texels from the picture's top.
    pub fn at(&self, y: f64) -> f64 {
        let over = (y - self.falloff.line) * self.falloff.open;
        let shape = &self.falloff.recipe.falloff;
        self.depth * f64::from(falloff::density(over as f32, shape.height as f32, shape.beyond as f32))
    }

    pub(super) fn apply(&self, picture: &mut Picture, blending: Blending) {
        let space = Space::new(blending);
        let haze = space.enter(self.haze.0);
        let width = picture.size[0] as usize;
        picture.texels.par_chunks_mut(width).enumerate().for_each(|(y, texels)| {
            let opacity = law::opacity(self.at(y as f64 + 0.5)) as f32;
            for texel in texels {
                let own = space.enter([texel[0], texel[1], texel[2]].map(|code| f32::from(code) / 65535.0));
                let mixed = std::array::from_fn(|at| own[at] + (haze[at] - own[at]) * opacity);
                for (code, value) in texel.iter_mut().zip(space.leave(mixed)) {
                    *code = (value.clamp(0.0, 1.0) * 65535.0 + 0.5) as u16;
                }
            }
        });
    }
}

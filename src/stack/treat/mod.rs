//! The copy of a picture that is drawn, with its light, tint, fade and floor. The picture itself is never touched.

mod fade;
mod floor;
mod light;
mod tint;

use crate::base::picture::Picture;
use crate::base::words::Blending;
use crate::plan::treatment::Treatment;

impl Treatment {
    /// The treated copy. `blending` is the space that the tint is mixed in.
    pub fn apply(&self, mut picture: Picture, blending: Blending) -> Picture {
        if self.nothing() {
            return picture;
        }
        // What comes of it lies between the codes of 8 bits.
        picture.deep = true;
        if let Some(light) = &self.light {
            light::apply(light, &mut picture);
        }
        if let Some(tint) = &self.tint {
            tint::apply(tint, &mut picture, blending);
        }
        if self.floor > 0.0 {
            floor::apply(&mut picture, self.floor);
        }
        if let Some(fade) = &self.fade {
            fade::apply(fade, &mut picture);
        }
        picture
    }
}

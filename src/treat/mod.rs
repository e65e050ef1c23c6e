//! Treated art: the copy of a picture that is drawn, with its tint, fade and floor. The picture itself is never touched.

mod fade;
mod floor;
mod tint;

pub use fade::Fade;
pub use floor::floored;
pub use tint::Tint;

use crate::art::Picture;
use crate::scene::Blending;

/// What is done to a picture, in this order: tint, floor, fade.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Treatment {
    /// Air moved into its colours.
    pub tint: Option<Tint>,
    /// An end that dissolves.
    pub fade: Option<Fade>,
    /// Least Oklab lightness; 0 leaves it.
    pub floor: f64,
}

impl Treatment {
    /// Whether nothing is done.
    pub fn nothing(&self) -> bool {
        self.tint.is_none() && self.fade.is_none() && self.floor <= 0.0
    }

    /// The treated copy. `blending` is the space that the tint is mixed in.
    pub fn apply(&self, mut picture: Picture, blending: Blending) -> Picture {
        if self.nothing() {
            return picture;
        }
        // What comes of it lies between the codes of 8 bits.
        picture.deep = true;
        if let Some(tint) = &self.tint {
            tint.apply(&mut picture, blending);
        }
        if self.floor > 0.0 {
            floor::apply(&mut picture, self.floor);
        }
        if let Some(fade) = &self.fade {
            fade.apply(&mut picture);
        }
        picture
    }
}

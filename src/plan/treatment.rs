//! What is done to the copy of a picture that is drawn: tint, floor, fade, in this order. The picture itself is never touched.

use crate::base::colour::Srgb;
use crate::base::interpolate::smoothstep;
use crate::base::units::{Rect, Scale, Texel};
use crate::scene::{self, Curve};
use crate::steps::field::FieldSpec;
use crate::steps::step2_falloff;

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

/// Air moved into a picture's colours.
#[derive(Clone, Debug, PartialEq)]
pub struct Tint {
    /// What the fog adds to its optical depth along the line.
    pub depth: f64,
    /// Its optical depth at any height.
    pub clear: f64,
    /// Its colour.
    pub haze: Srgb,
    /// Its line and falloff, in texels from the picture's top; its bands stay in the sheets.
    pub falloff: FieldSpec,
}

/// A fade of a picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fade {
    /// Where it starts, from the picture's top.
    pub from: Texel,
    /// Over what length; negative: upward.
    pub over: Texel,
    /// How.
    pub curve: Curve,
}

impl Treatment {
    /// Whether nothing is done.
    pub fn nothing(&self) -> bool {
        self.tint.is_none() && self.fade.is_none() && self.floor <= 0.0
    }
}

impl Tint {
    /// Optical depth at `y` texels from the picture's top.
    pub fn at(&self, y: f64) -> f64 {
        let over = (y - self.falloff.line.0) * self.falloff.open;
        let shape = &self.falloff.recipe.falloff;
        let fog =
            f64::from(step2_falloff::density(over as f32, shape.height.0 as f32, shape.beyond.0 as f32));
        self.clear + self.depth * fog
    }
}

impl Fade {
    /// A scene's fade on a picture that stands at `rect` at `scale`.
    pub fn new(fade: &scene::Fade, rect: &Rect, scale: Scale) -> Fade {
        let (top, height) = (rect.y, rect.height);
        let over = fade.over.unwrap_or(height / 3.0);
        let upward = fade.end == scene::End::Top;
        let edge = if upward { top + over } else { top + height - over };
        let from = fade.from.unwrap_or(edge);
        Fade {
            from: (from - top) * scale,
            over: if upward { -over } else { over } * scale,
            curve: fade.curve,
        }
    }

    /// What is left of the picture at `y` texels from its top: 1 before the fade, 0 after it.
    pub fn left(&self, y: f64) -> f64 {
        let t = ((y - self.from.0) / self.over.0).clamp(0.0, 1.0);
        1.0 - match self.curve {
            Curve::Smooth => smoothstep(t),
            Curve::Straight => t,
            Curve::Early => t * (2.0 - t),
            Curve::Late => t * t,
        }
    }
}

//! What is done to the copy of a picture that is drawn: light, tint, floor, fade, in this order. The picture itself is never touched.

use crate::base::colour::{Srgb, lightness};
use crate::base::interpolate::smoothstep;
use crate::base::units::{Rect, Scale, Texel};
use crate::scene::{self, Curve};
use crate::steps::along::AlongSheet;
use crate::steps::field::FieldSpec;
use crate::steps::step2_falloff;

/// What is done to a picture, in this order: light, tint, floor, fade.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Treatment {
    /// Another light than it is painted in.
    pub light: Option<Relight>,
    /// Air moved into its colours.
    pub tint: Option<Tint>,
    /// An end that dissolves.
    pub fade: Option<Fade>,
    /// Lightness that black is lifted to, CIE L*; 0 leaves it.
    pub floor: f64,
}

/// Another light on a picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Relight {
    /// What each channel of linear light is multiplied by.
    pub gain: [f64; 3],
    /// CIE L* over which the picture keeps its own light.
    pub keep: f64,
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
    /// The factor on the fog by column; none: 1 all along, as on a picture that repeats.
    pub along: Option<AlongSheet>,
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
        self.light.is_none() && self.tint.is_none() && self.fade.is_none() && self.floor <= 0.0
    }
}

/// Lightness over which a picture passes into what keeps its own light, CIE L*: no edge shows there. Chosen by eye.
const KEEP_OVER: f64 = 8.0;

impl Relight {
    /// The light on a slot's picture; none where the picture stays as it is painted.
    pub fn new(scene: &scene::Lighting, slot: &scene::Slot) -> Option<Relight> {
        let cast = slot.cast.unwrap_or(scene.cast).linear().0.map(f64::from);
        let stops = libm::exp2(slot.exposure.unwrap_or(scene.exposure));
        let (gain, keep) = (cast.map(|part| part * stops), slot.keep.unwrap_or(scene.keep));
        (gain != [1.0; 3] && keep > 0.0).then_some(Relight { gain, keep })
    }

    /// A colour in that light.
    pub fn on(&self, colour: Srgb) -> Srgb {
        let own = colour.linear();
        let lightness = lightness::from_luminance(lightness::luminance(own));
        let kept = smoothstep(((lightness - self.keep) / KEEP_OVER).clamp(0.0, 1.0));
        let mut lit = own;
        for (part, gain) in lit.0.iter_mut().zip(self.gain) {
            let whole = f64::from(*part);
            *part = (whole * (gain + (1.0 - gain) * kept)).clamp(0.0, 1.0) as f32;
        }
        lit.encode()
    }
}

impl Tint {
    /// Optical depth at a place from the picture's left top, texels, of the clear air and of the fog where it is as thick as the law gives.
    pub fn at(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        let up = self.falloff.slope.map_or(0.0, |slope| slope.up(x, f64::from(self.falloff.cols)));
        let over = (y + up - self.falloff.line.0) * self.falloff.open;
        let shape = &self.falloff.recipe.falloff;
        let fog =
            f64::from(step2_falloff::density(over as f32, shape.height.0 as f32, shape.beyond.0 as f32));
        [self.clear, self.depth * fog]
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

//! The lightness step across an outline, and how much fog behind it brings it to the wanted one.

use crate::base::colour::lightness;
use crate::base::interpolate::lerp;
use crate::base::space::Space;
use crate::rim::outline::Point;

/// How far over its wanted size a step may come out, CIE L*; a fiftieth of the tolerance of a rim. Chosen by eye.
const STEP_ERROR: f32 = 0.01;
/// How exactly its opacity is found where the step hardly changes.
const OPACITY_ERROR: f32 = 1e-6;
/// Most iterations of the solver: bisection alone would take 20 to [`OPACITY_ERROR`].
const ITERATIONS: usize = 24;

/// The art just inside and just outside one place of an outline: colours in the blending's own space, and opacities.
#[derive(Clone, Copy)]
pub(crate) struct Sides {
    inside: ([f32; 3], f32),
    outside: ([f32; 3], f32),
    /// L* inside, where nothing behind it shows.
    solid: Option<f32>,
}

impl Sides {
    pub fn new(space: &Space, point: &Point) -> Sides {
        let [inside, outside] = point.sides().map(|[r, g, b, alpha]| (space.enter([r, g, b]), alpha));
        let solid = (inside.1 >= 1.0).then(|| space.lightness(inside.0));
        Sides { inside, outside, solid }
    }
}

/// The lightness step across one place of an outline, as the fog behind it thickens. Colours in the blending's own space.
pub(crate) struct LightnessStep<'a> {
    space: &'a Space,
    sides: &'a Sides,
    behind: [f32; 3],
    air: [f32; 3],
}

/// The step without fog and with the most of it: known once, for all steps that are wanted there.
pub(crate) struct Ends {
    bare: f32,
    thick: f32,
    /// The opacity of the most.
    most: f32,
}

impl Ends {
    /// Whether the step can be as large as `wanted`, the way that fog drives it.
    pub fn reach(&self, wanted: f32) -> bool {
        self.thick.abs() >= wanted && (self.thick - self.bare) * self.thick > 0.0
    }
}

/// `over` on `under`, by its opacity.
fn mix(under: [f32; 3], over: [f32; 3], alpha: f32) -> [f32; 3] {
    // Spelled out: `from_fn` isn't always inlined.
    [lerp(under[0], over[0], alpha), lerp(under[1], over[1], alpha), lerp(under[2], over[2], alpha)]
}

impl<'a> LightnessStep<'a> {
    /// Between these `sides`, over `behind`, with fog of colour `air`.
    pub fn new(space: &'a Space, sides: &'a Sides, behind: [f32; 3], air: [f32; 3]) -> LightnessStep<'a> {
        LightnessStep { space, sides, behind, air }
    }

    /// What is seen just inside the outline.
    pub fn inside(&self, opacity: f32) -> [f32; 3] {
        self.seen(self.sides.inside, opacity)
    }

    /// L* just outside less L* just inside, with fog of this opacity behind both.
    pub fn signed(&self, opacity: f32) -> f32 {
        self.space.lightness(self.seen(self.sides.outside, opacity)) - self.lightness_inside(opacity)
    }

    /// Whether the step is less than `wanted`, with fog of this opacity: sooner told than how large it is.
    pub fn is_less(&self, opacity: f32, wanted: f32) -> bool {
        let inside = self.lightness_inside(opacity);
        let [from, to] = [inside - wanted, inside + wanted].map(lightness::to_luminance_f32);
        let outside = self.space.luminance(self.seen(self.sides.outside, opacity));
        outside > from && outside < to
    }

    fn lightness_inside(&self, opacity: f32) -> f32 {
        let seen = || self.space.lightness(self.seen(self.sides.inside, opacity));
        self.sides.solid.unwrap_or_else(seen)
    }

    /// What is seen of one side over the fog.
    fn seen(&self, (colour, alpha): ([f32; 3], f32), opacity: f32) -> [f32; 3] {
        mix(mix(self.behind, self.air, opacity), colour, alpha)
    }

    /// The step without fog, which is `bare`, and with fog of the opacity `most`.
    pub fn ends(&self, bare: f32, most: f32) -> Ends {
        Ends { bare, thick: self.signed(most), most }
    }

    /// The minimum opacity at which the step has reached `wanted` either way; none where none does.
    pub fn opacity(&self, wanted: f32, ends: &Ends) -> Option<f32> {
        if ends.bare.abs() >= wanted { Some(0.0) } else { self.opacity_on_fog_side(wanted, ends) }
    }

    /// The opacity at which the step has reached `wanted` the way that fog drives it, whatever it is without: an art lighter than
    /// what is behind it first loses its step to a light fog, then gains it the other way.
    ///
    /// By regula falsi (the Illinois rule, Dowell & Jarratt 1971): the step changes one way only, as every mix does.
    pub fn opacity_on_fog_side(&self, wanted: f32, ends: &Ends) -> Option<f32> {
        if !ends.reach(wanted) {
            return None;
        }
        let Ends { bare, thick, most } = *ends;
        let target = wanted.copysign(thick);
        let toward = thick.signum();
        let (mut low, mut high) = ((0.0, (bare - target) * toward), (most, (thick - target) * toward));
        for _ in 0..ITERATIONS {
            let at = low.0 + (high.0 - low.0) * (low.1 / (low.1 - high.1));
            let value = (self.signed(at) - target) * toward;
            if value >= 0.0 {
                high = (at, value);
                low.1 *= 0.5;
            } else {
                low = (at, value);
                high.1 *= 0.5;
            }
            if (0.0..STEP_ERROR).contains(&value) || high.0 - low.0 < OPACITY_ERROR {
                break;
            }
        }
        Some(high.0)
    }
}

impl Space {
    /// Relative luminance of a colour in the blending's own space.
    pub(crate) fn luminance(&self, colour: [f32; 3]) -> f32 {
        lightness::luminance_f32(self.light(colour))
    }

    /// L* of a colour in the blending's own space.
    pub(crate) fn lightness(&self, colour: [f32; 3]) -> f32 {
        lightness::from_linear_f32(self.light(colour))
    }
}

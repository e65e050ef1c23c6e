//! How much fog behind an outline brings its lightness step to the wanted one.

use crate::base::colour::lightness;
use crate::base::space::Space;
use crate::rim::outline::Point;

/// The lightness step across one place of an outline, as the fog behind it thickens. Colours in the blending's own space.
pub(crate) struct Step<'a> {
    space: &'a Space,
    inside: ([f32; 3], f32),
    outside: ([f32; 3], f32),
    behind: [f32; 3],
    air: [f32; 3],
}

fn mixed(under: [f32; 3], over: [f32; 3], alpha: f32) -> [f32; 3] {
    // Spelled out: `from_fn` isn't always inlined.
    let mix = |channel: usize| under[channel] + (over[channel] - under[channel]) * alpha;
    [mix(0), mix(1), mix(2)]
}

impl<'a> Step<'a> {
    /// At `point`, over `behind`, with fog of colour `air`.
    pub fn new(space: &'a Space, point: &Point, behind: [f32; 3], air: [f32; 3]) -> Step<'a> {
        let enter = |[r, g, b, alpha]: [f32; 4]| (space.enter([r, g, b]), alpha);
        Step { space, inside: enter(point.inside), outside: enter(point.outside), behind, air }
    }

    /// What is seen just inside the outline.
    pub fn inside(&self, opacity: f32) -> [f32; 3] {
        mixed(mixed(self.behind, self.air, opacity), self.inside.0, self.inside.1)
    }

    /// L* just outside less L* just inside, with fog of this opacity behind both.
    pub fn signed(&self, opacity: f32) -> f32 {
        let behind = mixed(self.behind, self.air, opacity);
        let tone = |(colour, alpha): ([f32; 3], f32)| self.space.lightness(mixed(behind, colour, alpha));
        tone(self.outside) - tone(self.inside)
    }

    /// The least opacity, from 0 to `most`, at which the step has reached `wanted` either way; none where none does. By regula
    /// falsi (the Illinois rule, Dowell & Jarratt 1971): the step changes one way only, as every mix does.
    pub fn least(&self, wanted: f32, most: f32) -> Option<f32> {
        if self.signed(0.0).abs() >= wanted { Some(0.0) } else { self.beyond(wanted, most) }
    }

    /// The opacity at which the step has reached `wanted` the way that fog drives it, whatever it is without: an art lighter than
    /// what is behind it first loses its step to a light fog, then gains it the other way.
    pub fn beyond(&self, wanted: f32, most: f32) -> Option<f32> {
        let (bare, thick) = (self.signed(0.0), self.signed(most));
        if thick.abs() < wanted || (thick - bare) * thick <= 0.0 {
            return None;
        }
        let target = wanted.copysign(thick);
        let toward = thick.signum();
        let (mut low, mut high) = ((0.0, (bare - target) * toward), (most, (thick - target) * toward));
        for _ in 0..24 {
            let at = low.0 + (high.0 - low.0) * (low.1 / (low.1 - high.1));
            let value = (self.signed(at) - target) * toward;
            if value >= 0.0 {
                high = (at, value);
                low.1 *= 0.5;
            } else {
                low = (at, value);
                high.1 *= 0.5;
            }
            if (0.0..0.01).contains(&value) || high.0 - low.0 < 1e-6 {
                break;
            }
        }
        Some(high.0)
    }
}

/// Optical depth of an opacity below 1.
pub(crate) fn depth(opacity: f32) -> f32 {
    -libm::log1pf(-opacity)
}

/// L* of a colour in the blending's own space.
impl Space {
    pub(crate) fn lightness(&self, colour: [f32; 3]) -> f32 {
        lightness::quick(self.light(colour))
    }
}

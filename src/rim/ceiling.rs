//! Ceilings: how thick a rim may be at each place of the outline, whatever it lacks. Fog that isn't there can't gather, a wire gathers
//! none, and fog doesn't darken what it lies before.

use crate::base::colour::lightness;
use crate::base::interpolate::smoothstep;
use crate::rim::part::Part;
use crate::rim::spread::Spread;
use crate::steps::field::FieldSpec;
use rayon::prelude::*;

// All chosen by eye.

/// Share of the most depth that is left where there is no fog but the clear air.
const THIN: f64 = 0.6;
/// How soon fog counts as thick, by its density.
const GATHERS: f64 = 3.0;
/// Coverage within about a spread below which an art counts as a wire, and from which it doesn't at all; beside a straight edge it is a
/// half.
const WIRE: [f64; 2] = [0.04, 0.13];
/// Most that a rim may darken what it lies before, CIE L*.
const DARKENS: f32 = 0.5;

/// How thick a rim may be.
pub(super) struct Limits {
    /// Anywhere: the largest drawn depth.
    pub most: f32,
    /// At each point of the outline.
    pub own: Vec<f32>,
}

/// How much fog there is at a place (texels) of a field to gather from, 0..1.
pub(super) fn gathered(field: &FieldSpec, [x, y]: [f64; 2]) -> f64 {
    let falloff = &field.recipe.falloff;
    let up = field.slope.map_or(0.0, |slope| slope.up(x, f64::from(field.cols)));
    let over = (y + up - field.line.0) * field.open;
    let density = if over >= 0.0 { -over / falloff.height.0 } else { over / falloff.beyond.0 };
    let whole = 1.0 - libm::exp(-GATHERS);
    (1.0 - libm::exp(-GATHERS * libm::exp(density))) / whole
}

impl Part<'_> {
    /// The largest drawn depth at each point of the outline, where fog has these colours and nothing may be thicker than `most`.
    pub(super) fn limits(&self, spread: &Spread, colours: &[[f32; 3]], most: f32) -> Limits {
        let field = &self.problem.job.spec.field;
        let solid = spread.solid();
        let mut own: Vec<f32> = self
            .places
            .par_iter()
            .zip(&spread.samples.places)
            .map(|(place, around)| {
                let covered = f64::from(around.sample(&solid));
                let wire = smoothstep(((covered - WIRE[0]) / (WIRE[1] - WIRE[0])).clamp(0.0, 1.0));
                let thick = THIN + (1.0 - THIN) * gathered(field, *place);
                most * (wire * thick) as f32
            })
            .collect();
        let space = self.problem.space;
        let own_lightness = |colour: &[f32; 3]| {
            let own = space.lightness(*colour);
            (own, lightness::to_luminance_f32(own + DARKENS))
        };
        let airs: Vec<(f32, f32)> = colours.par_iter().map(own_lightness).collect();
        for seen in &self.seen {
            let at = seen.point as usize;
            let (air, darkened) = airs[at];
            if seen.luminance > darkened {
                let darker = lightness::from_luminance_f32(seen.luminance) - air;
                // Lightness follows opacity nearly straight.
                own[at] = own[at].min(-libm::log1pf(-DARKENS / darker));
            }
        }
        Limits { most, own }
    }
}

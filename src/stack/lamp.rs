//! The glow of a slot's lamps, drawn.

use crate::base::exp::opacity;
use crate::base::picture::Picture;
use crate::base::units::Texel;
use crate::plan::{LEAST_SEEN, MOST_BY_FOG};
use crate::plan::{LampSpec, Light};
use crate::steps::dither;
use crate::steps::sheet::{Row, Sheet};
use rayon::prelude::*;

/// Samples of a profile per texel.
const SAMPLES: f64 = 2.0;
/// Least that thin air leaves of a glow.
const LEAST_BY_FOG: f32 = 0.5;
/// From this opacity on, differences of optical depth are lost in rounding.
const OPAQUE: f32 = 0.9999;
/// Least depth that colours are shared by.
const DEPTH_MIN: f32 = 1e-9;

/// A light's optical depth by the distance from its middle.
struct Profile<'a> {
    light: &'a Light,
    depths: Vec<f32>,
}

impl Profile<'_> {
    fn new<'a>(spec: &LampSpec, light: &'a Light) -> Profile<'a> {
        let [width, height] = spec.size.map(f64::from);
        let far = |at: Texel, side: f64| at.0.abs().max((side - at.0).abs());
        let (x, y) = (far(light.at[0], width), far(light.at[1], height));
        let count = ((x * x + y * y).sqrt() * SAMPLES) as usize + 3;
        let depth = |at: usize| {
            let away = Texel(at as f64 / SAMPLES) / spec.air.scale;
            spec.air.glow(light.extinction, light.strength, light.core, away) as f32
        };
        Profile { light, depths: (0..count).into_par_iter().map(depth).collect() }
    }

    /// Between the samples, at a texel whose middle is that far from the light's.
    fn at(&self, x: f32, y: f32) -> f32 {
        let place = (x * x + y * y).sqrt() * SAMPLES as f32;
        let low = (place as usize).min(self.depths.len() - 2);
        let share = (place - low as f32).clamp(0.0, 1.0);
        self.depths[low] + (self.depths[low + 1] - self.depths[low]) * share
    }
}

/// The glow of `spec` on the slot's own `sheet`, if it has one: 16 bits, straight alpha.
pub(crate) fn draw(spec: &LampSpec, sheet: Option<&Sheet>) -> Picture {
    let width = spec.size[0] as usize;
    let profiles: Vec<Profile<'_>> = spec.lights.iter().map(|light| Profile::new(spec, light)).collect();
    let mut texels = vec![[0_u16; 4]; width * spec.size[1] as usize];
    texels.par_chunks_mut(width).enumerate().for_each_init(Row::default, |row, (y, out)| {
        shapes(spec, sheet, y, width, row);
        for (x, texel) in out.iter_mut().enumerate() {
            *texel = lit(&profiles, [x as f32 + 0.5, y as f32 + 0.5], row.alpha[x]);
        }
    });
    Picture { size: spec.size, deep: true, texels }
}

/// How much the air raises or lowers a row of the glow, as the row's alpha: 1 where it is as thick as along the fog's line.
fn shapes(spec: &LampSpec, sheet: Option<&Sheet>, y: usize, width: usize, row: &mut Row) {
    row.alpha.clear();
    let (Some(sheet), Some(fog)) = (sheet, &spec.fog) else {
        row.alpha.resize(width, 1.0);
        return;
    };
    let first = spec.corner[0].rem_euclid(i64::from(sheet.size()[0])) as usize;
    sheet.opacities(y + spec.corner[1] as usize, first, width, row);
    let line = |factor: f64| ((fog.clear + fog.tau * factor) as f32).max(DEPTH_MIN);
    let along = |x: usize| {
        fog.field.along.as_ref().map_or(1.0, |along| along.at((first + x) as f64 % along.period + 0.5))
    };
    // By its optical depth, of clear air and fog, over the line's. Not in proportion: lamps over a low bank glow, too.
    for (x, value) in row.alpha.iter_mut().enumerate() {
        let depth = -libm::log1pf(-value.min(OPAQUE)) / line(along(x));
        *value = LEAST_BY_FOG + (MOST_BY_FOG as f32 - LEAST_BY_FOG) * depth / (1.0 + depth);
    }
}

/// The texel whose middle is `at`.
fn lit(profiles: &[Profile<'_>], at: [f32; 2], fog: f32) -> [u16; 4] {
    let (mut depth, mut colour) = (0.0, [0.0; 3]);
    for profile in profiles {
        let [x, y] = profile.light.at;
        let own = profile.at(at[0] - x.0 as f32, at[1] - y.0 as f32) + DEPTH_MIN;
        depth += own;
        for (sum, part) in colour.iter_mut().zip(profile.light.colour.0) {
            *sum += own * part;
        }
    }
    // Less what the glow ends at, so that its end is no step.
    let alpha = opacity((depth * fog - LEAST_SEEN as f32).max(0.0));
    let code = |value: f32| (value.clamp(0.0, 1.0) * 65535.0 + 0.5) as u16;
    let [r, g, b] = colour.map(|sum| code(sum / depth));
    [r, g, b, code(alpha)]
}

/// A glow as RGBA, 8 bits, opacity dithered.
pub(crate) fn eight(picture: &Picture) -> Vec<u8> {
    let width = picture.size[0] as usize;
    let mut out = vec![0; picture.texels.len() * 4];
    let rows = out.par_chunks_mut(4 * width).zip(picture.texels.par_chunks(width)).enumerate();
    rows.for_each_init(Vec::new, |row: &mut Vec<[f32; 4]>, (y, (out, texels))| {
        row.clear();
        row.extend(texels.iter().map(|texel| texel.map(|code| f32::from(code) / 65535.0)));
        dither::texels(y, row, false, width, out);
    });
    out
}

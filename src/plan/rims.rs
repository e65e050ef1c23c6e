//! Rims in the plan: their canvas, and what they are made from.

use crate::base::colour::Srgb;
use crate::base::placing::{Kind, Placing};
use crate::base::seed;
use crate::base::units::{Camera, Px, Rect, Texel};
use crate::plan::{ArtJob, Plan, line_of, rate_of};
use crate::scene::{Repeat, Scene, Slot};
use crate::steps::field::FieldSpec;
use crate::steps::step3_smear;
use crate::steps::step5_grade::Tones;
use serde::Serialize;

/// Most that a rim's spread is widened so that no edge shows.
const WIDEST: f64 = 5.0;
/// Deviations of the widest spread that a rim has room for on each side of its art.
const ROOM: f64 = 3.6;

/// A rim to be made.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RimJob {
    /// Where it stands, with all the room that it may take; what it takes in the end is known when it is made.
    #[serde(flatten)]
    pub placing: Placing,
    /// Wanted step of CIE L* across the outline.
    pub separation: f64,
    /// All that the rim is made from, but for what stands behind it.
    #[serde(skip)]
    pub spec: RimSpec,
}

impl Plan {
    /// The rim of an art; none where the slot wants none, or where the art never comes into view.
    pub(super) fn rim(
        &self,
        scene: &Scene,
        slot: &Slot,
        repeat: Repeat,
        art: &ArtJob,
        tones: Tones,
    ) -> Option<RimJob> {
        if slot.separation <= 0.0 {
            return None;
        }
        let rate = rate_of(scene, slot);
        let unit = slot.shrink.unwrap_or(rate) * self.scale;
        let own = &art.placing;
        let least = (scene.rims.spread * unit).0.max(1.5);
        let field = |size, line| {
            FieldSpec::new(size, slot.anchor, line, unit, &slot.recipe, seed::derive(slot.seed, "rim"))
        };
        let widest = WIDEST * least;
        let aspect = aspect(&field([1, 1], Texel(0.0)));
        let margin = [aspect * widest, widest].map(|deviation| (ROOM * deviation).ceil() as i64);
        // Whole texels of the view: rows beyond it are never seen.
        let top = (own.rect.y * self.scale).0.round() as i64;
        let [first, last] = [
            (top - margin[1]).max(0),
            (top + i64::from(own.texels[1]) + margin[1]).min(i64::from(self.texels[1])),
        ];
        if last <= first {
            return None;
        }
        let (left, width) = match own.period {
            Some(period) => (0, (period * self.scale).0.round().max(1.0) as u32),
            None => (margin[0], own.texels[0].saturating_add(2 * margin[0] as u32)),
        };
        let size = [width, (last - first) as u32];
        let corner = [left, top - first];
        Some(RimJob {
            placing: Placing {
                slot: slot.name.clone(),
                kind: Kind::Rim,
                path: format!("{}.rim.png", slot.name),
                order: self.files.len(),
                depth: slot.depth,
                pan_rate: rate,
                rect: Rect {
                    x: own.rect.x - Texel(left as f64) / self.scale,
                    y: own.rect.y - Texel(corner[1] as f64) / self.scale,
                    width: own.period.unwrap_or(Texel(f64::from(width)) / self.scale),
                    height: Texel(f64::from(size[1])) / self.scale,
                },
                texels: size,
                period: own.period,
            },
            separation: slot.separation,
            spec: RimSpec {
                field: field(size, line_of(scene, slot) * self.scale - Texel(first as f64)),
                tones,
                dark: scene.rims.dark,
                light: scene.air.light,
                corner,
                wraps: repeat == Repeat::Edge,
                periodic: own.period.is_some(),
                spread: [least, widest],
                separation: slot.separation,
                most: scene.rims.most,
            },
        })
    }
}

/// Widest that a rim's spread may be over its height, whatever the sheet's own: beyond that, posts grow banks of fog.
const FLATTEST: f64 = 2.0;

/// All that a rim is made from, but for what stands behind it. Lengths in texels of its canvas: the art and room around it.
#[derive(Clone, Debug, PartialEq)]
pub struct RimSpec {
    /// Size of the canvas, anchor line, recipe and dice.
    pub field: FieldSpec,
    /// Colours.
    pub tones: Tones,
    /// Colour of fog that darkens, where the haze can't set the art off; none: it may not.
    pub dark: Option<Srgb>,
    /// Where the light comes from, degrees.
    pub light: f64,
    /// The art's left top on the canvas.
    pub corner: [i64; 2],
    /// The art repeats edge to edge.
    pub wraps: bool,
    /// The canvas is one period.
    pub periodic: bool,
    /// Standard deviation of the spread along y: at least, and at most.
    pub spread: [f64; 2],
    /// Wanted step of CIE L* across the outline.
    pub separation: f64,
    /// Most opacity.
    pub most: f64,
}

/// Deviation along x over that along y of a sheet's blurs, held to what suits a rim.
pub(crate) fn aspect(field: &FieldSpec) -> f64 {
    let [x, y] = variances(field).map(|(smear, gauss)| smear + gauss);
    if x > 0.0 && y > 0.0 { libm::sqrt(x / y).clamp(1.0 / FLATTEST, FLATTEST) } else { 1.0 }
}

/// Variances of smear and Gaussian along x and y, texels^2.
pub(crate) fn variances(field: &FieldSpec) -> [(f64, f64); 2] {
    let recipe = &field.recipe;
    let [x, y] = step3_smear::extent(recipe.smear.length.0, recipe.smear.angle, [1.0, 1.0]);
    let sigma = recipe.soften.sigma.0;
    let wide = sigma * recipe.soften.stretch;
    [(x * x / 12.0, wide * wide), (y * y / 12.0, sigma * sigma)]
}

/// Camera places along the travel from which outlines are looked at: both ends, and as many between that every outline that comes
/// into view is seen about twice; 3 to 17, or the one where there is no travel.
pub fn places(plan: &Plan) -> Vec<Camera> {
    if plan.travel <= Px(0.0) {
        return vec![Camera::default()];
    }
    let fastest = plan.files.iter().map(|job| job.placing().pan_rate).fold(1.0, f64::max);
    let count = (2.0 * plan.travel * fastest / plan.view[0]).ceil() as usize + 1;
    // Odd, so that the middle is among them.
    let count = (count | 1).clamp(3, 17);
    (0..count).map(|at| Camera(plan.travel * at as f64 / (count - 1) as f64)).collect()
}

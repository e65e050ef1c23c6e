//! Rims in the plan: their canvas, and what they are made from.

use super::{ArtJob, Kind, Placing, Plan, line_of, rate_of};
use crate::field::FieldSpec;
use crate::rim::{RimSpec, kernel};
use crate::scene::{Repeat, Scene, Slot};
use crate::seed;
use crate::sheet::grade::Tones;
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
        let least = (scene.rims.spread * unit).max(1.5);
        let field = |size, line| {
            FieldSpec::new(size, slot.anchor, line, unit, &slot.recipe, seed::of(slot.seed, "rim"))
        };
        let widest = WIDEST * least;
        let aspect = kernel::aspect(&field([1, 1], 0.0));
        let margin = [aspect * widest, widest].map(|deviation| (ROOM * deviation).ceil() as i64);
        // Whole texels of the view: rows beyond it are never seen.
        let top = (own.rect[1] * self.scale).round() as i64;
        let [first, last] = [
            (top - margin[1]).max(0),
            (top + i64::from(own.texels[1]) + margin[1]).min(i64::from(self.texels[1])),
        ];
        if last <= first {
            return None;
        }
        let (left, width) = match own.period {
            Some(period) => (0, (period * self.scale).round().max(1.0) as u32),
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
                rect: [
                    own.rect[0] - left as f64 / self.scale,
                    own.rect[1] - corner[1] as f64 / self.scale,
                    own.period.unwrap_or(f64::from(width) / self.scale),
                    f64::from(size[1]) / self.scale,
                ],
                texels: size,
                period: own.period,
            },
            separation: slot.separation,
            spec: RimSpec {
                field: field(size, line_of(scene, slot) * self.scale - first as f64),
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

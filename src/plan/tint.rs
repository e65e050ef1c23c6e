//! Tint: part of the air in front of an art moves into its own colours.
//!
//! The sheet of the next nearer slot lies over the art. A share of its optical depth moves back to the slot's own plane: behind the
//! art into the slot's sheet, on the art into its colours. Whatever is seen through the stack keeps its sum.

use crate::base::law;
use crate::scene::{Scene, Slot};

/// Optical depths of a slot, in the scene's order.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Air {
    /// Length of air behind it, depth units.
    pub gap: f64,
    /// Optical depth of its sheet.
    pub sheet: f64,
    /// Optical depth in its art's colours.
    pub tint: f64,
}

/// The optical depths of every slot, and what couldn't be done.
pub(super) fn optical_depths(scene: &Scene) -> (Vec<Air>, Vec<String>) {
    let extinction = law::extinction(scene.air.visibility);
    let mut farther = None;
    let mut airs: Vec<Air> = scene
        .slots
        .iter()
        .map(|slot| {
            let gap = farther.map_or(scene.air.beyond, |depth: f64| depth - slot.depth);
            farther = Some(slot.depth);
            let sheet = if slot.fog { extinction * gap * slot.recipe.grade.thickness } else { 0.0 };
            Air { gap, sheet, tint: 0.0 }
        })
        .collect();
    let before: Vec<f64> = airs.iter().map(|air| air.sheet).collect();
    let mut notes = Vec::new();
    for (at, slot) in scene.slots.iter().enumerate().filter(|(_, slot)| slot.tint > 0.0) {
        let front = before.get(at + 1).copied().unwrap_or(0.0);
        if let Some(why) = hindrance(slot, front) {
            notes.push(format!("{}: its tint has no effect: {why}", slot.name));
            continue;
        }
        let moved = slot.tint * front;
        airs[at].tint = moved;
        airs[at].sheet += moved;
        airs[at + 1].sheet -= moved;
    }
    (airs, notes)
}

fn hindrance(slot: &Slot, front: f64) -> Option<&'static str> {
    if slot.art.is_none() {
        Some("it has no picture")
    } else if !slot.fog {
        Some("it has no sheet to take the rest")
    } else if front <= 0.0 {
        Some("there is no fog between it and the next nearer slot")
    } else {
        None
    }
}

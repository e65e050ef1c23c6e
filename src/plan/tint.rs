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
    pub sheet: Depth,
    /// Optical depth in its art's colours.
    pub tint: Depth,
}

/// Optical depth in two parts.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Depth {
    /// Of the clear air, at any height.
    pub clear: f64,
    /// What the fog adds to it along its line.
    pub fog: f64,
}

impl Depth {
    /// Along the line.
    pub fn sum(self) -> f64 {
        self.clear + self.fog
    }

    fn times(self, share: f64) -> Depth {
        Depth { clear: self.clear * share, fog: self.fog * share }
    }

    fn plus(self, other: Depth) -> Depth {
        Depth { clear: self.clear + other.clear, fog: self.fog + other.fog }
    }
}

/// The optical depths of every slot, and what couldn't be done; whether the farthest picture is a `sky`, painted with its air.
pub(super) fn optical_depths(scene: &Scene, sky: bool) -> (Vec<Air>, Vec<String>) {
    let [even, added] = law::parts(scene.air.visibility, scene.air.clear);
    let mut farther = None;
    let mut airs: Vec<Air> = scene
        .slots
        .iter()
        .enumerate()
        .map(|(at, slot)| {
            let gap = farther.map_or(scene.air.beyond, |depth: f64| depth - slot.depth);
            farther = Some(slot.depth);
            // Along the line both parts are the air's visibility, however they are parted. The recipe says how thick the fog is, not
            // the air that is there without it.
            let clear = even * slot.clear.unwrap_or(if sky && at <= 1 { 0.0 } else { 1.0 });
            let fog = (even + added - clear) * gap * slot.recipe.grade.thickness;
            let sheet = if slot.fog { Depth { clear: clear * gap, fog } } else { Depth::default() };
            Air { gap, sheet, tint: Depth::default() }
        })
        .collect();
    let before: Vec<Depth> = airs.iter().map(|air| air.sheet).collect();
    let mut notes = Vec::new();
    for (at, slot) in scene.slots.iter().enumerate().filter(|(_, slot)| slot.tint > 0.0) {
        let front = before.get(at + 1).copied().unwrap_or_default();
        if let Some(why) = hindrance(slot, front.sum()) {
            notes.push(format!("{}: its tint has no effect: {why}", slot.name));
            continue;
        }
        let moved = front.times(slot.tint);
        airs[at].tint = moved;
        airs[at].sheet = airs[at].sheet.plus(moved);
        airs[at + 1].sheet = airs[at + 1].sheet.plus(moved.times(-1.0));
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

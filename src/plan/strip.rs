//! The whole travel as one long picture: how long it is, and where the places of a slot lie on it.

use crate::base::law;
use crate::base::placing::Placing;
use crate::base::units::Px;
use crate::plan::Plan;

/// How the places of a slot lie on the strip.
#[derive(Clone, Copy)]
pub(crate) struct Mapping {
    pub view: Px,
    pub travel: Px,
    pub rate: f64,
}

impl Mapping {
    /// Where a place of the slot is on the strip.
    pub fn to(self, x: Px) -> Px {
        let camera = ((x - self.view / 2.0) / self.rate).clamp(Px(0.0), self.travel);
        x - camera * self.rate + camera
    }

    /// Whether the camera is on its way while a place is in mid-view.
    pub fn passes(self, x: Px) -> bool {
        let way = (x - self.view / 2.0) / self.rate;
        way > Px(0.0) && way < self.travel
    }
}

impl Plan {
    /// Width and height in px of all that is seen of the play plane over the travel.
    pub(crate) fn strip(&self) -> [Px; 2] {
        law::strip(self.view, self.travel, 1.0)
    }

    /// The same in texels; saturates.
    pub(crate) fn strip_size(&self) -> [u32; 2] {
        self.strip().map(|side| (side * self.scale).0.round().max(1.0) as u32)
    }

    /// Texels along the strip, and down it, that a picture takes at most which is stretched as the camera goes.
    pub(crate) fn stretched_size(&self, placing: &Placing) -> [u32; 2] {
        let (rect, whole) = (placing.rect, self.strip_size());
        let long = |from: Px, to: Px, side: usize| {
            let travel = [self.travel.right, self.travel.down][side];
            let mapping = Mapping { view: self.view[side], travel, rate: placing.pan_rate };
            let ends = [from, to].map(|at| (mapping.to(at) * self.scale).0.max(0.0));
            ((ends[1] - ends[0]).ceil().max(0.0) as u32).saturating_add(1).min(whole[side])
        };
        let across = if placing.period.is_some() { whole[0] } else { long(rect.x, rect.x + rect.width, 0) };
        let down = if self.travel.down > Px(0.0) {
            long(rect.y, rect.y + rect.height, 1)
        } else {
            placing.texels[1]
        };
        [across, down]
    }
}

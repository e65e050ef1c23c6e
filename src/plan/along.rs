//! Factors along the travel in the plan: where their places lie on a sheet, and what they come to.
//!
//! A place of the travel is the camera's; what then stands in the middle of the view has the factor.

use crate::base::units::{Px, Scale};
use crate::plan::jobs::FogJob;
use crate::scene::{Repeat, Scene, Slot};
use crate::steps::along::{Along, AlongSheet};

/// What is put on to a strip so that a factor can lead back to where it began, in views; chosen by eye.
const BACK: f64 = 1.0 / 32.0;

/// The curves of a slot's fog: the air's and its own.
pub(super) fn curves<'a>(scene: &'a Scene, slot: &'a Slot) -> impl Iterator<Item = &'a Along> {
    scene.air.along.iter().chain(&slot.along)
}

/// Whether a slot's fog isn't as thick all along.
pub(super) fn varies(scene: &Scene, slot: &Slot) -> bool {
    curves(scene, slot).any(Along::varies)
}

/// What a strip has to be longer by where the factor on it varies.
pub(super) fn back(view: Px) -> Px {
    view * BACK
}

/// The factor of a slot's fog at a place of the camera.
pub(super) fn at(scene: &Scene, slot: &Slot, camera: Px) -> f64 {
    curves(scene, slot).map(|curve| curve.at(camera.0)).product()
}

/// Factors on a picture that pans at `rate` and begins at `left`.
pub(super) struct Across<'a> {
    pub scene: &'a Scene,
    pub rate: f64,
    pub scale: Scale,
    pub left: Px,
}

impl Across<'_> {
    /// Those of the fog of `slot`, as far as `seen` texels of `period`; none where there are none.
    pub fn of(&self, slot: &Slot, seen: f64, period: f64) -> Option<AlongSheet> {
        let middle = self.scene.view[0] / 2.0;
        let place = |camera: f64| ((Px(camera) * self.rate + middle - self.left) * self.scale).0;
        let curves: Vec<Along> = curves(self.scene, slot).map(|curve| curve.moved(place)).collect();
        (!curves.is_empty()).then_some(AlongSheet { curves, seen: seen.min(period), period })
    }
}

/// The factors of a slot's fog at the ends of the travel and at all points between, each with its place.
pub(super) fn told(scene: &Scene, slot: &Slot) -> Vec<[f64; 2]> {
    if curves(scene, slot).next().is_none() {
        return Vec::new();
    }
    let points = curves(scene, slot).flat_map(|curve| curve.points()).map(|point| point[0]);
    let inside = |place: &f64| (0.0..=scene.travel.right.0).contains(place);
    let mut places: Vec<f64> = points.filter(inside).chain([0.0, scene.travel.right.0]).collect();
    places.sort_by(f64::total_cmp);
    places.dedup();
    places.into_iter().map(|place| [place, at(scene, slot, Px(place))]).collect()
}

/// A tint that can't follow the factor.
pub(super) fn note_tint(scene: &Scene, at: usize) -> Option<String> {
    let (slot, front) = (scene.slots.get(at)?, scene.slots.get(at + 1)?);
    let repeats = slot.art.as_ref().is_some_and(|art| art.repeat != Repeat::No);
    (slot.tint > 0.0 && repeats && varies(scene, front)).then(|| {
        format!("{}: its tint is the same all along the travel, because its picture repeats", slot.name)
    })
}

/// What the law holds times, along the travel.
pub(super) fn note(job: &FogJob) -> Option<String> {
    let first = job.along.first()?;
    let name = &job.placing.slot;
    let (mut least, mut most) = (first, first);
    for point in &job.along {
        least = if point[1] < least[1] { point } else { least };
        most = if point[1] > most[1] { point } else { most };
    }
    Some(if least[1] == most[1] {
        format!("{name}: its fog is {:.2} times as dense as the law gives", most[1])
    } else {
        format!(
            "{name}: its fog is {:.2} times as dense as the law gives at {:.0} px of the travel, {:.2} times at {:.0} px",
            least[1], least[0], most[1], most[0]
        )
    })
}

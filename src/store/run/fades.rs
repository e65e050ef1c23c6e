//! Which files of a scene's moods a game may fade into each other: those that stand alike.

use crate::base::limits::Limits;
use crate::base::placing::Placing;
use crate::output::Manifest;
use crate::plan::{Job, Plan};
use crate::scene::Scene;
use crate::scene::pictures::Naturals;

/// The same scene in another mood.
#[derive(Clone, Debug)]
pub struct Other {
    /// The mood's name; empty for the scene without one.
    pub mood: String,
    /// The scene in it.
    pub scene: Scene,
    /// What a plan knows of its pictures.
    pub naturals: Naturals,
}

/// Names in each file of the manifest the moods whose file for the same slot and kind covers the same rectangle and repeats alike.
pub(super) fn mark(manifest: &mut Manifest, plan: &Plan, others: &[Other], limits: &Limits) {
    // Entries of an earlier run have theirs already.
    manifest.files.iter_mut().for_each(|entry| entry.fades.clear());
    // What is cropped depends on what is drawn.
    if plan.texture.trim {
        return;
    }
    for other in others {
        // A mood that is over a limit has no files.
        let Ok(there) = Plan::new(&other.scene, &other.naturals, plan.scale.0, limits) else { continue };
        for entry in &mut manifest.files {
            let of = |plan: &Plan| {
                let mut placings = plan.files.iter().map(Job::placing);
                placings.find(|placing| placing.slot == entry.slot && placing.kind == entry.kind).map(stands)
            };
            if of(&there).is_some() && of(&there) == of(plan) && !there.texture.trim {
                entry.fades.push(other.mood.clone());
            }
        }
    }
}

/// Where a picture stands, and at which interval it repeats.
fn stands(placing: &Placing) -> ([f64; 4], Option<f64>) {
    (placing.rect.into(), placing.period.map(|period| period.0))
}

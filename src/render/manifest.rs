//! The manifest of what stands in the folder after a run.

use super::STILL;
use crate::out::{self, Entry, Manifest, Still};
use crate::plan::{Job, Plan};
use crate::rerun::Written;
use std::path::Path;

/// What an output of the plan turned out as.
#[derive(Clone, Debug)]
pub(super) enum Outcome {
    /// It is as the plan says.
    AsMeant(Written),
    /// Somebody painted on what an earlier run made.
    Painted(Written),
    /// The run wasn't asked for it.
    Aside,
}

/// The manifest; `outcomes` are those of the plan's jobs.
pub(super) fn manifest(
    plan: &Plan,
    outcomes: &[Outcome],
    still: (&Outcome, f64),
    earlier: Option<&Manifest>,
    folder: &Path,
) -> Manifest {
    let files = plan.files.iter().zip(outcomes);
    Manifest {
        version: out::manifest::VERSION,
        generator: concat!("fogweft ", env!("CARGO_PKG_VERSION")).to_owned(),
        view: plan.view,
        travel: plan.travel,
        scale: plan.scale,
        blending: plan.blending,
        alpha: "straight".to_owned(),
        still: self::still(still, earlier),
        files: files.filter_map(|(job, outcome)| file(job, outcome, earlier, folder)).collect(),
    }
}

fn still((outcome, camera): (&Outcome, f64), earlier: Option<&Manifest>) -> Option<Still> {
    let (written, camera) = match outcome {
        Outcome::AsMeant(written) => (written, camera),
        Outcome::Painted(written) => {
            (written, earlier.and_then(|earlier| earlier.still.as_ref()).map_or(camera, |still| still.camera))
        }
        Outcome::Aside => return None,
    };
    Some(Still {
        path: STILL.to_owned(),
        camera,
        hash: written.hash.clone(),
        bytes: written.bytes,
        made_of: written.made_of.clone(),
    })
}

fn file(job: &Job, outcome: &Outcome, earlier: Option<&Manifest>, folder: &Path) -> Option<Entry> {
    let placing = job.placing();
    let old = earlier.and_then(|earlier| earlier.files.iter().find(|entry| entry.path == placing.path));
    match outcome {
        Outcome::AsMeant(written) => Some(entry(job, written)),
        Outcome::Painted(written) => Some(match old {
            // The picture keeps the place that it was painted for.
            Some(old) if old.texels != placing.texels => Entry {
                order: placing.order as u32,
                depth: placing.depth,
                pan_rate: placing.pan_rate,
                hash: written.hash.clone(),
                bytes: written.bytes,
                made_of: written.made_of.clone(),
                ..old.clone()
            },
            _ => entry(job, written),
        }),
        Outcome::Aside => {
            let old = old?;
            folder.join(&old.path).is_file().then(|| Entry { order: placing.order as u32, ..old.clone() })
        }
    }
}

fn entry(job: &Job, written: &Written) -> Entry {
    let placing = job.placing();
    Entry {
        slot: placing.slot.clone(),
        kind: placing.kind,
        path: placing.path.clone(),
        order: placing.order as u32,
        depth: placing.depth,
        pan_rate: placing.pan_rate,
        rect: placing.rect,
        texels: placing.texels,
        period: placing.period,
        optical_depth: match job {
            Job::Fog(job) => Some(job.optical_depth),
            Job::Art(_) => None,
        },
        opaque: written.opaque,
        hash: written.hash.clone(),
        bytes: written.bytes,
        made_of: written.made_of.clone(),
    }
}

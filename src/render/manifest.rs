//! The manifest of what stands in the folder after a run.

use super::{STILL, VALUES};
use crate::out::{self, Entry, Manifest, Still};
use crate::plan::{Job, Kind, Plan};
use crate::rerun::{Stands, Written};
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
    [still, values]: [&Outcome; 2],
    camera: f64,
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
        still: of_whole(STILL, still, camera, earlier.and_then(|earlier| earlier.still.as_ref())),
        values: of_whole(VALUES, values, camera, earlier.and_then(|earlier| earlier.values.as_ref())),
        files: files.filter_map(|(job, outcome)| file(job, outcome, earlier, folder)).collect(),
    }
}

/// A picture of the whole stack.
fn of_whole(path: &str, outcome: &Outcome, camera: f64, earlier: Option<&Still>) -> Option<Still> {
    let (written, camera) = match outcome {
        Outcome::AsMeant(written) => (written, camera),
        Outcome::Painted(written) => (written, earlier.map_or(camera, |still| still.camera)),
        Outcome::Aside => return None,
    };
    Some(Still {
        path: path.to_owned(),
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
            Some(old) if old.texels != placing.texels || placing.kind == Kind::Rim => Entry {
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
    // What is as large as it turns out stands where it was put.
    let stands = written.stands.unwrap_or(Stands { rect: placing.rect, texels: placing.texels });
    Entry {
        slot: placing.slot.clone(),
        kind: placing.kind,
        path: placing.path.clone(),
        order: placing.order as u32,
        depth: placing.depth,
        pan_rate: placing.pan_rate,
        rect: stands.rect,
        texels: stands.texels,
        period: placing.period,
        optical_depth: match job {
            Job::Fog(job) => Some(job.optical_depth),
            Job::Rim(_) | Job::Art(_) => None,
        },
        opaque: written.opaque,
        hash: written.hash.clone(),
        bytes: written.bytes,
        made_of: written.made_of.clone(),
    }
}

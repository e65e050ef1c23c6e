//! A plan at a moment: its fog has flowed, and drifted.

use crate::base::placing::Placing;
use crate::base::units::Px;
use crate::plan::{FogJob, Job, Plan};
use crate::steps::sheet::SheetSpec;

/// Most moments of a loop that are looked at; the others lie between them.
const LOOKED_AT: u32 = 6;
/// The same of those that rims are solved for.
const SOLVED_AT: u32 = 4;

impl Plan {
    /// The plan of a run that makes so many frames of the loop of its fog.
    pub fn with_frames(self, frames: u32) -> Plan {
        Plan { frames, ..self }
    }

    /// The plan at place `time` (0 to 1) of its loop, after a drift of so many seconds.
    pub fn at(&self, time: f64, drifted: f64) -> Plan {
        let mut plan = self.clone();
        for (job, rest) in plan.files.iter_mut().zip(&self.files) {
            if let (Job::Fog(job), Job::Fog(rest)) = (job, rest) {
                (job.spec, job.placing) = self.sheet_at(rest, time, drifted);
            }
        }
        plan
    }

    /// A sheet, and where it stands, at such a moment.
    pub fn sheet_at(&self, job: &FogJob, time: f64, drifted: f64) -> (SheetSpec, Placing) {
        let (mut spec, mut placing) = (job.spec.clone(), job.placing.clone());
        spec.field = spec.field.at(time, self.loop_seconds);
        placing.rect.x += Px(self.drift_of_fog(job) * drifted);
        (spec, placing)
    }

    /// The moments that rims are solved for besides the first, if fog flows at all: see [`Plan::moments`].
    pub fn solving_moments(&self) -> Vec<[f64; 2]> {
        if self.frames > 1 { self.moments(self.frames.min(SOLVED_AT)) } else { Vec::new() }
    }

    /// Places in the loop, and seconds of drift, at which a scene with `frames` of fog is looked at besides the first: spread evenly over
    /// the loop, and over the time in which the slowest sheet comes round.
    pub fn moments(&self, frames: u32) -> Vec<[f64; 2]> {
        let count = frames.min(LOOKED_AT);
        let round = |job: &Job| {
            let speed = self.drift_of(job).abs();
            let period = job.placing().period.map_or(0.0, |period| period.0);
            if speed > 0.0 { period / speed } else { 0.0 }
        };
        let whole = self.files.iter().map(round).fold(0.0, f64::max);
        // On a frame each.
        let place = |at: u32| f64::from(at * frames / count) / f64::from(frames);
        (1..count).map(|at| [place(at), whole * f64::from(at) / f64::from(count)]).collect()
    }

    /// How far each sheet flows over the loop, texels.
    pub fn ways(&self) -> impl Iterator<Item = [f64; 2]> {
        self.files.iter().filter_map(|job| match job {
            Job::Fog(job) => Some(job.spec.field.recipe.bands.way(self.loop_seconds)),
            Job::Own(_) | Job::Rim(_) | Job::Art(_) | Job::Lamp(_) => None,
        })
    }
}

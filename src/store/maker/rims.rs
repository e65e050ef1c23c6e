//! Rims: solved once all behind them is there; large ones are drawn from a solution of a smaller scale.

use super::stages::RimStage;
use super::{Maker, Request};
use crate::base::fault::Result;
use crate::base::key::Key;
use crate::base::progress::Progress;
use crate::plan::{Job, Plan, RimJob};
use crate::rim::Rim;
use crate::stack::survey::{Ready, Survey};
use crate::stack::{Made, Stack};
use std::collections::BTreeMap;
use std::sync::Arc;

impl Maker<'_> {
    /// Finds or solves the rims among the jobs `due`, and looks at the outlines. False if it was stopped.
    pub(super) fn rims(&self, stack: &mut Stack<'_>, due: &[usize], request: &Request<'_>) -> Result<bool> {
        let plan = stack.plan();
        let rim = |at: &usize| match &plan.files[*at] {
            Job::Rim(job) => Some((*at, &**job)),
            Job::Fog(_) | Job::Own(_) | Job::Art(_) | Job::Lamp(_) => None,
        };
        let rims: Vec<(usize, &RimJob)> = due.iter().filter_map(rim).collect();
        let keys = if rims.is_empty() { Vec::new() } else { plan.keys(request.pictures, request.bits) };
        let mut unsolved = Vec::new();
        for (at, job) in rims {
            let Some(stage) = rim_stage(stack, at, job, &keys) else { continue };
            match self.store.find(&stage) {
                Some(rim) => self.place_rim(stack, at, job, rim),
                None => unsolved.push(at),
            }
        }
        if unsolved.is_empty() && request.cameras.is_empty() {
            return Ok(true);
        }
        if let Some(solved_by) = plan.solved_by.as_deref().filter(|_| !unsolved.is_empty()) {
            if !self.larger_rims(stack, solved_by, &unsolved, &keys, request)? {
                return Ok(false);
            }
            unsolved.clear();
        }
        let solving = if unsolved.is_empty() { Vec::new() } else { plan.cameras() };
        let ready = stack.made.iter().enumerate().map(|(at, made)| match made {
            Some(made) => made.ready(),
            None if unsolved.contains(&at) => Ready::Due,
            None => Ready::Aside,
        });
        let ready: Vec<Ready<'_>> = ready.collect();
        let Some(mut survey) =
            Survey::part(plan, &ready, &solving, request.cameras, &|| self.progress.stopped())
        else {
            return Ok(false);
        };
        for (at, solution) in survey.rims.drain(..) {
            let Some((at, job)) = rim(&at) else { continue };
            let Some(stage) = rim_stage(stack, at, job, &keys) else { continue };
            let solution = self.store.insert(&stage, solution, true);
            self.place_rim(stack, at, job, solution);
        }
        stack.survey = survey;
        Ok(true)
    }

    /// Draws the rims `unsolved` from those of the plan that they are solved by. False if it was stopped.
    fn larger_rims(
        &self,
        stack: &mut Stack<'_>,
        solved_by: &Plan,
        unsolved: &[usize],
        keys: &[Key],
        request: &Request<'_>,
    ) -> Result<bool> {
        let due = unsolved.iter().filter_map(|at| match &stack.plan.files[*at] {
            Job::Rim(job) => Some((*at, &**job)),
            Job::Fog(_) | Job::Own(_) | Job::Art(_) | Job::Lamp(_) => None,
        });
        let due: Vec<(usize, &RimJob)> = due.collect();
        let place = |name: &str| {
            let is_it = |job: &Job| matches!(job, Job::Rim(job) if job.placing.slot == name);
            solved_by.files.iter().position(is_it)
        };
        let places: Vec<Option<usize>> = due.iter().map(|(_, job)| place(&job.placing.slot)).collect();
        // With its picture, and all behind it.
        let last = places.iter().flatten().max().map_or(0, |last| last + 2);
        let needed = (0..solved_by.files.len()).map(|at| at < last).collect();
        let quiet = Quiet(self.progress);
        let mut solved = Stack::empty(solved_by);
        let own = Request { needed, files: BTreeMap::new(), cameras: &[], ..*request };
        if !(Maker { progress: &quiet, ..*self }).fill(&mut solved, &own)? {
            return Ok(false);
        }
        for ((at, job), place) in due.into_iter().zip(places) {
            let Some(Some(Made::Rim(rim))) = place.map(|place| &solved.made[place]) else { continue };
            let Some(stage) = rim_stage(stack, at, job, keys) else { continue };
            let rim = self.store.insert(&stage, rim.larger(job, stage.picture, stage.scale), true);
            self.place_rim(stack, at, job, rim);
        }
        Ok(true)
    }

    fn place_rim(&self, stack: &mut Stack<'_>, at: usize, job: &RimJob, rim: Arc<Rim>) {
        self.tell(&job.placing);
        stack.made[at] = Some(Made::Rim(rim.renamed(job)));
    }
}

/// Tells nobody, and stops when the other does.
struct Quiet<'a>(&'a dyn Progress);

impl Progress for Quiet<'_> {
    fn stopped(&self) -> bool {
        self.0.stopped()
    }
}

/// The stage that solves the rim `at`; none where its picture isn't there.
fn rim_stage<'s>(stack: &'s Stack<'_>, at: usize, job: &'s RimJob, keys: &[Key]) -> Option<RimStage<'s>> {
    match stack.made.get(at + 1) {
        Some(Some(Made::Picture(picture))) => {
            Some(RimStage { key: keys[at], job, picture, scale: stack.plan.scale })
        }
        _ => None,
    }
}

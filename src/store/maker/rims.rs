//! Rims: solved once all behind them is there; large ones are drawn from a solution of a smaller scale.

use super::stages::RimStage;
use super::{Maker, Request};
use crate::base::fault::Result;
use crate::base::key::Key;
use crate::base::progress::{Progress, Stage, stage};
use crate::plan::{Job, Plan, RimJob};
use crate::rim::Rim;
use crate::stack::survey::{Ready, Survey};
use crate::stack::{Made, Stack};
use crate::store::cache::Stage as _;
use std::collections::BTreeMap;
use std::sync::Arc;

/// Rims that others are drawn from, by the places of those in their plan.
pub(super) type Smaller = BTreeMap<usize, Arc<Rim>>;

impl Maker<'_> {
    /// Solves those among the jobs `due` that are drawn from rims of a smaller scale, as far as they aren't in the store: before the plan's own
    /// layers are there, so that those of both scales never are at one time. None if it was stopped.
    pub(super) fn smaller_rims(
        &self,
        plan: &Plan,
        due: &[usize],
        request: &Request<'_>,
    ) -> Result<Option<Smaller>> {
        if plan.solved_by.is_none() {
            return Ok(Some(Smaller::new()));
        }
        let keys = plan.keys(request.pictures, request.bits);
        let is_unsolved = |at: &usize| {
            let key = keys[*at];
            matches!(plan.files[*at], Job::Rim(_))
                && self.store.get::<Rim>(key).is_none()
                && !self.store.has_file(RimStage::KIND, key)
        };
        let unsolved: Vec<usize> = due.iter().copied().filter(is_unsolved).collect();
        stage(self.progress, Stage::Rims, "", || self.smaller_of(plan, &unsolved, request))
    }

    /// Those that the rims `unsolved` of a plan are drawn from. None if it was stopped.
    fn smaller_of(&self, plan: &Plan, unsolved: &[usize], request: &Request<'_>) -> Result<Option<Smaller>> {
        let Some(solved_by) = plan.solved_by.as_deref().filter(|_| !unsolved.is_empty()) else {
            return Ok(Some(Smaller::new()));
        };
        let place = |at: &usize| {
            let name = &plan.files[*at].placing().slot;
            let is_it = |job: &Job| matches!(job, Job::Rim(job) if job.placing.slot == *name);
            solved_by.files.iter().position(is_it).map(|place| (*at, place))
        };
        let places: Vec<(usize, usize)> = unsolved.iter().filter_map(place).collect();
        // With its picture, and all behind it.
        let last = places.iter().map(|(_, place)| place + 2).max().unwrap_or(0);
        let needed = (0..solved_by.files.len()).map(|at| at < last).collect();
        let quiet = Quiet(self.progress);
        let mut solved = Stack::empty(solved_by);
        let own = Request { needed, files: BTreeMap::new(), cameras: &[], ..*request };
        if !(Maker { progress: &quiet, ..*self }).fill(&mut solved, &own)? {
            return Ok(None);
        }
        let rim = |(at, place): (usize, usize)| match &solved.made[place] {
            Some(Made::Rim(rim)) => Some((at, Arc::clone(rim))),
            _ => None,
        };
        Ok(Some(places.into_iter().filter_map(rim).collect()))
    }

    /// Finds or solves the rims among the jobs `due`, or draws them from `smaller` ones, and looks at the outlines. False if it was stopped.
    pub(super) fn rims(
        &self,
        stack: &mut Stack<'_>,
        due: &[usize],
        request: &Request<'_>,
        smaller: Smaller,
    ) -> Result<bool> {
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
        if plan.solved_by.is_some() {
            if !self.larger_rims(stack, &unsolved, &keys, request, smaller)? {
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

    /// Draws the rims `unsolved` from `smaller` ones. False if it was stopped.
    fn larger_rims(
        &self,
        stack: &mut Stack<'_>,
        unsolved: &[usize],
        keys: &[Key],
        request: &Request<'_>,
        mut smaller: Smaller,
    ) -> Result<bool> {
        let plan = stack.plan();
        // What the store was to have, but couldn't be read.
        let missing: Vec<usize> = unsolved.iter().copied().filter(|at| !smaller.contains_key(at)).collect();
        let Some(others) = self.smaller_of(plan, &missing, request)? else { return Ok(false) };
        smaller.extend(others);
        for (at, small) in smaller.into_iter().filter(|(at, _)| unsolved.contains(at)) {
            let Job::Rim(job) = &plan.files[at] else { continue };
            let Some(stage) = rim_stage(stack, at, job, keys) else { continue };
            let rim = self.store.insert(&stage, small.larger(job, stage.picture, stage.scale), true);
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

//! Two painters: one draws drafts while somebody moves things, the other settles them at full resolution when all is at rest.

use crate::base::fault::{Faults, Result};
use crate::base::limits::Limits;
use crate::base::picture::Picture;
use crate::base::units::Px;
use crate::plan::{Job, Plan};
use crate::review::check;
use crate::stack::compositor::{Compositor, Exact};
use crate::stack::still::Still;
use crate::stack::survey::{Mark, Ready, Survey};
use crate::stack::{Made, Source, Stack, values};
use crate::tune::hub::{Hub, Rims, SolvedRim, Tab, View, find_rim, locked};
use crate::tune::layers::{Kitchen, Layers};
use crate::tune::session::Version;
use crate::tune::{frame, socket, state};
use serde_json::json;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

/// Most texels of a draft along x and y.
const DRAFT: [f64; 2] = [960.0, 540.0];
/// Scale of a draft's fog over that of its art.
const COARSE: f64 = 0.25;
/// Most texels of a settled picture.
const FULL: f64 = 2560.0 * 1440.0;
/// How long nothing must have been edited before pictures are settled.
const REST: Duration = Duration::from_millis(500);
/// How long no draft must have been drawn before settling goes on.
const PAUSE: Duration = Duration::from_millis(200);
/// Layers of drafts that are kept though the last picture doesn't show them: a step back is quick then. Full ones would be too large.
const SPARE: usize = 12;
/// Least time between two sections while something is dragged.
const SECTION: Duration = Duration::from_millis(300);
/// How long a painter waits for a sign at most.
const LOOK: Duration = Duration::from_millis(500);
/// Most marks of failing outline that a page is told of, for each slot.
const MARKS: usize = 300;

/// Draws drafts until the hub stops.
pub(super) fn drafts(hub: &Hub, limits: &Limits) {
    let (mut seen, mut told, mut told_at) = (0, 0, Instant::now());
    let mut kitchen = Kitchen::new(SPARE);
    while !hub.is_stopped() {
        // What the page is still owed comes soon after.
        seen = hub.wait(seen, if told == hub.revision() { LOOK } else { SECTION });
        let tabs: Vec<Arc<Tab>> = hub.tabs().into_iter().filter(|tab| tab.is_ready()).collect();
        if tabs.is_empty() {
            continue;
        }
        let rims_revision = locked(&hub.rims).revision;
        // Read before the scene: the picture then holds at least what the stamp says.
        let stamps: Vec<u64> = tabs.iter().map(|tab| tab.stamp.load(Ordering::Acquire)).collect();
        let (version, saved) = {
            let session = hub.session();
            (Arc::clone(session.current()), Arc::clone(session.saved()))
        };
        let due = |tab: &Arc<Tab>| {
            let wanted = [version.revision, rims_revision, tab.view().1];
            locked(&tab.drawn)[0] != Some(wanted)
        };
        let owes = told != version.revision && told_at.elapsed() >= SECTION;
        if !owes && !tabs.iter().any(due) {
            continue;
        }
        let draft = match Draft::new(&mut kitchen, &version, limits) {
            Ok(draft) => draft,
            Err(faults) => {
                fail(hub, &tabs, &faults, [version.revision, rims_revision]);
                told = version.revision;
                continue;
            }
        };
        let mut old = None;
        for (tab, stamp) in tabs.iter().zip(stamps) {
            let (view, revision) = tab.view();
            let wanted = [version.revision, rims_revision, revision];
            if locked(&tab.drawn)[0] == Some(wanted) {
                continue;
            }
            // A settled picture of just this stands already; a draft would be a step back.
            let is_settled = |drawn: Option<[u64; 3]>| {
                drawn.is_some_and(|at| at[0] == version.revision && at[2] == revision)
            };
            let settled = is_settled(locked(&tab.drawn)[1]);
            if !settled {
                let rims = locked(&hub.rims).now.clone();
                let frame = frame::draft(&draft.stack(&view, &rims), &view, 0, stamp, version.revision);
                // Under the lock, since it may be settled just now.
                let drawn = locked(&tab.drawn);
                if is_settled(drawn[1]) {
                    continue;
                }
                tab.show(frame);
            }
            if view.compare && !settled {
                if old.is_none() {
                    old = Draft::new(&mut kitchen, &saved, limits).ok();
                }
                if let Some(old) = &old {
                    let rims = locked(&hub.rims).saved.clone();
                    tab.show(frame::draft(&old.stack(&view, &rims), &view, 1, stamp, saved.revision));
                }
            }
            locked(&tab.drawn)[0] = Some(wanted);
        }
        // Who draws drafts isn't disturbed by what is being settled.
        hub.delay_rest();
        if told != version.revision && told_at.elapsed() >= SECTION {
            (told, told_at) = (version.revision, Instant::now());
            let section = state::section(
                &version.reading.scene,
                &draft.plan,
                &draft.layers.baked,
                COARSE * draft.plan.scale,
            );
            hub.tell_all(&json!({ "section": section, "turn": version.revision }));
        }
    }
}

/// What can't be drawn is told once, and the last good picture stays.
fn fail(hub: &Hub, tabs: &[Arc<Tab>], faults: &Faults, [revision, rims]: [u64; 2]) {
    hub.tell_all(&json!({ "undrawn": state::faults(faults) }));
    for tab in tabs {
        let view = tab.view().1;
        locked(&tab.drawn)[0] = Some([revision, rims, view]);
    }
}

struct Draft {
    plan: Plan,
    layers: Layers,
}

impl Draft {
    fn new(kitchen: &mut Kitchen, version: &Version, limits: &Limits) -> Result<Draft> {
        let mut plan = plan(version, draft_scale(version), limits)?;
        // Fog is smooth: a draft's is worked out coarser than the art.
        let coarse = self::plan(version, plan.scale.0 * COARSE, limits)?;
        for (job, coarse) in plan.files.iter_mut().zip(coarse.files) {
            if let (Job::Fog(job), Job::Fog(coarse)) = (job, coarse) {
                job.spec = coarse.spec;
            }
        }
        let layers = kitchen.make(&plan, &version.arts, limits, &|| false)?;
        let nothing = || Layers { made: Vec::new(), baked: Vec::new(), bare: Vec::new() };
        Ok(Draft { plan, layers: layers.unwrap_or_else(nothing) })
    }

    /// What is drawn of it; its own rims aren't solved, `rims` are.
    fn stack<'a>(&'a self, view: &View, rims: &'a [SolvedRim]) -> Compositor<'a> {
        let jobs = self.plan.files.iter().enumerate();
        let sources = jobs.filter_map(|(at, job)| match job {
            Job::Fog(_) | Job::Rim(_) if view.bare => None,
            Job::Rim(job) => find_rim(rims, job).map(|rim| (&rim.placing, Source::Picture(&rim.picture))),
            Job::Art(job) if view.bare => {
                Some((&job.placing, Source::Picture(self.layers.bare.get(at)?.as_ref()?)))
            }
            _ => Some((job.placing(), self.layers.made.get(at)?.as_ref()?.source())),
        });
        Compositor::new(&self.plan, sources, view.camera.within(self.plan.travel))
    }
}

fn draft_scale(version: &Version) -> f64 {
    let [Px(width), Px(height)] = version.reading.scene.view;
    (DRAFT[0] / width).min(DRAFT[1] / height).min(1.0)
}

fn full_scale(version: &Version) -> f64 {
    let [Px(width), Px(height)] = version.reading.scene.view;
    (FULL / (width * height)).sqrt().min(1.0)
}

fn plan(version: &Version, scale: f64, limits: &Limits) -> Result<Plan> {
    Plan::new(&version.reading.scene, &version.arts.naturals(), scale, limits)
}

/// A scene settled at one scale.
struct Settled {
    plan: Plan,
    layers: Layers,
    opened: u64,
}

/// Settles pictures until the hub stops; `at_rest` is called after each round that nobody disturbs.
pub(super) fn settle(hub: &Hub, limits: &Limits, at_rest: fn()) {
    let mut seen = 0;
    let mut kitchens = [Kitchen::new(0), Kitchen::new(0)];
    let mut done: [Option<Settled>; 2] = [None, None];
    let (mut revision, mut viewed) = (0, Instant::now());
    let mut views: Vec<u64> = Vec::new();
    while !hub.is_stopped() {
        let now = hub.wait(seen, if hub.since_edit() < REST { REST } else { LOOK });
        let tabs = hub.tabs();
        let at: Vec<u64> = tabs.iter().map(|tab| tab.view().1).collect();
        if at != views {
            (views, viewed) = (at, Instant::now());
        }
        seen = now;
        if hub.take_pending_state() {
            socket::tell_state(hub, &hub.session());
        }
        if tabs.is_empty() || hub.since_edit() < REST || viewed.elapsed() < REST {
            if !tabs.is_empty() {
                std::thread::sleep(REST / 4);
                seen = seen.wrapping_sub(1);
            }
            continue;
        }
        let (version, saved) = {
            let session = hub.session();
            (Arc::clone(session.current()), Arc::clone(session.saved()))
        };
        // While drafts are drawn what is being settled waits: both want the processor.
        let stale = || loop {
            if hub.revision() != version.revision || hub.is_stopped() {
                return true;
            }
            if hub.since_edit() >= PAUSE {
                return false;
            }
            std::thread::sleep(PAUSE / 8);
        };
        let waits = |tab: &&Arc<Tab>| {
            let drawn = locked(&tab.drawn)[1];
            drawn.is_none_or(|drawn| drawn[0] != version.revision || drawn[2] != tab.view().1)
        };
        let waiting: Vec<&Arc<Tab>> = tabs.iter().filter(waits).collect();
        if waiting.is_empty() {
            continue;
        }
        if revision != version.revision {
            match scene(hub, &version, &saved, limits, &mut kitchens, &mut done, &stale) {
                Ok(true) => revision = version.revision,
                Ok(false) => continue,
                Err(faults) => {
                    hub.tell_all(&json!({ "undrawn": state::faults(&faults) }));
                    revision = version.revision;
                }
            }
        }
        let [Some(draft), Some(full)] = &done else { continue };
        for tab in waiting {
            settle_tab(hub, tab, &version, (draft, full), &stale);
        }
        if !stale() {
            at_rest();
        }
    }
}

/// Settles a scene at both scales: rims anew, the check, then all of it at full resolution. False if it got stale.
fn scene(
    hub: &Hub,
    version: &Arc<Version>,
    saved: &Arc<Version>,
    limits: &Limits,
    kitchens: &mut [Kitchen; 2],
    done: &mut [Option<Settled>; 2],
    stale: &(dyn Fn() -> bool + Sync),
) -> Result<bool> {
    hub.tell_all(&json!({ "settling": true }));
    for (at, scale) in [draft_scale(version), full_scale(version)].into_iter().enumerate() {
        let plan = plan(version, scale, limits)?;
        let Some(mut layers) = kitchens[at].make(&plan, &version.arts, limits, stale)? else {
            return Ok(false);
        };
        reuse(&plan, version.opened, &mut layers, done[at].as_ref());
        let ready: Vec<Ready<'_>> = plan
            .files
            .iter()
            .zip(&layers.made)
            .map(|(job, made)| match (made, job) {
                (Some(made), _) => made.ready(),
                (None, Job::Rim(_)) => Ready::Due,
                (None, _) => Ready::Aside,
            })
            .collect();
        let cameras = plan.cameras();
        let Some(mut survey) = Survey::unless(&plan, &ready, &cameras, cameras.len(), stale) else {
            return Ok(false);
        };
        for (index, rim) in survey.rims.drain(..) {
            layers.made[index] = Some(Made::Rim(Arc::new(rim)));
        }
        if at == 0 {
            tell_rims(hub, &plan, &layers, *version.text == *saved.text);
            let stack = Stack::of(&plan, layers.made.clone(), survey);
            let report = state::report(&check::check_stack(&version.reading.scene, &stack));
            *locked(&hub.report) = Some(report.clone());
            hub.tell_all(&json!({ "report": report }));
        }
        done[at] = Some(Settled { plan, layers, opened: version.opened });
        if stale() {
            return Ok(false);
        }
    }
    Ok(true)
}

/// Takes over the rims of which nothing that they are made from has changed.
fn reuse(plan: &Plan, opened: u64, layers: &mut Layers, before: Option<&Settled>) {
    let Some(before) = before else { return };
    let frame = |plan: &Plan| (plan.texels, plan.scale, plan.travel, plan.blending, plan.backdrop);
    if frame(plan) != frame(&before.plan)
        || opened != before.opened
        || plan.cameras() != before.plan.cameras()
    {
        return;
    }
    let same = plan.files.iter().zip(&before.plan.files).take_while(|(job, other)| job == other).count();
    for at in 0..same.saturating_sub(1) {
        if matches!(plan.files[at], Job::Rim(_)) {
            layers.made[at] = before.layers.made[at].clone();
        }
    }
}

fn tell_rims(hub: &Hub, plan: &Plan, layers: &Layers, is_saved: bool) {
    let rims = plan.files.iter().zip(&layers.made).filter_map(|(job, made)| match (job, made) {
        (Job::Rim(job), Some(Made::Rim(rim))) => {
            let texels = rim.sixteen().as_chunks::<4>().0.to_vec();
            let picture = Picture { size: rim.size(), deep: true, texels };
            Some(SolvedRim { job: (**job).clone(), placing: rim.placing.clone(), picture: Arc::new(picture) })
        }
        _ => None,
    });
    let mut kept = locked(&hub.rims);
    let now: Vec<_> = rims.collect();
    let saved = if is_saved || kept.revision == 0 { now.clone() } else { std::mem::take(&mut kept.saved) };
    *kept = Rims { revision: kept.revision + 1, now, saved };
    drop(kept);
    hub.wake();
}

/// Sends a tab its settled picture and the outline that fails from its camera place.
fn settle_tab(
    hub: &Hub,
    tab: &Arc<Tab>,
    version: &Version,
    (draft, full): (&Settled, &Settled),
    stale: &(dyn Fn() -> bool + Sync),
) {
    let stamp = tab.stamp.load(Ordering::Acquire);
    let rims = locked(&hub.rims).revision;
    let (view, revision) = tab.view();
    let camera = view.camera.within(full.plan.travel);
    let still = if view.bare {
        let arts = full.plan.files.iter().zip(&full.layers.bare);
        let sources = arts.filter_map(|(job, bare)| Some((job.placing(), Source::Picture(bare.as_ref()?))));
        Still::new::<Exact>(&Compositor::new(&full.plan, sources, camera))
    } else {
        Stack::of(&full.plan, full.layers.made.clone(), Survey::nothing()).still(camera)
    };
    if stale() || tab.view().1 != revision {
        return;
    }
    let frame = frame::settled(&still, &view, stamp, version.revision);
    {
        // Shown under the lock: a draft that is just being drawn must not come after it.
        let mut drawn = locked(&tab.drawn);
        // The last saved beside it still wants its draft.
        if !view.compare {
            drawn[0] = Some([version.revision, rims, revision]);
        }
        drawn[1] = Some([version.revision, rims, revision]);
        tab.show(frame);
    }
    let made = draft.layers.made.iter().map(|made| made.as_ref().map_or(Ready::Aside, Made::ready));
    let ready: Vec<Ready<'_>> = made.collect();
    let Some(survey) = Survey::unless(&draft.plan, &ready, &[camera], 0, stale) else { return };
    let [width, height] = draft.plan.texels.map(f64::from);
    let mut marks = Vec::new();
    for (job, all) in &survey.marks {
        let wanted = survey.wanted.get(job).copied().unwrap_or(0.0);
        let fails = |mark: &&Mark| mark.seen() && values::lacks(mark.after, wanted);
        let failing: Vec<&Mark> = all.iter().filter(fails).collect();
        let step = failing.len().div_ceil(MARKS).max(1);
        let places: Vec<[f64; 2]> = failing
            .iter()
            .step_by(step)
            .map(|mark| [(f64::from(mark.at[0]) + 0.5) / width, (f64::from(mark.at[1]) + 0.5) / height])
            .collect();
        let seen = all.iter().filter(|mark| mark.seen()).count();
        if !places.is_empty() {
            let slot = &draft.plan.files[*job].placing().slot;
            marks.push(
                json!({ "slot": slot, "share": failing.len() as f64 / seen.max(1) as f64, "places": places }),
            );
        }
    }
    tab.tell(json!({ "marks": marks, "camera": camera, "turn": version.revision }).to_string());
}

#[cfg(test)]
mod tests;

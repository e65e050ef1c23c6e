//! Settling: the rims, the check and the picture at full resolution, once nobody moves anything.

use crate::base::fault::Result;
use crate::base::limits::Limits;
use crate::base::picture::Picture;
use crate::base::progress::Progress;
use crate::base::units::Camera;
use crate::base::words::Bits;
use crate::plan::{Job, Plan};
use crate::review::check;
use crate::scene::pictures::Pictures;
use crate::stack::compositor::{Compositor, Exact};
use crate::stack::still::Still;
use crate::stack::survey::{Mark, Ready, Survey};
use crate::stack::{Made, Source, Stack, values};
use crate::steps::dither;
use crate::store::maker::{Maker, Request};
use crate::tune::draw::layers::{RimPicture, Under, bare, plan, scales};
use crate::tune::draw::{LOOK, recipes};
use crate::tune::frame::Of;
use crate::tune::hub::{Hub, Tab, locked};
use crate::tune::session::Version;
use crate::tune::view::View;
use crate::tune::{frame, socket, state};
use serde_json::{Value, json};
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

/// How long nothing must have been edited before pictures are settled.
const REST: Duration = Duration::from_millis(500);
/// The same where somebody looks at texels: a draft shows them coarse.
const REST_ZOOMED: Duration = Duration::from_millis(200);
/// How long no draft must have been drawn before settling goes on.
const PAUSE: Duration = Duration::from_millis(200);
/// How long a view must have stood still before its part is drawn at scale 1.
const STEADY: Duration = Duration::from_millis(30);
/// Most marks of failing outline that a page is told of, for each slot.
const MARKS: usize = 300;

/// A scene settled at one scale.
struct Layers {
    plan: Plan,
    made: Vec<Option<Made>>,
    bare: Vec<Option<Arc<Picture>>>,
}

/// Work on a scene that is stale once there is a newer one. While drafts are drawn it waits: both want the processor.
struct Revision<'a> {
    hub: &'a Hub,
    turn: u64,
}

impl Progress for Revision<'_> {
    fn stopped(&self) -> bool {
        loop {
            if self.hub.revision() != self.turn || self.hub.is_stopped() {
                return true;
            }
            if self.hub.since_edit() >= PAUSE {
                return false;
            }
            std::thread::sleep(PAUSE / 8);
        }
    }
}

/// What settles pictures, and what it last settled, as drafts are scaled and in full.
struct Settler<'a> {
    hub: &'a Hub,
    limits: &'a Limits,
    done: [Option<Layers>; 2],
    /// The scene that is settled.
    turn: u64,
}

/// Settles pictures until the hub stops; `at_rest` is called after each round that nobody disturbs.
pub(in crate::tune) fn settle(hub: &Hub, limits: &Limits, at_rest: fn()) {
    let mut settler = Settler { hub, limits, done: [None, None], turn: 0 };
    let (mut seen, mut viewed, mut views) = (0, Instant::now(), Vec::new());
    while !hub.is_stopped() {
        let now = hub.wait(seen, if hub.since_edit() < REST { REST } else { LOOK });
        let tabs = hub.tabs();
        let zoomed = tabs.iter().any(|tab| tab.view().0.part.is_some());
        let rest = if zoomed { REST_ZOOMED } else { REST };
        let at: Vec<u64> = tabs.iter().map(|tab| tab.view().1).collect();
        if at != views {
            (views, viewed) = (at, Instant::now());
        }
        seen = now;
        if hub.take_pending_state() {
            socket::tell_state(hub, &hub.session());
        }
        if tabs.is_empty() {
            continue;
        }
        if viewed.elapsed() < rest && viewed.elapsed() >= STEADY {
            settler.parts(&tabs);
        }
        if hub.since_edit() < rest || viewed.elapsed() < rest {
            std::thread::sleep(if zoomed { STEADY / 2 } else { REST / 4 });
            seen = seen.wrapping_sub(1);
        } else {
            if settler.round(&tabs) {
                hub.store.evict();
                at_rest();
            }
            recipes::draw(hub, limits, &tabs);
        }
    }
}

impl Settler<'_> {
    /// Settles what the tabs wait for; false where there was nothing to do, or where it got stale.
    fn round(&mut self, tabs: &[Arc<Tab>]) -> bool {
        let version = Arc::clone(self.hub.session().current());
        let revision = Revision { hub: self.hub, turn: version.revision };
        let waits = |tab: &&Arc<Tab>| {
            let drawn = locked(&tab.drawn)[1];
            drawn.is_none_or(|drawn| drawn[0] != version.revision || drawn[2] != tab.view().1)
        };
        let waiting: Vec<&Arc<Tab>> = tabs.iter().filter(waits).collect();
        if waiting.is_empty() {
            return false;
        }
        if self.turn != version.revision || self.lacks_scale(&waiting) {
            match self.scene(&version, &revision) {
                Ok(true) => {}
                Ok(false) => {
                    self.turn = 0;
                    return false;
                }
                Err(faults) => self.hub.tell_all(&json!({ "undrawn": state::faults(&faults) })),
            }
            self.turn = version.revision;
        }
        if self.done.iter().any(Option::is_none) {
            return false;
        }
        for tab in waiting {
            self.tab(tab, &version, &revision);
        }
        !revision.stopped()
    }

    /// Whether a tab looks at texels of scale 1, and none are there.
    fn lacks_scale(&self, tabs: &[&Arc<Tab>]) -> bool {
        self.done[1].as_ref().is_some_and(|full| full.plan.scale.0 < 1.0)
            && tabs.iter().any(|tab| tab.view().0.part.is_some())
    }

    /// Sends tabs the part of a settled scene that they look at.
    fn parts(&self, tabs: &[Arc<Tab>]) {
        let Some(full) = self.done[1].as_ref().filter(|full| full.plan.scale.0 >= 1.0) else { return };
        for tab in tabs.iter().filter(|tab| self.turn == self.hub.revision() && tab.view().0.part.is_some()) {
            let drawn = locked(&tab.drawn)[1];
            let (view, turn) = tab.view();
            if drawn.is_none_or(|drawn| drawn[0] != self.turn || drawn[2] != turn) {
                self.picture(tab, full, (&view, turn), self.turn);
            }
        }
    }

    /// Settles a scene at both scales: the rims and the check, then all of it at full resolution; the other way about where somebody looks at
    /// texels. False if it got stale.
    fn scene(&mut self, version: &Version, revision: &Revision<'_>) -> Result<bool> {
        self.hub.tell_all(&json!({ "settling": true }));
        let zoomed = self.hub.tabs().iter().any(|tab| tab.view().0.part.is_some());
        let pictures = version.full(self.limits)?;
        let scales = scales(version, zoomed);
        for at in if zoomed { [1, 0] } else { [0, 1] } {
            let plan = plan(version, pictures, scales[at], self.limits)?;
            let maker = Maker { store: &self.hub.store, limits: self.limits, progress: revision };
            let bare = bare(&maker, &plan, version)?;
            let mut stack = Stack::empty(&plan);
            let cameras = plan.cameras();
            if !maker.fill(&mut stack, &Request::all(&plan, pictures, &cameras))? {
                return Ok(false);
            }
            if at == 0 {
                self.tell_rims(pictures, &stack);
                let report = state::report(&check::check_stack(&version.reading.scene, &stack));
                *locked(&self.hub.report) = Some(report.clone());
                self.hub.tell_all(&json!({ "report": report }));
            }
            let made = stack.made;
            self.done[at] = Some(Layers { plan, made, bare });
            if zoomed && at == 1 {
                self.turn = version.revision;
                self.parts(&self.hub.tabs());
            }
            if revision.stopped() {
                return Ok(false);
            }
        }
        Ok(true)
    }

    /// Has drafts show the solved rims.
    fn tell_rims(&self, pictures: &Pictures, stack: &Stack<'_>) {
        let plan = stack.plan();
        let jobs = plan.files.iter().zip(&stack.made).zip(plan.keys(pictures, Bits::Sixteen));
        for ((job, made), key) in jobs {
            if let (Job::Rim(job), Some(Made::Rim(rim))) = (job, made) {
                RimPicture::put(&self.hub.store, &key, job, rim);
            }
        }
        self.hub.solved.fetch_add(1, Ordering::AcqRel);
        self.hub.wake();
    }

    /// Sends a tab its settled picture and the outline that fails from its camera place.
    fn tab(&self, tab: &Tab, version: &Version, revision: &Revision<'_>) {
        let [Some(draft), Some(full)] = &self.done else { return };
        let (view, turn) = tab.view();
        let camera = view.camera.within(full.plan.travel);
        let drawn = locked(&tab.drawn)[1];
        let is_drawn = drawn.is_some_and(|drawn| drawn[0] == version.revision && drawn[2] == turn);
        if !is_drawn && !self.picture(tab, full, (&view, turn), version.revision) {
            return;
        }
        if let Some(marks) = draft.marks(camera, revision) {
            tab.tell(json!({ "marks": marks, "camera": camera, "turn": version.revision }).to_string());
        }
    }

    /// Sends a tab its settled picture, or the part that it looks at; false if it looks elsewhere by now.
    fn picture(&self, tab: &Tab, full: &Layers, (view, turn): (&View, u64), revision: u64) -> bool {
        let of = Of { stamp: tab.stamp.load(Ordering::Acquire), revision };
        let rims = self.hub.solved.load(Ordering::Acquire);
        let (still, at) = full.still(view);
        if self.hub.revision() != revision || self.hub.is_stopped() || tab.view().1 != turn {
            return false;
        }
        let frame = frame::settled(&still, view, at, of);
        // Shown under the lock: a draft that is just being drawn must not come after it.
        let mut drawn = locked(&tab.drawn);
        *drawn = [Some([revision, rims, turn]); 2];
        tab.show(frame);
        true
    }
}

impl Layers {
    /// What a view shows, or its part and the texel that it begins with. Without fog it is the pictures before they are treated.
    fn still(&self, view: &View) -> (Still, Option<[u32; 2]>) {
        let bare = |at: usize| self.bare[at].as_deref().map(Source::Picture);
        let made = |at: usize| self.made[at].as_ref().map(Made::source);
        let sources = self.plan.files.iter().enumerate().filter_map(|(at, job)| {
            let source = if view.bare { bare(at)? } else { made(at)? };
            let drift = view.drifted(&self.plan, job);
            view.shows(job.placing()).then_some((drift, (job.placing(), source)))
        });
        let (drift, sources): (Vec<f64>, Vec<_>) = sources.unzip();
        let camera = view.camera.within(self.plan.travel);
        let compositor = Compositor::new(&self.plan, sources, camera).moved(&drift);
        let part = view.part.and_then(|part| part_within(part, self.plan.texels));
        let size = part.map_or(self.plan.texels, |(_, size)| size);
        let under = Under::new(view.ground, size);
        let compositor = match part {
            Some((at, size)) => compositor.part(at, size),
            None => compositor,
        };
        (Still::new::<Exact>(&under.lay(compositor)), part.map(|(at, _)| at))
    }

    /// What of each outline fails from a camera place; none if it got stale.
    fn marks(&self, camera: Camera, revision: &Revision<'_>) -> Option<Vec<Value>> {
        let ready: Vec<Ready<'_>> =
            self.made.iter().map(|made| made.as_ref().map_or(Ready::Aside, Made::ready)).collect();
        let survey = Survey::part(&self.plan, &ready, &[], &[camera], &|| revision.stopped())?;
        let [width, height] = self.plan.texels.map(f64::from);
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
                let slot = &self.plan.files[*job].placing().slot;
                let share = failing.len() as f64 / seen.max(1) as f64;
                marks.push(json!({ "slot": slot, "share": share, "places": places }));
            }
        }
        Some(marks)
    }
}

/// A part, cut to the view; it begins where the dither's pattern does, so that its texels are those of the whole.
fn part_within([left, top, width, height]: [u32; 4], view: [u32; 2]) -> Option<([u32; 2], [u32; 2])> {
    let side = dither::SIDE as u32;
    let begin = [left, top].map(|edge| edge / side * side);
    let end = [left.saturating_add(width).min(view[0]), top.saturating_add(height).min(view[1])];
    (end[0] > begin[0] && end[1] > begin[1]).then(|| (begin, [end[0] - begin[0], end[1] - begin[1]]))
}

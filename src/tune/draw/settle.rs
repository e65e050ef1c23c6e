//! Settling: the rims, the check and the picture at full resolution, once nobody moves anything.

use crate::base::fault::Result;
use crate::base::limits::Limits;
use crate::base::picture::Picture;
use crate::base::placing::Placing;
use crate::base::progress::Progress;
use crate::base::units::Camera;
use crate::base::words::Bits;
use crate::plan::{Job, Plan};
use crate::review::check;
use crate::stack::compositor::{Compositor, Exact};
use crate::stack::still::Still;
use crate::stack::survey::{Mark, Ready, Survey};
use crate::stack::{Made, Source, Stack, values};
use crate::steps::dither;
use crate::store::maker::{Maker, Request};
use crate::tune::draw::layers::{Draft, RimPicture, Under, bare, draft_scale, full_scale, plan};
use crate::tune::draw::sharp::Sharp;
use crate::tune::draw::{LOOK, recipes};
use crate::tune::frame::{Kind, Of, Part};
use crate::tune::hub::{Hub, Look, Tab, locked};
use crate::tune::session::Version;
use crate::tune::view::View;
use crate::tune::{frame, socket, state};
use serde_json::{Value, json};
use std::panic::resume_unwind;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

/// How long nothing must have been edited before pictures are settled.
const REST: Duration = Duration::from_millis(500);
/// The same where somebody looks at texels: a draft shows them coarse.
const REST_ZOOMED: Duration = Duration::from_millis(200);
/// How long no draft must have been drawn before settling goes on.
const PAUSE: Duration = Duration::from_millis(200);
/// How long what drafts show must have stood still before a part of it is drawn at scale 1.
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
    /// The part that was last drawn, while somebody looks at texels.
    sharp: Option<Sharp>,
    /// Whether the rims of what is settled in full are those of the scene before.
    has_old_rims: bool,
}

/// Settles pictures until the hub stops; `at_rest` is called after each round that nobody disturbs.
pub(in crate::tune) fn settle(hub: &Hub, limits: &Limits, at_rest: fn()) {
    let mut settler = Settler { hub, limits, done: [None, None], turn: 0, sharp: None, has_old_rims: false };
    let (mut seen, mut pause, mut views) = (0, LOOK, Views::new());
    while !hub.is_stopped() {
        seen = hub.wait(seen, pause);
        pause = LOOK;
        let tabs = hub.tabs();
        let zoomed = tabs.iter().any(|tab| tab.is_zoomed());
        let rest = if zoomed { REST_ZOOMED } else { REST };
        views.look(&tabs);
        settler.sharp = settler.sharp.take().filter(|_| zoomed);
        if hub.take_pending_state() {
            socket::tell_state(hub, &hub.session());
        }
        if tabs.is_empty() {
            continue;
        }
        if views.at.elapsed() < rest && views.drafted.elapsed() >= STEADY {
            settler.parts(&tabs);
        }
        if hub.since_edit() < rest || views.at.elapsed() < rest {
            pause = if zoomed { STEADY / 2 } else { REST / 4 };
        } else {
            if settler.round(&tabs) {
                hub.store.evict();
                at_rest();
            }
            recipes::draw(hub, limits, &tabs);
        }
    }
}

/// Since when the tabs look at what they look at, and since when drafts of that show the same.
struct Views {
    turns: Vec<[u64; 2]>,
    at: Instant,
    drafted: Instant,
}

impl Views {
    fn new() -> Views {
        Views { turns: Vec::new(), at: Instant::now(), drafted: Instant::now() }
    }

    fn look(&mut self, tabs: &[Arc<Tab>]) {
        let turns: Vec<[u64; 2]> = tabs.iter().map(|tab| tab.turns()).collect();
        if turns == self.turns {
            return;
        }
        self.at = Instant::now();
        let drafted = |turns: &[[u64; 2]]| turns.iter().map(|turns| turns[1]).collect::<Vec<_>>();
        if drafted(&turns) != drafted(&self.turns) {
            self.drafted = self.at;
        }
        self.turns = turns;
    }
}

impl Settler<'_> {
    /// Settles what the tabs wait for; false where there was nothing to do, or where it got stale.
    fn round(&mut self, tabs: &[Arc<Tab>]) -> bool {
        let version = Arc::clone(self.hub.session().current());
        let revision = Revision { hub: self.hub, turn: version.revision };
        let waits = |tab: &&Arc<Tab>| {
            let drawn = locked(&tab.drawn)[1];
            drawn.is_none_or(|drawn| drawn[0] != version.revision || drawn[2] != tab.turns()[0])
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
            && tabs.iter().any(|tab| tab.is_zoomed())
    }

    /// Sends tabs the part of a settled scene that they look at.
    fn parts(&mut self, tabs: &[Arc<Tab>]) {
        if self.done[1].as_ref().is_none_or(|full| full.plan.scale.0 < 1.0) {
            return;
        }
        for tab in tabs.iter().filter(|tab| tab.is_zoomed()) {
            if self.turn != self.hub.revision() {
                return;
            }
            let drawn = locked(&tab.drawn)[1];
            let look = tab.look();
            if drawn.is_none_or(|drawn| drawn[0] != self.turn || drawn[2] != look.turn) {
                self.picture(tab, &look, self.turn);
            }
        }
    }

    /// Settles a scene at both scales: the rims and the check, then all of it at full resolution; the other way about where somebody looks at
    /// texels. False if it got stale.
    fn scene(&mut self, version: &Version, revision: &Revision<'_>) -> Result<bool> {
        self.hub.tell_all(&json!({ "settling": true }));
        let zoomed = self.hub.tabs().iter().any(|tab| tab.is_zoomed());
        let pictures = version.full(self.limits)?;
        let scales = [draft_scale(version), full_scale(version, zoomed)];
        for at in if zoomed { [1, 0] } else { [0, 1] } {
            let plan = plan(version, pictures, scales[at], self.limits)?;
            let maker = Maker { progress: revision, ..Maker::new(&self.hub.store, self.limits) };
            let bare = bare(&maker, &plan, version)?;
            let mut stack = Stack::empty(&plan);
            let cameras = plan.cameras();
            if zoomed && at == 1 && !self.before_rims(&maker, &mut stack, version, &bare)? {
                return Ok(false);
            }
            if !maker.fill(&mut stack, &Request::all(&plan, pictures, &cameras))? {
                return Ok(false);
            }
            if at == 0 {
                self.tell_rims(version, &stack)?;
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

    /// Works out all of a stack but its rims, which take longest, and sends tabs the parts that they look at with the rims of the scene before,
    /// where those stand at the same places. False if it got stale.
    fn before_rims(
        &mut self,
        maker: &Maker<'_>,
        stack: &mut Stack<'_>,
        version: &Version,
        bare: &[Option<Arc<Picture>>],
    ) -> Result<bool> {
        let plan = stack.plan();
        if !maker.fill(stack, &Request::without_rims(plan, version.full(self.limits)?))? {
            return Ok(false);
        }
        let made = self.done[1].as_ref().and_then(|before| before.lend_rims(plan, &stack.made));
        if let Some(made) = made {
            self.done[1] = Some(Layers { plan: plan.clone(), made, bare: bare.to_vec() });
            self.turn = version.revision;
            self.has_old_rims = true;
            self.parts(&self.hub.tabs());
            self.has_old_rims = false;
            self.sharp = None;
        }
        Ok(true)
    }

    /// Has drafts show the solved rims, and be as large as the machine draws them soon enough.
    fn tell_rims(&self, version: &Version, stack: &Stack<'_>) -> Result<()> {
        let Hub { store, pace, .. } = self.hub;
        let (pictures, share) = (version.full(self.limits)?, pace.wanted());
        let largest = stack.plan();
        RimPicture::put_all(store, largest, &largest.keys(pictures, Bits::Sixteen), stack)?;
        let mut _held = None;
        if share < 1.0 {
            let pictures = &version.pictures;
            let plan = plan(version, pictures, share * draft_scale(version), self.limits)?;
            RimPicture::put_all(store, &plan, &plan.keys(pictures, Bits::Sixteen), stack)?;
        }
        if share != pace.share() {
            // All that a draft of that size is made of, so that it is there when somebody goes on.
            _held = Some(Draft::new(store, version, share, self.limits)?);
            pace.keep(share);
        }
        self.hub.solved.fetch_add(1, Ordering::AcqRel);
        self.hub.wake();
        Ok(())
    }

    /// Sends a tab its settled picture and the outline that fails from its camera place.
    fn tab(&mut self, tab: &Tab, version: &Version, revision: &Revision<'_>) {
        let look = tab.look();
        let drawn = locked(&tab.drawn)[1];
        let is_drawn = drawn.is_some_and(|drawn| drawn[0] == version.revision && drawn[2] == look.turn);
        if !is_drawn && !self.picture(tab, &look, version.revision) {
            return;
        }
        let Some(draft) = &self.done[0] else { return };
        let camera = look.view.camera.within(draft.plan.travel);
        if let Some(marks) = draft.marks(camera, revision) {
            tab.tell(json!({ "marks": marks, "camera": camera, "turn": version.revision }).to_string());
        }
    }

    /// Sends a tab its settled picture, or the part that it looks at; false if it looks elsewhere by now.
    fn picture(&mut self, tab: &Tab, look: &Look, revision: u64) -> bool {
        let Some(full) = &self.done[1] else { return false };
        let view = &look.view;
        let of = Of { stamp: tab.stamp.load(Ordering::Acquire), revision };
        let rims = self.hub.solved.load(Ordering::Acquire);
        let part = view.part.and_then(|part| part_within(part, full.plan.texels));
        let texels = match part {
            Some(part) => {
                let draw = |part| full.texels_of(view, Some(part));
                let before = self.sharp.as_ref();
                let sharp = on_all_threads(|| Sharp::new(before, revision, view, part, draw));
                let texels = sharp.texels.clone();
                self.sharp = Some(sharp);
                texels
            }
            None => full.texels_of(view, None),
        };
        if self.hub.revision() != revision || self.hub.is_stopped() || tab.turns()[0] != look.turn {
            return false;
        }
        let kind = if part.is_some() { Kind::Part } else { Kind::Now };
        let place = part.unwrap_or(([0, 0], full.plan.texels));
        let frame = frame::settled(texels, view, kind, place, !self.has_old_rims, of);
        // Shown under the lock: a draft that is just being drawn must not come after it. Beside a part that is still seen.
        let mut drawn = locked(&tab.drawn);
        if !self.has_old_rims {
            drawn[1] = Some([revision, rims, look.turn]);
            if part.is_none() {
                drawn[0] = Some([revision, rims, look.drafted]);
            }
        }
        tab.show(frame);
        true
    }
}

impl Layers {
    /// The layers of another plan, all but its rims, with these rims; none where the rims stand elsewhere.
    fn lend_rims(&self, plan: &Plan, made: &[Option<Made>]) -> Option<Vec<Option<Made>>> {
        let places = |plan: &Plan| -> Vec<Option<Placing>> {
            let rims = plan.files.iter().map(|job| matches!(job, Job::Rim(_)).then(|| job.placing().clone()));
            rims.collect()
        };
        let jobs = plan.files.iter().zip(made.iter().zip(&self.made));
        let lent = jobs.map(|(job, (own, before))| match job {
            Job::Rim(_) => before.clone(),
            Job::Fog(_) | Job::Own(_) | Job::Art(_) | Job::Lamp(_) => own.clone(),
        });
        (places(plan) == places(&self.plan)).then(|| lent.collect())
    }

    /// The texels of what a view shows, or of its part. Without fog it is the pictures before they are treated.
    fn texels_of(&self, view: &View, part: Option<Part>) -> Vec<u8> {
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
        let size = part.map_or(self.plan.texels, |(_, size)| size);
        let under = Under::new(view.ground, size);
        let compositor = match part {
            Some((at, size)) => compositor.part(at, size),
            None => compositor,
        };
        frame::texels(&Still::new::<Exact>(&under.lay(compositor)), view)
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

/// Does what somebody waits for on the threads of drafts, and not on that of settling alone.
fn on_all_threads<T: Send>(work: impl FnOnce() -> T + Send) -> T {
    std::thread::scope(|scope| scope.spawn(work).join()).unwrap_or_else(|panic| resume_unwind(panic))
}

/// A part, cut to the view; it begins where the dither's pattern does, so that its texels are those of the whole.
fn part_within([left, top, width, height]: [u32; 4], view: [u32; 2]) -> Option<Part> {
    let side = dither::SIDE as u32;
    let begin = [left, top].map(|edge| edge / side * side);
    let end = [left.saturating_add(width).min(view[0]), top.saturating_add(height).min(view[1])];
    (end[0] > begin[0] && end[1] > begin[1]).then(|| (begin, [end[0] - begin[0], end[1] - begin[1]]))
}

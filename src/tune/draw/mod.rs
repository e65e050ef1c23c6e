//! Two threads: one draws drafts while somebody moves things, the other settles them at full resolution when all is at rest. Both ask
//! the maker for their layers, on one store.

mod layers;
mod outline;
mod recipes;
mod settle;

pub(super) use settle::settle;

use crate::base::fault::Faults;
use crate::base::limits::Limits;
use crate::tune::frame::{Kind, Of};
use crate::tune::hub::{Hub, Tab, locked};
use crate::tune::session::Version;
use crate::tune::{frame, state};
use layers::{Draft, Under};
use serde_json::json;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

/// Minimum time between two sections while something is dragged; chosen by eye.
const SECTION: Duration = Duration::from_millis(300);
/// How long a thread waits for a sign at most.
const LOOK: Duration = Duration::from_millis(500);
/// How long a picture must have stood still before what is chosen is outlined in it.
const STILL: Duration = Duration::from_millis(120);

/// A round of drafts: the scene that they show.
struct Round {
    version: Arc<Version>,
    /// Revision of the rims.
    rims: u64,
}

impl Round {
    /// What a tab's draft must be of: revisions of the scene, of the rims, of the view.
    fn wanted(&self, view: u64) -> [u64; 3] {
        [self.version.revision, self.rims, view]
    }

    /// Whether a settled picture of just this stands already; a draft would be a step back.
    fn is_settled(&self, drawn: &[Option<[u64; 3]>; 2], view: u64) -> bool {
        drawn[1].is_some_and(|at| at[0] == self.version.revision && at[2] == view)
    }
}

/// What draws drafts, and what it last drew: its layers are held, so that they stay in the store.
struct Drafts<'a> {
    hub: &'a Hub,
    limits: &'a Limits,
    draft: Option<Draft>,
    /// What pages compare with.
    others: Vec<(Arc<Version>, Draft)>,
    /// The scene whose section was last told, and when.
    told: (u64, Instant),
    /// When a draft was last drawn.
    at: Instant,
}

/// Draws drafts until the hub stops.
pub(super) fn drafts(hub: &Hub, limits: &Limits) {
    let told = (0, Instant::now());
    let mut drafts = Drafts { hub, limits, draft: None, others: Vec::new(), told, at: Instant::now() };
    let mut seen = 0;
    while !hub.is_stopped() {
        // What the page is still owed comes soon after.
        let rest = if drafts.told.0 == hub.revision() { LOOK } else { SECTION };
        seen = hub.wait(seen, if drafts.at.elapsed() < LOOK { STILL } else { rest });
        let tabs: Vec<Arc<Tab>> = hub.tabs().into_iter().filter(|tab| tab.is_ready()).collect();
        if !tabs.is_empty() {
            drafts.round(&tabs);
            drafts.look(&tabs);
        }
    }
}

impl Drafts<'_> {
    fn round(&mut self, tabs: &[Arc<Tab>]) {
        let rims = self.hub.solved.load(Ordering::Acquire);
        let (round, others, stamps) = {
            let mut session = self.hub.session();
            // Stamps are set under the session's lock: they are just those of its scene.
            let stamps: Vec<u64> = tabs.iter().map(|tab| tab.stamp.load(Ordering::Acquire)).collect();
            let against = |tab: &Arc<Tab>| session.other(tab.view().0.compare.as_ref()?);
            let others: Vec<Option<Arc<Version>>> = tabs.iter().map(against).collect();
            (Round { version: Arc::clone(session.current()), rims }, others, stamps)
        };
        let due = |(tab, other): (&Arc<Tab>, &Option<Arc<Version>>)| {
            let view = tab.view().1;
            locked(&tab.drawn)[0] != Some(round.wanted(view)) || owes_other(tab, other, view)
        };
        if !self.owes_section(&round) && !tabs.iter().zip(&others).any(due) {
            return;
        }
        match Draft::new(&self.hub.store, &round.version, self.limits) {
            Ok(draft) => self.draft = Some(draft),
            Err(faults) => {
                self.fail(tabs, &faults, &round);
                self.told.0 = round.version.revision;
                return;
            }
        }
        self.others.retain(|(held, _)| others.iter().flatten().any(|other| Arc::ptr_eq(other, held)));
        for ((tab, other), stamp) in tabs.iter().zip(&others).zip(stamps) {
            self.show(tab, stamp, &round);
            if let Some(other) = other {
                self.show_other(tab, stamp, other);
            }
        }
        self.at = Instant::now();
        // Who draws drafts isn't disturbed by what is being settled.
        self.hub.delay_rest();
        if self.owes_section(&round) {
            self.tell_section(&round);
        }
    }

    fn owes_section(&self, round: &Round) -> bool {
        self.told.0 != round.version.revision && self.told.1.elapsed() >= SECTION
    }

    /// Sends a tab the draft that it wants.
    fn show(&self, tab: &Tab, stamp: u64, round: &Round) {
        let (view, revision) = tab.view();
        let wanted = round.wanted(revision);
        if locked(&tab.drawn)[0] == Some(wanted) {
            return;
        }
        let settled = round.is_settled(&locked(&tab.drawn), revision);
        if let Some(draft) = self.draft.as_ref().filter(|_| !settled) {
            let rims = draft.rims(&self.hub.store);
            let under = Under::new(view.ground, draft.plan.texels);
            let of = Of { stamp, revision: round.version.revision };
            let layers = draft.layers(&view);
            let frame = frame::draft(&draft.compositor(&view, &layers, &rims, &under), &view, Kind::Now, of);
            // Under the lock, since it may be settled just now.
            let drawn = locked(&tab.drawn);
            if round.is_settled(&drawn, revision) {
                return;
            }
            tab.show(frame);
        }
        locked(&tab.drawn)[0] = Some(wanted);
    }

    /// Sends a tab the draft of what it compares with.
    fn show_other(&mut self, tab: &Tab, stamp: u64, other: &Arc<Version>) {
        let (view, revision) = tab.view();
        if *locked(&tab.compared) == Some([other.revision, revision]) {
            return;
        }
        if !self.others.iter().any(|(held, _)| Arc::ptr_eq(held, other)) {
            let Ok(draft) = Draft::new(&self.hub.store, other, self.limits) else { return };
            self.others.push((Arc::clone(other), draft));
        }
        if let Some((_, draft)) = self.others.iter().find(|(held, _)| Arc::ptr_eq(held, other)) {
            let rims = draft.rims(&self.hub.store);
            let under = Under::new(view.ground, draft.plan.texels);
            let of = Of { stamp, revision: other.revision };
            let layers = draft.layers(&view);
            tab.show(frame::draft(&draft.compositor(&view, &layers, &rims, &under), &view, Kind::Other, of));
        }
        *locked(&tab.compared) = Some([other.revision, revision]);
    }

    /// Says what lies where a page asks, and outlines what is chosen once its picture has stood still.
    fn look(&self, tabs: &[Arc<Tab>]) {
        let Some(draft) = &self.draft else { return };
        for tab in tabs {
            let (view, revision) = tab.view();
            if let Some(at) = locked(&tab.asked).take() {
                tab.tell(json!({ "picked": outline::slots_at(draft, view.camera, at) }).to_string());
            }
            let wanted = Some([self.hub.revision(), revision]);
            if self.at.elapsed() < STILL || *locked(&tab.outlined) == wanted {
                continue;
            }
            *locked(&tab.outlined) = wanted;
            if let Some((line, size)) = outline::outline(draft, &view) {
                let of = Of { stamp: tab.stamp.load(Ordering::Acquire), revision: self.hub.revision() };
                tab.show(frame::outline(line, size, &view, of));
            }
        }
    }

    fn tell_section(&mut self, round: &Round) {
        let Some(draft) = &self.draft else { return };
        self.told = (round.version.revision, Instant::now());
        let (means, scale) = draft.means(&self.hub.store, self.limits);
        let section = state::section(&round.version.reading.scene, &draft.plan, &means, scale);
        self.hub.tell_section(&json!({ "section": section, "turn": round.version.revision }));
    }

    /// What can't be drawn is told once, and the last good picture stays.
    fn fail(&self, tabs: &[Arc<Tab>], faults: &Faults, round: &Round) {
        self.hub.tell_all(&json!({ "undrawn": state::faults(faults) }));
        for tab in tabs {
            locked(&tab.drawn)[0] = Some(round.wanted(tab.view().1));
        }
    }
}

/// Whether a tab waits for the draft of what it compares with.
fn owes_other(tab: &Tab, other: &Option<Arc<Version>>, view: u64) -> bool {
    other.as_ref().is_some_and(|other| *locked(&tab.compared) != Some([other.revision, view]))
}

#[cfg(test)]
mod tests;

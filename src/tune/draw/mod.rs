//! Two threads: one draws drafts while somebody moves things, the other settles them at full resolution when all is at rest. Both ask
//! the maker for their layers, on one store.

mod layers;
mod settle;

pub(super) use settle::settle;

use crate::base::fault::Faults;
use crate::base::limits::Limits;
use crate::tune::hub::{Hub, Tab, View, locked};
use crate::tune::session::Version;
use crate::tune::{frame, state};
use layers::Draft;
use serde_json::json;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

/// Minimum time between two sections while something is dragged; chosen by eye.
const SECTION: Duration = Duration::from_millis(300);
/// How long a thread waits for a sign at most.
const LOOK: Duration = Duration::from_millis(500);

/// A round of drafts: the scene that they show, as it stands and as it was last saved.
struct Round {
    version: Arc<Version>,
    saved: Arc<Version>,
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
    saved: Option<Draft>,
    /// The scene whose section was last told, and when.
    told: (u64, Instant),
}

/// Draws drafts until the hub stops.
pub(super) fn drafts(hub: &Hub, limits: &Limits) {
    let told = (0, Instant::now());
    let mut drafts = Drafts { hub, limits, draft: None, saved: None, told };
    let mut seen = 0;
    while !hub.is_stopped() {
        // What the page is still owed comes soon after.
        seen = hub.wait(seen, if drafts.told.0 == hub.revision() { LOOK } else { SECTION });
        let tabs: Vec<Arc<Tab>> = hub.tabs().into_iter().filter(|tab| tab.is_ready()).collect();
        if !tabs.is_empty() {
            drafts.round(&tabs);
        }
    }
}

impl Drafts<'_> {
    fn round(&mut self, tabs: &[Arc<Tab>]) {
        let rims = self.hub.solved.load(Ordering::Acquire);
        // Read before the scene: the picture then holds at least what the stamp says.
        let stamps: Vec<u64> = tabs.iter().map(|tab| tab.stamp.load(Ordering::Acquire)).collect();
        let round = {
            let session = self.hub.session();
            Round { version: Arc::clone(session.current()), saved: Arc::clone(session.saved()), rims }
        };
        let due = |tab: &Arc<Tab>| locked(&tab.drawn)[0] != Some(round.wanted(tab.view().1));
        if !self.owes_section(&round) && !tabs.iter().any(due) {
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
        if !tabs.iter().any(|tab| tab.view().0.compare) {
            self.saved = None;
        }
        let mut saved_is_drawn = false;
        for (tab, stamp) in tabs.iter().zip(stamps) {
            self.show(tab, stamp, &round, &mut saved_is_drawn);
        }
        // Who draws drafts isn't disturbed by what is being settled.
        self.hub.delay_rest();
        if self.owes_section(&round) {
            self.tell_section(&round);
        }
    }

    fn owes_section(&self, round: &Round) -> bool {
        self.told.0 != round.version.revision && self.told.1.elapsed() >= SECTION
    }

    /// Sends a tab the draft that it wants, and that of the scene as it was last saved where it compares.
    fn show(&mut self, tab: &Tab, stamp: u64, round: &Round, saved_is_drawn: &mut bool) {
        let (view, revision) = tab.view();
        let wanted = round.wanted(revision);
        if locked(&tab.drawn)[0] == Some(wanted) {
            return;
        }
        let settled = round.is_settled(&locked(&tab.drawn), revision);
        if let Some(draft) = self.draft.as_ref().filter(|_| !settled) {
            let rims = draft.rims(&self.hub.store);
            let frame =
                frame::draft(&draft.compositor(&view, &rims), &view, 0, stamp, round.version.revision);
            // Under the lock, since it may be settled just now.
            let drawn = locked(&tab.drawn);
            if round.is_settled(&drawn, revision) {
                return;
            }
            tab.show(frame);
        }
        if view.compare && !settled {
            if !std::mem::replace(saved_is_drawn, true) {
                self.saved = Draft::new(&self.hub.store, &round.saved, self.limits).ok();
            }
            self.show_saved(tab, &view, stamp, round.saved.revision);
        }
        locked(&tab.drawn)[0] = Some(wanted);
    }

    fn show_saved(&mut self, tab: &Tab, view: &View, stamp: u64, revision: u64) {
        if let Some(saved) = &self.saved {
            let rims = saved.rims(&self.hub.store);
            tab.show(frame::draft(&saved.compositor(view, &rims), view, 1, stamp, revision));
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

#[cfg(test)]
mod tests;

//! Two threads: one draws drafts while somebody moves things, the other settles them at full resolution when all is at rest. Both ask
//! the maker for their layers, on one store.

mod changed;
mod layers;
mod merged;
mod outline;
mod pace;
mod recipes;
mod settle;
mod sharp;

pub(super) use pace::Pace;
pub(super) use settle::settle;

use crate::base::fault::{Faults, Result};
use crate::base::limits::Limits;
use crate::tune::frame::{Kind, Of};
use crate::tune::hub::{Frame, Hub, Look, Tab, locked};
use crate::tune::session::Version;
use crate::tune::view::View;
use crate::tune::{frame, state};
use changed::Shown;
use layers::{Draft, Under};
use merged::{Drawing, Merged};
use serde_json::json;
use std::ops::Range;
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
    /// What a tab's draft must be of: revisions of the scene and of the rims, and the turn of the view.
    fn wanted(&self, look: &Look) -> [u64; 3] {
        [self.version.revision, self.rims, look.drafted]
    }

    /// Whether a settled picture of just this stands already; a draft would be a step back. Under a part there is nothing else.
    fn is_settled(&self, drawn: &[Option<[u64; 3]>; 2], look: &Look) -> bool {
        look.view.part.is_none()
            && drawn[1].is_some_and(|at| at[0] == self.version.revision && at[2] == look.turn)
    }
}

/// What draws drafts, and what it last drew: its layers are held, so that they stay in the store.
struct Drafts<'a> {
    hub: &'a Hub,
    limits: &'a Limits,
    draft: Option<(Arc<Version>, Arc<Draft>)>,
    /// The drafts that pages have.
    shown: Vec<(Arc<Tab>, Shown)>,
    /// What pages compare with.
    others: Vec<(Arc<Version>, Draft)>,
    /// The scene whose section was last told, and when.
    told: (u64, Instant),
    /// When a draft was last drawn, or a page last looked elsewhere.
    at: Instant,
    /// When the round that is being drawn began.
    began: Instant,
    /// Turns of the views.
    turns: Vec<u64>,
}

/// Draws drafts until the hub stops.
pub(super) fn drafts(hub: &Hub, limits: &Limits) {
    let told = (0, Instant::now());
    let mut drafts = Drafts {
        hub,
        limits,
        draft: None,
        shown: Vec::new(),
        others: Vec::new(),
        told,
        at: Instant::now(),
        began: Instant::now(),
        turns: Vec::new(),
    };
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
            let against = |tab: &Arc<Tab>| session.other(tab.look().view.compare.as_ref()?);
            let others: Vec<Option<Arc<Version>>> = tabs.iter().map(against).collect();
            (Round { version: Arc::clone(session.current()), rims }, others, stamps)
        };
        let due = |(tab, other): (&Arc<Tab>, &Option<Arc<Version>>)| {
            let look = tab.look();
            locked(&tab.drawn)[0] != Some(round.wanted(&look)) || owes_other(tab, other, &look)
        };
        // What drafts of another size are made of is found while nobody waits for one.
        let share = self.hub.pace.share();
        let stands = self.draft.as_ref().is_none_or(|(_, draft)| draft.share == share);
        if stands && !self.owes_section(&round) && !tabs.iter().zip(&others).any(due) {
            return;
        }
        self.began = Instant::now();
        if let Err(faults) = self.work_out(&round.version, share) {
            self.fail(tabs, &faults, &round);
            self.told.0 = round.version.revision;
            return;
        }
        let open = self.hub.tabs();
        self.shown.retain(|(tab, _)| open.iter().any(|other| Arc::ptr_eq(other, tab)));
        self.others.retain(|(held, draft)| {
            draft.share == share && others.iter().flatten().any(|other| Arc::ptr_eq(other, held))
        });
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

    /// Works out the draft of a scene, unless it is the one that stands: where only the view changes there is nothing to do.
    fn work_out(&mut self, version: &Arc<Version>, share: f64) -> Result<()> {
        let stands =
            |(of, draft): &(Arc<Version>, Arc<Draft>)| Arc::ptr_eq(of, version) && draft.share == share;
        if !self.draft.as_ref().is_some_and(stands) {
            let draft = Draft::new(&self.hub.store, version, share, self.limits)?;
            self.draft = Some((Arc::clone(version), Arc::new(draft)));
        }
        Ok(())
    }

    fn owes_section(&self, round: &Round) -> bool {
        self.told.0 != round.version.revision && self.told.1.elapsed() >= SECTION
    }

    /// Sends a tab the draft that it wants.
    fn show(&mut self, tab: &Arc<Tab>, stamp: u64, round: &Round) {
        let look = tab.look();
        let wanted = round.wanted(&look);
        if locked(&tab.drawn)[0] == Some(wanted) {
            return;
        }
        let settled = round.is_settled(&locked(&tab.drawn), &look);
        if let Some((_, draft)) = self.draft.clone().filter(|_| !settled) {
            let rims = draft.rims(&self.hub.store);
            let drawing = Drawing { draft, rims, drafted: look.drafted };
            let of = Of { stamp, revision: round.version.revision };
            let at = self.shown.iter().position(|(other, _)| Arc::ptr_eq(other, tab));
            let before = at.map(|at| self.shown.swap_remove(at).1);
            let part = before
                .as_ref()
                .and_then(|before| Some((before.part_changed(&drawing, &look)?, before.number)));
            let Since { changed, merged, apart } = Since::new(before, &drawing, &look.view);
            let sent = part.and_then(|(part, number)| {
                let frame = drawn(&drawing, merged.as_ref(), &look, Some(part), of);
                self.send(tab, round, &look, |tab| tab.patch(frame, number))
            });
            let sent = sent.or_else(|| {
                let frame = drawn(&drawing, merged.as_ref(), &look, None, of);
                self.send(tab, round, &look, |tab| Some(tab.show(frame)))
            });
            let Some(number) = sent else { return };
            self.hub.pace.took(self.began.elapsed());
            // Now, while the page shows it: the picture needn't wait for what only the next one needs.
            let merged = merged.or_else(|| Merged::new(&drawing, apart?, &look.view));
            let shown = Shown { drawing, number, changed, merged };
            self.shown.push((Arc::clone(tab), shown));
        }
        locked(&tab.drawn)[0] = Some(wanted);
    }

    /// Hands a tab its draft by `show`, which gives its number; none where it isn't taken, or was settled just now.
    fn send(
        &self,
        tab: &Tab,
        round: &Round,
        look: &Look,
        show: impl FnOnce(&Tab) -> Option<u64>,
    ) -> Option<u64> {
        // Under the lock, since it may be settled meanwhile.
        let drawn = locked(&tab.drawn);
        if round.is_settled(&drawn, look) { None } else { show(tab) }
    }

    /// Sends a tab the draft of what it compares with.
    fn show_other(&mut self, tab: &Tab, stamp: u64, other: &Arc<Version>) {
        let Look { view, drafted, .. } = tab.look();
        if *locked(&tab.compared) == Some([other.revision, drafted]) {
            return;
        }
        if !self.others.iter().any(|(held, _)| Arc::ptr_eq(held, other)) {
            let share = self.hub.pace.share();
            let Ok(draft) = Draft::new(&self.hub.store, other, share, self.limits) else { return };
            self.others.push((Arc::clone(other), draft));
        }
        if let Some((_, draft)) = self.others.iter().find(|(held, _)| Arc::ptr_eq(held, other)) {
            let rims = draft.rims(&self.hub.store);
            let under = Under::new(view.ground, draft.plan.texels);
            let of = Of { stamp, revision: other.revision };
            let layers = draft.layers(&view);
            tab.show(frame::draft(
                draft.compositor(&view, &layers, &rims, &under),
                &view,
                Kind::Other,
                None,
                of,
            ));
        }
        *locked(&tab.compared) = Some([other.revision, drafted]);
    }

    /// Says what lies where a page asks, and outlines what is chosen once its picture has stood still.
    fn look(&mut self, tabs: &[Arc<Tab>]) {
        // Merged layers serve while something moves.
        if self.at.elapsed() >= LOOK {
            self.shown.iter_mut().for_each(|(_, shown)| shown.merged = None);
        }
        let turns: Vec<u64> = tabs.iter().map(|tab| tab.turns()[0]).collect();
        if turns != self.turns {
            (self.at, self.turns) = (Instant::now(), turns);
        }
        let Some((_, draft)) = &self.draft else { return };
        for tab in tabs {
            let Look { view, turn, .. } = tab.look();
            if let Some(at) = locked(&tab.asked).take() {
                tab.tell(json!({ "picked": outline::slots_at(draft, view.camera, at) }).to_string());
            }
            let wanted = Some([self.hub.revision(), turn]);
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
        let Some((_, draft)) = &self.draft else { return };
        self.told = (round.version.revision, Instant::now());
        let (means, scale) = draft.means(&self.hub.store, self.limits);
        let section = state::section(&round.version.reading.scene, &draft.plan, &means, scale);
        self.hub.tell_section(&json!({ "section": section, "turn": round.version.revision }));
    }

    /// What can't be drawn is told once, and the last good picture stays.
    fn fail(&self, tabs: &[Arc<Tab>], faults: &Faults, round: &Round) {
        self.hub.tell_all(&json!({ "undrawn": state::faults(faults) }));
        for tab in tabs {
            locked(&tab.drawn)[0] = Some(round.wanted(&tab.look()));
        }
    }
}

/// What became of a drawing since the one before it.
#[derive(Default)]
struct Since {
    /// The jobs whose layers are others.
    changed: Option<Range<usize>>,
    /// What was merged, as long as it fits.
    merged: Option<Merged>,
    /// The jobs beside which all may be merged: what stays in two drafts running.
    apart: Option<Range<usize>>,
}

impl Since {
    fn new(before: Option<Shown>, drawing: &Drawing, view: &View) -> Since {
        let Some(before) = before.filter(|_| view.is_plain()) else { return Since::default() };
        let Some(changed) = drawing.differing(&before.drawing) else { return Since::default() };
        let merged = before.merged.filter(|merged| merged.fits(drawing));
        let both = before.changed.filter(|jobs| !jobs.is_empty() && !changed.is_empty());
        let apart = both.map(|jobs| jobs.start.min(changed.start)..jobs.end.max(changed.end));
        Since { changed: Some(changed), merged, apart }
    }
}

/// The draft of a view, whole or a part of it.
fn drawn(
    drawing: &Drawing,
    merged: Option<&Merged>,
    look: &Look,
    part: Option<frame::Part>,
    of: Of,
) -> Frame {
    let (view, draft) = (&look.view, &drawing.draft);
    let under = Under::new(view.ground, draft.plan.texels);
    let layers = draft.layers(view);
    let compositor = match merged {
        Some(merged) => merged.compositor(drawing, view, &layers),
        None => draft.compositor(view, &layers, &drawing.rims, &under),
    };
    frame::draft(compositor, view, Kind::Now, part, of)
}

/// Whether a tab waits for the draft of what it compares with.
fn owes_other(tab: &Tab, other: &Option<Arc<Version>>, look: &Look) -> bool {
    other.as_ref().is_some_and(|other| *locked(&tab.compared) != Some([other.revision, look.drafted]))
}

#[cfg(test)]
mod tests;

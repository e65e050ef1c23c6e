//! What the threads of a run share: the session, the tabs, and what is due for them.

use crate::store::cache::Store;
use crate::tune::session::Session;
use serde_json::Value as Json;
use std::collections::VecDeque;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// Pictures on their way to a page that it hasn't shown yet; more would only be stale.
const UNDERWAY: u32 = 2;
/// Least time between two states while something is dragged.
const STATE: Duration = Duration::from_millis(300);
/// Most messages that wait for a page that doesn't read.
const WAITING: usize = 256;

/// Most bytes in memory of layers that no picture shows any more: a step back is quick then.
const SPARE: usize = 32 << 20;

/// What a page wants to see.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct View {
    /// Camera place, scene px of travel.
    pub camera: f64,
    /// Without fog.
    pub bare: bool,
    /// In steps of lightness.
    pub values: bool,
    /// The last saved beside it.
    pub compare: bool,
}

/// A picture for a page.
pub(super) struct Frame {
    pub head: [u8; 32],
    pub texels: Vec<u8>,
}

/// Messages for a page; pictures and the state only in their newest form.
#[derive(Default)]
struct Outbox {
    texts: VecDeque<Arc<str>>,
    state: Option<Arc<str>>,
    /// The picture, and the last saved.
    pictures: [Option<Frame>; 2],
    underway: u32,
    closed: bool,
}

impl Outbox {
    /// Nothing goes out any more, so nothing is kept.
    fn close(&mut self) {
        *self = Outbox { closed: true, ..Outbox::default() };
    }
}

/// What goes to a page next.
pub(super) enum Parcel {
    Text(Arc<str>),
    Picture(Frame),
}

/// One open page.
pub(super) struct Tab {
    outbox: Mutex<Outbox>,
    filled: Condvar,
    view: Mutex<(View, u64)>,
    /// The number of the newest message of the page that was acted on.
    pub stamp: AtomicU64,
    /// What it has been drawn, as a draft and settled: turn of the scene, of the rims, and of its view.
    pub drawn: Mutex<[Option<[u64; 3]>; 2]>,
}

impl Tab {
    pub fn new(camera: f64) -> Tab {
        Tab {
            outbox: Mutex::default(),
            filled: Condvar::new(),
            view: Mutex::new((View { camera, ..View::default() }, 0)),
            stamp: AtomicU64::new(0),
            drawn: Mutex::new([None; 2]),
        }
    }

    pub fn view(&self) -> (View, u64) {
        locked(&self.view).clone()
    }

    pub fn set_view(&self, view: View) {
        let mut own = locked(&self.view);
        if own.0 != view {
            *own = (view, own.1 + 1);
        }
    }

    /// A message that must arrive.
    pub fn tell(&self, text: impl Into<Arc<str>>) {
        let text = text.into();
        self.fill(|outbox| {
            outbox.texts.push_back(text);
            // A page that never reads is let go.
            if outbox.texts.len() > WAITING {
                outbox.close();
            }
        });
    }

    /// The state; an older one that waits is dropped.
    pub fn tell_state(&self, text: Arc<str>) {
        self.fill(|outbox| outbox.state = Some(text));
    }

    /// A picture; an older one that waits is dropped.
    pub fn show(&self, frame: Frame) {
        let kind = usize::from(frame.head[4] == 1);
        self.fill(|outbox| outbox.pictures[kind] = Some(frame));
    }

    /// What is put into a closed tab's outbox would stay there for as long as its sender hangs.
    fn fill(&self, put: impl FnOnce(&mut Outbox)) {
        let mut outbox = locked(&self.outbox);
        if !outbox.closed {
            put(&mut outbox);
        }
        self.filled.notify_all();
    }

    /// The page has shown a picture.
    pub fn shown(&self) {
        let mut outbox = locked(&self.outbox);
        outbox.underway = outbox.underway.saturating_sub(1);
        self.filled.notify_all();
    }

    /// Whether a picture would go out at once.
    pub fn is_ready(&self) -> bool {
        let outbox = locked(&self.outbox);
        !outbox.closed && outbox.underway < UNDERWAY && outbox.pictures.iter().all(Option::is_none)
    }

    pub fn close(&self) {
        locked(&self.outbox).close();
        self.filled.notify_all();
    }

    /// Waits for what goes out next; none once the tab is closed.
    pub fn next(&self) -> Option<Parcel> {
        let mut outbox = locked(&self.outbox);
        loop {
            if outbox.closed {
                return None;
            }
            if let Some(text) = outbox.texts.pop_front() {
                return Some(Parcel::Text(text));
            }
            // The last saved goes last: what is being changed is looked at.
            if outbox.underway < UNDERWAY
                && let Some(frame) = outbox.pictures.iter_mut().find_map(Option::take)
            {
                outbox.underway += 1;
                return Some(Parcel::Picture(frame));
            }
            if let Some(state) = outbox.state.take() {
                return Some(Parcel::Text(state));
            }
            outbox = self.filled.wait(outbox).unwrap_or_else(PoisonError::into_inner);
        }
    }
}

/// See the module.
pub(super) struct Hub {
    pub session: Mutex<Session>,
    pub tabs: Mutex<Vec<Arc<Tab>>>,
    /// What was worked out for drafts and settled pictures.
    pub store: Store,
    /// Counts up whenever rims were solved.
    pub solved: AtomicU64,
    /// What the check found of the last settled scene.
    pub report: Mutex<Option<Json>>,
    /// The turn of the newest scene, for who wonders whether a picture is stale.
    turn: AtomicU64,
    /// Counts up with all that may call for a picture.
    due: Mutex<u64>,
    woken: Condvar,
    /// When the scene was last changed, or a draft of it drawn.
    edited: Mutex<Instant>,
    /// When pages were last told the state, and whether they are owed a newer one.
    told: Mutex<(Instant, bool)>,
    stopped: AtomicBool,
}

impl Hub {
    pub fn new(session: Session) -> Hub {
        let turn = session.meant().turn;
        Hub {
            session: Mutex::new(session),
            tabs: Mutex::default(),
            store: Store::in_memory(SPARE),
            solved: AtomicU64::new(0),
            report: Mutex::default(),
            turn: AtomicU64::new(turn),
            due: Mutex::default(),
            woken: Condvar::new(),
            edited: Mutex::new(Instant::now()),
            told: Mutex::new((Instant::now(), false)),
            stopped: AtomicBool::new(false),
        }
    }

    pub fn session(&self) -> MutexGuard<'_, Session> {
        locked(&self.session)
    }

    pub fn tabs(&self) -> Vec<Arc<Tab>> {
        locked(&self.tabs).clone()
    }

    pub fn join(&self, tab: &Arc<Tab>) {
        locked(&self.tabs).push(Arc::clone(tab));
        self.wake();
    }

    pub fn leave(&self, tab: &Arc<Tab>) {
        tab.close();
        locked(&self.tabs).retain(|other| !Arc::ptr_eq(other, tab));
    }

    pub fn turn(&self) -> u64 {
        self.turn.load(Ordering::Acquire)
    }

    /// The session may have changed: whoever draws looks again.
    pub fn edited(&self, turn: u64) {
        if self.turn.swap(turn, Ordering::AcqRel) != turn {
            *locked(&self.edited) = Instant::now();
        }
        self.wake();
    }

    /// A draft was drawn: rest begins anew.
    pub fn touched(&self) {
        *locked(&self.edited) = Instant::now();
    }

    /// Whether the state is to be told now; while something is dragged that isn't worth it every time, and is owed.
    pub fn tells_state(&self, dragged: bool) -> bool {
        let mut told = locked(&self.told);
        if dragged && told.0.elapsed() < STATE {
            told.1 = true;
            return false;
        }
        *told = (Instant::now(), false);
        true
    }

    /// Whether the pages are owed a newer state; the debt is taken as paid.
    pub fn owes_state(&self) -> bool {
        let mut told = locked(&self.told);
        let owed = told.1 && told.0.elapsed() >= STATE;
        if owed {
            *told = (Instant::now(), false);
        }
        owed
    }

    pub fn since_edit(&self) -> Duration {
        locked(&self.edited).elapsed()
    }

    pub fn wake(&self) {
        *locked(&self.due) += 1;
        self.woken.notify_all();
    }

    /// Waits until something is due after `seen`, or `most` has passed; returns what was seen.
    pub fn wait(&self, seen: u64, most: Duration) -> u64 {
        let due = locked(&self.due);
        let waited = self.woken.wait_timeout_while(due, most, |due| *due == seen && !self.is_stopped());
        match waited {
            Ok((due, _)) => *due,
            Err(poisoned) => *poisoned.into_inner().0,
        }
    }

    pub fn stop(&self) {
        self.stopped.store(true, Ordering::Release);
        for tab in self.tabs() {
            tab.close();
        }
        self.wake();
    }

    pub fn is_stopped(&self) -> bool {
        self.stopped.load(Ordering::Acquire)
    }

    pub fn tell_all(&self, text: &Json) {
        let text: Arc<str> = text.to_string().into();
        for tab in self.tabs() {
            tab.tell(Arc::clone(&text));
        }
    }
}

/// A thread that has panicked leaves nothing half done behind these locks.
pub(super) fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_page_that_never_reads_is_let_go_and_nothing_is_kept_for_it() {
        let tab = Tab::new(0.0);
        let text: Arc<str> = "x".into();
        for _ in 0..WAITING {
            tab.tell(Arc::clone(&text));
        }
        assert_eq!(Arc::strong_count(&text), 1 + WAITING);
        assert!(tab.is_ready());
        for _ in 0..1000 {
            tab.tell(Arc::clone(&text));
            tab.tell_state(Arc::clone(&text));
        }
        assert_eq!(Arc::strong_count(&text), 1);
        assert!(tab.next().is_none() && !tab.is_ready());
    }
}

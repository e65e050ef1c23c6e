//! What the threads of a run share: the session, the tabs, and what is due for them.

use crate::base::units::Camera;
use crate::store::cache::Store;
use crate::tune::draw::Pace;
use crate::tune::frame;
use crate::tune::recovery::Recovery;
use crate::tune::session::Session;
use crate::tune::view::View;
use serde_json::Value as Json;
use std::collections::VecDeque;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// Most pictures sent to a page that it hasn't shown yet; more would only be stale.
const IN_FLIGHT: u32 = 2;
/// Minimum time between two states while something is dragged; chosen by eye.
const STATE_INTERVAL: Duration = Duration::from_millis(300);
/// Most messages that wait for a page that doesn't read.
const QUEUE_MAX: usize = 256;

/// Most bytes in memory of layers that no picture shows any more: a step back is quick then.
const SPARE: usize = 32 << 20;

/// A picture for a page.
pub(super) struct Frame {
    pub head: [u8; frame::HEAD],
    pub texels: Vec<u8>,
}

/// Messages for a page; pictures and the state only in their newest form.
#[derive(Default)]
struct Outbox {
    texts: VecDeque<Arc<str>>,
    state: Option<Arc<str>>,
    /// One of each kind of picture (see `frame`).
    pictures: [Option<Frame>; 4],
    /// How many there were of each.
    numbers: [u64; 4],
    in_flight: u32,
    closed: bool,
}

impl Outbox {
    fn put(&mut self, frame: Frame) -> u64 {
        let kind = usize::from(frame.head[4]);
        self.pictures[kind] = Some(frame);
        self.numbers[kind] += 1;
        self.numbers[kind]
    }

    /// Nothing goes out any more, so nothing is kept.
    fn close(&mut self) {
        *self = Outbox { closed: true, ..Outbox::default() };
    }
}

/// What goes to a page next.
pub(super) enum Message {
    Text(Arc<str>),
    Picture(Frame),
}

/// What a page looks at.
#[derive(Clone, Default)]
pub(super) struct Look {
    pub view: View,
    /// Counts up with every other view.
    pub turn: u64,
    /// The turn of the last view that a draft shows otherwise than the one before.
    pub drafted: u64,
}

/// One open page.
pub(super) struct Tab {
    outbox: Mutex<Outbox>,
    filled: Condvar,
    look: Mutex<Look>,
    /// The number of the newest message of the page that was acted on.
    pub stamp: AtomicU64,
    /// What it has been drawn, as a draft and settled: revision of the scene, of the rims, and the turn of its view.
    pub drawn: Mutex<[Option<[u64; 3]>; 2]>,
    /// What it is compared with, as it was drawn: revision of that scene, and the turn of the view.
    pub compared: Mutex<Option<[u64; 2]>>,
    /// The outline that was drawn: revision of the scene, and the turn of the view.
    pub outlined: Mutex<Option<[u64; 2]>>,
    /// Where somebody asks what lies: shares of the view's width and height.
    pub asked: Mutex<Option<[f64; 2]>>,
    /// The slot (none: the scene) whose presets are to be shown small, and the names of those that are due.
    pub recipes: Mutex<Option<(Option<String>, Vec<String>)>>,
}

impl Tab {
    pub fn new(camera: Camera) -> Tab {
        Tab {
            outbox: Mutex::default(),
            filled: Condvar::new(),
            look: Mutex::new(Look { view: View { camera, ..View::default() }, ..Look::default() }),
            stamp: AtomicU64::new(0),
            drawn: Mutex::new([None; 2]),
            compared: Mutex::default(),
            outlined: Mutex::default(),
            asked: Mutex::default(),
            recipes: Mutex::default(),
        }
    }

    pub fn look(&self) -> Look {
        locked(&self.look).clone()
    }

    /// The turns of its view, and of that as drafts show it.
    pub fn turns(&self) -> [u64; 2] {
        let look = locked(&self.look);
        [look.turn, look.drafted]
    }

    /// Whether it looks at texels of scale 1.
    pub fn is_zoomed(&self) -> bool {
        locked(&self.look).view.part.is_some()
    }

    /// False if pictures show the new view as they do the one before.
    pub fn set_view(&self, view: View) -> bool {
        let mut own = locked(&self.look);
        let same = own.view.part == view.part && own.view.is_drafted_as(&view);
        if own.view != view {
            own.turn += 1;
            if !own.view.is_drafted_as(&view) {
                own.drafted = own.turn;
            }
            own.view = view;
        }
        !same
    }

    /// A message that must arrive.
    pub fn tell(&self, text: impl Into<Arc<str>>) {
        let text = text.into();
        self.fill(|outbox| {
            outbox.texts.push_back(text);
            // A page that never reads is let go.
            if outbox.texts.len() > QUEUE_MAX {
                outbox.close();
            }
        });
    }

    /// The state; an older one that waits is dropped.
    pub fn tell_state(&self, text: Arc<str>) {
        self.fill(|outbox| outbox.state = Some(text));
    }

    /// A picture; an older one that waits is dropped. Its number among those of its kind.
    pub fn show(&self, frame: Frame) -> u64 {
        self.fill(|outbox| outbox.put(frame))
    }

    /// A part of the picture with this number; none where the page hasn't got that, or got another since.
    pub fn patch(&self, frame: Frame, number: u64) -> Option<u64> {
        let kind = usize::from(frame.head[4]);
        self.fill(|outbox| {
            let has = outbox.numbers[kind] == number && outbox.pictures[kind].is_none();
            has.then(|| outbox.put(frame))
        })
    }

    /// Puts something into the outbox and wakes who sends it.
    fn fill<T>(&self, put: impl FnOnce(&mut Outbox) -> T) -> T {
        let mut outbox = locked(&self.outbox);
        let out = put(&mut outbox);
        if outbox.closed {
            // It would stay there for as long as the sender hangs.
            outbox.close();
        }
        self.filled.notify_all();
        out
    }

    /// The page has shown a picture.
    pub fn shown(&self) {
        let mut outbox = locked(&self.outbox);
        outbox.in_flight = outbox.in_flight.saturating_sub(1);
        self.filled.notify_all();
    }

    /// Whether a picture would go out at once.
    pub fn is_ready(&self) -> bool {
        let outbox = locked(&self.outbox);
        !outbox.closed && outbox.in_flight < IN_FLIGHT && outbox.pictures.iter().all(Option::is_none)
    }

    pub fn close(&self) {
        locked(&self.outbox).close();
        self.filled.notify_all();
    }

    /// Waits for what goes out next; none once the tab is closed.
    pub fn next(&self) -> Option<Message> {
        let mut outbox = locked(&self.outbox);
        loop {
            if outbox.closed {
                return None;
            }
            if let Some(text) = outbox.texts.pop_front() {
                return Some(Message::Text(text));
            }
            // The last saved goes last: what is being changed is looked at.
            if outbox.in_flight < IN_FLIGHT
                && let Some(frame) = outbox.pictures.iter_mut().find_map(Option::take)
            {
                outbox.in_flight += 1;
                return Some(Message::Picture(frame));
            }
            if let Some(state) = outbox.state.take() {
                return Some(Message::Text(state));
            }
            outbox = self.filled.wait(outbox).unwrap_or_else(PoisonError::into_inner);
        }
    }
}

/// When pages were last told the state, and whether they wait for a newer one.
struct StateClock {
    told: Instant,
    pending: bool,
}

/// See the module.
pub(super) struct Hub {
    pub session: Mutex<Session>,
    /// Unsaved edits in a file. Whoever wants both locks it before the session.
    pub recovery: Mutex<Recovery>,
    pub tabs: Mutex<Vec<Arc<Tab>>>,
    /// What was worked out for drafts and settled pictures.
    pub store: Store,
    pub pace: Pace,
    /// Counts up whenever rims were solved.
    pub solved: AtomicU64,
    /// What the check found of the last settled scene.
    pub report: Mutex<Option<Json>>,
    /// The newest section, as it was told.
    section: Mutex<Option<Arc<str>>>,
    /// The revision of the newest scene: a picture of an older one is stale.
    revision: AtomicU64,
    /// Counts up with all that may call for a picture.
    due: Mutex<u64>,
    woken: Condvar,
    /// When the scene was last changed, or a draft of it drawn.
    edited: Mutex<Instant>,
    state: Mutex<StateClock>,
    stopped: AtomicBool,
    /// Whether unsaved edits of an earlier run are offered.
    offered: AtomicBool,
}

impl Hub {
    pub fn new(session: Session, recovery: Recovery) -> Hub {
        let revision = session.current().revision;
        let offered = recovery.offered().is_some();
        Hub {
            session: Mutex::new(session),
            recovery: Mutex::new(recovery),
            tabs: Mutex::default(),
            store: Store::in_memory(SPARE),
            pace: Pace::default(),
            solved: AtomicU64::new(0),
            report: Mutex::default(),
            section: Mutex::default(),
            revision: AtomicU64::new(revision),
            due: Mutex::default(),
            woken: Condvar::new(),
            edited: Mutex::new(Instant::now()),
            state: Mutex::new(StateClock { told: Instant::now(), pending: false }),
            stopped: AtomicBool::new(false),
            offered: AtomicBool::new(offered),
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
        // After it has joined: a section that is told meanwhile then comes twice rather than never.
        if let Some(section) = locked(&self.section).clone() {
            tab.tell(section);
        }
        self.wake();
    }

    pub fn leave(&self, tab: &Arc<Tab>) {
        tab.close();
        locked(&self.tabs).retain(|other| !Arc::ptr_eq(other, tab));
    }

    pub fn revision(&self) -> u64 {
        self.revision.load(Ordering::Acquire)
    }

    /// The session may have changed: whoever draws looks again.
    pub fn edited(&self, revision: u64) {
        if self.revision.swap(revision, Ordering::AcqRel) != revision {
            *locked(&self.edited) = Instant::now();
        }
        self.wake();
    }

    /// A draft was drawn: rest begins again.
    pub fn delay_rest(&self) {
        *locked(&self.edited) = Instant::now();
    }

    /// Whether the state is to be told now; while something is dragged that isn't worth it every time, and it stays pending.
    pub fn is_state_due(&self, dragged: bool) -> bool {
        let mut state = locked(&self.state);
        if dragged && state.told.elapsed() < STATE_INTERVAL {
            state.pending = true;
            return false;
        }
        *state = StateClock { told: Instant::now(), pending: false };
        true
    }

    /// Whether a pending state is to be told now.
    pub fn take_pending_state(&self) -> bool {
        let mut state = locked(&self.state);
        let due = state.pending && state.told.elapsed() >= STATE_INTERVAL;
        if due {
            *state = StateClock { told: Instant::now(), pending: false };
        }
        due
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

    pub fn is_offered(&self) -> bool {
        self.offered.load(Ordering::Acquire)
    }

    pub fn set_offered(&self, offered: bool) {
        self.offered.store(offered, Ordering::Release);
    }

    pub fn is_stopped(&self) -> bool {
        self.stopped.load(Ordering::Acquire)
    }

    /// Tells all pages the section, and those that join later.
    pub fn tell_section(&self, section: &Json) {
        let text: Arc<str> = section.to_string().into();
        *locked(&self.section) = Some(Arc::clone(&text));
        for tab in self.tabs() {
            tab.tell(Arc::clone(&text));
        }
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
        let tab = Tab::new(Camera::default());
        let text: Arc<str> = "x".into();
        for _ in 0..QUEUE_MAX {
            tab.tell(Arc::clone(&text));
        }
        assert_eq!(Arc::strong_count(&text), 1 + QUEUE_MAX);
        assert!(tab.is_ready());
        for _ in 0..1000 {
            tab.tell(Arc::clone(&text));
            tab.tell_state(Arc::clone(&text));
        }
        assert_eq!(Arc::strong_count(&text), 1);
        assert!(tab.next().is_none() && !tab.is_ready());
    }
}

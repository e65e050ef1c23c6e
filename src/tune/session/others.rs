//! What a page compares the scene with: as it was saved, before the last change, in another mood.

use super::{Session, Step, Version, interpret};
use crate::tune::view::Against;
use std::sync::Arc;

/// Most scenes that are held for pages that compare.
const HELD: usize = 4;
/// Revisions of scenes that are only compared with begin here, so that none is one of the session's own.
const FIRST: u64 = 1 << 32;

/// The scenes that pages compared with last, each with its step and its mood.
#[derive(Default)]
pub(super) struct Others {
    held: Vec<(Step, Option<String>, Arc<Version>)>,
    count: u64,
}

impl Session {
    /// The scene that `against` means; none where there is none, or where it can't be read.
    pub fn other(&mut self, against: &Against) -> Option<Arc<Version>> {
        let (step, mood) = match against {
            Against::Saved => return Some(Arc::clone(&self.saved)),
            Against::Before => (&self.history[self.at.checked_sub(1)?], self.mood.clone()),
            Against::Mood(mood) => (&self.history[self.at], mood.clone()),
        };
        let step = step.clone();
        let known = self.others.held.iter().find(|(other, of, _)| *other == step && *of == mood);
        if let Some((.., version)) = known {
            return Some(Arc::clone(version));
        }
        self.others.count += 1;
        let revision = FIRST + self.others.count;
        let before = Some(&*self.current);
        let version =
            interpret(&self.file, &step, mood.as_deref(), &self.limits, &self.shelf, before, revision);
        let version = Arc::new(version.ok()?);
        self.others.held.push((step, mood, Arc::clone(&version)));
        if self.others.held.len() > HELD {
            self.others.held.remove(0);
        }
        Some(version)
    }
}

//! What a page compares the scene with: as it was saved, before the last change, in another mood.

use super::{Session, Step, Version, interpret};
use crate::tune::view::Against;
use crate::tune::write;
use std::sync::Arc;

/// Most scenes that are held for pages that compare.
const HELD: usize = 4;
/// Revisions of scenes that are only compared with begin here, so that none is one of the session's own.
pub(super) const FIRST: u64 = 1 << 32;

/// The scenes that pages compared with last, each with its step and its mood.
#[derive(Default)]
pub(super) struct Others {
    held: Vec<(Step, Option<String>, Arc<Version>)>,
    pub(super) count: u64,
}

impl Session {
    /// The scene with another preset, of a slot or of all; none where it can't be read.
    pub fn with_preset(&mut self, slot: Option<&str>, name: &str) -> Option<Version> {
        let path = if slot.is_some() { "slot.preset" } else { "preset" };
        let value = toml_edit::Value::from(name).to_string();
        let text = write::set(&self.file, self.text(), &self.location(slot, path), value.trim()).ok()?;
        self.others.count += 1;
        let (revision, before) = (FIRST + self.others.count, Some(&*self.current));
        let mood = self.mood.as_deref();
        let step = self.with_text(text.into());
        interpret(&self.file, &step, mood, &self.limits, &self.shelf, before, revision).ok()
    }

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

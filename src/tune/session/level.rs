//! Edits of more than one value, each a single step: slots, moods, values of all slots.

use super::{Session, Step, Version, interpret};
use crate::base::fault::Result;
use crate::tune::blocks::{self, NewSlot};
use crate::tune::write::{self, Location};
use std::sync::Arc;

/// What hides a slot.
const SHOWN: [&str; 2] = ["slot.visible", "slot.fog"];

impl Session {
    /// Takes the value at `path` out of every slot, so that the scene's holds everywhere.
    ///
    /// # Errors
    /// As for [`Session::set`].
    pub fn clear(&mut self, path: &str) -> Result<()> {
        let names: Vec<String> =
            self.current.reading.scene.slots.iter().map(|slot| slot.name.clone()).collect();
        let mut text = self.text().to_string();
        for name in &names {
            text = write::unset(&self.file, &text, &self.location(Some(name), path))?;
        }
        self.apply(text.into(), None)
    }

    /// Adds a slot.
    ///
    /// # Errors
    /// As for [`Session::set`].
    pub fn add_slot(&mut self, slot: &NewSlot<'_>) -> Result<()> {
        let text = blocks::add_slot(&self.file, self.text(), slot)?;
        self.apply(text.into(), None)
    }

    /// A name for a new slot that none has: `wanted`, or with a number.
    pub fn free_name(&self, wanted: &str) -> String {
        let slots = &self.current.reading.scene.slots;
        let taken = |name: &str| slots.iter().any(|slot| slot.name.eq_ignore_ascii_case(name));
        let mut names = (2..).map(|count| format!("{wanted}-{count}"));
        if taken(wanted) { names.find(|name| !taken(name)).unwrap_or_default() } else { wanted.to_owned() }
    }

    /// Removes a slot.
    ///
    /// # Errors
    /// As for [`Session::set`]; a scene keeps one slot at least.
    pub fn remove_slot(&mut self, name: &str) -> Result<()> {
        let text = blocks::remove_slot(&self.file, self.text(), name)?;
        self.apply(text.into(), None)
    }

    /// Renames a slot; its fog stays what it is.
    ///
    /// # Errors
    /// As for [`Session::set`].
    pub fn rename_slot(&mut self, name: &str, new: &str) -> Result<()> {
        let mut text = blocks::rename_slot(&self.file, self.text(), name, new)?;
        let own = |slot: &&crate::scene::Slot| slot.name == name;
        let slots = &self.current.reading.scene.slots;
        if slots.iter().find(own).is_some_and(|slot| slot.stream.is_none()) {
            // In the scene itself, whatever mood is tuned: so is the name.
            let location = Location { mood: None, slot: Some(new), lamp: None, key: "stream" };
            let name = toml_edit::Value::from(name).to_string();
            text = write::set(&self.file, &text, &location, &name)?;
        }
        self.apply(text.into(), None)
    }

    /// Adds a lamp to a slot, at a place of its strip.
    ///
    /// # Errors
    /// As for [`Session::set`].
    pub fn add_lamp(&mut self, slot: &str, at: [f64; 2]) -> Result<()> {
        let text = blocks::add_lamp(&self.file, self.text(), slot, at)?;
        self.apply(text.into(), None)
    }

    /// Removes the lamp at a place of their list.
    ///
    /// # Errors
    /// As for [`Session::set`].
    pub fn remove_lamp(&mut self, at: usize) -> Result<()> {
        let text = blocks::remove_lamp(&self.file, self.text(), at)?;
        self.apply(text.into(), None)
    }

    /// Hides a slot, its picture and its fog, or shows it again.
    ///
    /// # Errors
    /// As for [`Session::set`].
    pub fn hide_slot(&mut self, name: &str, hidden: bool) -> Result<()> {
        let mut text = self.text().to_string();
        for path in SHOWN {
            let location = self.location(Some(name), path);
            text = match (hidden, &self.mood) {
                (true, _) => write::set(&self.file, &text, &location, "false")?,
                (false, Some(_)) => write::set(&self.file, &text, &location, "true")?,
                (false, None) => write::unset(&self.file, &text, &location)?,
            };
        }
        self.apply(text.into(), None)
    }

    /// Tunes another mood from here on; none: the scene itself.
    ///
    /// # Errors
    /// Class `Scene`: there is no such mood.
    pub fn choose_mood(&mut self, mood: Option<String>) -> Result<()> {
        let step = self.history[self.at].clone();
        let before = std::mem::replace(&mut self.mood, mood);
        match self.interpret(&step) {
            Ok(version) => {
                self.adopt(version);
                self.gesture = None;
                self.reread_saved();
                Ok(())
            }
            Err(faults) => {
                self.mood = before;
                Err(faults)
            }
        }
    }

    /// Makes a mood that changes nothing yet, and tunes it.
    ///
    /// # Errors
    /// As for [`Session::set`].
    pub fn make_mood(&mut self, name: &str) -> Result<()> {
        let text = blocks::add_mood(&self.file, self.text(), name)?;
        self.apply(text.into(), None)?;
        self.choose_mood(Some(name.to_owned()))
    }

    /// Removes a mood; where it was tuned, the scene itself is from here on.
    ///
    /// # Errors
    /// As for [`Session::set`].
    pub fn remove_mood(&mut self, name: &str) -> Result<()> {
        let text = blocks::remove_mood(&self.file, self.text(), name)?;
        if self.mood.as_deref() == Some(name) {
            self.choose_mood(None)?;
        }
        self.apply(text.into(), None)
    }

    /// The version that a text means where the mood that is tuned isn't in it any more: the scene's own.
    pub(super) fn without_mood(&mut self, step: &Step) -> Option<Version> {
        let mood = self.mood.take()?;
        match self.interpret(step) {
            Ok(version) if !version.reading.moods.contains(&mood) => {
                self.reread_saved();
                Some(version)
            }
            _ => {
                self.mood = Some(mood);
                None
            }
        }
    }

    /// Reads what the file holds as the mood that is tuned has it; where the file has no such mood, its scene.
    fn reread_saved(&mut self) {
        let before = Arc::clone(&self.saved);
        self.mark_saved();
        if !Arc::ptr_eq(&before, &self.saved) {
            return;
        }
        // Drawings as their files hold them.
        let step = Step { text: Arc::clone(&self.on_disk), drawn: Arc::default() };
        self.others.count += 1;
        let revision = super::others::FIRST + self.others.count;
        let read = |mood: Option<&str>| {
            interpret(&self.file, &step, mood, &self.limits, &self.shelf, Some(&self.current), revision)
        };
        if let Ok(version) = read(self.mood.as_deref()).or_else(|_| read(None)) {
            self.saved = Arc::new(version);
        }
    }
}

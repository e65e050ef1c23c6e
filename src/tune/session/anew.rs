//! Reading a scene again whose pictures or presets were changed, while the page goes on: a picture may take long to read.

use super::{Session, Step, Version, interpret};
use crate::base::fault::Result;
use crate::base::limits::Limits;
use crate::scene::recipe::shelf::Shelf;
use crate::tune::session::others::Others;
use std::path::PathBuf;

/// What reading a scene again needs.
pub struct Anew {
    file: PathBuf,
    step: Step,
    mood: Option<String>,
    limits: Limits,
    shelf: Shelf,
}

impl Anew {
    /// Reads the scene with its pictures.
    pub fn read(&self) -> Result<Version> {
        interpret(&self.file, &self.step, self.mood.as_deref(), &self.limits, &self.shelf, None, 0)
    }
}

impl Session {
    /// Pictures or presets were changed: everything is to be read again, by whoever doesn't hold the session meanwhile.
    pub fn anew(&mut self) -> Anew {
        self.shelf = Shelf::of_scene(Some(&self.file), &self.limits);
        self.others = Others::default();
        self.leave_drawn();
        Anew {
            file: self.file.clone(),
            step: self.history[self.at].clone(),
            mood: self.mood.clone(),
            limits: self.limits,
            shelf: self.shelf.clone(),
        }
    }

    /// Takes what was read, with the edits that came meanwhile.
    pub fn reopen(&mut self, read: Result<Version>) {
        let revision = self.revision + 1;
        let now = read.and_then(|mut read| {
            read.opened = revision;
            let step = &self.history[self.at];
            let mood = self.mood.as_deref();
            interpret(&self.file, step, mood, &self.limits, &self.shelf, Some(&read), revision)
        });
        match now {
            Ok(version) => self.adopt(version),
            Err(faults) => self.unread = Some(faults),
        }
    }
}

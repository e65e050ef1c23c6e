//! The session: the scene's text with its undo history, what the file holds, and the scene of the last good text.

mod anew;
mod conflict;
mod level;
mod others;
mod strokes;
mod version;

use crate::base::fault::{Class, Fault, Faults, Result};
use crate::base::files;
use crate::base::limits::Limits;
use crate::scene::pictures::Held;
use crate::scene::recipe::shelf::Shelf;
use crate::scene::{Source, keys};
use crate::tune::write::{self, Location};
use others::Others;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;
pub(super) use strokes::Stroke;
pub(super) use version::Version;
use version::interpret;

/// Most steps that can be undone.
const UNDO_MAX: usize = 400;

/// What became of a look at the file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum FileChange {
    /// It holds what is known.
    Same,
    /// Its new text, or its new pictures, were taken over.
    Taken,
    /// It was changed, and so was the page's text: somebody must choose.
    Conflict,
}

/// A step of the history.
#[derive(Clone, PartialEq)]
struct Step {
    text: Arc<str>,
    /// Drawings as they stand, by file; of others their files are read.
    drawn: Arc<Held>,
}

pub(super) struct Session {
    file: PathBuf,
    mood: Option<String>,
    limits: Limits,
    shelf: Shelf,
    history: Vec<Step>,
    at: usize,
    /// The gesture that the last step belongs to: what follows of it is the same step.
    gesture: Option<String>,
    /// What the file holds, as far as is known.
    on_disk: Arc<str>,
    /// What the files of drawings hold, as far as the page has drawn in them.
    drawn_on_disk: BTreeMap<PathBuf, Arc<str>>,
    /// What the file holds where both were changed.
    conflict: Option<Arc<str>>,
    /// Why the file can't be read now: nobody knows what a save would replace.
    unreadable: Option<Faults>,
    /// What is wrong with the text; the last good scene stays.
    faults: Option<Faults>,
    /// What is wrong with pictures that were changed; those that were read before stay.
    unread: Option<Faults>,
    current: Arc<Version>,
    saved: Arc<Version>,
    others: Others,
    revision: u64,
}

impl Session {
    /// Opens a scene file, which must be faultless.
    pub fn open(file: &Path, mood: Option<String>, limits: Limits) -> Result<Session> {
        let source = Source::load(file, &limits)?;
        let shelf = Shelf::of_scene(Some(file), &limits);
        let text: Arc<str> = source.text.into();
        let step = Step { text: Arc::clone(&text), drawn: Arc::default() };
        let version = Arc::new(interpret(file, &step, mood.as_deref(), &limits, &shelf, None, 1)?);
        Ok(Session {
            file: file.to_path_buf(),
            mood,
            limits,
            shelf,
            history: vec![step],
            at: 0,
            gesture: None,
            on_disk: text,
            drawn_on_disk: BTreeMap::new(),
            conflict: None,
            unreadable: None,
            faults: None,
            unread: None,
            saved: Arc::clone(&version),
            current: version,
            others: Others::default(),
            revision: 1,
        })
    }

    pub fn file(&self) -> &Path {
        &self.file
    }

    pub fn mood(&self) -> Option<&str> {
        self.mood.as_deref()
    }

    pub fn limits(&self) -> &Limits {
        &self.limits
    }

    pub fn shelf(&self) -> &Shelf {
        &self.shelf
    }

    pub fn text(&self) -> &Arc<str> {
        &self.history[self.at].text
    }

    /// The scene of the last good text.
    pub fn current(&self) -> &Arc<Version> {
        &self.current
    }

    /// The scene as the file had it when it last was good.
    pub fn saved(&self) -> &Arc<Version> {
        &self.saved
    }

    pub fn faults(&self) -> Option<&Faults> {
        self.faults.as_ref().or(self.unread.as_ref())
    }

    pub fn is_unsaved(&self) -> bool {
        **self.text() != *self.on_disk || self.undrawn().next().is_some()
    }

    pub fn has_conflict(&self) -> bool {
        self.conflict.is_some()
    }

    /// Why the file can't be read now; it isn't saved into meanwhile.
    pub fn unreadable(&self) -> Option<&Faults> {
        self.unreadable.as_ref()
    }

    /// How many steps lead back and forth.
    pub fn steps(&self) -> [usize; 2] {
        [self.at, self.history.len() - 1 - self.at]
    }

    /// Files that the scene is made of besides itself.
    pub fn pictures(&self) -> Vec<PathBuf> {
        self.current.pictures.files().into_iter().map(Path::to_path_buf).collect()
    }

    /// Sets a value; all edits of one `gesture` are one step.
    ///
    /// # Errors
    /// Where the value can't stand, or breaks the scene; nothing has changed then.
    pub fn set(
        &mut self,
        slot: Option<&str>,
        path: &str,
        value: &str,
        gesture: Option<String>,
    ) -> Result<()> {
        let key = keys::find(path)
            .filter(|key| key.path != "slot.name" && key.section() != keys::Section::Preset)
            .ok_or_else(|| Fault::new(Class::Usage, format!("there is no key {}", keys::shown(path))))?;
        let value =
            key.parse(value).map_err(|wrong| Fault::new(Class::Scene, wrong.message).remedy(wrong.remedy))?;
        for (section, what) in [(keys::Section::Lamp, "a lamp"), (keys::Section::Place, "a place")] {
            if key.section() == section {
                return Err(Fault::new(Class::Usage, format!("`{path}` belongs to {what}")).into());
            }
        }
        let in_scene = slot.is_none() || key.is_step() || key.section() == keys::Section::Slot;
        let of_slot = key.section() == keys::Section::Slot;
        if !in_scene || (of_slot && slot.is_none()) {
            return Err(Fault::new(Class::Usage, format!("`{path}` can't be set here")).into());
        }
        let mut slots = self.current.reading.scene.slots.iter();
        if let Some(name) = slot
            && !slots.any(|slot| slot.name == name)
        {
            return Err(Fault::new(Class::Usage, format!("there is no slot {}", keys::shown(name))).into());
        }
        let text = write::set(&self.file, self.text(), &self.location(slot, path), &value.to_string())?;
        self.apply(text.into(), gesture)
    }

    /// Takes a value out, so that what stands behind it holds.
    ///
    /// # Errors
    /// As for [`Session::set`].
    pub fn unset(&mut self, slot: Option<&str>, path: &str, gesture: Option<String>) -> Result<()> {
        let text = write::unset(&self.file, self.text(), &self.location(slot, path))?;
        self.apply(text.into(), gesture)
    }

    /// Gives a value back what the file has for it.
    ///
    /// # Errors
    /// As for [`Session::set`].
    pub fn restore(&mut self, slot: Option<&str>, path: &str) -> Result<()> {
        match write::reads(&self.on_disk, &self.location(slot, path)) {
            Some(value) => {
                let text = write::set(&self.file, self.text(), &self.location(slot, path), &value)?;
                self.apply(text.into(), None)
            }
            None => self.unset(slot, path, None),
        }
    }

    fn location<'a>(&'a self, slot: Option<&'a str>, path: &'a str) -> Location<'a> {
        let key = path.strip_prefix("slot.").unwrap_or(path);
        Location { mood: self.mood.as_deref(), slot, lamp: None, key }
    }

    /// Makes a text the newest step, if it means a scene.
    ///
    /// # Errors
    /// Where it means none; nothing has changed then.
    pub fn apply(&mut self, text: Arc<str>, gesture: Option<String>) -> Result<()> {
        if text == *self.text() {
            return Ok(());
        }
        self.apply_step(self.with_text(text), gesture)
    }

    fn apply_step(&mut self, step: Step, gesture: Option<String>) -> Result<()> {
        let version = self.interpret(&step)?;
        self.push(step, gesture);
        self.adopt(version);
        Ok(())
    }

    /// A text with the drawings as they stand.
    fn with_text(&self, text: Arc<str>) -> Step {
        Step { text, drawn: Arc::clone(&self.history[self.at].drawn) }
    }

    fn push(&mut self, step: Step, gesture: Option<String>) {
        self.history.truncate(self.at + 1);
        if self.at > 0 && gesture.is_some() && gesture == self.gesture {
            self.history[self.at] = step;
        } else {
            self.history.push(step);
            if self.history.len() > UNDO_MAX {
                self.history.remove(0);
            }
            self.at = self.history.len() - 1;
        }
        self.gesture = gesture;
    }

    fn interpret(&self, step: &Step) -> Result<Version> {
        let before = Some(&*self.current);
        interpret(
            &self.file,
            step,
            self.mood.as_deref(),
            &self.limits,
            &self.shelf,
            before,
            self.revision + 1,
        )
    }

    fn adopt(&mut self, version: Version) {
        self.revision = version.revision;
        if version.opened == version.revision {
            self.unread = None;
        }
        self.current = Arc::new(version);
        self.faults = None;
        self.mark_saved();
    }

    /// Where the text is the file's, its scene is the saved one.
    fn mark_saved(&mut self) {
        if *self.current.text == *self.on_disk && self.undrawn().next().is_none() {
            self.saved = Arc::clone(&self.current);
        }
    }

    /// One step back or forth; false where there is none.
    pub fn step(&mut self, back: bool) -> bool {
        let to = if back { self.at.checked_sub(1) } else { Some(self.at + 1) };
        let Some(to) = to.filter(|to| *to < self.history.len()) else { return false };
        self.at = to;
        self.gesture = None;
        self.reread();
        true
    }

    /// Reads the text that stands now; what is wrong with it is kept beside the last good scene.
    fn reread(&mut self) {
        let step = self.history[self.at].clone();
        match self.interpret(&step) {
            Ok(version) => self.adopt(version),
            Err(faults) => match self.without_mood(&step) {
                Some(version) => self.adopt(version),
                None => self.faults = Some(faults),
            },
        }
    }

    /// Writes the text into the file. False where the file was changed meanwhile: nothing is written then.
    ///
    /// # Errors
    /// Class `Output`: the file can't be written, or what it holds now can't be read.
    pub fn save(&mut self) -> Result<bool> {
        if self.check_file() == FileChange::Conflict || self.conflict.is_some() {
            return Ok(false);
        }
        if let Some(faults) = &self.unreadable {
            return Err(unsaved(&self.file, faults));
        }
        self.save_drawn()?;
        let text = Arc::clone(self.text());
        if files::save(&self.file, self.on_disk.as_bytes(), text.as_bytes())? == files::Placed::Stands {
            // Saved by somebody else since the look at it.
            self.check_file();
            return Ok(false);
        }
        self.on_disk = text;
        self.gesture = None;
        self.mark_saved();
        Ok(true)
    }

    /// Looks at the file: what somebody else wrote there is taken over, unless both were changed.
    pub fn check_file(&mut self) -> FileChange {
        // A file that is gone for a moment, half way through a save by rename, is looked at again later.
        let source = match Source::load(&self.file, &self.limits) {
            Ok(source) => source,
            Err(faults) => {
                self.unreadable = std::fs::symlink_metadata(&self.file).is_ok().then_some(faults);
                return FileChange::Same;
            }
        };
        self.unreadable = None;
        if source.text == *self.on_disk {
            self.conflict = None;
            return FileChange::Same;
        }
        let theirs: Arc<str> = source.text.into();
        if theirs == *self.text() {
            (self.on_disk, self.conflict) = (theirs, None);
            self.mark_saved();
            return FileChange::Taken;
        }
        if self.is_unsaved() {
            self.conflict = Some(theirs);
            return FileChange::Conflict;
        }
        self.take(theirs);
        FileChange::Taken
    }

    fn take(&mut self, theirs: Arc<str>) {
        self.on_disk = Arc::clone(&theirs);
        self.push(self.with_text(theirs), None);
        self.reread();
    }
}

/// Why nothing was saved.
fn unsaved(file: &Path, faults: &Faults) -> Faults {
    let first = faults.list.first();
    let why = first.map_or("unknown", |fault| fault.message.as_str());
    Fault::new(
        Class::Output,
        format!("nothing was saved, since what the file holds now can't be read: {why}"),
    )
    .in_file(file)
    .remedy("Mend the file, or move it away, and save again; the unsaved edits are kept.")
    .into()
}

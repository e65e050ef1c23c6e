//! A scene as a step of the session means it.

use super::Step;
use crate::base::fault::Result;
use crate::base::limits::Limits;
use crate::plan::haze;
use crate::scene::pictures::{Detail, Held, Pictures};
use crate::scene::read::{self, Reading};
use crate::scene::recipe::shelf::Shelf;
use std::collections::BTreeSet;
use std::path::Path;
use std::sync::{Arc, OnceLock};

/// A text and the scene that it describes, with its haze resolved.
pub(in crate::tune) struct Version {
    /// Counts up with every change of what is to be drawn.
    pub revision: u64,
    pub text: Arc<str>,
    pub reading: Reading,
    /// Drawings as they stand on the page, by file.
    pub drawn: Arc<Held>,
    /// The strokes among them may be drawn as drafts show them.
    pub pictures: Pictures,
    /// The same, all as a run draws them, once somebody has asked.
    full: OnceLock<Pictures>,
    /// The revision at which the pictures were last read.
    pub opened: u64,
}

impl Version {
    /// Its pictures as a run draws them.
    ///
    /// # Errors
    /// With all strokes that can't be drawn.
    pub fn full(&self, limits: &Limits) -> Result<&Pictures> {
        if !self.pictures.are_drafts() {
            return Ok(&self.pictures);
        }
        if let Some(full) = self.full.get() {
            return Ok(full);
        }
        let mut full = self.pictures.clone();
        full.draw_strokes(&self.reading.scene, limits, &self.drawn, Detail::Full)?;
        Ok(self.full.get_or_init(|| full))
    }
}

/// Reads a step; pictures that the scene of `before` has open already stay open.
pub(super) fn interpret(
    file: &Path,
    step: &Step,
    mood: Option<&str>,
    limits: &Limits,
    shelf: &Shelf,
    before: Option<&Version>,
    revision: u64,
) -> Result<Version> {
    let Step { text, drawn } = step;
    let how = read::Options { sets: &[], limits, shelf, check_art: true, held: Some(drawn) };
    let mut reading = read::read_mood(file, text, how, mood)?;
    let same = before.filter(|before| pictures(&before.reading) == pictures(&reading));
    let (pictures, opened) = match same {
        Some(before) => {
            let mut pictures = before.pictures.clone();
            pictures.draw_strokes(&reading.scene, limits, drawn, Detail::Draft)?;
            (pictures, before.opened)
        }
        None => (Pictures::open_held(&reading.scene, limits, drawn)?, revision),
    };
    haze::sample(&mut reading.scene, &pictures, limits)?;
    let (text, drawn) = (Arc::clone(text), Arc::clone(drawn));
    Ok(Version { revision, text, reading, drawn, pictures, full: OnceLock::new(), opened })
}

/// A picture of a slot: the slot, the file, its layer, and which of the slot's pictures it is; none: its sheet.
type Shown<'a> = (&'a str, &'a Path, Option<&'a str>, Option<u64>);

/// Which pictures a scene shows besides strokes, whatever the order of its slots: a slot that is moved past another shows the same.
fn pictures(reading: &Reading) -> BTreeSet<Shown<'_>> {
    let mut all = BTreeSet::new();
    for slot in &reading.scene.slots {
        let arts = slot.pictures().zip(0..);
        let name = slot.name.as_str();
        all.extend(arts.map(|(art, at)| (name, &*art.file, art.layer.as_deref(), Some(at))));
        all.extend(slot.sheet.as_ref().map(|own| (name, &*own.file, own.layer.as_deref(), None)));
    }
    all
}

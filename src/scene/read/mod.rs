//! From a scene file to the scene as meant: every default, preset and override laid in its order.
//!
//! What wins: command line over slot over scene over what the scene builds on over preset over default. A slot's own preset takes the place of
//! the scene's. On the command line, what names a slot wins over what names all.

mod build;
pub(crate) use build::DARK;
mod checks;
mod warnings;

use crate::base::fault::{Faults, Result};
use crate::base::limits::Limits;
use crate::scene::bases::{self, Chain};
use crate::scene::keys::{Entry, Place, Reader, Value, key};
use crate::scene::layered::Layered;
use crate::scene::pictures::Held;
use crate::scene::project::Project;
use crate::scene::recipe::layers::{Layer, Resolved};
use crate::scene::recipe::shelf::{Preset, Shelf, default_preset};
use crate::scene::sets::{self, Overrides};
use crate::scene::written::{self, SceneFile};
use crate::scene::{Scene, Source};
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

/// A scene with who set each of its values.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// The scene as meant.
    pub scene: Scene,
    /// Keys of the scene and its air, given or not.
    pub facts: Resolved,
    /// For each slot of `scene`, in its order: all step numbers, the slot's preset and anchor, and the keys it gives.
    pub slots: Vec<Resolved>,
    /// Step numbers that the scene, its mood and the command line set for all slots.
    pub over: Resolved,
    /// Names of the moods that the scene has, in the file's order.
    pub moods: Vec<String>,
    /// Names of the presets that it is made from, with those that they are built on.
    pub presets: Vec<String>,
    /// Slots whose places the mood lists itself, in the place of all of the scene's.
    pub places_of_mood: BTreeSet<String>,
    /// What the scene says and hardly anybody means, each named by its file and line.
    pub warnings: Vec<String>,
}

/// What a reading follows.
#[derive(Clone, Copy, Debug)]
pub struct Options<'a> {
    /// Overrides, each `KEY=VALUE`.
    pub sets: &'a [String],
    /// Bounds.
    pub limits: &'a Limits,
    /// Where presets come from.
    pub shelf: &'a Shelf,
    /// Whether pictures must be there.
    pub check_art: bool,
    /// Drawings that are held in memory: their files need not be there.
    pub held: Option<&'a Held>,
}

/// Reads a scene file with the presets that come with the program; pictures must be there.
///
/// # Errors
/// With all faults of the file and the overrides at once.
pub fn read_file(file: &Path, sets: &[String], limits: &Limits) -> Result<Scene> {
    let source = Source::load(file, limits)?;
    read_text(&source.file, &source.text, sets, limits, true)
}

/// Reads a scene's text as if it stood in `file`.
///
/// # Errors
/// With all faults of the text and the overrides at once.
pub fn read_text(
    file: &Path,
    text: &str,
    sets: &[String],
    limits: &Limits,
    check_art: bool,
) -> Result<Scene> {
    let shelf = Shelf::embedded();
    read(file, text, Options { sets, limits, shelf: &shelf, check_art, held: None })
        .map(|reading| reading.scene)
}

/// Reads a scene's text as if it stood in `file`, and remembers who set what.
///
/// # Errors
/// With all faults of the text and the overrides at once.
pub fn read(file: &Path, text: &str, options: Options<'_>) -> Result<Reading> {
    read_mood(file, text, options, None)
}

/// As [`read`], in the mood of this name.
///
/// # Errors
/// As for [`read`]; and if the scene has no such mood.
pub fn read_mood(file: &Path, text: &str, options: Options<'_>, mood: Option<&str>) -> Result<Reading> {
    let mut reader = Reader::new(file);
    let mut written = written::read(text, options.limits, &mut reader);
    let chain = Chain::of(file, text, options.shelf.project()?, options.limits);
    reader.add(chain.faults.iter().cloned());
    let mut base_faults = Vec::new();
    for (base, text) in &chain.links {
        let mut reader = Reader::of_base(base);
        let mut below = written::read(text, options.limits, &mut reader);
        base_faults.append(&mut reader.finish());
        bases::move_pictures(&mut below, base);
        written.build_on(below);
    }
    // What can't be found may give what is missing.
    written.whole &= chain.faults.is_empty();
    let moods: Vec<String> = written.moods.iter().map(|mood| mood.name.clone()).collect();
    let places_of_mood = mood.map(|mood| written.places_of_mood(mood)).unwrap_or_default();
    let mut unknown = Faults::default();
    if let Some(mood) = mood
        && let Err(faults) = written.apply_mood(mood, file)
        // In a file that can't be read to its end, it may stand further down.
        && written.whole
    {
        unknown = faults;
    }
    let overrides = sets::apply(options.sets, &mut written, &mut reader);
    let layered = checks::all(&written, file, options, &mut reader);
    let (presets, mut preset_faults) = presets(&written, options.shelf, &mut reader);
    checks::air(&written, &presets, &mut reader);

    let mut faults = Faults { list: reader.finish(), sources: Vec::new() };
    faults.list.append(&mut base_faults);
    faults.list.append(&mut preset_faults.list);
    faults.list.append(&mut unknown.list);
    if !faults.list.is_empty() {
        let mut faults = chain.with_sources(faults.with_source(file, text));
        faults.sources.append(&mut preset_faults.sources);
        return Err(faults);
    }
    let warnings = warnings::of(&written, file, text, &chain);
    build::scene(file, Input { file: written, overrides, presets, layered, moods, places_of_mood, warnings })
}

/// The files besides `file` and its pictures that a scene is read from, whether they can be or not: those that it builds on, and the one
/// that marks its project.
pub fn built_on(file: &Path, text: &str, limits: &Limits) -> Vec<PathBuf> {
    let project = Project::of_scene(file, limits).unwrap_or_default();
    let mut named = Chain::of(file, text, &project, limits).named;
    named.extend(Project::mark_of(file));
    named
}

/// All that a faultless scene is built from.
struct Input {
    file: SceneFile,
    overrides: Overrides,
    /// Every preset that the scene or a slot names.
    presets: BTreeMap<String, Preset>,
    /// The layered files that slots point into.
    layered: BTreeMap<PathBuf, Layered>,
    /// Names of the moods that the scene has.
    moods: Vec<String>,
    /// Slots whose places the mood lists itself.
    places_of_mood: BTreeSet<String>,
    /// What is to be told of it.
    warnings: Vec<String>,
}

impl Input {
    /// What the scene gives for a key of its own.
    fn of_scene(&self, path: &str) -> Option<&Value> {
        self.file.top.get(path).map(|entry| &entry.value)
    }
}

/// The presets that are named, each read once; unknown names and faulty presets are faults.
fn presets(
    written: &SceneFile,
    shelf: &Shelf,
    reader: &mut Reader<'_>,
) -> (BTreeMap<String, Preset>, Faults) {
    let (mut presets, mut faults) = (BTreeMap::new(), Faults::default());
    let scene = written.top.get(key!("preset"));
    let slots = written.slots.iter().map(|slot| slot.entries.get(key!("slot.preset")));
    for entry in std::iter::once(scene).chain(slots) {
        let name = entry.map_or(default_preset(), |entry| entry.value.text().unwrap_or_default().to_owned());
        if presets.contains_key(&name) {
            continue;
        }
        match (shelf.has(&name), entry) {
            (false, Some(entry)) => {
                let message = format!("there is no preset {}", crate::scene::keys::shown(&name));
                reader.fault(
                    crate::base::fault::Class::Scene,
                    &entry.place,
                    message,
                    shelf.remedy_for(&name),
                );
            }
            _ => match shelf.get(&name) {
                Ok(preset) => drop(presets.insert(name, preset)),
                Err(mut wrong) => {
                    if !wrong.list.iter().any(|fault| faults.list.contains(fault)) {
                        faults.list.append(&mut wrong.list);
                        faults.sources.append(&mut wrong.sources);
                    }
                }
            },
        }
    }
    (presets, faults)
}

/// Who set an entry that stands in the file's layer `in_file`.
fn layer_of(entry: &Entry, in_file: Layer) -> Layer {
    match &entry.place {
        Place::Argument(_) => Layer::CommandLine,
        Place::Mood(name, _) => Layer::Mood(name.clone()),
        Place::Base(base, Some(mood), _) => Layer::Base(format!("{}, mood {mood}", base.path)),
        Place::Base(base, None, _) => Layer::Base(base.path.clone()),
        Place::File(_) => in_file,
    }
}

/// Of a slot's entry and the scene's the one that wins: the slot's, unless only the scene's is from the command line.
fn winner<'a>(slot: Option<&'a Entry>, scene: Option<&'a Entry>) -> Option<(&'a Entry, Layer)> {
    let from_command_line = |entry: &Entry| matches!(entry.place, Place::Argument(_));
    match (slot, scene) {
        (Some(slot), Some(scene)) if from_command_line(scene) && !from_command_line(slot) => {
            Some((scene, Layer::CommandLine))
        }
        (Some(slot), _) => Some((slot, layer_of(slot, Layer::Slot))),
        (None, Some(scene)) => Some((scene, layer_of(scene, Layer::Scene))),
        (None, None) => None,
    }
}

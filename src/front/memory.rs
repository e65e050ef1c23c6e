//! A scene and its pictures in memory, and the files of its run in memory again.

use super::numbers::{check, gather};
use crate::base::fault::{Class, Fault, Faults, Result};
use crate::base::limits::Limits;
use crate::base::progress::Silent;
use crate::base::units::Camera;
use crate::base::words::Bits;
#[cfg(feature = "forms")]
use crate::output::forms::Also;
use crate::output::{Effort, Manifest};
use crate::scene::pictures::Pictures;
use crate::scene::read::{self, Reading};
use crate::scene::recipe::shelf::Shelf;
use crate::scene::{Scene, bases, keys};
use crate::store::rerun::SceneSettings;
use crate::store::run::{self, Collected, NamedFile, Options, Other, Sink};
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

/// What messages call the scene's text.
const NAME: &str = "scene.toml";

/// Places of a camera that a picture can be drawn from, scene px.
const FAR: f64 = 1e9;

/// A scene as text with its pictures, all in memory. No disk is touched, and no process or temporary file is made.
#[derive(Clone, Debug)]
#[must_use = "nothing is worked out before `render`"]
pub struct SceneInMemory {
    text: String,
    pictures: BTreeMap<PathBuf, Vec<u8>>,
    shelf: Shelf,
    sets: Vec<String>,
    mood: Option<String>,
    scales: Vec<f64>,
    options: Options,
}

/// What a scene is rendered to.
#[derive(Clone, Debug)]
#[non_exhaustive]
pub struct RenderedScene {
    /// Every file that a run in a folder would have left there but for its hidden ones, in the order of their names.
    pub files: Vec<NamedFile>,
    /// The manifest of each scale, as its file has it.
    pub manifests: Vec<Manifest>,
    /// What a careful painter would want to know, and what of the pictures isn't drawn as meant.
    pub notes: Vec<String>,
}

impl RenderedScene {
    /// What the file of this name holds.
    pub fn file(&self, name: &str) -> Option<&[u8]> {
        self.files.iter().find(|file| file.name == name).map(|file| file.bytes.as_slice())
    }
}

/// A scene with its pictures, ready for a run.
struct Ready {
    reading: Reading,
    pictures: Pictures,
    others: Vec<Other>,
}

impl SceneInMemory {
    /// From the text of a scene file.
    pub fn from_text(text: impl Into<String>) -> SceneInMemory {
        SceneInMemory {
            text: text.into(),
            pictures: BTreeMap::new(),
            shelf: Shelf::embedded(),
            sets: Vec::new(),
            mood: None,
            scales: vec![1.0],
            options: Options::new(PathBuf::new()),
        }
    }

    /// Adds the content of a PNG or SVG under the path by which the scene names it.
    pub fn with_picture(mut self, path: impl Into<PathBuf>, content: impl Into<Vec<u8>>) -> SceneInMemory {
        self.pictures.insert(path.into(), content.into());
        self
    }

    /// Adds the text of a preset file, which hides what has the same name.
    pub fn with_preset(mut self, name: impl Into<String>, text: impl Into<String>) -> SceneInMemory {
        let name = name.into();
        let file = PathBuf::from(format!("{name}.toml"));
        self.shelf.put(name, file, text);
        self
    }

    /// Sets a value over the scene's, as `key=value`: `air.visibility=300`, `slot.reeds.depth=40`.
    pub fn set(mut self, text: impl Into<String>) -> SceneInMemory {
        self.sets.push(text.into());
        self
    }

    /// In the mood of this name. Its files are named as in the mood's own folder, without `mood-NAME/`.
    pub fn mood(self, name: impl Into<String>) -> SceneInMemory {
        SceneInMemory { mood: Some(name.into()), ..self }
    }

    /// Texels per scene px, 0.01 to 16; of several, each has its files in a folder of its own.
    pub fn scales(self, scales: impl Into<Vec<f64>>) -> SceneInMemory {
        SceneInMemory { scales: scales.into(), ..self }
    }

    /// Bits per channel of the sheets and the still; without it 8.
    pub fn bits(mut self, bits: Bits) -> SceneInMemory {
        self.options.bits = bits;
        self
    }

    /// Camera place of the still, scene px of travel to the right and down; without it the middle.
    pub fn camera(mut self, camera: Camera) -> SceneInMemory {
        self.options.camera = Some(camera);
        self
    }

    /// Frames of a seamless fog animation, 1 to 240; 1 for fog at rest.
    pub fn frames(mut self, frames: u32) -> SceneInMemory {
        self.options.frames = frames;
        self
    }

    /// How hard to squeeze the files.
    pub fn effort(mut self, effort: Effort) -> SceneInMemory {
        self.options.effort = effort;
        self
    }

    /// Makes the whole stack in another form besides.
    #[cfg(feature = "forms")]
    pub fn also(mut self, form: Also) -> SceneInMemory {
        self.options.also.push(form);
        self
    }

    /// Bounds; without them, [`Limits::default`].
    pub fn limits(mut self, limits: Limits) -> SceneInMemory {
        self.options.limits = limits;
        self
    }

    /// Renders it into memory.
    ///
    /// # Errors
    /// With all that is wrong at once, as far as it can be told. Class `Scene`: the text. Class `Usage`: a number out of its range, what is
    /// set, a picture that no slot names. Class `Picture`: pictures that aren't there, or can't be drawn. Class `Limit`: larger than the
    /// limits allow, or than there is memory for.
    pub fn render(&self) -> Result<RenderedScene> {
        let collected = Collected::default();
        let (manifests, notes) = self.render_into(&collected)?;
        Ok(RenderedScene { files: collected.files(), manifests, notes })
    }

    /// As [`SceneInMemory::render`], but hands each file to `sink` as soon as it is made; the manifests and the notes come back.
    ///
    /// # Errors
    /// As for [`SceneInMemory::render`], and what `sink` refuses.
    pub fn render_into(&self, sink: &dyn Sink) -> Result<(Vec<Manifest>, Vec<String>)> {
        let Ready { reading, pictures, others } = self.ready()?;
        let options = Options {
            scales: self.scales.clone(),
            settings: SceneSettings::of(&reading),
            others,
            ..self.options.clone()
        };
        let reports = run::render_into(&reading.scene, &pictures, &options, sink, &Silent)?;
        let mut notes = pictures.warnings();
        notes
            .extend(reports.iter().flat_map(|report| report.plan.notes.iter().chain(&report.notes)).cloned());
        let mut seen = BTreeSet::new();
        notes.retain(|note| seen.insert(note.clone()));
        Ok((reports.into_iter().map(|report| report.manifest).collect(), notes))
    }

    /// Reads the scene and its pictures.
    fn ready(&self) -> Result<Ready> {
        let mut faults = Faults::default();
        self.check(&mut faults);
        if self.is_too_long() {
            return Err(faults);
        }
        let reading = self.reading(&mut faults);
        let pictures = reading.as_ref().and_then(|reading| gather(self.open(&reading.scene), &mut faults));
        let Some(reading) = reading else { return Err(faults) };
        let others = self.others(&reading);
        let scenes = others.iter().map(|(_, scene)| scene).chain([&reading.scene]);
        let used: BTreeSet<&Path> =
            scenes.flat_map(|scene| &scene.slots).flat_map(|slot| slot.files()).collect();
        for unused in self.pictures.keys().filter(|path| !used.contains(path.as_path())) {
            let names: Vec<String> = used.iter().map(|path| path.display().to_string()).collect();
            let remedy = keys::instead(&unused.to_string_lossy(), names.iter().map(String::as_str));
            let fault = Fault::new(Class::Usage, "no slot names this picture").in_file(unused);
            faults.list.push(fault.remedy(remedy));
        }
        let Some(pictures) = pictures else { return Err(faults) };
        faults.or(())?;
        let others = others.into_iter().filter_map(|(mood, scene)| {
            let naturals = self.open(&scene).ok()?.naturals();
            Some(Other { mood, scene, naturals })
        });
        Ok(Ready { others: others.collect(), reading, pictures })
    }

    /// The scene as meant. What it builds on would be a file, and none is read.
    fn reading(&self, faults: &mut Faults) -> Option<Reading> {
        if let Some((path, span)) = bases::from(&self.text) {
            let message = format!("a scene in memory can't be built on {}", keys::shown(&path));
            let fault = Fault::new(Class::Scene, message).in_file(NAME).at(Some(span));
            faults.list.push(fault.remedy("Put the keys of that file into the text, and remove `from`."));
            return None;
        }
        gather(self.read(self.mood.as_deref()), faults)
    }

    fn is_too_long(&self) -> bool {
        self.text.len() as u64 > self.options.limits.text_bytes
    }

    /// Tells what of the numbers is out of range.
    fn check(&self, faults: &mut Faults) {
        if self.is_too_long() {
            let (bytes, most) = (self.text.len(), self.options.limits.text_bytes);
            let message = format!("the text has {bytes} bytes, over the limit of {most}");
            faults.list.push(Fault::new(Class::Limit, message).in_file(NAME).remedy("Raise the limit."));
        }
        if self.scales.is_empty() {
            let fault = Fault::new(Class::Usage, "there is no scale to render at");
            faults.list.push(fault.remedy("Give one, 1 for instance."));
        }
        self.scales.iter().for_each(|scale| check("scale", *scale, 0.01..=16.0, faults));
        if let Some(twice) = (1..self.scales.len()).find(|at| self.scales[..*at].contains(&self.scales[*at]))
        {
            let message = format!("the scale {} is given twice", self.scales[twice]);
            faults.list.push(Fault::new(Class::Usage, message).remedy("Give each scale once."));
        }
        check("frames", f64::from(self.options.frames), 1.0..=240.0, faults);
        if let Some(Camera { right, down }) = self.options.camera {
            [right, down].iter().for_each(|place| check("camera", place.0, -FAR..=FAR, faults));
        }
    }

    fn read(&self, mood: Option<&str>) -> Result<Reading> {
        let limits = &self.options.limits;
        let how =
            read::Options { sets: &self.sets, limits, shelf: &self.shelf, check_art: false, held: None };
        read::read_mood(Path::new(NAME), &self.text, how, mood)
    }

    fn open(&self, scene: &Scene) -> Result<Pictures> {
        Pictures::from_memory(scene, &self.pictures, &self.options.limits)
    }

    /// The scene in its other moods, and without one. One that can't be read is no fault of this run.
    fn others(&self, reading: &Reading) -> Vec<(String, Scene)> {
        let moods = reading.moods.iter().map(|mood| Some(mood.as_str()));
        let all = moods.chain((!reading.moods.is_empty()).then_some(None));
        all.filter(|other| *other != self.mood.as_deref())
            .filter_map(|other| Some((other.unwrap_or_default().to_owned(), self.read(other).ok()?.scene)))
            .collect()
    }
}

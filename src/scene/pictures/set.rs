//! The pictures of a scene: known by their content, and read no further than a run needs.

use crate::base::fault::{Class, Fault, Faults, Result};
use crate::base::key::Key;
use crate::base::limits::Limits;
use crate::base::placing::Kind as Layer;
use crate::base::stamp::Seen;
use crate::scene::pictures::known::Facts;
use crate::scene::pictures::strokes::{Detail, Held, Strokes};
use crate::scene::pictures::{self, Naturals, Source};
use crate::scene::{Scene, StrokesPlace};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, OnceLock};

/// The pictures of a scene, by slot name.
#[derive(Clone, Debug, Default)]
pub struct Pictures {
    /// In the order of [`crate::scene::Slot::pictures`].
    by_slot: BTreeMap<String, Vec<Arc<Art>>>,
    /// What are sheets as they are.
    sheets: BTreeMap<String, Arc<Art>>,
    strokes: BTreeMap<String, Strokes>,
}

/// A picture file.
#[derive(Debug)]
pub(super) struct Art {
    pub file: PathBuf,
    /// The layer of a layered file.
    pub layer: Option<String>,
    pub facts: Facts,
    /// What the facts are found by in later runs.
    pub keys: Vec<Key>,
    pub source: OnceLock<Source>,
}

/// Finds facts of a picture file by their key.
pub type Recall<'a> = &'a dyn Fn(Key) -> Option<Facts>;

impl Pictures {
    /// Reads every slot's picture. All that can't be used is reported at once.
    pub fn open(scene: &Scene, limits: &Limits) -> Result<Pictures> {
        Pictures::recall(scene, limits, &|_| None)
    }

    /// As [`Pictures::open`], where strokes may be held in memory instead of in their files.
    ///
    /// # Errors
    /// With all pictures that can't be used.
    pub fn open_held(scene: &Scene, limits: &Limits, held: &Held) -> Result<Pictures> {
        Pictures::read(scene, limits, &|_| None, held)
    }

    /// As [`Pictures::open`], but a picture whose facts are found isn't read again before it is drawn.
    ///
    /// # Errors
    /// With all pictures that can't be used.
    pub fn recall(scene: &Scene, limits: &Limits, found: Recall<'_>) -> Result<Pictures> {
        Pictures::read(scene, limits, found, &Held::new())
    }

    fn read<'a>(scene: &'a Scene, limits: &Limits, found: Recall<'_>, held: &Held) -> Result<Pictures> {
        let mut pictures = Pictures::default();
        let mut faults = Faults::default();
        // A picture that several slots share is read once; its faults are told once.
        let mut by_file: BTreeMap<(&'a Path, Option<&'a str>), Option<Arc<Art>>> = BTreeMap::new();
        for slot in &scene.slots {
            let mut open = |own: (&'a Path, Option<&'a str>)| {
                let art = by_file.entry(own).or_insert_with(|| {
                    recall(own.0, own.1, limits, found)
                        .map_err(|found| faults.list.extend(found.list))
                        .ok()
                        .map(Arc::new)
                });
                art.clone()
            };
            let arts: Vec<Arc<Art>> =
                slot.pictures().filter_map(|place| open((&place.file, place.layer.as_deref()))).collect();
            if !arts.is_empty() {
                pictures.by_slot.insert(slot.name.clone(), arts);
            }
            if let Some(sheet) =
                slot.sheet.as_ref().and_then(|place| open((&place.file, place.layer.as_deref())))
            {
                pictures.sheets.insert(slot.name.clone(), sheet);
            }
        }
        if let Err(found) = pictures.draw_strokes(scene, limits, held, Detail::Full) {
            faults.list.extend(found.list);
        }
        faults.or(pictures)
    }

    /// Draws the strokes of every slot, those in `held` as it has them, all others as their files do. What is drawn already from the same, at
    /// least as finely, stays.
    ///
    /// # Errors
    /// With all strokes that can't be used.
    pub fn draw_strokes(
        &mut self,
        scene: &Scene,
        limits: &Limits,
        held: &Held,
        detail: Detail,
    ) -> Result<()> {
        let mut faults = Faults::default();
        let mut before = std::mem::take(&mut self.strokes);
        for slot in &scene.slots {
            let Some(place) = &slot.strokes else { continue };
            let held = held.get(&place.file);
            match Strokes::anew(before.remove(&slot.name), place, held, detail, limits) {
                Ok(strokes) => drop(self.strokes.insert(slot.name.clone(), strokes)),
                Err(found) => faults.list.extend(found.list),
            }
        }
        faults.or(())
    }

    /// Whether some strokes are only drawn as drafts show them.
    pub fn are_drafts(&self) -> bool {
        self.strokes.values().any(Strokes::is_draft)
    }

    /// Natural width and height of a slot's strokes, px.
    pub fn strokes_size(&self, slot: &str) -> Option<[f64; 2]> {
        self.strokes.get(slot).map(|strokes| strokes.art.facts.natural)
    }

    /// Adds a picture to those of a slot.
    pub fn add(&mut self, slot: &str, source: Source) {
        let art = Art::read(source.file.clone(), None, Vec::new(), source);
        self.by_slot.entry(slot.to_owned()).or_default().push(Arc::new(art));
    }

    /// Adds the picture that is the sheet of a slot.
    pub fn add_sheet(&mut self, slot: &str, source: Source) {
        let art = Art::read(source.file.clone(), None, Vec::new(), source);
        self.sheets.insert(slot.to_owned(), Arc::new(art));
    }

    /// Adds the strokes of a slot.
    ///
    /// # Errors
    /// Those of drawing them.
    pub fn add_strokes(
        &mut self,
        slot: &str,
        place: &StrokesPlace,
        source: Source,
        limits: &Limits,
    ) -> Result<()> {
        self.strokes.insert(slot.to_owned(), Strokes::draw(place, source, None, Detail::Full, limits)?);
        Ok(())
    }

    /// Natural sizes, for the plan.
    pub fn naturals(&self) -> Naturals {
        let sizes = |arts: &Vec<Arc<Art>>| arts.iter().map(|art| art.facts.natural).collect();
        let arts = self.by_slot.iter().map(|(slot, arts)| (slot.clone(), sizes(arts))).collect();
        let strokes = self
            .strokes
            .iter()
            .map(|(slot, strokes)| (slot.clone(), (strokes.art.facts.natural, Arc::clone(&strokes.drawing))));
        let sheets = self.sheets.iter().map(|(slot, art)| (slot.clone(), art.facts.natural)).collect();
        Naturals { arts, strokes: strokes.collect(), sheets }
    }

    /// The pictures of a slot that are drawn as a layer of the kind: its art, or its sheet.
    fn of(&self, slot: &str, kind: Layer) -> &[Arc<Art>] {
        match kind {
            Layer::Fog => self.sheets.get(slot).map(std::slice::from_ref).unwrap_or_default(),
            Layer::Art => self.by_slot.get(slot).map(Vec::as_slice).unwrap_or_default(),
            Layer::Rim | Layer::Lamp => &[],
        }
    }

    /// BLAKE3 of a slot's pictures, in hexadecimal, with a blank between; empty if it has none. Those of its art, or of its sheet.
    pub fn hash(&self, slot: &str, kind: Layer) -> String {
        let hashes = self.of(slot, kind).iter().map(|art| art.facts.hash.as_str());
        hashes.collect::<Vec<_>>().join(" ")
    }

    /// BLAKE3 of the picture at place `at` of a slot's; empty if there is none.
    pub(super) fn content(&self, slot: &str, at: usize) -> &str {
        self.by_slot
            .get(slot)
            .and_then(|arts| arts.get(at))
            .map(|art| art.facts.hash.as_str())
            .unwrap_or_default()
    }

    /// The picture of a slot at place `at` of [`crate::scene::Slot::pictures`], read if it wasn't yet; or the one that is its sheet.
    ///
    /// # Errors
    /// If it can't be read, or is no longer what it was when the run began.
    pub fn source(&self, slot: &str, kind: Layer, at: usize, limits: &Limits) -> Result<&Source> {
        let Some(art) = self.of(slot, kind).get(at) else {
            return Err(Fault::new(Class::Picture, format!("the slot {slot} has no picture")).into());
        };
        if let Some(source) = art.source.get() {
            return Ok(source);
        }
        let source = match &art.layer {
            Some(layer) => Source::open_layer(&art.file, layer, limits)?,
            None => Source::open(&art.file, limits)?,
        };
        let now = Facts::of(&source);
        if (&now.hash, now.natural) != (&art.facts.hash, art.facts.natural) {
            return Err(Fault::new(Class::Picture, "the picture changed during the run")
                .in_file(&art.file)
                .remedy("Run the command again.")
                .into());
        }
        Ok(art.source.get_or_init(|| source))
    }

    /// What of the pictures isn't drawn, or not as meant.
    pub fn warnings(&self) -> Vec<String> {
        let of = |art: &Arc<Art>| {
            let layer = art.layer.as_ref().map(|layer| format!("#{layer}")).unwrap_or_default();
            let file = format!("{}{layer}", art.file.display());
            art.facts.warnings.iter().map(move |warning| format!("{file}: {warning}")).collect::<Vec<_>>()
        };
        let mut all: Vec<String> = self.all().flat_map(of).collect();
        all.sort();
        all.dedup();
        all
    }

    fn all(&self) -> impl Iterator<Item = &Arc<Art>> {
        let own = self.by_slot.values().flatten().chain(self.sheets.values());
        own.chain(self.strokes.values().map(|strokes| &strokes.art))
    }

    /// What is known of the pictures, by the keys that later runs look for.
    pub fn facts(&self) -> impl Iterator<Item = (Key, &Facts)> {
        let own = self.by_slot.values().flatten().chain(self.sheets.values());
        own.flat_map(|art| art.keys.iter().map(|key| (*key, &art.facts)))
    }

    /// The files, each once.
    pub fn files(&self) -> Vec<&Path> {
        let mut files: Vec<&Path> = self.all().map(|art| art.file.as_path()).collect();
        files.sort();
        files.dedup();
        files
    }
}

impl Art {
    pub fn read(file: PathBuf, layer: Option<String>, keys: Vec<Key>, source: Source) -> Art {
        Art { file, layer, facts: Facts::of(&source), keys, source: OnceLock::from(source) }
    }
}

/// Finds out what a picture is, without reading it where that is sure.
fn recall(file: &Path, layer: Option<&str>, limits: &Limits, found: Recall<'_>) -> Result<Art> {
    let mut keys: Vec<Key> = stamp_key(file, layer, limits).into_iter().collect();
    let own = layer.map(str::to_owned);
    let known = |facts: Facts, keys: Vec<Key>| Art {
        file: file.to_path_buf(),
        layer: own.clone(),
        facts,
        keys,
        source: OnceLock::new(),
    };
    if let Some(facts) = keys.first().and_then(|key| found(*key)) {
        return Ok(known(facts, keys));
    }
    if let Some(name) = layer {
        let source = Source::open_layer(file, name, limits)?;
        return Ok(Art::read(file.to_path_buf(), own, keys, source));
    }
    let bytes = pictures::content(file, limits)?;
    keys.push(Facts::content_key(blake3::hash(&bytes).to_hex().as_str()));
    if let Some(facts) = found(keys[keys.len() - 1]) {
        return Ok(known(facts, keys));
    }
    let source = Source::from_bytes(file, bytes, limits)?;
    Ok(Art::read(file.to_path_buf(), None, keys, source))
}

/// Key of a file's facts by its stamp, taken before it is read; none while the stamp proves nothing.
fn stamp_key(file: &Path, layer: Option<&str>, limits: &Limits) -> Option<Key> {
    let path = std::path::absolute(file).ok()?;
    let path = match layer {
        Some(layer) => format!("{}#{layer}", path.to_str()?),
        None => path.to_str()?.to_owned(),
    };
    let data =
        std::fs::metadata(file).ok().filter(|data| data.is_file() && data.len() <= limits.file_bytes)?;
    let seen = Seen::now(&data).filter(Seen::is_conclusive)?;
    Some(Facts::file_key(&path, &seen.stamp))
}

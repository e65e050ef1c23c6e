//! The pictures of a scene: known by their content, and read no further than a run needs.

use crate::base::fault::{Class, Fault, Faults, Result};
use crate::base::limits::Limits;
use crate::base::stamp::Seen;
use crate::scene::Scene;
use crate::scene::pictures::known::{Known, Memory};
use crate::scene::pictures::{self, Naturals, Source};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, OnceLock};

/// The pictures of a scene, by slot name.
#[derive(Clone, Debug, Default)]
pub struct Arts {
    arts: BTreeMap<String, Arc<Art>>,
}

/// A picture file.
#[derive(Debug)]
struct Art {
    file: PathBuf,
    /// The layer of a layered file.
    layer: Option<String>,
    /// Absolute path, and the layer; empty for what never was a file.
    path: String,
    known: Known,
    source: OnceLock<Source>,
}

impl Arts {
    /// Reads every slot's picture. All that can't be used is reported at once.
    pub fn open(scene: &Scene, limits: &Limits) -> Result<Arts> {
        Arts::recall(scene, limits, &Memory::default())
    }

    /// As [`Arts::open`], but what `memory` knows isn't read again before it is drawn.
    ///
    /// # Errors
    /// With all pictures that can't be used.
    pub fn recall(scene: &Scene, limits: &Limits, memory: &Memory) -> Result<Arts> {
        let mut arts = Arts::default();
        let mut faults = Faults::default();
        // A picture that several slots share is read once; its faults are told once.
        let mut by_file: BTreeMap<(&Path, Option<&str>), Option<Arc<Art>>> = BTreeMap::new();
        for slot in &scene.slots {
            let Some(place) = &slot.art else { continue };
            let art = by_file.entry((&place.file, place.layer.as_deref())).or_insert_with(|| {
                match recall(&place.file, place.layer.as_deref(), limits, memory) {
                    Ok(art) => Some(Arc::new(art)),
                    Err(found) => {
                        faults.list.extend(found.list);
                        None
                    }
                }
            });
            if let Some(art) = art {
                arts.arts.insert(slot.name.clone(), Arc::clone(art));
            }
        }
        faults.or(arts)
    }

    /// Adds the picture of a slot.
    pub fn add(&mut self, slot: &str, source: Source) {
        let known = known(&source, None);
        let file = source.file.clone();
        let art = Art { file, layer: None, path: String::new(), known, source: OnceLock::from(source) };
        self.arts.insert(slot.to_owned(), Arc::new(art));
    }

    /// Natural sizes, for the plan.
    pub fn naturals(&self) -> Naturals {
        self.arts.iter().map(|(slot, art)| (slot.clone(), art.known.natural)).collect()
    }

    /// BLAKE3 of a slot's picture, in hexadecimal; empty if it has none.
    pub fn hash(&self, slot: &str) -> String {
        self.arts.get(slot).map(|art| art.known.hash.clone()).unwrap_or_default()
    }

    /// A slot's picture, read if it wasn't yet.
    ///
    /// # Errors
    /// If it can't be read, or is no longer what it was when the run began.
    pub fn source(&self, slot: &str, limits: &Limits) -> Result<&Source> {
        let Some(art) = self.arts.get(slot) else {
            return Err(Fault::new(Class::Picture, format!("the slot {slot} has no picture")).into());
        };
        if let Some(source) = art.source.get() {
            return Ok(source);
        }
        let source = match &art.layer {
            Some(layer) => Source::open_layer(&art.file, layer, limits)?,
            None => Source::open(&art.file, limits)?,
        };
        let now = known(&source, None);
        if (&now.hash, now.natural) != (&art.known.hash, art.known.natural) {
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
            art.known.warnings.iter().map(move |warning| format!("{file}: {warning}")).collect::<Vec<_>>()
        };
        let mut all: Vec<String> = self.arts.values().flat_map(of).collect();
        all.sort();
        all.dedup();
        all
    }

    /// What is known of the files, by absolute path.
    pub fn known(&self) -> BTreeMap<String, Known> {
        let files = self.arts.values().filter(|art| !art.path.is_empty());
        files.map(|art| (art.path.clone(), art.known.clone())).collect()
    }

    /// The files, each once.
    pub fn files(&self) -> Vec<&Path> {
        let mut files: Vec<&Path> = self.arts.values().map(|art| art.file.as_path()).collect();
        files.sort();
        files.dedup();
        files
    }
}

/// Finds out what a picture is, from `memory` where that is sure.
fn recall(file: &Path, layer: Option<&str>, limits: &Limits, memory: &Memory) -> Result<Art> {
    let absolute = std::path::absolute(file).ok().and_then(|path| path.to_str().map(str::to_owned));
    let path = match (absolute, layer) {
        (Some(path), Some(layer)) => format!("{path}#{layer}"),
        (Some(path), None) => path,
        (None, _) => String::new(),
    };
    let layer = layer.map(str::to_owned);
    let lazy = |known: Known| Art {
        file: file.to_path_buf(),
        layer: layer.clone(),
        path: path.clone(),
        known,
        source: OnceLock::new(),
    };
    let data = std::fs::metadata(file).ok().filter(std::fs::Metadata::is_file);
    if let (Some(data), Some(known)) = (&data, memory.at(&path))
        && data.len() <= limits.file_bytes
        && known.seen.is_some_and(|seen| seen.holds(data))
    {
        return Ok(lazy(known.clone()));
    }
    let seen = data.as_ref().and_then(Seen::now).filter(Seen::settled);
    if let Some(name) = &layer {
        let source = Source::open_layer(file, name, limits)?;
        let known = known(&source, seen);
        return Ok(Art { file: file.to_path_buf(), layer, path, known, source: OnceLock::from(source) });
    }
    let bytes = pictures::content(file, limits)?;
    if let Some(known) = memory.like(blake3::hash(&bytes).to_hex().as_str()) {
        return Ok(lazy(Known { seen, ..known.clone() }));
    }
    let source = Source::from_bytes(file, bytes, limits)?;
    let known = known(&source, seen);
    Ok(Art { file: file.to_path_buf(), layer, path, known, source: OnceLock::from(source) })
}

fn known(source: &Source, seen: Option<Seen>) -> Known {
    let prefix = format!("{}: ", source.file.display());
    let bare = |warning: &String| warning.strip_prefix(&prefix).unwrap_or(warning).to_owned();
    Known {
        hash: blake3::Hash::from_bytes(source.hash).to_hex().to_string(),
        natural: source.natural,
        warnings: source.warnings.iter().map(bare).collect(),
        seen,
    }
}

//! The pictures of a scene from memory instead of from files.

use crate::base::fault::{Class, Fault, Faults, Result};
use crate::base::limits::Limits;
use crate::scene::pictures::{Pictures, Source};
use crate::scene::{Scene, keys};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

impl Pictures {
    /// As [`Pictures::open`], but nothing is looked for on a disk: `files` holds what every file would hold, by the path that the scene
    /// has for it.
    ///
    /// # Errors
    /// With all pictures that can't be used, or aren't there. Class `Picture` also where a slot names a layer of a layered file.
    pub fn from_memory(
        scene: &Scene,
        files: &BTreeMap<PathBuf, Vec<u8>>,
        limits: &Limits,
    ) -> Result<Pictures> {
        let (mut pictures, mut faults) = (Pictures::default(), Faults::default());
        // What several slots share is read once; its faults are told once.
        let mut read: BTreeMap<&Path, Option<Source>> = BTreeMap::new();
        for slot in &scene.slots {
            let arts = slot.pictures().map(|art| (art.file.as_path(), &art.layer));
            let strokes = slot.strokes.as_ref().map(|strokes| (strokes.file.as_path(), &strokes.layer));
            let sheet = slot.sheet.as_ref().map(|sheet| (sheet.file.as_path(), &sheet.layer));
            for (file, layer) in arts.chain(strokes).chain(sheet) {
                if layer.is_some() {
                    faults.list.push(layered(file));
                    continue;
                }
                read.entry(file).or_insert_with(|| match find(file, files, limits) {
                    Ok(source) => Some(source),
                    Err(found) => {
                        faults.list.extend(found.list);
                        None
                    }
                });
            }
            let source = |file: &Path| read.get(file).cloned().flatten();
            for source in slot.pictures().filter_map(|art| source(&art.file)) {
                pictures.add(&slot.name, source);
            }
            if let Some(source) = slot.sheet.as_ref().and_then(|sheet| source(&sheet.file)) {
                pictures.add_sheet(&slot.name, source);
            }
            if let Some(place) = &slot.strokes
                && let Some(source) = source(&place.file)
                && let Err(found) = pictures.add_strokes(&slot.name, place, source, limits)
            {
                faults.list.extend(found.list);
            }
        }
        faults.or(pictures)
    }
}

/// The picture of a file.
fn find(file: &Path, files: &BTreeMap<PathBuf, Vec<u8>>, limits: &Limits) -> Result<Source> {
    let Some(bytes) = files.get(file) else {
        let names: Vec<String> = files.keys().map(|known| known.display().to_string()).collect();
        let remedy = keys::instead(&file.to_string_lossy(), names.iter().map(String::as_str));
        return Err(Fault::new(Class::Picture, "there is no such picture")
            .in_file(file)
            .remedy(remedy)
            .into());
    };
    Source::from_bytes(file, bytes.clone(), limits)
}

fn layered(file: &Path) -> Fault {
    Fault::new(Class::Picture, "layers of a layered file can't be read from memory")
        .in_file(file)
        .remedy("Give each layer as a PNG of its own.")
}

//! What other moods' manifests name of a folder is given to them before it changes.

use crate::base::fault::{Class, Fault, Result};
use crate::base::files::{self, Over, Placed};
use crate::output::Manifest;
use crate::output::manifest::NAME as MANIFEST;
use crate::store::rerun::record::NAME as STATE;
use crate::store::rerun::wanted::text_key;
use crate::store::rerun::{Records, Written};
use crate::store::run::folder::Run;
use crate::store::run::output::Output;
use crate::store::run::sibling::{Sibling, textures};
use std::collections::{BTreeMap, BTreeSet};
use std::fs;

impl Run<'_> {
    /// Gives the other moods what their manifests name of the files that the run is about to replace, and of those that are `going`.
    ///
    /// # Errors
    /// Class `Output`: a file can't be read or written, or something of somebody else's stands under its name there.
    pub fn give_back(&self, outputs: &[Output], going: &BTreeSet<String>) -> Result<()> {
        let replaced = outputs.iter().filter_map(|output| Some((output.target()?, output.made.as_ref()?)));
        let replaced: BTreeMap<&str, &str> =
            replaced.map(|(path, made)| (path, made.hash.as_str())).collect();
        for sibling in self.siblings() {
            let Some(manifest) = &sibling.records.manifest else { continue };
            let changes = |path: &&str| {
                let Some(name) = path.strip_prefix(&sibling.back) else { return false };
                // The same once more is no change.
                let hash = sibling.records.of(path).into_iter().next().map(|written| written.hash);
                going.contains(name) || replaced.get(name).is_some_and(|made| Some(*made) != hash.as_deref())
            };
            let names: Vec<String> = textures(manifest)
                .filter(changes)
                .map(|path| path[sibling.back.len()..].to_owned())
                .collect();
            if !names.is_empty() {
                self.with_room(|| self.give(&sibling, manifest, &names))?;
            }
        }
        Ok(())
    }

    /// Writes the files into the sibling's folder, then its manifest, which names them there.
    fn give(&self, sibling: &Sibling, manifest: &Manifest, names: &[String]) -> Result<()> {
        let Sibling { folder, back, records, .. } = sibling;
        let of = |name: &String| records.of(&format!("{back}{name}")).into_iter().next();
        let mut manifest = manifest.clone();
        for entry in &mut manifest.files {
            let frames = entry.frames.iter_mut().map(|frame| &mut frame.path);
            for path in [&mut entry.path].into_iter().chain(frames) {
                if let Some(name) = path.strip_prefix(back).filter(|name| names.iter().any(|own| own == name))
                {
                    *path = name.to_owned();
                }
            }
        }
        let text = manifest.text();
        let mut written: BTreeMap<String, Written> =
            names.iter().filter_map(|name| Some((name.clone(), of(name)?))).collect();
        written.insert(MANIFEST.to_owned(), as_text(&text));
        let mut state = records.state.clone();
        state.intend(folder, written.clone());
        files::write_whole(folder.join(STATE), state.text().as_bytes())?;
        for name in names {
            let from = self.folder.join(name);
            // What isn't there any more is missed there as here.
            let Ok(bytes) = fs::read(&from) else { continue };
            put(sibling, name, &bytes)?;
        }
        put(sibling, MANIFEST, text.as_bytes())?;
        state.settle(written);
        files::write_whole(folder.join(STATE), state.text().as_bytes())
    }
}

/// The record of a manifest.
fn as_text(text: &str) -> Written {
    Written {
        hash: blake3::hash(text.as_bytes()).to_hex().to_string(),
        bytes: text.len() as u64,
        made_of: text_key("manifest", text).hex(),
        ..Written::default()
    }
}

fn put(sibling: &Sibling, name: &str, bytes: &[u8]) -> Result<()> {
    let (path, records): (_, &Records) = (sibling.folder.join(name), &sibling.records);
    let mut known: Vec<String> = records.of(name).into_iter().map(|known| known.hash).collect();
    // Given before by a run that was ended half way.
    known.push(blake3::hash(bytes).to_hex().to_string());
    match files::put(&path, bytes, Over::Known(&known))? {
        Placed::Written => Ok(()),
        Placed::Stands => Err(Fault::new(Class::Output, "the mood needs this name for its own copy of a file that changes, but no run made what stands there")
            .in_file(path)
            .remedy("Move it away, or render that mood first.")
            .into()),
    }
}

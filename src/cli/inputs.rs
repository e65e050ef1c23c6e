//! The files that a run reads, and whether they are still what they were.

use fogweft::base::folder;
use fogweft::base::stamp::Stamp;
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

/// Files and folders, each as it was before it was read.
#[derive(Clone, Debug, Default)]
pub struct Inputs {
    files: BTreeMap<PathBuf, Look>,
}

/// How a file looks from outside; none of it where there is none.
#[derive(Clone, Debug, Default, PartialEq)]
struct Look {
    bytes: Option<u64>,
    modified: Option<SystemTime>,
    stamp: Option<Stamp>,
}

impl Look {
    fn at(path: &Path) -> Look {
        let Ok(data) = fs::metadata(path) else { return Look::default() };
        Look { bytes: Some(data.len()), modified: data.modified().ok(), stamp: Stamp::of(&data) }
    }
}

impl Inputs {
    /// Puts down a file that is about to be read.
    pub fn read(&mut self, file: &Path) {
        self.files.insert(file.to_path_buf(), Look::at(file));
    }

    /// Puts down a folder of presets with what it holds.
    pub fn read_folder(&mut self, folder: &Path) {
        self.read(folder);
        for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
            let file = entry.path();
            if file.extension().is_some_and(|ending| ending == "toml") {
                self.read(&file);
            }
        }
    }

    /// Takes over what was put down elsewhere.
    pub fn join(&mut self, other: Inputs) {
        self.files.extend(other.files);
    }

    /// Takes over the files of `earlier`, as they look now: a scene that can't be read names no pictures, yet they may be what is
    /// mended.
    pub fn keep(&mut self, earlier: &Inputs) {
        for file in earlier.files.keys() {
            self.files.entry(file.clone()).or_insert_with(|| Look::at(file));
        }
    }

    /// Whether any looks otherwise now.
    pub fn changed(&self) -> bool {
        self.files.iter().any(|(file, look)| Look::at(file) != *look)
    }

    /// The same files as they look now.
    pub fn now(&self) -> Inputs {
        Inputs { files: self.files.keys().map(|file| (file.clone(), Look::at(file))).collect() }
    }

    /// The folders that they stand in: a save by rename is an event of the folder, not of the file.
    pub fn folders(&self) -> BTreeSet<PathBuf> {
        let folder = |file: &PathBuf| folder::of(file).to_path_buf();
        let own = self.files.keys().filter(|file| file.is_dir()).cloned();
        self.files.keys().map(folder).chain(own).filter(|folder| folder.is_dir()).collect()
    }
}

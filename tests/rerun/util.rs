//! Scenes in folders of their own, and the real binary run on them.

pub use crate::dice::Dice;
use crate::program::program;
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::SystemTime;
use tempfile::TempDir;

/// What a run said.
pub struct Said {
    pub code: i32,
    pub out: String,
    pub err: String,
}

impl Said {
    /// Fails the test unless all went well.
    #[track_caller]
    pub fn well(self) -> Said {
        assert_eq!(self.code, 0, "{}\n{}", self.out, self.err);
        self
    }
}

/// A small scene: three slots, quick to render.
pub struct Scene {
    folder: TempDir,
}

pub const TEXT: &str = "\
# a small scene
view = [48, 27]
travel = 24
seed = 3
[air]
haze = \"#c8ccd0\"
visibility = 900
[rim]
separation = 0
spread = 4

[[slot]]
name = \"far\"
depth = 600
art = \"far.svg\"

[[slot]]
name = \"mid\"          # between
depth = 200
art = \"mid.svg\"
smear.length = 22

[[slot]]
name = \"near\"
depth = 0
art = \"near.svg\"
y = 12
repeat = true
";

/// A hill in some colour.
pub fn hill(colour: &str) -> String {
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"40\" height=\"14\"><path d=\"M0 14 L9 3 L22 8 L40 14 Z\" fill=\"{colour}\"/></svg>"
    )
}

impl Scene {
    pub fn new() -> Scene {
        let scene = Scene { folder: tempfile::tempdir().expect("a folder") };
        scene.write("scene.toml", TEXT);
        for (slot, colour) in [("far", "#667788"), ("mid", "#445566"), ("near", "#223344")] {
            scene.write(&format!("{slot}.svg"), &hill(colour));
        }
        scene
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn write(&self, name: &str, text: &str) {
        let path = self.path(name);
        fs::create_dir_all(path.parent().expect("a parent")).expect("made");
        fs::write(path, text).expect("written");
    }

    /// Replaces part of a file, which must be there.
    #[track_caller]
    pub fn edit(&self, name: &str, from: &str, to: &str) {
        let text = fs::read_to_string(self.path(name)).expect("read");
        assert!(text.contains(from), "{name} doesn't hold {from}");
        self.write(name, &text.replacen(from, to, 1));
    }

    /// The command, in the scene's folder and with no user's shelf.
    pub fn command(&self, args: &[&str]) -> Command {
        program(self.folder.path(), args)
    }

    pub fn run(&self, args: &[&str]) -> Said {
        let done = self.command(args).output().expect("the binary runs");
        Said {
            code: done.status.code().unwrap_or(-1),
            out: String::from_utf8_lossy(&done.stdout).into_owned(),
            err: String::from_utf8_lossy(&done.stderr).into_owned(),
        }
    }

    /// `fogweft render scene.toml` with more arguments.
    pub fn render(&self, more: &[&str]) -> Said {
        self.run(&[&["render", "scene.toml"], more].concat())
    }

    /// A file of the usual output folder.
    pub fn out(&self, name: &str) -> PathBuf {
        self.path("scene-sheets").join(name)
    }

    pub fn bytes(&self, name: &str) -> Vec<u8> {
        fs::read(self.out(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
    }

    /// All files of a folder that aren't hidden, by their path in it.
    pub fn files(&self, folder: &str) -> BTreeMap<String, Vec<u8>> {
        let mut all = BTreeMap::new();
        gather(&self.path(folder), "", &mut all);
        all
    }

    /// When each file of the usual output folder was written.
    pub fn times(&self) -> BTreeMap<String, SystemTime> {
        let names = self.files("scene-sheets").into_keys();
        let time =
            |name: &String| fs::metadata(self.out(name)).and_then(|data| data.modified()).expect("a time");
        names.map(|name| (name.clone(), time(&name))).collect()
    }

    /// Names of the files that were written anew since `before`.
    pub fn renewed(&self, before: &BTreeMap<String, SystemTime>) -> Vec<String> {
        self.times()
            .into_iter()
            .filter(|(name, time)| before.get(name) != Some(time))
            .map(|(name, _)| name)
            .collect()
    }

    /// Fails the test unless the usual output folder is what a run into an empty one makes.
    #[track_caller]
    pub fn like_a_clean_run(&self, why: &str) {
        let _ = fs::remove_dir_all(self.path("clean"));
        self.render(&["--out", "clean", "--quiet"]).well();
        same(&self.files("scene-sheets"), &self.files("clean"), why);
    }
}

/// Fails the test unless both hold the same files.
#[track_caller]
pub fn same(found: &BTreeMap<String, Vec<u8>>, wanted: &BTreeMap<String, Vec<u8>>, why: &str) {
    let names = |files: &BTreeMap<String, Vec<u8>>| files.keys().cloned().collect::<Vec<_>>();
    assert_eq!(names(found), names(wanted), "{why}");
    for (name, bytes) in wanted {
        assert!(found[name] == *bytes, "{name} differs from a clean run's: {why}");
    }
}

fn gather(folder: &Path, under: &str, all: &mut BTreeMap<String, Vec<u8>>) {
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        let name = entry.file_name().into_string().expect("plain names");
        if name.starts_with('.') {
            continue;
        }
        let path = format!("{under}{name}");
        if entry.path().is_dir() {
            gather(&entry.path(), &format!("{path}/"), all);
        } else {
            all.insert(path, fs::read(entry.path()).expect("read"));
        }
    }
}

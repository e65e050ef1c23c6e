//! Dice, scenes in folders of their own, and the real binary run on them.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use tempfile::TempDir;

/// So many in a plain run, or as many as the variable `name` says, or `thorough` where all is done in full.
pub fn count(name: &str, plain: u64, thorough: u64) -> u64 {
    match std::env::var(name) {
        Ok(count) => count.parse().expect("a number"),
        Err(_) if std::env::var_os("FOGWEFT_THOROUGH").is_some() => thorough,
        Err(_) => plain,
    }
}

/// Says that a check can't be done here; a failure where all of them must be.
pub fn skipped(why: &str) {
    assert!(std::env::var_os("FOGWEFT_CI_TOOLS").is_none(), "{why}");
    println!("skipped: {why}");
}

/// SplitMix64 (Steele, Lea & Flood, "Fast splittable pseudorandom number generators", 2014).
pub struct Dice(pub u64);

impl Dice {
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A number below `most`.
    pub fn roll(&mut self, most: usize) -> usize {
        (self.next() % most.max(1) as u64) as usize
    }

    pub fn of<'a, T: ?Sized>(&mut self, all: &[&'a T]) -> &'a T {
        all[self.roll(all.len())]
    }
}

/// Three slots, quick to render, every kind of output among them.
pub const TEXT: &str = "\
view = [64, 36]
travel = 24
seed = 3
[air]
haze = \"#c8ccd0\"
visibility = 900
[rim]
spread = 3
[[slot]]
name = \"far\"
depth = 600
art = \"far.svg\"
[[slot]]
name = \"near\"
depth = 0
art = \"near.svg\"
y = 12
repeat = true
";

/// A scene in a folder of its own.
pub struct Scene(TempDir);

impl Scene {
    pub fn new() -> Scene {
        let scene = Scene(tempfile::tempdir().expect("a folder"));
        scene.write("scene.toml", TEXT);
        for (slot, colour) in [("far", "#667788"), ("near", "#223344")] {
            scene.write(
                &format!("{slot}.svg"),
                format!("<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"64\" height=\"20\"><path d=\"M0 20L9 3L22 8L64 20Z\" fill=\"{colour}\"/></svg>"),
            );
        }
        scene
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    pub fn write(&self, name: &str, content: impl AsRef<[u8]>) {
        fs::write(self.path(name), content).expect("written");
    }

    /// The command in the scene's folder, with no user's shelf.
    pub fn command(&self, args: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_fogweft"));
        command.args(args).current_dir(self.0.path()).stdin(Stdio::null());
        command.env("XDG_CONFIG_HOME", self.path("config")).env("NO_COLOR", "1");
        command
    }

    pub fn run(&self, args: &[&str]) -> Output {
        self.command(args).output().expect("the binary runs")
    }

    /// Runs, and everything went well.
    #[track_caller]
    pub fn well(&self, args: &[&str]) -> String {
        let done = self.run(args);
        assert!(done.status.success(), "{args:?}: {}", String::from_utf8_lossy(&done.stderr));
        String::from_utf8_lossy(&done.stdout).into_owned()
    }

    /// Runs, and is refused with this exit code; what was said.
    #[track_caller]
    pub fn refused(&self, code: i32, args: &[&str]) -> String {
        told(code, &self.run(args))
    }
}

/// What a run said that ended with this exit code.
#[track_caller]
pub fn told(code: i32, done: &Output) -> String {
    let text = String::from_utf8_lossy(&done.stderr).into_owned();
    assert_eq!(done.status.code(), Some(code), "{text}");
    assert!(text.contains("error") && !text.contains("panicked"), "{text}");
    text
}

/// What a run leaves for its users: every file below `folder` but the program's own notes.
pub fn outputs(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut all = BTreeMap::new();
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        let name = entry.file_name().to_string_lossy().into_owned();
        if entry.path().is_file() && !name.starts_with(".fogweft") {
            all.insert(name, fs::read(entry.path()).expect("read"));
        }
    }
    all
}

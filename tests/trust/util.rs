//! Scenes in folders of their own, and the real binary run on them.

pub use crate::dice::Dice;
use crate::program::program;
use std::collections::BTreeMap;
use std::fs;
use std::io::Write;
#[cfg(unix)]
pub use std::os::unix::fs::symlink;
// Making one asks for rights of its own there: the tests that do are left out.
#[cfg(windows)]
pub use std::os::windows::fs::symlink_file as symlink;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
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

    /// Writes a layered file that holds nothing but what it says of its layers.
    pub fn layered(&self, name: &str, xml: &str) {
        self.layered_with(name, xml, &[]);
    }

    /// The same with pictures.
    pub fn layered_with(&self, name: &str, xml: &str, pictures: &[(&str, &[u8])]) {
        let mut archive = zip::ZipWriter::new(fs::File::create(self.path(name)).expect("made"));
        let stored =
            zip::write::SimpleFileOptions::default().compression_method(zip::CompressionMethod::Stored);
        let head: [(&str, &[u8]); 2] = [("mimetype", b"image/openraster"), ("stack.xml", xml.as_bytes())];
        for (name, content) in head.iter().chain(pictures) {
            archive.start_file(*name, stored).expect("begun");
            archive.write_all(content).expect("written");
        }
        archive.finish().expect("finished");
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    pub fn write(&self, name: &str, content: impl AsRef<[u8]>) {
        fs::write(self.path(name), content).expect("written");
    }

    /// The command in the scene's folder, with no user's shelf.
    pub fn command(&self, args: &[&str]) -> Command {
        program(self.0.path(), args)
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

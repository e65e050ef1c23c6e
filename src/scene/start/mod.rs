//! Scenes to start from: the embedded worlds of the demo, and the starter scenes that a painter fills.

mod exported;
mod frame;
pub mod layered;
mod painting;
mod sheets;
mod slots;
mod standing;
pub mod starter;

use crate::base::fault::{Class, Fault, Result};
use crate::base::files;
use crate::scene::schema;
use std::fs;
use std::path::Path;

/// A text as TOML writes it.
pub fn quoted(text: &str) -> String {
    toml_edit::Value::from(text).to_string()
}

/// A file to be written: name and content.
pub type File = (&'static str, &'static [u8]);

macro_rules! embedded {
    ($folder:literal: $($name:literal),+ $(,)?) => {
        &[$(($name, include_bytes!(concat!("../../../presets/", $folder, "/", $name)).as_slice())),+]
    };
}
pub(crate) use embedded;

/// The demo: a salt marsh at slack water.
pub const DEMO: &[File] = embedded!("salt-marsh":
    "scene.toml", "sky.svg", "far-dunes.svg", "posts.svg", "barge.svg", "reeds-far.svg", "hut.svg", "reeds-near.svg",
    "bank.svg",
);

const CABLEWAY: &[File] = embedded!("cloud-cableway":
    "scene.toml", "sky.svg", "sky-breaking.svg", "sky-storm.svg", "far-range.svg", "range.svg", "far-line.svg", "spur.svg", "station.svg",
    "firs.svg", "ledge.svg", "brink.svg",
);

const QUAY: &[File] = embedded!("night-quay":
    "scene.toml", "sky.svg", "sky-dawn.svg", "sky-fret.svg", "town.svg", "mole.svg", "roads.svg", "lightship.svg", "warehouses.svg",
    "moorings.svg", "quay.svg", "rail.svg",
);

/// All worlds of the demo, the first first: name and files.
pub const WORLDS: [(&str, &[File]); 3] =
    [("salt-marsh", DEMO), ("cloud-cableway", CABLEWAY), ("night-quay", QUAY)];

/// Name of the scene file in all of them.
pub const SCENE: &str = "scene.toml";

/// The files of a world as they are written, its scene with the line by which editors find the schema beside it.
fn written(world: &[File]) -> Vec<(&'static str, Vec<u8>)> {
    let written = |(name, content): &File| match *name {
        SCENE => (SCENE, with_schema(&String::from_utf8_lossy(content))),
        name => (name, content.to_vec()),
    };
    world.iter().map(written).chain([(schema::FILE, schema::text(schema::Of::Scene).into_bytes())]).collect()
}

/// The text of a scene that begins with the schema line.
fn with_schema(text: &str) -> Vec<u8> {
    format!("{}\n\n{text}", schema::LINE).into_bytes()
}

/// The fault of a file that stands where a new one would.
fn in_the_way(file: &Path) -> Fault {
    Fault::new(Class::Output, "the file already exists")
        .in_file(file)
        .remedy("Choose a new folder; nothing was written.")
}

/// Whether `folder` can hold a world: what stands there already must be the world's own, unchanged, or what a run made of it (`outputs`,
/// the names in the folder that a run may have written).
///
/// # Errors
/// Class `Output`: the folder holds something else.
pub fn check_demo(folder: &Path, world: &[File], outputs: &str) -> Result<()> {
    let world = written(world);
    let Ok(entries) = fs::read_dir(folder) else { return Ok(()) };
    for entry in entries.flatten() {
        let name = entry.file_name();
        let ours = match world.iter().find(|(known, _)| name == *known) {
            Some((_, content)) => fs::read(entry.path()).is_ok_and(|found| found == *content),
            None => name == outputs,
        };
        if !ours {
            return Err(not_demo(folder, &name.to_string_lossy()).into());
        }
    }
    Ok(())
}

/// The fault of a file that is not the demo's in the demo's folder.
pub fn not_demo(folder: &Path, name: &str) -> Fault {
    Fault::new(Class::Output, format!("the folder contains `{name}`, which is not part of the demo"))
        .in_file(folder)
        .remedy("Choose an empty folder: fogweft demo DIR.")
}

/// Writes a world's scene and pictures into `folder`.
///
/// # Errors
/// Class `Output`: as [`check_demo`], without writing anything; or a file can't be written.
pub fn write_demo(folder: &Path, world: &[File], outputs: &str) -> Result<()> {
    check_demo(folder, world, outputs)?;
    files::prepare_folder(folder)?;
    for (name, content) in written(world) {
        files::put_new(folder.join(name), &content)?;
    }
    Ok(())
}

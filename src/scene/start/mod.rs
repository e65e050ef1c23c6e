//! Scenes to start from: the embedded demo, and the bare scene that a painter fills.

mod exported;
mod frame;
pub mod layered;
mod painting;
mod slots;
mod standing;

use crate::base::fault::{Class, Fault, Result};
use crate::base::files;
use crate::base::limits::Limits;
use crate::scene::recipe::shelf::Shelf;
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

/// The bare scene: three plain silhouettes, to be replaced.
const BARE: &[File] = embedded!("bare": "scene.toml", "ridge.svg", "trees.svg", "foreground.svg");

/// What stands in the bare scene's text where the preset's name belongs.
const PRESET_MARK: &str = "{preset}";

/// Name of the scene file in both.
pub const SCENE: &str = "scene.toml";

/// The demo's files as they are written, its scene with the line by which editors find the schema beside it.
fn demo() -> Vec<(&'static str, Vec<u8>)> {
    let written = |(name, content): &File| match *name {
        SCENE => (SCENE, with_schema(&String::from_utf8_lossy(content))),
        name => (name, content.to_vec()),
    };
    DEMO.iter().map(written).chain([(schema::FILE, schema::text(schema::Of::Scene).into_bytes())]).collect()
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

/// Writes the demo's scene and art into `folder`. What stands there already must be the demo's own, unchanged, or what a run
/// made of it (`outputs`, the names in the folder that a run may have written).
///
/// Fails (class output) without writing anything where the folder holds something else.
pub fn write_demo(folder: &Path, outputs: &str) -> Result<()> {
    let demo = demo();
    if let Ok(entries) = fs::read_dir(folder) {
        for entry in entries.flatten() {
            let name = entry.file_name();
            let known = demo.iter().find(|(known, _)| name == *known);
            let ours = match known {
                Some((_, content)) => fs::read(entry.path()).is_ok_and(|found| found == *content),
                None => name == outputs,
            };
            if !ours {
                return Err(Fault::new(
                    Class::Output,
                    format!(
                        "the folder contains `{}`, which is not part of the demo",
                        name.to_string_lossy()
                    ),
                )
                .in_file(folder)
                .remedy("Choose an empty folder: fogweft demo DIR.")
                .into());
            }
        }
    }
    files::prepare_folder(folder)?;
    for (name, content) in &demo {
        files::put_new(folder.join(name), content)?;
    }
    Ok(())
}

/// Writes a scene to start from into `folder`, with the recipe of `preset`.
///
/// Fails without writing anything where the preset is unknown (class usage) or one of the files stands there already (class output).
pub fn write_bare(folder: &Path, preset: &str) -> Result<()> {
    Shelf::of_scene(Some(&folder.join(SCENE)), &Limits::default()).get(preset)?;
    for name in BARE.iter().map(|(name, _)| *name).chain([schema::FILE]) {
        if folder.join(name).symlink_metadata().is_ok() {
            return Err(in_the_way(&folder.join(name)).into());
        }
    }
    files::prepare_folder(folder)?;
    for (name, content) in BARE {
        if *name == SCENE {
            let text = String::from_utf8_lossy(content).replace(PRESET_MARK, preset);
            files::put_new(folder.join(name), &with_schema(&text))?;
        } else {
            files::put_new(folder.join(name), content)?;
        }
    }
    files::put_new(folder.join(schema::FILE), schema::text(schema::Of::Scene).as_bytes())
}

//! `manifest.json`: what was made, where it stands, and in which order it is drawn.

use crate::base::fault::{Class, Fault, Faults, Result};
use crate::base::files::why;
use crate::base::names;
pub use crate::base::placing::{Kind, Standing};
use crate::base::units::Travel;
use crate::base::words::{Alpha, Blending};
use crate::output::one_line::Line;
use schemars::JsonSchema;
use schemars::generate::SchemaSettings;
use serde::{Deserialize, Deserializer, Serialize};
use std::collections::BTreeMap;
use std::fs;
use std::io::{ErrorKind, Read};
use std::path::{Component, Path};

/// The manifest's file name.
pub const NAME: &str = "manifest.json";

/// The version of the manifest's form.
pub const VERSION: u32 = 2;

/// Most bytes of a manifest that are read; one of 256 slots has about 300 KB.
const MOST_BYTES: u64 = 16 << 20;

/// A manifest. Lengths in scene px, depths in the scene's depth units.
#[derive(Clone, Debug, PartialEq, JsonSchema, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Manifest {
    /// Version of this form: 2.
    #[schemars(range(min = 2, max = 2))]
    pub version: u32,
    /// The program and its version.
    #[serde(default)]
    pub generator: String,
    /// The camera's frame: width and height, each above 0. Unit: scene px.
    #[schemars(inner(range(min = 1)))]
    pub view: [f64; 2],
    /// How far the camera pans on the play plane, to the right and down, 0 or more each. Unit: scene px.
    #[schemars(inner(range(min = 0)))]
    #[serde(deserialize_with = "pair")]
    pub travel: [f64; 2],
    /// Texels per scene px of the run, above 0.
    #[schemars(range(min = 0))]
    pub scale: f64,
    /// How the renderer must blend colours.
    pub blending: Blending,
    /// How the textures store colour and alpha.
    #[serde(default)]
    pub alpha: Alpha,
    /// Duration of the loop that the frames of animated fog make, above 0; if there are any. Unit: seconds.
    #[schemars(range(min = 0))]
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub loop_seconds: Option<f64>,
    /// The still, if one was drawn.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub still: Option<Still>,
    /// The still as a value study: lightness in steps, outlines below their separation hatched.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub values: Option<Still>,
    /// The files, from far to near.
    pub files: Vec<Entry>,
    /// Other files made from the stack.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub exports: Vec<Export>,
    /// Files of earlier runs that still stand in the folder although they are no part of the stack: new versions beside edited files, and
    /// what was made of slots that are gone.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub left: Vec<Left>,
}

/// A file that an earlier run left.
#[derive(Clone, Debug, PartialEq, JsonSchema, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Left {
    /// Path relative to the manifest.
    pub path: String,
    /// Path of the file that it is a newer version of, if that one was edited and therefore kept.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub beside: Option<String>,
    /// The slot that it belongs to; empty for pictures of the whole stack.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub slot: String,
    /// Bits per channel; 0 where it isn't a picture of the stack.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub bits: u8,
    /// Whether every texel is opaque.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub opaque: bool,
    /// BLAKE3 of the file as the program wrote it, in hexadecimal.
    #[serde(default)]
    pub hash: String,
    /// The file's length as the program wrote it. Unit: bytes.
    #[serde(default)]
    pub bytes: u64,
    /// BLAKE3 of the inputs that the file was made from, in hexadecimal.
    #[serde(default)]
    pub made_of: String,
}

/// Another file: the stack in another format, or a further frame of a sheet.
#[derive(Clone, Debug, PartialEq, JsonSchema, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Export {
    /// Path relative to the manifest; of a frame it may lead to the folder of another mood, as that of the file may.
    pub path: String,
    /// BLAKE3 of the file as the program wrote it, in hexadecimal.
    #[serde(default)]
    pub hash: String,
    /// The file's length as the program wrote it. Unit: bytes.
    #[serde(default)]
    pub bytes: u64,
    /// BLAKE3 of the inputs that the file was made from, in hexadecimal.
    #[serde(default)]
    pub made_of: String,
}

/// A picture of the whole stack.
#[derive(Clone, Debug, PartialEq, JsonSchema, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Still {
    /// Path of the picture, relative to the manifest.
    pub path: String,
    /// The camera's place on the travel, to the right and down. Unit: scene px.
    #[serde(deserialize_with = "pair")]
    pub camera: [f64; 2],
    /// Colour behind the stack, `#rrggbb`.
    #[serde(default)]
    pub backdrop: String,
    /// BLAKE3 of the file as the program wrote it, in hexadecimal; a different hash means that the file was edited.
    #[serde(default)]
    pub hash: String,
    /// The file's length as the program wrote it. Unit: bytes.
    #[serde(default)]
    pub bytes: u64,
    /// BLAKE3 of the inputs that the file was made from, in hexadecimal.
    #[serde(default)]
    pub made_of: String,
}

/// One file of the manifest.
#[derive(Clone, Debug, PartialEq, JsonSchema, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Entry {
    /// The slot it belongs to.
    pub slot: String,
    /// What the file contains.
    pub kind: Kind,
    /// Path relative to the manifest. Of a scene with moods it may lead to the folder of another mood, where that has the same file:
    /// `../sky.art.png`.
    pub path: String,
    /// Drawing order from far to near, 0 or more; unique.
    pub order: u32,
    /// Depth of the slot: 0 on the play plane, positive behind it. Unit: depth units.
    pub depth: f64,
    /// Pan rate: scene px in the view for each px of camera travel, in both directions; above 0.
    #[schemars(range(min = 0))]
    pub pan_rate: f64,
    /// Left, top, width, height with the camera at the start of the travel. Unit: scene px.
    pub rect: [f64; 4],
    /// Width and height, 1 or more each. Unit: texels.
    #[schemars(inner(range(min = 1)))]
    pub texels: [u32; 2],
    /// Area that a texel covers along x and y: `rect` over `texels`. Unit: scene px.
    #[serde(default)]
    pub stretch: [f64; 2],
    /// Left, top, width and height of the part of the file that is drawn; none: all of it. Texels outside are there for linear filters,
    /// which need neighbours at a tile's edge. Unit: texels.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub part: Option<[u32; 4]>,
    /// The rectangle of all that is drawn of the picture, if the file is a tile of it. To place pictures on whole px, move the strip, not
    /// each tile by itself. Unit: scene px.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub strip: Option<[f64; 4]>,
    /// The pictures that the file shows, in the order in which they were drawn into it; none where it shows the slot's own alone.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub places: Vec<Standing>,
    /// The file repeats along x at this interval, above 0; null: it does not repeat. Unit: scene px.
    pub period: Option<f64>,
    /// Whether its left and right edges meet, so that the texture itself may repeat along x.
    #[serde(default)]
    pub repeat: bool,
    /// Space in which the file must be blended: its codes are sRGB; `linear` means decode, then blend.
    #[serde(default = "encoded")]
    pub blending: Blending,
    /// How the file stores colour and alpha.
    #[serde(default)]
    pub alpha: Alpha,
    /// Bits per channel: 8 or 16.
    #[schemars(range(min = 8, max = 16))]
    #[serde(default = "eight")]
    pub bits: u8,
    /// Further frames of a seamless animation that starts with this file, evenly spaced in time; none for still fog.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub frames: Vec<Export>,
    /// Moods whose file for the same slot and kind covers the same rectangle and repeats alike, so that a game may fade one into the
    /// other; an empty name is the scene without a mood.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub fades: Vec<String>,
    /// Suggested drift to the right; slower far away, 0 for pictures. Unit: scene px per second.
    #[serde(default)]
    pub drift: f64,
    /// Mean optical depth of the air along the anchor line, above 0; for fog.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub optical_depth: Option<f64>,
    /// Optical depth of the clear air, part of that along the line and the same at any height; for fog.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clear_depth: Option<f64>,
    /// Whether every texel is opaque.
    #[serde(default)]
    pub opaque: bool,
    /// BLAKE3 of the file, in hexadecimal; a different hash means that the file was edited since the last run.
    #[serde(default)]
    pub hash: String,
    /// The file's length. Unit: bytes.
    #[serde(default)]
    pub bytes: u64,
    /// BLAKE3 of the inputs that the file was made from, in hexadecimal.
    #[serde(default)]
    pub made_of: String,
    /// Of a file that somebody edited: what the program wrote there.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub original: Option<Original>,
}

/// What the program wrote under the name of a file that was edited since.
#[derive(Clone, Debug, PartialEq, JsonSchema, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Original {
    /// BLAKE3 of it, in hexadecimal.
    pub hash: String,
    /// Its length. Unit: bytes.
    pub bytes: u64,
    /// Its bits per channel: 8 or 16.
    #[schemars(range(min = 8, max = 16))]
    pub bits: u8,
    /// Whether every texel of it was opaque.
    #[serde(default)]
    pub opaque: bool,
}

impl Entry {
    /// Whether its file stands in the folder of another mood.
    pub fn is_shared(&self) -> bool {
        is_shared(&self.path)
    }
}

impl Manifest {
    /// The text of `manifest.json`: one line for each file, numbers to 12 digits. All numbers must be finite.
    pub fn text(&self) -> String {
        let line = |value: &dyn Line| value.line();
        let mut members = vec![
            ("version", line(&self.version)),
            ("generator", line(&self.generator)),
            ("view", line(&self.view)),
            ("travel", line(&self.travel)),
            ("scale", line(&self.scale)),
            ("blending", line(&self.blending)),
            ("alpha", line(&self.alpha)),
        ];
        if let Some(still) = &self.still {
            members.push(("still", line(still)));
        }
        if let Some(values) = &self.values {
            members.push(("values", line(values)));
        }
        let mut text = String::from("{\n");
        for (key, value) in members {
            text += &format!("  \"{key}\": {value},\n");
        }
        let files: Vec<String> = self.files.iter().map(|entry| format!("\n    {}", line(entry))).collect();
        if !self.exports.is_empty() {
            text += &format!("  \"exports\": {},\n", line(&self.exports));
        }
        if !self.left.is_empty() {
            text += &format!("  \"left\": {},\n", line(&self.left));
        }
        text += &format!(
            "  \"files\": [{}{}]\n}}\n",
            files.join(","),
            if files.is_empty() { "" } else { "\n  " }
        );
        text
    }

    /// Reads the manifest in `folder`; none if there is none. Unknown keys are ignored.
    ///
    /// # Errors
    /// Class `Output`: it can't be read, is no manifest, is of another version, or has a path that leaves the folder.
    pub fn read(folder: impl AsRef<Path>) -> Result<Option<Manifest>> {
        let path = folder.as_ref().join(NAME);
        let fault = |message: String| {
            Fault::new(Class::Output, message)
                .in_file(&path)
                .remedy("Move it away, or choose another output folder.")
        };
        match fs::symlink_metadata(&path) {
            Err(error) if matches!(error.kind(), ErrorKind::NotFound | ErrorKind::NotADirectory) => {
                return Ok(None);
            }
            Err(error) => {
                return Err(fault(format!("the earlier manifest can't be read: {}", why(&error))).into());
            }
            Ok(data) if !data.is_file() => {
                return Err(fault("the earlier manifest is not an ordinary file".into()).into());
            }
            Ok(_) => {}
        }
        let mut bytes = Vec::new();
        fs::File::open(&path)
            .and_then(|file| file.take(MOST_BYTES + 1).read_to_end(&mut bytes))
            .map_err(|error| fault(format!("the earlier manifest can't be read: {}", why(&error))))?;
        if bytes.len() as u64 > MOST_BYTES {
            return Err(fault(format!("the earlier manifest is longer than {MOST_BYTES} bytes")).into());
        }
        let manifest: Manifest = serde_json::from_slice(&bytes)
            .map_err(|error| fault(format!("this is not the manifest of an earlier run: {error}")))?;
        if !(1..=VERSION).contains(&manifest.version) {
            return Err(fault(format!(
                "the earlier manifest has version {}; this program supports versions 1 to {VERSION}",
                manifest.version
            ))
            .into());
        }
        let beside = manifest.left.iter().filter_map(|left| left.beside.as_deref());
        let frames = manifest.files.iter().flat_map(|entry| &entry.frames).map(|frame| frame.path.as_str());
        let textures = manifest.files.iter().map(|entry| entry.path.as_str()).chain(frames);
        let shared: Vec<&str> = textures.filter(|name| is_shared(name)).collect();
        for name in manifest.names().chain(beside) {
            if !stays_inside(name) && !shared.contains(&name) {
                return Err(
                    fault(format!("the earlier manifest has a path outside its folder: {name:?}")).into()
                );
            }
        }
        Ok(Some(manifest))
    }

    /// How many files of the stack stand in its own folder, and their bytes.
    pub fn own_files(&self) -> (usize, u64) {
        let own = self.files.iter().filter(|entry| !entry.is_shared());
        own.fold((0, 0), |(count, bytes), entry| (count + 1, bytes + entry.bytes))
    }

    /// The paths of all its files, the still and what earlier runs left included.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        let stills = self.still.iter().chain(&self.values).map(|still| still.path.as_str());
        let exports = self.exports.iter().map(|export| export.path.as_str());
        let frames = self.files.iter().flat_map(|entry| &entry.frames).map(|frame| frame.path.as_str());
        let left = self.left.iter().map(|left| left.path.as_str());
        let files = self.files.iter().map(|entry| entry.path.as_str());
        files.chain(frames).chain(stills).chain(exports).chain(left)
    }
}

/// Checks, before anything is written, that the outputs are files of their own on every disk.
///
/// # Errors
/// Class `Output`, one fault for each name that leaves the folder, or can't be told from another one where case doesn't count.
pub fn apart(folder: impl AsRef<Path>, names: &[String]) -> Result<()> {
    let folder = folder.as_ref();
    let mut faults = Faults::default();
    let mut seen: BTreeMap<String, &str> = BTreeMap::new();
    for name in names {
        let path = folder.join(name);
        let fault =
            |message: String, remedy: &str| Fault::new(Class::Output, message).in_file(&path).remedy(remedy);
        if !stays_inside(name) {
            faults
                .list
                .push(fault(format!("the output {name:?} would be outside its folder"), "Rename the slot."));
        } else if let Some(other) = seen.insert(names::folded(name), name) {
            let message = format!("the outputs {other:?} and {name:?} would be the same file on many disks");
            faults.list.push(fault(message, "Rename one of the slots."));
        }
    }
    faults.or(())
}

/// A relative path of plain names, on every platform.
pub(crate) fn stays_inside(name: &str) -> bool {
    let plain = !name.is_empty() && !name.chars().any(|c| c == '\\' || c == ':' || c.is_control());
    plain && Path::new(name).components().all(|part| matches!(part, Component::Normal(_)))
}

/// Whether a path leads to the folder of another mood of the scene: one step up, or two from the folder of a scale.
fn is_shared(path: &str) -> bool {
    let above = path.strip_prefix("../");
    above.is_some_and(|path| stays_inside(path.strip_prefix("../").unwrap_or(path)))
}

/// Two numbers; version 1 had the first alone.
fn pair<'de, D: Deserializer<'de>>(from: D) -> std::result::Result<[f64; 2], D::Error> {
    Travel::deserialize(from).map(Into::into)
}

fn is_zero(bits: &u8) -> bool {
    *bits == 0
}

fn encoded() -> Blending {
    Blending::Encoded
}

fn eight() -> u8 {
    8
}

/// The JSON Schema of the manifest (draft 7), as text that ends in a line break.
pub fn schema() -> String {
    let schema = SchemaSettings::draft07().into_generator().into_root_schema_for::<Manifest>();
    let mut schema = serde_json::Value::from(schema);
    schema["title"] = "Manifest".into();
    format!("{schema:#}\n")
}

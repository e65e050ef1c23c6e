//! Layered files in: OpenRaster archives, as far as a scene can use them. They are only ever read.
//!
//! Source: OpenRaster file layout and layer stack specification, draft 0.0.5.

mod made;
mod stack;

pub use made::{BY_HAND, MADE, fingerprint, without_made};

use crate::base::fault::{Class, Fault};
use crate::base::files::why;
use crate::base::limits::Limits;
use crate::scene::apart;
use serde::{Deserialize, Serialize};
use std::fs::{self, File};
use std::io::{BufReader, Read};
use std::path::Path;
use zip::ZipArchive;
use zip::result::ZipError;

/// Name of the layer that stands for what the stack is drawn on.
pub const BACKDROP: &str = "backdrop";

/// What comes between a slot's name and the distance in texels after which its picture repeats.
pub const AGAIN: &str = ".again-";

/// A layer of a layered file, or a group of layers that is one.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Layer {
    /// Its name as the painter gave it.
    pub name: String,
    /// Its pictures, topmost first: one, or those of a group that are shown.
    pub parts: Vec<Part>,
    /// Left edge in the picture, px.
    pub x: i64,
    /// Top edge in the picture, px.
    pub y: i64,
    /// Whether it and all stacks that hold it are shown.
    pub visible: bool,
    /// What of it isn't taken over.
    pub unlike: Vec<String>,
    /// Whether it is a group.
    pub group: bool,
    /// Its place in the stack, counted from the top.
    place: usize,
}

/// A picture in the archive.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Part {
    /// Its path in the archive.
    pub src: String,
    /// Left edge in the layered picture, px.
    pub x: i64,
    /// Top edge in the layered picture, px.
    pub y: i64,
    /// Its opacity times those of all stacks around it.
    pub opacity: f64,
}

impl Layer {
    /// The name without its depth, and the depth, if the name ends in `depth` and a number.
    pub fn named(&self) -> (&str, Option<f64>) {
        named(&self.name)
    }
}

/// A name without its depth, and the depth: `reeds depth 120`. What says of a sheet how it was made goes with the depth.
pub fn named(whole: &str) -> (&str, Option<f64>) {
    let words = || {
        let (whole, _) = without_made(whole);
        let (rest, number) = whole.trim_end().rsplit_once(char::is_whitespace)?;
        let (name, word) = rest.trim_end().rsplit_once(char::is_whitespace)?;
        let depth: f64 = number.parse().ok().filter(|depth: &f64| depth.is_finite())?;
        (word.eq_ignore_ascii_case("depth") && !name.trim().is_empty()).then_some((name.trim_end(), depth))
    };
    words().map_or((whole, None), |(name, depth)| (name, Some(depth)))
}

/// What a layered file holds.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Layered {
    /// Width and height of the picture, px.
    pub size: [u32; 2],
    /// The layers and groups that lie in no group, topmost first.
    pub layers: Vec<Layer>,
    /// The layers within groups, topmost first.
    pub inner: Vec<Layer>,
}

impl Layered {
    /// Reads what a layered file says of itself; no pixels.
    ///
    /// # Errors
    /// Class `Picture`: it can't be read, is no OpenRaster archive, or is broken. Class `Limit`: it is too long.
    pub fn open(file: &Path, limits: &Limits) -> Result<Layered, Fault> {
        if apart::is_on() {
            return apart::layered_file(file, limits);
        }
        let mut archive = archive(file, limits)?;
        let bytes = entry(&mut archive, "stack.xml", ("text-bytes", limits.text_bytes))
            .map_err(|fault| fault.in_file(file))?;
        let text = String::from_utf8(bytes).map_err(|_| {
            Fault::new(Class::Picture, "its stack.xml is not UTF-8").in_file(file).remedy("Save it again.")
        })?;
        stack::read(&text, limits).map_err(|fault| fault.in_file(file))
    }

    /// The layer called `name`: by its whole name, or by its name without the depth; those in no group come first.
    ///
    /// # Errors
    /// Class `Picture`: there is none, or there are several, of which the next save might make the other the first.
    pub fn find(&self, name: &str) -> Result<&Layer, Fault> {
        let whole = |layer: &&Layer| layer.name == name;
        let short = |layer: &&Layer| layer.named().0 == name;
        for layers in [&self.layers, &self.inner] {
            for found in
                [layers.iter().filter(whole).collect::<Vec<_>>(), layers.iter().filter(short).collect()]
            {
                match found[..] {
                    [] => {}
                    [layer] => return Ok(layer),
                    _ => {
                        let message = format!(
                            "the file has {} layers called {}",
                            found.len(),
                            crate::scene::keys::shown(name)
                        );
                        return Err(Fault::new(Class::Picture, message)
                            .remedy("Give each of them a name of its own."));
                    }
                }
            }
        }
        Err(self.missing(name))
    }

    /// Reads the text of `file`, a `stack.xml`.
    ///
    /// # Errors
    /// Class `Picture`: it is broken.
    pub fn read(file: &Path, text: &str, limits: &Limits) -> Result<Layered, Fault> {
        if apart::is_on() {
            return apart::stack(file, text, limits);
        }
        stack::read(text, limits).map_err(|fault| fault.in_file(file))
    }

    /// The layers that are no groups, topmost first.
    pub fn leaves(&self) -> Vec<&Layer> {
        let mut all: Vec<&Layer> =
            self.layers.iter().filter(|layer| !layer.group).chain(&self.inner).collect();
        all.sort_by_key(|layer| layer.place);
        all
    }

    /// The fault of a layer that isn't there.
    fn missing(&self, name: &str) -> Fault {
        let names = self.layers.iter().chain(&self.inner).map(|layer| layer.named().0);
        let remedy = match crate::scene::keys::near(name, names.clone()) {
            Some(near) => format!("Did you mean {}?", crate::scene::keys::shown(near)),
            None => {
                let some: Vec<String> = names.take(40).map(crate::scene::keys::shown).collect();
                format!("Its layers are {}.", some.join(", "))
            }
        };
        Fault::new(Class::Picture, format!("the file has no layer {}", crate::scene::keys::shown(name)))
            .remedy(remedy)
    }
}

/// Parts a picture's path into the file and the layer in it: `level.ora#reeds`.
pub fn reference(path: &str) -> (&str, Option<&str>) {
    let at = path.to_ascii_lowercase().find(".ora#").map(|at| at + ".ora".len());
    match at {
        Some(at) => (&path[..at], Some(&path[at + 1..])),
        None => (path, None),
    }
}

/// The layer `name` of `file`, and its pictures as the archive holds them.
///
/// # Errors
/// As [`Layered::open`], and class `Picture` if there is no such layer.
pub fn pictures(file: &Path, name: &str, limits: &Limits) -> Result<(Layer, Vec<Vec<u8>>), Fault> {
    let layered = Layered::open(file, limits)?;
    let layer = layered.find(name).map_err(|fault| fault.in_file(file))?;
    let mut archive = archive(file, limits)?;
    let mut all = Vec::new();
    let mut left = limits.unpacked;
    for part in &layer.parts {
        let bytes =
            entry(&mut archive, &part.src, ("unpacked", left)).map_err(|fault| fault.in_file(file))?;
        left -= bytes.len() as u64;
        all.push(bytes);
    }
    Ok((layer.clone(), all))
}

fn archive(file: &Path, limits: &Limits) -> Result<ZipArchive<BufReader<File>>, Fault> {
    let fault =
        |message: String, remedy: &str| Fault::new(Class::Picture, message).in_file(file).remedy(remedy);
    let unreadable = |error: std::io::Error| {
        fault(
            format!("the layered file can't be read: {}", why(&error)),
            "check the path and its permissions",
        )
    };
    // Before opening: opening a pipe that nobody writes to would wait for ever.
    let data = fs::metadata(file).map_err(unreadable)?;
    if !data.is_file() {
        return Err(fault("this is not a file".into(), "choose an OpenRaster file"));
    }
    if data.len() > limits.file_bytes {
        return Err(Fault::new(
            Class::Limit,
            format!("the layered file is over the limit of {} bytes", limits.file_bytes),
        )
        .in_file(file)
        .remedy("Split it into several files, or raise the limit: --limit file-bytes=NUMBER."));
    }
    let open = File::open(file).map_err(unreadable)?;
    let archive = ZipArchive::new(BufReader::new(open)).map_err(|error| {
        fault(
            format!("this is not an OpenRaster file: {}", plain(&error)),
            "save it again as OpenRaster (.ora)",
        )
    })?;
    if archive.len() > limits.entries {
        let message =
            format!("the archive contains {} files, over the limit of {}", archive.len(), limits.entries);
        return Err(Fault::new(Class::Limit, message)
            .in_file(file)
            .remedy("Split it into several files, or raise the limit: --limit entries=NUMBER."));
    }
    Ok(archive)
}

/// One file of the archive, whole, if it unpacks to no more bytes than the named limit allows.
fn entry(
    archive: &mut ZipArchive<BufReader<File>>,
    name: &str,
    (limit, most): (&str, u64),
) -> Result<Vec<u8>, Fault> {
    let fault =
        |message: String| Fault::new(Class::Picture, message).remedy("Save it again as OpenRaster (.ora).");
    let found = archive.by_name(name).map_err(|error| match error {
        ZipError::FileNotFound => {
            fault(format!("the archive does not contain {}", crate::scene::keys::shown(name)))
        }
        other => fault(format!("{} can't be read: {}", crate::scene::keys::shown(name), plain(&other))),
    })?;
    // What the header says of the length isn't to be trusted.
    let mut bytes = Vec::new();
    found
        .take(most.saturating_add(1))
        .read_to_end(&mut bytes)
        .map_err(|error| fault(format!("{} is damaged: {error}", crate::scene::keys::shown(name))))?;
    if bytes.len() as u64 > most {
        return Err(Fault::new(
            Class::Limit,
            format!("{} unpacks to more than the limit of {most} bytes", crate::scene::keys::shown(name)),
        )
        .remedy(format!("Make it smaller, or raise the limit: --limit {limit}=NUMBER.")));
    }
    Ok(bytes)
}

fn plain(error: &ZipError) -> String {
    match error {
        ZipError::Io(error) => why(error),
        other => other.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn references_part_file_and_layer() {
        assert_eq!(reference("level.ora#reeds"), ("level.ora", Some("reeds")));
        assert_eq!(reference("a/Level.ORA#a#b"), ("a/Level.ORA", Some("a#b")));
        assert_eq!(reference("odd#name.png"), ("odd#name.png", None));
        assert_eq!(reference("level.ora"), ("level.ora", None));
    }

    #[test]
    fn names_may_end_in_a_depth() {
        assert_eq!(named("reeds depth 120"), ("reeds", Some(120.0)));
        assert_eq!(named("old bank  Depth  -150.5 "), ("old bank", Some(-150.5)));
        for plain in ["reeds", "depth 120", "the depth of 12 m", "reeds depth", "reeds depth inf", "reeds120"]
        {
            assert_eq!(named(plain), (plain, None));
        }
    }
}

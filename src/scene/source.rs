//! The one place where scene files come in.

use crate::base::fault::{Class, Fault, Result};
use crate::base::limits::Limits;
use crate::base::report;
use std::fs::File;
use std::io::{ErrorKind, Read};
use std::path::{Path, PathBuf};

/// A scene file as text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Source {
    /// Where it was read from; pictures lie beside or below it.
    pub file: PathBuf,
    /// Its text.
    pub text: String,
}

impl Source {
    /// Reads a file of text.
    ///
    /// # Errors
    /// If it is missing, a folder, unreadable, longer than [`Limits::text_bytes`], or not UTF-8.
    pub fn load(file: &Path, limits: &Limits) -> Result<Source> {
        let fault = |class, message: &str, remedy: String| {
            Err(Fault::new(class, message).in_file(file).remedy(remedy).into())
        };
        // Before opening: opening a pipe that nobody writes to would wait for ever.
        if std::fs::metadata(file).is_ok_and(|data| !data.is_file() && !data.is_dir()) {
            return Err(special(file).into());
        }
        let opened = match File::open(file) {
            Err(error) if error.kind() == ErrorKind::NotFound => {
                let remedy = match near_file(file) {
                    Some(near) => format!("Did you mean {near}?"),
                    None => "Check the path; it is relative to the current folder.".into(),
                };
                return fault(Class::Usage, "there is no such file", remedy);
            }
            other => other,
        };
        if file.is_dir() {
            let remedy = match only_toml(file) {
                Some(scene) => format!("Give the path of the scene file in it: {}.", scene.display()),
                None => "Give the path of the scene file in it.".into(),
            };
            return fault(Class::Usage, "this is a folder, not a scene file", remedy);
        }
        if let Ok(opened) = &opened
            && !opened.metadata().is_ok_and(|data| data.is_file())
        {
            return Err(special(file).into());
        }
        let mut bytes = Vec::new();
        let read = opened.and_then(|opened| {
            opened.take(limits.text_bytes.saturating_add(1)).read_to_end(&mut bytes).map(drop)
        });
        if let Err(error) = read {
            let message = format!("the file can't be read: {error}");
            return fault(
                Class::Usage,
                &message,
                "Check its permissions, and that no other program has it open.".into(),
            );
        }
        if bytes.len() as u64 > limits.text_bytes {
            let message = format!("the file is longer than the limit of {} bytes", limits.text_bytes);
            return fault(
                Class::Limit,
                &message,
                "Is this a scene file? It refers to pictures and does not contain them. If it is one, raise the limit: --limit text-bytes=NUMBER.".into(),
            );
        }
        let text = decode(bytes, file)?;
        Ok(Source { file: file.to_path_buf(), text })
    }
}

/// The bytes of `file` as text.
fn decode(bytes: Vec<u8>, file: &Path) -> Result<String> {
    if bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]) {
        return Err(Fault::new(Class::Scene, "the file is UTF-16 text, not UTF-8")
            .in_file(file)
            .remedy("Save it as UTF-8, which the editor's dialog for saving calls encoding.")
            .into());
    }
    String::from_utf8(bytes).map_err(|error| {
        let line = report::line(error.as_bytes(), error.utf8_error().valid_up_to());
        let message = format!("the file is not UTF-8 text (line {line})");
        Fault::new(Class::Scene, message).in_file(file).remedy("Save it as UTF-8.").into()
    })
}

fn special(file: &Path) -> Fault {
    Fault::new(Class::Usage, "this is a device or pipe, not a file of text")
        .in_file(file)
        .remedy("Save the text in a file, and give its path.")
}

/// A file beside `file` whose name comes close.
pub(super) fn near_file(file: &Path) -> Option<String> {
    let wanted = file.file_name()?.to_str()?;
    let names = names_beside(file);
    crate::scene::keys::near(wanted, names.iter().map(String::as_str)).map(str::to_owned)
}

/// Names in the folder of `file`, sorted; at most some thousand, so that a huge folder costs no time.
fn names_beside(file: &Path) -> Vec<String> {
    let Ok(entries) = std::fs::read_dir(crate::base::folder::of(file)) else { return Vec::new() };
    let mut names: Vec<String> =
        entries.take(4000).flatten().filter_map(|entry| entry.file_name().into_string().ok()).collect();
    names.sort_unstable();
    names
}

/// The TOML file in a folder, if there is just one.
fn only_toml(folder: &Path) -> Option<PathBuf> {
    let names = names_beside(&folder.join("x"));
    let mut found = names.iter().filter(|name| name.ends_with(".toml"));
    match (found.next(), found.next()) {
        (Some(only), None) => Some(folder.join(only)),
        _ => None,
    }
}

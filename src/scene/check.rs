//! Checks of names and picture paths, so that a scene works alike on every file system.

use crate::base::fault::Class;
use crate::base::names;
use crate::scene::keys::shown;
use crate::scene::project::MARK;
use crate::scene::source::near_file;
use std::path::Path;

/// What is wrong with a name or a path.
pub(super) struct Unfit {
    pub class: Class,
    pub message: String,
    pub remedy: String,
}

/// Names that name devices on Windows, whatever follows the first dot.
const DEVICES: [&str; 6] = ["con", "prn", "aux", "nul", "conin$", "conout$"];

/// What outputs add to a slot's name.
const ENDINGS: [&str; 5] = [".fog", ".rim", ".art", ".lamp", ".png"];

/// Longest name in bytes; file systems take 255, and outputs add to it.
const LONGEST_NAME: usize = 100;

/// What two names differ in that some file system takes for one.
pub(super) fn only_in(a: &str, b: &str) -> &'static str {
    if names::differ_in_case(a, b) { "case" } else { "how their letters are composed" }
}

/// Whether outputs can be called after a slot's name on every file system.
pub(super) fn name(name: &str) -> Result<(), Unfit> {
    called("slot", name)
}

/// Whether a folder can be called after a mood's name on every file system.
pub(super) fn mood_name(name: &str) -> Result<(), Unfit> {
    called("mood", name)
}

fn called(what: &str, name: &str) -> Result<(), Unfit> {
    let unfit = |why: String, remedy: &str| {
        Err(Unfit {
            class: Class::Scene,
            message: format!("the {what}'s name {} {why}", shown(name)),
            remedy: remedy.to_owned(),
        })
    };
    let files = "Files are named after it: use letters, digits, - and _.";
    if name.is_empty() {
        return unfit("is empty".into(), files);
    }
    if name.len() > LONGEST_NAME {
        return unfit(
            format!("is {} bytes long, over the limit of {LONGEST_NAME}", name.len()),
            "Use a shorter one.",
        );
    }
    if let Some(bad) =
        name.chars().find(|c| c.is_control() || !names::fits_markup(*c) || r#"/\<>:"|?*"#.contains(*c))
    {
        return unfit(format!("contains {:?}, which is not allowed in file names", bad.to_string()), files);
    }
    let at_end = |c: char| c == '.' || c.is_whitespace();
    if name.starts_with(at_end) || name.ends_with(at_end) {
        return unfit("starts or ends with a dot or a space".into(), files);
    }
    let lower = name.to_lowercase();
    let stem = lower.split('.').next().unwrap_or_default().trim_end();
    let port = |prefix: &str| {
        let rest = stem.strip_prefix(prefix).unwrap_or_default();
        let mut digits = rest.chars();
        matches!((digits.next(), digits.next()), (Some('0'..='9' | '¹' | '²' | '³'), None))
    };
    if DEVICES.contains(&stem) || port("com") || port("lpt") {
        return unfit("is a device on Windows".into(), "Use another name.");
    }
    if let Some(ending) = ENDINGS.iter().find(|ending| lower.ends_with(*ending)) {
        return unfit(
            format!("ends in {ending}, which is reserved for outputs"),
            "Leave the ending out, so that no two outputs get one name.",
        );
    }
    Ok(())
}

/// Whether a picture's path stays in the scene's folder, or `climb` levels above it, whatever the system.
pub(super) fn art_path(path: &str, climb: usize) -> Result<(), Unfit> {
    inside(
        "the picture's path",
        path,
        climb,
        "Keep pictures beside the scene or in a folder below it, with / between folders; or put a file \
         `fogweft.toml` in the folder that holds all levels and pictures.",
    )
}

/// Whether a path, which messages call `what`, stays in the folder of the file that names it, or `climb` levels above it, whatever the system.
pub(super) fn inside(what: &str, path: &str, climb: usize, remedy: &str) -> Result<(), Unfit> {
    let unfit = |message: String| Err(Unfit { class: Class::Scene, message, remedy: remedy.to_owned() });
    let written = shown(path);
    let mut start = path.chars();
    let drive = matches!((start.next(), start.next()), (Some('a'..='z' | 'A'..='Z'), Some(':')));
    if path.trim().is_empty() {
        return unfit(format!("{what} is empty"));
    }
    if path.len() > 1000 {
        return unfit(format!("{what} is {} bytes long, over the limit of 1000", path.len()));
    }
    if path.starts_with(['/', '\\']) || drive {
        return unfit(format!("{what} {written} is not relative to the scene's folder"));
    }
    if path.contains('\\') {
        return Err(Unfit {
            class: Class::Scene,
            message: format!("{what} '{path}' has \\ between folders"),
            remedy: format!("Write '{}': / is right on every system.", path.replace('\\', "/")),
        });
    }
    if path.chars().any(char::is_control) {
        return unfit(format!("{what} {written} contains a character that not every system allows"));
    }
    let mut depth = climb;
    for part in path.split('/') {
        depth = match part {
            "" | "." => depth,
            ".." => match depth.checked_sub(1) {
                Some(depth) => depth,
                None if climb > 0 => {
                    return unfit(format!("{what} {written} leaves the project's folder"));
                }
                None => return unfit(format!("{what} {written} leaves the scene's folder")),
            },
            _ => depth + 1,
        };
    }
    Ok(())
}

/// Whether the picture is there, an ordinary file, and in the scene's `folder` where links lead to.
pub(super) fn art_file(file: &Path, folder: &Path) -> Result<(), Unfit> {
    let unfit = |message: String, remedy: String| Err(Unfit { class: Class::Picture, message, remedy });
    match std::fs::metadata(file) {
        Ok(found) if found.is_dir() => unfit(
            format!("{} is a folder, not a picture", file.display()),
            "Give the path of a picture in it.".into(),
        ),
        Ok(found) if !found.is_file() => unfit(
            format!("{} is a device or pipe, not a picture", file.display()),
            "Choose a PNG or SVG file.".into(),
        ),
        Ok(_) if leaves(file, folder) => Err(Unfit {
            class: Class::Scene,
            message: format!(
                "{} is a link that leaves the {} folder",
                file.display(),
                if folder.join(MARK).is_file() { "project's" } else { "scene's" }
            ),
            remedy: "Copy the picture beside the scene or into a folder below it.".into(),
        }),
        Ok(_) => Ok(()),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => unfit(
            format!("there is no picture {}", file.display()),
            match near_file(file) {
                Some(near) => format!("Did you mean {}?", shown(&near)),
                None => "The path is relative to the scene's folder.".into(),
            },
        ),
        Err(error) => unfit(
            format!("the picture {} can't be reached: {error}", file.display()),
            "Check the path and its permissions.".into(),
        ),
    }
}

/// Whether links lead out of the folder. Where a path can't be followed it isn't told here.
pub(super) fn leaves(file: &Path, folder: &Path) -> bool {
    let folder = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
    match (file.canonicalize(), folder.canonicalize()) {
        (Ok(file), Ok(folder)) => !file.starts_with(folder),
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Rules for names: Windows' "Naming Files, Paths, and Namespaces" (from memory).
    #[test]
    fn names_that_some_file_system_refuses_are_unfit() {
        let long = "n".repeat(101);
        for bad in [
            "",
            ".",
            "..",
            "a/b",
            "a\\b",
            "a\0b",
            "a\nb",
            "a\u{7f}",
            "a:b",
            "a*",
            "a?",
            "\"a\"",
            "<a>",
            "a|b",
            " a",
            "a ",
            ".a",
            "a.",
            "CON",
            "nul",
            "con.left",
            "Com1",
            "lpt9.x",
            "COM²",
            "nul .x",
            "reeds.fog",
            "reeds.RIM",
            "x.art",
            "x.png",
            "a\u{a0}",
            &long,
        ] {
            assert!(name(bad).is_err(), "{bad:?}");
        }
        let most = "n".repeat(100);
        for good in ["reeds-near", "a.b", "com", "com10", "console", "Füße", "山", "a b", "fog", "0", &most]
        {
            assert!(name(good).is_ok(), "{good:?}");
        }
    }

    #[test]
    fn paths_stay_in_the_folder() {
        for bad in
            ["", " ", "/a.png", "\\a.png", "C:a.png", "../a.png", "a/../../b.png", "..", "a\\b.png", "a\0"]
        {
            assert!(art_path(bad, 0).is_err(), "{bad:?}");
        }
        for good in ["a.png", "art/a.png", "./a.png", "art/../a.png", "a b.svg", "...png", "ä.png"] {
            assert!(art_path(good, 0).is_ok(), "{good:?}");
        }
    }
}

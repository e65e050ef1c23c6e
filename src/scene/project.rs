//! The project that a scene belongs to: its root is the nearest folder above that holds `fogweft.toml`, which may say what all its scenes share.

use crate::base::fault::{Class, Faults, Result};
use crate::base::folder;
use crate::base::limits::Limits;
use crate::scene::bases::Named;
use crate::scene::check;
use crate::scene::keys::{self, Place, Reader, shown};
use crate::scene::source::Source;
use std::path::{Component, Path, PathBuf};
use toml::de::DeValue;

/// The file that marks a project's root.
pub const MARK: &str = "fogweft.toml";

/// Keys of that file, each a path from the root.
const KEYS: [&str; 3] = ["shelf", "common", "out"];

/// What to do about a path that leaves the project.
const REMEDY: &str = "Name a place in the project: its path from this file's folder, with / between folders.";

/// What the scenes of a project share.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Project {
    /// Its root; none: the scene belongs to no project.
    root: Option<PathBuf>,
    /// The folder of presets that all its scenes see.
    pub shelf: Option<PathBuf>,
    /// The file that scenes build on which name none.
    common: Option<Named>,
    /// The folder below which outputs go.
    out: Option<PathBuf>,
}

impl Project {
    /// The project of the scene in `file`.
    ///
    /// # Errors
    /// With all faults of its `fogweft.toml`.
    pub fn of_scene(file: &Path, limits: &Limits) -> Result<Project> {
        let Some(root) = root_of(folder::of(file)) else { return Ok(Project::default()) };
        let source = Source::load(&near(&root.join(MARK)), limits)?;
        let mut reader = Reader::new(&source.file);
        let mut room = String::new();
        let (table, _) = reader.parse(&source.text, &mut room);
        let mut project = Project::default();
        for (name, value) in table.iter() {
            let place = Place::File(value.span());
            let Some(key) = KEYS.into_iter().find(|key| key == name.get_ref()) else {
                let message = format!("unknown key {} in {MARK}", shown(name.get_ref()));
                let remedy = keys::instead(name.get_ref(), KEYS.into_iter());
                reader.fault(Class::Scene, &Place::File(name.span()), message, remedy);
                continue;
            };
            let DeValue::String(path) = value.get_ref() else {
                let message = format!("`{key}` must be a path from this file's folder");
                reader.fault(Class::Scene, &place, message, format!("Write it in quotes: {key} = \"…\"."));
                continue;
            };
            match check::inside(&format!("the path of `{key}`"), path, 0, REMEDY) {
                Ok(()) if key == "common" => {
                    let (by, path) = (source.file.clone(), path.clone().into_owned());
                    project.common = Some(Named { by, span: Some(value.span()), path });
                }
                Ok(()) if key == "shelf" => project.shelf = Some(near(&root.join(&**path))),
                Ok(()) => project.out = Some(near(&root.join(&**path))),
                Err(unfit) => reader.fault(unfit.class, &place, unfit.message, unfit.remedy),
            }
        }
        project.root = Some(root);
        let faults = Faults { list: reader.finish(), sources: Vec::new() };
        faults.with_source(&source.file, &source.text).or(project)
    }

    /// The folder below which outputs go, if it names one.
    pub fn out(&self) -> Option<&Path> {
        self.out.as_deref()
    }

    /// Whether it names a file that its scenes build on.
    pub fn has_common(&self) -> bool {
        self.common.is_some()
    }

    /// The file that marks the project of the scene in `file`.
    pub fn mark_of(file: &Path) -> Option<PathBuf> {
        Some(near(&root_of(folder::of(file))?.join(MARK)))
    }

    /// What the scene in `file` builds on if it names nothing itself: the project's common file, unless it is that.
    pub(super) fn common_of(&self, file: &Path) -> Option<Named> {
        let named = self.common.clone()?;
        let common = absolute(&named.by.with_file_name(&named.path));
        (common.is_none() || common != absolute(file)).then_some(named)
    }

    /// Where the outputs of the scene in `file` go, if the project says so: below its folder for outputs, under the scene's path from the
    /// root without its ending.
    pub fn out_of(&self, file: &Path) -> Option<PathBuf> {
        let file = absolute(file)?.with_extension("");
        Some(self.out.as_ref()?.join(file.strip_prefix(self.root.as_ref()?).ok()?))
    }
}

/// An absolute path as one writes it in the current folder, if it lies below that.
fn near(path: &Path) -> PathBuf {
    let here = absolute(Path::new("."));
    let below = here.and_then(|here| path.strip_prefix(here).ok());
    below.filter(|below| !below.as_os_str().is_empty()).unwrap_or(path).to_path_buf()
}

/// The root of the project that holds `folder`; none where no folder above holds [`MARK`].
pub fn root_of(folder: &Path) -> Option<PathBuf> {
    let folder = absolute(folder)?;
    folder.ancestors().find(|above| above.join(MARK).is_file()).map(Path::to_path_buf)
}

/// How many levels a path that starts in `folder` may climb: to the project's root, or not at all.
pub fn climb(folder: &Path) -> usize {
    let (Some(folder), Some(root)) = (absolute(folder), root_of(folder)) else { return 0 };
    folder.strip_prefix(root).map_or(0, |below| below.components().count())
}

/// The path from `folder` to `file`, with `/` between names; none where they share no folder.
pub fn relative(folder: &Path, file: &Path) -> Option<String> {
    let (folder, file) = (absolute(folder)?, absolute(file)?);
    let shared = shared(&folder, &file);
    shared.parent()?;
    let up = folder.strip_prefix(&shared).ok()?.components().map(|_| "..".to_owned());
    let down = file.strip_prefix(&shared).ok()?.components();
    let down: Option<Vec<String>> = down.map(|part| Some(part.as_os_str().to_str()?.to_owned())).collect();
    Some(up.chain(down?).collect::<Vec<_>>().join("/"))
}

/// The deepest folder that holds both.
pub fn shared(one: &Path, other: &Path) -> PathBuf {
    let both = one.components().zip(other.components());
    both.take_while(|(one, other)| one == other).map(|(part, _)| part).collect()
}

/// The absolute path, its `..` followed where links lead; of what isn't there yet, as far as it is.
pub fn absolute(path: &Path) -> Option<PathBuf> {
    let whole = std::path::absolute(path).ok()?;
    for above in whole.ancestors() {
        if let (Ok(found), Ok(rest)) = (above.canonicalize(), whole.strip_prefix(above)) {
            let plain = rest.components().all(|part| matches!(part, Component::Normal(_)));
            return plain.then(|| if rest.as_os_str().is_empty() { found } else { found.join(rest) });
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paths_climb_to_the_projects_root_and_no_farther() {
        let folder = tempfile::tempdir().unwrap();
        let level = folder.path().join("levels/one");
        std::fs::create_dir_all(&level).unwrap();
        assert_eq!(climb(&level), 0);
        std::fs::write(folder.path().join(MARK), "").unwrap();
        assert_eq!(climb(&level), 2);
        assert_eq!(climb(folder.path()), 0);
        assert_eq!(
            relative(&level, &folder.path().join("art/hut.png")),
            Some("../../art/hut.png".to_owned())
        );
        assert_eq!(relative(&level, &level.join("hut.png")), Some("hut.png".to_owned()));
    }
}

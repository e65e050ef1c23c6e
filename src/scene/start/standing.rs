//! Where a scene finds the painting that it is made of.

use crate::base::fault::{Class, Fault, Faults, Result};
use crate::base::files;
use crate::scene::project;
use crate::scene::start::painting::{Painting, Picture};
use std::fs;
use std::path::{Path, PathBuf};

/// Where the painting of a scene stands.
pub(super) struct Standing {
    /// The painting's path if it lay beside the scene; empty for a folder of pictures that do.
    pub name: String,
    /// Its path from the scene.
    pub path: String,
    /// Whether it is copied beside the scene.
    copy: bool,
    /// The folder that becomes the project's root, so that the scene may point at it.
    root: Option<PathBuf>,
}

impl Standing {
    /// Where a scene in `folder` finds the painting.
    ///
    /// # Errors
    /// Class `Usage`: no folder can hold both as a project, or the path holds signs that a scene's paths may not.
    pub fn of(folder: &Path, painting: &Painting, copy: bool) -> Result<Standing> {
        let file = &painting.file;
        let fault = |message: &str, remedy: &str| {
            Err(Fault::new(Class::Usage, message).in_file(file).remedy(remedy).into())
        };
        let is_folder = file.is_dir();
        let whole = project::absolute(file).unwrap_or_else(|| file.clone());
        let own = whole.file_name().unwrap_or_default().to_string_lossy().into_owned();
        let name = if is_folder { String::new() } else { own };
        let path = if copy { Some(name.clone()) } else { project::relative(folder, file) };
        let Some(path) = path else {
            return fault(
                "the scene and the painting share no folder",
                "Add --copy to copy the painting beside the scene.",
            );
        };
        let unfit = |path: &str| path.contains(['#', '\\']) || path.chars().any(char::is_control);
        if !is_folder && (!name.to_ascii_lowercase().ends_with(".ora") || unfit(&path)) {
            return fault("a layered file's path must end in .ora and contain no # or \\", "Rename it.");
        }
        if unfit(&path) {
            return fault("the folder's path contains # or \\", "Rename it.");
        }
        let above = path.split('/').take_while(|part| *part == "..").count();
        let root = if above <= project::climb(folder) { None } else { Some(new_root(folder, file)?) };
        Ok(Standing { name, path, copy, root })
    }

    /// The files that are copied, and where to.
    fn copies(&self, folder: &Path, painting: &Painting) -> Vec<(PathBuf, PathBuf)> {
        let copied = painting.layers.iter().filter(|_| self.copy);
        let mut all: Vec<(PathBuf, PathBuf)> = copied
            .map(|layer| match &layer.picture {
                Picture::File(path) => (painting.file.join(path), folder.join(path)),
                Picture::Layer(_) => (painting.file.clone(), folder.join(&self.name)),
            })
            .collect();
        all.sort();
        all.dedup();
        all
    }

    /// Whether nothing stands where copies go.
    ///
    /// # Errors
    /// Class `Output`, with every file that stands in the way.
    pub fn check(&self, folder: &Path, painting: &Painting) -> Result<()> {
        let mut faults = Faults::default();
        for (from, to) in self.copies(folder, painting) {
            let same = || matches!((fs::read(&from), fs::read(&to)), (Ok(one), Ok(other)) if one == other);
            if to.symlink_metadata().is_ok() && !same() {
                faults.list.push(super::in_the_way(&to));
            }
        }
        faults.or(())
    }

    /// Copies what is copied and marks the project's root. Returns what there is to say of it.
    pub fn prepare(&self, folder: &Path, painting: &Painting) -> Result<Vec<String>> {
        for (from, to) in self.copies(folder, painting) {
            if to.symlink_metadata().is_ok() {
                continue;
            }
            let bytes = fs::read(&from).map_err(|error| {
                Fault::new(Class::Picture, format!("the file can't be read: {}", files::why(&error)))
                    .in_file(&from)
            })?;
            if let Some(parent) = to.parent() {
                files::prepare_folder(parent)?;
            }
            files::put_new(&to, &bytes)?;
        }
        let Some(root) = &self.root else { return Ok(Vec::new()) };
        let mark = root.join(project::MARK);
        files::put_new(&mark, MARK_TEXT.as_bytes())?;
        Ok(vec![format!(
            "created {}: scenes below its folder may use pictures from anywhere in it; --copy would copy the painting instead",
            mark.display()
        )])
    }
}

/// What a new project's root says of itself.
const MARK_TEXT: &str = "# The root of a fogweft project: scenes in folders below may use pictures from anywhere in here.\n# It may name what they share: shelf = \"presets\", common = \"common.toml\", out = \"build/fog\".\n";

/// The folder to become the root: the deepest that holds both, if the command runs in it or above it.
fn new_root(folder: &Path, file: &Path) -> Result<PathBuf> {
    let both = project::absolute(folder).zip(project::absolute(file));
    let root = both.map(|(folder, file)| project::shared(&folder, &file));
    let here = project::absolute(Path::new("."));
    match (root, here) {
        (Some(root), Some(here)) if root.starts_with(&here) => Ok(root),
        (root, _) => {
            let both = root.unwrap_or_default();
            Err(Fault::new(Class::Usage, "the painting lies outside the scene's project")
                .in_file(file)
                .remedy(format!(
                    "Create an empty file {} to let scenes below it share pictures, or add --copy.",
                    both.join(project::MARK).display()
                ))
                .into())
        }
    }
}

//! The project that a scene belongs to: its root is the nearest folder above that holds `fogweft.toml`.

use std::path::{Component, Path, PathBuf};

/// The file that marks a project's root.
pub const MARK: &str = "fogweft.toml";

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

//! The folder that a file stands in, and paths of any length.

use std::path::Path;
#[cfg(windows)]
use std::path::PathBuf;

/// The folder of `file`; the current one where its path names none.
pub fn of(file: &Path) -> &Path {
    match file.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

/// A path as Windows takes it whatever its length: more than 260 characters only in the form that isn't interpreted (Microsoft, Maximum
/// Path Length Limitation). The standard library sees to that itself; what makes drafts doesn't.
#[cfg(windows)]
pub fn whole(path: &Path) -> PathBuf {
    /// With the name of a draft added, still short enough.
    const SHORT: usize = 200;
    let long = std::path::absolute(path).is_ok_and(|path| path.as_os_str().len() > SHORT);
    let folder = if long { std::fs::canonicalize(of(path)).ok() } else { None };
    match (folder, path.file_name()) {
        (Some(folder), Some(name)) => folder.join(name),
        _ => path.to_path_buf(),
    }
}

/// A path as the system takes it whatever its length.
#[cfg(not(windows))]
pub fn whole(path: &Path) -> &Path {
    path
}

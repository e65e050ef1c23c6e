//! The folder that a file stands in.

use std::path::Path;

/// The folder of `file`; the current one where its path names none.
pub fn of(file: &Path) -> &Path {
    match file.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

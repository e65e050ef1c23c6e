//! Whether two names lead to one file.

use std::fs;
use std::path::Path;

/// Whether both paths lead to one file, by links of either kind too.
pub fn is_same(one: &Path, other: &Path) -> bool {
    let whole = |path| fs::canonicalize(path).ok();
    has_same_node(one, other) || whole(one).is_some_and(|one| whole(other) == Some(one))
}

/// Whether both are the same file of the same disk. No file is opened, since that could wait for another program.
#[cfg(unix)]
fn has_same_node(one: &Path, other: &Path) -> bool {
    let (Ok(one), Ok(other)) = (fs::metadata(one), fs::metadata(other)) else { return false };
    is_same_node(&one, &other)
}

/// Whether both are the same file of the same disk.
#[cfg(windows)]
fn has_same_node(one: &Path, other: &Path) -> bool {
    same_file::is_same_file(one, other).unwrap_or(false)
}

/// Whether both are the same file of the same disk: not known here.
#[cfg(not(any(unix, windows)))]
fn has_same_node(_one: &Path, _other: &Path) -> bool {
    false
}

/// Whether both are the same file of the same disk.
#[cfg(unix)]
fn is_same_node(one: &fs::Metadata, other: &fs::Metadata) -> bool {
    use std::os::unix::fs::MetadataExt;
    (one.dev(), one.ino()) == (other.dev(), other.ino())
}

/// Whether standard output goes to the file at `path`.
#[cfg(unix)]
pub fn is_standard_output(path: &Path) -> bool {
    use std::os::fd::AsFd;
    let out = std::io::stdout().as_fd().try_clone_to_owned().map(fs::File::from);
    let (Ok(out), Ok(file)) = (out.and_then(|out| out.metadata()), fs::metadata(path)) else { return false };
    out.is_file() && is_same_node(&out, &file)
}

/// Whether standard output goes to the file at `path`.
#[cfg(windows)]
pub fn is_standard_output(path: &Path) -> bool {
    use same_file::Handle;
    let ordinary = fs::metadata(path).is_ok_and(|data| data.is_file());
    ordinary && matches!((Handle::stdout(), Handle::from_path(path)), (Ok(out), Ok(file)) if out == file)
}

/// Whether standard output goes to the file at `path`: not known here.
#[cfg(not(any(unix, windows)))]
pub fn is_standard_output(_path: &Path) -> bool {
    false
}

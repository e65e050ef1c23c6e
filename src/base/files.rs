//! Files that appear whole or not at all.

use crate::base::fault::{Class, Fault, Result};
use crate::base::folder;
use std::fs;
use std::io::{self, ErrorKind, Write};
use std::path::Path;

/// Writes a file: afterwards `path` holds all of `bytes`, or what it held before.
///
/// The bytes go to a temporary file in the same folder, which then takes the place of `path`; on failure it is
/// removed. New files get the usual permissions (under the process's umask).
///
/// # Errors
/// Class `Output`: the folder is missing or closed to writing, the disk is full, or `path` is a folder, a link, a
/// device or marked read-only.
pub fn write_whole(path: impl AsRef<Path>, bytes: &[u8]) -> Result<()> {
    let path = path.as_ref();
    refuse_special(path)?;
    place(folder::of(path), path, bytes).map_err(|error| cannot_write(path, &error).into())
}

/// Makes the folder, with those above it.
///
/// # Errors
/// Class `Output`: a file stands in the way, or the folder can't be made.
pub fn make_folder(path: impl AsRef<Path>) -> Result<()> {
    let path = path.as_ref();
    match fs::metadata(path) {
        Ok(data) if !data.is_dir() => {
            return Err(Fault::new(Class::Output, "a file is where the output folder should be")
                .in_file(path)
                .remedy("Move the file, or choose another folder.")
                .into());
        }
        Ok(_) => {}
        Err(_) => fs::create_dir_all(path).map_err(|error| {
            Fault::new(Class::Output, format!("the output folder can't be created: {}", why(&error)))
                .in_file(path)
                .remedy(remedy(&error))
        })?,
    }
    Ok(())
}

/// Makes the folder, with those above it, and checks that files can be written in it.
///
/// # Errors
/// Class `Output`: a file stands in the way, or the folder can't be made or written in.
pub fn prepare_folder(path: impl AsRef<Path>) -> Result<()> {
    let path = path.as_ref();
    make_folder(path)?;
    // A long run shouldn't find out at its end.
    draft().tempfile_in(path).map(drop).map_err(|error| {
        Fault::new(Class::Output, format!("the output folder is not writable: {}", why(&error)))
            .in_file(path)
            .remedy(remedy(&error))
            .into()
    })
}

/// Removes the drafts that a run left which was ended from outside. Nobody else may be writing in the folder.
pub fn sweep(folder: impl AsRef<Path>) {
    let Ok(entries) = fs::read_dir(folder) else { return };
    for entry in entries.flatten() {
        let name = entry.file_name();
        let ours = name.to_str().is_some_and(|name| name.starts_with(DRAFT[0]) && name.ends_with(DRAFT[1]));
        if ours && entry.file_type().is_ok_and(|kind| kind.is_file()) {
            // Whoever can't remove it loses nothing but its space.
            let _ = fs::remove_file(entry.path());
        }
    }
}

/// How the names of drafts begin and end.
const DRAFT: [&str; 2] = [".fogweft-", ".part"];

/// Refuses what a rename would replace or follow against the user's will.
fn refuse_special(path: &Path) -> Result<()> {
    let Ok(data) = fs::symlink_metadata(path) else { return Ok(()) };
    let kind = data.file_type();
    let (message, remedy) = if kind.is_symlink() {
        (
            "the output is a link, which is neither followed nor replaced",
            "Remove the link, or choose another folder.",
        )
    } else if kind.is_dir() {
        ("a folder is where the output should be", "Move the folder, or choose another one.")
    } else if !kind.is_file() {
        ("the output is not an ordinary file", "Choose another folder.")
    } else if data.permissions().readonly() {
        ("the output is marked read-only", "Make it writable, or choose another folder.")
    } else {
        return Ok(());
    };
    Err(Fault::new(Class::Output, message).in_file(path).remedy(remedy).into())
}

fn place(folder: &Path, path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut file = draft().tempfile_in(folder)?;
    file.write_all(bytes)?;
    file.flush()?;
    // Without this a power cut after the rename could leave an empty file.
    file.as_file().sync_all()?;
    // The guard removes the temporary file if the rename fails.
    file.persist(path).map_err(|error| error.error)?;
    Ok(())
}

fn draft() -> tempfile::Builder<'static, 'static> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(DRAFT[0]).suffix(DRAFT[1]);
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        // The library's own default is 0600; the umask takes off what it should.
        builder.permissions(fs::Permissions::from_mode(0o666));
    }
    builder
}

fn cannot_write(path: &Path, error: &io::Error) -> Fault {
    Fault::new(Class::Output, format!("the file can't be written: {}", why(error)))
        .in_file(path)
        .remedy(remedy(error))
}

/// The cause in plain words.
pub(crate) fn why(error: &io::Error) -> String {
    match error.kind() {
        ErrorKind::NotFound => "its folder or the file itself doesn't exist".into(),
        ErrorKind::PermissionDenied => "permission denied".into(),
        ErrorKind::ReadOnlyFilesystem => "the disk is read-only".into(),
        ErrorKind::StorageFull => "the disk is full".into(),
        ErrorKind::QuotaExceeded => "the disk quota is used up".into(),
        ErrorKind::FileTooLarge => "the file is larger than the disk allows".into(),
        ErrorKind::InvalidFilename => {
            "the name is too long or has characters that the disk does not allow".into()
        }
        ErrorKind::NotADirectory => "part of its path is a file, not a folder".into(),
        ErrorKind::IsADirectory => "it is a folder".into(),
        _ => error.to_string(),
    }
}

fn remedy(error: &io::Error) -> &'static str {
    match error.kind() {
        ErrorKind::NotFound => "Create the folder first, or check its spelling.",
        ErrorKind::PermissionDenied | ErrorKind::ReadOnlyFilesystem => {
            "Choose a folder that you can write to, or change its permissions."
        }
        ErrorKind::StorageFull | ErrorKind::QuotaExceeded | ErrorKind::FileTooLarge => {
            "Free some space, or choose a folder on another disk."
        }
        ErrorKind::InvalidFilename => "Choose a shorter or plainer name.",
        ErrorKind::NotADirectory => "Choose another folder.",
        _ => "Check the disk, or choose another folder.",
    }
}

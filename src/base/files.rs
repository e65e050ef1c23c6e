//! The one door by which files are written: they appear whole or not at all, and replace only what they may.

use crate::base::fault::{Class, Fault, Result};
use crate::base::{folder, mark, stamp};
use std::fs;
use std::io::{self, ErrorKind, Write};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};
use tempfile::TempPath;

/// What a file may replace.
#[derive(Clone, Copy, Debug)]
pub enum Over<'a> {
    /// Nothing: the name must be free.
    Nothing,
    /// A file that bears the mark of one that this program wrote and nobody edited since ([`mark`]).
    Marked,
    /// A file whose content has one of these hashes (BLAKE3 in hexadecimal).
    Known(&'a [String]),
    /// Any ordinary file.
    Any,
}

/// What became of a file that was to be written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[must_use]
pub enum Placed {
    /// It holds the new bytes.
    Written,
    /// Something stands there that mustn't be replaced; nothing was changed.
    Stands,
}

/// Writes a file: afterwards `path` holds all of `bytes`, or what it held before.
///
/// The bytes go to a temporary file in the same folder, which then takes the place of `path`; on failure it is
/// removed. New files get the usual permissions (under the process's umask); a file that is replaced hands on its own.
///
/// What stands there is looked at just before, and, where the system can exchange two files in one step, once more just after: what
/// somebody saved in between gets its name back.
///
/// # Errors
/// Class `Output`: the folder is missing or closed to writing, the disk is full, or `path` is a folder, a link, a
/// device or marked read-only.
pub fn put(path: impl AsRef<Path>, bytes: &[u8], over: Over<'_>) -> Result<Placed> {
    let path = path.as_ref();
    refuse_special(path)?;
    Draft::new(path, bytes)?.place(path, over)
}

/// The bytes of a file in a temporary file of the folder that it is meant for; removed with this, unless it took a name.
#[derive(Debug)]
pub struct Draft(Option<TempPath>);

impl Draft {
    /// Writes `bytes`, which are meant for `path`.
    ///
    /// # Errors
    /// Class `Output`: the folder is missing or closed to writing, or the disk is full.
    pub fn new(path: &Path, bytes: &[u8]) -> Result<Draft> {
        let write = || -> io::Result<TempPath> {
            let mut file = draft().tempfile_in(folder::whole(folder::of(path)))?;
            file.write_all(bytes)?;
            Ok(file.into_temp_path())
        };
        Ok(Draft(Some(write().map_err(|error| cannot_write(path, &error))?)))
    }

    /// As [`put`] of what was written. It can be placed again where that failed, or where something stands there.
    ///
    /// # Errors
    /// As for [`put`].
    pub fn place(&mut self, path: &Path, over: Over<'_>) -> Result<Placed> {
        let Some(draft) = &self.0 else { return Ok(Placed::Written) };
        // Without this a power cut after the rename could leave an empty file.
        let synced = fs::File::options().write(true).open(draft).and_then(|file| file.sync_all());
        synced.map_err(|error| cannot_write(path, &error))?;
        place(&mut self.0, path, over)
    }
}

/// As [`put`] over any ordinary file: for the program's own hidden files.
///
/// # Errors
/// As for [`put`].
pub fn write_whole(path: impl AsRef<Path>, bytes: &[u8]) -> Result<()> {
    put(path, bytes, Over::Any).map(|_| ())
}

/// Writes a file that isn't there yet, or finds it there as it would be written.
///
/// # Errors
/// As for [`put`], and where something else stands there.
pub fn put_new(path: impl AsRef<Path>, bytes: &[u8]) -> Result<()> {
    let path = path.as_ref();
    let own = [blake3::hash(bytes).to_hex().to_string()];
    match put(path, bytes, Over::Known(&own))? {
        Placed::Written => Ok(()),
        Placed::Stands => Err(Fault::new(Class::Output, "the file already exists")
            .in_file(path)
            .remedy("Choose a new folder.")
            .into()),
    }
}

/// As [`put`] over any ordinary file, without waiting for the disk: for what is checked when it is read, and can be made again.
///
/// # Errors
/// The system's.
pub fn write_spare(path: &Path, parts: &[&[u8]]) -> io::Result<()> {
    let mut file = draft().tempfile_in(folder::whole(folder::of(path)))?;
    parts.iter().try_for_each(|part| file.write_all(part))?;
    if fs::symlink_metadata(path).is_ok_and(|data| !data.is_file()) {
        return Err(ErrorKind::AlreadyExists.into());
    }
    file.persist(folder::whole(path)).map(drop).map_err(|error| error.error)
}

/// Saves over a file whose content is known to be `known`, where it is a link over the file that it points to. Mode and owner stay.
///
/// # Errors
/// As for [`put`].
pub fn save(path: impl AsRef<Path>, known: &[u8], bytes: &[u8]) -> Result<Placed> {
    let path = path.as_ref();
    let file = link_target(path).unwrap_or_else(|| path.to_path_buf());
    put(file, bytes, Over::Known(&[blake3::hash(known).to_hex().to_string()]))
}

/// Where a file really stands, if `path` is a link to it.
pub fn link_target(path: &Path) -> Option<PathBuf> {
    let linked = fs::symlink_metadata(path).is_ok_and(|data| data.is_symlink());
    if linked { fs::canonicalize(path).ok() } else { None }
}

/// Removes a file whose content has one of the hashes `known`; false where it has another and stays. What is to be removed leaves its
/// name first, so that nothing can be saved over it after the look.
///
/// # Errors
/// The system's.
pub fn remove(path: &Path, known: &[String]) -> io::Result<bool> {
    let aside = draft().tempfile_in(folder::whole(folder::of(path)))?.into_temp_path();
    fs::rename(path, &aside)?;
    if is_over(&aside, Over::Known(known)) {
        aside.close()?;
        return Ok(true);
    }
    // Somebody saved it just before. Should the name be taken again already, the older save stays beside it under the draft's.
    match aside.persist_noclobber(folder::whole(path)) {
        Ok(()) => {}
        Err(error) => drop(error.path.keep()),
    }
    Ok(false)
}

/// Gives a file the present time; whether that went well matters to nobody.
pub fn touch(path: &Path) {
    let ordinary = fs::symlink_metadata(path).is_ok_and(|data| data.is_file());
    if ordinary && let Ok(open) = fs::File::options().append(true).open(path) {
        let _ = open.set_modified(std::time::SystemTime::now());
    }
}

/// Makes `folder`, which is `root` or lies below it. `root` may be a link; what the program names below it may not.
///
/// # Errors
/// Class `Output`: a file or a link stands in the way, or the folder can't be made.
pub fn make_folder_below(root: &Path, folder: &Path) -> Result<()> {
    let below = folder.strip_prefix(root).unwrap_or(Path::new(""));
    let mut at = root.to_path_buf();
    for part in below.components() {
        at.push(part);
        if fs::symlink_metadata(&at).is_ok_and(|data| data.is_symlink()) {
            return Err(Fault::new(Class::Output, "the output folder is a link, which is not followed")
                .in_file(at)
                .remedy("Remove the link, or choose another output folder.")
                .into());
        }
    }
    make_folder(folder)
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
    draft().tempfile_in(folder::whole(path)).map(drop).map_err(|error| {
        Fault::new(Class::Output, format!("the output folder is not writable: {}", why(&error)))
            .in_file(path)
            .of_room(&error)
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
pub(crate) fn refuse_special(path: &Path) -> Result<()> {
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

/// Whether the file at `path` may be replaced.
pub(crate) fn is_over(path: &Path, over: Over<'_>) -> bool {
    match over {
        Over::Nothing => false,
        Over::Marked => mark::is_marked(path),
        Over::Known(known) => stamp::digest(path)
            .is_ok_and(|(hash, _)| known.iter().any(|known| *known == hash.to_hex().as_str())),
        Over::Any => true,
    }
}

/// Gives a draft its name, with which it is gone. Somebody may take or free that name at any time, so a few attempts are made.
fn place(draft: &mut Option<TempPath>, path: &Path, over: Over<'_>) -> Result<Placed> {
    for _ in 0..ATTEMPTS {
        refuse_special(path)?;
        let Some(own) = draft.take() else { break };
        let Ok(there) = fs::symlink_metadata(path) else {
            let Err(error) = own.persist_noclobber(folder::whole(path)) else { return Ok(Placed::Written) };
            *draft = Some(error.path);
            if error.error.kind() != ErrorKind::AlreadyExists {
                return Err(cannot_write(path, &error.error).into());
            }
            continue;
        };
        let own = draft.insert(own);
        if !is_over(path, over) {
            // What was removed just now isn't in the way.
            if path.symlink_metadata().is_ok() {
                return Ok(Placed::Stands);
            }
            continue;
        }
        keep_rights(own, &there);
        if let Over::Any = over {
            return persist(draft, path);
        }
        match exchange(own, path) {
            Ok(()) => {
                let placed = settle(own, path, over).map_err(|error| cannot_write(path, &error))?;
                if placed == Placed::Written {
                    // What it holds now is what it was placed over.
                    *draft = None;
                }
                return Ok(placed);
            }
            Err(error) if error.kind() == ErrorKind::NotFound => {}
            // Not every disk can exchange files; the look above was just now.
            Err(_) => return persist(draft, path),
        }
    }
    Ok(Placed::Stands)
}

/// Puts a draft in the place of a file. Where another program holds that open, its end is waited for, for a while.
fn persist(draft: &mut Option<TempPath>, path: &Path) -> Result<Placed> {
    let until = Instant::now() + PATIENCE;
    while let Some(own) = draft.take() {
        let Err(error) = own.persist(folder::whole(path)) else { break };
        *draft = Some(error.path);
        if !is_held(&error.error) {
            return Err(cannot_write(path, &error.error).into());
        }
        if Instant::now() >= until {
            return Err(Fault::new(Class::Output, "the file is open in another program")
                .in_file(path)
                .of_held()
                .remedy("Close it there; what isn't written yet is written by the next run.")
                .into());
        }
        std::thread::sleep(PAUSE);
    }
    Ok(Placed::Written)
}

/// How long a file that another program holds open is waited for, and between two looks.
const PATIENCE: Duration = Duration::from_secs(2);
/// See [`PATIENCE`].
const PAUSE: Duration = Duration::from_millis(50);

/// Whether a file can't be replaced because another program has it open, which Windows alone forbids: ERROR_ACCESS_DENIED,
/// ERROR_SHARING_VIOLATION, ERROR_LOCK_VIOLATION (Microsoft, System Error Codes 0 to 499). Read-only files were refused before.
fn is_held(error: &io::Error) -> bool {
    cfg!(windows) && matches!(error.raw_os_error(), Some(5 | 32 | 33))
}

/// How often a name is tried that others take and free meanwhile.
const ATTEMPTS: usize = 16;

/// After the exchange, `draft` is what stood at `path`: it goes if it may, else it gets its name back.
fn settle(draft: &Path, path: &Path, over: Over<'_>) -> io::Result<Placed> {
    if is_over(draft, over) {
        return Ok(Placed::Written);
    }
    let fresh = stamp::digest(path).ok();
    exchange(draft, path)?;
    if stamp::digest(draft).ok() != fresh || fresh.is_none() {
        // Saved once more within that moment, over the new file: the latest save has the name.
        exchange(draft, path)?;
    }
    Ok(Placed::Stands)
}

/// Exchanges two files in one step.
#[cfg(any(target_os = "linux", target_vendor = "apple"))]
fn exchange(one: &Path, other: &Path) -> io::Result<()> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    Ok(renameat_with(CWD, one, CWD, other, RenameFlags::EXCHANGE)?)
}

/// Exchanges two files in one step: not here.
#[cfg(not(any(target_os = "linux", target_vendor = "apple")))]
fn exchange(_one: &Path, _other: &Path) -> io::Result<()> {
    Err(ErrorKind::Unsupported.into())
}

/// Gives a draft the mode and the owner of what it replaces, as far as this process may.
fn keep_rights(draft: &Path, there: &fs::Metadata) {
    #[cfg(unix)]
    {
        use std::os::unix::fs::MetadataExt;
        let own = fs::symlink_metadata(draft);
        if own.is_ok_and(|own| (own.uid(), own.gid()) != (there.uid(), there.gid())) {
            let group = std::os::unix::fs::chown(draft, None, Some(there.gid()));
            let _ = group.and_then(|()| std::os::unix::fs::chown(draft, Some(there.uid()), None));
        }
    }
    let _ = fs::set_permissions(draft, there.permissions());
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
        .of_room(error)
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

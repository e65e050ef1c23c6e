//! One run at a time in a folder.

use crate::base::fault::{Class, Fault, Result};
use crate::base::files::why;
use std::fs::{File, OpenOptions, TryLockError};
use std::io::{Read, Seek, SeekFrom, Write};
use std::path::Path;
use std::time::{Duration, Instant};

/// Name of the lock file. It stays behind; what counts is the system's lock on it, which ends with its process however that ends.
pub const NAME: &str = ".fogweft-lock";

/// Who holds it, for the message of others, where the system lets nobody read what is locked.
#[cfg(windows)]
const HOLDER: &str = ".fogweft-lock-holder";

/// Name of the lock file in the output folder of a scene with moods, held by the run that writes.
pub const MOODS: &str = ".fogweft-moods-lock";

/// How long a lock that another process holds is waited for.
const MOMENT: Duration = Duration::from_millis(500);

/// The same for one that is held while files are written.
const WHILE: Duration = Duration::from_secs(120);

/// Holds a folder until it is dropped.
#[derive(Debug)]
pub struct Lock {
    _file: File,
}

impl Lock {
    /// Takes the lock of `folder`, which must exist.
    ///
    /// # Errors
    /// Class `Output`: another run holds it (the message names it), or the file can't be made.
    pub fn take(folder: &Path) -> Result<Lock> {
        Lock::named(folder, NAME, MOMENT)
    }

    /// Takes the lock of this name in `folder`, once the runs that hold it have written what they have.
    ///
    /// # Errors
    /// As for [`Lock::take`].
    pub fn wait(folder: &Path, name: &str) -> Result<Lock> {
        Lock::named(folder, name, WHILE)
    }

    fn named(folder: &Path, name: &str, wait: Duration) -> Result<Lock> {
        let path = folder.join(name);
        let cannot = |error: &std::io::Error| {
            Fault::new(Class::Output, format!("the folder can't be locked: {}", why(error)))
                .in_file(&path)
                .remedy("Choose a folder that you can write to, on a disk that supports locks.")
        };
        if std::fs::symlink_metadata(&path).is_ok_and(|data| !data.is_file()) {
            return Err(Fault::new(Class::Output, "this is not the lock file of an earlier run")
                .in_file(&path)
                .remedy("Move it away.")
                .into());
        }
        let open = OpenOptions::new().read(true).write(true).create(true).truncate(false).open(&path);
        let mut file = open.map_err(|error| cannot(&error))?;
        match locked(&file, wait) {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => return Err(busy(&path, &mut file).into()),
            Err(TryLockError::Error(error)) => return Err(cannot(&error).into()),
        }
        if !is_lock(&mut file) {
            return Err(Fault::new(Class::Output, "this is not the lock file of an earlier run")
                .in_file(&path)
                .remedy("Move it away.")
                .into());
        }
        // Who holds it, for the others' message; the lock holds without.
        let who = format!("process {}\n", own_name());
        #[cfg(windows)]
        if name == NAME {
            let _ = crate::base::files::write_whole(folder.join(HOLDER), who.as_bytes());
        }
        let _ = file
            .set_len(0)
            .and_then(|()| file.seek(SeekFrom::Start(0)))
            .and_then(|_| file.write_all(who.as_bytes()));
        Ok(Lock { _file: file })
    }
}

/// The number of this process and the machine that it runs on.
#[cfg(not(target_family = "wasm"))]
fn own_name() -> String {
    format!("{} on {}", std::process::id(), gethostname::gethostname().to_string_lossy())
}

/// There are neither.
#[cfg(target_family = "wasm")]
fn own_name() -> String {
    "unknown".to_owned()
}

/// Takes the system's lock of a file. A process that a killed run was just starting holds it, too, until it is another program: for that
/// a moment is waited.
fn locked(file: &File, wait: Duration) -> std::result::Result<(), TryLockError> {
    let until = Instant::now() + wait;
    loop {
        match file.try_lock() {
            Err(TryLockError::WouldBlock) if Instant::now() < until => std::thread::sleep(MOMENT / 25),
            other => return other,
        }
    }
}

/// Whether a file holds what a lock file does, or nothing.
fn is_lock(file: &mut File) -> bool {
    let mut who = String::new();
    let short = file.take(300).read_to_string(&mut who).is_ok_and(|bytes| bytes < 300);
    short && (who.is_empty() || who.starts_with("process "))
}

fn busy(path: &Path, file: &mut File) -> Fault {
    let mut who = String::new();
    let _ = file.take(300).read_to_string(&mut who);
    #[cfg(windows)]
    let _ = File::open(path.with_file_name(HOLDER)).and_then(|open| open.take(300).read_to_string(&mut who));
    let who: String = who.trim().chars().filter(|c| !c.is_control()).collect();
    let who = if who.is_empty() { String::new() } else { format!(": {who}") };
    Fault::new(Class::Output, format!("another run is using this folder{who}"))
        .in_file(path)
        .remedy("Wait for it to finish, or choose another output folder.")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_folder_is_held_until_its_lock_is_dropped() {
        let folder = tempfile::tempdir().expect("a folder");
        let lock = Lock::take(folder.path()).expect("free");
        let faults = Lock::take(folder.path()).expect_err("held");
        let message = &faults.list[0].message;
        assert!(message.contains(&format!("process {}", std::process::id())), "{message}");
        drop(lock);
        drop(Lock::take(folder.path()).expect("free again, though the file is still there"));
    }
}

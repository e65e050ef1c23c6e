//! Whether a file is still what it was, without reading it where the file system can tell.

use serde::{Deserialize, Serialize};
use std::fs::{self, Metadata};
use std::io::Read;
use std::path::Path;
use std::time::{SystemTime, UNIX_EPOCH};

/// A file system's clock may stand still for as long as this (the coarsest in use counts in steps of 2 s): a stamp younger than
/// that when it was taken proves nothing, since a later write could bear the same one.
const CLOCK_STEP: i64 = 3_000_000_000;

/// What the file system says of a file. On Unix the time of the last change of any kind is part of it, which no program can set
/// back: an edit that keeps length and time of writing shows too.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Stamp {
    /// Length in bytes.
    pub bytes: u64,
    /// Time of the last write, ns since 1970.
    pub modified: i64,
    /// Time of the last change of any kind, ns since 1970.
    pub changed: i64,
    /// The file's number on its disk.
    pub inode: u64,
}

/// A stamp, and when it was taken by the system's clock, ns since 1970.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Seen {
    /// The stamp.
    pub stamp: Stamp,
    /// When.
    pub at: i64,
}

impl Stamp {
    /// The stamp of a file; none where the system gives no time of change.
    #[cfg(unix)]
    pub fn of(data: &Metadata) -> Option<Stamp> {
        use std::os::unix::fs::MetadataExt;
        let time = |seconds: i64, rest: i64| seconds.saturating_mul(1_000_000_000).saturating_add(rest);
        Some(Stamp {
            bytes: data.len(),
            modified: time(data.mtime(), data.mtime_nsec()),
            changed: time(data.ctime(), data.ctime_nsec()),
            inode: data.ino(),
        })
    }

    /// The stamp of a file; none where the system gives no time of change.
    #[cfg(not(unix))]
    pub fn of(_data: &Metadata) -> Option<Stamp> {
        None
    }
}

impl Seen {
    /// The stamp of a file now. Take it before the content is read.
    pub fn now(data: &Metadata) -> Option<Seen> {
        let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
        let at = i64::try_from(since.as_nanos()).unwrap_or(i64::MAX);
        Stamp::of(data).map(|stamp| Seen { stamp, at })
    }

    /// Whether a file of this stamp can't have been written since without another stamp.
    pub fn is_conclusive(&self) -> bool {
        let newest = self.stamp.changed.max(self.stamp.modified);
        newest.saturating_add(CLOCK_STEP) <= self.at
    }

    /// Whether the file is what it was when this was taken.
    pub fn holds(&self, data: &Metadata) -> bool {
        self.is_conclusive() && Stamp::of(data) == Some(self.stamp)
    }
}

/// BLAKE3 of a file's content and its length.
pub fn digest(path: &Path) -> std::io::Result<(blake3::Hash, u64)> {
    let mut file = fs::File::open(path)?;
    let mut hasher = blake3::Hasher::new();
    // Not mapped into memory: a program that cuts the file short meanwhile would end this one.
    let mut block = vec![0; 1 << 20];
    let mut bytes = 0;
    loop {
        match file.read(&mut block)? {
            0 => return Ok((hasher.finalize(), bytes)),
            count => {
                hasher.update(&block[..count]);
                bytes += count as u64;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fresh_stamp_proves_nothing() {
        let stamp = Stamp { bytes: 1, modified: 10_000_000_000, changed: 10_000_000_000, inode: 1 };
        assert!(!Seen { stamp, at: 10_000_000_001 }.is_conclusive());
        assert!(Seen { stamp, at: 14_000_000_000 }.is_conclusive());
        let future = Stamp { changed: i64::MAX, ..stamp };
        assert!(!Seen { stamp: future, at: i64::MAX - 1 }.is_conclusive());
    }

    #[test]
    fn digests_are_those_of_the_content() {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("a");
        let content = vec![7; (1 << 20) + 5];
        fs::write(&file, &content).expect("written");
        let found = digest(&file).expect("read");
        assert_eq!(found, (blake3::hash(&content), content.len() as u64));
    }
}

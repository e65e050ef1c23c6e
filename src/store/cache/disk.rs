//! The store's part on disk: a folder of files, each named after its key, each behind its checksum.
//!
//! The checksum guards against halves and faults of a disk, as zlib guards its streams (Adler-32, RFC 1950); a stronger hash would take
//! a fifth of the time of reading.

use crate::base::files;
use crate::base::key::Key;
use bytemuck::Pod;
use simd_adler32::Adler32;
use std::cmp::Ordering;
use std::collections::HashSet;
use std::fs::{self, File};
use std::io::Read;
use std::path::{Path, PathBuf};
use std::sync::atomic::{self, AtomicU64};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::SystemTime;

/// Name of the hidden folder in the output folder. Deleting it costs time, nothing else.
pub const FOLDER: &str = ".fogweft-cache";

/// Most bytes of all files: two scenes' worth of what the maker puts there at most.
const MOST: u64 = 256 << 20;

/// Most files, so that looking through them takes milliseconds.
const MOST_FILES: usize = 4096;

/// Most bytes of one file.
const LONGEST: usize = 64 << 20;

/// Length of the checksum that each file begins with.
const CHECK: usize = 4;

/// Kinds of files, the least useful first: what of a second's work is found again in a byte. Kinds that aren't named are the most useful.
const WORTH: [&str; 5] = ["bands", "facing", "opacity", "field", "rim"];

/// A cache on disk.
pub(super) struct Disk {
    folder: PathBuf,
    /// Most bytes of all files.
    most: AtomicU64,
    /// Since when it is in use.
    since: SystemTime,
    /// The files that were read or written by it, as far as they are there. A disk's clock may be too coarse to tell them.
    used: Mutex<HashSet<PathBuf>>,
}

/// A file of the cache.
struct Held {
    path: PathBuf,
    bytes: u64,
    modified: SystemTime,
    /// Whether it was written or read since the cache is in use: nobody may ask for the others any more.
    used: bool,
    /// Its place in [`WORTH`].
    worth: usize,
}

impl Disk {
    /// In `folder`; none if something else stands there: it is neither followed nor replaced.
    pub fn new(folder: PathBuf) -> Option<Disk> {
        let ours = fs::symlink_metadata(&folder).map_or(true, |data| data.is_dir());
        ours.then(|| Disk {
            folder,
            most: AtomicU64::new(MOST),
            since: SystemTime::now(),
            used: Mutex::default(),
        })
    }

    /// Bounds the bytes of all files, if they aren't bounded more closely.
    pub fn bound(&self, most: u64) {
        self.most.store(most.min(MOST), atomic::Ordering::Relaxed);
    }

    /// That bound.
    pub fn most(&self) -> u64 {
        self.most.load(atomic::Ordering::Relaxed)
    }

    fn path(&self, kind: &str, key: Key) -> PathBuf {
        self.folder.join(format!("{}.{kind}", key.hex()))
    }

    fn used(&self) -> MutexGuard<'_, HashSet<PathBuf>> {
        self.used.lock().unwrap_or_else(PoisonError::into_inner)
    }

    pub fn has(&self, kind: &str, key: Key) -> bool {
        self.path(kind, key).is_file()
    }

    /// The content of a file; none if it is no longer what was written.
    pub fn read<T: Pod>(&self, kind: &str, key: Key) -> Option<Vec<T>> {
        let path = self.path(kind, key);
        let data = fs::symlink_metadata(&path).ok()?;
        let length = usize::try_from(data.len()).ok()?.checked_sub(CHECK)?;
        if !data.is_file() || length > LONGEST || !length.is_multiple_of(size_of::<T>()) {
            return None;
        }
        let (mut check, mut content) = ([0; CHECK], vec![T::zeroed(); length / size_of::<T>()]);
        // Straight to where it is needed: what it holds is megabytes.
        let bytes = bytemuck::cast_slice_mut(&mut content);
        let mut file = File::open(&path).ok()?;
        file.read_exact(&mut check).and_then(|()| file.read_exact(bytes)).ok()?;
        // Its age is that of its last use. Who may not set that loses it sooner.
        let _ = file.set_modified(SystemTime::now());
        self.used().insert(path);
        (check == checksum(&[bytes])).then_some(content)
    }

    pub fn write<T: Pod>(&self, kind: &str, key: Key, parts: &[&[T]]) {
        let parts: Vec<&[u8]> = parts.iter().map(|part| bytemuck::cast_slice(part)).collect();
        let length = parts.iter().map(|part| part.len()).sum::<usize>();
        // What alone is over the bound would be removed again.
        if length > LONGEST || length as u64 > self.most() || !self.is_there() {
            return;
        }
        // What isn't there is worked out again.
        let check = checksum(&parts);
        let whole: Vec<&[u8]> = std::iter::once(check.as_slice()).chain(parts).collect();
        let path = self.path(kind, key);
        let _ = files::write_spare(&path, &whole);
        self.used().insert(path);
    }

    /// Whether the folder is there, or could be made.
    fn is_there(&self) -> bool {
        match fs::symlink_metadata(&self.folder) {
            Ok(data) => data.is_dir(),
            Err(_) => {
                if fs::create_dir(&self.folder).is_ok() {
                    mark(&self.folder);
                }
                // It may be another thread that has made it.
                self.folder.is_dir()
            }
        }
    }

    /// Removes every file of the cache.
    pub fn clear(&self) {
        self.evict_to(0, 0);
    }

    /// Brings the files within the bound. Those that weren't used go first, the least recently used before others; then the least useful.
    pub fn evict(&self) {
        // What a run left half written that was ended from outside.
        files::sweep(&self.folder);
        self.evict_to(self.most(), MOST_FILES);
    }

    fn evict_to(&self, most: u64, most_files: usize) {
        let mut files: Vec<Held> = fs::read_dir(&self.folder)
            .into_iter()
            .flatten()
            .flatten()
            .filter_map(|entry| self.held(&entry))
            .collect();
        // The most useful first; of those that are as useful the small ones, of which more are kept.
        files.sort_by(|a, b| {
            let used = b.used.cmp(&a.used);
            let useful =
                if a.used { b.worth.cmp(&a.worth).then(a.bytes.cmp(&b.bytes)) } else { Ordering::Equal };
            used.then(useful).then(b.modified.cmp(&a.modified)).then_with(|| a.path.cmp(&b.path))
        });
        let (mut all, mut kept) = (0, HashSet::new());
        for file in files {
            if all + file.bytes <= most && kept.len() < most_files {
                all += file.bytes;
                kept.insert(file.path);
            } else {
                let _ = fs::remove_file(file.path);
            }
        }
        self.used().retain(|path| kept.contains(path));
    }

    fn held(&self, entry: &fs::DirEntry) -> Option<Held> {
        let (path, data) = (entry.path(), entry.metadata().ok()?);
        if !is_ours(&path) || !data.is_file() {
            return None;
        }
        let modified = data.modified().ok()?;
        let kind = path.extension().and_then(|kind| kind.to_str()).unwrap_or_default();
        let worth = WORTH.iter().position(|known| *known == kind).unwrap_or(WORTH.len());
        let used = modified >= self.since || self.used().contains(&path);
        Some(Held { bytes: data.len(), modified, used, worth, path })
    }
}

/// Whether a file has the name of an entry.
fn is_ours(path: &Path) -> bool {
    let stem = path.file_stem().and_then(|stem| stem.to_str()).unwrap_or_default();
    stem.len() == 64 && stem.bytes().all(|byte| byte.is_ascii_hexdigit())
}

/// The checksum of a file. What a machine with another order of bytes wrote has another.
fn checksum(parts: &[&[u8]]) -> [u8; CHECK] {
    let mut check = Adler32::new();
    check.write(&1_u32.to_ne_bytes());
    parts.iter().for_each(|part| check.write(part));
    check.finish().to_le_bytes()
}

/// Says of a new folder, to whom it may concern, that what is in it can be made again: backups leave it out by its tag (Cache
/// Directory Tagging Specification, B. Ford), version control by its list of what to ignore. Whether that could be written matters
/// to nobody.
fn mark(folder: &Path) {
    let tag = "Signature: 8a477f597d28d172789f06886806bc55\n# A cache of fogweft's, tagged as cache directories are.\n";
    for (name, text) in [("CACHEDIR.TAG", tag), (".gitignore", "*\n")] {
        let _ = files::put(folder.join(name), text.as_bytes(), files::Over::Nothing);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::key::KeyWriter;
    use std::time::Duration;

    fn key(number: u64) -> Key {
        KeyWriter::new("test").part("number", &number).key()
    }

    fn disk() -> (tempfile::TempDir, Disk) {
        let folder = tempfile::tempdir().expect("a folder");
        let disk = Disk::new(folder.path().join(FOLDER)).expect("nothing stands there");
        (folder, disk)
    }

    #[test]
    fn what_was_written_is_read_and_what_was_damaged_is_not() {
        let (_folder, disk) = disk();
        assert!(disk.read::<f32>("x", key(1)).is_none() && !disk.has("x", key(1)));
        disk.write("x", key(1), &[&[1.5_f32, 2.0], &[3.0]]);
        assert_eq!(disk.read::<f32>("x", key(1)), Some(vec![1.5, 2.0, 3.0]));
        assert!(disk.read::<f32>("x", key(2)).is_none() && disk.read::<f32>("y", key(1)).is_none());
        assert!(disk.read::<f64>("x", key(1)).is_none(), "it is no list of such items");
        let path = disk.path("x", key(1));
        let good = fs::read(&path).expect("read");
        let mut flipped = good.clone();
        flipped[CHECK + 5] ^= 1;
        for bad in [&good[..good.len() - 4], &good[..CHECK], &good[..3], &[], &flipped] {
            fs::write(&path, bad).expect("written");
            assert!(disk.read::<f32>("x", key(1)).is_none());
        }
    }

    #[test]
    fn the_least_recently_used_file_goes_first() {
        let (_folder, before) = disk();
        let disk = Disk::new(before.folder.clone()).expect("a folder");
        for number in 0..4 {
            before.write("x", key(number), &[&[0_u8; 96]]);
            let file = File::options().write(true).open(disk.path("x", key(number))).expect("there");
            let age = Duration::from_secs(1000 - number);
            file.set_modified(SystemTime::now() - age).expect("set");
        }
        fs::write(disk.folder.join("a painter's own"), [0; 500]).expect("written");
        assert!(disk.read::<u8>("x", key(0)).is_some());
        disk.evict_to(250, 9);
        let there: Vec<u64> = (0..4).filter(|number| disk.has("x", key(*number))).collect();
        assert_eq!(there, [0, 3]);
        assert!(disk.folder.join("a painter's own").exists());
        disk.evict();
        assert!(disk.has("x", key(3)));
        disk.evict_to(250, 1);
        assert!(disk.has("x", key(0)) && !disk.has("x", key(3)));
    }

    #[test]
    fn of_what_was_used_the_least_useful_goes_first() {
        let (_folder, before) = disk();
        before.write("old", key(0), &[&[0_u8; 96]]);
        let disk = Disk::new(before.folder.clone()).expect("a folder");
        let file = File::options().write(true).open(disk.path("old", key(0))).expect("there");
        file.set_modified(SystemTime::now() - Duration::from_secs(60)).expect("set");
        // A name of an open file may outlive its removal on Windows.
        drop(file);
        for (number, kind) in [(1, "facts"), (2, "bands"), (3, "rim"), (4, "field")] {
            disk.write(kind, key(number), &[&[0_u8; 96]]);
        }
        disk.write("field", key(5), &[&[0_u8; 66]]);
        let there = || -> Vec<u64> {
            let kinds = ["old", "facts", "bands", "rim", "field", "field"];
            (0..6)
                .zip(kinds)
                .filter(|(number, kind)| disk.has(kind, key(*number)))
                .map(|(at, _)| at)
                .collect()
        };
        disk.evict_to(500, 9);
        assert_eq!(there(), [1, 2, 3, 4, 5]);
        disk.evict_to(399, 9);
        assert_eq!(there(), [1, 3, 4, 5]);
        disk.evict_to(299, 9);
        assert_eq!(there(), [1, 3, 5]);
        disk.bound(99);
        disk.write("facts", key(6), &[&[0_u8; 100]]);
        assert!(!disk.has("facts", key(6)), "it is over the bound by itself");
    }

    #[test]
    fn the_folder_says_that_it_is_a_cache() {
        let (_folder, disk) = disk();
        disk.write("x", key(1), &[&[1_u8]]);
        let tag = fs::read(disk.folder.join("CACHEDIR.TAG")).expect("a tag");
        // The first 43 bytes, as the specification has them.
        assert_eq!(&tag[..43], b"Signature: 8a477f597d28d172789f06886806bc55");
        // What is there already is left as it is.
        fs::remove_file(disk.folder.join(".gitignore")).expect("removed");
        disk.write("x", key(2), &[&[1_u8]]);
        assert!(!disk.folder.join(".gitignore").exists());
    }

    #[cfg(unix)]
    #[test]
    fn what_stands_in_its_place_is_neither_followed_nor_replaced() {
        let folder = tempfile::tempdir().expect("a folder");
        let place = folder.path().join(FOLDER);
        std::os::unix::fs::symlink(folder.path(), &place).expect("a link");
        assert!(Disk::new(place).is_none());
    }
}

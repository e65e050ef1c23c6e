//! The system's signs that something in a folder changed. Where it gives none, files must be looked at from time to time.

use notify::{RecommendedWatcher, RecursiveMode, Watcher};
use std::collections::BTreeSet;
use std::path::PathBuf;
use std::sync::mpsc::{self, Receiver, RecvTimeoutError};
use std::time::Duration;

/// How long to wait for a sign of the system before looking oneself: some disks give none.
const LOOK: Duration = Duration::from_millis(700);

/// Listens to folders.
pub struct Signs {
    watcher: Option<RecommendedWatcher>,
    folders: BTreeSet<PathBuf>,
}

impl Signs {
    /// Every sign is a message to `wake`.
    pub fn new(wake: mpsc::Sender<()>) -> Signs {
        let watcher = notify::recommended_watcher(move |_| {
            let _ = wake.send(());
        });
        Signs { watcher: watcher.ok(), folders: BTreeSet::new() }
    }

    /// Listens to the folders `wanted`, and no longer to others.
    pub fn of(&mut self, wanted: BTreeSet<PathBuf>) {
        let Some(watcher) = &mut self.watcher else { return };
        for folder in self.folders.difference(&wanted) {
            let _ = watcher.unwatch(folder);
        }
        // A folder that was replaced by another of its name has to be watched again, so all are asked for every time.
        self.folders = wanted
            .into_iter()
            .filter(|folder| watcher.watch(folder, RecursiveMode::NonRecursive).is_ok())
            .collect();
    }
}

/// Waits for a sign, or until it is time to look oneself.
pub fn wait(woken: &Receiver<()>) {
    if let Err(RecvTimeoutError::Disconnected) = woken.recv_timeout(LOOK) {
        std::thread::sleep(LOOK);
    }
}

//! Unsaved edits, kept in a file beside the scene while they are unsaved: whatever ends the program, the next run offers them.

use crate::base::fault::Result;
use crate::base::files;
use crate::base::limits::Limits;
use crate::scene::Source;
use crate::tune::hub::{Hub, locked};
use serde_json::json;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

/// First line of such a file: one without it belongs to somebody else.
const MARK: &str =
    "# Unsaved edits of a scene, kept by fogweft tune, which offers them when the scene is opened again.\n";
/// Most files beside one scene; each run that is at work at the same time has one of its own.
const MOST: usize = 16;
/// Minimum time between two writes: this much of a drag is lost at most where the program is killed. Chosen by eye.
const INTERVAL: Duration = Duration::from_millis(300);

/// See the module.
pub(super) struct Recovery {
    scene: PathBuf,
    /// The file of this run, and the text in it.
    own: Option<(PathBuf, Arc<str>)>,
    /// What an earlier run left.
    offer: Option<(PathBuf, Arc<str>)>,
    /// Whether the last write failed, which is told once.
    failed: bool,
}

impl Recovery {
    /// Looks for what an earlier run left that `on_disk` doesn't hold.
    pub fn open(scene: &Path, on_disk: &str, limits: &Limits) -> Recovery {
        // The head line isn't part of the scene.
        let limits = Limits { text_bytes: limits.text_bytes.saturating_add(MARK.len() as u64), ..*limits };
        let mut found: Vec<_> = names(scene)
            .filter_map(|file| {
                let source = Source::load(&file, &limits).ok()?;
                let text = source.text.strip_prefix(MARK)?;
                let changed = fs::metadata(&file).and_then(|data| data.modified()).ok();
                Some((changed, file, Arc::<str>::from(text)))
            })
            .collect();
        found.retain(|(_, file, text)| {
            let saved = **text == *on_disk;
            // What the scene holds already is no loss.
            if saved {
                let _ = fs::remove_file(file);
            }
            !saved
        });
        found.sort();
        let offer = found.pop().map(|(_, file, text)| (file, text));
        Recovery { scene: scene.to_path_buf(), own: None, offer, failed: false }
    }

    /// The file that an earlier run left.
    pub fn offered(&self) -> Option<&Path> {
        self.offer.as_ref().map(|(file, _)| file.as_path())
    }

    /// The text that is offered. Its file stays until [`Recovery::close_offer`].
    pub fn text(&self) -> Option<Arc<str>> {
        self.offer.as_ref().map(|(_, text)| Arc::clone(text))
    }

    /// Removes what was offered, if the file still holds it.
    pub fn close_offer(&mut self) {
        if let Some((file, text)) = self.offer.take() {
            remove(&file, &text);
        }
    }

    /// Keeps `unsaved`; none removes the file.
    ///
    /// # Errors
    /// Class `Output`: it can't be written.
    pub fn keep(&mut self, unsaved: Option<Arc<str>>) -> Result<Option<PathBuf>> {
        let Some(text) = unsaved else {
            if let Some((file, text)) = self.own.take() {
                remove(&file, &text);
            }
            return Ok(None);
        };
        let file = match &self.own {
            Some((file, held)) if *held == text && file.exists() => return Ok(Some(file.clone())),
            Some((file, held)) if !file.exists() || holds(file, held) => file.clone(),
            // Where all are taken the last try says why it can't be written.
            _ => names(&self.scene)
                .find(|file| fs::symlink_metadata(file).is_err())
                .unwrap_or_else(|| self.scene.join("unsaved")),
        };
        files::write_whole(&file, format!("{MARK}{text}").as_bytes())?;
        self.own = Some((file.clone(), text));
        Ok(Some(file))
    }
}

/// Names of such files, in the order in which they are taken.
fn names(scene: &Path) -> impl Iterator<Item = PathBuf> {
    let name = scene.file_name().unwrap_or_default().to_owned();
    (1..=MOST).map(move |count| {
        let mut name = name.clone();
        name.push(if count == 1 { ".unsaved".to_owned() } else { format!(".unsaved-{count}") });
        scene.with_file_name(name)
    })
}

fn holds(file: &Path, text: &str) -> bool {
    fs::symlink_metadata(file).is_ok_and(|data| data.is_file())
        && fs::read(file).is_ok_and(|bytes| bytes.strip_prefix(MARK.as_bytes()) == Some(text.as_bytes()))
}

fn remove(file: &Path, text: &str) {
    if holds(file, text) {
        let _ = fs::remove_file(file);
    }
}

/// Keeps the file up to date until the hub stops, and a last time then.
pub(super) fn follow(hub: &Hub) {
    let mut seen = 0;
    loop {
        seen = hub.wait(seen, Duration::from_secs(5));
        let stopped = hub.is_stopped();
        let kept = keep(hub);
        let failed = kept.is_err();
        if let Err(faults) = kept
            && !std::mem::replace(&mut locked(&hub.recovery).failed, true)
        {
            let why = faults.list.first().map(|fault| fault.message.clone()).unwrap_or_default();
            let message = format!("Unsaved edits can't be kept in a file beside the scene: {why}.");
            hub.tell_all(&json!({ "refused": { "stamp": 0, "key": null, "message": message } }));
        } else if !failed {
            locked(&hub.recovery).failed = false;
        }
        if stopped {
            return;
        }
        std::thread::sleep(INTERVAL);
    }
}

/// Keeps what is unsaved now; the file that it is in.
///
/// # Errors
/// As for [`Recovery::keep`].
pub(super) fn keep(hub: &Hub) -> Result<Option<PathBuf>> {
    // Before the session: what is written last is the newest.
    let mut recovery = locked(&hub.recovery);
    let unsaved = {
        let session = hub.session();
        session.is_unsaved().then(|| session.unsaved_text())
    };
    recovery.keep(unsaved)
}

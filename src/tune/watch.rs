//! Watches the scene's file, its pictures and its presets for what others do to them.

use crate::base::folder;
use crate::scene::read;
use crate::scene::recipe::shelf;
use crate::store::watcher::{self, Signs};
use crate::tune::hub::Hub;
use crate::tune::session::FileChange;
use crate::tune::socket;
use std::path::PathBuf;
use std::sync::{Arc, mpsc};
use std::time::{Duration, SystemTime};

/// How long a file must have stayed the same: a save may come in several pieces.
const QUIET: Duration = Duration::from_millis(40);

/// How files look from outside.
type Looks = Vec<(PathBuf, Option<(u64, SystemTime)>)>;

/// Watches until the hub stops. What was changed after `read`, when the scene began to be read, counts as changed since.
pub(super) fn watch(hub: &Hub, read: SystemTime) {
    let (wake, woken) = mpsc::channel();
    let mut signs = Signs::new(wake);
    let mut before = looks(hub);
    for (_, look) in &mut before {
        *look = look.filter(|(_, changed)| *changed < read);
    }
    while !hub.is_stopped() {
        // A save by rename is an event of the folder, not of the file.
        signs.of(before.iter().map(|(file, _)| folder::of(file).to_path_buf()).collect());
        watcher::wait(&woken);
        let mut now = looks(hub);
        // Until it has come to rest.
        loop {
            std::thread::sleep(QUIET);
            let then = std::mem::replace(&mut now, looks(hub));
            if then == now || hub.is_stopped() {
                break;
            }
        }
        while woken.try_recv().is_ok() {}
        let mut session = hub.session();
        let was = (session.has_conflict(), session.unreadable().is_some());
        let mut change = session.check_file();
        // The scene's own file comes first in the looks.
        if before.get(1..) != now.get(1..) {
            let anew = session.anew();
            drop(session);
            let read = anew.read();
            session = hub.session();
            session.reopen(read);
            change = if change == FileChange::Same { FileChange::Taken } else { change };
        }
        if change == FileChange::Taken || (session.has_conflict(), session.unreadable().is_some()) != was {
            let revision = session.current().revision;
            hub.edited(revision);
            socket::tell_state(hub, &session);
        }
        drop(session);
        before = looks(hub);
        if before != now && before.len() == now.len() {
            before = now;
        }
    }
}

fn looks(hub: &Hub) -> Looks {
    let (scene, text, limits, pictures) = {
        let session = hub.session();
        (session.file().to_path_buf(), Arc::clone(session.text()), *session.limits(), session.pictures())
    };
    let bases = read::built_on(&scene, &text, &limits);
    let presets = shelf::folders(Some(&scene), &limits).into_iter().flat_map(|folder| {
        let files = std::fs::read_dir(&folder).into_iter().flatten().flatten().map(|entry| entry.path());
        let mut files: Vec<PathBuf> = files
            .filter(|file| file != &scene && file.extension().is_some_and(|ending| ending == "toml"))
            .collect();
        files.sort();
        files
    });
    let presets: Vec<PathBuf> = presets.collect();
    std::iter::once(scene).chain(pictures).chain(bases).chain(presets).map(look).collect()
}

fn look(file: PathBuf) -> (PathBuf, Option<(u64, SystemTime)>) {
    let data = std::fs::metadata(&file).ok();
    let seen = data.and_then(|data| Some((data.len(), data.modified().ok()?)));
    (file, seen)
}

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

/// A file, and how it looks from outside.
type Look = (PathBuf, Option<(u64, SystemTime)>);

/// How files look from outside.
#[derive(PartialEq)]
struct Looks {
    scene: Look,
    pictures: Vec<Look>,
    /// Files that the scene builds on, and presets.
    others: Vec<Look>,
}

impl Looks {
    fn all(&self) -> impl Iterator<Item = &Look> {
        std::iter::once(&self.scene).chain(&self.pictures).chain(&self.others)
    }

    fn all_mut(&mut self) -> impl Iterator<Item = &mut Look> {
        std::iter::once(&mut self.scene).chain(&mut self.pictures).chain(&mut self.others)
    }

    /// Whether what the scene was read with looks otherwise than `before`. A picture that wasn't named then was read when it was.
    fn is_stale(&self, before: &Looks) -> bool {
        let changed = |(file, look): &Look| {
            before.pictures.iter().any(|(other, before)| other == file && before != look)
        };
        self.others != before.others || self.pictures.iter().any(changed)
    }
}

/// Watches until the hub stops. What was changed after `read`, when the scene began to be read, counts as changed since.
pub(super) fn watch(hub: &Hub, read: SystemTime) {
    let (wake, woken) = mpsc::channel();
    let mut signs = Signs::new(wake);
    let mut before = looks(hub);
    for (_, look) in before.all_mut() {
        *look = look.filter(|(_, changed)| *changed < read);
    }
    while !hub.is_stopped() {
        // A save by rename is an event of the folder, not of the file.
        signs.of(before.all().map(|(file, _)| folder::of(file).to_path_buf()).collect());
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
        if now.is_stale(&before) {
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
        // A save that came meanwhile is looked at next.
        for (file, look) in before.all_mut() {
            *look = now.all().find(|(other, _)| other == file).map_or(*look, |(_, then)| *then);
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
    let others = bases.into_iter().chain(presets).map(look).collect();
    Looks { scene: look(scene), pictures: pictures.into_iter().map(look).collect(), others }
}

fn look(file: PathBuf) -> Look {
    let data = std::fs::metadata(&file).ok();
    let seen = data.and_then(|data| Some((data.len(), data.modified().ok()?)));
    (file, seen)
}

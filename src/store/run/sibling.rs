//! A scene's output folders in its other moods: what is the same there is named by the manifest rather than written again.
//!
//! A file belongs to the folder whose manifest lists it without climbing out of it. Before a run replaces or removes one, every folder whose
//! manifest names it gets it as its own (`give.rs`). Runs write one after the other, so that what one has looked at stays until its
//! manifest is written; if something changed before its turn came, it begins once more.

use crate::base::fault::Result;
use crate::output::manifest::stays_inside;
use crate::output::{Entry, Manifest};
use crate::store::rerun::decide::{Found, look};
use crate::store::rerun::{Act, Lock, Records, Shared, Wanted, Written, lock};
use crate::store::run::Options;
use crate::store::run::folder::Run;
use crate::store::run::output::Output;
use std::collections::BTreeSet;
use std::fs;
use std::path::{Component, Path, PathBuf};

/// What the folders of moods are called: this and the mood's name.
const MOOD: &str = "mood-";

/// Another folder of the same scene.
#[derive(Clone, Debug)]
pub(super) struct Sibling {
    pub folder: PathBuf,
    /// The way there from the run's own folder: `../`, `../mood-dusk/`.
    there: String,
    /// The way back.
    pub back: String,
    pub records: Records,
}

/// The places of a run's folder and of those beside it.
struct Family<'a> {
    root: &'a Path,
    /// The mood's folder below the root; empty for the scene without one.
    own: String,
    /// The folder of the scale below that; empty where there is one scale.
    scale: String,
}

impl<'a> Family<'a> {
    /// None where `folder` doesn't stand as those of a scene's moods do.
    fn of(options: &'a Options, folder: &Path) -> Option<Family<'a>> {
        let own = plain(options.out.strip_prefix(&options.root).ok()?)?;
        let scale = plain(folder.strip_prefix(&options.out).ok()?)?;
        let is_mood = own.starts_with(MOOD) && !own.contains('/');
        (own.is_empty() || is_mood).then_some(Family { root: &options.root, own, scale })
    }

    /// The way from the folder of one mood to that of another.
    fn way(&self, from: &str, to: &str) -> String {
        let parts =
            |mood: &str| [mood, &self.scale].map(str::to_owned).into_iter().filter(|part| !part.is_empty());
        "../".repeat(parts(from).count()) + &parts(to).map(|part| part + "/").collect::<String>()
    }

    /// The folder of a mood; none if it isn't there, or stands behind a link.
    fn folder(&self, mood: &str) -> Option<PathBuf> {
        let mut folder = self.root.to_path_buf();
        for part in [mood, &self.scale].into_iter().filter(|part| !part.is_empty()) {
            folder.push(part);
            if !fs::symlink_metadata(&folder).is_ok_and(|data| data.is_dir()) {
                return None;
            }
        }
        Some(folder)
    }

    /// What stands in the folder of a mood. One that can't be understood is left alone.
    fn sibling(&self, mood: &str) -> Option<Sibling> {
        let folder = self.folder(mood)?;
        let records = Records::read(&folder).ok().filter(|records| records.manifest.is_some())?;
        let (there, back) = (self.way(&self.own, mood), self.way(mood, &self.own));
        Some(Sibling { folder, there, back, records })
    }

    /// The folders of all other moods, also of those that the scene has no more.
    fn all(&self) -> Vec<Sibling> {
        let entries = fs::read_dir(self.root).into_iter().flatten().flatten();
        let names = entries.filter_map(|entry| entry.file_name().into_string().ok());
        let mut moods: Vec<String> =
            names.filter(|name| name.starts_with(MOOD)).chain([String::new()]).collect();
        moods.retain(|mood| *mood != self.own);
        moods.sort();
        moods.iter().filter_map(|mood| self.sibling(mood)).collect()
    }
}

/// A path of plain names with `/` between them.
fn plain(path: &Path) -> Option<String> {
    let part = |part: Component<'_>| match part {
        Component::Normal(name) => name.to_str().map(str::to_owned),
        _ => None,
    };
    Some(path.components().map(part).collect::<Option<Vec<String>>>()?.join("/"))
}

/// The paths of all textures of a manifest.
pub(super) fn textures(manifest: &Manifest) -> impl Iterator<Item = &str> {
    manifest.files.iter().flat_map(|entry| {
        [entry.path.as_str()].into_iter().chain(entry.frames.iter().map(|frame| frame.path.as_str()))
    })
}

impl Sibling {
    /// What it has that is the same as `wanted`. What somebody painted on is, where it was made of the same, or its new version was.
    fn same(&self, wanted: &Wanted, run: &Run<'_>) -> Result<Option<Shared>> {
        let listed = self.records.manifest.iter().flat_map(textures).any(|path| path == wanted.path);
        if !listed {
            return Ok(None);
        }
        let (own, besides) = (self.records.of(&wanted.path), self.records.besides(&wanted.path));
        let as_wanted = |written: &Written| written.made_of == wanted.made_of;
        let mut known: Vec<Written> =
            own.iter().chain(besides.iter().map(|(_, written)| written)).cloned().collect();
        known.sort_by_key(|written| !as_wanted(written));
        let rerun = run.options.rerun;
        let (written, newer, touched) = match look(&self.folder, &wanted.path, &known, rerun.again)? {
            Found::Ours(written) if as_wanted(&written) => (*written, None, false),
            Found::Touched if !rerun.replace => {
                let Some(first) = own.into_iter().next() else { return Ok(None) };
                let newer = besides.into_iter().find(|(_, written)| as_wanted(written)).map(|(name, _)| name);
                if !as_wanted(&first) && newer.is_none() {
                    return Ok(None);
                }
                (first, newer, true)
            }
            Found::Missing | Found::Ours(_) | Found::Touched => return Ok(None),
        };
        Ok(Some(Shared {
            path: format!("{}{}", self.there, wanted.path),
            written: Written { beside: None, settings: wanted.settings.clone(), seen: None, ..written },
            newer: newer.map(|name| format!("{}{name}", self.there)),
            touched,
        }))
    }
}

impl Run<'_> {
    fn family(&self) -> Option<Family<'_>> {
        Family::of(self.options, &self.folder)
    }

    /// The folders whose files may be named rather than written again.
    fn lenders_now(&self) -> Vec<Sibling> {
        let Some(family) = self.family() else { return Vec::new() };
        self.options.lenders.iter().filter_map(|mood| family.sibling(&folder_of(mood.as_deref()))).collect()
    }

    /// Looks at what the folders of other moods hold.
    pub fn meet(&mut self) {
        let mut records = std::mem::take(&mut self.records);
        self.keep_to_family(&mut records);
        (self.records, self.lenders) = (records, self.lenders_now());
    }

    /// The lenders' entry of a file that is named by this path.
    pub fn listed_by_lenders(&self, path: &str) -> Option<&Entry> {
        self.lenders.iter().find_map(|lender| {
            let name = path.strip_prefix(&lender.there)?;
            lender.records.manifest.as_ref()?.files.iter().find(|entry| entry.path == name)
        })
    }

    /// Leaves out of the record of the last run what names files elsewhere than in another mood's folder.
    fn keep_to_family(&self, records: &mut Records) {
        let known: Vec<String> = match self.family() {
            Some(family) => family.all().into_iter().map(|sibling| sibling.there).collect(),
            None => Vec::new(),
        };
        let fits = |path: &str| {
            stays_inside(path) || known.iter().any(|there| path.strip_prefix(there).is_some_and(stays_inside))
        };
        if let Some(manifest) = &mut records.manifest {
            manifest
                .files
                .retain(|entry| fits(&entry.path) && entry.frames.iter().all(|frame| fits(&frame.path)));
        }
    }

    /// What of the lenders' is the same as `wanted`, unless somebody painted on the run's own.
    pub fn shared(&self, wanted: &Wanted) -> Result<Option<Shared>> {
        if self.lenders.is_empty() {
            return Ok(None);
        }
        let own = self.records.of(&wanted.path);
        if !own.is_empty() && matches!(look(&self.folder, &wanted.path, &own, false)?, Found::Touched) {
            return Ok(None);
        }
        self.shared_by(&self.lenders, wanted)
    }

    fn shared_by(&self, lenders: &[Sibling], wanted: &Wanted) -> Result<Option<Shared>> {
        for lender in lenders {
            if let Some(shared) = lender.same(wanted, self)? {
                return Ok(Some(shared));
            }
        }
        Ok(None)
    }

    /// The file of an earlier run, in its own folder or a lender's, that was made of just this, and its hash.
    pub fn standing(&self, wanted: &Wanted) -> Option<(PathBuf, String)> {
        let lenders = self.lenders.iter().map(|lender| (&lender.folder, &lender.records));
        [(&self.folder, &self.records)].into_iter().chain(lenders).find_map(|(folder, records)| {
            let mut known = records.of(&wanted.path).into_iter();
            let written = known.find(|written| written.made_of == wanted.made_of)?;
            Some((folder.join(&wanted.path), written.hash))
        })
    }

    /// Waits for its turn to write among the runs of the scene's moods, where it has any.
    pub fn turn(&self) -> Result<Option<Lock>> {
        let Some(family) = self.family() else { return Ok(None) };
        let alone = self.options.others.is_empty() && self.lenders.is_empty() && family.all().is_empty();
        if alone { Ok(None) } else { Lock::wait(self.options.root.as_path(), lock::MOODS).map(Some) }
    }

    /// Whether all that the run has decided by in the folders of the other moods, and in what they gave back to its own, still holds.
    pub fn still_stands(&self, outputs: &[Output]) -> Result<bool> {
        let mut now = Records::read(&self.folder)?;
        self.keep_to_family(&mut now);
        if now.manifest != self.records.manifest {
            return Ok(false);
        }
        let lenders = self.lenders_now();
        for output in outputs {
            let Act::Share(shared) = &output.decision.act else { continue };
            let there = self.shared_by(&lenders, &output.wanted)?;
            let same = there.is_some_and(|there| {
                (there.path, there.written.hash, there.touched)
                    == (shared.path.clone(), shared.written.hash.clone(), shared.touched)
            });
            if !same {
                return Ok(false);
            }
        }
        Ok(true)
    }

    /// The folders of the other moods.
    pub fn siblings(&self) -> Vec<Sibling> {
        self.family().map(|family| family.all()).unwrap_or_default()
    }
}

/// The folder of a mood below that of the scene.
pub fn folder_of(mood: Option<&str>) -> String {
    mood.map_or_else(String::new, |mood| format!("{MOOD}{mood}"))
}

/// The names in the run's own folder of what it names in others'.
pub(super) fn given_up(outputs: &[Output]) -> BTreeSet<String> {
    let shares = outputs.iter().filter(|output| matches!(output.decision.act, Act::Share(_)));
    shares.map(|output| output.wanted.path.clone()).collect()
}

//! What a scene builds on: the files that `from` leads to, one after the other. They are scenes as well, of which the scene's own keys win.

use crate::base::fault::{Class, Fault, Faults};
use crate::base::folder;
use crate::base::limits::Limits;
use crate::scene::check;
use crate::scene::keys::{Base, Entries, Value, key, shown};
use crate::scene::layered;
use crate::scene::places::PlaceTable;
use crate::scene::project::{self, MARK, Project};
use crate::scene::source::Source;
use crate::scene::written::SceneFile;
use std::ops::Range;
use std::path::{Component, Path, PathBuf};
use std::sync::Arc;
use toml::de::{DeTable, DeValue};

/// Most files that may build on each other, as for presets.
const LONGEST_CHAIN: usize = 32;

/// The files that a scene builds on.
#[derive(Debug, Default)]
pub(super) struct Chain {
    /// Each with its text, nearest first.
    pub links: Vec<(Arc<Base>, String)>,
    /// Every file that is named, also where it can't be read.
    pub named: Vec<PathBuf>,
    /// What is wrong with the naming.
    pub faults: Vec<Fault>,
}

impl Chain {
    /// Follows `from` of the scene `text`, which stands in `file`; where it has none, `project` may name a file.
    pub fn of(file: &Path, text: &str, project: &Project, limits: &Limits) -> Chain {
        let mut chain = Chain::default();
        let (mut at, mut own) = (file.to_path_buf(), text.to_owned());
        let mut seen: Vec<(Option<PathBuf>, PathBuf)> = vec![(project::absolute(file), at.clone())];
        loop {
            let named = match from(&own) {
                Some((path, span)) => Named { by: at.clone(), span: Some(span), path },
                None => match project.common_of(file).filter(|_| chain.named.is_empty()) {
                    Some(named) => named,
                    None => return chain,
                },
            };
            let full = match named.file() {
                Ok(full) => full,
                Err(fault) => {
                    chain.faults.push(fault);
                    return chain;
                }
            };
            chain.named.push(full.clone());
            let known = project::absolute(&full);
            let circle = seen.iter().any(|(other, _)| known.is_some() && *other == known);
            seen.push((known, full.clone()));
            if circle || chain.links.len() >= LONGEST_CHAIN {
                let faults = &mut chain.faults;
                faults.push(if circle { in_a_circle(&named, &seen) } else { too_long(&named) });
                return chain;
            }
            match Source::load(&full, limits) {
                Ok(source) => {
                    let folder = folder::of(file);
                    let path = project::relative(folder, &full).unwrap_or_else(|| named.path.clone());
                    own.clone_from(&source.text);
                    chain.links.push((Arc::new(Base { file: full.clone(), path }), source.text));
                    at = full;
                }
                Err(faults) => {
                    chain.faults.extend(faults.list.into_iter().map(|fault| named.unread(&fault)));
                    return chain;
                }
            }
        }
    }

    /// Faults with the texts of the files that they point into.
    pub fn with_sources(&self, mut faults: Faults) -> Faults {
        for (base, text) in &self.links {
            faults = faults.with_source(&base.file, text);
        }
        faults
    }
}

/// A file that another one names.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Named {
    /// The one that names it, and where.
    pub by: PathBuf,
    pub span: Option<Range<usize>>,
    /// Its path from there.
    pub path: String,
}

impl Named {
    /// Where it is.
    fn file(&self) -> Result<PathBuf, Fault> {
        let folder = folder::of(&self.by);
        let remedy = format!(
            "Put both into one project: a folder that holds a file `{MARK}`, with / between folders."
        );
        let unfit = |message: String| self.fault(Class::Scene, message, &remedy);
        check::inside("the path in `from`", &self.path, project::climb(folder), &remedy)
            .map_err(|unfit| self.fault(unfit.class, unfit.message, &unfit.remedy))?;
        let full = plain(&self.by.parent().unwrap_or(Path::new("")).join(&self.path));
        let root = project::root_of(folder).unwrap_or_else(|| folder.to_path_buf());
        if check::leaves(&full, &root) {
            return Err(unfit(format!("{} is a link that leaves the project's folder", full.display())));
        }
        Ok(full)
    }

    fn fault(&self, class: Class, message: impl Into<String>, remedy: &str) -> Fault {
        Fault::new(class, message).in_file(&self.by).at(self.span.clone()).remedy(remedy)
    }

    /// Why it can't be read, told where it is named.
    fn unread(&self, why: &Fault) -> Fault {
        let class = if why.class == Class::Usage { Class::Scene } else { why.class };
        let remedy = why.remedy.replace("the current folder", "this file's folder");
        self.fault(class, format!("this can't be built on {}: {}", shown(&self.path), why.message), &remedy)
    }
}

/// What a scene's text says under `from`, and where.
pub(crate) fn from(text: &str) -> Option<(String, Range<usize>)> {
    let (table, _) = DeTable::parse_recoverable(text);
    let value = table.get_ref().get("from")?;
    match value.get_ref() {
        DeValue::String(path) => Some((path.clone().into_owned(), value.span())),
        _ => None,
    }
}

fn in_a_circle(named: &Named, seen: &[(Option<PathBuf>, PathBuf)]) -> Fault {
    let files: Vec<String> = seen.iter().map(|(_, file)| file.display().to_string()).collect();
    let message = format!("files are built on each other: {}", files.join(" from "));
    named.fault(Class::Scene, message, "Remove `from` in one of them.")
}

fn too_long(named: &Named) -> Fault {
    let message = format!("more than {LONGEST_CHAIN} files are built on each other");
    named.fault(Class::Limit, message, "Use a shorter chain, and copy the keys that matter.")
}

/// The path without what `..` takes back, where that leads to the same file.
fn plain(path: &Path) -> PathBuf {
    let mut short = PathBuf::new();
    for part in path.components() {
        match part {
            Component::ParentDir if matches!(short.components().next_back(), Some(Component::Normal(_))) => {
                short.pop();
            }
            Component::CurDir => {}
            part => short.push(part),
        }
    }
    if project::absolute(&short) == project::absolute(path) { short } else { path.to_path_buf() }
}

/// Names the pictures of a base's slots and moods as the scene would name them.
pub(super) fn move_pictures(file: &mut SceneFile, base: &Base) {
    let Some((folder, _)) = base.path.rsplit_once('/') else { return };
    let slots = file.slots.iter_mut().map(|slot| (&mut slot.entries, &mut slot.places));
    let (mut all, mut places): (Vec<&mut Entries>, Vec<&mut Vec<PlaceTable>>) = slots.unzip();
    for slot in file.moods.iter_mut().flat_map(|mood| &mut mood.slots) {
        all.push(&mut slot.entries);
        places.extend(&mut slot.places);
    }
    all.extend(places.into_iter().flatten().map(|place| &mut place.entries));
    for entries in all {
        for path in [key!("slot.art"), key!("slot.strokes"), key!("slot.sheet"), key!("place.art")] {
            if let Some(entry) = entries.get_mut(path)
                && let Value::Text(own) = &entry.value
                && let (own, layer) = layered::reference(own)
                && check::art_path(own, usize::MAX / 2).is_ok()
            {
                let layer = layer.map(|layer| format!("#{layer}")).unwrap_or_default();
                entry.value = Value::Text(format!("{}{layer}", joined(folder, own)));
            }
        }
    }
}

/// `path` from `folder` on, without what `..` takes back.
fn joined(folder: &str, path: &str) -> String {
    let mut parts: Vec<&str> = Vec::new();
    for part in folder.split('/').chain(path.split('/')) {
        match part {
            "" | "." => {}
            ".." if parts.last().is_some_and(|last| *last != "..") => drop(parts.pop()),
            part => parts.push(part),
        }
    }
    parts.join("/")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paths_are_joined_without_what_they_take_back() {
        assert_eq!(joined("..", "art/hut.png"), "../art/hut.png");
        assert_eq!(joined("../a", "../b/hut.png"), "../b/hut.png");
        assert_eq!(joined("..", "../hut.png"), "../../hut.png");
        assert_eq!(joined("a", "./hut.png"), "a/hut.png");
    }

    #[test]
    fn only_a_text_at_the_top_is_what_a_scene_builds_on() {
        assert_eq!(from("view = [1, 1]\nfrom = \"a.toml\"\n"), Some(("a.toml".to_owned(), 21..29)));
        assert_eq!(from("from = 3\n"), None);
        assert_eq!(from("[mood.dusk]\nfrom = \"a.toml\"\n"), None);
    }
}

//! Writing what was made, and the record for the next run.

use crate::base::fault::{Faults, Result};
use crate::base::files::{self, Over, Placed};
use crate::output::forms::Also;
use crate::output::texture::Shape;
use crate::output::{self, Manifest};
use crate::plan::Plan;
use crate::store::rerun::gone::gone;
use crate::store::rerun::record::NAME as STATE;
use crate::store::rerun::{Act, Gone, State, Written, decide};
use crate::store::run::folder::Run;
use crate::store::run::output::{Output, What};
use crate::store::run::painted::Painted;
use crate::store::run::sibling::given_up;
use crate::store::run::{Change, Report, STILL};
use rayon::prelude::*;
use std::collections::{BTreeMap, BTreeSet};

impl Run<'_> {
    /// Writes what was made; the manifest of it, the record for the next run, and what no slot asks for any more.
    ///
    /// What is about to be written is put on record first, so that a run which is ended half way leaves nothing that the next one would
    /// take for somebody else's. The manifest comes last, so that it names nothing that isn't there.
    pub fn write(
        &self,
        outputs: &mut Vec<Output>,
        names: &[String],
        shapes: &[Shape],
        painted: &Painted,
    ) -> Result<(Manifest, State, Vec<Gone>)> {
        let mut open: Vec<usize> = (0..outputs.len()).collect();
        let manifest = loop {
            let (files, gone) = self.on_record(outputs, names, false)?;
            let going = self.going(outputs, &gone);
            let manifest = self.manifest(outputs, shapes, painted, left(files, &gone, &going));
            outputs.push(self.manifest_output(&manifest)?);
            self.announce(outputs.iter())?;
            self.give_back(outputs, &going)?;
            open = self.put_all(outputs, &open)?;
            if open.is_empty() {
                break manifest;
            }
            // Somebody saved over them while they were written: the new versions go beside, and the manifest says so.
            outputs.pop();
            open.iter().try_for_each(|at| self.decide_again(&mut outputs[*at]))?;
        };
        let last = outputs.len() - 1;
        while !self.put_all(outputs, &[last])?.is_empty() {
            self.decide_again(&mut outputs[last])?;
            self.announce(outputs.iter())?;
        }
        let (files, gone) = self.on_record(outputs, names, true)?;
        Ok((manifest, State::new(files), gone))
    }

    /// Puts on record what is about to be written.
    fn announce<'o>(&self, outputs: impl IntoIterator<Item = &'o Output>) -> Result<()> {
        let due =
            outputs.into_iter().filter_map(|output| Some((output.target()?.to_owned(), output.written()?)));
        let due: BTreeMap<String, Written> = due.collect();
        if due.is_empty() {
            return Ok(());
        }
        let mut intent = self.records.state.clone();
        intent.intend(&self.folder, due);
        self.with_room(|| files::write_whole(self.folder.join(STATE), intent.text().as_bytes()))
    }

    /// Writes the outputs at `places`, side by side, since each waits for the disk. The places of those over which somebody else saved
    /// meanwhile come back.
    fn put_all(&self, outputs: &mut [Output], places: &[usize]) -> Result<Vec<usize>> {
        let put = |(at, output): (usize, &mut Output)| {
            let stands = places.contains(&at) && self.put(output)? == Some(Placed::Stands);
            Ok(stands.then_some(at))
        };
        let stands: Vec<Result<Option<usize>>> = outputs.par_iter_mut().enumerate().map(put).collect();
        Ok(Faults::gather(stands)?.into_iter().flatten().collect())
    }

    /// Writes an output, unless nothing of it is due or it was written before.
    fn put(&self, output: &mut Output) -> Result<Option<Placed>> {
        let (Some(name), Some(made), false) = (output.target(), &output.made, output.placed) else {
            return Ok(None);
        };
        let known: Vec<Written> = match &output.decision.act {
            Act::Beside(..) => self.records.of(name),
            _ => self.known(&output.wanted.path),
        };
        let hashes: Vec<String> = known.into_iter().map(|known| known.hash).collect();
        let over = if output.decision.replace { Over::Any } else { Over::Known(&hashes) };
        let path = self.folder.join(name);
        let put = || match &mut output.draft {
            Some(draft) => draft.place(&path, over),
            None => files::put(&path, &made.bytes, over),
        };
        self.with_room(put).map(Some)
    }

    /// Writes an output, which is made, before all others. Where somebody saved over it meanwhile it is left for the end.
    pub fn put_first(&self, output: &mut Output) -> Result<()> {
        self.announce([&*output])?;
        output.placed = self.put(output)? != Some(Placed::Stands);
        Ok(())
    }

    /// What runs may have written under `path`, the new versions beside it included: who moves one over it has accepted it.
    fn known(&self, path: &str) -> Vec<Written> {
        let besides = self.records.besides(path).into_iter().map(|(_, written)| written);
        self.records.of(path).into_iter().chain(besides).collect()
    }

    /// Does `write`, and where the disk is full does it once more without the cache, which holds nothing but time.
    pub fn with_room<T>(&self, mut write: impl FnMut() -> Result<T>) -> Result<T> {
        write().or_else(|faults| {
            if !faults.list.iter().any(|fault| fault.no_room) {
                return Err(faults);
            }
            self.store.clear_disk();
            write()
        })
    }

    /// What the run removes of files that no slot asks for any more, or that another mood's folder has.
    fn going(&self, outputs: &[Output], gone: &[Gone]) -> BTreeSet<String> {
        let given_up = given_up(outputs);
        let goes =
            |gone: &&Gone| !gone.touched && (self.options.rerun.prune || given_up.contains(&gone.path));
        gone.iter().filter(goes).map(|gone| gone.path.clone()).collect()
    }

    /// The records of what stands in the folder, and what no slot asks for any more.
    fn on_record(
        &self,
        outputs: &[Output],
        names: &[String],
        remove: bool,
    ) -> Result<(BTreeMap<String, Written>, Vec<Gone>)> {
        let mut files: BTreeMap<String, Written> = outputs.iter().flat_map(Output::records).collect();
        // What the run wasn't asked for stays on record.
        for name in names {
            if files.contains_key(name) {
                continue;
            }
            let known = self.records.of(name);
            let there = match decide::look(&self.folder, name, &known, false)? {
                decide::Found::Ours(written) => Some(*written),
                decide::Found::Missing | decide::Found::Touched => known.into_iter().next(),
            };
            files.extend(there.map(|written| (name.clone(), written)));
        }
        let wanted: BTreeSet<String> = files.keys().chain(names).cloned().collect();
        let given_up = given_up(outputs);
        let goes = |name: &str| remove && (self.options.rerun.prune || given_up.contains(name));
        let (gone, left) = gone(&self.folder, &self.records, &wanted, &goes)?;
        files.extend(left);
        Ok((files, gone))
    }

    /// Leaves the record for the next run, if it says anything new.
    pub fn remember(&self, state: &State) -> Result<()> {
        let (path, text) = (self.folder.join(STATE), state.text());
        let there = std::fs::read(&path).is_ok_and(|there| there == text.as_bytes());
        if there && text == self.records.text { Ok(()) } else { files::write_whole(path, text.as_bytes()) }
    }

    /// What the run has left.
    pub fn report(
        &self,
        manifest: Manifest,
        outputs: &[Output],
        painted: &Painted,
        gone: Vec<Gone>,
    ) -> Report {
        let (mut made, mut kept, mut unchanged) = (Vec::new(), Vec::new(), 0);
        for output in outputs {
            let change = |beside: Option<&String>| Change {
                path: output.path().to_owned(),
                beside: beside.cloned(),
                why: output.decision.why.clone(),
                shown: painted.files.contains_key(output.path()),
            };
            match &output.decision.act {
                // Every run renews the manifest; that is no news.
                Act::Make | Act::Keep(_) if output.what == What::Manifest => {}
                Act::Make => made.push(change(None)),
                Act::Keep(_) => unchanged += 1,
                Act::Share(shared) if !shared.touched => unchanged += 1,
                Act::Spare(_) | Act::Share(_) => kept.push(change(None)),
                Act::Beside(_, name) => kept.push(change(Some(name))),
            }
        }
        let own = given_up(outputs);
        let (given, gone): (Vec<Gone>, Vec<Gone>) =
            gone.into_iter().partition(|gone| gone.removed && own.contains(&gone.path));
        let mut notes = self.records.notes.clone();
        notes.extend(painted.notes.iter().cloned());
        notes.extend(self.outdated());
        Report {
            still: self.folder.join(STILL),
            folder: self.folder.clone(),
            manifest,
            plan: Plan::clone(self.plan),
            made,
            kept,
            gone,
            given_up: given.len(),
            unchanged,
            notes,
        }
    }

    /// Forms that an earlier run left and this one isn't asked for, although they would now be others.
    fn outdated(&self) -> Vec<String> {
        let old = |also: &Also| {
            let exports = &self.records.manifest.as_ref()?.exports;
            let old = exports.iter().find(|export| export.path == also.file())?;
            // How large the moving picture was asked for isn't known any more.
            let known = *also != Also::Pan && !self.options.also.contains(also);
            let other = || old.made_of != self.outputs.form(*also, &self.options.pan).made_of;
            (known && other() && self.folder.join(&old.path).is_file())
                .then(|| format!("{} is out of date; --also {} updates it", old.path, also.word()))
        };
        Also::ALL.iter().filter_map(old).collect()
    }
}

/// What stands in the folder after the run besides its outputs.
fn left(files: BTreeMap<String, Written>, gone: &[Gone], going: &BTreeSet<String>) -> Vec<(String, Written)> {
    let is_gone = |name: &String| gone.iter().any(|gone| gone.path == *name);
    let stays = |(name, written): &(String, Written)| {
        // A manifest can't hold its own hash.
        let of_manifest = written.beside.as_deref() == Some(output::manifest::NAME);
        !of_manifest && !going.contains(name) && (written.beside.is_some() || is_gone(name))
    };
    files.into_iter().filter(stays).collect()
}

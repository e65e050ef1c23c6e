//! Writing what was made, and the record for the next run.

use crate::base::fault::Result;
use crate::base::files;
use crate::output::forms::Also;
use crate::output::{self, Manifest};
use crate::plan::Plan;
use crate::store::rerun::gone::gone;
use crate::store::rerun::record::NAME as STATE;
use crate::store::rerun::{Act, Gone, State, Written, decide};
use crate::store::run::folder::Run;
use crate::store::run::output::{Output, What};
use crate::store::run::{Change, Report, STILL};
use rayon::prelude::*;
use std::collections::{BTreeMap, BTreeSet};

impl Run<'_> {
    /// Writes what was made; the record for the next run, and what no slot asks for any more.
    ///
    /// What is about to be written is put on record first, so that a run which is ended half way leaves nothing that the next one would
    /// take for somebody else's.
    pub fn write(&self, outputs: &[Output], names: &[String]) -> Result<(State, Vec<Gone>)> {
        let due: Vec<(&str, &[u8], Written)> = outputs
            .iter()
            .filter_map(|output| {
                Some((output.target()?, output.made.as_ref()?.bytes.as_slice(), output.written()?))
            })
            .collect();
        if !due.is_empty() {
            let mut intent = self.records.state.clone();
            intent.pending.extend(due.iter().map(|(name, _, written)| ((*name).to_owned(), written.clone())));
            files::write_whole(self.folder.join(STATE), intent.text().as_bytes())?;
        }
        // Side by side, since each waits for the disk; the manifest last, so that it names nothing that isn't there.
        let (last, first): (Vec<_>, Vec<_>) =
            due.iter().partition(|(name, ..)| *name == output::manifest::NAME);
        for group in [first, last] {
            let write = |(name, bytes, _): &&(&str, &[u8], Written)| {
                files::write_whole(self.folder.join(name), bytes)
            };
            let written: Vec<Result<()>> = group.par_iter().map(write).collect();
            written.into_iter().collect::<Result<()>>()?;
        }
        self.state(outputs, names)
    }

    /// The record of what stands in the folder now.
    fn state(&self, outputs: &[Output], names: &[String]) -> Result<(State, Vec<Gone>)> {
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
        let (gone, left) = gone(&self.folder, &self.records, &wanted, self.options.rerun.prune)?;
        files.extend(left);
        Ok((State::new(files), gone))
    }

    /// Leaves the record for the next run, if it says anything new.
    pub fn remember(&self, state: &State) -> Result<()> {
        let (path, text) = (self.folder.join(STATE), state.text());
        let there = std::fs::read(&path).is_ok_and(|there| there == text.as_bytes());
        if there && text == self.records.text { Ok(()) } else { files::write_whole(path, text.as_bytes()) }
    }

    /// What the run has left.
    pub fn report(&self, manifest: Manifest, outputs: &[Output], gone: Vec<Gone>) -> Report {
        let (mut made, mut kept, mut unchanged) = (Vec::new(), Vec::new(), 0);
        for output in outputs {
            let change = |beside: Option<&String>| Change {
                path: output.wanted.path.clone(),
                beside: beside.cloned(),
                why: output.decision.why.clone(),
            };
            match &output.decision.act {
                // Every run renews the manifest; that is no news.
                Act::Make | Act::Keep(_) if output.what == What::Manifest => {}
                Act::Make => made.push(change(None)),
                Act::Keep(_) => unchanged += 1,
                Act::Spare(_) => kept.push(change(None)),
                Act::Beside(_, name) => kept.push(change(Some(name))),
            }
        }
        let mut notes = self.records.notes.clone();
        notes.extend(self.outdated());
        Report {
            still: self.folder.join(STILL),
            folder: self.folder.clone(),
            manifest,
            plan: Plan::clone(self.plan),
            made,
            kept,
            gone,
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

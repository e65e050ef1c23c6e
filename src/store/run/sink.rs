//! A run whose files go to whoever wants them: nothing is looked for and nothing is written.

use crate::base::fault::{Class, Fault, Result};
use crate::base::files::Draft;
use crate::base::progress::{Progress, Stage, stage};
use crate::output;
use crate::plan::Plan;
use crate::scene::pictures::Pictures;
use crate::stack::Stack;
use crate::store::rerun::{Act, Decision, Wanted};
use crate::store::run::folder::Run;
use crate::store::run::output::{Output, What};
use crate::store::run::painted::Painted;
use crate::store::run::{Options, Report};
use std::path::PathBuf;
use std::sync::{Mutex, PoisonError};

/// Takes the files of a run, one by one.
pub trait Sink: Sync {
    /// Takes a file. `name` is a relative path with `/` between its parts, as the manifest has it; no name comes twice. Called from
    /// several threads at once; the manifest comes when all other files of its scale have been taken.
    ///
    /// # Errors
    /// Whatever keeps it from taking the file: the run ends with that.
    fn take(&self, name: &str, bytes: Vec<u8>) -> Result<()>;
}

/// A file in memory.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub struct NamedFile {
    /// Its relative path, with `/` between its parts.
    pub name: String,
    /// What it holds.
    pub bytes: Vec<u8>,
}

/// Keeps every file in memory.
#[derive(Debug, Default)]
pub struct Collected(Mutex<Vec<NamedFile>>);

impl Collected {
    /// The files, in the order of their names.
    pub fn files(self) -> Vec<NamedFile> {
        let mut files = self.0.into_inner().unwrap_or_else(PoisonError::into_inner);
        files.sort_by(|a, b| a.name.cmp(&b.name));
        files
    }
}

impl Sink for Collected {
    fn take(&self, name: &str, bytes: Vec<u8>) -> Result<()> {
        let mut files = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        files.push(NamedFile { name: name.to_owned(), bytes });
        Ok(())
    }
}

/// Carries out `plan`, and hands its files to `sink` under names below `folder`.
pub(super) fn run(
    plan: &Plan,
    pictures: &Pictures,
    options: &Options,
    folder: PathBuf,
    sink: &dyn Sink,
    progress: &dyn Progress,
) -> Result<Report> {
    let run = Run { sink: Some(sink), ..Run::new(plan, pictures, options, folder, progress)? };
    let mut stack = Stack::empty(plan);
    let shapes = stage(progress, Stage::Shapes, "", || run.shapes(&mut stack))?;
    let (textures, _) = run.wanted(&shapes)?;
    let mut outputs: Vec<Output> = textures.into_iter().chain(run.wanted_whole()).map(new).collect();
    let painted = Painted::default();
    run.make(&mut stack, &shapes, &painted, &mut outputs)?;
    let manifest = run.manifest(&outputs, &shapes, &painted, Vec::new());
    run.take(output::manifest::NAME, manifest.text().into_bytes())?;
    Ok(run.report(manifest, &outputs, &painted, Vec::new()))
}

/// An output of which nothing is there yet.
fn new(wanted: (What, Wanted)) -> Output {
    let decision = Decision { act: Act::Make, why: "new".into(), replace: false, besides: Vec::new() };
    Output::new(wanted, decision)
}

impl Run<'_> {
    /// Gives what was made of an output to whoever takes it, else to the disk, where it waits for its name; its record stays.
    pub fn hand_over(&self, output: &mut Output) -> Result<()> {
        let Some(name) = output.target().map(|name| self.folder.join(name)) else { return Ok(()) };
        let Some(made) = &mut output.made else { return Ok(()) };
        let bytes = std::mem::take(&mut made.bytes);
        if self.sink.is_some() {
            output.placed = true;
            return self.take(&output.wanted.path, bytes);
        }
        output.draft = Some(self.with_room(|| Draft::new(&name, &bytes))?);
        Ok(())
    }

    fn take(&self, name: &str, bytes: Vec<u8>) -> Result<()> {
        let Some(sink) = self.sink else { return Ok(()) };
        match self.folder.to_str() {
            Some("") => sink.take(name, bytes),
            Some(folder) => sink.take(&format!("{folder}/{name}"), bytes),
            None => {
                Err(Fault::new(Class::Output, "the folder's name is no text").in_file(&self.folder).into())
            }
        }
    }
}

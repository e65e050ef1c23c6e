//! Making what is due; the still is written at once, the rest when all of it is made.

use crate::base::bitmap::Bytes;
use crate::base::fault::{Class, Fault, Faults, Result};
use crate::base::key::{Key, KeyWriter};
use crate::base::progress::{Stage, stage};
use crate::base::threads;
use crate::base::words::{Alpha, Bits};
use crate::output::stream::ShownFile;
use crate::output::texture::Shape;
use crate::output::{self, Effort, forms};
use crate::plan::Job;
use crate::stack::Stack;
use crate::store::cache::FOLDER;
use crate::store::maker::{Request, work_of};
use crate::store::rerun::Wanted;
use crate::store::run::STILL;
use crate::store::run::folder::Run;
use crate::store::run::output::{Output, What};
use crate::store::run::painted::Painted;
use crate::store::run::textures::{self, File};
use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;
use std::sync::{Arc, Mutex, PoisonError};

/// What outputs are made from.
struct Source<'a> {
    stack: &'a Stack<'a>,
    /// The same with what was painted on outputs.
    seen: &'a Stack<'a>,
    shapes: &'a [Shape],
    /// The still's values, where they are due, until they are taken.
    greys: Mutex<Option<Bytes>>,
}

impl Run<'_> {
    /// Works out all that is to be made.
    pub fn make(
        &self,
        stack: &mut Stack<'_>,
        shapes: &[Shape],
        painted: &Painted,
        outputs: &mut [Output],
    ) -> Result<()> {
        let rims = self.rims_of(outputs);
        let due: Vec<&mut Output> = outputs.iter_mut().filter(|output| output.target().is_some()).collect();
        let request = self.request(stack, shapes, &due);
        let jobs = self.plan.files.iter().enumerate();
        let work: u64 = jobs
            .filter(|(at, _)| request.needed[*at] && !stack.has(*at))
            .map(|(_, job)| work_of(job.placing()))
            .chain(due.iter().map(|output| output.wanted.texels))
            .sum();
        self.progress.begins(&self.folder, due.len(), work);
        if self.options.inspector.is_there() && !self.inspect(stack, shapes)? {
            return Err(self.stopped());
        }
        if !self.maker().fill(stack, &request)? {
            return Err(self.stopped());
        }
        self.store.evict();
        let misplaced = |job: &usize| stack.has(*job) && !shapes[*job].stands_at(stack.placing(*job));
        if rims.iter().any(misplaced) {
            return Err(Fault::new(Class::Output, "the cache is damaged: it has a rim elsewhere")
                .in_file(self.folder.join(FOLDER))
                .remedy("delete that folder and render again")
                .into());
        }
        let whole = due.iter().any(|output| output.texture().is_none());
        let seen = if whole { self.as_painted(stack, shapes, painted)? } else { None };
        let seen = seen.as_ref().unwrap_or(stack);
        // First, on all threads: were it drawn by one of several outputs, others that wait for it would be idle.
        let shown = due.iter().any(|output| matches!(output.what, What::Still | What::Values));
        let draw = || self.shown(seen);
        let mut shown = shown.then(|| stage(self.progress, Stage::Still, STILL, draw));
        let still = shown.as_mut().map(|shown| std::mem::take(&mut shown.file));
        let source = Source { stack, seen, shapes, greys: Mutex::new(shown.map(|shown| shown.greys)) };
        let mut due = due;
        self.still_first(&source, still, &mut due)?;
        stage(self.progress, Stage::Files, "", || self.make_all(&source, due))
    }

    /// The still is looked at after every tweak and then made again: unless all else is to be as small as can be, it has to be there soon.
    fn shown(&self, seen: &Stack<'_>) -> ShownFile {
        let bits = self.options.bits;
        if self.options.effort != Effort::Small {
            return seen.shown_file(self.camera, bits);
        }
        let shown = seen.shown(self.camera, bits);
        let greys = Bytes::new(self.plan.texels[0] as usize, &shown.greys);
        ShownFile { file: output::encode(shown.texels.raster(), Effort::Small), greys }
    }

    /// Shows the whole stack to whoever looks at it. False if the run was stopped.
    fn inspect(&self, stack: &mut Stack<'_>, shapes: &[Shape]) -> Result<bool> {
        let (cameras, needed) = (self.plan.cameras(), vec![true; self.plan.files.len()]);
        let is_whole = (0..needed.len()).all(|job| stack.has(job));
        if !is_whole || stack.survey.cameras != cameras {
            let files = self.picture_files(|job| Some(&shapes[job]));
            let (pictures, bits) = (self.pictures, self.options.bits);
            if !self.maker().fill(stack, &Request { pictures, bits, needed, files, cameras: &cameras })? {
                return Ok(false);
            }
        }
        stage(self.progress, Stage::Inspection, "", || self.options.inspector.look(stack));
        Ok(true)
    }

    /// Writes the still, which is what somebody waits for; all else takes longer.
    fn still_first(
        &self,
        source: &Source<'_>,
        file: Option<Vec<u8>>,
        due: &mut Vec<&mut Output>,
    ) -> Result<()> {
        let Some(at) = due.iter().position(|output| output.what == What::Still) else { return Ok(()) };
        if self.progress.stopped() {
            return Ok(());
        }
        let still = due.remove(at);
        still.made = file.map(|file| File::new(file, true, 0));
        self.make_timed(source, vec![&mut *still])?;
        if self.sink.is_some() { Ok(()) } else { self.put_first(still) }
    }

    /// The rims among the jobs that are asked for, whose shapes may have come from the store.
    fn rims_of(&self, outputs: &[Output]) -> BTreeSet<usize> {
        let jobs = outputs.iter().filter_map(|output| output.texture()).map(|of| of.job);
        jobs.filter(|job| self.is_rim(*job)).collect()
    }

    /// What the outputs `due` need of the stack.
    fn request(&self, stack: &Stack<'_>, shapes: &[Shape], due: &[&mut Output]) -> Request<'_> {
        let jobs: BTreeSet<usize> =
            due.iter().filter_map(|output| output.texture()).map(|of| of.job).collect();
        // The still, its values and the other forms show every job.
        let all = due.iter().any(|output| output.texture().is_none());
        let behind = self.behind_rims(jobs.iter().copied().filter(|job| !stack.has(*job)));
        let needed = |job: usize| all || job < behind || jobs.contains(&job);
        Request {
            pictures: self.pictures,
            bits: self.options.bits,
            needed: (0..self.plan.files.len()).map(needed).collect(),
            files: self.picture_files(|job| Some(&shapes[job])),
            cameras: if all { std::slice::from_ref(&self.camera) } else { &[] },
        }
    }

    /// The files of an earlier run that hold a job's picture just as it is drawn, as far as `shape` is known.
    pub fn picture_files<'s>(
        &self,
        shape: impl Fn(usize) -> Option<&'s Shape>,
    ) -> BTreeMap<usize, (PathBuf, String)> {
        if self.options.rerun.again || self.plan.texture.alpha != Alpha::Straight {
            return BTreeMap::new();
        }
        let file = |(at, job): (usize, &Job)| {
            let wanted = &self.jobs[at];
            let as_drawn = matches!(job, Job::Art(_) | Job::Own(_)) && shape(at).is_some_and(Shape::is_whole);
            Some((at, as_drawn.then(|| self.standing(wanted))??))
        };
        self.plan.files.iter().enumerate().filter_map(file).collect()
    }

    /// Makes the outputs `due`, those of one job at one moment together: their tiles come from one piece of work.
    fn make_all(&self, source: &Source<'_>, due: Vec<&mut Output>) -> Result<()> {
        let mut groups: BTreeMap<(usize, u32), Vec<&mut Output>> = BTreeMap::new();
        for (at, output) in due.into_iter().enumerate() {
            let group = output.texture().map_or((usize::MAX, at as u32), |of| (of.job, of.frame));
            groups.entry(group).or_default().push(output);
        }
        let groups: Vec<Vec<&mut Output>> = groups.into_values().collect();
        let made: Vec<Result<()>> =
            threads::each_of(groups, self.at_once(), |group| self.make_timed(source, group));
        Faults::gather(made)?;
        if self.progress.stopped() { Err(self.stopped()) } else { Ok(()) }
    }

    fn make_timed(&self, source: &Source<'_>, group: Vec<&mut Output>) -> Result<()> {
        let path = group.first().map(|output| output.wanted.path.clone()).unwrap_or_default();
        stage(self.progress, Stage::File, &path, || self.make_group(source, group))
    }

    /// Makes the tiles of one job at one moment, or another output.
    fn make_group(&self, source: &Source<'_>, group: Vec<&mut Output>) -> Result<()> {
        if self.progress.stopped() {
            return Ok(());
        }
        for output in &group {
            self.progress.makes(&output.wanted.path);
        }
        let first = group.first().and_then(|output| output.texture());
        let shape = |job: usize| &source.shapes[job];
        // Another run at work beside this one may have made the same file.
        let mut group = group;
        for output in group.iter_mut().filter(|output| output.made.is_none()) {
            output.made = output
                .texture()
                .and_then(|_| self.store.get::<File>(file_key(&output.wanted)))
                .map(|file| File::clone(&file));
        }
        let due: BTreeSet<usize> = group
            .iter()
            .filter(|output| output.made.is_none())
            .filter_map(|output| output.texture())
            .map(|of| of.tile)
            .collect();
        let first = first.filter(|_| !due.is_empty());
        let mut tiles = first.map(|of| textures::make(source.stack, of, shape(of.job), self.options, &due));
        for output in group {
            if output.made.is_none() {
                output.made = match (output.what, &mut tiles) {
                    (What::Texture(of), Some(tiles)) => tiles.remove(&of.tile),
                    (what, _) => self.make_whole(source, what)?,
                };
                self.offer(output);
            }
            self.progress.made(&output.wanted.path, output.wanted.texels);
            self.hand_over(output)?;
        }
        Ok(())
    }

    /// Puts a texture's file into the memory that other runs look in, if there is one.
    fn offer(&self, output: &Output) {
        if let (Some(_), Some(file), true) = (output.texture(), &output.made, self.options.shared.is_there())
        {
            self.store.put(file_key(&output.wanted), &Arc::new(file.clone()));
        }
    }

    /// A picture of the whole stack, or the stack in another form.
    fn make_whole(&self, source: &Source<'_>, what: What) -> Result<Option<File>> {
        let Source { stack, seen, shapes, greys } = source;
        Ok(match what {
            What::Export(also) => {
                let as_made = std::ptr::eq(*stack, *seen);
                let known = as_made && self.options.only.is_empty() && self.options.bits == Bits::Eight;
                let how = forms::How {
                    pan: &self.options.pan,
                    shapes: known.then_some(*shapes),
                    effort: self.options.effort,
                    limits: self.limits(),
                };
                Some(File::new(forms::bytes(seen, also, &how)?, false, 0))
            }
            What::Values => {
                let greys = greys.lock().unwrap_or_else(PoisonError::into_inner).take();
                greys.map(|greys| File::new(seen.values(&greys), true, 0))
            }
            What::Texture(_) | What::Still | What::Manifest => None,
        })
    }
}

/// The key of a texture's file.
fn file_key(wanted: &Wanted) -> Key {
    KeyWriter::new("file").part("of", wanted.made_of.as_str()).key()
}

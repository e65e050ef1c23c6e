//! One run in one folder: look, decide, make, write, remember.

use crate::base::fault::{Class, Fault, Faults, Result};
use crate::base::limits::Limits;
use crate::base::progress::{Progress, Stage, stage};
use crate::base::units::Camera;
use crate::base::{door, files};
use crate::output::forms::Also;
use crate::output::texture::Shape;
use crate::output::{self, Manifest};
use crate::plan::Plan;
use crate::scene::pictures::Pictures;
use crate::stack::Stack;
use crate::store::cache::Store;
use crate::store::maker::Maker;
use crate::store::rerun::record::NAME as STATE;
use crate::store::rerun::wanted::text_key;
use crate::store::rerun::{Decision, Lock, Outputs, Packing, Records, Rerun, Wanted, Written, decide};
use crate::store::run::fades;
use crate::store::run::manifest::{Outcome, Outcomes, bytes, manifest};
use crate::store::run::output::{Output, What};
use crate::store::run::painted::Painted;
use crate::store::run::sibling::{Sibling, given_up};
use crate::store::run::sink::Sink;
use crate::store::run::textures::{File, wanted};
use crate::store::run::{Options, Report, STILL, VALUES};
use rayon::prelude::*;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// A run, as far as it stands fixed from its start.
pub(super) struct Run<'a> {
    pub plan: &'a Plan,
    pub pictures: &'a Pictures,
    pub options: &'a Options,
    pub progress: &'a dyn Progress,
    pub folder: PathBuf,
    /// Camera place of the still, scene px of travel.
    pub camera: Camera,
    /// What the outputs follow from.
    pub outputs: Outputs<'a>,
    /// What is wanted of each job, were it stored as it is drawn.
    pub jobs: Vec<Wanted>,
    pub store: Store,
    pub records: Records,
    /// Folders of other moods whose files are named where they are the same.
    pub lenders: Vec<Sibling>,
    /// Who takes the files; none where the folder does.
    pub sink: Option<&'a dyn Sink>,
}

/// How often a run begins once more because something changed in the folders of the other moods before it had written.
const TRIES: usize = 3;

/// Carries out `plan` in `folder`.
pub(super) fn run(
    plan: &Plan,
    pictures: &Pictures,
    options: &Options,
    folder: PathBuf,
    progress: &dyn Progress,
) -> Result<Report> {
    files::make_folder_below(&options.root, &folder)?;
    let _lock = Lock::take(&folder)?;
    // What a run that was killed left half written.
    files::sweep(&folder);
    for _ in 0..TRIES {
        let run = Run::new(plan, pictures, options, folder.clone(), progress)?;
        if let Some(report) = run.carry_out()? {
            return Ok(report);
        }
    }
    let fault =
        Fault::new(Class::Output, "the files of the scene's other moods kept changing during the run");
    Err(fault.in_file(&folder).remedy("Wait for the other runs to finish.").into())
}

/// The names that every run may write under, and `paths`.
fn names(paths: impl Iterator<Item = String>) -> Vec<String> {
    let forms = Also::ALL.into_iter().map(|also| also.file().to_owned());
    let whole = [STILL, VALUES, output::manifest::NAME].map(str::to_owned);
    paths.chain(whole).chain(forms).collect()
}

/// Outputs that are wanted, and every name that is the run's.
pub(super) type WantedNames = (Vec<(What, Wanted)>, Vec<String>);

impl<'a> Run<'a> {
    /// One that knows of no earlier run and keeps nothing.
    ///
    /// # Errors
    /// Where two outputs would have the same name.
    pub fn new(
        plan: &'a Plan,
        pictures: &'a Pictures,
        options: &'a Options,
        folder: PathBuf,
        progress: &'a dyn Progress,
    ) -> Result<Run<'a>> {
        let packing = Packing { bits: options.bits, effort: options.effort };
        let outputs = Outputs::new(plan, pictures, packing, &options.settings);
        let jobs = outputs.jobs();
        output::apart(&folder, &names(jobs.iter().map(|wanted| wanted.path.clone())))?;
        let camera = options.camera.unwrap_or(plan.travel.middle());
        let (store, records) = (Store::default().sharing(&options.shared), Records::default());
        let (lenders, sink) = (Vec::new(), None);
        let run = Run {
            plan,
            pictures,
            options,
            progress,
            folder,
            camera,
            outputs,
            jobs,
            store,
            records,
            lenders,
            sink,
        };
        Ok(run)
    }
}

impl Run<'_> {
    /// Looks, decides, makes, writes and remembers. None where something that was decided by no longer stood.
    fn carry_out(mut self) -> Result<Option<Report>> {
        let run = &mut self;
        (run.records, run.store) = (Records::read(&run.folder)?, run.options.store(&run.folder));
        run.meet();
        run.bound_cache(run.records.manifest.as_ref());
        run.put_facts();
        let (plan, progress) = (run.plan, run.progress);
        let mut stack = Stack::empty(plan);
        let shapes = stage(progress, Stage::Shapes, "", || run.shapes(&mut stack))?;
        let (textures, mut names) = run.wanted(&shapes)?;
        let mut outputs = run.decide(textures)?;
        let given_up = given_up(&outputs);
        names.retain(|name| !given_up.contains(name));
        let painted = run.painted(&outputs, &shapes)?;
        painted.tell(&mut run.outputs);
        outputs.extend(run.decide(run.wanted_whole())?);
        run.spare_inputs(&outputs)?;
        if outputs.iter().any(|output| output.target().is_some()) {
            run.with_room(|| files::prepare_folder(&run.folder))?;
            run.make(&mut stack, &shapes, &painted, &mut outputs)?;
        }
        let _turn = run.turn()?;
        if !run.still_stands(&outputs)? {
            return Ok(None);
        }
        let write = || run.write(&mut outputs, &names, &shapes, &painted);
        let (manifest, state, gone) = stage(progress, Stage::Writing, "", write)?;
        run.remember(&state)?;
        run.bound_cache(Some(&manifest));
        run.store.evict();
        Ok(Some(run.report(manifest, &outputs, &painted, gone)))
    }

    pub fn maker(&self) -> Maker<'_> {
        let (store, limits) = (&self.store, self.limits());
        Maker { store, limits, progress: self.progress, at_once: self.at_once() }
    }

    /// How many jobs are worked on at once.
    pub fn at_once(&self) -> usize {
        self.plan.at_once(&self.options.demand(self.plan, self.sink.is_some()), self.limits())
    }

    pub fn limits(&self) -> &Limits {
        &self.options.limits
    }

    /// Whether a slot's files are asked for.
    pub fn asks(&self, slot: &str) -> bool {
        self.options.only.is_empty() || self.options.only.iter().any(|name| name == slot)
    }

    pub fn stopped(&self) -> Faults {
        if self.sink.is_some() {
            return Fault::new(Class::Output, "the run was stopped").into();
        }
        let fault = Fault::new(Class::Output, "the run was stopped; no sheet, rim or picture was written");
        fault.in_file(&self.folder).into()
    }

    /// Holds the cache on disk to its share of the outputs; where there are none yet, of a byte for each of their texels.
    fn bound_cache(&self, outputs: Option<&Manifest>) {
        let guess = || self.jobs.iter().map(|job| job.texels).sum();
        let bytes: u64 = outputs.map_or_else(guess, bytes);
        self.store.bound_disk((bytes as f64 * self.options.cache_share) as u64);
    }

    /// Puts what is known of the pictures' files into the store.
    fn put_facts(&self) {
        for (key, facts) in self.pictures.facts() {
            self.store.put_facts(key, facts);
        }
    }

    /// All textures that are wanted, and every name that is the run's.
    pub fn wanted(&self, shapes: &[Shape]) -> Result<WantedNames> {
        let (mut all, mut paths) = (Vec::new(), Vec::new());
        for (at, (job, shape)) in self.jobs.iter().zip(shapes).enumerate() {
            let textures = wanted(self.plan, at, job, shape, self.options.frames);
            paths.extend(textures.iter().map(|(_, wanted)| wanted.path.clone()));
            if self.asks(&job.slot) {
                all.extend(textures.into_iter().map(|(of, wanted)| (What::Texture(of), wanted)));
            }
        }
        let mut names = names(paths.into_iter());
        output::apart(&self.folder, &names)?;
        // How a job's textures are cut isn't known unless they are asked for: what is there stays.
        let listed = self.records.manifest.iter().flat_map(|manifest| &manifest.files);
        let aside = |slot: &str| !self.asks(slot) && self.jobs.iter().any(|job| job.slot == slot);
        for entry in listed.filter(|entry| aside(&entry.slot)) {
            names.extend(entry.frames.iter().map(|frame| frame.path.clone()).chain([entry.path.clone()]));
        }
        names.retain(|name| output::manifest::stays_inside(name));
        names.sort_unstable();
        names.dedup();
        Ok((all, names))
    }

    /// The outputs that show the whole stack.
    pub fn wanted_whole(&self) -> Vec<(What, Wanted)> {
        let mut all = vec![
            (What::Still, self.outputs.still(STILL, self.camera)),
            (What::Values, self.outputs.values(VALUES, self.camera)),
        ];
        let forms = Also::ALL.into_iter().filter(|also| self.options.also.contains(also));
        all.extend(forms.map(|also| (What::Export(also), self.outputs.form(also, &self.options.pan))));
        all
    }

    /// Decides on every output.
    fn decide(&self, wanted: Vec<(What, Wanted)>) -> Result<Vec<Output>> {
        let decide = |(what, wanted): (What, Wanted)| -> Result<Output> {
            let shared = if matches!(what, What::Texture(_)) { self.shared(&wanted)? } else { None };
            let decision = match shared {
                Some(shared) => Decision::share(shared),
                None => decide::decide(&self.folder, &wanted, &self.records, self.options.rerun)?,
            };
            Ok(Output::new((what, wanted), decision))
        };
        let decided: Vec<Result<Output>> = wanted.into_par_iter().map(decide).collect();
        Faults::gather(decided)
    }

    /// Checks that nothing is made under the name of a file that the run reads.
    fn spare_inputs(&self, outputs: &[Output]) -> Result<()> {
        let art = self.pictures.files().into_iter().map(Path::to_path_buf);
        let inputs: Vec<PathBuf> = self.options.inputs.iter().cloned().chain(art).collect();
        let names =
            outputs.iter().filter_map(|output| output.target()).chain([output::manifest::NAME, STATE]);
        Faults::gather(names.map(|name| door::spare_inputs(&self.folder.join(name), &inputs))).map(drop)
    }

    /// Decides once more on an output that couldn't be written, since somebody saved over it while the run was at work.
    pub fn decide_again(&self, output: &mut Output) -> Result<()> {
        let decision = output.decision.clone();
        output.decision = decide::still_so(&self.folder, &output.wanted, &self.records, decision)?;
        Ok(())
    }

    /// The manifest of the outputs.
    pub fn manifest(
        &self,
        outputs: &[Output],
        shapes: &[Shape],
        painted: &Painted,
        left: Vec<(String, Written)>,
    ) -> Manifest {
        let mut outcomes = Outcomes {
            edits: &painted.files,
            textures: BTreeMap::new(),
            exports: Vec::new(),
            still: Outcome::Aside,
            values: Outcome::Aside,
            camera: self.camera,
            left,
        };
        for output in outputs {
            match output.what {
                What::Texture(of) => {
                    drop(outcomes.textures.insert(of, (output.path().to_owned(), output.outcome())))
                }
                What::Still => outcomes.still = output.outcome(),
                What::Values => outcomes.values = output.outcome(),
                What::Export(also) => outcomes.exports.push((also, output.outcome())),
                What::Manifest => {}
            }
        }
        let mut made = manifest(self.plan, shapes, &outcomes, self.records.manifest.as_ref(), &self.folder);
        fades::mark(&mut made, self.plan, &self.options.others, &self.options.limits);
        made
    }

    /// The manifest as an output like any other.
    pub fn manifest_output(&self, manifest: &Manifest) -> Result<Output> {
        let text = manifest.text();
        let wanted = Wanted {
            path: output::manifest::NAME.to_owned(),
            slot: String::new(),
            made_of: text_key("manifest", &text).hex(),
            settings: BTreeMap::new(),
            texels: 0,
        };
        // It is text: what is the same needs no renewal.
        let rerun = Rerun { again: false, ..self.options.rerun };
        let decision = decide::decide(&self.folder, &wanted, &self.records, rerun)?;
        let made = Some(File::new(text.into_bytes(), false, 0));
        Ok(Output { made, ..Output::new((What::Manifest, wanted), decision) })
    }
}

//! One run in one folder: look, decide, make, write, remember.

use super::manifest::{Outcome, manifest};
use super::stack::{Ask, work_of};
use super::{Change, Options, Report, STILL, Stack, VALUES, still_png};
use crate::arts::Arts;
use crate::fault::{Class, Fault, Faults, Result};
use crate::out::{self, Effort, Manifest};
use crate::plan::{Job, Plan};
use crate::progress::Progress;
use crate::rerun::gone::gone;
use crate::rerun::made_of::{of_jobs, of_still, of_text, of_values};
use crate::rerun::record::NAME as STATE;
use crate::rerun::{
    Act, Decision, Fields, Gone, Lock, Packing, Records, Rerun, Stands, State, Wanted, Written, decide,
};
use rayon::prelude::*;
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

/// What an output is.
#[derive(Clone, Copy, Debug, PartialEq)]
enum What {
    /// Of the job at this place in the plan.
    Job(usize),
    Still,
    Values,
    Manifest,
}

/// An output of the run: what is wanted, what becomes of it, and, once it is made, its bytes.
struct Output {
    what: What,
    wanted: Wanted,
    decision: Decision,
    made: Option<(Vec<u8>, bool)>,
    /// Where it stands, if the plan can't tell.
    stands: Option<Stands>,
}

impl Output {
    /// Its job's place in the plan.
    fn job(&self) -> Option<usize> {
        match self.what {
            What::Job(at) => Some(at),
            What::Still | What::Values | What::Manifest => None,
        }
    }

    /// The name under which something is to be made.
    fn target(&self) -> Option<&str> {
        match &self.decision.act {
            Act::Make => Some(&self.wanted.path),
            Act::Beside(_, name) => Some(name),
            Act::Keep(_) | Act::Spare(_) => None,
        }
    }

    /// The record of what was made.
    fn written(&self) -> Option<Written> {
        let (bytes, opaque) = self.made.as_ref()?;
        Some(Written {
            slot: self.wanted.slot.clone(),
            hash: blake3::hash(bytes).to_hex().to_string(),
            bytes: bytes.len() as u64,
            made_of: self.wanted.made_of.clone(),
            opaque: *opaque,
            stands: self.stands,
            beside: matches!(self.decision.act, Act::Beside(..)).then(|| self.wanted.path.clone()),
            settings: self.wanted.settings.clone(),
            seen: None,
        })
    }

    /// What became of it.
    fn outcome(&self) -> Outcome {
        match (&self.decision.act, self.written()) {
            (Act::Make, Some(written)) => Outcome::AsMeant(written),
            (Act::Make, None) => Outcome::Aside,
            (Act::Keep(written), _) => Outcome::AsMeant(written.clone()),
            (Act::Spare(written) | Act::Beside(written, _), _) => Outcome::Painted(written.clone()),
        }
    }

    /// The records to keep of it and of new versions beside it.
    fn records(&self) -> Vec<(String, Written)> {
        let mut all = self.decision.besides.clone();
        if let Outcome::AsMeant(written) | Outcome::Painted(written) = self.outcome() {
            all.push((self.wanted.path.clone(), written));
        }
        if let (Act::Beside(_, name), Some(fresh)) = (&self.decision.act, self.written()) {
            all.push((name.clone(), fresh));
        }
        all
    }
}

/// Carries out `plan` in `folder`.
pub(super) fn run(
    plan: Plan,
    arts: &Arts,
    options: &Options,
    folder: PathBuf,
    progress: &dyn Progress,
) -> Result<Report> {
    let camera = options.camera.unwrap_or(plan.travel / 2.0);
    let packing = Packing { bits: options.bits, effort: options.effort };
    let jobs = of_jobs(&plan, arts, packing, &options.settled);
    let still = of_still(STILL, &plan, &jobs, camera, packing);
    let values = of_values(VALUES, &plan, &jobs, camera, packing);
    let mut names: Vec<String> = jobs.iter().map(|wanted| wanted.path.clone()).collect();
    names.extend([STILL, VALUES, out::manifest::NAME].map(str::to_owned));
    let made_of: Vec<String> = jobs.iter().map(|wanted| wanted.made_of.clone()).collect();
    out::apart(&folder, &names)?;

    out::make_folder(&folder)?;
    let _lock = Lock::take(&folder)?;
    let records = Records::read(&folder)?;
    let asked = |slot: &str| options.only.is_empty() || options.only.iter().any(|name| name == slot);
    let wanted = jobs.into_iter().enumerate().filter(|(_, job)| asked(&job.slot));
    let mut wanted: Vec<(What, Wanted)> = wanted.map(|(at, job)| (What::Job(at), job)).collect();
    wanted.extend([(What::Still, still), (What::Values, values)]);

    let mut outputs = look(&folder, wanted, &records, options)?;
    if outputs.iter().any(|output| output.target().is_some()) {
        make(&plan, arts, options, &folder, (camera, &made_of), &mut outputs, progress)?;
        look_again(&folder, &mut outputs, &records)?;
    }
    let manifest = of_outputs(&plan, &outputs, camera, &records, &folder);
    outputs.push(of_manifest(&folder, &manifest, &records, options)?);
    let (state, gone) = write(&folder, &outputs, &names, arts, &records, options)?;
    remember(&folder, &state, &records)?;
    Ok(report(plan, folder, manifest, &outputs, gone, records.notes))
}

/// Decides on every output.
fn look(
    folder: &Path,
    wanted: Vec<(What, Wanted)>,
    records: &Records,
    options: &Options,
) -> Result<Vec<Output>> {
    let decided: Vec<Result<Output>> = wanted
        .into_par_iter()
        .map(|(what, wanted)| {
            let decision = decide::decide(folder, &wanted, records, options.rerun)?;
            Ok(Output { what, wanted, decision, made: None, stands: None })
        })
        .collect();
    Faults::gather(decided)
}

/// Works out all that is to be made; nothing is written yet.
fn make(
    plan: &Plan,
    arts: &Arts,
    options: &Options,
    folder: &Path,
    (camera, made_of): (f64, &[String]),
    outputs: &mut [Output],
    progress: &dyn Progress,
) -> Result<()> {
    out::prepare_folder(folder)?;
    out::sweep(folder);
    // What is kept is what the run would make.
    let held: BTreeMap<usize, (PathBuf, String)> = outputs
        .iter()
        .filter_map(|output| match (&output.decision.act, output.job()) {
            (Act::Keep(written), Some(job)) => {
                Some((job, (folder.join(&output.wanted.path), written.hash.clone())))
            }
            _ => None,
        })
        .collect();
    let due: Vec<&mut Output> = outputs.iter_mut().filter(|output| output.target().is_some()).collect();
    let of_jobs: BTreeSet<usize> = due.iter().filter_map(|output| output.job()).collect();
    // The still and its values show every job.
    let of_all = |output: &&mut Output| matches!(output.what, What::Still | What::Values);
    let all = due.iter().any(of_all);
    // A rim is measured on all that stands behind its art.
    let is_rim = |job: &usize| matches!(plan.files[*job], Job::Rim(_));
    let behind = of_jobs.iter().copied().filter(is_rim).max().map_or(0, |rim| rim + 2);
    let needed = |job: usize| all || job < behind || of_jobs.contains(&job);
    let to_work = plan.files.iter().enumerate().filter(|(job, _)| needed(*job));
    let to_work: u64 = to_work.map(|(_, job)| work_of(job.placing())).sum();
    progress.begins(folder, due.len(), to_work + due.iter().map(|output| output.wanted.texels).sum::<u64>());
    let fields = Fields::in_folder(folder);
    let ask = Ask {
        fields: &fields,
        limits: &options.limits,
        bits: options.bits,
        needed: &needed,
        worked: &|path, texels| progress.worked(path, texels),
        made_of: &|job| made_of.get(job).cloned(),
        held: &|job| held.get(&job).cloned(),
        cameras: if all { &[camera] } else { &[] },
    };
    let stack = Stack::part(plan, arts, &ask)?;
    let still = OnceLock::new();
    let still = || still.get_or_init(|| stack.still(camera));
    due.into_par_iter().for_each(|output| {
        if progress.stopped() {
            return;
        }
        progress.makes(&output.wanted.path);
        output.made = Some(match (output.what, output.job()) {
            (_, Some(job)) => stack.png(job, options.bits, options.effort),
            (What::Values, _) => (stack.values(still()), true),
            _ => (still_png(still(), options.bits, of_still_effort(options.effort)), true),
        });
        let rim = output.job().filter(is_rim).map(|job| stack.placing(job));
        output.stands = rim.map(|placing| Stands { rect: placing.rect, texels: placing.texels });
        progress.made(&output.wanted.path, output.wanted.texels);
    });
    let rims = (0..made_of.len()).filter(is_rim).map(|job| made_of[job].as_str());
    fields.sweep(plan, &rims.collect::<Vec<_>>());
    if progress.stopped() {
        return Err(Fault::new(Class::Output, "the run was stopped; nothing was written")
            .in_file(folder)
            .into());
    }
    Ok(())
}

/// The still is looked at after every tweak and then made anew: it has to be there soon rather than be small.
fn of_still_effort(effort: Effort) -> Effort {
    if effort == Effort::Small { Effort::Small } else { Effort::Fast }
}

/// Looks once more at what is to be replaced: somebody may have painted on it while the run was at work.
fn look_again(folder: &Path, outputs: &mut [Output], records: &Records) -> Result<()> {
    for output in outputs {
        if output.decision.act == Act::Make && !output.decision.replace {
            output.decision = decide::still_so(folder, &output.wanted, records, output.decision.clone())?;
        }
    }
    Ok(())
}

/// The manifest of the outputs.
fn of_outputs(plan: &Plan, outputs: &[Output], camera: f64, records: &Records, folder: &Path) -> Manifest {
    let mut of_jobs = vec![Outcome::Aside; plan.files.len()];
    let (mut of_still, mut of_values) = (Outcome::Aside, Outcome::Aside);
    for output in outputs {
        *match output.what {
            What::Job(job) => &mut of_jobs[job],
            What::Values => &mut of_values,
            What::Still | What::Manifest => &mut of_still,
        } = output.outcome();
    }
    manifest(plan, &of_jobs, [&of_still, &of_values], camera, records.manifest.as_ref(), folder)
}

/// The manifest as an output like any other.
fn of_manifest(folder: &Path, manifest: &Manifest, records: &Records, options: &Options) -> Result<Output> {
    let text = manifest.text();
    let wanted = Wanted {
        path: out::manifest::NAME.to_owned(),
        slot: String::new(),
        made_of: of_text("manifest", &text),
        settings: BTreeMap::new(),
        texels: 0,
    };
    // It is text: what is the same needs no renewal.
    let rerun = Rerun { again: false, ..options.rerun };
    let decision = decide::decide(folder, &wanted, records, rerun)?;
    let made = Some((text.into_bytes(), false));
    Ok(Output { what: What::Manifest, wanted, decision, made, stands: None })
}

/// Writes what was made; the record for the next run, and what no slot asks for any more.
///
/// What is about to be written is put on record first, so that a run which is ended half way leaves nothing that the next one would
/// take for somebody else's.
fn write(
    folder: &Path,
    outputs: &[Output],
    names: &[String],
    arts: &Arts,
    records: &Records,
    options: &Options,
) -> Result<(State, Vec<Gone>)> {
    let due: Vec<(&str, &[u8], Written)> = outputs
        .iter()
        .filter_map(|output| Some((output.target()?, output.made.as_ref()?.0.as_slice(), output.written()?)))
        .collect();
    if !due.is_empty() {
        let mut intent = records.state.clone();
        intent.pending.extend(due.iter().map(|(name, _, written)| ((*name).to_owned(), written.clone())));
        out::write_whole(folder.join(STATE), intent.text().as_bytes())?;
    }
    for (name, bytes, _) in &due {
        out::write_whole(folder.join(name), bytes)?;
    }
    let mut files: BTreeMap<String, Written> = outputs.iter().flat_map(Output::records).collect();
    // What the run wasn't asked for stays on record.
    for name in names {
        if files.contains_key(name) {
            continue;
        }
        let known = records.of(name);
        let there = match decide::look(folder, name, &known, false)? {
            decide::Found::Ours(written) => Some(*written),
            decide::Found::Missing | decide::Found::Touched => known.into_iter().next(),
        };
        files.extend(there.map(|written| (name.clone(), written)));
    }
    let wanted: BTreeSet<String> = files.keys().chain(names).cloned().collect();
    let (gone, left) = gone(folder, records, &wanted, options.rerun.prune)?;
    files.extend(left);
    Ok((State::new(files, arts.known()), gone))
}

/// Leaves the record for the next run, if it says anything new.
fn remember(folder: &Path, state: &State, records: &Records) -> Result<()> {
    let text = state.text();
    let there = std::fs::read(folder.join(STATE)).is_ok_and(|there| there == text.as_bytes());
    if there && text == records.text { Ok(()) } else { out::write_whole(folder.join(STATE), text.as_bytes()) }
}

fn report(
    plan: Plan,
    folder: PathBuf,
    manifest: Manifest,
    outputs: &[Output],
    gone: Vec<Gone>,
    notes: Vec<String>,
) -> Report {
    let (mut made, mut kept, mut unchanged) = (Vec::new(), Vec::new(), 0);
    for output in outputs {
        let change = |beside: Option<&String>| Change {
            path: output.wanted.path.clone(),
            beside: beside.cloned(),
            why: output.decision.why.clone(),
        };
        match &output.decision.act {
            // Every run renews the manifest; that is no news.
            Act::Make if output.what == What::Manifest => {}
            Act::Keep(_) if output.what == What::Manifest => {}
            Act::Make => made.push(change(None)),
            Act::Keep(_) => unchanged += 1,
            Act::Spare(_) => kept.push(change(None)),
            Act::Beside(_, name) => kept.push(change(Some(name))),
        }
    }
    Report { still: folder.join(STILL), folder, manifest, plan, made, kept, gone, unchanged, notes }
}

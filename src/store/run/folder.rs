//! One run in one folder: look, decide, make, write, remember.

use crate::base::fault::{Class, Fault, Faults, Result};
use crate::base::files;
use crate::base::progress::Progress;
use crate::base::units::Camera;
use crate::base::words::{Alpha, Bits};
use crate::output::forms::{self, Also};
use crate::output::texture::Shape;
use crate::output::{self, Effort, Manifest};
use crate::plan::{Job, Plan};
use crate::scene::pictures::Arts;
use crate::stack::Stack;
use crate::stack::still::Shown;
use crate::store::maker::{Ask, work_of};
use crate::store::rerun::gone::gone;
use crate::store::rerun::made_of::{of_export, of_jobs, of_still, of_text, of_values};
use crate::store::rerun::record::NAME as STATE;
use crate::store::rerun::{Act, Fields, Gone, Lock, Packing, Records, Rerun, State, Wanted, Written, decide};
use crate::store::run::manifest::{Outcome, Outcomes, manifest};
use crate::store::run::output::{Output, What};
use crate::store::run::textures::{self, File, Of, Searched};
use crate::store::run::{Change, Options, Report, STILL, VALUES};
use rayon::prelude::*;
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

/// Carries out `plan` in `folder`.
pub(super) fn run(
    plan: Plan,
    arts: &Arts,
    options: &Options,
    folder: PathBuf,
    progress: &dyn Progress,
) -> Result<Report> {
    let camera = options.camera.unwrap_or(Camera(plan.travel / 2.0));
    let packing = Packing { bits: options.bits, effort: options.effort };
    let jobs = of_jobs(&plan, arts, packing, &options.settled);
    let still = of_still(STILL, &plan, &jobs, camera, packing);
    let values = of_values(VALUES, &plan, &jobs, camera, packing);
    let of_form = |also: Also| of_export(also, &options.pan, &plan, &jobs, packing);
    let fixed = |paths: Vec<String>| -> Vec<String> {
        let forms = Also::ALL.into_iter().map(|also| also.file().to_owned());
        let whole = [STILL, VALUES, output::manifest::NAME].map(str::to_owned);
        paths.into_iter().chain(whole).chain(forms).collect()
    };
    output::apart(&folder, &fixed(jobs.iter().map(|wanted| wanted.path.clone()).collect()))?;
    let made_of: Vec<String> = jobs.iter().map(|wanted| wanted.made_of.clone()).collect();

    files::make_folder(&folder)?;
    let _lock = Lock::take(&folder)?;
    // What a run that was killed left half written.
    files::sweep(&folder);
    let records = Records::read(&folder)?;
    let asked = |slot: &str| options.only.is_empty() || options.only.iter().any(|name| name == slot);
    let fields = Fields::in_folder(&folder);
    let mut stack = Stack::empty(&plan);
    let with = (arts, &fields);
    let (shapes, searched) =
        textures::shapes(&mut stack, &jobs, with, options, &records, asked, (&folder, progress))?;
    if progress.stopped() {
        return Err(stopped(&folder));
    }
    let of_jobs = jobs.iter().enumerate().map(|(at, job)| (asked(&job.slot), at, job));
    let textures: Vec<(bool, Of, Wanted)> = of_jobs
        .flat_map(|(asked, at, job)| {
            let all = textures::wanted(&plan, at, job, &shapes[at], options.frames);
            all.into_iter().map(move |(of, wanted)| (asked, of, wanted))
        })
        .collect();
    let mut names = fixed(textures.iter().map(|(.., wanted)| wanted.path.clone()).collect());
    output::apart(&folder, &names)?;
    // How a job's textures are cut isn't known unless they are asked for: what is there stays.
    let listed = records.manifest.iter().flat_map(|manifest| &manifest.files);
    let aside = listed.filter(|entry| !asked(&entry.slot) && jobs.iter().any(|job| job.slot == entry.slot));
    for entry in aside {
        names.extend(entry.frames.iter().map(|frame| frame.path.clone()).chain([entry.path.clone()]));
    }
    names.sort_unstable();
    names.dedup();

    let asked = textures.into_iter().filter(|(asked, ..)| *asked);
    let mut wanted: Vec<(What, Wanted)> = asked.map(|(_, of, wanted)| (What::Texture(of), wanted)).collect();
    wanted.extend([(What::Still, still), (What::Values, values)]);
    wanted.extend(
        Also::ALL
            .into_iter()
            .filter(|also| options.also.contains(also))
            .map(|also| (What::Export(also), of_form(also))),
    );

    let mut notes = records.notes.clone();
    notes.extend(outdated(&folder, options, &records, |also| of_form(also).made_of));
    let mut outputs = look(&folder, wanted, &records, options)?;
    if outputs.iter().any(|output| output.target().is_some()) {
        let with = (arts, &fields);
        make(&mut stack, with, options, &folder, (camera, &made_of), (&shapes, &mut outputs), progress)?;
        look_again(&folder, &mut outputs, &records)?;
    }
    let manifest = of_outputs(&plan, &outputs, camera, &shapes, &records, &folder);
    outputs.push(of_manifest(&folder, &manifest, &records, options)?);
    let (state, gone) = write(&folder, &outputs, &names, (arts, searched), &records, options)?;
    remember(&folder, &state, &records)?;
    Ok(report(plan, folder, manifest, &outputs, gone, notes))
}

/// Forms that an earlier run left and this one isn't asked for, although they would now be others.
fn outdated(
    folder: &Path,
    options: &Options,
    records: &Records,
    made_of: impl Fn(Also) -> String,
) -> Vec<String> {
    let old = |also: &Also| {
        let exports = &records.manifest.as_ref()?.exports;
        let old = exports.iter().find(|export| export.path == also.file())?;
        // How large the moving picture was asked for isn't known any more.
        let known = *also != Also::Pan && !options.also.contains(also);
        (known && old.made_of != made_of(*also) && folder.join(&old.path).is_file())
            .then(|| format!("{} is out of date; --also {} updates it", old.path, also.word()))
    };
    Also::ALL.iter().filter_map(old).collect()
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
            Ok(Output { what, wanted, decision, made: None })
        })
        .collect();
    Faults::gather(decided)
}

/// Works out all that is to be made; nothing is written yet.
fn make(
    stack: &mut Stack<'_>,
    (arts, fields): (&Arts, &Fields),
    options: &Options,
    folder: &Path,
    (camera, made_of): (Camera, &[String]),
    (shapes, outputs): (&[Shape], &mut [Output]),
    progress: &dyn Progress,
) -> Result<()> {
    files::prepare_folder(folder)?;
    // What is kept is what the run would make.
    let held: BTreeMap<usize, (PathBuf, String)> = outputs
        .iter()
        .filter_map(|output| match (&output.decision.act, output.texture()) {
            (Act::Keep(written), Some(of)) if as_drawn(stack.plan(), &shapes[of.job], of) => {
                Some((of.job, (folder.join(&output.wanted.path), written.hash.clone())))
            }
            _ => None,
        })
        .collect();
    let shaped: BTreeSet<usize> =
        outputs.iter().filter_map(|output| output.texture()).map(|of| of.job).collect();
    let due: Vec<&mut Output> = outputs.iter_mut().filter(|output| output.target().is_some()).collect();
    let of_jobs: BTreeSet<usize> =
        due.iter().filter_map(|output| output.texture()).map(|of| of.job).collect();
    // The still, its values and the other forms show every job.
    let all = due.iter().any(|output| output.texture().is_none());
    // A rim is measured on all that stands behind its art.
    let plan = stack.plan();
    let is_rim = |job: &usize| matches!(plan.files[*job], Job::Rim(_));
    let behind =
        of_jobs.iter().copied().filter(|job| is_rim(job) && !stack.has(*job)).max().map_or(0, |rim| rim + 2);
    let there: Vec<bool> = (0..plan.files.len()).map(|job| stack.has(job)).collect();
    let needed = |job: usize| all || job < behind || of_jobs.contains(&job);
    let to_work = plan.files.iter().enumerate().filter(|(job, _)| needed(*job) && !there[*job]);
    let to_work: u64 = to_work.map(|(_, job)| work_of(job.placing())).sum();
    progress.begins(folder, due.len(), to_work + due.iter().map(|output| output.wanted.texels).sum::<u64>());
    let ask = Ask {
        fields,
        limits: &options.limits,
        bits: options.bits,
        needed: &needed,
        worked: &|path, texels| progress.worked(path, texels),
        made_of: &|job| made_of.get(job).cloned(),
        held: &|job| held.get(&job).cloned(),
        cameras: if all { &[camera] } else { &[] },
    };
    stack.fill(arts, &ask)?;
    let stack = &*stack;
    sound(stack, &shaped, shapes, folder)?;
    // First, on all threads: were it drawn by one of several outputs, others that wait for it would be idle.
    let shown = due.iter().any(|output| matches!(output.what, What::Still | What::Values));
    let shown = shown.then(|| stack.shown(camera, options.bits));
    // The tiles of a job come from one piece of work.
    let mut groups: BTreeMap<(usize, u32), Vec<&mut Output>> = BTreeMap::new();
    for (at, output) in due.into_iter().enumerate() {
        let group = output.texture().map_or((usize::MAX, at as u32), |of| (of.job, of.frame));
        groups.entry(group).or_default().push(output);
    }
    let faults: Vec<Result<()>> = groups
        .into_values()
        .collect::<Vec<_>>()
        .into_par_iter()
        .map(|group| {
            if progress.stopped() {
                Ok(())
            } else {
                make_group(stack, options, shown.as_ref(), shapes, group, progress)
            }
        })
        .collect();
    let mut found = Faults::default();
    found.list.extend(faults.into_iter().filter_map(Result::err).flat_map(|faults| faults.list));
    found.or(())?;
    let rims = (0..made_of.len()).filter(is_rim).map(|job| made_of[job].as_str());
    fields.sweep(plan, &rims.collect::<Vec<_>>());
    if progress.stopped() {
        return Err(stopped(folder));
    }
    Ok(())
}

fn stopped(folder: &Path) -> Faults {
    Fault::new(Class::Output, "the run was stopped; nothing was written").in_file(folder).into()
}

/// Whether every rim among the jobs that are asked for fills the room that its shape was cut for, which may have come from the
/// record.
fn sound(stack: &Stack<'_>, asked: &BTreeSet<usize>, shapes: &[Shape], folder: &Path) -> Result<()> {
    let fits = |job: usize| !stack.has(job) || shapes[job].stands_at(stack.placing(job));
    let is_rim = |job: &usize| matches!(stack.plan().files[*job], Job::Rim(_));
    match asked.iter().copied().filter(is_rim).all(fits) {
        true => Ok(()),
        false => {
            Err(Fault::new(Class::Output, "the record of the last run is damaged: a rim has another place")
                .in_file(folder.join(STATE))
                .remedy("Delete that file and render again.")
                .into())
        }
    }
}

/// Whether a texture's file holds its job's picture just as it is drawn.
fn as_drawn(plan: &Plan, shape: &Shape, of: Of) -> bool {
    of.frame == 0 && plan.texture.alpha == Alpha::Straight && shape.is_whole()
}

/// Makes the tiles of one job at one moment, or another output.
fn make_group(
    stack: &Stack<'_>,
    options: &Options,
    shown: Option<&Shown>,
    shapes: &[Shape],
    group: Vec<&mut Output>,
    progress: &dyn Progress,
) -> Result<()> {
    for output in &group {
        progress.makes(&output.wanted.path);
    }
    let first = group.first().and_then(|output| output.texture());
    let due: BTreeSet<usize> = group.iter().filter_map(|output| output.texture()).map(|of| of.tile).collect();
    let mut tiles = first.map(|of| textures::make(stack, of, &shapes[of.job], options, &due));
    for output in group {
        output.made = match (output.what, &mut tiles) {
            (What::Texture(of), Some(tiles)) => tiles.remove(&of.tile),
            (What::Export(also), _) => {
                let known = options.only.is_empty() && options.bits == Bits::Eight;
                let how = forms::How {
                    pan: &options.pan,
                    shapes: known.then_some(shapes),
                    effort: options.effort,
                    limits: &options.limits,
                };
                let bytes = forms::bytes(stack, also, &how)?;
                Some(File::new(bytes, false, 0))
            }
            (What::Values, _) => shown.map(|shown| File::new(stack.values(shown), true, 0)),
            _ => shown.map(|shown| {
                let bytes = output::encode(shown.texels.raster(), of_still_effort(options.effort));
                File::new(bytes, true, 0)
            }),
        };
        progress.made(&output.wanted.path, output.wanted.texels);
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
fn of_outputs(
    plan: &Plan,
    outputs: &[Output],
    camera: Camera,
    shapes: &[Shape],
    records: &Records,
    folder: &Path,
) -> Manifest {
    let mut outcomes = Outcomes {
        textures: BTreeMap::new(),
        exports: Vec::new(),
        still: Outcome::Aside,
        values: Outcome::Aside,
        camera,
    };
    for output in outputs {
        match output.what {
            What::Texture(of) => {
                drop(outcomes.textures.insert(of, (output.wanted.path.clone(), output.outcome())))
            }
            What::Still => outcomes.still = output.outcome(),
            What::Values => outcomes.values = output.outcome(),
            What::Export(also) => outcomes.exports.push((also, output.outcome())),
            What::Manifest => {}
        }
    }
    manifest(plan, shapes, &outcomes, records.manifest.as_ref(), folder)
}

/// The manifest as an output like any other.
fn of_manifest(folder: &Path, manifest: &Manifest, records: &Records, options: &Options) -> Result<Output> {
    let text = manifest.text();
    let wanted = Wanted {
        path: output::manifest::NAME.to_owned(),
        slot: String::new(),
        made_of: of_text("manifest", &text),
        settings: BTreeMap::new(),
        texels: 0,
    };
    // It is text: what is the same needs no renewal.
    let rerun = Rerun { again: false, ..options.rerun };
    let decision = decide::decide(folder, &wanted, records, rerun)?;
    Ok(Output { what: What::Manifest, wanted, decision, made: Some(File::new(text.into_bytes(), false, 0)) })
}

/// Writes what was made; the record for the next run, and what no slot asks for any more.
///
/// What is about to be written is put on record first, so that a run which is ended half way leaves nothing that the next one would
/// take for somebody else's.
fn write(
    folder: &Path,
    outputs: &[Output],
    names: &[String],
    (arts, searched): (&Arts, Searched),
    records: &Records,
    options: &Options,
) -> Result<(State, Vec<Gone>)> {
    let due: Vec<(&str, &[u8], Written)> = outputs
        .iter()
        .filter_map(|output| {
            Some((output.target()?, output.made.as_ref()?.bytes.as_slice(), output.written()?))
        })
        .collect();
    if !due.is_empty() {
        let mut intent = records.state.clone();
        intent.pending.extend(due.iter().map(|(name, _, written)| ((*name).to_owned(), written.clone())));
        files::write_whole(folder.join(STATE), intent.text().as_bytes())?;
    }
    // Side by side, since each waits for the disk; the manifest last, so that it names nothing that isn't there.
    let (last, first): (Vec<_>, Vec<_>) = due.iter().partition(|(name, ..)| *name == output::manifest::NAME);
    for group in [first, last] {
        let written: Vec<Result<()>> =
            group.par_iter().map(|(name, bytes, _)| files::write_whole(folder.join(name), bytes)).collect();
        written.into_iter().collect::<Result<()>>()?;
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
    Ok((State::new(files, arts.known(), searched.shapes, searched.stands), gone))
}

/// Leaves the record for the next run, if it says anything new.
fn remember(folder: &Path, state: &State, records: &Records) -> Result<()> {
    let text = state.text();
    let there = std::fs::read(folder.join(STATE)).is_ok_and(|there| there == text.as_bytes());
    if there && text == records.text {
        Ok(())
    } else {
        files::write_whole(folder.join(STATE), text.as_bytes())
    }
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

//! `fogweft render`: a scene in its moods, once or on every save.

use super::bar::{self, Bar};
use super::inputs::Inputs;
use super::overview::Overview;
use super::{args, bits, depfile, heap, levels, say, show, warn};
use fogweft::base::door::Door;
use fogweft::base::fault::{Faults, Result};
use fogweft::base::limits::Limits;
use fogweft::output;
use fogweft::output::forms::Pan;
use fogweft::review::levels::Verdict;
use fogweft::scene::pictures::{Naturals, Pictures};
use fogweft::scene::recipe::shelf::{self, Shelf};
use fogweft::scene::{Scene, Source, read};
use fogweft::store::cache::{Shared, Store};
use fogweft::store::rerun::{Rerun, SceneSettings};
use fogweft::store::run::{self, Options, Report};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// Most bytes of what one level has drawn that are kept for the next ones, and the share of the limit on memory that they may take.
const SHARED: (u64, u64) = (256 << 20, 8);

/// Renders once.
pub fn once(args: &args::Render) -> Result<()> {
    heap::give_back_pictures();
    let bar = Bar::new(args.quiet, Arc::new(AtomicBool::new(false)));
    let bar = if args.timings { bar.timed() } else { bar };
    run(args, &bar, &mut Inputs::default())?;
    if let Some(table) = bar.timings() {
        say(&table);
    }
    Ok(())
}

/// What a level's run has left in one mood at one scale.
pub struct Part {
    pub mood: Option<String>,
    pub report: Report,
    /// What its check found, where there is a page for it.
    pub verdict: Option<Verdict>,
}

/// What a level's run has left.
pub struct Done {
    /// Mood by mood and scale by scale.
    pub parts: Vec<Part>,
    /// Files that it depends on.
    depends: Vec<PathBuf>,
}

/// One run over all levels; every file that it reads is put down in `inputs`, also where it fails. One level that can't be rendered is
/// told at the end, and doesn't keep the others from it.
pub fn run(args: &args::Render, bar: &Bar, inputs: &mut Inputs) -> Result<()> {
    let scenes = levels::scenes(&args.levels.levels)?;
    if let Some(file) = &args.depfile {
        Door { replace: args.replace, inputs: scenes.clone() }.look(file)?;
    }
    let outs = levels::outs(args.out.as_deref(), &scenes);
    let overview = Overview::of(args, &scenes)?;
    let shared = shared(scenes.len());
    let levels: Vec<Level<'_>> = scenes
        .iter()
        .zip(outs)
        .map(|(scene, out)| Level { args, scene, out, shared: &shared, overview: overview.as_ref() })
        .collect();
    let results = side_by_side(levels, bar, inputs);
    if scenes.len() > 1 && !args.quiet {
        say(&levels::table(&scenes, &results));
    }
    if let Some(overview) = &overview {
        overview.write(args, &scenes, &results)?;
    }
    let (mut manifests, mut depends, mut faults) = (Vec::new(), Vec::new(), Vec::new());
    for result in results {
        match result {
            Ok(done) => {
                let folders = done.parts.iter().map(|part| &part.report.folder);
                manifests.extend(folders.map(|folder| folder.join(output::manifest::NAME)));
                depends.extend(done.depends);
            }
            Err(found) => faults.push(found),
        }
    }
    if let Some(file) = &args.depfile
        && faults.is_empty()
    {
        depends.sort();
        depends.dedup();
        let door = Door { replace: args.replace, inputs: depends };
        door.look(file)?;
        depfile::write(file, &manifests, &door)?;
    }
    levels::worst(faults)
}

/// What the runs of so many levels have in common.
fn shared(levels: usize) -> Shared {
    let memory = super::limits().memory;
    let spare = SHARED.0.min(memory / SHARED.1);
    if levels > 1 { Shared::new(spare as usize, memory - spare) } else { Shared::default() }
}

/// What levels said that were rendered side by side, until it is said in their order.
#[derive(Default)]
struct Said {
    next: usize,
    waiting: BTreeMap<usize, String>,
}

impl Said {
    fn put(&mut self, at: usize, text: String) {
        self.waiting.insert(at, text);
        while let Some(text) = self.waiting.remove(&self.next) {
            say(&text);
            self.next += 1;
        }
    }
}

/// Renders levels, as many at once as there are threads to work on them and memory for; what of one must wait for a disk, or can't be shared
/// out, leaves the threads to the others. With timings one after the other, since stages are told apart by the clock.
fn side_by_side(levels: Vec<Level<'_>>, bar: &Bar, inputs: &mut Inputs) -> Vec<Result<Done>> {
    let count = levels.len();
    let at_once = if bar.is_timed() { 1 } else { rayon::current_num_threads().clamp(1, count.max(1)) };
    bar.levels(count);
    let (said, queue) = (Mutex::new(Said::default()), Mutex::new(levels.into_iter().enumerate()));
    let results = Mutex::new(Vec::new());
    let work = || {
        loop {
            let next = locked(&queue).next();
            let Some((at, level)) = next else { break };
            let (mut read, mut text, progress) = (Inputs::default(), String::new(), bar.level());
            let result = level.run(&progress, &mut read, &mut text);
            progress.is_done();
            locked(&said).put(at, text);
            locked(&results).push((at, result, read));
        }
    };
    if at_once == 1 {
        work();
    } else {
        std::thread::scope(|scope| (0..at_once).for_each(|_| drop(scope.spawn(work))));
    }
    let mut results = results.into_inner().unwrap_or_else(PoisonError::into_inner);
    results.sort_by_key(|(at, ..)| *at);
    results
        .into_iter()
        .map(|(_, result, read)| {
            inputs.join(read);
            result
        })
        .collect()
}

fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    // Nothing is left half done under a lock.
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// A level to be rendered.
struct Level<'a> {
    args: &'a args::Render,
    scene: &'a Path,
    out: PathBuf,
    shared: &'a Shared,
    overview: Option<&'a Overview>,
}

impl Level<'_> {
    /// Renders it; `text` gets what is to be said of it.
    fn run(self, bar: &bar::Level<'_>, inputs: &mut Inputs, text: &mut String) -> Result<Done> {
        let Level { args, scene, .. } = self;
        let limits = super::limits();
        super::spare_from_output(scene)?;
        inputs.read(scene);
        let source = Source::load(scene, &limits)?;
        let bases = read::built_on(&source.file, &source.text, &limits);
        bases.iter().for_each(|file| inputs.read(file));
        for folder in shelf::folders(Some(scene), &limits) {
            inputs.read_folder(&folder);
        }
        let shelf = Shelf::of_scene(Some(scene), &limits);
        let mut depends = [vec![scene.to_path_buf()], bases].concat();
        let mut warnings = Vec::new();
        let mut runs = Vec::new();
        for (mood, reading) in readings(args, &source, &shelf, &limits)? {
            let presets = reading.presets.iter().filter_map(|name| shelf.file(name));
            depends.extend(presets.map(Path::to_path_buf));
            let options = Options { settings: SceneSettings::of(&reading), ..self.options(mood.as_deref()) };
            for file in reading.scene.slots.iter().flat_map(|slot| slot.files()) {
                inputs.read(file);
                depends.push(file.to_path_buf());
            }
            let stores: Vec<Store> = options.folders().iter().map(|folder| options.store(folder)).collect();
            let found = |key| stores.iter().find_map(|store| store.facts(key));
            let pictures = Pictures::recall(&reading.scene, &limits, &found)?;
            warnings.extend(reading.warnings.iter().cloned().chain(pictures.warnings()));
            let sizes = |scene: &Scene| Some(Pictures::recall(scene, &limits, &found).ok()?.naturals());
            let lenders = lenders(mood.as_deref(), &reading);
            let others = others(mood.as_deref(), &reading, &how(args, &limits, &shelf), &source, sizes);
            runs.push((mood, reading.scene, pictures, Options { others, lenders, ..options }));
        }
        warnings.sort();
        warnings.dedup();
        warn(&warnings);
        depends.sort();
        depends.dedup();
        if let Some(file) = &args.depfile {
            Door { replace: args.replace, inputs: depends.clone() }.look(file)?;
        }
        let mut parts = Vec::new();
        for (mood, scene, pictures, options) in &runs {
            let (inspector, checked) = match self.overview {
                Some(_) => Overview::inspect(scene, pictures, options)?,
                None => Default::default(),
            };
            let options = Options { inputs: depends.clone(), inspector, ..options.clone() };
            for report in run::render_with(scene, pictures, &options, bar)? {
                if !args.quiet {
                    *text += &show::report(&report);
                }
                let verdict = self
                    .overview
                    .map(|page| page.verdict(scene, pictures, &report, &options, &checked))
                    .transpose()?;
                parts.push(Part { mood: mood.clone(), report, verdict });
            }
        }
        Ok(Done { parts, depends })
    }

    fn options(&self, mood: Option<&str>) -> Options {
        let args = self.args;
        let root = self.out.clone();
        let out = if mood.is_some() { root.join(run::folder_of(mood)) } else { root.clone() };
        Options {
            scales: if args.scales.is_empty() { vec![1.0] } else { args.scales.clone() },
            only: args.only.clone(),
            bits: bits(&args.bits),
            camera: args.at,
            also: args.also.clone(),
            pan: Pan {
                width: args.pan_width,
                frames: args.pan_frames,
                flows: args.frames > 1,
                ..Pan::default()
            },
            frames: args.frames,
            rerun: Rerun { again: args.again, replace: args.replace, prune: args.prune },
            limits: super::limits(),
            root,
            shared: self.shared.clone(),
            no_cache: args.no_cache,
            cache_share: args.cache,
            ..Options::new(out)
        }
    }
}

fn how<'a>(args: &'a args::Render, limits: &'a Limits, shelf: &'a Shelf) -> read::Options<'a> {
    read::Options { sets: &args.levels.sets, limits, shelf, check_art: true, held: None }
}

/// The moods whose files that of `mood` may name: the scene without one, and those before it in the scene.
fn lenders(mood: Option<&str>, reading: &read::Reading) -> Vec<Option<String>> {
    let Some(own) = mood else { return Vec::new() };
    let before = reading.moods.iter().take_while(|mood| *mood != own).cloned().map(Some);
    std::iter::once(None).chain(before).collect()
}

/// The scene in the moods other than `mood`. One that can't be read has no files to fade into, and is no fault of this run.
fn others(
    mood: Option<&str>,
    reading: &read::Reading,
    how: &read::Options<'_>,
    source: &Source,
    sizes: impl Fn(&Scene) -> Option<Naturals>,
) -> Vec<run::Other> {
    let other = |other: Option<&str>| {
        let scene = read::read_mood(&source.file, &source.text, *how, other).ok()?.scene;
        let naturals = sizes(&scene)?;
        Some(run::Other { mood: other.unwrap_or_default().to_owned(), scene, naturals })
    };
    let moods = reading.moods.iter().map(|mood| Some(mood.as_str()));
    let all = moods.chain((!reading.moods.is_empty()).then_some(None));
    all.filter(|other| *other != mood).filter_map(other).collect()
}

/// The scene in every mood that is asked for; faults of all come at once.
fn readings(
    args: &args::Render,
    source: &Source,
    shelf: &Shelf,
    limits: &Limits,
) -> Result<Vec<(Option<String>, read::Reading)>> {
    let how = how(args, limits, shelf);
    let read = |mood: Option<&str>| read::read_mood(&source.file, &source.text, how, mood);
    let mut all = Vec::new();
    let mut moods: Vec<Option<String>> = args.moods.iter().cloned().map(Some).collect();
    if moods.is_empty() {
        let plain = read(None)?;
        if args.all_moods {
            moods.extend(plain.moods.iter().cloned().map(Some));
        }
        all.push((None, plain));
    }
    let mut faults = Faults::default();
    for mood in moods {
        match read(mood.as_deref()) {
            Ok(reading) => all.push((mood, reading)),
            Err(found) => {
                faults.list.extend(
                    found.list.into_iter().filter(|fault| !faults.list.contains(fault)).collect::<Vec<_>>(),
                );
                faults.sources.extend(found.sources);
            }
        }
    }
    faults.or(all)
}

//! `fogweft render`: a scene in its moods, once or on every save.

use super::bar::Bar;
use super::inputs::Inputs;
use super::{args, bits, default_out, depfile, say, show, warn};
use fogweft::base::door::Door;
use fogweft::base::fault::{Faults, Result};
use fogweft::base::limits::Limits;
use fogweft::output;
use fogweft::output::forms::Pan;
use fogweft::scene::pictures::{Naturals, Pictures};
use fogweft::scene::recipe::shelf::{self, Shelf};
use fogweft::scene::{Scene, Source, read};
use fogweft::store::cache::Store;
use fogweft::store::rerun::{Rerun, SceneSettings};
use fogweft::store::run::{self, Options, Report};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

/// Renders once.
pub fn once(args: &args::Render) -> Result<()> {
    let bar = Bar::new(args.quiet, Arc::new(AtomicBool::new(false)));
    let bar = if args.timings { bar.timed() } else { bar };
    run(args, &bar, &mut Inputs::default())?;
    if let Some(table) = bar.timings() {
        say(&table);
    }
    Ok(())
}

/// One run; every file that it reads is put down in `inputs`, also where it fails.
pub fn run(args: &args::Render, bar: &Bar, inputs: &mut Inputs) -> Result<()> {
    let limits = super::limits();
    let scene = &args.scene.scene;
    super::spare_from_output(scene)?;
    inputs.read(scene);
    let source = Source::load(scene, &limits)?;
    for folder in shelf::folders(Some(scene)) {
        inputs.read_folder(&folder);
    }
    let shelf = Shelf::of_scene(Some(scene), &limits);
    let mut depends = vec![scene.clone()];
    let mut warnings = Vec::new();
    let mut runs = Vec::new();
    for (mood, reading) in readings(args, &source, &shelf, &limits)? {
        let presets = reading.presets.iter().filter_map(|name| shelf.file(name));
        depends.extend(presets.map(Path::to_path_buf));
        let options = Options { settings: SceneSettings::of(&reading), ..options(args, mood.as_deref()) };
        for file in reading.scene.slots.iter().flat_map(|slot| slot.files()) {
            inputs.read(file);
            depends.push(file.to_path_buf());
        }
        let stores: Vec<Store> = options.folders().iter().map(|folder| Store::in_folder(folder)).collect();
        let found = |key| stores.iter().find_map(|store| store.facts(key));
        let pictures = Pictures::recall(&reading.scene, &limits, &found)?;
        warnings.extend(pictures.warnings());
        let sizes = |scene: &Scene| Some(Pictures::recall(scene, &limits, &found).ok()?.naturals());
        let others = others(mood.as_deref(), &reading, &how(args, &limits, &shelf), &source, sizes);
        runs.push((reading.scene, pictures, Options { others, ..options }));
    }
    warnings.sort();
    warnings.dedup();
    warn(&warnings);
    depends.sort();
    depends.dedup();
    let door = Door { replace: args.replace, inputs: depends };
    if let Some(file) = &args.depfile {
        door.look(file)?;
    }
    let mut manifests = Vec::new();
    for (scene, pictures, options) in &runs {
        let options = Options { inputs: door.inputs.clone(), ..options.clone() };
        for report in run::render_with(scene, pictures, &options, bar)? {
            manifests.push(report.folder.join(output::manifest::NAME));
            tell(args, &report);
        }
    }
    if let Some(file) = &args.depfile {
        depfile::write(file, &manifests, &door)?;
    }
    Ok(())
}

fn how<'a>(args: &'a args::Render, limits: &'a Limits, shelf: &'a Shelf) -> read::Options<'a> {
    read::Options { sets: &args.scene.sets, limits, shelf, check_art: true, held: None }
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

fn tell(args: &args::Render, report: &Report) {
    if !args.quiet {
        say(&show::report(report));
    }
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

fn options(args: &args::Render, mood: Option<&str>) -> Options {
    let out = args.out.clone().unwrap_or_else(|| default_out(&args.scene.scene));
    let root = out.clone();
    let out: PathBuf = match mood {
        Some(mood) => out.join(format!("mood-{mood}")),
        None => out,
    };
    Options {
        scales: if args.scales.is_empty() { vec![1.0] } else { args.scales.clone() },
        only: args.only.clone(),
        bits: bits(&args.bits),
        camera: args.at,
        also: args.also.clone(),
        pan: Pan { width: args.pan_width, frames: args.pan_frames, flows: args.frames > 1, ..Pan::default() },
        frames: args.frames,
        rerun: Rerun { again: args.again, replace: args.replace, prune: args.prune },
        limits: super::limits(),
        root,
        ..Options::new(out)
    }
}

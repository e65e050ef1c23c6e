//! `fogweft demo` and `fogweft new`: scenes to start from.

use super::{args, bar, default_out, limits, load, render, say};
use clap::Parser;
use fogweft::base::door::Door;
use fogweft::base::fault::{Class, Fault, Result};
use fogweft::base::mark::Form;
use fogweft::review::index;
use fogweft::scene::start::{self, starter};
use fogweft::scene::{Source, read};
use fogweft::store::rerun::SceneSettings;
use fogweft::store::run::{self, Options};
use std::path::Path;

/// Name of the page in the folder of all demo scenes.
const PAGE: &str = "index.html";

/// Writes a demo scene, or all, and renders it.
pub fn demo(args: &args::Demo) -> Result<()> {
    if args.all {
        return all(&args.dir, args.quiet);
    }
    let scene_file = args.dir.join(start::SCENE);
    let out = default_out(&scene_file);
    start::write_demo(&args.dir, start::DEMO, &outputs(&scene_file))?;
    let limits = limits();
    let scene = args::Scene { scene: scene_file.clone(), sets: Vec::new() };
    let (reading, pictures) = load(&scene, None, &limits)?;
    let options = Options { settings: SceneSettings::of(&reading), limits, ..Options::new(out) };
    let bar = bar::Bar::new(args.quiet, Default::default());
    let reports = run::render_with(&reading.scene, &pictures, &options, &bar.level())?;
    if args.quiet {
        return Ok(());
    }
    for report in reports {
        say(&super::show::report(&report));
    }
    next(&[
        (format!("fogweft tune {} --open", scene_file.display()), "change it on a page"),
        (
            format!("fogweft demo {} --all", args.dir.with_file_name("fogweft-worlds").display()),
            "see two more scenes",
        ),
        ("fogweft new level1".to_owned(), "start a scene of your own"),
    ]);
    Ok(())
}

/// The name of what a run writes beside a scene.
fn outputs(scene: &Path) -> String {
    default_out(scene).file_name().unwrap_or_default().to_string_lossy().into_owned()
}

/// Writes all demo scenes, renders all their moods, and writes a page that shows them.
fn all(folder: &Path, quiet: bool) -> Result<()> {
    let door = Door::default();
    for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
        let name = entry.file_name();
        if name != PAGE && start::WORLDS.iter().all(|(world, _)| name != *world) {
            return Err(start::not_demo(folder, &name.to_string_lossy()).into());
        }
    }
    let scene_of = |world: &str| folder.join(world).join(start::SCENE);
    for (world, files) in start::WORLDS {
        start::check_demo(&folder.join(world), files, &outputs(&scene_of(world)))?;
    }
    door.look(&folder.join(PAGE))?;
    let mut shown = Vec::new();
    for (world, files) in start::WORLDS {
        let scene = scene_of(world);
        start::write_demo(&folder.join(world), files, &outputs(&scene))?;
        render::once(&args::Render { quiet, ..everything(&scene) })?;
        shown.push(index::World { name: world, sheets: outputs(&scene), moods: moods(&scene)? });
    }
    door.write(&folder.join(PAGE), Form::Page, index::page(&shown).as_bytes())?;
    if quiet {
        return Ok(());
    }
    say(&format!("{}: open it in a browser to look at all of them\n", folder.join(PAGE).display()));
    let first = scene_of(start::WORLDS[0].0);
    next(&[
        (format!("fogweft tune {} --open", first.display()), "change one on a page"),
        (format!("fogweft vary {} reeds-far --count 4", first.display()), "see other fog of the same kind"),
        ("fogweft new level1".to_owned(), "start a scene of your own"),
    ]);
    Ok(())
}

/// What `render` is asked for: every mood, each with its page and its strip.
fn everything(scene: &Path) -> args::Render {
    let words =
        ["fogweft", "render", "--all-moods", "--also", "preview,strip", "--"].map(std::ffi::OsString::from);
    match args::Cli::parse_from(words.into_iter().chain([scene.into()])).command {
        args::Command::Render(args) => args,
        _ => unreachable!("the words name this command"),
    }
}

/// The names of a scene's moods.
fn moods(scene: &Path) -> Result<Vec<String>> {
    let limits = limits();
    let source = Source::load(scene, &limits)?;
    let shelf = fogweft::scene::recipe::shelf::Shelf::of_scene(Some(scene), &limits);
    let how = read::Options { sets: &[], limits: &limits, shelf: &shelf, check_art: true, held: None };
    Ok(read::read_mood(&source.file, &source.text, how, None)?.moods)
}

/// Writes a scene to start from.
pub fn new(args: &args::New) -> Result<()> {
    match &args.from {
        Some(file) => from_painting(args, file)?,
        None => starter::write(&args.dir, args.like.map(kind), args.preset.as_deref())?,
    }
    if args.quiet {
        return Ok(());
    }
    let scene = args.dir.join(start::SCENE);
    let scene = scene.display();
    say(&format!("Created {scene}\n"));
    next(&[
        (format!("fogweft tune {scene} --open"), "change it on a page"),
        (format!("fogweft render {scene}"), "write its sheets and a still"),
        (format!("fogweft check {scene}"), "measure whether every silhouette reads"),
    ]);
    Ok(())
}

fn kind(like: args::Like) -> starter::Kind {
    match like {
        args::Like::Ground => starter::Kind::Ground,
        args::Like::Sky => starter::Kind::Sky,
        args::Like::Night => starter::Kind::Night,
    }
}

fn from_painting(args: &args::New, file: &Path) -> Result<()> {
    let view = match args.view[..] {
        [] => None,
        [width, height] => Some([width, height]),
        _ => {
            return Err(Fault::new(Class::Usage, "--view takes two numbers")
                .remedy("Write the width and the height: --view 1920,1080")
                .into());
        }
    };
    let options = start::layered::Options {
        preset: args.preset.clone().unwrap_or(starter::Kind::Ground.preset().to_owned()),
        view,
        copy: args.copy,
        ungroup: args.ungroup,
    };
    for note in start::layered::write_scene(&args.dir, file, &options, &limits())? {
        say(&format!("note: {note}\n"));
    }
    Ok(())
}

/// Says what to try next, a command and what it does a line.
fn next(commands: &[(String, &str)]) {
    let width = commands.iter().map(|(command, _)| command.chars().count()).max().unwrap_or(0);
    say("Next:\n");
    for (command, what) in commands {
        say(&format!("  {command:width$}  # {what}\n"));
    }
}

//! Commands: from arguments to calls of the library, and from its results to text.

mod args;
mod check;
mod rim;
mod show;
mod table;

use args::{Cli, Command};
use clap::Parser;
use fogweft::contact;
use fogweft::fault::{Class, Fault, Faults, Result};
use fogweft::field::Sampling;
use fogweft::limits::Limits;
use fogweft::out::{self, Effort};
use fogweft::plan::{Job, Plan};
use fogweft::recipe::shelf::Shelf;
use fogweft::render::{self, Arts, Options, Report};
use fogweft::scene::{Scene, read};
use fogweft::sheet::{Bits, Sheet};
use fogweft::{air, law, report, starter};
use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Runs the command line; faults go to standard error, their exit code to the caller.
pub fn main() -> ExitCode {
    // A decoder's panic on a damaged picture becomes a fault: nothing of it belongs on the terminal.
    let hook = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |panic| {
        if !fogweft::art::panic_is_contained() {
            hook(panic);
        }
    }));
    // A command line that can't be read exits with 2, which is clap's own code and ours.
    match run(Cli::parse().command) {
        Ok(code) => code,
        Err(faults) => {
            let colour = std::io::stderr().is_terminal()
                && std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty());
            let _ = writeln!(std::io::stderr(), "{}", report::render(&faults, colour));
            ExitCode::from(faults.exit_code())
        }
    }
}

fn run(command: Command) -> Result<ExitCode> {
    match command {
        Command::Check(args) => return check::run(&args),
        Command::Demo(args) => demo(&args),
        Command::Render(args) => render_scene(&args),
        Command::Plan(args) => plan(&args),
        Command::New(args) => new(&args),
        Command::Presets(args) => presets(args),
        Command::Sheet(args) => sheet(&args),
        Command::Rim(args) => rim::run(&args),
    }?;
    Ok(ExitCode::SUCCESS)
}

/// Prints to standard output; a reader that has gone away is no fault.
fn say(text: &str) {
    let _ = std::io::stdout().write_all(text.as_bytes());
}

/// Warnings go where faults go.
fn warn(warnings: &[String]) {
    for warning in warnings {
        let _ = writeln!(std::io::stderr(), "warning: {warning}");
    }
}

fn bits(text: &str) -> Bits {
    if text == "16" { Bits::Sixteen } else { Bits::Eight }
}

fn load(scene: &args::Scene, limits: &Limits) -> Result<(Scene, Arts)> {
    let mut scene = read::read_file(&scene.scene, &scene.sets, limits)?;
    let arts = Arts::open(&scene, limits)?;
    air::settle(&mut scene, &arts, limits)?;
    warn(&arts.warnings());
    Ok((scene, arts))
}

/// Where a scene's outputs go if nothing is said: beside the scene file.
fn default_out(scene: &Path) -> PathBuf {
    let stem = scene.file_stem().unwrap_or_default().to_string_lossy();
    scene.with_file_name(format!("{stem}-sheets"))
}

fn demo(args: &args::Demo) -> Result<()> {
    let scene_file = args.dir.join(starter::SCENE);
    let out = default_out(&scene_file);
    starter::write_demo(&args.dir, &out.file_name().unwrap_or_default().to_string_lossy())?;
    let limits = Limits::default();
    let (scene, arts) = load(&args::Scene { scene: scene_file.clone(), sets: Vec::new() }, &limits)?;
    for report in render::render(&scene, &arts, &Options::new(out))? {
        say(&show::report(&report));
    }
    say(&format!(
        "\nThe scene is {}: change a number and run `fogweft render {}`.\n",
        scene_file.display(),
        scene_file.display()
    ));
    Ok(())
}

fn render_scene(args: &args::Render) -> Result<()> {
    let limits = Limits::default();
    let (scene, arts) = load(&args.scene, &limits)?;
    let mut options = Options {
        only: args.only.clone(),
        bits: bits(&args.bits),
        camera: args.at,
        limits,
        ..Options::new(args.out.clone().unwrap_or_else(|| default_out(&args.scene.scene)))
    };
    if !args.scales.is_empty() {
        options.scales.clone_from(&args.scales);
    }
    let reports: Vec<Report> = render::render(&scene, &arts, &options)?;
    if !args.quiet {
        for report in &reports {
            say(&show::report(report));
        }
    }
    Ok(())
}

fn plan(args: &args::Plan) -> Result<()> {
    let limits = Limits::default();
    let (scene, arts) = load(&args.scene, &limits)?;
    let plan = Plan::new(&scene, &arts.naturals(), args.scale, &limits)?;
    if args.json {
        let text = serde_json::to_string_pretty(&plan).map_err(|error| {
            Fault::new(Class::Output, format!("the plan can't be written as JSON: {error}"))
        })?;
        say(&(text + "\n"));
    } else {
        say(&show::plan(&plan));
    }
    Ok(())
}

fn new(args: &args::New) -> Result<()> {
    starter::write_bare(&args.dir, &args.preset)?;
    let scene = args.dir.join(starter::SCENE);
    say(&format!(
        "{} is ready: open it in an editor, then run `fogweft render {}`\n",
        scene.display(),
        scene.display()
    ));
    Ok(())
}

fn presets(args: args::Presets) -> Result<()> {
    let Some(file) = args.picture else { return show::presets(args.command) };
    let contact = contact::draw(&Shelf::embedded(), args.tile, &Limits::default())?;
    let raster = out::Raster::Eight { size: contact.size, samples: &contact.texels };
    out::write_whole(&file, &out::encode(raster, Effort::default()))?;
    say(&format!("{}: {} x {} texels\n", file.display(), contact.size[0], contact.size[1]));
    Ok(())
}

/// One sheet is a scene of one slot on the play plane, whose air is as thick as is asked for.
fn sheet(args: &args::Sheet) -> Result<()> {
    let limits = Limits::default();
    let [width, height] = args.size;
    let quoted = |text: &str| toml_edit::Value::from(text).to_string();
    let mut text = format!(
        "view = [{width}, {height}]\nseed = {}\npreset = {}\nhorizon = 0\n",
        args.seed,
        quoted(&args.preset),
    );
    if let Some(line) = args.line {
        text += &format!("ground = {line:?}\nsky = {line:?}\n");
    }
    text += &format!(
        "[air]\nhaze = {}\nvisibility = {:?}\nbeyond = 1.0\nlight = {:?}\n[[slot]]\nname = \"sheet\"\ndepth = 0.0\nperiod = {:?}\ngrade.thickness = 1.0\n",
        quoted(&args.haze),
        law::DEPTH_OF_VISIBILITY / args.thickness,
        args.light,
        f64::from(args.period.unwrap_or(width)),
    );
    let scene = read::read_text(Path::new("sheet"), &text, &args.sets, &limits, true)?;
    let plan = Plan::new(&scene, &Default::default(), 1.0, &limits)?;
    let Some(Job::Fog(job)) = plan.files.first() else {
        return Err(Faults::from(Fault::new(Class::Usage, "a sheet of thickness 0 holds nothing")));
    };
    let sheet = Sheet::new(job.spec.clone(), Sampling::Reduced);
    out::write_whole(&args.out, &out::stream::sheet(&sheet, width, bits(&args.bits)))
}

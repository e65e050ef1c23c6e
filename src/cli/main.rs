//! The command line: from arguments to calls of the library, and from its results to text.

// Denied but for what `heap` gives the reason for; the library forbids it.
#![deny(unsafe_code)]

mod args;
mod bar;
mod check;
mod clock;
mod depfile;
mod heap;
mod inputs;
mod levels;
mod manual;
mod overview;
mod presets;
mod reader;
mod render;
mod rim;
mod show;
mod start;
mod table;
mod tune;
mod vary;
mod watch;

use args::{Cli, Command};
use clap::{CommandFactory, Parser};
use fogweft::base::door::Door;
use fogweft::base::fault::{Class, Fault, Faults, Result};
use fogweft::base::limits::Limits;
use fogweft::base::mark::Form;
use fogweft::base::raster::Raster;
use fogweft::base::words::Bits;
use fogweft::base::{law, report, room};
use fogweft::output::{self, Effort};
use fogweft::plan::{Demand, Job, Plan, haze};
use fogweft::review::{self, contact};
use fogweft::scene::pictures::Pictures;
use fogweft::scene::project::Project;
use fogweft::scene::recipe::shelf::Shelf;
use fogweft::scene::start::quoted;
use fogweft::scene::{Source, StrokesPlace, read, schema};
use fogweft::steps::field::Sampling;
use fogweft::steps::sheet::Sheet;
use std::io::{self, IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::OnceLock;

#[global_allocator]
static HEAP: heap::Told = heap::Told;

/// Runs the command line; faults go to standard error, their exit code to the caller.
fn main() -> ExitCode {
    // A decoder's panic on a damaged picture becomes a fault: nothing of it belongs on the terminal.
    let hook = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |panic| {
        if !fogweft::scene::pictures::panic_is_contained() {
            hook(panic);
        }
    }));
    let done = if reader::is_wanted() {
        reader::serve()
    } else {
        // A command line that can't be read exits with 2, which is clap's own code and ours.
        let asked = Cli::try_parse().unwrap_or_else(|error| refuse(&error));
        set_limits(&asked.limits).and_then(|()| run(asked.command))
    };
    match done.and_then(|code| said().map(|()| code)) {
        Ok(code) => code,
        Err(faults) => {
            print_faults(&faults);
            ExitCode::from(faults.exit_code())
        }
    }
}

/// Ends with what the parser says: in colour, unless an argument would act on the terminal.
fn refuse(error: &clap::Error) -> ! {
    let text = error.render().to_string();
    if report::clean(&text) == text || !error.use_stderr() {
        error.exit();
    }
    let _ = write!(std::io::stderr(), "{}", report::clean(&text));
    std::process::exit(error.exit_code());
}

/// The limits of this process, as the command line has them.
static LIMITS: OnceLock<Limits> = OnceLock::new();

fn limits() -> Limits {
    *LIMITS.get_or_init(Limits::default)
}

fn set_limits(asked: &[String]) -> Result<()> {
    let (mut limits, mut faults) = (Limits::default(), Faults::default());
    for one in asked {
        if let Err(fault) = limits.set(one) {
            faults.list.push(fault);
        }
    }
    let _ = LIMITS.set(limits);
    faults.or(())
}

/// Faults in colour on a terminal, unless NO_COLOR forbids it.
fn print_faults(faults: &Faults) {
    let colour =
        std::io::stderr().is_terminal() && std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty());
    let _ = writeln!(std::io::stderr(), "{}", report::render(faults, colour));
}

fn run(command: Command) -> Result<ExitCode> {
    reader::switch_on();
    // Before any thread is there: each gets a heap of its own when it starts.
    heap::share();
    start_threads()?;
    match command {
        Command::Check(args) => return check::run(&args),
        Command::Demo(args) => start::demo(&args),
        Command::Render(args) if args.watch => watch::watch(&args),
        Command::Render(args) => self::render::once(&args),
        Command::Vary(args) => vary::vary(&args),
        Command::Tune(args) => tune::tune(&args),
        Command::Schema(args) => schema(&args),
        Command::Completions(args) => completions(&args),
        Command::Man(args) => manual::run(&args),
        Command::Clean(args) => levels::clean(&args),
        Command::Plan(args) => plan(&args),
        Command::New(args) => start::new(&args),
        Command::Presets(args) => presets(args),
        Command::Sheet(args) => sheet(&args),
        Command::Rim(args) => rim::run(&args),
    }?;
    Ok(ExitCode::SUCCESS)
}

/// Bytes of a thread's stack, as the standard library has it.
const STACK: usize = 2 << 20;
/// Bytes that must be left besides: a thread takes some while it starts, and where there are none the standard library ends the program.
const BESIDES: u64 = 1 << 20;

/// Starts the threads that work is shared between, which otherwise would be started where nobody could say why there are none.
fn start_threads() -> Result<()> {
    let start = |thread: rayon::ThreadBuilder| {
        room::probe(STACK as u64 + BESIDES, "a thread").map_err(|fault| io::Error::other(fault.message))?;
        std::thread::Builder::new().stack_size(STACK).spawn(|| thread.run()).map(drop)
    };
    rayon::ThreadPoolBuilder::new().spawn_handler(start).build_global().map_err(|error| {
        Fault::new(Class::Limit, format!("no threads can be started: {error}"))
            .remedy("Close other programs, or raise the system's limits on memory and threads.")
            .into()
    })
}

/// Why standard output could not be written, where that was so.
static UNSAID: OnceLock<String> = OnceLock::new();

/// Prints to standard output what a terminal may show.
fn say(text: &str) {
    say_raw(&report::clean(text));
}

/// Prints to standard output; a reader that has gone away is no fault. Any other is told when all is done.
fn say_raw(text: &str) {
    let mut out = std::io::stdout().lock();
    if let Err(error) = out.write_all(text.as_bytes()).and_then(|()| out.flush())
        && error.kind() != std::io::ErrorKind::BrokenPipe
    {
        let _ = UNSAID.set(error.to_string());
    }
}

/// Prints `what` as JSON.
fn say_json(what: &str, value: &impl serde::Serialize) -> Result<()> {
    let text = serde_json::to_string_pretty(value).map_err(|error| {
        Fault::new(Class::Output, format!("the {what} can't be written as JSON: {error}"))
    })?;
    say_raw(&(report::clean_json(&text) + "\n"));
    Ok(())
}

/// The fault of [`say`], if there was one.
fn said() -> Result<()> {
    UNSAID.get().map_or(Ok(()), |why| {
        let fault = Fault::new(Class::Output, format!("standard output can't be written: {why}"));
        Err(fault.remedy("Redirect it to a place with free space.").into())
    })
}

/// Warnings go where faults go.
fn warn(warnings: &[String]) {
    for warning in warnings {
        let _ = writeln!(std::io::stderr(), "warning: {}", report::escape(warning));
    }
}

fn bits(text: &str) -> Bits {
    if text == "16" { Bits::Sixteen } else { Bits::Eight }
}

/// Checks that standard output isn't redirected to a file that is read.
fn spare_from_output(input: &Path) -> Result<()> {
    if !fogweft::base::same::is_standard_output(input) {
        return Ok(());
    }
    let message = "standard output is redirected to this file, which the same command reads";
    Err(Fault::new(Class::Output, message).in_file(input).remedy("Redirect it to another file.").into())
}

/// A scene with its pictures, as a command that makes no outputs sees it.
fn load(args: &args::Scene, mood: Option<&str>, limits: &Limits) -> Result<(read::Reading, Pictures)> {
    spare_from_output(&args.scene)?;
    let source = Source::load(&args.scene, limits)?;
    let shelf = Shelf::of_scene(Some(&args.scene), limits);
    let how = read::Options { sets: &args.sets, limits, shelf: &shelf, check_art: true, held: None };
    let mut reading = read::read_mood(&source.file, &source.text, how, mood)?;
    reading.scene.slots.iter().flat_map(|slot| slot.files()).try_for_each(spare_from_output)?;
    let pictures = Pictures::open(&reading.scene, limits)?;
    haze::sample(&mut reading.scene, &pictures, limits)?;
    warn(&reading.warnings);
    warn(&pictures.warnings());
    Ok((reading, pictures))
}

/// Where a scene's outputs go if nothing is said: where the project says, else beside the scene file.
fn default_out(scene: &Path) -> PathBuf {
    // What is wrong with the project is told where the scene is read.
    if let Some(out) = Project::of_scene(scene, &limits()).ok().and_then(|project| project.out_of(scene)) {
        return out;
    }
    let stem = scene.file_stem().unwrap_or_default().to_string_lossy();
    scene.with_file_name(format!("{stem}-sheets"))
}

fn plan(args: &args::Plan) -> Result<()> {
    let limits = limits();
    let one = |scene: args::Scene, name: Option<String>| {
        let (reading, pictures) = load(&scene, args.mood.as_deref(), &limits)?;
        let mut plan = Plan::new(&reading.scene, &pictures.naturals(), args.scale, &limits)?;
        let seams = review::check::seams(&plan, &pictures, &limits)?;
        plan.notes.extend(seams);
        Ok((name, plan))
    };
    let (plans, faults) = levels::each(&args.levels, one)?;
    if args.json {
        levels::say_json("plan", plans.into_iter().map(|(_, plan)| plan).collect())?;
    } else {
        for (name, plan) in &plans {
            say(&show::plan(plan, name.as_deref().unwrap_or(&plan.name)));
        }
    }
    levels::worst(faults)
}

fn presets(args: args::Presets) -> Result<()> {
    let limits = limits();
    let Some(file) = args.picture else {
        return match args.command {
            Some(args::PresetsCommand::Show(args)) => presets::show(&args, &limits),
            None => presets::list(&Shelf::of_scene(args.from.as_deref(), &limits)),
        };
    };
    let shelf = Shelf::of_scene(args.from.as_deref(), &limits);
    let presets = shelf.names().into_iter().filter_map(|name| shelf.file(name).map(Path::to_path_buf));
    let door = Door { replace: args.replace, inputs: args.from.iter().cloned().chain(presets).collect() };
    door.look(&file)?;
    let contact = contact::draw(&shelf, args.tile, &limits)?;
    write_contact(&file, &contact, &door)
}

/// The file of a preset that isn't embedded.
fn preset_file(name: &str, limits: &Limits) -> Option<PathBuf> {
    Shelf::of_scene(None, limits).file(name).map(Path::to_path_buf)
}

fn write_contact(file: &Path, contact: &contact::Contact, door: &Door) -> Result<()> {
    let raster = Raster::Eight { size: contact.size, samples: &contact.texels };
    door.write(file, Form::Png, &output::encode(raster, Effort::default()))?;
    say(&format!("{}: {} x {} texels\n", file.display(), contact.size[0], contact.size[1]));
    Ok(())
}

fn schema(args: &args::Schema) -> Result<()> {
    say(&match args.of {
        args::SchemaOf::Scene => schema::text(schema::Of::scenes_in(Path::new("."), &limits())),
        args::SchemaOf::Preset => schema::text(schema::Of::Preset),
        args::SchemaOf::Manifest => output::manifest::schema(),
    });
    Ok(())
}

fn completions(args: &args::Completions) -> Result<()> {
    let mut text = Vec::new();
    clap_complete::generate(args.shell, &mut Cli::command(), "fogweft", &mut text);
    say(&String::from_utf8_lossy(&text));
    Ok(())
}

/// One sheet is a scene of one slot on the play plane, whose air is as thick as is asked for.
fn sheet(args: &args::Sheet) -> Result<()> {
    let limits = limits();
    let strokes = args.strokes.as_deref().map(StrokesPlace::of);
    let drawn = strokes.iter().map(|strokes| strokes.file.clone());
    let door = Door {
        replace: args.replace,
        inputs: preset_file(&args.preset, &limits).into_iter().chain(drawn).collect(),
    };
    let files = sheet_files(args);
    files.iter().try_for_each(|file| door.look(file))?;
    let [width, height] = args.size;
    let mut text = format!(
        "view = [{width}, {height}]\nseed = {}\npreset = {}\nhorizon = 0\n",
        args.seed,
        quoted(&args.preset),
    );
    if let Some(line) = args.line {
        text += &format!("ground = {line:?}\nsky = {line:?}\n");
    }
    text += &format!(
        "[air]\nhaze = {}\nvisibility = {:?}\nclear = inf\nbeyond = 1.0\nlight = {:?}\n[[slot]]\nname = \"sheet\"\ndepth = 0.0\nperiod = {:?}\ngrade.thickness = 1.0\n",
        quoted(&args.haze),
        law::DEPTH_OF_VISIBILITY / args.thickness,
        args.light,
        f64::from(args.period.unwrap_or(width)),
    );
    let mut scene = read::read_text(Path::new("sheet"), &text, &args.sets, &limits, true)?;
    scene.slots[0].strokes = strokes;
    let pictures = Pictures::open(&scene, &limits)?;
    warn(&pictures.warnings());
    let plan = Plan::new(&scene, &pictures.naturals(), 1.0, &limits)?;
    let Some(Job::Fog(job)) = plan.files.first() else {
        return Err(Faults::from(Fault::new(Class::Usage, "a sheet of thickness 0 is empty")));
    };
    let moment = |frame: u32| {
        let mut spec = job.spec.clone();
        spec.field = spec.field.at(f64::from(frame) / f64::from(args.frames), plan.loop_seconds);
        Sheet::new(spec, Sampling::Reduced)
    };
    let bits = bits(&args.bits);
    let texels = if args.strip { u64::from(args.frames) * u64::from(width) * u64::from(height) } else { 0 };
    plan.room(&Demand { deep: bits == Bits::Sixteen, texels, ..Demand::default() }, &limits)?;
    if args.strip {
        let strip = fogweft::output::pictures::frames_png(
            args.frames,
            width,
            bits,
            Effort::default(),
            &limits,
            moment,
        )?;
        return door.write(&args.out, Form::Png, &strip);
    }
    for (file, frame) in files.iter().zip(0..) {
        door.write(file, Form::Png, &output::stream::sheet(&moment(frame), width, bits))?;
    }
    Ok(())
}

/// The files that a sheet is written to: one for each frame, or one strip.
fn sheet_files(args: &args::Sheet) -> Vec<PathBuf> {
    let frames = if args.strip { 1 } else { args.frames };
    let rest = (1..frames)
        .map(|frame| PathBuf::from(fogweft::store::run::frame_path(&args.out.to_string_lossy(), frame)));
    std::iter::once(args.out.clone()).chain(rest).collect()
}

//! Man pages: one for the program, one for each command, and those of scene and preset files, from the tables of keys.

use super::args::{self, Cli};
use clap::CommandFactory;
use clap_mangen::roff::{Roff, bold, italic, roman};
use fogweft::base::door::Door;
use fogweft::base::fault::{Class, Fault, Result};
use fogweft::base::files;
use fogweft::base::mark::Form;
use fogweft::scene::keys::{KEYS, Key, Section};

/// A command and those below it, each with the name of its page.
fn commands(name: &str, command: &clap::Command, pages: &mut Vec<(String, clap::Command)>) {
    pages.push((name.to_owned(), command.clone().name(name.to_owned()).display_name(name.to_owned())));
    for below in command.get_subcommands().filter(|below| below.get_name() != "help") {
        commands(&format!("{name}-{}", below.get_name()), below, pages);
    }
}

/// Writes all pages into a folder.
pub fn run(args: &args::Man) -> Result<()> {
    files::prepare_folder(&args.dir)?;
    let mut program = Cli::command().name("fogweft");
    // Gives every command its full name.
    program.build();
    let (mut pages, mut files) = (Vec::new(), Vec::new());
    commands("fogweft", &program, &mut pages);
    for (name, command) in pages {
        let mut page = Vec::new();
        clap_mangen::Man::new(command).render(&mut page).map_err(|error| {
            Fault::new(Class::Output, format!("the man page {name} can't be written: {error}"))
        })?;
        files.push((args.dir.join(format!("{name}.1")), page));
    }
    for (name, about, of_preset) in
        [("fogweft-scene", "keys of a scene file", false), ("fogweft-preset", "keys of a preset file", true)]
    {
        files.push((args.dir.join(format!("{name}.5")), keys(name, about, of_preset).into_bytes()));
    }
    let door = Door { replace: args.replace, inputs: Vec::new() };
    files.iter().try_for_each(|(file, _)| door.look(file))?;
    files.iter().try_for_each(|(file, page)| door.write(file, Form::Roff, page))
}

/// The one key of scenes that is none of the table's.
const FROM: &str = "A scene file that this one builds on, from this file's folder. Keys of this file win; slots, named lamps and moods of one name are merged. Default: what fogweft.toml names under common, if anything.";

/// The page of a file format: every key with its range, unit and default.
fn keys(name: &str, about: &str, of_preset: bool) -> String {
    let mut page = Roff::new();
    let version = format!("fogweft {}", env!("CARGO_PKG_VERSION"));
    page.control("TH", [name, "5", "", version.as_str(), ""]);
    page.control("SH", ["NAME"]).text([roman(format!("{name} - {about}"))]);
    page.control("SH", ["KEYS"]);
    let of = |key: &&Key| match key.section() {
        Section::Preset => of_preset,
        Section::Step(_) => true,
        _ => !of_preset,
    };
    if !of_preset {
        page.control("TP", []);
        page.text([bold("from"), roman(" ("), italic("a path"), roman(")")]);
        page.text([roman(FROM)]);
    }
    for key in KEYS.iter().filter(of) {
        page.control("TP", []);
        page.text([bold(key.path), roman(" ("), italic(key.takes()), roman(")")]);
        page.text([roman(format!("{} Default: {}.", key.about, key.fallback_words()))]);
    }
    page.render()
}

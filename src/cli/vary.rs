//! `fogweft vary`: variations to choose from, and the choice written back.

use super::{args, say, write_contact};
use fogweft::base::door::Door;
use fogweft::base::fault::{Class, Fault, Result};
use fogweft::base::files::{self, Placed};
use fogweft::review::vary::{self, Along};
use fogweft::scene::recipe::shelf::Shelf;
use fogweft::scene::{Source, read};
use std::path::{Path, PathBuf};

/// Draws the variations, or writes one of them into the scene.
pub fn vary(args: &args::Vary) -> Result<()> {
    let limits = super::limits();
    let file = &args.scene.scene;
    super::spare_from_output(file)?;
    let source = Source::load(file, &limits)?;
    let shelf = Shelf::of_scene(Some(file), &limits);
    let how =
        read::Options { sets: &args.scene.sets, limits: &limits, shelf: &shelf, check_art: true, held: None };
    let reading = read::read(&source.file, &source.text, how)?;
    let along = match &args.along {
        Some(text) => Along::numbers(&reading, &args.slot, text, args.count)?,
        None => Along::seeds(&reading, &args.slot, args.count)?,
    };
    if let Some(choice) = args.pick {
        return pick(args, &source, how, &along, choice);
    }
    let out = args.out.clone().unwrap_or_else(|| default_out(args));
    let door = Door { replace: args.replace, inputs: inputs(&source, &reading, &shelf) };
    door.look(&out)?;
    write_contact(&out, &vary::draw(&source, how, &args.slot, &along, (args.tile, args.at))?, &door)?;
    let rows = (0..along.values.len()).map(|at| {
        let (name, word) = along.label(at);
        format!("{name}  {word}").trim_end().to_owned() + "\n"
    });
    say(&rows.collect::<String>());
    say("To choose one, run the same command with --pick and its number.\n");
    Ok(())
}

/// All that the variations are drawn from.
fn inputs(scene: &Source, reading: &read::Reading, shelf: &Shelf) -> Vec<PathBuf> {
    let bases = read::built_on(&scene.file, &scene.text, &super::limits());
    let presets = reading.presets.iter().filter_map(|name| shelf.file(name)).map(Path::to_path_buf);
    let pictures = reading.scene.slots.iter().flat_map(|slot| slot.files()).map(Path::to_path_buf);
    [scene.file.clone()].into_iter().chain(bases).chain(presets).chain(pictures).collect()
}

fn default_out(args: &args::Vary) -> PathBuf {
    let stem = args.scene.scene.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    args.scene.scene.with_file_name(format!("{stem}-{}-vary.png", args.slot))
}

fn pick(
    args: &args::Vary,
    source: &Source,
    how: read::Options<'_>,
    along: &Along,
    choice: usize,
) -> Result<()> {
    let Some(value) = choice.checked_sub(1).and_then(|at| along.values.get(at)) else {
        let message =
            format!("--pick {choice} is out of range: the variations are 1 to {}", along.values.len());
        return Err(Fault::new(Class::Usage, message).remedy("Choose one of them.").into());
    };
    let text = vary::picked(&source.file, &source.text, &args.slot, along.name(), &value.to_string())?;
    read::read(&source.file, &text, how)?;
    if let Some(target) = files::link_target(&source.file) {
        say(&format!("{} is a link; {} is saved\n", source.file.display(), target.display()));
    }
    if files::save(&source.file, source.text.as_bytes(), text.as_bytes())? == Placed::Stands {
        let fault =
            Fault::new(Class::Output, "the scene was saved by somebody else meanwhile; nothing was written");
        return Err(fault.in_file(&source.file).remedy("Run the command again.").into());
    }
    say(&format!("{}: set {} of slot \"{}\" to {value}\n", source.file.display(), along.name(), args.slot));
    Ok(())
}

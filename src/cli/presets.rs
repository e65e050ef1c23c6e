//! `fogweft presets`: the shelf, one preset of it, and what a scene makes of it.

use super::table::{layout, number};
use super::{args, say};
use fogweft::base::fault::Result;
use fogweft::base::limits::Limits;
use fogweft::scene::Source;
use fogweft::scene::keys::{KEYS, Key, Section};
use fogweft::scene::read::{self, Reading};
use fogweft::scene::recipe::layers::{Resolved, Setting};
use fogweft::scene::recipe::shelf::{Preset, Shelf};

/// The shelf, one line for each preset.
pub fn list(shelf: &Shelf) -> Result<()> {
    let mut rows = Vec::new();
    for name in shelf.names() {
        let preset = shelf.get(name)?;
        rows.push(vec![preset.name.clone(), preset.word.clone(), preset.anchor.to_string(), preset.about]);
    }
    say(&layout(&["preset", "weather word", "anchor", "use"], &rows, 4));
    Ok(())
}

/// One preset; with a scene, each number as the scene has it and who set it.
pub fn show(args: &args::Show, limits: &Limits) -> Result<()> {
    let shelf = Shelf::of_scene(args.from.as_deref(), limits);
    let Some(scene) = &args.from else {
        return shelf.get(&args.name).map(|preset| say(&alone(&preset)));
    };
    let source = Source::load(scene, limits)?;
    let how = read::Options { sets: &args.sets, limits, shelf: &shelf, check_art: false, held: None };
    let reading = read::read_mood(&source.file, &source.text, how, args.mood.as_deref())?;
    let slot = reading.scene.slots.iter().position(|slot| slot.name == args.name);
    say(&match slot {
        Some(at) if !shelf.has(&args.name) => of_slot(&reading, at),
        _ => of_preset(&reading, &shelf.get(&args.name)?),
    });
    Ok(())
}

fn head(preset: &Preset) -> String {
    let mut text = format!("{} ({})\n{}\n\n", preset.title, preset.name, preset.about);
    text += &format!("{}\n{}\n{}\n\n", preset.word, preset.definition, preset.source);
    text + &format!(
        "anchor = \"{}\"\nvisibility = {}\nclear = {}\n",
        preset.anchor,
        number(preset.visibility, 3),
        number(preset.clear, 3)
    )
}

/// A preset as it stands on the shelf.
fn alone(preset: &Preset) -> String {
    head(preset) + &steps(&Resolved::of_preset(preset), about)
}

fn about(key: &Key, _: &Setting) -> String {
    if key.unit.is_empty() { key.about.to_owned() } else { format!("{} ({})", key.about, key.unit) }
}

fn who(_: &Key, setting: &Setting) -> String {
    setting.layer.to_string()
}

/// A preset as the scene has it, and where its slots differ from that.
fn of_preset(reading: &Reading, preset: &Preset) -> String {
    let mut resolved = Resolved::of_preset(preset);
    for (path, setting) in &reading.over.settings {
        resolved.set(path, setting.value.clone(), setting.layer.clone());
    }
    let mut text = head(preset) + &steps(&resolved, who);
    for (slot, own) in reading.scene.slots.iter().zip(&reading.slots) {
        if slot.preset != preset.name {
            continue;
        }
        text += &format!("\nslot {}", slot.name);
        let lines: Vec<String> = own
            .settings
            .iter()
            .filter(|(path, setting)| resolved.value(path).is_some_and(|value| *value != setting.value))
            .map(|(path, setting)| line(path, setting, &setting.layer.to_string()))
            .collect();
        text += if lines.is_empty() { ": as above\n" } else { ", where it differs:\n" };
        text += &lines.concat();
    }
    text
}

/// Everything that a slot is made from.
fn of_slot(reading: &Reading, at: usize) -> String {
    let slot = &reading.scene.slots[at];
    let own = &reading.slots[at];
    let given = own.settings.iter().filter(|(path, _)| path.starts_with("slot."));
    let mut text = format!("slot {}, preset {}\n\n", slot.name, slot.preset);
    for (path, setting) in reading.facts.settings.iter().chain(given) {
        // The slot has an answer of its own to these.
        if !["preset", "air.anchor"].contains(path) {
            text += &line(path, setting, &setting.layer.to_string());
        }
    }
    text + &steps(own, who)
}

fn line(path: &str, setting: &Setting, comment: &str) -> String {
    format!("{:<34}# {comment}\n", format!("{path} = {}", setting.value))
}

/// The numbers of the five steps, each with a comment.
fn steps(resolved: &Resolved, comment: impl Fn(&Key, &Setting) -> String) -> String {
    let mut text = String::new();
    let mut table = None;
    for key in KEYS {
        let Section::Step(step) = key.section() else { continue };
        let Some(setting) = resolved.settings.get(key.path) else { continue };
        if table != Some(step) {
            text += &format!("\n[{step}]\n");
            table = Some(step);
        }
        let number = format!("{} = {}", key.name(), setting.value);
        text += &format!("{number:<28}# {}\n", comment(key, setting));
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_names_who_set_it() {
        let setting = Setting {
            value: fogweft::scene::keys::Value::Number(3.5),
            layer: fogweft::scene::recipe::layers::Layer::Slot,
        };
        let text = steps(&Resolved { settings: [("smear.length", setting)].into() }, who);
        assert_eq!(text, format!("\n[smear]\n{:<28}# slot\n", "length = 3.5"));
    }
}

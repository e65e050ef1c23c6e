//! The whole table of keys: what a file says under any of them arrives in the scene, and changes nothing beside it.

use fogweft::base::limits::Limits;
use fogweft::scene::keys::{self, KEYS, Key, Kind, Section};
use fogweft::scene::read::{Options, read};
use fogweft::scene::recipe::shelf::Shelf;
use std::path::Path;

/// One slot that has all that another key may hang on.
const SCENE: &str = "view = [640, 360]\nrim.darken = true\nair.visibility = 20\n[[slot]]\nname = \"a\"\ndepth = 100\nart = \"a.png\"\nstrokes = \"b.png\"\nfade = \"top\"\n";

/// [`SCENE`] with strokes, or with a picture that is its sheet, which has none.
fn text(with: &Key) -> String {
    if with.path.starts_with("slot.sheet") {
        SCENE.replace("strokes = ", "sheet = ")
    } else {
        SCENE.to_owned()
    }
}

/// Reads a scene with an override, and shows it line by line.
fn lines(text: &str, set: Option<String>) -> Vec<String> {
    let (limits, shelf) = (Limits::default(), Shelf::embedded());
    let sets: Vec<String> = set.into_iter().collect();
    let options = Options { sets: &sets, limits: &limits, shelf: &shelf, check_art: false, held: None };
    let reading =
        read(Path::new("scene.toml"), text, options).unwrap_or_else(|faults| panic!("{sets:?}: {faults}"));
    format!("{:#?}", reading.scene).lines().map(|line| line.trim().to_owned()).collect()
}

/// A value of a key that is neither its default nor what [`SCENE`] says, as TOML, and what is shown of it where that is plain.
fn other(key: &Key) -> (String, Option<String>) {
    let within = |min: f64, max: f64| {
        // Within reach of a slot's depth and of any default, and no round number.
        let value = if min < 41.25 && max > 41.25 { 41.25 } else { min + 0.375 * (max - min) };
        (value.to_string(), Some(format!("{value:?}")))
    };
    let text = |text: &str| (format!("\"{text}\""), Some(text.to_owned()));
    match key.kind {
        Kind::Number { min, max, .. } | Kind::FlagOrNumber { min, max } => within(min, max),
        Kind::Whole { min, max } => ((min + 6).min(max).to_string(), None),
        Kind::Flag => {
            let default =
                key.fallback_words() == "true" || ["slot.visible", "rim.darken"].contains(&key.path);
            ((!default).to_string(), None)
        }
        Kind::Pair { .. } | Kind::NumberOrPair { .. } => ("[41.25, 41.5]".into(), Some("41.25".into())),
        Kind::Pairs { .. } => ("[[41.25, 41.5]]".into(), Some("41.25".into())),
        Kind::Points { .. } => ("[[0, 41.25], [41.5, 2]]".into(), Some("41.25".into())),
        Kind::Text | Kind::Name | Kind::Path => text("other.png"),
        Kind::Preset => text("sea-fret"),
        Kind::Colour | Kind::ColourOr(_) => ("\"#123456\"".into(), Some(format!("{:?}", 18.0_f32 / 255.0))),
        Kind::Fit => ("\"error:0.75\"".into(), Some("0.75".into())),
        Kind::Choice(words) => (format!("\"{}\"", words[words.len() - 1]), None),
    }
}

#[test]
fn every_key_changes_the_scene_as_meant() {
    for key in KEYS.iter().filter(|key| {
        !matches!(key.section(), Section::Place | Section::Lamp | Section::Preset) && key.path != "slot.name"
    }) {
        let (value, shown) = other(key);
        let text = text(key);
        let before = lines(&text, None);
        let target = if key.section() == Section::Slot {
            key.path.replace("slot.", "slot.a.")
        } else {
            key.path.into()
        };
        let after = lines(&text, Some(format!("{target}={value}")));
        let new: Vec<&String> = after.iter().filter(|line| !before.contains(line)).collect();
        // What the view, a preset or the art says has a say in much else; a picture that isn't drawn has no lines.
        let wide = matches!(key.kind, Kind::Preset | Kind::Pair { .. } | Kind::Points { .. })
            || key.path == "air.haze";
        assert!(after != before, "{target} = {value} changes nothing");
        assert!(wide || new.len() <= 4, "{target} = {value} changes {new:?}");
        if let Some(shown) = shown {
            assert!(
                new.iter().any(|line| line.contains(&shown)),
                "{target} = {value} doesn't arrive: {new:?}"
            );
        }
    }
}

#[test]
fn every_key_of_a_preset_changes_it_as_meant() {
    let base = "title = \"t\"\nword = \"mist\"\nabout = \"a\"\ndefinition = \"d\"\nsource = \"s\"\nanchor = \"ground\"\nvisibility = 20\n";
    let preset = |text: String| {
        let mut shelf = Shelf::embedded();
        shelf.put("own", "own.toml", text);
        shelf.get("own").unwrap_or_else(|faults| panic!("{faults}"))
    };
    let before = preset(base.into());
    for key in KEYS.iter().filter(|key| key.section() == Section::Preset || key.is_step()) {
        let (value, _) = other(key);
        let line = format!("{} = {value}\n", key.path.trim_start_matches("preset."));
        let own: String =
            base.lines().filter(|line| !line.starts_with(key.name())).flat_map(|line| [line, "\n"]).collect();
        assert_ne!(preset(line + &own), before, "{} = {value} changes nothing", key.path);
    }
    assert!(keys::find("preset.title").is_some());
}

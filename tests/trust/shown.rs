//! What a terminal is shown holds no character that acts on it, whatever file or argument it comes from.

use super::util::{Scene, TEXT};
use std::fs;

/// An escape sequence that sets the colour, a bell, a carriage return, a C1 control sequence, and an override of the direction of text.
const ODD: &str = "a\u{1b}[31m\u{7}\rb\u{9b}2Jc\u{202e}d\u{2066}e";

/// ODD as TOML writes it in a basic string.
const WRITTEN: &str = "a\\u001b[31m\\u0007\\rb\\u009b2Jc\\u202ed\\u2066e";

/// Only line ends: Unicode's other controls (Cc) and the bidirectional formats of UAX 9.
#[track_caller]
fn assert_clean(scene: &Scene, args: &[&str]) {
    let done = scene.run(args);
    for out in [done.stdout, done.stderr] {
        let text = String::from_utf8_lossy(&out);
        let acts = |c: &char| {
            *c != '\n' && c.is_control()
                || matches!(c, '\u{200e}' | '\u{200f}' | '\u{61c}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
        };
        let odd: Vec<char> = text.chars().filter(acts).collect();
        assert!(odd.is_empty(), "{args:?}: {odd:?} in {text:?}");
    }
    assert!(matches!(done.status.code(), Some(0..=6)), "{args:?}: {:?}", done.status);
}

const COMMANDS: [&[&str]; 7] = [
    &["render", "odd.toml", "--out", "o"],
    &["plan", "odd.toml"],
    &["plan", "odd.toml", "--json"],
    &["check", "odd.toml"],
    &["presets", "show", "far", "--from", "odd.toml"],
    &["presets", "--from", "odd.toml"],
    &["vary", "odd.toml", "far"],
];

#[test]
fn names_in_files_are_shown_clean() {
    let scene = Scene::new();
    let swaps = [
        ("view = [64, 36]", format!("view = [64, 36]\nname = \"{WRITTEN}\"")),
        ("name = \"far\"", format!("name = \"{WRITTEN}\"")),
        ("name = \"far\"", "name = \"far\u{202e}\"".to_owned()),
        ("far.svg", format!("{WRITTEN}.svg")),
        ("visibility", format!("\"{WRITTEN}\"")),
        ("#c8ccd0", WRITTEN.to_owned()),
        ("seed = 3", format!("preset = \"{WRITTEN}\"")),
        ("seed = 3", format!("seed = {ODD}")),
    ];
    scene.write("odd.toml", TEXT);
    for args in COMMANDS {
        scene.well(args);
    }
    for (from, to) in swaps {
        scene.write("odd.toml", TEXT.replace(from, &to));
        for args in COMMANDS {
            assert_clean(&scene, args);
        }
    }
}

#[test]
fn arguments_are_shown_clean() {
    let scene = Scene::new();
    // Windows has no such names.
    if cfg!(unix) {
        scene.write(&format!("{ODD}.toml"), TEXT);
    }
    for set in [format!("{ODD}=1"), format!("air.visibility={ODD}"), format!("slot.{ODD}.depth=3")] {
        assert_clean(&scene, &["render", "scene.toml", "--out", "o", "--set", &set]);
        assert_clean(&scene, &["plan", "scene.toml", "--json", "--set", &set]);
    }
    assert_clean(&scene, &["render", &format!("{ODD}.toml")]);
    assert_clean(&scene, &["render", &format!("no-{ODD}.toml")]);
    assert_clean(&scene, &["render", "scene.toml", "--out", ODD, "--depfile", &format!("{ODD}.d")]);
    assert_clean(&scene, &["check", "scene.toml", "--mood", ODD]);
    for args in [[ODD, "x"], ["render", ODD], ["--limit", ODD], ["presets", ODD], ["schema", ODD]] {
        assert_clean(&scene, &args);
    }
}

#[test]
fn records_presets_and_layers_are_shown_clean() {
    let scene = Scene::new();
    scene.well(&["render", "scene.toml", "--out", "o"]);
    for record in ["o/.fogweft-run.json", "o/manifest.json"] {
        let text = fs::read_to_string(scene.path(record)).expect("a record");
        for (from, to) in [
            ("near", "\\u001b[31m\\u202e"),
            ("visibility", "\\u001b[31m\\u202e"),
            ("900", "\"\\u001b\\u202e\""),
        ] {
            scene.write(record, text.replace(from, to));
            assert_clean(&scene, &["render", "scene.toml", "--out", "o", "--set", "air.visibility=800"]);
        }
        scene.write(record, &text);
    }

    fs::create_dir(scene.path("presets")).expect("a folder");
    let preset = format!("title = \"{WRITTEN}\"\nuse = \"{WRITTEN}\"\n\"{WRITTEN}\" = 3\n");
    scene.write("presets/own.toml", preset);
    scene.write("odd.toml", TEXT.replace("seed = 3", "preset = \"own\""));
    for args in COMMANDS {
        assert_clean(&scene, args);
    }

    let layer = format!("<layer name=\"c\u{202e}d\u{85}&#x9b;2J\" src=\"{}\"/>", "x\u{202e}.png");
    let xml = format!("<image version=\"0.0.3\" w=\"64\" h=\"36\"><stack>{layer}</stack></image>");
    scene.layered("odd.ora", &xml);
    assert_clean(&scene, &["new", "from", "--from", "odd.ora"]);
    if scene.path("from/scene.toml").exists() {
        assert_clean(&scene, &["render", "from/scene.toml", "--out", "p"]);
    }
}

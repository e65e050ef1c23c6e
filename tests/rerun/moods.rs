//! One scene, several airs.

use super::util::{Scene, same};
use serde_json::Value;
use std::collections::BTreeMap;
use std::fs;

const MOODS: &str = "
[mood.dusk]
seed = 4
[mood.dusk.air]
haze = \"#886655\"
visibility = 500
[mood.dusk.slot.mid]
smear.length = 40
[mood.dusk.slot.near]
fog = false

[mood.storm.air]
visibility = 150
[mood.storm.smear]
length = 60
";

fn scene() -> Scene {
    let scene = Scene::new();
    let text = fs::read_to_string(scene.path("scene.toml")).expect("text");
    scene.write("scene.toml", &(text + MOODS));
    scene
}

#[test]
fn a_mood_renders_into_a_folder_of_its_own() {
    let scene = scene();
    scene.render(&["--quiet"]).well();
    let plain = scene.files("scene-sheets");
    // Into a folder where nothing else stands of which it could name files.
    scene.render(&["--mood", "dusk", "--out", "alone", "--quiet"]).well();
    let dusk = scene.files("alone/mood-dusk");
    assert!(!dusk.contains_key("near.fog.png") && dusk.contains_key("near.art.png"), "{:?}", dusk.keys());
    assert_ne!(dusk["mid.fog.png"], plain["mid.fog.png"]);
    assert_eq!(dusk["mid.art.png"], plain["mid.art.png"]);
    // As if the mood's values stood in the scene's and the slots' places.
    let edited = super::util::TEXT
        .replace("seed = 3", "seed = 4")
        .replace("#c8ccd0", "#886655")
        .replace("visibility = 900", "visibility = 500")
        .replace("smear.length = 22", "smear.length = 40")
        .replace("repeat = true", "repeat = true\nfog = false");
    scene.write("scene.toml", &edited);
    scene.render(&["--out", "edited", "--quiet"]).well();
    // But for what only a scene with moods says.
    let mut dusk = dusk;
    let mut manifest = manifest(&dusk);
    for file in manifest["files"].as_array_mut().expect("files") {
        file.as_object_mut().expect("an entry").remove("fades");
    }
    let edited = scene.files("edited");
    assert_eq!(manifest, self::manifest(&edited));
    dusk.insert("manifest.json".into(), edited["manifest.json"].clone());
    same(&dusk, &edited, "a mood is an edit");
}

fn manifest(files: &BTreeMap<String, Vec<u8>>) -> Value {
    serde_json::from_slice(&files["manifest.json"]).expect("JSON")
}

#[test]
fn files_that_stand_alike_in_two_moods_may_be_faded() {
    let scene = scene();
    scene.edit("scene.toml", "[mood.storm.air]", "[mood.storm.slot.far]\nperiod = 900\n[mood.storm.air]");
    scene.render(&["--all-moods", "--quiet"]).well();
    let folders =
        [("", "scene-sheets"), ("dusk", "scene-sheets/mood-dusk"), ("storm", "scene-sheets/mood-storm")];
    let manifests = folders.map(|(mood, folder)| (mood, manifest(&scene.files(folder))));
    let (mut alike, mut others) = (0, 0);
    for (mood, own) in &manifests {
        for file in own["files"].as_array().expect("files") {
            let fades: Vec<&str> =
                file["fades"].as_array().into_iter().flatten().filter_map(Value::as_str).collect();
            for (other, theirs) in manifests.iter().filter(|(other, _)| other != mood) {
                let same = |key: &str, there: &Value| file[key] == there[key];
                let stands = theirs["files"]
                    .as_array()
                    .expect("files")
                    .iter()
                    .any(|there| ["slot", "kind", "rect", "period"].iter().all(|key| same(key, there)));
                assert_eq!(fades.contains(other), stands, "{mood}, {other}: {file}");
                if stands { alike += 1 } else { others += 1 }
            }
        }
    }
    assert!(alike > 12 && others > 2, "{alike} {others}");
}

#[test]
fn a_slots_own_number_wins_over_a_moods_for_all() {
    let scene = scene();
    let said = scene.run(&["presets", "show", "mid", "--from", "scene.toml", "--mood", "storm"]).well();
    assert!(said.out.contains("length = 22                 # slot\n"), "{}", said.out);
    assert!(said.out.contains("# mood storm\n"), "{}", said.out);
    let said = scene.run(&["presets", "show", "far", "--from", "scene.toml", "--mood", "storm"]).well();
    assert!(said.out.contains("length = 60                 # mood storm\n"), "{}", said.out);
    let said = scene
        .run(&[
            "presets",
            "show",
            "far",
            "--from",
            "scene.toml",
            "--mood",
            "storm",
            "--set",
            "smear.length=5",
        ])
        .well();
    assert!(said.out.contains("length = 5                  # command line\n"), "{}", said.out);
    let said = scene.run(&["plan", "scene.toml", "--mood", "storm", "--json"]).well();
    let plan: serde_json::Value = serde_json::from_str(&said.out).expect("JSON");
    let extinction = plan["extinction"].as_f64().expect("a number");
    assert!((extinction - 2.995_732_273_553_991 / 150.0).abs() < 1e-12, "{extinction}");
}

#[test]
fn all_moods_come_with_the_scene_as_it_is() {
    let scene = scene();
    scene.render(&["--all-moods", "--quiet"]).well();
    let files = scene.files("scene-sheets");
    for name in ["manifest.json", "mood-dusk/manifest.json", "mood-storm/manifest.json"] {
        assert!(files.contains_key(name), "{name}");
    }
    let said = scene.render(&["--all-moods"]).well();
    assert_eq!(said.out.matches("nothing changed").count(), 3, "{}", said.out);
    // A tweak of one mood touches no other.
    scene.edit("scene.toml", "visibility = 150", "visibility = 160");
    let said = scene.render(&["--all-moods"]).well();
    assert_eq!(said.out.matches("nothing changed").count(), 2, "{}", said.out);
    assert!(said.out.contains("mid.fog.png: air.visibility 150 -> 160\n"), "{}", said.out);
    scene.render(&["--mood", "dusk", "--mood", "storm", "--out", "two", "--quiet"]).well();
    assert!(scene.path("two/mood-storm/still.png").exists() && !scene.path("two/still.png").exists());
}

#[test]
fn what_is_wrong_in_a_mood_is_told_whether_it_is_rendered_or_not() {
    let scene = scene();
    scene.edit("scene.toml", "[mood.storm.smear]\nlength = 60", "[mood.storm.smear]\nlenght = 60\n[mood.storm.slot.mist]\nfog = true\n[mood.\"a/b\"]\n[mood.Dusk]\n[mood.calm.slot.mid]\nname = \"x\"\nsoften.sigma = -1");
    let said = scene.render(&[]);
    assert_eq!(said.code, 3);
    for words in [
        "unknown key \"lenght\" in [smear]",
        "there is no slot \"mist\"",
        "\"a/b\"",
        "differ only in case",
        "a mood can't rename a slot",
        "`soften.sigma` is -1",
    ] {
        assert!(said.err.contains(words), "{words} in\n{}", said.err);
    }
    let scene = self::scene();
    let said = scene.render(&["--mood", "dask"]);
    assert_eq!(said.code, 2, "{}", said.err);
    assert!(
        said.err.contains("no mood \"dask\"") && said.err.contains("Did you mean \"dusk\"?"),
        "{}",
        said.err
    );
    assert_eq!(scene.render(&["--mood", "dusk", "--all-moods"]).code, 2);
    scene.write("scene.toml", "mood = 3\nview = [9, 9]\n[[slot]]\nname = \"a\"\ndepth = 0\n");
    let said = scene.render(&[]);
    assert!(said.code == 3 && said.err.contains("`mood` must be a table of moods"), "{}", said.err);
}

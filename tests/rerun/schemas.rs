//! The schemas, checked by somebody else's validator (the jsonschema package of Python, where it is there).

use super::util::Scene;
use std::fs;
use std::process::Command;

/// Validates TOML and JSON files against schemas: each line of its input is `schema file`; it prints a line for each.
const VALIDATE: &str = "
import json, sys, tomllib
import jsonschema
for line in sys.argv[1:]:
    schema, file = line.split(' ')
    schema = json.load(open(schema))
    jsonschema.Draft7Validator.check_schema(schema)
    data = json.load(open(file)) if file.endswith('.json') else tomllib.load(open(file, 'rb'))
    errors = list(jsonschema.Draft7Validator(schema).iter_errors(data))
    print(file, 'valid' if not errors else 'invalid: ' + errors[0].message)
";

/// What the validator says of each `schema file`; none if it isn't there.
fn validated(scene: &Scene, pairs: &[String]) -> Option<Vec<String>> {
    let python = |args: &[&str]| {
        Command::new("python3")
            .args(args)
            .current_dir(scene.path("."))
            .output()
            .ok()
            .filter(|done| done.status.success())
    };
    if python(&["-c", "import jsonschema, tomllib"]).is_none() {
        eprintln!("python3 with jsonschema isn't there; the schemas are not validated");
        return None;
    }
    let mut args = vec!["-c", VALIDATE];
    args.extend(pairs.iter().map(String::as_str));
    let done = python(&args).expect("the validator runs");
    Some(String::from_utf8_lossy(&done.stdout).lines().map(str::to_owned).collect())
}

fn scene() -> Scene {
    let scene = Scene::new();
    for kind in ["scene", "preset", "manifest"] {
        let text = scene.run(&["schema", kind]).well().out;
        scene.write(&format!("{kind}.schema.json"), &text);
    }
    scene
}

#[test]
fn what_the_program_takes_is_valid_and_what_it_refuses_is_not() {
    let scene = scene();
    scene.run(&["new", "fresh"]).well();
    scene.run(&["demo", "demo"]).well();
    let root = env!("CARGO_MANIFEST_DIR");
    let mut good = vec![
        "scene.schema.json scene.toml".to_owned(),
        "scene.schema.json fresh/scene.toml".to_owned(),
        "scene.schema.json demo/scene.toml".to_owned(),
        "manifest.schema.json demo/scene-sheets/manifest.json".to_owned(),
    ];
    for entry in fs::read_dir(format!("{root}/presets")).expect("presets").flatten() {
        if entry.path().extension().is_some_and(|ending| ending == "toml") {
            good.push(format!("preset.schema.json {}", entry.path().display()));
        }
    }
    scene.write("drift.toml", "title = \"Drift\"\nfrom = \"mist\"\n[falloff]\nheight = inf\n");
    good.push("preset.schema.json drift.toml".into());
    let sampled = fs::read_to_string(scene.path("scene.toml")).expect("text").replace("#c8ccd0", "sampled");
    scene.write("sampled.toml", &format!("{sampled}[check]\nmemory = inf\nsteady = true\n"));
    good.push("scene.schema.json sampled.toml".into());
    let base = fs::read_to_string(scene.path("scene.toml")).expect("text");
    scene.write(
        "moods.toml",
        &format!("{base}[mood.dusk]\nseed = 4\n[mood.dusk.slot.mid]\nfog = false\nsmear.length = 3\n"),
    );
    good.push("scene.schema.json moods.toml".into());

    let mut bad = Vec::new();
    for (at, (from, to)) in [
        ("travel = 24", "travel = -1"),
        ("travel = 24", "travel = \"24\""),
        ("travel = 24", "travle = 24"),
        ("view = [48, 27]", "view = [48]"),
        ("view = [48, 27]", ""),
        ("seed = 3", "seed = 3.5"),
        ("\"#c8ccd0\"", "\"#c8cc\""),
        ("visibility = 900", "visibility = 0"),
        ("smear.length = 22", "smear.length = inf"),
        ("smear.length = 22", "smear.lenght = 22"),
        ("smear.length = 22", "bands.kind = \"spotted\""),
        ("smear.length = 22", "anchor = 3"),
        ("smear.length = 22", "separation = -1"),
        ("spread = 4", "spread = true"),
        ("haze = \"#c8ccd0\"", "haze = \"guessed\""),
        ("repeat = true", "repeat = \"yes\""),
        ("depth = 200", ""),
    ]
    .into_iter()
    .enumerate()
    {
        assert!(base.contains(from), "{from}");
        let name = format!("bad-{at}.toml");
        scene.write(&name, &base.replacen(from, to, 1));
        assert_ne!(scene.run(&["plan", &name]).code, 0, "the program takes {to}");
        bad.push(format!("scene.schema.json {name}"));
    }
    scene.write("bad-preset.toml", "title = \"No base\"\n[smear]\nlength = 3\n");
    bad.push("preset.schema.json bad-preset.toml".into());

    let Some(said) = validated(&scene, &[good.as_slice(), &bad].concat()) else { return };
    assert_eq!(said.len(), good.len() + bad.len());
    let (of_good, of_bad) = said.split_at(good.len());
    assert!(of_good.iter().all(|line| line.ends_with(" valid")), "{of_good:#?}");
    assert!(of_bad.iter().all(|line| line.contains(" invalid: ")), "{of_bad:#?}");
}

/// A scene whose project names what it builds on needs nothing of its own.
#[test]
fn in_a_project_with_a_common_file_a_scene_may_be_short() {
    let scene = scene();
    let short = "[[slot]]\nname = \"far\"\ndepth = 300\n";
    scene.write("short.toml", short);
    scene.write("shorter.toml", "seed = 4\n");
    scene.write("wrong.toml", "sed = 4\n");
    let lines = ["scene.schema.json short.toml", "project.schema.json short.toml"]
        .into_iter()
        .chain(["project.schema.json shorter.toml", "project.schema.json wrong.toml"])
        .map(str::to_owned);
    scene.write("common.toml", &fs::read_to_string(scene.path("scene.toml")).expect("text"));
    for (mark, common) in [("", false), ("common = \"common.toml\"\n", true)] {
        scene.write("fogweft.toml", mark);
        let schema = scene.run(&["schema", "scene"]).well().out;
        let read: serde_json::Value = serde_json::from_str(&schema).expect("JSON");
        assert_eq!(read["anyOf"].is_null(), common);
        scene.write("project.schema.json", &schema);
        // What is written with a new scene is the same.
        let name = format!("new-{common}");
        scene.run(&["new", &name]).well();
        assert!(fs::read_to_string(scene.path(&name).join("scene.schema.json")).expect("text") == schema);
        assert_eq!(scene.run(&["plan", "short.toml"]).code == 0, common);
    }
    let Some(said) = validated(&scene, &lines.collect::<Vec<_>>()) else { return };
    let valid: Vec<bool> = said.iter().map(|line| line.ends_with(" valid")).collect();
    assert_eq!(valid, [false, true, true, false], "{said:#?}");
}

/// Every key of the tables stands in the schemas, with words, and with bounds where it is a number.
#[test]
fn every_key_is_described() {
    let scene = scene();
    let read = |kind: &str| -> serde_json::Value {
        serde_json::from_str(&fs::read_to_string(scene.path(&format!("{kind}.schema.json"))).expect("text"))
            .expect("JSON")
    };
    let (of_scene, of_preset, of_manifest) = (read("scene"), read("preset"), read("manifest"));
    for key in fogweft::scene::keys::KEYS {
        let name = key.path.rsplit('.').next().expect("a name");
        let places = match key.path.split_once('.') {
            None => vec![
                &of_scene["properties"],
                &of_scene["properties"]["mood"]["additionalProperties"]["properties"],
            ],
            Some((table @ ("air" | "light" | "rim" | "check" | "texture"), _)) => vec![
                &of_scene["properties"][table]["properties"],
                &of_scene["properties"]["mood"]["additionalProperties"]["properties"][table]["properties"],
            ],
            Some(("lamp", _)) => vec![&of_scene["properties"]["lamp"]["items"]["properties"]],
            Some(("place", _)) => {
                vec![&of_scene["properties"]["slot"]["items"]["properties"]["place"]["items"]["properties"]]
            }
            Some(("slot", _)) => vec![&of_scene["properties"]["slot"]["items"]["properties"]],
            Some(("preset", _)) => vec![&of_preset["properties"]],
            Some((step, _)) => [
                &of_scene["properties"],
                &of_scene["properties"]["slot"]["items"]["properties"],
                &of_preset["properties"],
            ]
            .map(|place| &place[step]["properties"])
            .to_vec(),
        };
        for place in places {
            let text =
                place[name]["description"].as_str().unwrap_or_else(|| panic!("{} isn't described", key.path));
            assert!(text.contains(key.about) && text.contains(key.unit), "{}: {text}", key.path);
            if let fogweft::scene::keys::Kind::Number { min, max, .. } = key.kind {
                let bounds =
                    if place[name]["anyOf"].is_array() { &place[name]["anyOf"][0] } else { &place[name] };
                assert_eq!(
                    (bounds["minimum"].as_f64(), bounds["maximum"].as_f64()),
                    (Some(min), Some(max)),
                    "{}",
                    key.path
                );
            }
        }
    }
    for (name, key) in of_manifest["properties"].as_object().expect("keys") {
        assert!(
            key["description"].is_string()
                || key["$ref"].is_string()
                || key["allOf"].is_array()
                || key["anyOf"].is_array(),
            "{name}"
        );
    }
}

#[test]
fn a_new_scene_begins_with_its_schema() {
    let scene = Scene::new();
    scene.run(&["new", "fresh", "--preset", "mist"]).well();
    let text = fs::read_to_string(scene.path("fresh/scene.toml")).expect("text");
    assert!(text.starts_with("#:schema ./scene.schema.json\n\n# A scene"), "{text}");
    let beside = fs::read_to_string(scene.path("fresh/scene.schema.json")).expect("text");
    assert_eq!(beside, scene.run(&["schema", "scene"]).well().out);
    scene.run(&["render", "fresh/scene.toml", "--scale", "0.1", "--quiet"]).well();
    assert_eq!(scene.run(&["new", "fresh"]).code, 5, "nothing is overwritten");
}

//! Levels in which the camera pans both ways.

use crate::compose::{compose, distance};
use crate::outside::{SCENE, decoded, fogweft, render, runs, write_scene};
use serde_json::{Value, json};
use std::path::{Path, PathBuf};

/// A tall level: the scene's pictures, a sky as tall as its slot needs, and a hut far down and right.
fn tall(folder: &Path) -> PathBuf {
    let text = SCENE
        .replace("travel = 360", "travel = [360, 200]")
        .replace("ground = 112", "ground = 300")
        .replace("y = 40", "y = 120")
        .replace("x = 90\ny = 50", "x = 190\ny = 150");
    let file = write_scene(folder, &text);
    let sky: Vec<u8> = (0..180_u32)
        .flat_map(|y| (0..300_u32).flat_map(move |x| [90 + (y / 3) as u8, 120 + (x % 7) as u8, 170, 255]))
        .collect();
    image::save_buffer(folder.join("sky.png"), &sky, 300, 180, image::ColorType::Rgba8).unwrap();
    file
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

#[test]
fn nine_places_over_both_ways_compose_to_the_still() {
    let folder = tempfile::tempdir().unwrap();
    let scene = tall(folder.path());
    let [eight, deep] = ["eight", "sixteen"].map(|name| folder.path().join(name));
    for scale in ["1", "0.5"] {
        for (right, down) in [0.0, 170.0, 360.0].into_iter().flat_map(|x| [0.0, 90.5, 200.0].map(|y| (x, y)))
        {
            let at = format!("{right},{down}");
            let manifest = render(&scene, &eight, &["--scale", scale, "--at", &at]);
            render(&scene, &deep, &["--scale", scale, "--at", &at, "--bits", "16"]);
            assert_eq!(manifest["still"]["camera"], json!([right, down]));
            let (size, frame) = compose(&eight, &manifest, [right, down]);
            let (still_size, still) = decoded(&std::fs::read(deep.join("still.png")).unwrap());
            assert_eq!(size.map(|side| side as u32), still_size);
            let (far, mean) = distance(&frame, &still);
            println!("scale {scale} at {at}: at most {far:.3} codes, {mean:.4} in the mean");
            assert!(far <= 2.0 && mean < 0.3, "scale {scale} at {at}: {far} codes, {mean} in the mean");
        }
    }
}

/// Pinhole: what is so deep moves by camera / (camera + depth) for each px of the camera's, up and to the left.
#[test]
fn sheets_are_as_tall_as_their_slots_need() {
    let folder = tempfile::tempdir().unwrap();
    let scene = tall(folder.path());
    let manifest = render(
        &scene,
        &folder.path().join("out"),
        &["--set", "texture.trim=false", "--set", "texture.fit=full"],
    );
    assert_eq!((&manifest["version"], &manifest["travel"]), (&json!(2), &json!([360.0, 200.0])));
    let mut sheets = 0;
    for file in manifest["files"].as_array().unwrap() {
        let needed = 136.0 + 200.0 * number(&file["pan_rate"]);
        let (top, bottom) = (number(&file["rect"][1]), number(&file["rect"][1]) + number(&file["rect"][3]));
        if file["kind"] == "fog" {
            sheets += 1;
            assert!(top == 0.0 && bottom >= needed && bottom < needed + 1.0, "{file}: {needed}");
        } else if file["kind"] == "rim" {
            assert!(top >= 0.0 && bottom < needed + 1.0, "{file}");
        }
    }
    assert_eq!(sheets, 4);
}

/// With the camera at its lowest, the ground is where it is for a camera that doesn't go down.
#[test]
fn the_usual_ground_lies_where_the_camera_comes_down_to() {
    let folder = tempfile::tempdir().unwrap();
    let lines = |down: f64| -> Vec<f64> {
        let text =
            SCENE.replace("travel = 360", &format!("travel = [360, {down}]")).replace("ground = 112\n", "");
        let scene = write_scene(folder.path(), &text);
        let plan: Value = serde_json::from_str(&runs(&["plan", scene.to_str().unwrap(), "--json"])).unwrap();
        let sheets = plan["files"].as_array().unwrap().iter().filter(|file| file["kind"] == "fog");
        sheets.map(|sheet| number(&sheet["line"]) - down * number(&sheet["pan_rate"])).collect()
    };
    let (flat, tall) = (lines(0.0), lines(500.0));
    assert!(flat.len() > 2 && flat.len() == tall.len(), "{flat:?} {tall:?}");
    for (flat, tall) in flat.iter().zip(&tall) {
        assert!(
            (flat - tall).abs() < 1e-6,
            "seen from the lowest place the line lies at {tall}, not at {flat}"
        );
    }
}

/// The hut is out of view with the camera at the top: its rim is solved from below.
#[test]
fn rims_and_the_check_see_what_lies_below() {
    let folder = tempfile::tempdir().unwrap();
    let scene = tall(folder.path());
    std::fs::write(
        &scene,
        std::fs::read_to_string(&scene).unwrap().replace("x = 190\ny = 150", "x = 190\ny = 180"),
    )
    .unwrap();
    let check = |sets: &[&str]| -> Value {
        let out = fogweft(&[&["check", scene.to_str().unwrap(), "--json"], sets].concat());
        serde_json::from_slice(&out.stdout).unwrap()
    };
    let hut = |report: &Value| {
        report["slots"].as_array().unwrap().iter().find(|slot| slot["slot"] == "hut").unwrap().clone()
    };
    let report = check(&[]);
    let seen = hut(&report);
    assert!(number(&seen["after"]["below"]) < number(&seen["before"]["below"]), "{seen}");
    assert!(
        seen["places"].as_array().unwrap().iter().all(|place| number(&place["camera"][1]) > 0.0),
        "{seen}"
    );
    let places = report["cameras"].as_array().unwrap();
    for corner in [[0.0, 0.0], [360.0, 0.0], [0.0, 200.0], [360.0, 200.0]] {
        assert!(places.contains(&json!(corner)), "{places:?}");
    }
    assert_eq!(number(&hut(&check(&["--set", "travel=360"]))["points"]), 0.0);
}

#[test]
fn a_second_way_of_none_changes_no_byte() {
    let folder = tempfile::tempdir().unwrap();
    let scene = write_scene(folder.path(), SCENE);
    let [one, two] = ["one", "two"].map(|name| folder.path().join(name));
    let first = render(&scene, &one, &[]);
    let second = render(&scene, &two, &["--set", "travel=[360, 0]"]);
    assert_eq!(first, second);
    for file in std::fs::read_dir(&one).unwrap().map(|entry| entry.unwrap().file_name()) {
        let name = file.to_str().unwrap();
        if !name.starts_with('.') {
            assert_eq!(
                std::fs::read(one.join(name)).unwrap(),
                std::fs::read(two.join(name)).unwrap(),
                "{name}"
            );
        }
    }
    let again = fogweft(&[
        "render",
        scene.to_str().unwrap(),
        "--out",
        one.to_str().unwrap(),
        "--set",
        "travel=[360, 0]",
    ]);
    assert!(String::from_utf8_lossy(&again.stdout).contains("nothing changed"), "{again:?}");
}

#[test]
fn a_travel_that_can_not_be_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let scene = write_scene(folder.path(), SCENE);
    for (travel, message) in [
        ("[1]", "`travel` must be one number or two, not 1"),
        ("[1, 2, 3]", "`travel` must be one number or two, not 3"),
        ("[1, -2]", "`travel` is -2, which is too small"),
        ("\"far\"", "`travel` must be a number or a list of two, not text"),
    ] {
        let out = fogweft(&["plan", scene.to_str().unwrap(), "--set", &format!("travel={travel}")]);
        let said = String::from_utf8_lossy(&out.stderr).into_owned();
        assert!(out.status.code() == Some(2) && said.contains(message), "{travel}: {said}");
    }
}

/// From the pan rate alone: at the far end a plane has gone up and left by the rate times the travel.
#[test]
fn pictures_that_end_inside_the_view_are_named() {
    let folder = tempfile::tempdir().unwrap();
    let scene = tall(folder.path());
    let manifest = render(&scene, &folder.path().join("out"), &[]);
    let sky =
        manifest["files"].as_array().unwrap().iter().find(|file| file["path"] == "sky.art.png").unwrap();
    let missing = (240.0 + 360.0 * number(&sky["pan_rate"]) - 250.0).round();
    for command in ["plan", "check"] {
        let said = |sets: &[&str]| {
            let out = fogweft(&[&[command, scene.to_str().unwrap()], sets].concat());
            String::from_utf8(out.stdout).unwrap()
        };
        assert!(!said(&[]).contains("ends inside the view"), "{}", said(&[]));
        let right = said(&["--set", "slot.sky.x=-50"]);
        let line = format!(
            "sky: its picture ends inside the view: {missing:.0} px are missing on the right at camera place 360"
        );
        assert!(right.contains(&line), "{line}: {right}");
        let left = said(&["--set", "slot.sky.x=12"]);
        assert!(left.contains("12 px are missing on the left at camera place 0"), "{left}");
        let foot = said(&["--set", "slot.sky.y=-30"]);
        assert!(foot.contains("px are missing at the foot at camera place 0,200"), "{foot}");
        // The ridge repeats, and the hut is smaller than the view.
        let far = said(&["--set", "travel=[3600, 200]"]);
        assert!(!far.contains("ridge: its picture") && !far.contains("hut: its picture"), "{far}");
    }
}

#[test]
fn fog_without_bands_that_are_seen_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let scene = tall(folder.path());
    let said = |sets: &[&str]| {
        let out = fogweft(&[&["check", scene.to_str().unwrap()], sets].concat());
        String::from_utf8(out.stdout).unwrap()
    };
    let even = "its bands can't be seen";
    assert!(!said(&[]).contains("ridge: its fog is even"), "{}", said(&[]));
    assert!(said(&["--set", "air.visibility=200000", "--set", "air.clear=inf"]).contains(even));
}

//! What is drawn into fog is an input as any other, and what is wrong with it is told.

use super::util::Scene;
use std::fs;

/// A thick line across the view at some height.
fn line(y: u32) -> String {
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"48\" height=\"27\"><path d=\"M4 {y}H40\" stroke=\"#fff\" stroke-width=\"5\"/></svg>"
    )
}

/// The small scene, with strokes in the middle.
fn drawn() -> Scene {
    let scene = Scene::new();
    scene.write("mid.strokes.svg", &line(8));
    scene.edit("scene.toml", "smear.length = 22", "smear.length = 22\nstrokes = \"mid.strokes.svg\"");
    scene
}

#[test]
fn a_stroke_makes_its_sheet_anew_and_is_named() {
    let scene = drawn();
    scene.render(&["--depfile", "o.d"]).well();
    assert!(fs::read_to_string(scene.path("o.d")).expect("text").contains("\nmid.strokes.svg:\n"));
    let times = scene.times();
    scene.write("mid.strokes.svg", &line(12));
    let said = scene.render(&[]).well();
    assert!(said.out.contains("mid.fog.png: its strokes changed\n"), "{}", said.out);
    assert_eq!(scene.renewed(&times), ["manifest.json", "mid.fog.png", "still.png", "still.values.png"]);
    scene.like_a_clean_run("a stroke");
    scene.edit("scene.toml", "[[slot]]", "[mood.dusk.slot.mid]\nstrokes_weight = 0.5\n\n[[slot]]");
    scene.render(&["--mood", "dusk", "--out", "dusk"]).well();
    assert_ne!(fs::read(scene.path("dusk/mood-dusk/mid.fog.png")).expect("read"), scene.bytes("mid.fog.png"));
    let along =
        ["vary", "scene.toml", "mid", "--along", "strokes_weight=0.5..2", "--count", "2", "--tile", "160"];
    assert!(scene.run(&along).well().out.contains("2  strokes_weight 2"));
    // What was drawn somewhere stays there.
    let manifest = fs::read_to_string(scene.out("manifest.json")).expect("text");
    let manifest: serde_json::Value = serde_json::from_str(&manifest).expect("JSON");
    let drifts = manifest["files"].as_array().expect("files").iter().filter(|file| file["kind"] == "fog");
    let drifts: Vec<(&str, bool)> = drifts
        .map(|file| (file["slot"].as_str().expect("a name"), file["drift"].as_f64().expect("a number") > 0.0))
        .collect();
    assert_eq!(drifts, [("far", true), ("mid", false), ("near", true)]);
}

#[test]
fn strokes_that_cannot_be_used_are_told_by_name_line_and_remedy() {
    let scene = drawn();
    fs::remove_file(scene.path("mid.strokes.svg")).expect("gone");
    let said = scene.render(&[]);
    assert_eq!(said.code, 4, "{}", said.err);
    for part in ["mid.strokes.svg", "scene.toml:22", "strokes = "] {
        assert!(said.err.contains(part), "{part}: {}", said.err);
    }
    scene.write("mid.strokes.svg", "no picture");
    let said = scene.render(&[]);
    assert!(said.code == 4 && said.err.contains("mid.strokes.svg"), "{}", said.err);
    scene.write("mid.strokes.svg", &line(8));
    let said = scene.render(&["--set", "slot.mid.strokes_width=1e6"]);
    assert!(said.code == 6 && said.err.contains("the strokes of mid would be 1000000 x"), "{}", said.err);
    // A picture of strokes is never written over.
    let sheet = ["sheet", "--preset", "mist", "--size", "48x27", "--strokes", "mid.strokes.svg", "--out"];
    let said = scene.run(&[&sheet[..], &["mid.strokes.svg", "--replace"]].concat());
    assert!(said.code == 5, "{} {}", said.code, said.err);
    scene.run(&[&sheet[..], &["a.png"]].concat()).well();
    scene.run(&[&sheet[..5], &["--out", "b.png"]].concat()).well();
    assert_ne!(fs::read(scene.path("a.png")).expect("read"), fs::read(scene.path("b.png")).expect("read"));
}

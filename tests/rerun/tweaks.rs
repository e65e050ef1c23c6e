//! A rerun makes what changed and nothing else, and says why.

use super::util::{Scene, hill, same};
use std::fs;
use std::time::Duration;

#[test]
fn nothing_changed_writes_nothing() {
    let scene = Scene::new();
    scene.render(&[]).well();
    let (times, files) = (scene.times(), scene.files("scene-sheets"));
    for _ in 0..2 {
        let said = scene.render(&[]).well();
        assert!(said.out.contains("nothing changed"), "{}", said.out);
        assert_eq!(said.err, "");
    }
    assert_eq!(scene.renewed(&times), Vec::<String>::new());
    same(&scene.files("scene-sheets"), &files, "nothing changed");
    assert_eq!(files.len(), 9, "three sheets, three pictures, still, its values and manifest");
}

#[test]
fn one_number_makes_one_sheet_anew_and_is_named() {
    let scene = Scene::new();
    scene.render(&[]).well();
    let times = scene.times();
    scene.edit("scene.toml", "smear.length = 22", "smear.length = 26");
    let said = scene.render(&[]).well();
    assert!(said.out.contains("mid.fog.png: smear.length 22 -> 26\n"), "{}", said.out);
    assert!(said.out.contains("still.png: mid.fog.png changed\n"), "{}", said.out);
    assert!(said.out.contains("3 made, 5 unchanged"), "{}", said.out);
    assert_eq!(scene.renewed(&times), ["manifest.json", "mid.fog.png", "still.png", "still.values.png"]);
    scene.like_a_clean_run("one number");
    // The command line's layer counts like the file's.
    let said = scene.render(&["--set", "slot.mid.smear.length=30"]).well();
    assert!(said.out.contains("mid.fog.png: smear.length 26 -> 30\n"), "{}", said.out);
}

#[test]
fn a_changed_picture_makes_only_itself_anew() {
    let scene = Scene::new();
    scene.render(&[]).well();
    let times = scene.times();
    scene.write("mid.svg", &hill("#ff0000"));
    let said = scene.render(&[]).well();
    assert!(said.out.contains("mid.art.png: its picture changed\n"), "{}", said.out);
    assert_eq!(scene.renewed(&times), ["manifest.json", "mid.art.png", "still.png", "still.values.png"]);
    scene.like_a_clean_run("a picture");
}

#[test]
fn what_follows_from_a_neighbour_is_named_as_such() {
    let scene = Scene::new();
    scene.render(&[]).well();
    scene.edit("scene.toml", "depth = 200", "depth = 250");
    let said = scene.render(&[]).well();
    assert!(said.out.contains("mid.fog.png: slot.depth 200 -> 250\n"), "{}", said.out);
    assert!(said.out.contains("near.fog.png: gap 200 -> 250"), "{}", said.out);
    assert!(!said.out.contains("far.fog.png:"), "{}", said.out);
    scene.like_a_clean_run("a neighbour");
}

#[test]
fn where_a_picture_stands_changes_no_texel_of_it() {
    let scene = Scene::new();
    scene.render(&[]).well();
    let times = scene.times();
    scene.edit("scene.toml", "y = 12", "y = 11");
    scene.render(&[]).well();
    assert_eq!(scene.renewed(&times), ["manifest.json", "still.png", "still.values.png"]);
    scene.like_a_clean_run("a place");
    // What is no part of any picture changes none.
    let times = scene.times();
    scene.edit("scene.toml", "# a small scene", "name = \"another name\"");
    scene.render(&[]).well();
    assert_eq!(scene.renewed(&times), Vec::<String>::new());
}

#[test]
fn again_makes_all_anew() {
    let scene = Scene::new();
    scene.render(&[]).well();
    let (times, files) = (scene.times(), scene.files("scene-sheets"));
    std::thread::sleep(Duration::from_millis(20));
    let said = scene.render(&["--again"]).well();
    assert!(said.out.contains("far.fog.png: rebuilt\n"), "{}", said.out);
    assert_eq!(scene.renewed(&times).len(), 8, "all but the manifest, whose text is the same");
    same(&scene.files("scene-sheets"), &files, "made again");
}

#[test]
fn a_missing_output_comes_back() {
    let scene = Scene::new();
    scene.render(&[]).well();
    for name in ["far.art.png", "still.png", "manifest.json"] {
        fs::remove_file(scene.out(name)).expect("removed");
        let said = scene.render(&[]).well();
        assert!(name == "manifest.json" || said.out.contains(&format!("{name}: missing\n")), "{}", said.out);
        scene.like_a_clean_run(name);
    }
}

#[test]
fn bits_scale_and_camera_count() {
    let scene = Scene::new();
    scene.render(&[]).well();
    let said = scene.render(&["--at", "3"]).well();
    assert!(said.out.contains("still.png: at 12 -> 3\n"), "{}", said.out);
    assert!(said.out.contains("2 made, 6 unchanged"), "{}", said.out);
    let said = scene.render(&["--bits", "16"]).well();
    assert!(said.out.contains("far.fog.png: bits 8 -> 16\n"), "{}", said.out);
    let said = scene.render(&["--scale", "2"]).well();
    assert!(said.out.contains("far.fog.png: bits 16 -> 8, scale 1 -> 2\n"), "{}", said.out);
    scene.render(&["--scale", "1", "--scale", "2", "--out", "both"]).well();
    let said = scene.render(&["--scale", "1", "--scale", "2", "--out", "both"]).well();
    assert_eq!(said.out.matches("nothing changed").count(), 2, "{}", said.out);
}

#[test]
fn only_some_slots_leave_the_others_alone() {
    let scene = Scene::new();
    scene.render(&[]).well();
    let before = scene.files("scene-sheets");
    scene.edit("scene.toml", "visibility = 900", "visibility = 700");
    let said = scene.render(&["--only", "mid"]).well();
    assert!(said.out.contains("mid.fog.png: air.visibility 900 -> 700\n"), "{}", said.out);
    assert!(!said.out.contains("far.fog.png:"), "{}", said.out);
    assert_eq!(scene.bytes("far.fog.png"), before["far.fog.png"]);
    scene.render(&[]).well();
    scene.like_a_clean_run("after some only");
}

#[test]
fn without_its_record_a_run_goes_by_the_manifest() {
    let scene = Scene::new();
    scene.render(&[]).well();
    for damage in [None, Some("{\"version\": 1, \"files\": {\"../x\""), Some("\u{0}\u{0}")] {
        match damage {
            None => fs::remove_file(scene.out(".fogweft-run.json")).expect("removed"),
            Some(text) => fs::write(scene.out(".fogweft-run.json"), text).expect("written"),
        }
        let times = scene.times();
        let said = scene.render(&[]).well();
        assert!(said.out.contains("nothing changed"), "{}", said.out);
        assert_eq!(said.out.contains("note: "), damage.is_some(), "{}", said.out);
        assert_eq!(scene.renewed(&times), Vec::<String>::new());
    }
    fs::remove_file(scene.out(".fogweft-run.json")).expect("removed");
    scene.edit("scene.toml", "smear.length = 22", "smear.length = 26");
    let said = scene.render(&[]).well();
    assert!(said.out.contains("mid.fog.png: its inputs changed\n"), "{}", said.out);
    scene.like_a_clean_run("without a record");
}

#[test]
fn a_run_that_was_ended_half_way_is_taken_up() {
    let scene = Scene::new();
    scene.render(&[]).well();
    let state = || -> serde_json::Value {
        serde_json::from_slice(&scene.bytes(".fogweft-run.json")).expect("a record")
    };
    let (before, sheet) = (state(), scene.bytes("mid.fog.png"));
    scene.edit("scene.toml", "smear.length = 22", "smear.length = 26");
    scene.render(&[]).well();
    // As it stands after a crash between two outputs: the intent is on record, one file is old, the others are new.
    let mut half = before;
    half["pending"] = state()["files"].clone();
    fs::write(scene.out(".fogweft-run.json"), half.to_string()).expect("written");
    fs::write(scene.out("mid.fog.png"), sheet).expect("written");
    fs::write(scene.out(".fogweft-abc.part"), "half a picture").expect("written");
    let said = scene.render(&[]).well();
    assert!(!said.out.contains("edited"), "{}", said.out);
    assert!(said.out.contains("1 made, 7 unchanged"), "{}", said.out);
    assert!(!scene.out(".fogweft-abc.part").exists(), "drafts are swept up");
    scene.like_a_clean_run("after a crash");
}

#[test]
fn a_run_that_is_killed_leaves_nothing_that_isnt_ours() {
    let scene = Scene::new();
    scene.render(&[]).well();
    for wait in [0, 3, 6, 9, 12, 15, 20, 30] {
        scene.edit("scene.toml", "visibility = ", "visibility = 1");
        let mut child = scene.command(&["render", "scene.toml", "--again", "--quiet"]).spawn().expect("runs");
        std::thread::sleep(Duration::from_millis(wait));
        let _ = child.kill();
        child.wait().expect("ended");
        let said = scene.render(&[]).well();
        assert!(!said.out.contains("edited"), "{}", said.out);
        scene.like_a_clean_run("after a kill");
        scene.edit("scene.toml", "visibility = 1", "visibility = ");
    }
}

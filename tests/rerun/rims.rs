//! A rim is made of what stands behind its art; what does not lie there leaves it alone.

use super::util::{Scene, hill};
use std::fs;

fn scene() -> Scene {
    let scene = Scene::new();
    scene.edit("scene.toml", "separation = 0", "separation = 10");
    scene.render(&[]).well();
    scene
}

/// The rims that a rerun makes after an edit, as far as it is like a clean run.
fn made(scene: &Scene, from: &str, to: &str) -> (Vec<String>, String) {
    let times = scene.times();
    scene.edit("scene.toml", from, to);
    let said = scene.render(&[]).well();
    scene.like_a_clean_run(to);
    let rims = scene.renewed(&times).into_iter().filter(|name| name.ends_with(".rim.png"));
    (rims.collect(), said.out)
}

#[test]
fn an_edit_remakes_the_rims_that_it_lies_behind() {
    let scene = scene();
    for name in ["far", "mid", "near"] {
        assert!(scene.out(&format!("{name}.rim.png")).exists());
    }
    let edits: [(&str, &str, &[&str], &str); 8] = [
        ("smear.length = 22", "smear.length = 26", &["mid", "near"], "mid.rim.png: smear.length 22 -> 26"),
        (
            "smear.length = 26",
            "smear.length = 26\nseparation = 14",
            &["mid", "near"],
            "mid.rim.png: slot.separation 10 -> 14",
        ),
        ("repeat = true", "repeat = true\nsoften.sigma = 9", &["near"], "near.rim.png: soften.sigma "),
        ("y = 12", "y = 11", &["near"], "near.rim.png: near.art.png changed"),
        ("visibility = 900", "visibility = 800", &["mid", "near"], "mid.rim.png: mid.fog.png changed"),
        (
            "visibility = 800",
            "visibility = 800\nlight = 20",
            &["far", "mid", "near"],
            "mid.rim.png: air.light 135 -> 20",
        ),
        ("travel = 24", "travel = 30", &["far", "mid", "near"], "travel 24 -> 30"),
        ("seed = 3", "seed = 3\ncheck.below = 0.2", &[], "nothing changed"),
    ];
    for (from, to, rims, said) in edits {
        let (found, text) = made(&scene, from, to);
        let wanted: Vec<String> = rims.iter().map(|slot| format!("{slot}.rim.png")).collect();
        assert_eq!(found, wanted, "{to}\n{text}");
        assert!(text.contains(said), "{said}: {text}");
    }
    for (art, rims) in [("far", &["far", "mid", "near"][..]), ("mid", &["mid", "near"]), ("near", &["near"])]
    {
        let times = scene.times();
        scene.write(&format!("{art}.svg"), &hill("#5a4d3c"));
        scene.render(&[]).well();
        let found: Vec<String> =
            scene.renewed(&times).into_iter().filter(|name| name.ends_with(".rim.png")).collect();
        assert_eq!(found, rims.iter().map(|slot| format!("{slot}.rim.png")).collect::<Vec<_>>());
        scene.like_a_clean_run(art);
    }
    // Another camera place shows the same rims.
    let times = scene.times();
    scene.render(&["--at", "3"]).well();
    assert_eq!(scene.renewed(&times), ["manifest.json", "still.png", "still.values.png"]);
}

#[test]
fn treated_art_is_made_of_its_treatment() {
    let scene = scene();
    for (from, to, said) in [
        ("smear.length = 22", "smear.length = 22\ntint = 0.5", "mid.art.png: slot.tint default -> 0.5"),
        ("tint = 0.5", "tint = 0.5\nfade = \"foot\"", "mid.art.png: slot.fade "),
        ("seed = 3", "seed = 3\nfloor = 4", "far.art.png: floor 0 -> 4"),
    ] {
        let (_, text) = made(&scene, from, to);
        assert!(text.contains(said), "{said}: {text}");
    }
    let times = scene.times();
    scene.edit("scene.toml", "fade = \"foot\"", "fade = \"foot\"\nseparation = 3");
    scene.render(&[]).well();
    assert!(!scene.renewed(&times).iter().any(|name| name.ends_with(".art.png")));
}

#[test]
fn a_cached_rim_is_exactly_the_solved_one() {
    let scene = scene();
    let cached = || -> Vec<std::path::PathBuf> {
        let all =
            fs::read_dir(scene.out(".fogweft-cache")).expect("a cache").flatten().map(|entry| entry.path());
        all.filter(|path| path.extension().is_some_and(|ending| ending == "rim")).collect()
    };
    assert_eq!(cached().len(), 3);
    // The nearest is solved on the cached ones; there is room for more than a run uses.
    let room = ["--cache", "8"];
    scene.edit("scene.toml", "y = 12", "y = 11");
    scene.render(&room).well();
    scene.like_a_clean_run("cached");
    assert_eq!(cached().len(), 4, "the rim as it was is found again, should the edit be taken back");
    scene.edit("scene.toml", "y = 11", "y = 12");
    scene.render(&room).well();
    scene.like_a_clean_run("taken back");
    assert_eq!(cached().len(), 4);
    scene.edit("scene.toml", "y = 12", "y = 11");
    // Damaged, or gone: solved again.
    for path in cached() {
        let mut bytes = fs::read(&path).expect("read");
        let last = bytes.len() - 1;
        bytes[last] ^= 1;
        fs::write(path, bytes).expect("written");
    }
    scene.edit("scene.toml", "y = 11", "y = 10");
    scene.render(&[]).well();
    scene.like_a_clean_run("damaged");
    fs::remove_dir_all(scene.out(".fogweft-cache")).expect("removed");
    scene.edit("scene.toml", "y = 10", "y = 9");
    scene.render(&[]).well();
    scene.like_a_clean_run("gone");
}

#[test]
fn a_rim_stands_where_it_was_made_for() {
    let scene = scene();
    let rect = || -> serde_json::Value {
        let manifest: serde_json::Value =
            serde_json::from_slice(&scene.bytes("manifest.json")).expect("JSON");
        let files = manifest["files"].as_array().expect("files").clone();
        files.into_iter().find(|file| file["path"] == "mid.rim.png").expect("there")["rect"].clone()
    };
    let before = rect();
    // Without the hidden record the manifest tells.
    fs::remove_file(scene.out(".fogweft-run.json")).expect("removed");
    assert!(scene.render(&[]).well().out.contains("nothing changed"));
    assert_eq!(rect(), before);
    // Who painted on it keeps it, where it stood; the new one goes beside it.
    fs::write(scene.out("mid.rim.png"), "painted").expect("written");
    scene.edit("scene.toml", "smear.length = 22", "smear.length = 22\nseparation = 25");
    scene.render(&[]).well();
    assert_eq!(scene.bytes("mid.rim.png"), b"painted");
    assert!(scene.out("mid.rim.new.png").exists());
    assert_eq!(rect(), before);
}

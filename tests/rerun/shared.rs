//! Files that are the same in several moods: once on disk, named by each manifest, and nobody's loss.

use super::util::{Dice, Scene, TEXT, hill, same};
use serde_json::Value;
use std::collections::BTreeMap;
use std::fs;

/// Fog, light and places that differ in some moods: of the pictures, `near` is the same in dusk, `mid` in dusk and storm alone.
const MOODS: &str = "
[mood.dusk.air]
visibility = 500
[mood.dusk.slot.mid]
flip = true
[mood.storm.air]
visibility = 150
[mood.storm.slot.mid]
flip = true
[mood.storm.slot.near]
flip = true
";
const FOLDERS: [(&str, &str); 3] =
    [("", "scene-sheets"), ("dusk", "scene-sheets/mood-dusk"), ("storm", "scene-sheets/mood-storm")];

fn scene() -> Scene {
    let scene = Scene::new();
    scene.write("scene.toml", &(TEXT.to_owned() + MOODS));
    scene
}

/// What the manifest of a folder names, by the names that the files have without the way to them.
fn named(scene: &Scene, folder: &str) -> BTreeMap<String, Vec<u8>> {
    let file = |path: String| {
        let bytes =
            fs::read(scene.path(folder).join(&path)).unwrap_or_else(|error| panic!("{path}: {error}"));
        (path.rsplit('/').next().expect("a name").to_owned(), bytes)
    };
    paths(scene, folder).into_iter().map(file).collect()
}

fn paths(scene: &Scene, folder: &str) -> Vec<String> {
    let text = fs::read(scene.path(folder).join("manifest.json")).expect("a manifest");
    let manifest: Value = serde_json::from_slice(&text).expect("JSON");
    let files = manifest["files"].as_array().expect("files").iter();
    files
        .flat_map(|entry| [entry].into_iter().chain(entry["frames"].as_array().into_iter().flatten()))
        .map(|file| file["path"].as_str().expect("a path").to_owned())
        .collect()
}

/// The whole tree of a run of all moods into an empty folder.
fn clean(scene: &Scene) -> BTreeMap<String, Vec<u8>> {
    let _ = fs::remove_dir_all(scene.path("clean"));
    scene.render(&["--all-moods", "--out", "clean", "--quiet"]).well();
    scene.files("clean")
}

/// Says for dusk alone whether the near picture is mirrored.
fn flip_at_dusk(scene: &Scene, flip: bool) {
    let mid = "[mood.dusk.slot.mid]";
    scene.edit("scene.toml", mid, &format!("[mood.dusk.slot.near]\nflip = {flip}\n{mid}"));
}

#[test]
fn a_file_that_moods_have_in_common_is_on_disk_once() {
    let scene = scene();
    let said = scene.render(&["--all-moods"]).well();
    assert_eq!(said.out.matches(" of other moods, in ").count(), 2, "{}", said.out);
    let files = scene.files("scene-sheets");
    for (path, there) in [
        ("near.art.png", true),
        ("mood-dusk/near.art.png", false),
        ("mood-storm/near.art.png", true),
        ("far.art.png", true),
        ("mood-storm/far.art.png", false),
        ("mood-dusk/mid.art.png", true),
        ("mood-storm/mid.art.png", false),
    ] {
        assert_eq!(files.contains_key(path), there, "{path} of {:?}", files.keys());
    }
    let storm = paths(&scene, "scene-sheets/mood-storm");
    for path in ["../far.art.png", "../mood-dusk/mid.art.png", "near.art.png"] {
        assert!(storm.iter().any(|named| named == path), "{path} of {storm:?}");
    }
    // Bytes by manifest, and the still, are those of each mood on its own.
    for (mood, folder) in FOLDERS {
        if !mood.is_empty() {
            scene.render(&["--mood", mood, "--out", "alone", "--quiet"]).well();
            let alone = format!("alone/mood-{mood}");
            same(&named(&scene, folder), &named(&scene, &alone), mood);
            let still = |folder: &str| fs::read(scene.path(folder).join("still.png")).expect("a still");
            assert!(still(folder) == still(&alone), "{mood}");
            fs::remove_dir_all(scene.path("alone")).expect("removed");
        }
    }
    let said = scene.render(&["--all-moods"]).well();
    assert_eq!(said.out.matches("nothing changed").count(), 3, "{}", said.out);
    let said = scene.render(&["--all-moods", "--again"]).well();
    assert!(!said.out.contains("deleted"), "{}", said.out);
    same(&scene.files("scene-sheets"), &files, "all again");
}

#[test]
fn frames_and_scales_are_shared_like_all_else() {
    let scene = scene();
    scene.edit("scene.toml", "[mood.dusk.air]\nvisibility = 500\n", "");
    scene.render(&["--all-moods", "--scale", "1", "--scale", "0.5", "--frames", "2", "--quiet"]).well();
    let dusk = paths(&scene, "scene-sheets/mood-dusk/scale-0.5");
    let frame = "../../scale-0.5/near.fog.f001.png";
    assert!(dusk.iter().any(|path| path == frame), "{dusk:?}");
    assert!(!named(&scene, "scene-sheets/mood-dusk/scale-0.5").is_empty());
    let said = scene.render(&["--all-moods", "--scale", "1", "--scale", "0.5", "--frames", "2"]).well();
    assert_eq!(said.out.matches("nothing changed").count(), 6, "{}", said.out);
}

#[test]
fn moods_come_in_any_order_and_one_by_one() {
    let scene = scene();
    scene.render(&["--mood", "storm", "--quiet"]).well();
    assert!(paths(&scene, "scene-sheets/mood-storm").iter().all(|path| !path.starts_with("..")));
    scene.render(&["--mood", "dusk", "--quiet"]).well();
    scene.render(&["--quiet"]).well();
    assert!(scene.path("scene-sheets/mood-dusk/near.art.png").exists());
    let said = scene.render(&["--mood", "dusk"]).well();
    assert!(said.out.contains("deleted\n") && said.out.contains(" of other moods, in "), "{}", said.out);
    assert!(!scene.path("scene-sheets/mood-dusk/near.art.png").exists());
    let said = scene.render(&["--only", "near", "--mood", "storm"]).well();
    assert!(!said.out.contains("edited"), "{}", said.out);
    assert!(!named(&scene, "scene-sheets/mood-storm").is_empty());
    scene.render(&["--all-moods", "--quiet"]).well();
    let found = scene.files("scene-sheets");
    same(&found, &clean(&scene), "one by one");
}

#[test]
fn what_changes_in_one_mood_stays_in_the_others() {
    let scene = scene();
    flip_at_dusk(&scene, false);
    scene.render(&["--all-moods", "--quiet"]).well();
    let (dusk, storm) = (named(&scene, FOLDERS[1].1), named(&scene, FOLDERS[2].1));
    // The scene's own picture is another now, dusk's isn't.
    scene.edit("scene.toml", "repeat = true", "repeat = true\nflip = true");
    scene.render(&["--quiet"]).well();
    same(&named(&scene, FOLDERS[1].1), &dusk, "dusk");
    assert!(scene.path("scene-sheets/mood-dusk/near.art.png").exists());
    let said = scene.render(&["--mood", "dusk"]).well();
    assert!(said.out.contains("nothing changed"), "{}", said.out);
    // Storm's is the scene's from now on; what dusk lent it, it keeps when dusk's changes.
    scene.edit(
        "scene.toml",
        "visibility = 500\n[mood.dusk.slot.near]",
        "visibility = 400\n[mood.dusk.slot.far]\nflip = true\n[mood.dusk.slot.near]",
    );
    scene.edit("scene.toml", "[mood.dusk.slot.mid]\nflip = true", "[mood.dusk.slot.mid]\nflip = false");
    scene.render(&["--mood", "dusk", "--quiet"]).well();
    same(&named(&scene, FOLDERS[2].1), &storm, "storm");
    scene.render(&["--all-moods", "--quiet"]).well();
    assert!(paths(&scene, FOLDERS[2].1).contains(&"../near.art.png".to_owned()));
    let found = scene.files("scene-sheets");
    same(&found, &clean(&scene), "other files are shared");
}

#[test]
fn a_mood_that_the_scene_has_no_more_keeps_its_files() {
    let scene = scene();
    scene.render(&["--all-moods", "--quiet"]).well();
    let before = FOLDERS.map(|(_, folder)| named(&scene, folder));
    scene.write("scene.toml", TEXT);
    scene.write("near.svg", &hill("#882222"));
    scene.write("far.svg", &hill("#228822"));
    scene.edit(
        "scene.toml",
        "[[slot]]\nname = \"mid\"          # between\ndepth = 200\nart = \"mid.svg\"\nsmear.length = 22\n",
        "",
    );
    scene.render(&["--prune", "--quiet"]).well();
    for ((_, folder), before) in FOLDERS.iter().zip(&before).skip(1) {
        same(&named(&scene, folder), before, folder);
    }
    // Whoever deletes a mood's folder takes what is that mood's, and no more.
    fs::remove_dir_all(scene.path(FOLDERS[2].1)).expect("removed");
    let said = scene.render(&[]).well();
    assert!(said.out.contains("nothing changed"), "{}", said.out);
    scene.run(&["clean", "scene.toml"]).well();
    same(&named(&scene, FOLDERS[1].1), &before[1], "caches hold no outputs");
}

/// Turns a picture upside down, as an editor might.
fn paint(scene: &Scene, name: &str) -> Vec<u8> {
    let file = scene.out(name);
    image::open(&file).expect("a picture").rotate180().save(&file).expect("saved");
    fs::read(&file).expect("there")
}

#[test]
fn what_somebody_paints_on_shows_in_every_mood_that_has_it() {
    let scene = scene();
    scene.render(&["--all-moods", "--quiet"]).well();
    let before = scene.files("scene-sheets");
    let painted = paint(&scene, "near.art.png");
    let said = scene.render(&["--all-moods"]).well();
    assert!(said.out.contains("\nnear.art.png: edited since the last run, kept and shown\n"), "{}", said.out);
    assert!(
        said.out.contains("../near.art.png: edited since the last run, kept and shown\n"),
        "{}",
        said.out
    );
    let after = scene.files("scene-sheets");
    for (path, changes) in
        [("still.png", true), ("mood-dusk/still.png", true), ("mood-storm/still.png", false)]
    {
        assert_eq!(before[path] != after[path], changes, "{path}");
    }
    assert!(after["near.art.png"] == painted && !after.contains_key("mood-dusk/near.art.png"));
    let said = scene.render(&["--all-moods"]).well();
    assert_eq!(said.out.matches("nothing changed").count(), 3, "{}", said.out);
    // The picture changes: what was painted stays, its new version beside it, in both moods.
    scene.write("near.svg", &hill("#882222"));
    let said = scene.render(&["--all-moods"]).well();
    assert!(said.out.contains("the new version is near.art.new.png"), "{}", said.out);
    assert!(said.out.contains("; ../near.art.new.png is up to date, kept and shown"), "{}", said.out);
    assert_eq!(scene.bytes("near.art.png"), painted);
    // One mood parts from it, and the painting stays.
    flip_at_dusk(&scene, true);
    scene.render(&["--mood", "dusk", "--quiet"]).well();
    assert!(scene.path("scene-sheets/mood-dusk/near.art.png").exists());
    assert_eq!(scene.bytes("near.art.png"), painted);
    // Who has it overwritten, has it so in all.
    scene.render(&["--all-moods", "--replace", "--quiet"]).well();
    scene.render(&["--all-moods", "--prune", "--quiet"]).well();
    let found = scene.files("scene-sheets");
    same(&found, &clean(&scene), "replaced");
}

#[test]
fn a_painting_goes_along_with_a_mood_whose_file_it_is_no_more() {
    let scene = scene();
    flip_at_dusk(&scene, false);
    scene.render(&["--all-moods", "--quiet"]).well();
    let painted = paint(&scene, "near.art.png");
    scene.edit("scene.toml", "repeat = true", "repeat = true\nflip = true");
    scene.render(&["--replace", "--quiet"]).well();
    assert_ne!(scene.bytes("near.art.png"), painted);
    assert_eq!(scene.bytes("mood-dusk/near.art.png"), painted);
    let said = scene.render(&["--mood", "dusk"]).well();
    assert!(said.out.contains("near.art.png: edited since the last run, kept and shown"), "{}", said.out);
}

#[test]
fn what_stands_in_the_way_is_neither_replaced_nor_followed() {
    let scene = scene();
    scene.render(&["--all-moods", "--quiet"]).well();
    let before = named(&scene, FOLDERS[1].1);
    scene.write("scene-sheets/mood-dusk/near.art.png", "somebody's own");
    let said = scene.render(&["--mood", "dusk"]).well();
    assert!(said.out.contains("nothing changed"), "{}", said.out);
    scene.write("near.svg", &hill("#882222"));
    let said = scene.render(&[]);
    assert_eq!(said.code, 5, "{}", said.err);
    let err = said.err.replace('\\', "/");
    assert!(err.contains("mood-dusk/near.art.png") && err.contains("Move it away"), "{err}");
    same(&named(&scene, FOLDERS[1].1), &before, "nothing was written");
    fs::remove_file(scene.path("scene-sheets/mood-dusk/near.art.png")).expect("removed");
    scene.render(&["--all-moods", "--quiet"]).well();
    // A manifest that climbs elsewhere isn't believed.
    let file = scene.path("scene-sheets/mood-dusk/manifest.json");
    let text = fs::read_to_string(&file).expect("text");
    fs::write(&file, text.replacen("\"../near.art.png\"", "\"../../near.svg\"", 1)).expect("written");
    scene.render(&["--mood", "dusk", "--only", "far", "--prune", "--quiet"]).well();
    let fresh = fs::read_to_string(file.with_file_name("manifest.new.json")).expect("beside the edited one");
    assert!(fresh.contains("far.art.png") && !fresh.contains(".svg\", \"order"), "{fresh}");
    assert!(scene.path("near.svg").exists());
}

/// After each run of one mood, what the others' manifests name is what it was; in the end all is as a clean run has it.
#[test]
fn random_edits_of_moods_leave_what_clean_runs_make() {
    let sequences = if std::env::var_os("FOGWEFT_THOROUGH").is_some() { 40 } else { 6 };
    for sequence in 0..sequences {
        let (scene, mut dice, mut told) = (Scene::new(), Dice(700 + sequence), String::new());
        let mut held: BTreeMap<usize, BTreeMap<String, Vec<u8>>> = BTreeMap::new();
        for _ in 0..8 {
            let mut text = TEXT.to_owned();
            for mood in ["dusk", "storm"] {
                text += &format!("[mood.{mood}.air]\nvisibility = {}\n", 300 + 200 * dice.roll(3));
                for slot in ["far", "mid", "near"] {
                    text += &format!("[mood.{mood}.slot.{slot}]\nflip = {}\n", dice.roll(2) == 0);
                }
            }
            if dice.roll(3) == 0 {
                scene.write("near.svg", &hill(&format!("#2233{:02x}", dice.roll(200))));
            }
            scene.write("scene.toml", &text);
            let which = dice.roll(3);
            let (mood, folder) = FOLDERS[which];
            told += &format!("{mood}\n{text}");
            let mut args = vec!["--quiet"];
            args.extend((!mood.is_empty()).then_some(["--mood", mood]).into_iter().flatten());
            args.extend((dice.roll(4) == 0).then_some("--again"));
            scene.render(&args).well();
            held.insert(which, named(&scene, folder));
            for (which, held) in &held {
                let why = format!("sequence {sequence}, {}\n{told}", FOLDERS[*which].1);
                same(&named(&scene, FOLDERS[*which].1), held, &why);
            }
        }
        let said = scene.render(&["--all-moods", "--prune"]).well();
        assert!(!said.out.contains("edited"), "sequence {sequence}: {}\n{told}", said.out);
        let found = scene.files("scene-sheets");
        same(&found, &clean(&scene), &format!("sequence {sequence}\n{told}"));
    }
}

/// Runs of several moods at once wait for each other only while they write.
#[test]
fn moods_may_be_rendered_at_the_same_time() {
    let scene = scene();
    for round in 0..6 {
        scene.write("near.svg", &hill(&format!("#2233{:02x}", 40 * round)));
        let spawn = |more: &[&str]| {
            let mut command = scene.command(&[&["render", "scene.toml", "--quiet"], more].concat());
            command.stdout(std::process::Stdio::piped()).stderr(std::process::Stdio::piped());
            command.spawn().expect("runs")
        };
        let all = [spawn(&[]), spawn(&["--mood", "dusk"]), spawn(&["--mood", "storm"])];
        for child in all {
            let done = child.wait_with_output().expect("ended");
            assert!(done.status.success(), "round {round}: {}", String::from_utf8_lossy(&done.stderr));
        }
        let found = FOLDERS.map(|(_, folder)| named(&scene, folder));
        let _ = clean(&scene);
        for ((_, folder), found) in FOLDERS.iter().zip(found) {
            same(&found, &named(&scene, &folder.replace("scene-sheets", "clean")), folder);
        }
    }
}

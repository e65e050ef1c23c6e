//! A scene with moods that have files in common, killed at any moment: what each manifest names is whole, and of its own time.

use super::util::{Dice, Scene, TEXT, count};
use std::collections::BTreeMap;
use std::fs;
use std::time::{Duration, Instant};

/// The same picture in dusk whatever the scene's own is, and the scene's own in storm.
const MOODS: &str = "
[mood.dusk.slot.near]
flip = false
[mood.storm.air]
visibility = 300
";
const FOLDERS: [&str; 3] = ["o", "o/mood-dusk", "o/mood-storm"];

fn text(flip: bool) -> String {
    TEXT.replace("repeat = true", &format!("repeat = true\nflip = {flip}")) + MOODS
}

/// What a folder's manifest names, by the names of the files, and the hashes that it says they have.
fn named(scene: &Scene, folder: &str) -> BTreeMap<String, (Vec<u8>, String)> {
    let text = fs::read(scene.path(folder).join("manifest.json")).expect("a manifest");
    let manifest: serde_json::Value = serde_json::from_slice(&text).expect("whole");
    let files = manifest["files"].as_array().expect("files");
    let one = |file: &serde_json::Value| {
        let path = file["path"].as_str().expect("a path");
        let bytes = fs::read(scene.path(folder).join(path)).unwrap_or_else(|error| panic!("{path}: {error}"));
        let name = path.rsplit('/').next().expect("a name").to_owned();
        (name, (bytes, file["hash"].as_str().expect("a hash").to_owned()))
    };
    files.iter().map(one).collect()
}

/// Starts a run, and kills it at some moment, most often while it writes.
fn killed(scene: &Scene, args: &[&str], whole: Duration, dice: &mut Dice) {
    let record = || fs::read(scene.path("o/.fogweft-run.json")).ok();
    let before = record();
    let mut child = scene.command(args).spawn().expect("runs");
    let start = Instant::now();
    if dice.roll(3) == 0 {
        std::thread::sleep(whole.mul_f64(dice.roll(1100) as f64 / 1000.0));
    } else {
        while record() == before && start.elapsed() < 3 * whole {
            std::thread::yield_now();
        }
        std::thread::sleep(Duration::from_micros(dice.roll(30_000) as u64));
    }
    let _ = child.kill();
    let _ = child.wait();
}

#[test]
fn killed_at_any_moment_a_run_leaves_other_moods_their_files() {
    const ALL: [&str; 6] = ["render", "scene.toml", "--out", "o", "--all-moods", "--quiet"];
    let (scene, mut dice) = (Scene::new(), Dice(25));
    scene.write("scene.toml", text(false));
    scene.well(&ALL);
    let dusk = named(&scene, FOLDERS[1]);
    let start = Instant::now();
    scene.write("scene.toml", text(true));
    scene.well(&ALL[..4]);
    let whole = start.elapsed();
    let mut given = 0;
    for kill in 0..count("FOGWEFT_KILLS", 12, 300) {
        let flip = kill % 2 == 0;
        scene.write("scene.toml", text(flip));
        let storm = named(&scene, FOLDERS[2]);
        // The scene alone: no other mood's files may change.
        killed(&scene, &["render", "scene.toml", "--out", "o", "--quiet"], whole, &mut dice);
        assert!(named(&scene, FOLDERS[1]) == dusk, "kill {kill}: dusk has other files");
        assert!(named(&scene, FOLDERS[2]) == storm, "kill {kill}: storm has other files");
        given += u64::from(scene.path("o/mood-dusk/near.art.png").exists());
        // All of them: what isn't the mood's that was at work is of its own time.
        killed(&scene, &ALL, whole, &mut dice);
        let torn = |folder: &&&str| {
            named(&scene, folder).values().any(|(bytes, hash)| blake3::hash(bytes).to_hex().as_str() != hash)
        };
        let torn: Vec<&&str> = FOLDERS.iter().filter(torn).collect();
        assert!(torn.len() <= 1, "kill {kill}: {torn:?} are of two times");
        let said = scene.well(&ALL[..5]);
        assert!(!said.contains("edited"), "kill {kill}: {said}");
        let found = FOLDERS.map(|folder| named(&scene, folder));
        let clean = Scene::new();
        clean.write("scene.toml", text(flip));
        clean.well(&ALL);
        assert!(found == FOLDERS.map(|folder| named(&clean, folder)), "kill {kill}");
        let litter = |folder: &&str| {
            let there = fs::read_dir(scene.path(folder)).expect("read").flatten();
            there.map(|entry| entry.file_name()).filter(|name| name.to_string_lossy().contains("tmp")).count()
        };
        assert_eq!(FOLDERS.iter().map(litter).sum::<usize>(), 0, "kill {kill}");
        let own: Vec<bool> = ["near.art.png", "mood-dusk/near.art.png", "mood-storm/near.art.png"]
            .map(|name| scene.path("o").join(name).exists())
            .to_vec();
        assert_eq!(own, [true, flip, false], "kill {kill}");
    }
    println!("{given} times dusk had a copy of its own after a run of the scene alone");
}

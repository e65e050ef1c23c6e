//! The real binary, each test in a directory of its own: what the commands promise.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::{Command, Output};

const SCENE: &str = r##"
view = [320, 180]
travel = 400
seed = 3
[air]
haze = "#d9d0b8"
visibility = 900
[[slot]]
name = "ridge"
depth = 800
[[slot]]
name = "pines"
depth = 200
art = "post.svg"
x = 40
[[slot]]
name = "reeds"
depth = 0
smear.length = 60
"##;

const POST: &str = r##"<svg xmlns="http://www.w3.org/2000/svg" width="60" height="90" viewBox="0 0 60 90">
<path fill="#4a4456" d="M20 90L24 8L36 0L40 90Z"/></svg>"##;

fn fogweft(folder: &Path, args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_fogweft"))
        .current_dir(folder)
        .args(args)
        .output()
        .expect("the binary runs")
}

fn done(folder: &Path, args: &[&str]) -> String {
    let output = fogweft(folder, args);
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    assert!(output.status.success(), "{args:?}: {}", text(&output.stderr));
    text(&output.stdout)
}

/// Exit code and what was said of the fault.
fn fails(folder: &Path, args: &[&str]) -> (i32, String) {
    let output = fogweft(folder, args);
    let text = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(!text.contains("panicked"), "{text}");
    (output.status.code().unwrap_or(-1), text)
}

fn scene_in(folder: &Path, text: &str) {
    fs::write(folder.join("scene.toml"), text).expect("a scene");
    fs::write(folder.join("post.svg"), POST).expect("a picture");
}

fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a directory");
    scene_in(folder.path(), SCENE);
    folder
}

fn hashes(folder: &Path) -> BTreeMap<String, String> {
    fs::read_dir(folder)
        .expect("a folder")
        .flatten()
        .filter(|entry| entry.path().is_file())
        .map(|entry| {
            let bytes = fs::read(entry.path()).expect("a file");
            (entry.file_name().to_string_lossy().into_owned(), blake3::hash(&bytes).to_hex().to_string())
        })
        .collect()
}

#[test]
fn demo_runs_twice_and_refuses_what_is_not_its_own() {
    let folder = tempfile::tempdir().expect("a directory");
    let said = done(folder.path(), &["demo"]);
    assert!(said.contains("far-dunes.fog.png") && said.contains("still.png"), "{said}");
    let out = folder.path().join("fogweft-demo/scene-sheets");
    let first = hashes(&out);
    assert!(first.len() >= 17, "{first:?}");
    done(folder.path(), &["demo"]);
    assert_eq!(first, hashes(&out));

    // Somebody's edit of the scene, then somebody's file: refused, nothing touched.
    let scene = folder.path().join("fogweft-demo/scene.toml");
    let mine = fs::read_to_string(&scene).expect("the scene") + "# mine\n";
    fs::write(&scene, &mine).expect("an edit");
    let (code, said) = fails(folder.path(), &["demo"]);
    assert_eq!(code, 5, "{said}");
    assert_eq!(fs::read_to_string(&scene).expect("the scene"), mine);
    let other = folder.path().join("other");
    fs::create_dir(&other).expect("a directory");
    fs::write(other.join("notes.txt"), "mine").expect("a file");
    let (code, said) = fails(folder.path(), &["demo", "other"]);
    assert!(code == 5 && said.contains("notes.txt"), "{said}");
    assert_eq!(fs::read_dir(&other).expect("the directory").count(), 1);
}

#[test]
fn render_writes_every_sheet_art_manifest_and_still() {
    let folder = folder();
    let art = fs::read(folder.path().join("post.svg")).expect("the art");
    done(folder.path(), &["render", "scene.toml", "--out", "out"]);
    let names: Vec<String> = hashes(&folder.path().join("out")).into_keys().collect();
    let wanted =
        ["manifest.json", "pines.art.png", "pines.fog.png", "reeds.fog.png", "ridge.fog.png", "still.png"];
    assert_eq!(names, wanted);
    assert_eq!(
        fs::read(folder.path().join("post.svg")).expect("the art"),
        art,
        "the source is never touched"
    );

    let text = fs::read_to_string(folder.path().join("out/manifest.json")).expect("a manifest");
    let manifest: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    assert_eq!(manifest["version"], 1);
    assert_eq!(manifest["view"], serde_json::json!([320.0, 180.0]));
    assert_eq!(manifest["blending"], "encoded");
    let files = manifest["files"].as_array().expect("a list");
    for (order, file) in files.iter().enumerate() {
        assert_eq!(file["order"], order);
        let path = folder.path().join("out").join(file["path"].as_str().expect("a path"));
        let size = image::image_dimensions(&path).expect("a picture");
        assert_eq!(file["texels"], serde_json::json!([size.0, size.1]));
    }
    // Far to near: depths never rise.
    let depths: Vec<f64> = files.iter().map(|file| file["depth"].as_f64().expect("a number")).collect();
    assert!(depths.windows(2).all(|pair| pair[0] >= pair[1]), "{depths:?}");
}

#[test]
fn several_scales_go_into_folders_of_their_own() {
    let folder = folder();
    done(folder.path(), &["render", "scene.toml", "--out", "out", "--scale", "0.5", "--scale", "1"]);
    let size = |name: &str| image::image_dimensions(folder.path().join("out").join(name)).expect("a still");
    assert_eq!(size("scale-0.5/still.png"), (160, 90));
    assert_eq!(size("scale-1/still.png"), (320, 180));
}

#[test]
fn only_a_slot_gives_the_same_bytes_as_the_whole() {
    let folder = folder();
    done(folder.path(), &["render", "scene.toml", "--out", "whole"]);
    done(folder.path(), &["render", "scene.toml", "--out", "part", "--only", "pines"]);
    let (whole, mut part) = (hashes(&folder.path().join("whole")), hashes(&folder.path().join("part")));
    part.remove("manifest.json");
    assert_eq!(part.len(), 3, "{part:?}");
    for (name, hash) in &part {
        assert_eq!(whole.get(name), Some(hash), "{name}");
    }
    let (code, said) = fails(folder.path(), &["render", "scene.toml", "--only", "pine"]);
    assert!(code == 2 && said.contains("pines"), "{said}");
}

#[test]
fn order_of_slots_threads_and_directory_change_no_byte() {
    let folder = folder();
    done(folder.path(), &["render", "scene.toml", "--out", "one"]);
    let one = hashes(&folder.path().join("one"));
    let mut parts: Vec<&str> = SCENE.split("[[slot]]").collect();
    parts[1..].reverse();
    scene_in(folder.path(), &parts.join("[[slot]]"));
    done(folder.path(), &["render", "scene.toml", "--out", "shuffled"]);
    assert_eq!(one, hashes(&folder.path().join("shuffled")));
    scene_in(folder.path(), SCENE);
    for threads in ["1", "2", "8"] {
        let out = folder.path().join(threads);
        let status = Command::new(env!("CARGO_BIN_EXE_fogweft"))
            .current_dir("/")
            .env("RAYON_NUM_THREADS", threads)
            .arg("render")
            .arg(folder.path().join("scene.toml"))
            .arg("--out")
            .arg(&out)
            .output()
            .expect("the binary runs");
        assert!(status.status.success());
        assert_eq!(one, hashes(&out), "{threads} threads");
    }
}

#[test]
fn a_tweak_changes_what_it_should_and_nothing_else() {
    let folder = folder();
    done(folder.path(), &["render", "scene.toml", "--out", "before"]);
    done(folder.path(), &["render", "scene.toml", "--out", "after", "--set", "slot.reeds.smear.length=90"]);
    let (before, after) = (hashes(&folder.path().join("before")), hashes(&folder.path().join("after")));
    let changed: Vec<&String> = before.keys().filter(|name| before[*name] != after[*name]).collect();
    assert_eq!(changed, ["manifest.json", "reeds.fog.png", "still.png"]);
    // Twice into one folder: a rerun replaces its own files.
    done(folder.path(), &["render", "scene.toml", "--out", "before", "--set", "slot.reeds.smear.length=90"]);
    assert_eq!(hashes(&folder.path().join("before")), after);
}

#[test]
fn a_file_of_somebody_else_is_never_overwritten() {
    let folder = folder();
    fs::create_dir(folder.path().join("out")).expect("a directory");
    fs::write(folder.path().join("out/reeds.fog.png"), "painted by hand").expect("a file");
    let (code, said) = fails(folder.path(), &["render", "scene.toml", "--out", "out"]);
    assert!(code == 5 && said.contains("reeds.fog.png"), "{said}");
    assert_eq!(fs::read_to_string(folder.path().join("out/reeds.fog.png")).expect("it"), "painted by hand");
}

#[test]
fn sixteen_bits_and_another_camera_place() {
    let folder = folder();
    done(folder.path(), &["render", "scene.toml", "--out", "deep", "--bits", "16", "--at", "0"]);
    let sheet = image::open(folder.path().join("deep/reeds.fog.png")).expect("a sheet");
    assert_eq!(sheet.color(), image::ColorType::Rgba16);
    done(folder.path(), &["render", "scene.toml", "--out", "deep2", "--bits", "16"]);
    let (start, middle) = (hashes(&folder.path().join("deep")), hashes(&folder.path().join("deep2")));
    assert_ne!(start["still.png"], middle["still.png"]);
    assert_eq!(start["reeds.fog.png"], middle["reeds.fog.png"]);
}

#[test]
fn the_plan_says_what_is_made_without_making_it() {
    let folder = folder();
    let text = done(folder.path(), &["plan", "scene.toml", "--json"]);
    let plan: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    let pines = plan["files"].as_array().expect("a list").iter().find(|file| file["path"] == "pines.fog.png");
    let pines = pines.expect("the sheet is planned");
    // The law: optical depth = ln 20 / visibility * distance to the next farther slot (CIE e-ILV 17-31-018; Koschmieder 1924).
    let wanted = 2.995_732_273_553_991 / 900.0 * 600.0;
    assert!((pines["optical_depth"].as_f64().expect("a number") - wanted).abs() < 1e-12);
    assert!(!folder.path().join("scene-sheets").exists());
    assert!(done(folder.path(), &["plan", "scene.toml"]).contains("optical depth"));
}

#[test]
fn a_new_scene_renders_as_it_is() {
    let folder = tempfile::tempdir().expect("a directory");
    done(folder.path(), &["new", "level", "--preset", "sea-fret"]);
    let text = fs::read_to_string(folder.path().join("level/scene.toml")).expect("a scene");
    assert!(text.contains("preset = \"sea-fret\""));
    done(folder.path(), &["render", "level/scene.toml", "--scale", "0.25"]);
    assert!(folder.path().join("level/scene-sheets/still.png").is_file());
    let (code, _) = fails(folder.path(), &["new", "level"]);
    assert_eq!(code, 5);
    assert_eq!(fs::read_to_string(folder.path().join("level/scene.toml")).expect("a scene"), text);
}

#[test]
fn a_sheet_alone_repeats_after_its_period() {
    let folder = tempfile::tempdir().expect("a directory");
    let args = ["sheet", "--preset", "low-stratus", "--size", "300x100", "--period", "120", "--out", "s.png"];
    done(folder.path(), &[&args[..], &["--haze", "#c8ccd2", "--thickness", "1.5", "--seed", "9"]].concat());
    let sheet = image::open(folder.path().join("s.png")).expect("a sheet").to_rgba8();
    assert_eq!(sheet.dimensions(), (300, 100));
    // The period is a multiple of the dither's 8 texels, so the codes repeat exactly.
    for (x, y, texel) in sheet.enumerate_pixels().filter(|(x, ..)| *x < 180) {
        assert_eq!(texel, sheet.get_pixel(x + 120, y), "{x} {y}");
    }
    let alphas: Vec<u8> = sheet.pixels().map(|texel| texel[3]).collect();
    let (most, least) = (alphas.iter().max().expect("texels"), alphas.iter().min().expect("texels"));
    assert!(*most > 120 && most - least > 10, "opacities from {least} to {most}");
}

#[test]
fn the_shelf_is_long_and_shows_its_numbers() {
    let folder = tempfile::tempdir().expect("a directory");
    let shelf = done(folder.path(), &["presets"]);
    assert!(shelf.lines().count() > 10, "{shelf}");
    assert!(shelf.contains(" sky ") && shelf.contains(" ground "), "{shelf}");
    assert!(done(folder.path(), &["presets", "show", "steam-fog"]).contains("[falloff]"));
    let (code, said) = fails(folder.path(), &["presets", "show", "steam-fg"]);
    assert!(code == 2 && said.contains("steam-fog"), "{said}");
}

#[test]
fn each_fault_has_its_exit_code() {
    let folder = folder();
    let path = folder.path();
    assert_eq!(fails(path, &["render"]).0, 2);
    assert_eq!(fails(path, &["render", "scene.toml", "--set", "air.visibilty=3"]).0, 2);
    fs::write(path.join("bad.toml"), "view = [0, 0]\ntravle = 3\n").expect("a scene");
    let (code, said) = fails(path, &["render", "bad.toml"]);
    assert!(code == 3 && said.contains("travel") && said.contains("bad.toml:1"), "{said}");
    fs::write(path.join("post.svg"), "not a picture").expect("a file");
    assert_eq!(fails(path, &["render", "scene.toml"]).0, 4);
    scene_in(path, SCENE);
    fs::write(path.join("file"), "").expect("a file");
    assert_eq!(fails(path, &["render", "scene.toml", "--out", "file"]).0, 5);
    assert_eq!(fails(path, &["render", "scene.toml", "--set", "view=[4000, 200]", "--scale", "16"]).0, 6);
}

//! The real program on a scene of its own: what a run writes, and what changes what.

use crate::util::{command, compose, decode_file, done, files, flat_png};
use serde_json::Value;
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

/// The head of the small scene.
pub const HEAD: &str = r##"
view = [160, 96]
travel = 320
camera = 100
horizon = 50
ground = 80
seed = 7
bands.size = 20
falloff.height = 30
smear.length = 12
soften.sigma = 2
[air]
haze = "#d9d0b8"
visibility = 500
"##;

/// Its slots, far to near.
pub const SLOTS: [&str; 4] = [
    "[[slot]]\nname = \"sky\"\ndepth = 900\nart = \"sky.png\"\ny = 0\nrepeat = true\n",
    "[[slot]]\nname = \"hills\"\ndepth = 300\nart = \"hills.svg\"\nwidth = 230\n",
    "[[slot]]\nname = \"posts\"\ndepth = 40\nart = \"art/posts.svg\"\nx = 30\nrepeat = 90\nflip = true\n",
    "[[slot]]\nname = \"reeds\"\ndepth = -20\n",
];

/// Writes the small scene and its pictures into `folder`, its slots in the order `slots`.
pub fn write_scene(folder: &Path, slots: [usize; 4]) {
    let text = slots.map(|at| SLOTS[at]).concat();
    fs::create_dir_all(folder.join("art")).unwrap();
    fs::write(folder.join("marsh.toml"), format!("{HEAD}{text}")).unwrap();
    fs::write(folder.join("sky.png"), flat_png([160, 96], [216, 208, 184, 255])).unwrap();
    let svg = |size: [u32; 2], path: &str| {
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{}\" height=\"{}\"><path fill=\"#4b4658\" d=\"{path}\"/></svg>",
            size[0], size[1]
        )
    };
    fs::write(folder.join("hills.svg"), svg([230, 40], "M0 40V22Q60 0 120 24T230 18V40Z")).unwrap();
    fs::write(folder.join("art/posts.svg"), svg([40, 50], "M4 50V6H9V50ZM22 50V14L30 12V50Z")).unwrap();
}

/// A folder with the small scene in it.
pub fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    write_scene(folder.path(), [0, 1, 2, 3]);
    folder
}

/// Renders the small scene in a folder of its own; the files written.
fn render(args: &[&str]) -> BTreeMap<String, Vec<u8>> {
    let folder = folder();
    done(folder.path(), &[&["render", "marsh.toml", "--out", "out"], args].concat());
    files(&folder.path().join("out"))
}

/// The names of the files that aren't the same in both.
fn differing(a: &BTreeMap<String, Vec<u8>>, b: &BTreeMap<String, Vec<u8>>) -> Vec<String> {
    assert_eq!(a.keys().collect::<Vec<_>>(), b.keys().collect::<Vec<_>>());
    a.iter().filter(|(name, bytes)| b[*name] != **bytes).map(|(name, _)| name.clone()).collect()
}

const ALL: [&str; 13] = [
    "hills.art.png",
    "hills.fog.png",
    "hills.rim.png",
    "manifest.json",
    "posts.art.png",
    "posts.fog.png",
    "posts.rim.png",
    "reeds.fog.png",
    "sky.art.png",
    "sky.fog.png",
    "sky.rim.png",
    "still.png",
    "still.values.png",
];

/// What is to be rendered, from which sources: never touched.
#[test]
fn a_run_writes_all_and_touches_no_source() {
    let folder = folder();
    let before = files(folder.path());
    let said = done(folder.path(), &["render", "marsh.toml"]);
    let mut after = files(folder.path());
    let written: Vec<String> = after
        .keys()
        .filter(|name| name.starts_with("marsh-sheets/"))
        .map(|name| name["marsh-sheets/".len()..].to_owned())
        .collect();
    assert_eq!(written, ALL);
    // Its output is piped: one line, behind what is to be said of the scene.
    let last = said.lines().last().expect("a line");
    let textures = ALL.iter().filter(|name| name.ends_with(".png") && !name.starts_with("still.")).count();
    assert!(last.starts_with(&format!("{textures} files, ")), "{said}");
    assert!(said.lines().rev().skip(1).all(|line| line.starts_with("note: ")), "{said}");
    assert!(last.contains("still.png"), "{said}");
    after.retain(|name, _| !name.starts_with("marsh-sheets/"));
    assert_eq!(after, before);
}

/// The manifest's least form, key by key, against the files and the scene.
#[test]
fn the_manifest_is_true() {
    let folder = folder();
    done(folder.path(), &["render", "marsh.toml", "--out", "out", "--bits", "16", "--at", "77", "--quiet"]);
    let out = folder.path().join("out");
    let manifest: Value = serde_json::from_slice(&fs::read(out.join("manifest.json")).unwrap()).unwrap();
    assert_eq!(manifest["version"], 2);
    assert_eq!(manifest["view"], serde_json::json!([160.0, 96.0]));
    assert_eq!(manifest["travel"], serde_json::json!([320.0, 0.0]));
    assert_eq!(manifest["scale"], 1.0);
    assert_eq!(manifest["blending"], "encoded");
    let entries = manifest["files"].as_array().unwrap();
    let paths: Vec<&str> = entries.iter().map(|entry| entry["path"].as_str().unwrap()).collect();
    let far_to_near = [
        "sky.fog.png",
        "sky.rim.png",
        "sky.art.png",
        "hills.fog.png",
        "hills.rim.png",
        "hills.art.png",
        "posts.fog.png",
        "posts.rim.png",
        "posts.art.png",
        "reeds.fog.png",
    ];
    assert_eq!(paths, far_to_near);
    for (order, entry) in entries.iter().enumerate() {
        let path = entry["path"].as_str().unwrap();
        assert_eq!(entry["order"], order as u64);
        let (slot, kind) = path.trim_end_matches(".png").split_once('.').unwrap();
        assert_eq!((entry["slot"].as_str(), entry["kind"].as_str()), (Some(slot), Some(kind)));
        let depth = entry["depth"].as_f64().unwrap();
        let want = [("sky", 900.0), ("hills", 300.0), ("posts", 40.0), ("reeds", -20.0)];
        assert_eq!(depth, want.into_iter().find(|(name, _)| *name == slot).unwrap().1);
        // Pinhole: camera / (camera + depth).
        assert!((entry["pan_rate"].as_f64().unwrap() - 100.0 / (100.0 + depth)).abs() < 1e-11);
        let picture = decode_file(&out.join(path));
        assert_eq!(entry["texels"], serde_json::json!(picture.size));
        assert_eq!(picture.deep, kind != "art", "{path}");
        let rect: Vec<f64> = entry["rect"].as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect();
        assert_eq!(rect[2..], picture.size.map(f64::from));
        let bytes = fs::read(out.join(path)).unwrap();
        assert_eq!(entry["hash"], blake3::hash(&bytes).to_hex().as_str());
        assert_eq!(entry["bytes"], bytes.len() as u64);
        let period = entry["period"].as_f64();
        match (slot, kind) {
            (_, "fog") => assert_eq!(period, Some(rect[2])),
            ("sky", _) => assert_eq!(period, Some(160.0)),
            ("posts", _) => assert_eq!(period, Some(90.0)),
            _ => assert_eq!(period, None),
        }
        // A sheet covers the view over the whole travel, or repeats.
        if kind == "fog" {
            assert!(rect[2] >= 160.0 && rect[0] <= 0.0 && rect[1] <= 0.0 && rect[1] + rect[3] >= 96.0);
        }
    }
    assert_eq!(manifest["still"]["path"], "still.png");
    assert_eq!(manifest["still"]["camera"], serde_json::json!([77.0, 0.0]));
    assert_eq!(manifest["values"]["path"], "still.values.png");
    assert_eq!(manifest["values"]["camera"], serde_json::json!([77.0, 0.0]));
}

/// What is drawn in the manifest's order, source-over in its blending, is the still: composed by other code, from the files alone.
/// Sheets are exact to half a step of 16 bits each; art of 8 bits is drawn into the still from finer values than its file holds
/// where its alpha is low, which shows as a few such steps.
#[test]
fn the_files_put_together_are_the_still() {
    for blending in ["encoded", "linear"] {
        for (camera, scale) in [(0.0, "1"), (101.0, "1"), (320.0, "1"), (160.0, "0.5")] {
            let folder = folder();
            let at = camera.to_string();
            let set = format!("air.blending={blending}");
            let args = [
                "render",
                "marsh.toml",
                "--out",
                "o",
                "--bits",
                "16",
                "--at",
                &at,
                "--scale",
                scale,
                "--set",
                &set,
            ];
            done(folder.path(), &args);
            let still = decode_file(&folder.path().join("o/still.png"));
            let composed = compose::stack(&folder.path().join("o"), [0xd9, 0xd0, 0xb8], camera);
            for (texel, (got, want)) in still.texels.iter().zip(&composed).enumerate() {
                for channel in 0..3 {
                    let off = (f64::from(got[channel]) - want[channel]).abs();
                    assert!(off <= 3.0, "{blending} at {camera}, texel {texel}: {got:?} for {want:?}");
                }
            }
        }
    }
}

/// Several scales in one run: each in a folder of its own, the same as alone.
#[test]
fn scales_have_folders_of_their_own() {
    let all = render(&["--scale", "1", "--scale", "0.5", "--scale", "2"]);
    for (scale, width) in [("1", 160), ("0.5", 80), ("2", 320)] {
        let prefix = format!("scale-{scale}/");
        let names: Vec<&str> = all.keys().filter_map(|name| name.strip_prefix(prefix.as_str())).collect();
        assert_eq!(names, ALL);
        let alone = render(&["--scale", scale]);
        for name in ALL {
            assert_eq!(all[&format!("{prefix}{name}")], alone[name], "{name} at scale {scale}");
        }
        assert_eq!(crate::util::decode(&alone["still.png"]).size[0], width);
    }
}

/// `--only` writes that slot's files alone, with the bytes of the whole run; the manifest keeps what an earlier run left.
#[test]
fn only_one_slot() {
    let whole = render(&[]);
    let alone = render(&["--only", "hills"]);
    let names: Vec<&str> = alone.keys().map(String::as_str).collect();
    assert_eq!(
        names,
        ["hills.art.png", "hills.fog.png", "hills.rim.png", "manifest.json", "still.png", "still.values.png"]
    );
    for name in ["hills.art.png", "hills.fog.png", "hills.rim.png", "still.png", "still.values.png"] {
        assert_eq!(alone[name], whole[name], "{name}");
    }
    let two = render(&["--only", "hills", "--only", "reeds"]);
    assert_eq!(two.len(), 7);
    // After a whole run everything stays listed.
    let folder = folder();
    done(folder.path(), &["render", "marsh.toml", "--out", "out"]);
    done(folder.path(), &["render", "marsh.toml", "--out", "out", "--only", "posts"]);
    assert_eq!(differing(&files(&folder.path().join("out")), &whole), [""; 0]);
}

/// A slot's name is its identity, not its place in the file.
#[test]
fn the_order_of_slots_is_irrelevant() {
    let whole = render(&[]);
    for order in [[3, 2, 1, 0], [2, 0, 3, 1]] {
        let folder = tempfile::tempdir().unwrap();
        write_scene(folder.path(), order);
        done(folder.path(), &["render", "marsh.toml", "--out", "out"]);
        assert_eq!(differing(&files(&folder.path().join("out")), &whole), [""; 0]);
    }
}

/// A tweak changes what it should and nothing else.
#[test]
fn a_tweak_changes_what_it_should() {
    let whole = render(&[]);
    let changes = |set: &str| differing(&render(&["--set", set]), &whole);
    assert_eq!(
        changes("slot.posts.falloff.lift=140"),
        ["manifest.json", "posts.fog.png", "still.png", "still.values.png"]
    );
    assert_eq!(
        changes("slot.reeds.seed=99"),
        ["manifest.json", "reeds.fog.png", "still.png", "still.values.png"]
    );
    let fog = [
        "hills.fog.png",
        "manifest.json",
        "posts.fog.png",
        "reeds.fog.png",
        "sky.fog.png",
        "still.png",
        "still.values.png",
    ];
    // The air behind the farthest slot is as long as the visibility, so its optical depth stays.
    let nearer: Vec<&str> = fog.into_iter().filter(|name| *name != "sky.fog.png").collect();
    assert_eq!(changes("air.visibility=300"), nearer);
    assert_eq!(changes("falloff.lift=140"), fog);
    assert_eq!(changes("seed=8"), fog);
    // Half the depth of the nearest slot: its own sheet, and with its rate the sheet's size.
    assert_eq!(
        changes("slot.reeds.depth=-10"),
        ["manifest.json", "reeds.fog.png", "still.png", "still.values.png"]
    );
    // What is set to what it is anyway changes nothing, nor does a comment.
    assert_eq!(changes("air.visibility=500"), [""; 0]);
    // Of a slot's override and one for all the slot's holds.
    let both = render(&["--set", "slot.posts.falloff.lift=140", "--set", "smear.length=12"]);
    assert_eq!(differing(&both, &whole), ["manifest.json", "posts.fog.png", "still.png", "still.values.png"]);
}

/// A rerun into the same folder replaces what an earlier one wrote there.
#[test]
fn a_rerun_replaces_its_own_files() {
    let folder = folder();
    let run = ["render", "marsh.toml", "--out", "out"];
    let tweak = ["--set", "slot.reeds.smear.length=90"];
    done(folder.path(), &run);
    done(folder.path(), &[&run[..], &tweak].concat());
    assert_eq!(differing(&files(&folder.path().join("out")), &render(&tweak)), [""; 0]);
}

/// `--at` moves the camera of the still and nothing else; the middle of the travel is where it stands if nothing is said.
#[test]
fn the_camera_moves_the_still_alone() {
    let whole = render(&[]);
    assert_eq!(differing(&render(&["--at", "160"]), &whole), [""; 0]);
    assert_eq!(
        differing(&render(&["--at", "10.5"]), &whole),
        ["manifest.json", "still.png", "still.values.png"]
    );
}

/// Same seed, same bytes: on any number of threads, from any working directory, run after run.
#[test]
fn the_same_bytes_everywhere() {
    let whole = render(&[]);
    for threads in ["1", "2", "8"] {
        let folder = folder();
        let output = command(folder.path())
            .env("RAYON_NUM_THREADS", threads)
            .args(["render", "marsh.toml", "--out", "out"])
            .output()
            .unwrap();
        assert!(output.status.success());
        assert_eq!(differing(&files(&folder.path().join("out")), &whole), [""; 0], "{threads} threads");
    }
    let (folder, elsewhere) = (folder(), tempfile::tempdir().unwrap());
    let scene = folder.path().join("marsh.toml");
    done(elsewhere.path(), &["render", scene.to_str().unwrap(), "--out", "some/where"]);
    assert_eq!(differing(&files(&elsewhere.path().join("some/where")), &whole), [""; 0]);
    // From the root of the file system, as a scene is rendered by a build.
    let out = elsewhere.path().join("rooted");
    done(Path::new("/"), &["render", scene.to_str().unwrap(), "--out", out.to_str().unwrap()]);
    assert_eq!(differing(&files(&out), &whole), [""; 0]);
    // From inside the folder of pictures, and again over its own output.
    for _ in 0..2 {
        done(&folder.path().join("art"), &["render", "../marsh.toml", "--out", "../out"]);
        assert_eq!(differing(&files(&folder.path().join("out")), &whole), [""; 0]);
    }
}

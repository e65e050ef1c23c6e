//! What is kept hidden for the next run: a quarter of the outputs' bytes at most, and never a byte of an output differs for it.

use super::util::{Scene, same};
use std::fs;
use std::path::Path;

/// Bytes of the files of the hidden cache that runs ask for again, and of the outputs beside it.
fn bytes(folder: &Path) -> [u64; 2] {
    let of = |folder: &Path, ours: &dyn Fn(&str) -> bool| {
        let entries = fs::read_dir(folder).into_iter().flatten().flatten();
        let files = entries.filter(|entry| entry.path().is_file());
        let ours = files.filter(|entry| ours(&entry.file_name().to_string_lossy()));
        ours.map(|entry| entry.metadata().expect("a file").len()).sum()
    };
    let hidden = |name: &str| name.starts_with('.') || name == "CACHEDIR.TAG" || name == "manifest.json";
    [of(&folder.join(".fogweft-cache"), &|name| !hidden(name)), of(folder, &|name| !hidden(name))]
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).expect("made");
    for entry in fs::read_dir(from).expect("a folder").flatten().filter(|entry| entry.path().is_file()) {
        fs::copy(entry.path(), to.join(entry.file_name())).expect("copied");
    }
}

#[test]
fn the_example_scenes_keep_a_quarter_at_most_and_tweaks_are_those_of_a_clean_run() {
    let worlds = Path::new(env!("CARGO_MANIFEST_DIR")).join("presets");
    let scene = Scene::new();
    for world in ["salt-marsh", "night-quay", "cloud-cableway"] {
        copy(&worlds.join(world), &scene.path(world));
        let file = format!("{world}/scene.toml");
        let small = ["--scale", "0.25", "--quiet"];
        let render = |more: &[&str]| scene.run(&[&["render", &file], more, &small].concat()).well();
        let out = scene.path(&format!("{world}/scene-sheets"));
        render(&[]);
        let [cache, outputs] = bytes(&out);
        assert!(cache > 0 && 4 * cache <= outputs, "{world}: {cache} of {outputs}");
        for tweak in ["air.visibility=1700", "seed=12", "rim.separation=4"] {
            render(&["--set", tweak]);
            let [cache, outputs] = bytes(&out);
            assert!(4 * cache <= outputs, "{world}, {tweak}: {cache} of {outputs}");
        }
        render(&["--set", "seed=12", "--out", "clean"]);
        render(&["--set", "seed=12"]);
        same(&scene.files(&format!("{world}/scene-sheets")), &scene.files("clean"), world);
        fs::remove_dir_all(scene.path("clean")).expect("removed");
    }
}

/// Entries of the cache that hold a rim.
fn rims(folder: &Path) -> usize {
    let entries = fs::read_dir(folder.join(".fogweft-cache")).into_iter().flatten().flatten();
    entries.filter(|entry| entry.path().extension().is_some_and(|kind| kind == "rim")).count()
}

#[test]
fn rims_are_kept_within_the_usual_bound_and_drawn_as_they_were_solved() {
    let scene = Scene::new();
    copy(&Path::new(env!("CARGO_MANIFEST_DIR")).join("presets/salt-marsh"), &scene.path("marsh"));
    // At the larger scale those that are solved at scale 1 stand beside those that are drawn from them.
    for (scale, least) in [("0.5", 7), ("1.25", 16)] {
        let out = scene.path(scale);
        let render = || {
            scene.run(&["render", "marsh/scene.toml", "--quiet", "--scale", scale, "--out", scale]).well();
            scene.files(scale)
        };
        let solved = render();
        let names: Vec<&String> = solved.keys().filter(|name| name.ends_with(".rim.png")).collect();
        assert!(rims(&out) >= least && names.len() == 8, "{scale}: {} entries, {names:?}", rims(&out));
        // Without their files they are drawn from what is kept.
        names.iter().for_each(|name| fs::remove_file(out.join(name)).expect("removed"));
        let entries = rims(&out);
        same(&render(), &solved, scale);
        assert_eq!(rims(&out), entries, "{scale}");
    }
}

#[test]
fn more_is_kept_where_more_is_allowed() {
    let scene = Scene::new();
    let kept = |more: &[&str]| {
        let _ = fs::remove_dir_all(scene.path("scene-sheets"));
        scene.render(&[more, &["--quiet"]].concat()).well();
        bytes(&scene.path("scene-sheets"))[0]
    };
    let [none, usual, much] = [&["--cache", "0"][..], &[], &["--cache", "100"]].map(kept);
    assert!(none == 0 && usual < much, "{none}, {usual}, {much}");
    let said = scene.render(&["--cache", "-1"]);
    assert!(said.code == 2, "{}", said.err);
}

//! Several levels in one command.

use crate::outside::{SCENE, fogweft, render, runs, write_scene};
use serde_json::Value;
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// Two levels that share their pictures, and a folder of outputs, a preset and a project file that are no scenes.
fn game(root: &Path) -> [PathBuf; 2] {
    fs::create_dir_all(root.join("shared")).unwrap();
    fs::write(root.join("fogweft.toml"), "").unwrap();
    write_scene(&root.join("shared"), SCENE);
    fs::remove_file(root.join("shared/scene.toml")).unwrap();
    ["levels/one", "levels/two"].map(|name| {
        let text = SCENE.replace("art = \"", "art = \"../../shared/");
        let seed = if name.ends_with("two") { "seed = 9" } else { "seed = 5" };
        fs::create_dir_all(root.join(name)).unwrap();
        let file = root.join(name).join("scene.toml");
        fs::write(&file, text.replace("seed = 5", seed)).unwrap();
        file
    })
}

/// Files of a folder but for hidden ones.
fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let entries =
        fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).filter(|path| path.is_file());
    let name = |path: &PathBuf| path.file_name().unwrap().to_string_lossy().into_owned();
    entries
        .filter(|path| !name(path).starts_with('.'))
        .map(|path| (name(&path), fs::read(&path).unwrap()))
        .collect()
}

#[test]
fn a_folder_of_levels_gives_each_what_its_own_run_gives() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    let scenes = game(root);
    let said = runs(&["render", root.to_str().unwrap(), "--out", root.join("out").to_str().unwrap()]);
    assert!(said.contains("level  mood  files"), "{said}");
    for (scene, name) in scenes.iter().zip(["one", "two"]) {
        assert!(said.lines().any(|line| line.starts_with(&format!("{name}    -"))), "{said}");
        let alone = root.join(format!("alone-{name}"));
        render(scene, &alone, &[]);
        assert!(files(&alone) == files(&root.join("out").join(name)), "{name}");
    }
    // One page shows them all; its verdicts are those of `check`.
    let page = fs::read_to_string(root.join("out/levels.html")).unwrap();
    for (scene, name) in scenes.iter().zip(["one", "two"]) {
        assert!(
            page.contains(&format!("<h2>{name}</h2>")) && page.contains(&format!("src=\"{name}/still.png\"")),
            "{page}"
        );
        let card = page.split(&format!("<h2>{name}</h2>")).nth(1).unwrap().split("</figure>").next().unwrap();
        let fails = fogweft(&["check", scene.to_str().unwrap()]).status.code() == Some(1);
        assert_eq!(card.contains("exceeds its limits"), fails, "{card}");
        assert_eq!(card.contains(">within its limits"), !fails, "{card}");
        let report = fogweft(&["check", scene.to_str().unwrap(), "--json"]);
        let report: Value = serde_json::from_slice(&report.stdout).unwrap();
        let findings = report["findings"].as_array().unwrap().iter();
        let notes = findings.filter(|finding| finding["fails"] == false).count();
        assert!(fails || notes == 0 || card.contains(&format!("notes: {notes}<")), "{notes}: {card}");
        let messages = report["findings"].as_array().unwrap().iter().filter(|one| one["fails"] == true);
        assert!(
            messages
                .map(|one| one["message"].as_str().unwrap().replace('"', "&quot;"))
                .all(|text| card.contains(&text)),
            "{card}"
        );
    }
    // A second run has nothing to do; without --out each level's outputs stand beside it.
    let again =
        runs(&["render", root.join("levels").to_str().unwrap(), "--out", root.join("out").to_str().unwrap()]);
    assert_eq!(again.matches("nothing changed").count(), 2, "{again}");
    assert_eq!(fs::read_to_string(root.join("out/levels.html")).unwrap(), page);
    let [one, two] = scenes.each_ref().map(|scene| scene.to_str().unwrap());
    runs(&["render", one, two, "--quiet"]);
    assert!(root.join("levels/one/scene-sheets/still.png").exists());
    assert!(root.join("levels/two/scene-sheets/still.png").exists());
    let page = fs::read_to_string(root.join("levels/levels.html")).unwrap();
    assert!(page.contains("src=\"two/scene-sheets/still.png\""), "{page}");
    // A page of somebody else's stays.
    fs::write(root.join("levels/levels.html"), "mine").unwrap();
    let refused = fogweft(&["render", one, two]);
    assert_eq!(refused.status.code(), Some(5), "{refused:?}");
    assert_eq!(fs::read(root.join("levels/levels.html")).unwrap(), b"mine");
}

#[test]
fn levels_side_by_side_are_the_same_on_any_number_of_threads() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    game(root);
    for number in 3..8 {
        let level = root.join(format!("levels/{number}"));
        fs::create_dir_all(&level).unwrap();
        let text = format!("from = \"../two/scene.toml\"\nseed = {number}\n[[slot]]\nname = \"veil\"\n");
        fs::write(level.join("scene.toml"), text).unwrap();
    }
    let with = |threads: &str| {
        let out = root.join(format!("out-{threads}"));
        let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_fogweft"));
        command
            .arg("render")
            .arg(root.join("levels"))
            .arg("--out")
            .arg(&out)
            .env("RAYON_NUM_THREADS", threads);
        let done = command.output().unwrap();
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
        let said = String::from_utf8_lossy(&done.stdout).replace(&format!("out-{threads}"), "out");
        let names = ["one", "two", "3", "4", "5", "6", "7"];
        (said, names.map(|name| files(&out.join(name))), fs::read(out.join("levels.html")).unwrap())
    };
    let [one, four] = ["1", "4"].map(with);
    // What is said comes in the levels' order as well.
    assert!(one.0 == four.0 && one.1 == four.1 && one.2 == four.2, "{}\n{}", one.0, four.0);
    assert!(one.1[2] != one.1[3]);
}

#[test]
fn a_plate_that_changes_is_made_again_where_it_is_shown_and_nothing_else_is() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    let [one, two] = game(root);
    // The second level has a hut of its own.
    fs::copy(root.join("shared/hut.png"), root.join("levels/two/hut.png")).unwrap();
    let text = fs::read_to_string(&two).unwrap().replace("../../shared/hut.png", "hut.png");
    fs::write(&two, text).unwrap();
    let levels = root.join("levels");
    let render = || runs(&["render", levels.to_str().unwrap()]);
    render();
    let sheets = [&one, &two].map(|scene| scene.with_file_name("scene-sheets"));
    let before = sheets.each_ref().map(|folder| files(folder));
    let mut hut = image::open(root.join("shared/hut.png")).unwrap().into_rgba8();
    hut.get_pixel_mut(30, 40).0 = [200, 30, 20, 255];
    hut.save(root.join("shared/hut.png")).unwrap();
    let said = render();
    assert_eq!(said.matches("nothing changed").count(), 1, "{said}");
    let after = sheets.each_ref().map(|folder| files(folder));
    assert!(before[1] == after[1]);
    let changed: Vec<&String> = after[0]
        .iter()
        .filter(|(name, bytes)| before[0].get(*name) != Some(bytes))
        .map(|(name, _)| name)
        .collect();
    for name in &changed {
        let shows_it =
            name.starts_with("hut.art") || name.starts_with("hut.rim") || name.starts_with("still");
        assert!(shows_it || *name == "manifest.json", "{changed:?}");
    }
    assert!(changed.iter().any(|name| *name == "hut.art.png"), "{changed:?}");
    // As if it had been so from the first.
    let clean = root.join("clean");
    render_alone(&one, &clean);
    assert!(files(&clean) == after[0]);
}

fn render_alone(scene: &Path, out: &Path) {
    render(scene, out, &[]);
}

#[test]
fn one_faulty_level_keeps_no_other_from_its_files() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    let [one, two] = game(root);
    fs::write(&one, fs::read_to_string(&one).unwrap().replace("sky.png", "none.png")).unwrap();
    let out = fogweft(&["render", root.to_str().unwrap()]);
    let (said, told) = (String::from_utf8_lossy(&out.stdout), String::from_utf8_lossy(&out.stderr));
    let code = out.status.code().unwrap();
    let alone = fogweft(&["render", one.to_str().unwrap()]).status.code().unwrap();
    assert!(code == alone && code > 1 && told.contains("none.png"), "{code} {told}");
    assert!(said.contains(&format!("failed, exit code {code}")), "{said}");
    assert!(root.join("levels/two/scene-sheets/still.png").exists());
    // The worst exit code of two.
    fs::write(&two, fs::read_to_string(&two).unwrap().replace("view = [240, 136]", "view = [60000, 60000]"))
        .unwrap();
    let both = fogweft(&["render", root.to_str().unwrap()]);
    assert_eq!(both.status.code(), Some(6), "{}", String::from_utf8_lossy(&both.stderr));
}

#[test]
fn plan_and_check_take_several() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    game(root);
    let path = root.to_str().unwrap();
    let said = runs(&["plan", path]);
    assert!(["one: view 240 x 136", "two: view 240 x 136"].iter().all(|head| said.contains(head)), "{said}");
    let plans: Value = serde_json::from_str(&runs(&["plan", path, "--json"])).unwrap();
    assert_eq!(plans.as_array().unwrap().len(), 2);
    let out = fogweft(&["check", path]);
    let said = String::from_utf8_lossy(&out.stdout);
    assert!(["one: outlines seen from", "two: outlines"].iter().all(|head| said.contains(head)), "{said}");
    let table = said.split("level  limits").nth(1).unwrap();
    assert_eq!(out.status.code() == Some(1), table.contains("exceeds"), "{said}");
    for name in ["one", "two"] {
        fs::write(root.join("common.toml"), "[air]\nvisibility = -3\n").unwrap();
        let text = SCENE.replace("visibility = 1500\n", "").replace("art = \"", "art = \"../../shared/");
        let file = root.join(format!("levels/{name}/scene.toml"));
        fs::write(file, format!("from = \"../../common.toml\"\n{text}")).unwrap();
    }
    let faulty = fogweft(&["plan", path]);
    let said = String::from_utf8_lossy(&faulty.stderr);
    assert_eq!((faulty.status.code(), said.matches("error:").count()), (Some(3), 1), "{said}");
    let empty = root.join("shared");
    let none = fogweft(&["plan", empty.to_str().unwrap()]);
    assert_eq!(none.status.code(), Some(2), "{}", String::from_utf8_lossy(&none.stderr));
}

#[test]
fn caches_are_left_out_or_cleaned_and_no_byte_differs() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    let [one, two] = game(root);
    let cache = |scene: &Path| scene.with_file_name("scene-sheets").join(".fogweft-cache");
    let held = |scene: &Path| {
        let entries = fs::read_dir(cache(scene)).into_iter().flatten().flatten();
        entries.filter(|entry| entry.file_name().to_string_lossy().len() > 64).count()
    };
    runs(&["render", one.to_str().unwrap(), "--no-cache", "--quiet"]);
    runs(&["render", two.to_str().unwrap(), "--quiet"]);
    assert!(!cache(&one).exists() && held(&two) > 0);
    let before = files(&two.with_file_name("scene-sheets"));
    let said = runs(&["clean", root.to_str().unwrap()]);
    assert!(said.ends_with("freed\n") && !said.starts_with("0 B"), "{said}");
    assert_eq!(held(&two), 0);
    assert!(files(&two.with_file_name("scene-sheets")) == before);
    let again = runs(&["render", one.to_str().unwrap(), two.to_str().unwrap()]);
    assert_eq!(again.matches("nothing changed").count(), 2, "{again}");
    assert_eq!(fogweft(&["clean", root.join("none").to_str().unwrap()]).status.code(), Some(2));
}

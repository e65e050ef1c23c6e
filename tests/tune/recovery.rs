//! Unsaved edits outlive the program, however it ends, and a file that can't be read now is never saved over.

use crate::client::{SCENE, Socket, Tune};
use serde_json::{Value, json};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::{Duration, Instant};

fn edit(page: &mut Socket, number: u32) {
    let set = json!({ "do": "set", "slot": null, "key": "air.visibility", "value": number, "gesture": null });
    page.act(set).unwrap();
}

fn edited(number: u32) -> String {
    SCENE.replace("visibility = 1500", &format!("visibility = {number}"))
}

fn kept(scene: &Path) -> PathBuf {
    scene.with_file_name("scene.toml.unsaved")
}

fn until(what: &str, holds: impl Fn() -> bool) {
    let start = Instant::now();
    while !holds() {
        assert!(start.elapsed() < Duration::from_secs(60), "{what}");
        std::thread::sleep(Duration::from_millis(20));
    }
}

fn holds(file: &Path, text: &str) -> bool {
    fs::read_to_string(file).is_ok_and(|found| found.ends_with(text))
}

/// Ends the program by a signal; its folder stays in `keep`.
fn ended(mut tune: Tune, signal: &str, keep: &Path) {
    let pid = tune.child.id().to_string();
    assert!(Command::new("kill").args([signal, &pid]).status().unwrap().success());
    tune.child.wait().unwrap();
    for entry in fs::read_dir(tune.scene.parent().unwrap()).unwrap().flatten() {
        if entry.path().is_file() {
            fs::copy(entry.path(), keep.join(entry.file_name())).unwrap();
        }
    }
}

fn again(folder: tempfile::TempDir) -> Tune {
    let scene = folder.path().join("scene.toml");
    Tune::on(scene, folder, &["--port", "0"])
}

fn offered(page: &mut Socket) -> Value {
    page.now()["offered"].clone()
}

#[test]
#[cfg_attr(windows, ignore = "there are no signals to end a program by")]
fn unsaved_edits_outlive_every_end_of_the_program_and_are_offered() {
    for (number, signal) in [(700, "-INT"), (701, "-TERM"), (702, "-HUP"), (703, "-KILL")] {
        let tune = Tune::start(SCENE);
        let mut page = tune.socket();
        edit(&mut page, number);
        if signal == "-KILL" {
            until("kept while it runs", || holds(&kept(&tune.scene), &edited(number)));
        }
        let folder = tempfile::tempdir().unwrap();
        ended(tune, signal, folder.path());
        assert!(holds(&kept(&folder.path().join("scene.toml")), &edited(number)), "{signal}");
        assert_eq!(fs::read_to_string(folder.path().join("scene.toml")).unwrap(), SCENE);

        let tune = again(folder);
        let mut page = tune.socket();
        assert_eq!(offered(&mut page), true, "{signal}");
        page.act(json!({ "do": "recover", "take": true })).unwrap();
        assert_eq!(offered(&mut page), false);
        assert_eq!(page.state["unsaved"], true);
        page.act(json!({ "do": "save" })).unwrap();
        assert_eq!(tune.file(), edited(number));
        let folder = tune.scene.parent().unwrap().to_path_buf();
        until("nothing unsaved, no file", || {
            !fs::read_dir(&folder)
                .unwrap()
                .flatten()
                .any(|entry| entry.file_name().to_string_lossy().contains(".unsaved"))
        });
    }
}

#[test]
#[cfg_attr(windows, ignore = "there are no signals to end a program by")]
fn an_offer_left_open_stays_and_a_refused_one_goes() {
    let tune = Tune::start(SCENE);
    let mut page = tune.socket();
    edit(&mut page, 700);
    let folder = tempfile::tempdir().unwrap();
    ended(tune, "-TERM", folder.path());
    let tune = again(folder);
    let mut page = tune.socket();
    // Edits of this run go elsewhere meanwhile.
    edit(&mut page, 800);
    let second = tune.scene.with_file_name("scene.toml.unsaved-2");
    until("kept in a second file", || holds(&second, &edited(800)));
    assert!(holds(&kept(&tune.scene), &edited(700)));
    page.act(json!({ "do": "recover", "take": false })).unwrap();
    assert!(!kept(&tune.scene).exists() && holds(&second, &edited(800)));
    page.act(json!({ "do": "undo" })).unwrap();
    until("back at the file", || !second.exists());
}

#[test]
fn a_file_of_that_name_that_is_somebody_elses_is_left_alone() {
    let tune = Tune::start(SCENE);
    fs::write(kept(&tune.scene), "mine").unwrap();
    let mut page = tune.socket();
    assert_eq!(offered(&mut page), false);
    edit(&mut page, 700);
    until("kept elsewhere", || holds(&tune.scene.with_file_name("scene.toml.unsaved-2"), &edited(700)));
    assert_eq!(fs::read_to_string(kept(&tune.scene)).unwrap(), "mine");
}

#[test]
fn a_scene_that_cannot_be_read_now_is_not_saved_over() {
    let tune = Tune::start(SCENE);
    let mut page = tune.socket();
    edit(&mut page, 700);
    let huge = format!("{SCENE}#{}", "x".repeat(9 << 20)).into_bytes();
    let latin = [SCENE.as_bytes(), b"# caf\xe9\n"].concat();
    for theirs in [latin, huge] {
        fs::write(&tune.scene, &theirs).unwrap();
        let why = page.act(json!({ "do": "save" })).unwrap_err();
        assert!(why.contains("nothing was saved"), "{why}");
        assert!(fs::read(&tune.scene).unwrap() == theirs, "the other's bytes stay");
        until_state(&mut page, |state| !state["unreadable"].is_null());
    }
    fs::write(&tune.scene, SCENE).unwrap();
    until_state(&mut page, |state| state["unreadable"].is_null());
    page.act(json!({ "do": "save" })).unwrap();
    assert_eq!(tune.file(), edited(700));
}

fn until_state(page: &mut Socket, holds: impl Fn(&Value) -> bool) {
    let start = Instant::now();
    while !holds(&page.now()) {
        assert!(start.elapsed() < Duration::from_secs(60), "{}", page.state);
    }
}

//! For build systems, shells and manuals; and what is said while a run is at work.

use super::util::{Scene, hill};
use std::fs;
use std::process::Command;

#[test]
fn make_runs_when_an_input_is_saved_and_not_otherwise() {
    let scene = Scene::new();
    fs::rename(scene.path("far.svg"), scene.path("far $#1 hill.svg")).expect("renamed");
    scene.edit("scene.toml", "far.svg", "far $#1 hill.svg");
    scene.write("presets/drift.toml", "title = \"Drift\"\nfrom = \"mist\"\n");
    scene.edit("scene.toml", "seed = 3", "seed = 3\npreset = \"drift\"");
    let program = env!("CARGO_BIN_EXE_fogweft");
    scene.write(
        "Makefile",
        &format!("out/manifest.json: scene.toml\n\t@echo at work\n\t@{program} render scene.toml --out out --quiet --depfile out.d\n-include out.d\n"),
    );
    let make = || {
        let done = Command::new("make")
            .current_dir(scene.path("."))
            .env("XDG_CONFIG_HOME", scene.path("config"))
            .output();
        let done = done.expect("make is there");
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
        String::from_utf8_lossy(&done.stdout).contains("at work")
    };
    if Command::new("make").arg("--version").output().is_err() {
        eprintln!("make isn't there; its part of the check is left out");
        scene.render(&["--depfile", "out.d"]).well();
        return;
    }
    assert!(make() && !make());
    // A second's fraction apart, whatever the disk's clock.
    let later = || std::thread::sleep(std::time::Duration::from_millis(30));
    for name in ["far $#1 hill.svg", "presets/drift.toml", "scene.toml"] {
        later();
        let text = fs::read_to_string(scene.path(name)).expect("text");
        scene.write(name, &text);
        later();
        assert!(make(), "{name} was saved");
        assert!(!make(), "after {name} all is made");
    }
    // A picture that is no longer asked for stops nobody.
    later();
    scene.write("other.svg", &hill("#112233"));
    scene.edit("scene.toml", "far $#1 hill.svg", "other.svg");
    fs::remove_file(scene.path("far $#1 hill.svg")).expect("removed");
    assert!(make());
    assert!(!make());
}

#[test]
fn a_depfile_names_every_manifest() {
    let scene = Scene::new();
    scene.edit("scene.toml", "[[slot]]", "[mood.dusk.air]\nvisibility = 500\n\n[[slot]]");
    scene
        .render(&["--all-moods", "--scale", "1", "--scale", "2", "--out", "o", "--depfile", "o.d", "--quiet"])
        .well();
    let text = fs::read_to_string(scene.path("o.d")).expect("text");
    let rule = text.lines().find(|line| !line.starts_with('#')).expect("a rule");
    assert_eq!(
        rule,
        "o/scale-1/manifest.json o/scale-2/manifest.json o/mood-dusk/scale-1/manifest.json o/mood-dusk/scale-2/manifest.json: far.svg mid.svg near.svg scene.toml"
    );
    assert!(text.contains("\nmid.svg:\n"));
}

#[test]
fn piped_runs_say_plain_lines_and_quiet_ones_nothing() {
    let scene = Scene::new();
    let said = scene.render(&[]).well();
    let made: Vec<&str> = said.err.lines().filter(|line| line.starts_with("made ")).collect();
    assert!(made.len() == 1 && made[0].starts_with("made 8 of 8 files in "), "{}", said.err);
    assert!(!said.err.contains('\u{1b}'), "{}", said.err);
    // One line a scene; the table of files is for who sits before it.
    assert!(said.out.lines().count() == 1 && said.out.contains("; still: "), "{}", said.out);
    let said = scene.render(&["--again", "--quiet"]).well();
    assert_eq!((said.out.as_str(), said.err.as_str()), ("", ""));
}

#[test]
fn completions_and_man_pages_are_there() {
    let scene = Scene::new();
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let text = scene.run(&["completions", shell]).well().out;
        assert!(text.contains("all-moods"), "{shell}");
        if shell == "bash" && cfg!(unix) {
            scene.write("completions.bash", &text);
            let done =
                Command::new("bash").args(["-n", "completions.bash"]).current_dir(scene.path(".")).status();
            assert!(done.is_ok_and(|status| status.success()));
        }
    }
    scene.run(&["man", "man"]).well();
    for page in ["fogweft", "fogweft-render", "fogweft-vary", "fogweft-presets", "fogweft-presets-show"] {
        let text = fs::read_to_string(scene.path(&format!("man/{page}.1"))).expect("a page");
        assert!(text.contains(".TH") && text.contains(page), "{page}");
    }
    let page = fs::read_to_string(scene.path("man/fogweft-render.1")).expect("a page");
    assert!(page.contains("\\-\\-watch") && page.contains("\\-\\-prune"), "{page}");
}

#[test]
fn timings_tell_of_every_stage_and_file() {
    let scene = Scene::new();
    let said = scene.render(&["--timings", "--quiet"]).well();
    let head = said.out.lines().next().expect("a head");
    assert_eq!(
        head.split_whitespace().collect::<Vec<_>>(),
        ["stage", "file", "seconds", "processor", "memory"],
        "{}",
        said.out
    );
    for name in ["mid.fog.png", "mid.art.png", "still.png", "still.values.png", "writing", "in all"] {
        assert!(said.out.contains(name), "{name}: {}", said.out);
    }
    // The stages of the top come after one another: together they take no more than all of the run.
    let seconds = |line: &str| line.split_whitespace().rev().nth(3).and_then(|cell| cell.parse::<f64>().ok());
    let top = said.out.lines().filter(|line| ["shapes", "still", "files", "writing"].contains(&first(line)));
    let all = said.out.lines().last().and_then(seconds).expect("its seconds");
    let sum: f64 = top.map(|line| seconds(line).expect(line)).sum();
    assert!(sum > 0.0 && sum <= all, "{sum} of {all}: {}", said.out);
    // Nothing is made again: nothing took time.
    let said = scene.render(&["--timings", "--quiet"]).well();
    assert!(!said.out.contains("mid.fog.png"), "{}", said.out);
}

fn first(line: &str) -> &str {
    line.split_whitespace().next().unwrap_or_default()
}

//! The check and the value view, through the program itself.

mod common;

use common::Pixels;
use std::path::Path;
use std::process::{Command, Output};

fn fogweft(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_fogweft")).args(args).output().expect("it runs")
}

/// A dark figure on a dark wall, in a folder of its own.
fn written(extra: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    let wall = Pixels::new(320, 180, |_, y| [0.22, 0.21, 0.2, if y > 30 { 1.0 } else { 0.0 }]);
    let figure = Pixels::new(60, 80, |x, y| {
        let (dx, dy) = (x as f64 - 30.0, y as f64 - 40.0);
        [0.18, 0.18, 0.2, if dx * dx / 700.0 + dy * dy / 1400.0 < 1.0 { 1.0 } else { 0.0 }]
    });
    std::fs::write(folder.path().join("wall.png"), wall.png()).expect("written");
    std::fs::write(folder.path().join("figure.png"), figure.png()).expect("written");
    let text = format!(
        "view = [160, 120]\ntravel = 80\nhorizon = 50\nground = 100\n[air]\nhaze = \"#c8c0b0\"\nvisibility = 40000\n[rim]\nspread = 6\n{extra}\n\
         [[slot]]\nname = \"wall\"\ndepth = 40\nart = \"wall.png\"\ny = 0\n[[slot]]\nname = \"figure\"\ndepth = 0\nart = \"figure.png\"\nx = 60\ny = 40\n"
    );
    std::fs::write(folder.path().join("scene.toml"), text).expect("written");
    folder
}

fn report(scene: &str, sets: &[&str]) -> (i32, serde_json::Value) {
    let mut args = vec!["check", scene, "--json"];
    args.extend(sets.iter().flat_map(|set| ["--set", set]));
    let ran = fogweft(&args);
    let json = serde_json::from_slice(&ran.stdout)
        .unwrap_or_else(|error| panic!("{error}: {}", String::from_utf8_lossy(&ran.stderr)));
    (ran.status.code().expect("a code"), json)
}

fn scene_in(folder: &Path) -> String {
    folder.join("scene.toml").to_string_lossy().into_owned()
}

#[test]
fn a_figure_that_vanishes_breaks_the_limits_and_its_rim_mends_it() {
    let folder = written("");
    let scene = scene_in(folder.path());
    let (code, json) = report(&scene, &[]);
    let slot =
        json["slots"].as_array().expect("slots").iter().find(|slot| slot["slot"] == "figure").expect("it");
    assert_eq!(slot["wanted"], 6.0);
    assert!(slot["before"]["below"].as_f64().expect("a share") > 0.9, "{slot}");
    assert!(slot["after"]["below"].as_f64().expect("a share") <= 0.05, "{slot}");
    assert!(slot["places"].as_array().expect("places").len() >= 3);
    assert_eq!((code, json["passes"].as_bool()), (0, Some(true)), "{}", json["findings"]);
    // Where fog may not do it, it fails and says what to do.
    let (code, json) = report(&scene, &["rim.most=0.02"]);
    assert_eq!((code, json["passes"].as_bool()), (1, Some(false)));
    let finding = &json["findings"][0];
    assert_eq!((finding["slot"].as_str(), finding["fails"].as_bool()), (Some("figure"), Some(true)));
    assert!(finding["remedy"].as_str().expect("text").contains("rim.most"), "{finding}");
}

/// The demo, foggy and on a clear evening: 95 % of what can be set off is, and on the foggy one of all there is.
#[test]
fn the_demo_reads() {
    let scene = format!("{}/presets/salt-marsh/scene.toml", env!("CARGO_MANIFEST_DIR"));
    let (code, foggy) = report(&scene, &[]);
    assert_eq!(code, 0, "{}", foggy["findings"]);
    for slot in foggy["slots"].as_array().expect("slots") {
        let share = |when: &str| slot[when]["below"].as_f64().expect("a share");
        assert!(share("after") <= 0.05 && share("after") <= share("before"), "{slot}");
    }
    let (code, clear) = report(&scene, &["air.visibility=30000"]);
    assert_eq!(code, 0, "{}", clear["findings"]);
    for slot in clear["slots"].as_array().expect("slots") {
        let share = |when: &str| slot[when]["below"].as_f64().expect("a share");
        println!("{}: {:.4} to {:.4}", slot["slot"], share("before"), share("after"));
        // Lit and shaded sides of posts, a few px apart, can't both have their step: the one slot that stays over 5 %.
        let most = if slot["slot"] == "posts" { 0.08 } else { 0.05 };
        assert!(share("after") <= most, "{slot}");
        let rim = &slot["rim"];
        if let (Some(own), Some(sheet)) = (rim["steepest"].as_f64(), rim["sheet_steepest"].as_f64()) {
            assert!(own <= sheet, "{rim}");
        }
    }
}

#[test]
fn every_limit_can_be_broken() {
    let folder = written("");
    let scene = scene_in(folder.path());
    let sets = [
        "check.darkest=90",
        "check.lightest=10",
        "check.memory=0.0001",
        "check.overdraw=0.5",
        "slot.figure.period=40",
    ];
    for (set, words) in sets.iter().zip(["darkest", "lightest", "textures", "blended", "repeats"]) {
        let (code, json) = report(&scene, &[set]);
        let failing: Vec<&str> = json["findings"]
            .as_array()
            .expect("findings")
            .iter()
            .filter(|finding| finding["fails"] == true)
            .filter_map(|finding| finding["message"].as_str())
            .collect();
        assert_eq!(code, 1, "{set}");
        assert!(failing.iter().any(|message| message.contains(words)), "{set}: {failing:?}");
    }
    assert_eq!(report(&scene, &["check.below=0.1"]).0, 0);
    let ran = fogweft(&["check", &scene]);
    let text = String::from_utf8_lossy(&ran.stdout);
    assert!(text.contains("figure") && text.contains("is within its limits"), "{text}");
    assert_eq!(fogweft(&["check", &scene, "--set", "check.below=2"]).status.code(), Some(2));
}

#[test]
fn figures_are_those_of_the_files() {
    let folder = written("");
    let scene = scene_in(folder.path());
    let (_, json) = report(&scene, &[]);
    let out = folder.path().join("out");
    let ran = fogweft(&["render", &scene, "--out", &out.to_string_lossy(), "-q"]);
    assert!(ran.status.success(), "{}", String::from_utf8_lossy(&ran.stderr));
    let bytes: usize = common::manifest(&out)
        .iter()
        .map(|drawn| Pixels::read(&drawn.path).size.iter().product::<usize>() * 4)
        .sum();
    assert_eq!(json["memory"].as_u64(), Some(bytes as u64));
    // Two sheets fill the view; art and rim less than that each.
    let overdraw = json["overdraw"].as_f64().expect("a number");
    assert!(overdraw > 2.5 && overdraw < 6.0, "{overdraw}");
    for sheet in json["sheets"].as_array().expect("sheets") {
        assert!(sheet["seam"].as_f64().expect("a number") < 1.5, "{sheet}");
        assert!(sheet["repeat"].as_f64().expect("a number") >= 1.0, "{sheet}");
    }
}

#[test]
fn the_value_view_steps_and_hatches() {
    let folder = written("");
    let scene = scene_in(folder.path());
    let view = |set: &str| {
        let out = folder.path().join(set.replace(['=', '.'], "-"));
        let ran = fogweft(&["render", &scene, "--out", &out.to_string_lossy(), "-q", "--set", set]);
        assert!(ran.status.success(), "{}", String::from_utf8_lossy(&ran.stderr));
        (Pixels::read(&out.join("still.png")), Pixels::read(&out.join("still.values.png")))
    };
    let extremes =
        |values: &Pixels| values.texels.iter().filter(|texel| texel[0] == 0.0 || texel[0] == 1.0).count();
    let (still, good) = view("rim.most=0.6");
    let (_, bad) = view("rim.most=0.02");
    assert_eq!(still.size, good.size);
    assert!(extremes(&good) * 10 < extremes(&bad), "{} {}", extremes(&good), extremes(&bad));
    // Off the outline, each texel is the middle of its step of 10 L*.
    let (mut right, mut counted) = (0, 0);
    for (texel, value) in still.texels.iter().zip(&good.texels) {
        let grey = value[0];
        if grey > 0.0 && grey < 1.0 {
            let own = common::lightness([texel[0], texel[1], texel[2]]);
            let step = common::lightness([grey; 3]);
            counted += 1;
            right += usize::from((own - step).abs() <= 5.6);
        }
    }
    assert!(right == counted && counted > 10_000, "{right} of {counted}");
}

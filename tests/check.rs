//! The check and the value view, through the program itself.

mod common;

use common::Pixels;
use std::collections::BTreeMap;
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
        // Behind one outline may lie another's rim: it may cost it a place in ten thousand.
        assert!(share("after") <= 0.05 && share("after") <= share("before") + 1e-4, "{slot}");
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
    for sheet in json["sheets"].as_array().expect("sheets") {
        assert!(sheet["seam"].as_f64().expect("a number") < 1.5, "{sheet}");
        assert!(sheet["repeat"].as_f64().expect("a number") >= 1.0, "{sheet}");
    }
}

/// Four posts of these CIE L*, far to near, with no fog between: whether the check finds that lightness runs one way.
fn steady(tones: [f64; 4], sets: &[&str]) -> (i32, bool) {
    let folder = tempfile::tempdir().expect("a folder");
    let mut text =
        "view = [160, 120]\ntravel = 0\nhorizon = 50\nground = 100\n[air]\nhaze = \"#c8c0b0\"\nbeyond = 0\n[rim]\nseparation = 0\n"
            .to_owned();
    for (at, wanted) in tones.into_iter().enumerate() {
        let off = |code: &u8| (common::lightness([f64::from(*code) / 255.0; 3]) - wanted).abs();
        let code = (0..=255).min_by(|a, b| off(a).total_cmp(&off(b))).expect("a code");
        let grey = f64::from(code) / 255.0;
        let post =
            Pixels::new(30, 60, |x, _| [grey, grey, grey, if (5..25).contains(&x) { 1.0 } else { 0.0 }]);
        std::fs::write(folder.path().join(format!("{at}.png")), post.png()).expect("written");
        text += &format!(
            "[[slot]]\nname = \"post-{at}\"\ndepth = {}\nart = \"{at}.png\"\nx = {}\ny = 30\nfog = false\n",
            30 - 10 * at,
            5 + 40 * at
        );
    }
    std::fs::write(folder.path().join("scene.toml"), text).expect("written");
    let (code, json) = report(&scene_in(folder.path()), sets);
    for (slot, wanted) in json["slots"].as_array().expect("slots").iter().zip(tones) {
        let tone = slot["tone"].as_f64().expect("a tone");
        assert!((tone - wanted).abs() < 0.3, "{tone} for {wanted}");
    }
    (code, json["steady"].as_bool().expect("a flag"))
}

/// Common practice, no source: lightness runs one way over depth. A step back of 2 L* or less isn't called a turn: about the
/// just noticeable difference of 2.3 (Mahy, Van Eycken & Oosterlinck 1994).
#[test]
fn lightness_that_turns_over_depth_is_told() {
    for (back, turns) in [(-4.0, false), (1.3, false), (2.7, true), (5.0, true)] {
        for (far, way) in [(70.0, -1.0), (20.0, 1.0)] {
            let tones = [far, far + way * 20.0, far + way * (20.0 - back), far + way * 45.0];
            assert_eq!(steady(tones, &[]), (0, !turns), "{tones:?}");
            assert_eq!(steady(tones, &["check.steady=true"]), (i32::from(turns), !turns), "{tones:?}");
        }
    }
}

/// Overdraw of each slot's files by counting: how many rectangles of the manifest cover places of the view, 16 to a px along x,
/// with the camera at `cameras`. Common practice, no source: overdraw is fragments drawn per pixel of the frame.
fn counted(out: &Path, cameras: &[f64]) -> BTreeMap<String, f64> {
    const FINE: usize = 16;
    let text = std::fs::read_to_string(out.join("manifest.json")).expect("a manifest");
    let manifest: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    let number = |value: &serde_json::Value| value.as_f64().expect("a number");
    let view = [0, 1].map(|axis| number(&manifest["view"][axis]) as usize);
    let mut counts: BTreeMap<String, f64> = BTreeMap::new();
    for file in manifest["files"].as_array().expect("files") {
        let rect: [f64; 4] = std::array::from_fn(|at| number(&file["rect"][at]));
        let rows = (0..view[1] * FINE)
            .map(|at| (at as f64 + 0.5) / FINE as f64 - rect[1])
            .filter(|y| (0.0..rect[3]).contains(y))
            .count();
        let mut columns = 0;
        for camera in cameras {
            let left = rect[0] - camera * number(&file["pan_rate"]);
            for x in (0..view[0] * FINE).map(|at| (at as f64 + 0.5) / FINE as f64 - left) {
                columns += match file["period"].as_f64() {
                    // Copies begin a period apart; a period shorter than the picture has them overlap.
                    Some(period) => (((x - rect[2]) / period).floor() as i64 + 1..)
                        .take_while(|turn| *turn as f64 * period <= x)
                        .count(),
                    None => usize::from((0.0..rect[2]).contains(&x)),
                };
            }
        }
        let whole = (view[0] * view[1] * FINE * FINE * cameras.len()) as f64;
        *counts.entry(file["slot"].as_str().expect("a slot").to_owned()).or_default() +=
            rows as f64 * columns as f64 / whole;
    }
    counts
}

#[test]
fn overdraw_is_what_is_drawn_over_what_is_seen() {
    // A figure partly out of the frame, one that repeats with gaps, one whose copies overlap, a sheet shorter than the view.
    let more = |name: &str, depth: i32, keys: &str| {
        format!(
            "[[slot]]\nname = \"{name}\"\ndepth = {depth}\nart = \"figure.png\"\nfog = false\nseparation = 0\n{keys}\n"
        )
    };
    let folder = written("");
    let file = folder.path().join("scene.toml");
    let text = std::fs::read_to_string(&file).expect("text")
        + "period = 70\n"
        + &more("leaving", -10, "x = -20\ny = 75")
        + &more("posts", -20, "x = 10\ny = -30\nrepeat = 97.5")
        + &more("hedge", -30, "x = 0\ny = 60\nrepeat = 41");
    std::fs::write(&file, text).expect("written");
    let scene = scene_in(folder.path());
    let (_, json) = report(&scene, &[]);
    let out = folder.path().join("out");
    let ran = fogweft(&["render", &scene, "--out", &out.to_string_lossy(), "-q"]);
    assert!(ran.status.success(), "{}", String::from_utf8_lossy(&ran.stderr));
    let cameras: Vec<f64> =
        json["cameras"].as_array().expect("places").iter().filter_map(|at| at[0].as_f64()).collect();
    assert!(cameras.len() >= 3 && cameras[0] == 0.0 && cameras[cameras.len() - 1] == 80.0, "{cameras:?}");
    let counted = counted(&out, &cameras);
    let slots = json["slots"].as_array().expect("slots");
    assert_eq!(slots.len(), counted.len());
    for slot in slots {
        let (told, found) =
            (slot["overdraw"].as_f64().expect("a number"), counted[slot["slot"].as_str().expect("a name")]);
        println!("{}: {told:.4} told, {found:.4} counted", slot["slot"]);
        assert!((told - found).abs() < 0.005 * found, "{}: {told} for {found}", slot["slot"]);
    }
    let (told, found) = (json["overdraw"].as_f64().expect("a number"), counted.values().sum::<f64>());
    assert!((told - found).abs() < 0.002 * found, "{told} for {found}");
    // The limit is held against the very number that is told.
    let broken = |limit: f64| {
        let (_, json) = report(&scene, &[&format!("check.overdraw={limit}")]);
        json["findings"]
            .as_array()
            .expect("findings")
            .iter()
            .filter(|finding| finding["fails"] == true)
            .count()
    };
    assert_eq!(broken(told * 0.999), broken(told * 1.001) + 1);
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

/// Over the loop and the drift of its fog the demo reads as it does at rest: its rims are solved for both.
#[test]
fn the_demo_reads_while_its_fog_flows() {
    let scene = format!("{}/presets/salt-marsh/scene.toml", env!("CARGO_MANIFEST_DIR"));
    let ran = fogweft(&["check", &scene, "--scale", "0.5", "--frames", "24", "--json"]);
    let json: serde_json::Value = serde_json::from_slice(&ran.stdout).expect("a report");
    assert_eq!((ran.status.code(), json["moments"].as_u64()), (Some(0), Some(6)), "{}", json["findings"]);
    for slot in json["slots"].as_array().expect("slots") {
        let share = |when: &str| slot[when]["below"].as_f64().expect("a share");
        println!("{}: {:.4} to {:.4}", slot["slot"], share("before"), share("after"));
        assert!(share("after") <= 0.05 && share("after") <= share("before"), "{slot}");
    }
}

/// A ridge and a sheet of fog that repeat edge to edge, whose edges meet or don't, in a folder of their own.
fn repeating(meets: bool) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    let along = |x: usize, width: usize| x as f64 / width as f64;
    let wave = move |x: usize, width: usize| {
        let turn = if meets { 1.0 } else { 0.75 };
        0.5 + 0.3 * libm::sin(std::f64::consts::TAU * turn * along(x, width))
    };
    let ridge = Pixels::new(96, 60, |x, y| {
        let solid = y as f64 > 60.0 * wave(x, 96);
        [0.2, 0.2, 0.25, if solid { 1.0 } else { 0.0 }]
    });
    let veil = Pixels::new(200, 40, |x, _| [0.8, 0.8, 0.8, wave(x, 200)]);
    std::fs::write(folder.path().join("ridge.png"), ridge.png()).expect("written");
    std::fs::write(folder.path().join("veil.png"), veil.png()).expect("written");
    let text = "view = [160, 90]\ntravel = 300\nhorizon = 50\nground = 80\n[air]\nhaze = \"#c8c0b0\"\nvisibility = 4000\n\
         [[slot]]\nname = \"ridge\"\ndepth = 400\nart = \"ridge.png\"\nx = 10\ny = 30\nrepeat = true\nseparation = 0\n\
         [[slot]]\nname = \"near\"\ndepth = 0\nsheet = \"veil.png\"\nperiod = 200\n";
    std::fs::write(folder.path().join("scene.toml"), text).expect("written");
    folder
}

/// The number before `words`.
fn number_before(text: &str, words: &str) -> f64 {
    let before = text.split(words).next().expect("a part").rsplit(' ').next().expect("a word");
    before.parse().unwrap_or_else(|_| panic!("{before:?} before {words:?} in {text}"))
}

/// What repeats and doesn't meet is named by plan and check, with a place at which the copies really stand side by side.
#[test]
fn edges_that_do_not_meet_are_told_with_their_place() {
    let told = |folder: &Path| {
        let scene = scene_in(folder);
        let ran = fogweft(&["plan", &scene, "--json"]);
        let plan: serde_json::Value = serde_json::from_slice(&ran.stdout).expect("a plan");
        let (_, checked) = report(&scene, &[]);
        let seams = |list: &serde_json::Value, key: Option<&str>| -> Vec<String> {
            let all = list.as_array().expect("a list").iter();
            let text =
                |one: &serde_json::Value| key.map_or(one, |key| &one[key]).as_str().expect("text").to_owned();
            all.map(text).filter(|text| text.contains("seam")).collect()
        };
        let findings = checked["findings"].clone();
        (plan.clone(), seams(&plan["notes"], None), seams(&findings, Some("message")), checked)
    };
    let (_, notes, findings, _) = told(repeating(true).path());
    assert_eq!((notes.len(), findings.len()), (0, 0), "{notes:?} {findings:?}");
    let (plan, notes, findings, checked) = told(repeating(false).path());
    assert_eq!((notes.len(), findings.len()), (2, 2), "{notes:?} {findings:?}");
    assert!(notes[0].starts_with("ridge: its picture") && notes[1].starts_with("near: its own sheet"));
    // A note doesn't fail a check.
    let all = checked["findings"].as_array().expect("findings").iter();
    assert!(
        all.filter(|one| one["message"].as_str().expect("text").contains("seam"))
            .all(|one| one["fails"] == false)
    );
    for (note, slot) in notes.iter().zip(["ridge", "near"]) {
        let file = plan["files"].as_array().expect("files").iter();
        let kind = if slot == "near" { "fog" } else { "art" };
        let file = file.clone().find(|file| file["slot"] == slot && file["kind"] == kind).expect("it");
        let number =
            |pointer: &str| file.pointer(pointer).and_then(serde_json::Value::as_f64).expect("a number");
        let x = number_before(note, " px from the left");
        let camera: f64 = note
            .split("camera place ")
            .nth(1)
            .and_then(|rest| rest.split([',', ' ']).next())
            .and_then(|word| word.parse().ok())
            .expect("a place");
        assert!((0.0..=160.0).contains(&x) && (0.0..=300.0).contains(&camera), "{note}");
        let period = number("/period");
        let left = number("/rect/0") - camera * number("/pan_rate");
        let off = (x - left).rem_euclid(period);
        assert!(off.min(period - off) <= 0.51, "{note}: {off} of {period}");
    }
}

//! The socket: what an edit does to the text, steps back and forth, saving, edits made elsewhere, several pages.

use crate::client::{SCENE, Tune, set, value};
use serde_json::{Value, json};
use std::time::{Duration, Instant};
use tungstenite::Message;

fn commented() -> String {
    SCENE
        .replace("visibility = 1500", "visibility = 1500   # far enough")
        .replace("depth = 200", "depth = 200   # the veil")
}

#[test]
fn an_edit_is_seen_saved_and_the_comments_stay() {
    let text = commented();
    let tune = Tune::start(&text);
    let mut page = tune.socket();
    let first = page.picture(0, true);
    assert_eq!(first.size, [240, 136]);
    page.act(set(None, "air.visibility", json!(700))).unwrap();
    page.act(set(Some("veil"), "slot.depth", json!(350.5))).unwrap();
    page.act(set(Some("veil"), "falloff.height", json!("inf"))).unwrap();
    let state = page.now();
    assert_eq!(value(&state, None, "air.visibility"), json!([700.0, "scene", true, 1500.0]));
    assert_eq!(value(&state, Some("veil"), "slot.depth"), json!([350.5, "slot", true, 200.0]));
    assert_eq!(value(&state, Some("veil"), "falloff.height"), json!(["inf", "slot", true, 60.0]));
    assert_eq!(value(&state, Some("hut"), "falloff.height"), json!([60.0, "scene", false]));
    assert_eq!(state["unsaved"], true);
    assert_eq!(tune.file(), text, "nothing is written before it is saved");
    let picture = page.picture(3, false);
    assert_ne!(picture.hash, first.hash);
    page.act(json!({ "do": "save" })).unwrap();
    let wanted = text
        .replace("visibility = 1500 ", "visibility = 700 ")
        .replace("depth = 200 ", "depth = 350.5 ")
        .replace("name = \"veil\"\n", "name = \"veil\"\nfalloff.height = inf\n");
    assert_eq!(tune.file(), wanted);
    assert_eq!(page.now()["unsaved"], false);
}

#[test]
fn a_gesture_is_one_step_and_steps_lead_back_to_every_byte() {
    let text = commented();
    let tune = Tune::start(&text);
    let mut page = tune.socket();
    for depth in [210, 220, 230, 240] {
        let mut message = set(Some("veil"), "slot.depth", json!(depth));
        message["gesture"] = "one drag".into();
        page.act(message).unwrap();
    }
    // The same drag again, by another name: a step of its own.
    for depth in [250, 260] {
        let mut message = set(Some("veil"), "slot.depth", json!(depth));
        message["gesture"] = "another drag".into();
        page.act(message).unwrap();
    }
    assert_eq!(page.now()["steps"], json!([2, 0]), "two gestures are two steps");
    page.act(json!({ "do": "undo" })).unwrap();
    assert_eq!(value(&page.now(), Some("veil"), "slot.depth")[0], 240.0);
    page.act(json!({ "do": "reseed", "slot": "veil" })).unwrap();
    let state = page.now();
    assert_eq!(state["steps"], json!([2, 0]));
    assert_eq!(value(&state, Some("veil"), "slot.seed")[1], "slot");
    page.act(json!({ "do": "undo" })).unwrap();
    let state = page.now();
    assert!(value(&state, Some("veil"), "slot.seed").is_null(), "the old dice are a step back");
    assert_eq!(value(&state, Some("veil"), "slot.depth")[0], 240.0);
    page.act(json!({ "do": "undo" })).unwrap();
    let state = page.now();
    assert_eq!((&state["unsaved"], &state["steps"]), (&json!(false), &json!([0, 2])));
    page.act(json!({ "do": "redo" })).unwrap();
    assert_eq!(value(&page.now(), Some("veil"), "slot.depth")[0], 240.0);
    page.act(json!({ "do": "restore", "slot": "veil", "key": "slot.depth" })).unwrap();
    assert_eq!(page.now()["unsaved"], false, "back to what was saved, to the byte");
    page.act(json!({ "do": "unset", "slot": null, "key": "air.visibility" })).unwrap();
    assert_eq!(value(&page.now(), None, "air.visibility")[1], "preset radiation-fog");
}

#[test]
fn what_cannot_stand_is_refused_and_changes_nothing() {
    let tune = Tune::start(SCENE);
    let mut page = tune.socket();
    for (slot, key, bad) in [
        (None, "air.visibility", json!(-4)),
        (None, "air.visibility", json!("far")),
        (None, "air.haze", json!("#12345")),
        (None, "no.key", json!(1)),
        (None, "slot.depth", json!(1)),
        (Some("veil"), "slot.depth", json!(-300)),
        (Some("veil"), "slot.name", json!("other")),
        (Some("nobody"), "slot.depth", json!(1)),
        (Some("veil"), "slot.art", json!("../../etc/passwd")),
        (Some("veil"), "slot.art", json!("/etc/passwd")),
        (Some("veil"), "slot.depth", json!({ "a": 1 })),
        (Some("veil"), "bands.kind", json!("[1]\n[x]")),
    ] {
        let answer = page.act(set(slot, key, bad.clone()));
        assert!(answer.is_err(), "{key} = {bad}");
    }
    for message in ["", "{", "[]", "{\"do\":\"fly\"}", "{\"do\":\"set\"}", "\u{0}"] {
        page.raw(Message::text(message));
        page.until("refused");
    }
    assert_eq!(page.now()["unsaved"], false);
    assert_eq!(page.now()["steps"], json!([0, 0]));
    // Too long a message ends that page and no other.
    page.raw(Message::text("x".repeat(100_000)));
    while page.next().is_some() {}
    assert_eq!(tune.socket().state["unsaved"], false);
    assert_eq!(tune.file(), SCENE);
}

#[test]
fn all_pages_agree() {
    let tune = Tune::start(SCENE);
    let (mut one, mut other) = (tune.socket(), tune.socket());
    one.act(set(None, "air.visibility", json!(800))).unwrap();
    let state = other.now();
    assert_eq!(value(&state, None, "air.visibility")[0], 800.0);
    other.act(json!({ "do": "undo" })).unwrap();
    assert_eq!(value(&one.now(), None, "air.visibility")[0], 1500.0);
    assert_eq!(one.now(), other.now());
    // Each looks from where it likes.
    let stamp = one.send(
        json!({ "do": "view", "view": { "camera": 0.0, "bare": true, "values": false, "compare": null } }),
    );
    let bare = one.picture(stamp, false);
    let stamp = one.send(
        json!({ "do": "view", "view": { "camera": 0.0, "bare": false, "values": true, "compare": null } }),
    );
    let values = one.picture(stamp, false);
    assert_ne!(bare.hash, values.hash);
}

fn wait(page: &mut crate::client::Socket, what: impl Fn(&Value) -> bool) {
    let start = Instant::now();
    while !what(&page.now()) {
        assert!(start.elapsed() < Duration::from_secs(20), "{}", page.state);
        std::thread::sleep(Duration::from_millis(50));
    }
}

#[test]
fn edits_made_in_an_editor_appear_and_a_broken_file_keeps_the_last_good_picture() {
    let tune = Tune::start(SCENE);
    let mut page = tune.socket();
    std::fs::write(&tune.scene, SCENE.replace("visibility = 1500", "visibility = 900")).unwrap();
    wait(&mut page, |state| value(state, None, "air.visibility")[0] == 900.0);
    assert_eq!(page.now()["unsaved"], false);
    std::fs::write(&tune.scene, SCENE.replace("visibility = 1500", "visibility = \"x\"")).unwrap();
    wait(&mut page, |state| !state["faults"].is_null());
    let state = page.now();
    let line = SCENE.lines().position(|line| line.starts_with("visibility")).unwrap() + 1;
    assert_eq!(state["faults"]["list"][0]["line"]["number"], line);
    assert_eq!(value(&state, None, "air.visibility")[0], 900.0, "the last good scene stays");
    std::fs::write(&tune.scene, SCENE).unwrap();
    wait(&mut page, |state| state["faults"].is_null() && value(state, None, "air.visibility")[0] == 1500.0);
}

#[test]
fn where_both_were_changed_nothing_is_lost() {
    let theirs = SCENE.replace("travel = 360", "travel = 300");
    for mine in [true, false] {
        let tune = Tune::start(SCENE);
        let mut page = tune.socket();
        page.act(set(None, "air.visibility", json!(700))).unwrap();
        std::fs::write(&tune.scene, &theirs).unwrap();
        wait(&mut page, |state| state["contested"] == true);
        page.act(json!({ "do": "save" })).unwrap();
        assert_eq!(tune.file(), theirs, "nothing is written over the other's");
        page.act(json!({ "do": "choose", "mine": mine })).unwrap();
        let state = page.now();
        assert_eq!(state["contested"], false);
        assert_eq!(state["unsaved"], mine);
        let looks = |state: &Value| {
            (value(state, None, "air.visibility")[0] == 700.0, state["travel"] == json!([300.0, 0.0]))
        };
        assert_eq!(looks(&state), if mine { (true, false) } else { (false, true) });
        page.act(json!({ "do": "undo" })).unwrap();
        assert_eq!(
            looks(&page.now()),
            if mine { (false, true) } else { (true, false) },
            "the other is a step back"
        );
        page.act(json!({ "do": "redo" })).unwrap();
        page.act(json!({ "do": "save" })).unwrap();
        let wanted =
            if mine { SCENE.replace("visibility = 1500", "visibility = 700") } else { theirs.clone() };
        assert_eq!(tune.file(), wanted);
    }
}

#[test]
fn a_save_that_meets_a_change_nobody_saw_yet_asks_too() {
    let tune = Tune::start(SCENE);
    let mut page = tune.socket();
    page.act(set(None, "air.visibility", json!(700))).unwrap();
    let theirs = SCENE.replace("travel = 360", "travel = 300");
    std::fs::write(&tune.scene, &theirs).unwrap();
    page.act(json!({ "do": "save" })).unwrap();
    assert_eq!(tune.file(), theirs);
    wait(&mut page, |state| state["contested"] == true);
}

#[test]
fn a_mood_is_tuned_by_its_differences() {
    let text = format!("{SCENE}\n[mood.dusk.air]\nvisibility = 500 # close\n");
    let tune = Tune::with(&text, &["--port", "0", "--mood", "dusk"]);
    let mut page = tune.socket();
    let found = value(&page.state, None, "air.visibility");
    assert_eq!((&found[0], &found[1]), (&json!(500.0), &json!("mood dusk")));
    page.act(set(None, "air.visibility", json!(400))).unwrap();
    page.act(set(Some("veil"), "smear.length", json!(80))).unwrap();
    page.act(json!({ "do": "save" })).unwrap();
    let wanted = format!("{}\n[mood.dusk.slot.veil]\nsmear.length = 80\n", text.replace("= 500", "= 400"));
    assert_eq!(tune.file(), wanted);
}

/// The controls, as a page is told of them.
pub fn controls() -> Vec<Value> {
    let tune = Tune::start(SCENE);
    tune.hello()["controls"].as_array().unwrap().clone()
}

#[test]
fn controls_are_the_schemas_with_units_and_ranges() {
    let controls = controls();
    let of = |path: &str| {
        controls.iter().find(|control| control["path"] == path).unwrap_or_else(|| panic!("{path}"))
    };
    // The same table makes the schema that editors read; what it prints is asked, not what the page was made from.
    let printed =
        std::process::Command::new(env!("CARGO_BIN_EXE_fogweft")).args(["schema", "scene"]).output().unwrap();
    let schema: Value = serde_json::from_slice(&printed.stdout).unwrap();
    assert_eq!(of("air.visibility")["schema"], schema["properties"]["air"]["properties"]["visibility"]);
    assert_eq!(of("slot.depth")["schema"], schema["properties"]["slot"]["items"]["properties"]["depth"]);
    assert_eq!(of("falloff.height")["unit"], "scene px at pan rate 1");
    let mut count = 0;
    for table in ["air", "light", "rim", "check", "texture", "bands", "falloff", "smear", "soften", "grade"] {
        count += schema["properties"][table]["properties"].as_object().unwrap().len();
    }
    // But its name, its places and its steps' tables.
    count += schema["properties"]["slot"]["items"]["properties"].as_object().unwrap().len() - 7;
    let top = schema["properties"].as_object().unwrap();
    // The lists of slots and of lamps are no keys; which other frames there are is the game's, and what the scene builds on its maker's.
    count += top.values().filter(|key| key["type"] != "object").count() - 4;
    assert_eq!(controls.len(), count, "every key but a slot's name, places and other frames has a control");
}

//! A scene that builds on another file: its values are shown as inherited, and what is changed is saved to the scene alone.

use crate::client::{SCENE, Tune, set, value};
use crate::outside::write_scene;
use serde_json::json;
use std::time::{Duration, Instant};

/// The usual scene in two files: the hut is the scene's own, all else is in the file that it builds on.
fn start() -> (Tune, std::path::PathBuf, String) {
    with("")
}

/// The same with `more` in the file that it builds on.
fn with(more: &str) -> (Tune, std::path::PathBuf, String) {
    let folder = tempfile::tempdir().unwrap();
    let at = SCENE.rfind("[[slot]]").unwrap();
    let scene = write_scene(folder.path(), &format!("from = \"common.toml\"\n\n{}", &SCENE[at..]));
    let base = scene.with_file_name("common.toml");
    let common = SCENE[..at].to_owned() + more;
    std::fs::write(&base, &common).unwrap();
    (Tune::on(scene, folder, &["--port", "0"]), base, common)
}

#[test]
fn what_is_inherited_is_shown_so_and_saved_to_the_scene_alone() {
    let (tune, base, common) = start();
    let before = tune.file();
    let mut page = tune.socket();
    let state = page.now();
    for (slot, key, shown) in [
        (None, "air.visibility", json!([1500.0, "common.toml", false])),
        (Some("veil"), "slot.depth", json!([200.0, "common.toml", false])),
        (Some("hut"), "slot.depth", json!([0.0, "slot", true])),
        (Some("hut"), "smear.length", json!([40.0, "common.toml", false])),
    ] {
        assert_eq!(value(&state, slot, key), shown, "{key}");
    }
    page.act(set(None, "air.visibility", json!(900))).unwrap();
    page.act(set(Some("veil"), "smear.length", json!(55))).unwrap();
    page.act(set(Some("veil"), "slot.depth", json!(250))).unwrap();
    let state = page.now();
    let shown = value(&state, None, "air.visibility");
    assert_eq!([&shown[0], &shown[1], &shown[2]], [&json!(900.0), &json!("scene"), &json!(true)]);
    page.act(json!({ "do": "save" })).unwrap();
    let saved = tune.file();
    let top = "from = \"common.toml\"\nair.visibility = 900\n";
    assert!(saved.starts_with(top), "{saved}");
    let own = "\n[[slot]]\nname = \"veil\"\ndepth = 250\nsmear.length = 55\n";
    assert_eq!(saved.replace(top, "from = \"common.toml\"\n").replace(own, ""), before);
    assert_eq!(std::fs::read_to_string(&base).unwrap(), common, "what the scene builds on is left alone");
    // Taken out, the inherited value holds again.
    page.act(json!({ "do": "unset", "slot": null, "key": "air.visibility" })).unwrap();
    assert_eq!(value(&page.now(), None, "air.visibility")[1], "common.toml");
    // A slot that only the other file has can be hidden, but not removed.
    page.act(json!({ "do": "hide", "slot": "ridge", "hidden": true })).unwrap();
    assert_eq!(value(&page.now(), Some("ridge"), "slot.fog")[0], false);
    let refused = page.act(json!({ "do": "remove", "slot": "sky" })).unwrap_err();
    assert!(refused.contains("no table of its own"), "{refused}");
}

#[test]
fn a_save_of_what_the_scene_builds_on_is_noticed() {
    let (tune, base, common) = start();
    let mut page = tune.socket();
    page.now();
    std::fs::write(&base, common.replace("visibility = 1500", "visibility = 777")).unwrap();
    let since = Instant::now();
    while value(&page.now(), None, "air.visibility")[0] != 777.0 {
        assert!(since.elapsed() < Duration::from_secs(60), "the page was told nothing");
        std::thread::sleep(Duration::from_millis(50));
    }
}

#[test]
fn a_lamp_that_only_the_base_has_is_changed_in_the_scene() {
    let lamp = |name: &str, x: u32| format!("[[lamp]]\nname = \"{name}\"\nslot = \"hut\"\nx = {x}\ny = 90\n");
    let (tune, base, common) = with(&format!("{}{}", lamp("gate", 160), lamp("sign", 60)));
    let mut page = tune.socket();
    page.now();
    let before = tune.file();
    // A drag of the second: each part of it says the same place in the list.
    for x in [70, 80] {
        let values = json!({ "lamp.x": x, "lamp.y": 40 });
        page.act(json!({ "do": "lamp", "at": 1, "values": values, "gesture": "drag" })).unwrap();
    }
    let state = page.now();
    let lamps: Vec<[&serde_json::Value; 3]> = state["lamps"]
        .as_array()
        .unwrap()
        .iter()
        .map(|lamp| [&lamp["name"], &lamp["x"], &lamp["y"]])
        .collect();
    assert_eq!(json!(lamps), json!([["gate", 160.0, 90.0], ["sign", 80.0, 40.0]]));
    assert_eq!(state["steps"][0], json!(1), "one drag, one step");
    page.act(json!({ "do": "save" })).unwrap();
    let saved = tune.file();
    let own = "\n[[lamp]]\nname = \"gate\"\n\n[[lamp]]\nname = \"sign\"\n";
    assert!(saved.contains(own), "{saved}");
    let without = |text: &str| text.replace(own, "").replace("x = 80\n", "").replace("y = 40\n", "");
    assert_eq!(without(&saved).trim_end(), before.trim_end());
    assert_eq!(std::fs::read_to_string(&base).unwrap(), common, "what the scene builds on is left alone");
    page.act(json!({ "do": "undo" })).unwrap();
    assert_eq!(page.now()["lamps"][1]["x"], json!(60.0));
}

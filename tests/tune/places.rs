//! Places on the page: a list of fields for each, one undo step an edit, written into the scene's text, which keeps its comments.

use crate::client::{SCENE, Tune};
use crate::controls::{open, undo_all};
use serde_json::{Value, json};

/// The small scene with two more places of its hut.
fn street() -> String {
    format!(
        "{SCENE}\n[[slot.place]] # by the gate\nx = 200\n\n[[slot.place]]\nx = 340 # far\nart = \"ridge.png\"\n"
    )
}

fn places(tune: &Tune) -> Value {
    let state = tune.socket().now();
    let slots = state["slots"].as_array().unwrap();
    slots.iter().find(|slot| slot["name"] == "hut").unwrap()["places"].clone()
}

#[test]
fn places_are_moved_mirrored_added_removed_undone_and_saved() {
    let text = street();
    let tune = Tune::start(&text);
    let Some(browser) = open(&tune) else { return };
    assert_eq!(browser.run("return document.getElementById('places').hidden"), true);
    browser.run("const select = document.getElementById('subject'); select.value = 'hut'; select.dispatchEvent(new Event('change')); document.getElementById('places').open = true;");
    let names = "[...document.querySelectorAll('.place legend')].map((one) => one.textContent)";
    assert_eq!(browser.run(&format!("return {names}")), json!(["Place 1: hut.png", "Place 2: ridge.png"]));
    if let Some(found) = browser.axe_all() {
        assert_eq!(found, json!([]));
    }
    let edit = |place: usize, key: &str, value: &str| {
        browser.run(&format!("const input = document.querySelectorAll('.place')[{place}].querySelector('[data-key={key}]'); input.value = '{value}'; input.dispatchEvent(new Event('change'));"));
    };
    let until = |at: usize, key: &str, value: Value| {
        browser.until("return document.getElementById('undo').disabled === false");
        let start = std::time::Instant::now();
        while places(&tune)[at][key] != value {
            assert!(start.elapsed().as_secs() < 20, "{key}: {}", places(&tune));
            std::thread::sleep(std::time::Duration::from_millis(50));
        }
    };
    edit(0, "x", "215.5");
    until(0, "x", json!(215.5));
    edit(0, "width", "50");
    until(0, "width", json!(50.0));
    browser.run("document.querySelectorAll('.place')[1].querySelector('[data-key=flip]').click()");
    until(1, "flip", json!(true));
    assert_eq!(tune.socket().now()["steps"][0], json!(3), "one edit, one step");
    // An empty width is the picture's own; an empty place is none.
    edit(0, "width", "");
    until(0, "width", Value::Null);
    edit(0, "x", "");
    assert_eq!(browser.run("return document.querySelector('.place [data-key=x]').checkValidity()"), false);
    browser.run("document.getElementById('place-add').click()");
    browser.until("return document.querySelectorAll('.place').length === 3");
    browser.run("document.querySelectorAll('.place button')[1].click()");
    browser.until(&format!(
        "return JSON.stringify({names}) === JSON.stringify(['Place 1: hut.png', 'Place 2: hut.png'])"
    ));
    browser.run("document.getElementById('save').click()");
    browser.until("return document.getElementById('unsaved').hidden");
    let saved = tune.file();
    for part in ["[[slot.place]] # by the gate\nx = 215.5\n", "\n[[slot.place]]\nx = "] {
        assert!(saved.contains(part) && !saved.contains("# far"), "{part} in\n{saved}");
    }
    undo_all(&tune, &browser);
    assert_eq!(tune.file(), text);
}

#[test]
fn what_cannot_stand_is_refused_and_changes_nothing() {
    let text = street();
    let tune = Tune::start(&text);
    let mut page = tune.socket();
    let place = |number: u32, key: &str, value: Value| json!({ "do": "place", "slot": "hut", "number": number, "key": key, "value": value, "gesture": null });
    for bad in [
        place(0, "place.x", json!(3)),
        place(3, "place.x", json!(3)),
        place(1, "place.x", json!("far")),
        place(1, "place.x", Value::Null),
        place(1, "place.width", json!(0)),
        place(1, "place.art", json!("none.png")),
        place(1, "slot.x", json!(3)),
        json!({ "do": "place", "slot": "none", "number": 1, "key": "place.x", "value": 3, "gesture": null }),
        json!({ "do": "add-place", "slot": "none", "x": 3 }),
        json!({ "do": "remove-place", "slot": "hut", "number": 3 }),
    ] {
        assert!(page.act(bad.clone()).is_err(), "{bad}");
    }
    assert_eq!(page.now()["unsaved"], false);
    page.act(json!({ "do": "make", "mood": "dusk" })).unwrap();
    let refused = page.act(place(1, "place.x", json!(3))).unwrap_err();
    assert!(refused.contains("a mood lists the places of a slot as a whole"), "{refused}");
}

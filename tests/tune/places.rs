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
    // A mood that lists places of its own keeps them.
    let text = text + "\n[mood.dusk]\nair.haze = \"#b07a60\"\n[[mood.dusk.slot.hut.place]]\nx = 77\n";
    let tune = Tune::start(&text);
    let mut page = tune.socket();
    page.act(json!({ "do": "mood", "name": "dusk" })).unwrap();
    assert_eq!(places(&tune)[0]["x"], 77.0);
    for edit in [
        place(1, "place.x", json!(3)),
        json!({ "do": "add-place", "slot": "hut", "x": 3 }),
        json!({ "do": "remove-place", "slot": "hut", "number": 1 }),
    ] {
        let refused = page.act(edit).unwrap_err();
        assert!(refused.contains("lists the places of the slot itself"), "{refused}");
    }
    assert_eq!(page.now()["unsaved"], false);
}

/// Places belong to the scene: with a mood chosen they are changed there, and the page says so.
#[test]
fn places_are_changed_while_a_mood_is_chosen() {
    let text = street() + "\n[mood.dusk]\nair.haze = \"#b07a60\"\n";
    let tune = Tune::start(&text);
    let Some(browser) = open(&tune) else { return };
    browser.run("const pick = (id, value) => { const one = document.getElementById(id); one.value = value; one.dispatchEvent(new Event('change')); }; pick('mood', ':dusk'); pick('subject', 'hut'); document.getElementById('places').open = true;");
    browser.until("return document.getElementById('place-mood').hidden === false");
    let told = browser.run("return document.getElementById('place-mood').textContent");
    assert!(told.as_str().unwrap().contains("holds in every mood"), "{told}");
    browser.run("const input = document.querySelector('.place [data-key=x]'); input.value = '215'; input.dispatchEvent(new Event('change'));");
    browser.until("return document.getElementById('undo').disabled === false");
    browser.run("document.getElementById('save').click()");
    browser.until("return document.getElementById('unsaved').hidden");
    assert_eq!(tune.file(), text.replace("x = 200\n", "x = 215\n"));
    browser.run("const mood = document.getElementById('mood'); mood.value = ''; mood.dispatchEvent(new Event('change'));");
    browser.until("return document.getElementById('place-mood').hidden");
    assert_eq!(places(&tune)[0]["x"], 215.0);
}

/// Smaller frames are added, changed, removed and undone, one step each, and written as one list.
#[test]
fn smaller_frames_are_added_changed_removed_undone_and_saved() {
    let tune = Tune::start(SCENE);
    let Some(browser) = open(&tune) else { return };
    let frames = || tune.socket().now()["scene"]["also_view"][0].clone();
    let until = |wanted: Value| {
        let start = std::time::Instant::now();
        while frames() != wanted {
            assert!(start.elapsed().as_secs() < 20, "{} is no {wanted}", frames());
            std::thread::sleep(std::time::Duration::from_millis(50));
        }
        browser.settle();
    };
    browser
        .run("document.getElementById('frames').open = true; document.getElementById('frame-add').click()");
    browser.until("return document.querySelectorAll('#frame-list .place').length === 1");
    let first = frames()[0].clone();
    let view = tune.socket().now()["view"].clone();
    assert!(first[0].as_f64() < view[0].as_f64() && first[1] == view[1], "{first} in {view}");
    if let Some(found) = browser.axe_all() {
        assert_eq!(found, json!([]));
    }
    let edit = |at: usize, value: &str| {
        browser.run(&format!("const input = document.querySelectorAll('#frame-list input')[{at}]; input.value = '{value}'; input.dispatchEvent(new Event('change'));"));
    };
    edit(0, "120");
    until(json!([[120.0, first[1]]]));
    // Wider than the view: it isn't sent.
    edit(0, "100000");
    assert_eq!(browser.run("return document.querySelector('#frame-list input').checkValidity()"), false);
    edit(0, "120");
    browser.run("document.getElementById('frame-add').click()");
    browser.until("return document.querySelectorAll('#frame-list .place').length === 2");
    browser.run("document.querySelector('#frame-list button').click()");
    browser.until("return document.querySelectorAll('#frame-list .place').length === 1");
    let left = frames();
    assert_ne!(left, json!([[120.0, first[1]]]));
    assert_eq!(tune.socket().now()["steps"][0], json!(4), "one edit, one step");
    browser.run("document.getElementById('save').click()");
    browser.until("return document.getElementById('unsaved').hidden");
    assert_eq!(tune.file().matches("also_view = [[").count(), 1);
    browser.run("document.querySelector('#frame-list button').click()");
    until(Value::Null);
    undo_all(&tune, &browser);
    assert_eq!(tune.file(), SCENE);
}

//! The curve along the travel on the page: points by pointer, touch and keys, one undo step each; saved; and lamps added and removed.

use crate::browser::Browser;
use crate::client::{SCENE, Tune, set, value};
use crate::controls::undo_all;
use serde_json::{Value, json};
use std::time::{Duration, Instant};

const RIGHT: &str = "\u{e014}";
const UP: &str = "\u{e013}";
const DELETE: &str = "\u{e017}";

fn open(tune: &Tune) -> Option<Browser> {
    let browser = Browser::start(true)?;
    browser.size(1366, 768);
    browser.goto(&tune.address);
    browser.until("return document.documentElement.dataset.settled === 'true' && !document.getElementById('along').hidden");
    Some(browser)
}

/// Waits until the value is as `wanted` says; returns it.
fn until(tune: &Tune, slot: Option<&str>, key: &str, wanted: impl Fn(&Value) -> bool) -> Value {
    let start = Instant::now();
    loop {
        let state = tune.socket().now();
        let found = value(&state, slot, key);
        let found = if found.is_null() { found } else { found[0].clone() };
        if wanted(&found) {
            return found;
        }
        assert!(start.elapsed().as_secs() < 20, "{key} is {found}");
        std::thread::sleep(Duration::from_millis(50));
    }
}

fn points(value: &Value) -> Vec<[f64; 2]> {
    serde_json::from_value(value.clone()).unwrap_or_default()
}

#[test]
fn a_curve_is_drawn_by_pointer_touch_and_keys_undone_and_saved() {
    let tune = Tune::start(SCENE);
    let Some(browser) = open(&tune) else { return };
    let before = browser.look("now");
    // A click in the middle, at three quarters of the height: 1.5 times as dense half way; the ends stay.
    let place = browser.run("const box = document.getElementById('along-way').getBoundingClientRect(); return [box.left + box.width / 2, box.top + box.height / 4]");
    let at: Vec<f64> = serde_json::from_value(place).unwrap();
    browser.mouse("click", [at[0].round() as i64, at[1].round() as i64]);
    let made = points(&until(&tune, None, "air.along", |found| points(found).len() == 3));
    assert_eq!([made[0], made[2]], [[0.0, 1.0], [360.0, 1.0]]);
    assert!((made[1][0] - 180.0).abs() <= 1.0 && (made[1][1] - 1.5).abs() < 0.06, "{made:?}");
    assert_eq!(tune.socket().now()["steps"][0], 1);
    let start = Instant::now();
    while browser.look("now") == before {
        assert!(start.elapsed().as_secs() < 20, "the picture stays as it was");
        std::thread::sleep(Duration::from_millis(50));
    }
    // A drag is one step, by the mouse and by a finger; points don't pass each other.
    browser.pull(".point:nth-of-type(2)", [60, 10], 5);
    let moved = points(&until(&tune, None, "air.along", |found| points(found)[1][0] > made[1][0] + 5.0));
    assert!(moved[1][1] < made[1][1], "{moved:?}");
    assert_eq!(tune.socket().now()["steps"][0], 2, "one drag, one step");
    browser.pull_by("touch", ".point:nth-of-type(2)", [560, 0], 4);
    let end = points(&until(&tune, None, "air.along", |found| points(found)[1][0] > 350.0));
    assert_eq!(end[1][0], 359.0);
    // The first point, too.
    let steps = tune.socket().now()["steps"][0].as_u64().unwrap();
    browser.pull(".point:nth-of-type(1)", [30, 4], 4);
    until(&tune, None, "air.along", |found| points(found)[0][0] > 5.0);
    assert_eq!(tune.socket().now()["steps"][0], steps + 1);
    browser.run("document.getElementById('undo').click()");
    until(&tune, None, "air.along", |found| points(found)[0] == [0.0, 1.0]);
    // By keys: right, up, away.
    browser.run("document.querySelectorAll('.point')[0].focus()");
    browser.press("", UP);
    until(&tune, None, "air.along", |found| points(found)[0] == [0.0, 1.05]);
    browser.press("", RIGHT);
    until(&tune, None, "air.along", |found| points(found)[0][0] == 2.0);
    browser.press("", DELETE);
    until(&tune, None, "air.along", |found| points(found).len() == 2);
    // A slot has a curve of its own.
    browser.run("const select = document.getElementById('subject'); select.value = 'veil'; select.dispatchEvent(new Event('change'));");
    browser.until("return document.getElementById('along-name').textContent.includes('veil') && document.querySelectorAll('.point').length === 0");
    browser.run("document.getElementById('along-add').click()");
    until(&tune, Some("veil"), "slot.along", |found| points(found).len() == 3);
    browser.run("document.getElementById('save').click()");
    browser.until("return document.getElementById('unsaved').hidden");
    let saved = tune.file();
    assert!(saved.contains("along = [[0, 1], [180, 1], [360, 1]]"), "{saved}");
    undo_all(&tune, &browser);
    assert_eq!(tune.file(), SCENE);
}

#[test]
fn a_curve_is_typed_and_what_is_no_curve_is_refused() {
    let tune = Tune::start(SCENE);
    let Some(browser) = open(&tune) else { return };
    let field = "[...document.querySelectorAll('[data-key=\"air.along\"] input')][0]";
    let type_in = |text: &str| {
        browser.run(&format!(
            "const input = {field}; input.value = '{text}'; input.dispatchEvent(new Event('change'));"
        ));
    };
    type_in("0: 0.5, 300: 2");
    until(&tune, None, "air.along", |found| points(found) == [[0.0, 0.5], [300.0, 2.0]]);
    browser.until(&format!("return {field}.value === '0: 0.5, 300: 2'"));
    browser.until("return document.querySelectorAll('.point').length === 2");
    type_in("0: 0.5, thick");
    browser.until(&format!("return {field}.getAttribute('aria-invalid') === 'true'"));
    let mut page = tune.socket();
    for bad in [json!([[4, 1], [3, 1]]), json!([[0, -1]]), json!([0, 1]), json!([[[0, 1]]]), json!("high")] {
        assert!(page.act(set(None, "air.along", bad.clone())).is_err(), "{bad}");
    }
}

#[test]
fn lamps_are_added_and_removed_on_the_page() {
    let tune = Tune::start(SCENE);
    let Some(browser) = open(&tune) else { return };
    browser.run("const select = document.getElementById('subject'); select.value = 'hut'; select.dispatchEvent(new Event('change'));");
    browser.until("return !document.getElementById('level').hidden");
    browser.run("document.getElementById('add-lamp').click()");
    browser.until(
        "return document.querySelectorAll('.lamp').length === 1 && !document.getElementById('lamp').hidden",
    );
    // On the play plane the middle of the view, half way along the travel.
    let lamp = tune.socket().now()["lamps"][0].clone();
    assert_eq!([&lamp["x"], &lamp["y"], &lamp["slot"]], [&json!(300.0), &json!(54.0), &json!("hut")]);
    browser.run("document.querySelector('.lamp').focus()");
    browser.press("", DELETE);
    browser.until(
        "return document.querySelectorAll('.lamp').length === 0 && document.getElementById('lamp').hidden",
    );
    browser.run("document.getElementById('undo').click()");
    browser.until("return document.querySelectorAll('.lamp').length === 1");
    browser.run("document.getElementById('save').click()");
    browser.until("return document.getElementById('unsaved').hidden");
    assert!(tune.file().ends_with("\n[[lamp]]\nslot = \"hut\"\nx = 300\ny = 54\n"), "{}", tune.file());
}

// A renamed slot is drawn by the same noise.
#[test]
fn a_renamed_slot_keeps_its_fog() {
    let tune = Tune::start(SCENE);
    let mut page = tune.socket();
    page.act(json!({ "do": "rename", "slot": "veil", "name": "mist" })).unwrap();
    page.act(json!({ "do": "save" })).unwrap();
    assert!(tune.file().contains("name = \"mist\"\nstream = \"veil\"\n"), "{}", tune.file());
    page.act(json!({ "do": "rename", "slot": "mist", "name": "haze" })).unwrap();
    page.act(json!({ "do": "save" })).unwrap();
    assert!(tune.file().contains("name = \"haze\"\nstream = \"veil\"\n"), "{}", tune.file());
    let seeds = |text: &str| -> Vec<u64> {
        let scene = fogweft::scene::read::read_text(
            std::path::Path::new("scene.toml"),
            text,
            &[],
            &fogweft::base::limits::Limits::default(),
            false,
        )
        .unwrap();
        scene.slots.iter().map(|slot| slot.seed).collect()
    };
    assert_eq!(seeds(&tune.file()), seeds(SCENE));
}

//! Lamps on the page: handles on the picture, moved by the pointer and by keys; their colour and numbers; one undo step each; saved.

use crate::browser::Browser;
use crate::client::{SCENE, Tune};
use crate::controls::undo_all;
use serde_json::{Value, json};

const SHIFT: &str = "\u{e008}";
const DOWN: &str = "\u{e015}";
const RIGHT: &str = "\u{e014}";

fn lit() -> String {
    format!(
        "{SCENE}\n[[lamp]] # by the gate\nname = \"gate\"\nslot = \"hut\"\nx = 160\ny = 90\nstrength = 2\n[[lamp]]\nslot = \"hut\"\nx = 60\ny = 40\n"
    )
}

fn lamp(tune: &Tune, at: usize) -> Value {
    tune.socket().now()["lamps"][at].clone()
}

#[test]
fn a_lamp_is_dragged_coloured_undone_and_saved() {
    let text = lit();
    let tune = Tune::start(&text);
    let Some(browser) = Browser::start(true) else { return };
    browser.size(1440, 900);
    browser.goto(&tune.address);
    browser.until("return document.documentElement.dataset.settled === 'true' && document.querySelectorAll('.lamp').length === 2");
    browser.keys("camera", "\u{e011}");
    browser.until("return !document.querySelectorAll('.lamp')[0].hidden && document.documentElement.dataset.settled === 'true'");
    // It goes as far as the pointer, as one step.
    let wide = browser
        .run("return document.getElementById('frame').getBoundingClientRect().width")
        .as_f64()
        .unwrap();
    let view = browser.run("return document.getElementById('now').width").as_f64().unwrap();
    assert!(view > 0.0);
    let look = browser.look("now");
    browser.pull(".lamp", [40, 20], 5);
    browser.until("return document.getElementById('undo').disabled === false");
    let first = browser
        .run("return document.querySelector('#lamp-fields input[type=number]:nth-of-type(1)') !== null");
    assert_eq!(first, json!(true));
    let moved = lamp(&tune, 0);
    let state = tune.socket().now();
    let px = 40.0 * state["view"][0].as_f64().unwrap() / wide;
    assert!((moved["x"].as_f64().unwrap() - 160.0 - px).abs() <= 1.0, "{moved}: {px}");
    assert!((moved["y"].as_f64().unwrap() - 90.0 - px / 2.0).abs() <= 1.0, "{moved}: {px}");
    assert_eq!(state["steps"][0], json!(1), "one drag, one step");
    let start = std::time::Instant::now();
    while browser.look("now")[0] == look[0] {
        assert!(start.elapsed().as_secs() < 30, "the light stays where it was");
        std::thread::sleep(std::time::Duration::from_millis(50));
    }
    // By keys, from where it is; ten times as far with Shift.
    let before = [&moved["x"], &moved["y"]].map(|place| place.as_f64().unwrap());
    browser.run("document.querySelector('.lamp').focus()");
    browser.press("", RIGHT);
    browser.press(SHIFT, DOWN);
    browser.until(&format!(
        "return document.querySelector('.lamp').getAttribute('aria-label').endsWith('{}, {} px')",
        before[0] + 1.0,
        before[1] + 10.0
    ));
    // Colour and strength of the one that is chosen.
    browser.run(
        "const colour = document.querySelector('#lamp-fields input[type=color]'); colour.value = '#80c0ff'; colour.dispatchEvent(new Event('input'));\
         const strength = document.querySelector('#lamp-fields input[type=number]'); strength.value = '5'; strength.dispatchEvent(new Event('change'));",
    );
    let start = std::time::Instant::now();
    while (lamp(&tune, 0)["colour"].clone(), lamp(&tune, 0)["strength"].as_f64())
        != (json!("#80c0ff"), Some(5.0))
    {
        assert!(start.elapsed().as_secs() < 20, "{}", lamp(&tune, 0));
        std::thread::sleep(std::time::Duration::from_millis(50));
    }
    browser.run("document.getElementById('save').click()");
    browser.until("return document.getElementById('unsaved').hidden");
    let saved = tune.file();
    for part in ["strength = 5", "colour = \"#80c0ff\"", "[[lamp]] # by the gate", "x = 60\ny = 40"] {
        assert!(saved.contains(part), "{part} in\n{saved}");
    }
    // Every step back leads to the file as it was.
    undo_all(&tune, &browser);
    assert_eq!(tune.file(), text);
}

#[test]
fn a_mood_changes_lamps_by_their_names() {
    let tune = Tune::with(&format!("{}[mood.dusk.air]\nvisibility = 400\n", lit()), &["--mood", "dusk"]);
    let mut page = tune.socket();
    let edit = |at: u32| json!({ "do": "lamp", "at": at, "values": { "lamp.x": 80, "lamp.strength": 3 } });
    page.act(edit(0)).unwrap();
    let refused = page.act(edit(1)).unwrap_err();
    assert!(refused.contains("lamp 2 has no name"), "{refused}");
    for bad in [
        json!({ "lamp.x": -4 }),
        json!({ "lamp.name": "a" }),
        json!({ "air.light": 3 }),
        json!({ "lamp.core": 0 }),
    ] {
        page.act(json!({ "do": "lamp", "at": 0, "values": bad })).unwrap_err();
    }
    page.act(json!({ "do": "lamp", "at": 7, "values": {} })).unwrap_err();
    page.act(json!({ "do": "save" })).unwrap();
    let saved = tune.file();
    assert!(saved.ends_with("[mood.dusk.lamp.gate]\nstrength = 3\nx = 80\n"), "{saved}");
    assert!(saved.contains("x = 160\ny = 90\nstrength = 2"), "{saved}");
}

//! The page in a browser under a painter's hand: reloads, refused values, quick clicks, keys, touch, many slots, the program's end.

use crate::browser::Browser;
use crate::client::{SCENE, Tune, set};
use serde_json::{Value, json};
use std::fmt::Write;

/// WebDriver (W3C), keyboard actions.
const TAB: &str = "\u{e004}";
/// Control.
const CONTROL: &str = "\u{e009}";
const UP: &str = "\u{e013}";
const DOWN: &str = "\u{e015}";
const HOME: &str = "\u{e011}";
const END: &str = "\u{e010}";
const PAGE_DOWN: &str = "\u{e00f}";

fn open(tune: &Tune) -> Option<Browser> {
    let browser = Browser::start(true)?;
    browser.size(1366, 768);
    browser.goto(&tune.address);
    drawn(&browser);
    Some(browser)
}

fn drawn(browser: &Browser) {
    browser.until(
        "return document.documentElement.dataset.settled === 'true' && document.querySelector('[data-grip]') !== null",
    );
}

fn value(browser: &Browser, key: &str) -> String {
    let script = format!("return document.querySelector('[data-key=\"{key}\"] input[type=text]').value");
    browser.run(&script).as_str().unwrap().to_owned()
}

/// Types a value and commits it.
fn type_in(browser: &Browser, key: &str, text: &str) {
    browser.run(&format!("const input = document.querySelector('[data-key=\"{key}\"] input[type=text]'); input.focus(); input.value = '{text}'; input.dispatchEvent(new Event('change'));"));
}

#[test]
fn a_reload_gets_the_section_at_once() {
    let tune = Tune::start(SCENE);
    let Some(browser) = open(&tune) else { return };
    // What nobody edits isn't told again: it must come with the greeting.
    browser.goto("about:blank");
    browser.goto(&tune.address);
    browser.until("return document.querySelectorAll('[data-grip]').length >= 4");
    let mut second = tune.socket();
    second.until("section");
}

#[test]
fn a_refused_value_stays_in_its_field_with_its_reason() {
    let tune = Tune::start(SCENE);
    let Some(browser) = open(&tune) else { return };
    let key = "air.visibility";
    let looks = format!(
        "const field = document.querySelector('[data-key=\"{key}\"]'); const input = field.querySelector('input[type=text]'); const why = document.getElementById(input.getAttribute('aria-describedby')); return [input.value, input.getAttribute('aria-invalid'), why && !why.hidden ? why.textContent : '']"
    );
    for bad in ["-3", "far"] {
        type_in(&browser, key, bad);
        browser.until(&format!("return (() => {{ {looks} }})()[1] === 'true'"));
        // Another value's change doesn't snap it back.
        let mut other = tune.socket();
        other.act(set(None, "air.light", json!(if bad == "far" { 0.3 } else { 0.4 }))).unwrap();
        browser.run("document.getElementById('stage').focus()");
        std::thread::sleep(std::time::Duration::from_millis(400));
        let found = browser.run(&looks);
        assert_eq!((&found[0], &found[1]), (&json!(bad), &json!("true")), "{found}");
        assert!(found[2].as_str().unwrap().len() > 10, "{found}");
    }
    for good in ["800", "1500"] {
        type_in(&browser, key, good);
        // The echo of the value before it may still be on its way.
        browser.until(&format!(
            "return JSON.stringify((() => {{ {looks} }})()) === JSON.stringify(['{good}', null, ''])"
        ));
    }
}

#[test]
fn three_clicks_on_undo_are_three_undos() {
    let tune = Tune::start(SCENE);
    let Some(browser) = open(&tune) else { return };
    let mut page = tune.socket();
    for visibility in [900, 800, 700] {
        page.act(set(None, "air.visibility", json!(visibility))).unwrap();
    }
    browser.until("return !document.getElementById('unsaved').hidden");
    // The last of them hides what tells of unsaved changes.
    browser.clicks("#undo", 3, 150);
    browser.until("return document.getElementById('unsaved').hidden");
    let state = page.now();
    assert_eq!((&state["steps"], &state["unsaved"]), (&json!([0, 3]), &json!(false)));
    browser.clicks("#redo", 3, 150);
    browser.until("return !document.getElementById('unsaved').hidden");
    assert_eq!(page.now()["steps"], json!([3, 0]));
}

#[test]
fn numbers_are_shown_exactly_and_step_by_keys() {
    let text =
        SCENE.replace("seed = 5\n", "seed = 123456\n").replace("visibility = 1500", "visibility = 12345.678");
    let tune = Tune::start(&text);
    let Some(browser) = open(&tune) else { return };
    assert_eq!(value(&browser, "air.visibility"), "12345.678");
    assert_eq!(value(&browser, "seed"), "123456");
    let number = || value(&browser, "air.light").parse::<f64>().unwrap();
    type_in(&browser, "air.light", "0.5");
    browser.until("return !document.getElementById('unsaved').hidden");
    let mut before = number();
    for (key, up) in [(UP, true), (DOWN, false), (PAGE_DOWN, false)] {
        browser.press("", key);
        let now = number();
        assert!(if up { now > before } else { now < before }, "{before} to {now}");
        before = now;
    }
    let mut page = tune.socket();
    let shown = |state: &Value| crate::client::value(state, None, "air.light")[0].as_f64() == Some(before);
    assert!(shown(&page.now()), "{before}");
}

#[test]
fn handles_go_to_their_ends_by_keys() {
    let tune = Tune::start(SCENE);
    let Some(browser) = open(&tune) else { return };
    for grip in ["depth/veil", "top/veil", "visibility"] {
        let number =
            format!("Number(document.querySelector('[data-grip=\"{grip}\"]').getAttribute('aria-valuenow'))");
        let now = || browser.run(&format!("return {number}")).as_f64().unwrap();
        browser.run(&format!("document.querySelector('[data-grip=\"{grip}\"]').focus()"));
        let before = now();
        browser.press("", END);
        browser.until(&format!("return {number} > {before}"));
        let most = now();
        browser.press("", HOME);
        browser.until(&format!("return {number} < {most} && {number} < {before}"));
    }
}

/// WCAG 2.2, 2.4.11: what has the focus isn't hidden under what sticks to the page.
#[test]
fn the_focus_is_never_under_something_sticky() {
    let tune = Tune::start(SCENE);
    let Some(browser) = open(&tune) else { return };
    for size in [(1366, 768), (390, 844)] {
        browser.size(size.0, size.1);
        browser.run("for (const group of document.querySelectorAll('#controls details')) group.open = true; document.getElementById('subject').focus()");
        for _ in 0..70 {
            browser.press("", TAB);
            let under = browser.run("const one = document.activeElement; const box = one.getBoundingClientRect(); if (!one.closest('#controls')) return ''; const top = document.elementFromPoint(box.left + box.width / 2, box.top + box.height / 2); return top === null || one === top || one.contains(top) || top.contains(one) ? (top === null ? 'outside ' + one.outerHTML : '') : `${one.outerHTML} under ${top.outerHTML}`");
            assert_eq!(under, json!(""), "{size:?}");
        }
    }
}

#[test]
fn a_touch_moves_a_handle_and_not_the_page() {
    let tune = Tune::start(SCENE);
    let Some(browser) = open(&tune) else { return };
    browser.size(390, 844);
    browser.run("document.getElementById('section').scrollIntoView({ block: 'end' })");
    browser.settle();
    let number = "Number(document.querySelector('[data-grip=\"top/veil\"]').getAttribute('aria-valuenow'))";
    let from = browser.run(&format!("return {number}")).as_f64().unwrap();
    let scrolled = browser.run("return scrollY");
    browser.pull_by("touch", "[data-grip=\"top/veil\"] .bar", [0, -40], 8);
    browser.until(&format!("return {number} > {from} + 5"));
    assert_eq!(browser.run("return scrollY"), scrolled);
    // One drag, though the finger went far.
    assert_eq!(tune.socket().now()["steps"], json!([1, 0]));
}

/// The small scene with forty slots more, all with long names.
fn crowd() -> String {
    let mut text = SCENE.to_owned();
    for at in 0..40 {
        let _ = write!(
            text,
            "\n[[slot]]\nname = \"a-very-long-name-of-a-thing-{at}\"\ndepth = {}\n",
            20 + 17 * at
        );
    }
    text
}

#[test]
fn names_of_forty_slots_dont_pile_up_and_each_can_be_chosen() {
    let tune = Tune::start(&crowd());
    let Some(browser) = open(&tune) else { return };
    for size in [(1366, 768), (800, 600), (390, 844)] {
        browser.size(size.0, size.1);
        browser.settle();
        let piled = browser.run(
            "const boxes = [...document.querySelectorAll('#lines .pill')].filter((one) => getComputedStyle(one).visibility === 'visible').map((one) => one.getBoundingClientRect()); \
             return [boxes.length, boxes.filter((one, at) => boxes.some((other, place) => place > at && one.left < other.right && other.left < one.right && one.top < other.bottom && other.top < one.bottom)).length]",
        );
        assert!(piled[0].as_u64().unwrap() >= 4 && piled[1] == 0, "{piled} at {size:?}");
        let spilt = browser.run("return [...document.querySelectorAll('#lines .pill-name')].filter((one) => one.getBBox().width > one.parentNode.querySelector('.pill').getBBox().width).length");
        assert_eq!(spilt, 0, "a name is wider than its tag at {size:?}");
        let wide = browser.run("return document.documentElement.scrollWidth");
        assert!(wide.as_u64().unwrap() <= u64::from(size.0), "{wide} px at {size:?}");
    }
    // By the pointer, in the midst of the crowd; its tag shows then.
    browser.size(1366, 768);
    browser.settle();
    for at in [7, 20, 33] {
        let name = format!("a-very-long-name-of-a-thing-{at}");
        browser.clicks(&format!("[data-grip=\"depth/{name}\"] .target"), 1, 50);
        browser.until(&format!("return document.getElementById('subject').value === '{name}'"));
        browser.until(&format!("return getComputedStyle(document.querySelector('[data-grip=\"depth/{name}\"] .pill')).visibility === 'visible'"));
    }
}

#[test]
fn after_the_programs_end_no_edit_is_taken() {
    let mut tune = Tune::start(SCENE);
    let Some(browser) = open(&tune) else { return };
    tune.child.kill().unwrap();
    browser.until("return document.getElementById('gone') !== null");
    let words = browser.run("return document.getElementById('gone').textContent");
    assert!(words.as_str().unwrap().contains("can't be made or saved"), "{words}");
    assert_eq!(browser.run("const [input] = document.querySelectorAll('[data-key=\"air.visibility\"] input'); input.focus(); return document.activeElement === input"), false);
}

#[test]
fn in_a_narrow_window_the_picture_stays_in_view_while_any_control_is_used() {
    let tune = Tune::start(SCENE);
    let Some(browser) = open(&tune) else { return };
    for size in [(800, 600), (390, 844)] {
        browser.size(size.0, size.1);
        browser.settle();
        browser.run("for (const group of document.querySelectorAll('#controls details')) group.open = true;");
        for key in ["air.visibility", "soften.sigma", "check.memory"] {
            browser.run(&format!(
                "document.querySelector('[data-key=\"{key}\"] input[type=text]').scrollIntoView({{ block: 'center' }})"
            ));
            browser.settle();
            let seen = browser.run(
                "const box = document.getElementById('frame').getBoundingClientRect(); return [box.top >= 0 && box.bottom <= innerHeight, box.height / innerHeight]",
            );
            assert_eq!(seen[0], true, "{seen} at {size:?}, {key}");
            let share = seen[1].as_f64().unwrap();
            assert!((0.15..0.5).contains(&share), "{seen} at {size:?}");
        }
    }
}

#[test]
fn what_is_held_is_one_step_however_long_it_stands_still() {
    let tune = Tune::start(SCENE);
    let Some(browser) = open(&tune) else { return };
    let mut page = tune.socket();
    let longer = || std::thread::sleep(std::time::Duration::from_millis(1100));
    let grip = "document.querySelector('[data-grip=\"visibility\"]')";
    browser.pull_resting("[data-grip=\"visibility\"] .seen-pill", [-20, 0], 1100);
    assert_eq!(page.now()["steps"], json!([1, 0]));
    // A key that is held repeats; pressed anew after a while it is another step.
    browser.run(&format!("{grip}.focus()"));
    browser.hold(UP, true);
    longer();
    browser.hold(UP, true);
    assert_eq!(page.now()["steps"], json!([2, 0]));
    browser.hold(UP, false);
    longer();
    browser.press("", UP);
    assert_eq!(page.now()["steps"], json!([3, 0]));
}

#[test]
fn undo_in_a_number_is_the_numbers_own() {
    let tune = Tune::start(SCENE);
    let Some(browser) = open(&tune) else { return };
    let mut page = tune.socket();
    page.act(set(None, "air.visibility", json!(900))).unwrap();
    browser.run("const select = document.getElementById('subject'); select.value = 'veil'; select.dispatchEvent(new Event('change')); document.getElementById('nib').focus();");
    browser.press("", "7");
    browser.press(CONTROL, "z");
    assert_eq!(page.now()["steps"], json!([1, 0]));
    browser.run("document.getElementById('stage').focus()");
    browser.press(CONTROL, "z");
    assert_eq!(page.now()["steps"], json!([0, 1]));
}

//! The page in a browser: every control, the way by keyboard alone, narrow and in all surroundings; how long a drag takes to be seen.

use crate::browser::Browser;
use crate::client::{SCENE, Tune};
use serde_json::{Value, json};

/// WebDriver (W3C), keyboard actions.
const TAB: &str = "\u{e004}";
const SHIFT: &str = "\u{e008}";
const CONTROL: &str = "\u{e009}";
const RIGHT: &str = "\u{e014}";
const UP: &str = "\u{e013}";
const DOWN: &str = "\u{e015}";
const HOME: &str = "\u{e011}";
const ENTER: &str = "\u{e007}";

fn open(tune: &Tune, calm: bool) -> Option<Browser> {
    let browser = Browser::start(calm)?;
    browser.size(1440, 900);
    browser.goto(&tune.address);
    settled(&browser);
    Some(browser)
}

fn settled(browser: &Browser) {
    browser.until("return document.documentElement.dataset.settled === 'true'");
}

fn unsaved(browser: &Browser) -> bool {
    browser.run("return !document.getElementById('unsaved').hidden") == true
}

/// Waits until the picture is another than `before`.
fn another(browser: &Browser, before: &Value) -> Value {
    let start = std::time::Instant::now();
    loop {
        let now = browser.look("now");
        if now[0] != before[0] {
            return now;
        }
        assert!(start.elapsed().as_secs() < 30, "the picture stays");
        std::thread::sleep(std::time::Duration::from_millis(50));
    }
}

fn focus(browser: &Browser, selector: &str) {
    for _ in 0..200 {
        browser.press("", TAB);
        if browser.run(&format!("return document.activeElement.matches(`{selector}`)")) == true {
            return;
        }
    }
    panic!("Tab doesn't lead to {selector}");
}

#[test]
fn the_main_path_goes_by_keyboard_alone() {
    let tune = Tune::start(SCENE);
    let Some(browser) = open(&tune, true) else { return };
    let mut look = browser.look("now");
    assert!(look[1].as_u64().unwrap() > 100, "not blank: {look}");
    // Pan, and see it without fog and in steps of lightness as long as a key is held.
    focus(&browser, "#stage");
    browser.press("", HOME);
    look = another(&browser, &look);
    for key in ["f", "l"] {
        browser.hold(key, true);
        let held = another(&browser, &look);
        browser.hold(key, false);
        look = another(&browser, &held);
    }
    assert!(!unsaved(&browser));
    // Move a slot in depth, its fog's top edge, and the visibility.
    settled(&browser);
    for (grip, key) in [("depth/veil", RIGHT), ("visibility", RIGHT), ("top/veil", UP)] {
        focus(&browser, &format!("[data-grip=\"{grip}\"]"));
        let number =
            format!("return document.querySelector('[data-grip=\"{grip}\"]').getAttribute('aria-valuenow')");
        let before = browser.run(&number);
        let look = browser.look("now");
        browser.press(SHIFT, key);
        another(&browser, &look);
        browser.until(&format!("return (() => {{ {number} }})() !== '{}'", before.as_str().unwrap()));
        let words = browser.run(&format!(
            "return document.querySelector('[data-grip=\"{grip}\"]').getAttribute('aria-valuetext')"
        ));
        assert!(
            words.as_str().unwrap().contains(if grip == "top/veil" { "px" } else { "depth units" }),
            "{words}"
        );
        assert_eq!(
            browser.run(&format!("return document.activeElement.dataset.grip === '{grip}'")),
            true,
            "the focus stays"
        );
    }
    assert!(unsaved(&browser));
    assert_eq!(tune.file(), SCENE);
    // Choose a slot, change a number, save.
    focus(&browser, "#subject");
    browser.press("", DOWN);
    browser.until("return !document.getElementById('reseed').hidden");
    // All but what is used most is folded.
    focus(&browser, "#controls details:not([open]) summary");
    browser.press("", ENTER);
    focus(&browser, "[data-key=\"slot.depth\"] input[type=text]");
    browser.run("document.activeElement.select()");
    for digit in ["2", "5", "0", "0"] {
        browser.press("", digit);
    }
    browser.press("", ENTER);
    browser.until(
        "return document.querySelector('[data-key=\"slot.depth\"] .change').textContent.includes('was ')",
    );
    browser.press(CONTROL, "s");
    browser.until("return document.getElementById('unsaved').hidden");
    let saved = tune.file();
    assert!(
        saved.contains("depth = 2500") && !saved.contains("visibility = 1500") && saved != SCENE,
        "{saved}"
    );
    // Steps back to the first byte, unsaved against the file.
    focus(&browser, "#undo");
    for _ in 0..4 {
        browser.press("", " ");
        std::thread::sleep(std::time::Duration::from_millis(100));
    }
    browser.until(
        "return document.getElementById('undo').disabled && !document.getElementById('unsaved').hidden",
    );
    browser.run("document.getElementById('stage').focus()");
    browser.press(CONTROL, "s");
    browser.until("return document.getElementById('unsaved').hidden");
    assert_eq!(tune.file(), SCENE);
}

/// Changes one control by the events that a hand makes, and takes that back by the undo button.
const CHANGE: &str = r#"
const wait = async (what) => { for (let turn = 0; turn < 800; turn += 1) { if (what()) return true; await new Promise((go) => setTimeout(go, 25)); } return false; };
(async () => {
  const key = 'KEY', undo = document.getElementById('undo');
  const field = document.querySelector(`.field[data-key="${key}"]`);
  const part = (kind) => field.querySelector(kind);
  const fire = (made, ...names) => names.forEach((name) => made.dispatchEvent(new Event(name, { bubbles: true })));
  const text = () => JSON.stringify([...field.querySelectorAll('input:not([hidden]),select')].map((one) => one.type === 'checkbox' ? one.checked : one.value)) + part('.who').textContent;
  const before = text();
  const slider = part('input[type=range]:not([hidden])'), box = part('input[type=checkbox]'), select = part('select'), colour = part('input[type=color]'), typed = part('input[type=text]');
  if (slider) { slider.value = Number(slider.value) > 500 ? Number(slider.value) - 60 : Number(slider.value) + 60; fire(slider, 'input', 'change'); }
  else if (box) box.click();
  else if (select) { const other = [...select.options].find((one) => one.value && one.value !== select.value); select.value = other.value; fire(select, 'change'); }
  else if (colour) { colour.value = '#8a94a0'; fire(colour, 'input', 'change'); }
  else { typed.value = key === 'texture.fit' ? 'half' : key === 'name' ? 'another' : key.endsWith('.along') ? '0: 1, 300: 2' : key === 'slot.repeat' ? 'yes' : ['slot.haze_share', 'slot.tint', 'slot.clear', 'slot.exposure', 'slot.keep', 'slot.strokes_weight'].includes(key) ? '0.5' : '300'; fire(typed, 'change'); }
  if (!await wait(() => !undo.disabled && text() !== before)) return done(`stays: ${document.getElementById('said').textContent}`);
  undo.click();
  if (!await wait(() => undo.disabled && text() === before)) return done(`not undone: ${text()} for ${before}`);
  done('good');
})();"#;

#[test]
fn every_control_changes_its_value_and_goes_back() {
    let tune = Tune::start(SCENE);
    let Some(browser) = open(&tune, true) else { return };
    let subjects = ["", "hut"];
    for subject in subjects {
        browser.run(&format!("const select = document.getElementById('subject'); select.value = '{subject}'; select.dispatchEvent(new Event('change'));"));
        browser.run("for (const group of document.querySelectorAll('#controls details')) group.open = true;");
        // Each by the events that a hand makes; then the undo button.
        let keys =
            browser.run("return [...document.querySelectorAll('.field')].map((field) => field.dataset.key)");
        let keys: Vec<&str> = keys.as_array().unwrap().iter().filter_map(Value::as_str).collect();
        assert!(keys.len() >= 40, "{}", keys.len());
        // One in four of them; all where `FOGWEFT_THOROUGH` is set.
        let step = if std::env::var_os("FOGWEFT_THOROUGH").is_some() { 1 } else { 4 };
        let given = |key: &&str| !["slot.art", "slot.strokes", "slot.sheet", "view"].contains(key);
        for key in keys.into_iter().filter(given).step_by(step) {
            let found = browser.later(&CHANGE.replace("KEY", key));
            assert_eq!(found, json!("good"), "{subject} {key}");
        }
    }
    browser.until("return document.getElementById('unsaved').hidden");
    assert_eq!(tune.file(), SCENE);
}

/// Chooses what the picture is compared with.
const COMPARE: &str = "const select = document.getElementById('compare'); select.value = 'WITH'; select.dispatchEvent(new Event('change'));";

#[test]
fn the_pointer_moves_the_section_the_divider_and_the_camera() {
    let tune = Tune::start(SCENE);
    let Some(browser) = open(&tune, true) else { return };
    let number = |selector: &str| {
        browser
            .run(&format!(
                "return Number(document.querySelector('{selector}').getAttribute('aria-valuenow'))"
            ))
            .as_f64()
            .unwrap()
    };
    for (grip, part, by) in [
        ("depth/veil", ".pill", [60, 0]),
        ("visibility", ".seen-pill", [-50, 0]),
        ("top/ridge", ".bar", [0, -18]),
    ] {
        let selector = format!("[data-grip=\"{grip}\"]");
        let (before, look) = (number(&selector), browser.look("now"));
        browser.pull(&format!("{selector} {part}"), by, 6);
        another(&browser, &look);
        browser.until(&format!(
            "return Number(document.querySelector('{selector}').getAttribute('aria-valuenow')) !== {before}"
        ));
        let grows = number(&selector) > before;
        assert_eq!(grows, grip != "visibility", "{grip}: {before} to {}", number(&selector));
    }
    // Each drag is one step.
    for left in [2, 1, 0] {
        browser.run("document.getElementById('undo').click()");
        browser.until(&format!("return document.getElementById('undo').disabled === {}", left == 0));
        std::thread::sleep(std::time::Duration::from_millis(150));
    }
    // The handle follows with the picture or soon: it is waited for, and stays where it went.
    let place = "Number(document.getElementById('camera').value)";
    let camera = || browser.run(&format!("return {place}")).as_f64().unwrap();
    let from = camera();
    browser.pull("#stage", [-200, 0], 5);
    browser.until(&format!("return {place} > {from} + 10"));
    settled(&browser);
    let there = camera();
    browser.run("document.getElementById('stage').dispatchEvent(new WheelEvent('wheel', { deltaX: -400, bubbles: true, cancelable: true }))");
    browser.until(&format!("return {place} < {there} - 40"));
    // The last saved beside what is being moved.
    browser.run(&COMPARE.replace("WITH", "saved"));
    browser.until("return !document.getElementById('other').hidden");
    browser.pull("#divider", [150, 0], 5);
    assert!(number("#divider") > 55.0);
    browser.run(&COMPARE.replace("WITH", ""));
    // A new seed; undo brings the old one back.
    browser.run("const select = document.getElementById('subject'); select.value = 'veil'; select.dispatchEvent(new Event('change'));");
    settled(&browser);
    let look = browser.look("now");
    browser.run("document.getElementById('reseed').click()");
    another(&browser, &look);
    browser.until("return !document.getElementById('undo').disabled");
    browser.run("document.getElementById('undo').click()");
    browser.until("return document.getElementById('undo').disabled");
    let said = browser.console();
    let bad: Vec<&Value> = said
        .as_array()
        .unwrap()
        .iter()
        .filter(|line| {
            !line["message"].as_str().unwrap().contains("willReadFrequently")
                && !line["message"].as_str().unwrap().contains("favicon")
        })
        .collect();
    assert!(bad.is_empty(), "{bad:?}");
}

#[test]
fn what_goes_wrong_is_said_and_fails_are_listed_and_marked() {
    // No rim may darken the sky's like: much of the outline fails.
    let text = SCENE.replace("separation = 0\n", "separation = 0\nmost = 0.02\n");
    let tune = Tune::start(&text);
    let Some(browser) = open(&tune, true) else { return };
    browser.until("return document.getElementById('marks').textContent.includes('fail')");
    // It looks like a failure, and opens the list beside the picture.
    assert_eq!(browser.run("return document.getElementById('marks').classList.contains('failed')"), true);
    browser.run("document.getElementById('marks').click()");
    assert_eq!(browser.run("const [list, picture] = ['check', 'stage'].map((id) => document.getElementById(id).getBoundingClientRect()); return list.width > 100 && list.left >= picture.right && list.top === picture.top"), true);
    browser.until("return document.querySelector('#lines .failing') !== null");
    assert!(browser.run("return document.querySelectorAll('#findings .fails').length").as_u64().unwrap() > 0);
    // From the start of the travel its art is in view.
    browser.run("document.getElementById('stage').focus()");
    browser.press("", HOME);
    browser.until("return document.querySelectorAll('#fails path').length > 0");
    browser.run("document.getElementById('marks').click()");
    assert_eq!(browser.run("return document.querySelectorAll('#fails path').length"), 0);
    // Each failure leads to the control that mends it.
    browser.run("document.getElementById('marks').click(); [...document.querySelectorAll('#findings li')].find((one) => one.querySelector('.fails')).querySelector('button:last-of-type').click()");
    let found = browser.run("return [document.activeElement.closest('.field') !== null, document.getElementById('subject').value]");
    assert_eq!(found[0], true, "{found}");
    // A broken file: the picture stays, the line is named.
    let look = browser.look("now");
    std::fs::write(&tune.scene, text.replace("travel = 360", "travel = ")).unwrap();
    browser.until("return document.getElementById('broken') !== null");
    let words = browser.run("return document.getElementById('broken').textContent");
    assert!(words.as_str().unwrap().contains("scene.toml:4:10"), "{words}");
    assert_eq!(browser.look("now"), look);
    std::fs::write(&tune.scene, &text).unwrap();
    browser.until("return document.getElementById('broken') === null");
    // Both changed.
    browser.run("document.querySelector('[data-key=\"air.visibility\"] input[type=text]').value = '800'; document.querySelector('[data-key=\"air.visibility\"] input[type=text]').dispatchEvent(new Event('change'));");
    browser.until("return !document.getElementById('unsaved').hidden");
    std::fs::write(&tune.scene, text.replace("travel = 360", "travel = 300")).unwrap();
    browser.until("return document.getElementById('contest') !== null");
    browser.run("document.querySelector('#contest button').click()");
    browser.until("return document.getElementById('contest') === null");
    // What can't stand is refused and said.
    browser.run("const input = document.querySelector('[data-key=\"air.visibility\"] input[type=text]'); input.value = '-3'; input.dispatchEvent(new Event('change'));");
    browser.until("return document.getElementById('said').textContent.includes('too small')");
}

#[test]
fn it_reads_in_all_surroundings() {
    let tune = Tune::start(SCENE);
    let Some(browser) = open(&tune, true) else { return };
    for (width, height) in [(1440, 900), (320, 640)] {
        browser.size(width, height);
        for features in [
            [("prefers-color-scheme", "dark"), ("prefers-contrast", "no-preference")],
            [("prefers-color-scheme", "light"), ("prefers-contrast", "no-preference")],
            [("prefers-color-scheme", "dark"), ("prefers-contrast", "more")],
        ] {
            browser.surroundings(&features);
            browser.settle();
            let wide = browser.run("return document.documentElement.scrollWidth");
            assert!(wide.as_u64().unwrap() <= u64::from(width), "{wide} px at {width}");
            for subject in ["", "hut"] {
                browser.run(&format!("const select = document.getElementById('subject'); select.value = '{subject}'; select.dispatchEvent(new Event('change')); for (const group of document.querySelectorAll('#controls details')) group.open = true;"));
                browser.settle();
                if let Some(found) = browser.axe() {
                    assert_eq!(found, json!([]), "accessibility at {width} px, {features:?}, {subject}");
                }
            }
            // WCAG 2.2, 2.5.8: targets of 24 px, or apart by as much.
            let small = browser.run("return [...document.querySelectorAll('button, select, input')].filter((one) => one.offsetParent && (one.offsetHeight < 24 || one.offsetWidth < 24)).map((one) => one.outerHTML.slice(0, 80))");
            assert_eq!(small, json!([]));
        }
    }
}

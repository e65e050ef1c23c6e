//! The controls in a browser, in a painter's terms: what comes first, useful ranges, sheets by their neighbours, own values, colours.

use crate::browser::Browser;
use crate::client::{SCENE, Tune, set, value};
use serde_json::{Value, json};

/// The page in a window of its own, settled and with its handles; none without a browser.
pub fn open(tune: &Tune) -> Option<Browser> {
    let browser = Browser::start(true)?;
    browser.size(1366, 768);
    browser.goto(&tune.address);
    browser.until("return document.documentElement.dataset.settled === 'true' && document.querySelector('[data-grip]') !== null");
    Some(browser)
}

/// Takes every step back, and saves.
pub fn undo_all(tune: &Tune, browser: &Browser) {
    let steps = tune.socket().now()["steps"][0].as_u64().unwrap();
    for _ in 0..steps {
        browser.run("document.getElementById('undo').click()");
    }
    browser.until("return document.getElementById('undo').disabled");
    browser.run("document.getElementById('save').click()");
    browser.until("return document.getElementById('unsaved').hidden");
}

fn choose(browser: &Browser, slot: &str) {
    browser.run(&format!("const select = document.getElementById('subject'); select.value = '{slot}'; select.dispatchEvent(new Event('change'));"));
}

#[test]
fn what_is_used_most_comes_first_and_all_else_is_folded() {
    let tune = Tune::start(SCENE);
    let Some(browser) = open(&tune) else { return };
    for slot in ["", "veil"] {
        choose(&browser, slot);
        let open = browser
            .run("return [...document.querySelectorAll('#controls > details')].map((one) => one.open)");
        let open = open.as_array().unwrap();
        assert!(open.len() > 6 && open[0] == true && open[1..].iter().all(|one| *one == false), "{open:?}");
        let names = browser.run("return [...document.querySelectorAll('#controls > details[open] label')].map((one) => one.firstChild.textContent)");
        for name in ["thickness", "top", "softness", "smear", "size", "shape", "colour"] {
            assert!(names.as_array().unwrap().iter().any(|one| one == name), "{name} of {names}");
        }
        // No control is there twice for one slot.
        let twice = browser.run("const all = [...document.querySelectorAll('.field')].map((one) => one.dataset.key + ' ' + one.dataset.slot); return all.filter((one, at) => all.indexOf(one) !== at)");
        assert_eq!(twice, json!([]));
        // Help speaks of no notation.
        let help = browser.run("return [...document.querySelectorAll('.field')].map((field) => { field.dispatchEvent(new PointerEvent('pointerenter')); return document.getElementById('hint').textContent; }).filter((text) => /`| = |in quotes|#LAYER|\\.ora/.test(text) || text.length < 12)");
        assert_eq!(help, json!([]));
    }
}

#[test]
fn a_slider_spans_a_useful_range_finer_near_its_middle_and_typing_goes_beyond() {
    let tune = Tune::start(SCENE);
    let Some(browser) = open(&tune) else { return };
    let mut page = tune.socket();
    let field = "document.querySelector('[data-key=\"grade.thickness\"]')";
    let mut slide = |place: u32| {
        browser.run(&format!("const slider = {field}.querySelector('input[type=range]'); slider.value = {place}; slider.dispatchEvent(new Event('input', {{ bubbles: true }})); slider.dispatchEvent(new Event('change'));"));
        browser.settle();
        value(&page.now(), None, "grade.thickness")[0].as_f64().unwrap()
    };
    assert_eq!([0, 500, 1000].map(&mut slide), [0.0, 1.0, 5.0]);
    let (near, far) = (slide(550) - slide(500), slide(1000) - slide(950));
    assert!(near > 0.0 && far > 2.0 * near, "{near} {far}");
    browser.run(&format!("const input = {field}.querySelector('input[type=text]'); input.focus(); input.value = '20'; input.dispatchEvent(new Event('change'));"));
    browser.until(&format!("return {field}.querySelector('input[type=range]').value === '1000'"));
    assert_eq!(value(&page.now(), None, "grade.thickness")[0], 20.0);
    // A step up goes up from there, too.
    browser.press("", "\u{e013}");
    browser.settle();
    assert!(value(&page.now(), None, "grade.thickness")[0].as_f64().unwrap() > 20.0);
}

#[test]
fn a_sheet_is_called_after_its_neighbours_and_both_stand_side_by_side() {
    let tune = Tune::start(SCENE);
    let Some(browser) = open(&tune) else { return };
    let titles =
        || browser.run("return [...document.querySelectorAll('.side h3')].map((one) => one.textContent)");
    choose(&browser, "veil");
    assert_eq!(
        titles(),
        json!(["in front: air between the hut and the veil", "behind: air between the veil and the ridge"])
    );
    let beside = browser.run("const [one, other] = [...document.querySelectorAll('.side')].map((side) => side.getBoundingClientRect()); return one.top === other.top && one.right <= other.left");
    assert_eq!(beside, true);
    // The one in front is the nearer slot's.
    let mut page = tune.socket();
    browser.run("const input = document.querySelector('.side [data-key=\"grade.thickness\"] input[type=text]'); input.focus(); input.value = '3'; input.dispatchEvent(new Event('change'));");
    browser.until("return !document.getElementById('unsaved').hidden");
    let state = page.now();
    assert_eq!(value(&state, Some("hut"), "grade.thickness")[0], 3.0);
    assert_eq!(value(&state, Some("veil"), "grade.thickness")[2], false);
    // A slot that is moved past another has other neighbours.
    page.act(set(Some("veil"), "slot.depth", json!(900))).unwrap();
    browser.until("return document.querySelector('.side h3').textContent.endsWith('the ridge and the veil')");
    choose(&browser, "sky");
    assert_eq!(titles()[1], "behind: air behind the sky");
}

#[test]
fn own_values_are_told_and_cleared_in_one_step() {
    let text = SCENE
        .replace("depth = 200\n", "depth = 200\nsmear.length = 10 # short\n")
        .replace("depth = 600\n", "depth = 600\nsmear = { length = 20 }\n");
    let tune = Tune::start(&text);
    let Some(browser) = open(&tune) else { return };
    let field = "document.querySelector('[data-key=\"smear.length\"]')";
    let words = browser.run(&format!("return {field}.querySelector('.own span').textContent"));
    assert!(["ridge", "veil"].iter().all(|name| words.as_str().unwrap().contains(name)), "{words}");
    browser.run(&format!("{field}.querySelector('.own button').click()"));
    browser.until(&format!("return {field}.querySelector('.own') === null"));
    let mut page = tune.socket();
    let state = page.now();
    assert_eq!(state["steps"], json!([1, 0]));
    for slot in ["veil", "ridge"] {
        assert_eq!(value(&state, Some(slot), "smear.length")[0], 40.0);
    }
    page.act(json!({ "do": "undo" })).unwrap();
    assert_eq!(page.now()["unsaved"], false);
    browser.until(&format!("return {field}.querySelector('.own') !== null"));
}

#[test]
fn a_colour_is_taken_from_the_picture() {
    let tune = Tune::start(SCENE);
    let Some(browser) = open(&tune) else { return };
    let pick = "document.querySelector('[data-key=\"air.haze\"] .pick')";
    // Escape ends it; a click chooses slots then.
    browser.run(&format!("{pick}.click()"));
    browser.press("", "\u{e00c}");
    assert_eq!(browser.run(&format!("return {pick}.getAttribute('aria-pressed')")), Value::Null);
    browser.run(&format!("{pick}.click()"));
    let at = browser.run("const box = document.getElementById('frame').getBoundingClientRect(); return [box.left + box.width * 0.5, box.top + box.height * 0.2]");
    let at = [0, 1].map(|axis| at[axis].as_f64().unwrap() as i64);
    let wanted = browser.run(&format!("const canvas = document.getElementById('now'), box = canvas.getBoundingClientRect(); const data = canvas.getContext('2d').getImageData(Math.floor(({} - box.left) / box.width * canvas.width), Math.floor(({} - box.top) / box.height * canvas.height), 1, 1).data; return '#' + [...data].slice(0, 3).map((code) => code.toString(16).padStart(2, '0')).join('')", at[0], at[1]));
    browser.mouse("click", at);
    browser.until("return !document.getElementById('unsaved').hidden");
    assert_eq!(value(&tune.socket().state, None, "air.haze")[0], wanted);
    assert_eq!(browser.run("return document.getElementById('subject').value"), "", "no slot was chosen");
}

#[test]
fn axe_core_finds_nothing_in_either_scheme_and_the_users_own_colours_are_legible() {
    let tune = Tune::start(SCENE);
    let Some(browser) = open(&tune) else { return };
    for features in [
        [("prefers-color-scheme", "dark"), ("prefers-contrast", "no-preference"), ("forced-colors", "none")],
        [("prefers-color-scheme", "light"), ("prefers-contrast", "no-preference"), ("forced-colors", "none")],
        [("prefers-color-scheme", "dark"), ("prefers-contrast", "more"), ("forced-colors", "none")],
        [("prefers-color-scheme", "light"), ("prefers-contrast", "more"), ("forced-colors", "none")],
        [("prefers-color-scheme", "light"), ("prefers-contrast", "more"), ("forced-colors", "active")],
    ] {
        browser.surroundings(&features);
        for slot in ["", "veil"] {
            choose(&browser, slot);
            browser.run("for (const group of document.querySelectorAll('#controls details')) group.open = true; document.getElementById('check').hidden = false;");
            browser.settle();
            if let Some(found) = browser.axe_all() {
                assert_eq!(found, json!([]), "{features:?} {slot:?}");
            }
        }
        // WCAG 2.2, 1.4.3: names on their tags by 4.5 to 1.
        let low = browser.run("
const light = (text) => { const [r, g, b] = text.match(/[\\d.]+/g).map(Number).map((code) => code / 255).map((one) => (one <= 0.04045 ? one / 12.92 : ((one + 0.055) / 1.055) ** 2.4)); return 0.2126 * r + 0.7152 * g + 0.0722 * b; };
return [...document.querySelectorAll('#lines .grip')].filter((grip) => grip.querySelector('.pill-name, .seen-name')).map((grip) => { const [tag, name] = [grip.querySelector('.pill, .seen-pill'), grip.querySelector('.pill-name, .seen-name')].map((one) => light(getComputedStyle(one).fill)); const [low, high] = [tag, name].sort((a, b) => a - b); return (high + 0.05) / (low + 0.05); }).filter((ratio) => ratio < 4.5)");
        assert_eq!(low, json!([]), "{features:?}");
    }
}

#[test]
fn a_sheet_that_is_a_picture_is_shown_and_its_recipe_says_that_it_has_no_effect() {
    let text = SCENE.replace("name = \"veil\"\n", "name = \"veil\"\nsheet = \"ridge.png\" # by hand\n");
    let tune = Tune::start(&text);
    let Some(browser) = open(&tune) else { return };
    choose(&browser, "veil");
    let notes = "[...document.querySelectorAll('#controls .inert')].map((one) => one.textContent)";
    let steps = "[...document.querySelectorAll('#controls summary .note')].filter((one) => one.textContent.includes('no effect')).length";
    let told = json!(["Its sheet is the picture ridge.png: these have no effect."]);
    assert_eq!(browser.run(&format!("return {notes}")), told);
    assert_eq!(browser.run(&format!("return {steps}")), 5);
    assert_eq!(
        browser.run("return document.querySelector('[data-key=\"slot.sheet\"] input').value"),
        "ridge.png"
    );
    assert_eq!(
        browser.run("return document.getElementById('hand').hidden"),
        true,
        "nothing can be drawn into it"
    );
    // The nearer slot's sheet is one that is made.
    choose(&browser, "hut");
    assert_eq!(browser.run(&format!("return {steps}")), 0);
    let mut page = tune.socket();
    page.act(json!({ "do": "set", "slot": "veil", "key": "slot.sheet_x", "value": 30.0, "gesture": null }))
        .unwrap();
    assert!(
        page.act(
            json!({ "do": "set", "slot": "veil", "key": "slot.sheet", "value": "none.png", "gesture": null })
        )
        .is_err()
    );
    page.act(json!({ "do": "unset", "slot": "veil", "key": "slot.sheet" })).unwrap();
    choose(&browser, "veil");
    browser.until(&format!("return {notes}.length === 0 && !document.getElementById('hand').hidden"));
    page.act(json!({ "do": "undo" })).unwrap();
    browser.until(&format!("return {notes}.length === 1"));
    page.act(json!({ "do": "undo" })).unwrap();
    page.act(json!({ "do": "save" })).unwrap();
    assert_eq!(tune.file(), text);
}

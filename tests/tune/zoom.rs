//! The picture in a browser as one works in it: its size, the texels at 100 % and more, what a click chooses, what is held to be seen.

use crate::browser::Browser;
use crate::client::{SCENE, Tune, set};
use serde_json::{Value, json};

/// The scene with a large view, so that its picture is larger than its stage at 100 %.
fn large() -> String {
    SCENE
        .replace("view = [240, 136]", "view = [1600, 900]")
        .replace("ground = 112", "ground = 740")
        .replace("horizon = 70", "horizon = 460")
}

fn open(tune: &Tune) -> Option<Browser> {
    let browser = Browser::start(true)?;
    browser.size(1366, 768);
    browser.goto(&tune.address);
    settled(&browser);
    browser.until("return document.querySelector('[data-grip]') !== null");
    Some(browser)
}

fn settled(browser: &Browser) {
    browser.until("return document.documentElement.dataset.settled === 'true'");
}

fn level(browser: &Browser, level: &str) {
    browser.until(&format!("return document.getElementById('zoom').value === '{level}'"));
}

/// The middle of the stage.
fn middle(browser: &Browser) -> [i64; 2] {
    let box_ = browser.run("const box = document.getElementById('stage').getBoundingClientRect(); return [box.left + box.width / 2, box.top + box.height / 2]");
    [0, 1].map(|at| box_[at].as_f64().unwrap() as i64)
}

fn number(browser: &Browser, script: &str) -> f64 {
    browser.run(script).as_f64().unwrap_or_else(|| panic!("{script}"))
}

#[test]
fn the_size_goes_by_wheel_keys_double_click_pinch_and_by_name() {
    let tune = Tune::start(&large());
    let Some(browser) = open(&tune) else { return };
    let at = middle(&browser);
    for wanted in ["1", "2", "4", "4"] {
        browser.wheel(at, [0, -120]);
        level(&browser, wanted);
    }
    let wide = "return document.getElementById('frame').getBoundingClientRect().width";
    assert_eq!(number(&browser, wide), 6400.0);
    browser.wheel(at, [0, 120]);
    level(&browser, "2");
    browser.run("document.getElementById('stage').focus()");
    for (key, wanted) in [("+", "4"), ("-", "2"), ("1", "1"), ("4", "4"), ("0", "0")] {
        browser.press("", key);
        level(&browser, wanted);
    }
    browser.mouse("double", at);
    level(&browser, "1");
    browser.mouse("double", at);
    level(&browser, "0");
    browser.pinch(at, [60, 200]);
    browser.until("return Number(document.getElementById('zoom').value) > 0");
    browser.pinch(at, [300, 20]);
    level(&browser, "0");
    // What lies under the pointer stays there.
    let place = |x: i64| {
        format!(
            "const box = document.getElementById('frame').getBoundingClientRect(); return ({x} - box.left) / box.width"
        )
    };
    let x = at[0] - 60;
    let before = number(&browser, &place(x));
    browser.wheel([x, at[1]], [0, -120]);
    level(&browser, "1");
    let after = number(&browser, &place(x));
    assert!((before - after).abs() < 0.002, "{before} {after}");
    // A drag moves the part in view; at the picture's edge the camera goes on.
    let camera = "return Number(document.getElementById('camera').value)";
    let from = number(&browser, camera);
    browser.pull("#stage", [60, 40], 4);
    assert_eq!(number(&browser, camera), from);
    assert!(number(&browser, &place(x)) < after - 0.02);
    for _ in 0..3 {
        browser.pull("#stage", [450, 0], 5);
    }
    browser.until(&format!("return (() => {{ {camera} }})() < {from} - 50"));
}

#[test]
fn at_100_percent_and_over_the_settled_texels_of_the_part_in_view_come_soon() {
    let tune = Tune::start(&large());
    let Some(browser) = open(&tune) else { return };
    // The whole settled picture, to compare with.
    browser.run("const from = document.getElementById('now'); const to = window.whole = document.createElement('canvas'); to.width = from.width; to.height = from.height; to.getContext('2d').drawImage(from, 0, 0); return [from.width, from.height]");
    browser.run("document.getElementById('stage').focus()");
    for (key, factor) in [("1", 1), ("2", 2), ("4", 4)] {
        browser.press("", key);
        let found = against_whole(&browser);
        assert_eq!((&found[0], &found[1]), (&json!(0), &json!(true)), "{found}");
        assert!((found[2].as_f64().unwrap() - f64::from(factor)).abs() < 1e-6, "{found}");
        assert_eq!(found[3], "pixelated");
        // What was in view before a move is taken over, the rest is drawn.
        for by in [[-90, 50], [33, -21], [150, 0]] {
            browser.pull("#stage", by, 3);
            let moved = against_whole(&browser);
            assert_eq!((&moved[0], &moved[1]), (&json!(0), &json!(true)), "{moved}");
        }
    }
    // After an edit, too: first with the rims of before, which aren't settled.
    browser.run("window.seen = []; const data = document.documentElement.dataset; new MutationObserver(() => seen.push(data.texels ? data.settled : '')).observe(document.documentElement, { attributes: true })");
    let mut page = tune.socket();
    page.act(set(None, "air.visibility", json!(900))).unwrap();
    browser.until("return document.getElementById('part').hidden");
    browser.until("return !document.getElementById('part').hidden && document.documentElement.dataset.settled === 'true'");
    let seen = browser.run("return seen.filter((one, at) => one && one !== seen[at - 1])");
    assert_eq!(seen, json!(["false", "true"]));
}

/// How many numbers of the part in view aren't those of the whole picture, whether it covers the stage, how large its texels are and how they
/// are drawn.
fn against_whole(browser: &Browser) -> Value {
    browser.until("return !document.getElementById('part').hidden && document.documentElement.dataset.settled === 'true'");
    browser.settle();
    std::thread::sleep(std::time::Duration::from_millis(300));
    browser.run("
const part = document.getElementById('part'), box = part.getBoundingClientRect(), frame = document.getElementById('frame').getBoundingClientRect(), stage = document.getElementById('stage').getBoundingClientRect();
const scale = frame.width / 1600, left = Math.round((box.left - frame.left) / scale), top = Math.round((box.top - frame.top) / scale);
const [one, other] = [part.getContext('2d').getImageData(0, 0, part.width, part.height).data, whole.getContext('2d').getImageData(left, top, part.width, part.height).data];
let off = 0; for (let at = 0; at < one.length; at += 1) off += one[at] !== other[at];
const covers = box.left <= Math.max(stage.left, frame.left) + 1 && box.right >= Math.min(stage.right, frame.right) - 1 && box.top <= stage.top + 1 && box.bottom >= Math.min(stage.bottom, frame.bottom) - 1;
return [off, covers, box.width / part.width, getComputedStyle(part).imageRendering, part.width * part.height]")
}

/// Clicks on a place of the picture, in shares of it.
fn click(browser: &Browser, share: [f64; 2]) {
    let box_ = browser.run("const box = document.getElementById('frame').getBoundingClientRect(); return [box.left, box.top, box.width, box.height]");
    let at = |axis: usize| box_[axis].as_f64().unwrap() + box_[axis + 2].as_f64().unwrap() * share[axis];
    browser.mouse("click", [at(0) as i64, at(1) as i64]);
}

fn subject(browser: &Browser, wanted: &str) {
    browser.until(&format!("return document.getElementById('subject').value === '{wanted}'"));
}

#[test]
fn a_click_on_a_thing_chooses_its_slot_then_the_next_behind_and_outlines_it() {
    let tune = Tune::start(SCENE);
    let Some(browser) = open(&tune) else { return };
    browser.run("document.getElementById('stage').focus()");
    browser.press("", "\u{e011}");
    settled(&browser);
    let hit = middle_of_hut(&tune);
    click(&browser, hit);
    subject(&browser, "hut");
    browser.until("return !document.getElementById('outline').hidden");
    // Its rings stand around the place, not on it.
    let rings = browser.run(&format!("const canvas = document.getElementById('outline'); const data = canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height).data; const at = (x, y) => data[4 * (Math.floor(y * canvas.height) * canvas.width + Math.floor(x * canvas.width)) + 3]; let count = 0; for (let at = 3; at < data.length; at += 4) count += data[at] > 0; return [at({}, {}), count]", hit[0], hit[1]));
    assert!(rings[0] == 0 && rings[1].as_u64().unwrap() > 20, "{rings}");
    let mut seen = vec!["hut".to_owned()];
    for _ in 0..3 {
        std::thread::sleep(std::time::Duration::from_millis(600));
        let before = browser.run("return document.getElementById('subject').value");
        click(&browser, hit);
        browser.until(&format!("return document.getElementById('subject').value !== {before}"));
        seen.push(
            browser.run("return document.getElementById('subject').value").as_str().unwrap().to_owned(),
        );
    }
    // Round again after the farthest.
    assert!(seen[1..].contains(&"sky".to_owned()) && seen[1..].contains(&"hut".to_owned()), "{seen:?}");
    let (sky, ridge) = (seen.iter().position(|one| one == "sky"), seen.iter().position(|one| one == "ridge"));
    assert!(ridge.is_none() || ridge < sky, "{seen:?}");
}

/// A place on the hut with the camera at the start, in shares of the view: it stands at 90, 50.
fn middle_of_hut(tune: &Tune) -> [f64; 2] {
    let picture = tune.scene.parent().unwrap().join("hut.png");
    let mut reader = png::Decoder::new(std::io::BufReader::new(std::fs::File::open(picture).unwrap()))
        .read_info()
        .unwrap();
    let mut data = vec![0; reader.output_buffer_size().unwrap()];
    let info = reader.next_frame(&mut data).unwrap();
    let wide = info.width as usize;
    let at = (0..wide * info.height as usize)
        .filter(|at| data[4 * at + 3] == 255 && data[4 * (at + 2) + 3] == 255 && at % wide > 2)
        .nth(wide * info.height as usize / 4)
        .unwrap_or(0);
    [(90.5 + (at % wide) as f64) / 240.0, (50.5 + (at / wide) as f64) / 136.0]
}

/// What the picture shows once that `fits`, settled.
fn look_until(browser: &Browser, fits: impl Fn(&Value) -> bool, what: &str) -> Value {
    let start = std::time::Instant::now();
    loop {
        settled(browser);
        let look = browser.look("now");
        if fits(&look) {
            return look;
        }
        assert!(start.elapsed().as_secs() < 30, "{what}");
        std::thread::sleep(std::time::Duration::from_millis(50));
    }
}

#[test]
fn what_is_held_is_seen_alone_and_never_written() {
    let tune = Tune::start(SCENE);
    let Some(browser) = open(&tune) else { return };
    browser.run("const select = document.getElementById('subject'); select.value = 'ridge'; select.dispatchEvent(new Event('change')); document.getElementById('stage').focus();");
    settled(&browser);
    let whole = browser.look("now");
    let mut looks: Vec<Value> = vec![whole.clone()];
    for key in ["g", "p", "o"] {
        browser.hold(key, true);
        browser.until("return document.querySelector('#alone [aria-pressed=true]') !== null");
        looks.push(look_until(&browser, |look| !looks.contains(look), key));
        browser.hold(key, false);
        browser.until("return document.querySelector('#alone [aria-pressed=true]') === null");
        look_until(&browser, |look| *look == whole, key);
    }
    // On another ground.
    browser.run("document.getElementById('ground').value = 'dark'");
    browser.hold("p", true);
    look_until(&browser, |look| !looks.contains(look), "dark");
    browser.hold("p", false);
    settled(&browser);
    assert_eq!(tune.socket().now()["unsaved"], false);
    assert_eq!(tune.file(), SCENE);
}

#[test]
fn the_picture_is_compared_with_the_saved_another_mood_and_the_moment_before() {
    let text = format!("{SCENE}\n[mood.dusk.air]\nvisibility = 300\n");
    let tune = Tune::start(&text);
    let Some(browser) = open(&tune) else { return };
    let mut page = tune.socket();
    page.act(set(None, "air.visibility", json!(900))).unwrap();
    page.act(set(None, "air.visibility", json!(600))).unwrap();
    settled(&browser);
    let mut looks: Vec<Value> = Vec::new();
    for with in ["saved", "before", ":dusk"] {
        browser.run(&format!("const select = document.getElementById('compare'); select.value = '{with}'; select.dispatchEvent(new Event('change'));"));
        browser.until(
            "return !document.getElementById('other').hidden && !document.getElementById('divider').hidden",
        );
        let look = browser.look("other");
        assert!(!looks.contains(&look), "{with}");
        looks.push(look);
    }
    // What is compared with goes with the edits: the moment before is the last but one.
    browser.run("const select = document.getElementById('compare'); select.value = 'before'; select.dispatchEvent(new Event('change'));");
    browser.until("return !document.getElementById('other').hidden");
    assert_eq!(browser.look("other"), looks[1]);
    page.act(json!({ "do": "undo" })).unwrap();
    let start = std::time::Instant::now();
    while browser.look("other") != looks[0] {
        assert!(start.elapsed().as_secs() < 20, "the moment before is what was saved");
        std::thread::sleep(std::time::Duration::from_millis(50));
    }
}

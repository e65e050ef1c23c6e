//! Drawing on the page: in a real browser, and through the socket.

use crate::browser::Browser;
use crate::client::{SCENE, Tune, set};
use serde_json::{Value, json};
use std::fs;

fn settled(browser: &Browser) {
    browser.until("return document.documentElement.dataset.settled === 'true'");
}

fn open(tune: &Tune) -> Option<Browser> {
    let browser = Browser::start(true)?;
    browser.size(1366, 768);
    browser.goto(&tune.address);
    settled(&browser);
    browser.until("return document.querySelector('[data-grip]') !== null");
    browser.run("const select = document.getElementById('subject'); select.value = 'hut'; select.dispatchEvent(new Event('change'));");
    Some(browser)
}

/// Waits until so many steps lead back, and the settled picture of the last is there.
fn steps(browser: &Browser, tune: &Tune, wanted: u64) -> Value {
    let start = std::time::Instant::now();
    while tune.socket().now()["steps"][0] != wanted {
        assert!(start.elapsed().as_secs() < 20, "{} steps", tune.socket().now()["steps"]);
        std::thread::sleep(std::time::Duration::from_millis(50));
    }
    browser.settle();
    settled(browser);
    // The last picture may still be on its way: until two looks in a row are the same.
    let mut look = browser.look("now");
    loop {
        std::thread::sleep(std::time::Duration::from_millis(700));
        settled(browser);
        let next = browser.look("now");
        if next == look {
            return look;
        }
        look = next;
    }
}

#[test]
fn strokes_are_drawn_undone_saved_and_there_after_a_reload() {
    let tune = Tune::start(SCENE);
    let Some(browser) = open(&tune) else { return };
    let plain = steps(&browser, &tune, 0);
    browser.run("document.getElementById('nib').value = 24; document.getElementById('draw').click()");
    browser.until("return document.getElementById('draw').getAttribute('aria-pressed') === 'true'");
    browser.pull("#stage", [160, -60], 12);
    let drawn = steps(&browser, &tune, 1);
    assert_ne!(drawn, plain);
    // The tool doesn't pan.
    browser.run("document.getElementById('clear').click()");
    browser.pull("#stage", [-120, 20], 9);
    let cleared = steps(&browser, &tune, 2);
    assert_ne!(cleared, drawn);
    browser.run("document.getElementById('undo').click()");
    assert_eq!(steps(&browser, &tune, 1), drawn);
    browser.run("document.getElementById('undo').click()");
    assert_eq!(steps(&browser, &tune, 0), plain);
    for (count, look) in [(1, &drawn), (2, &cleared)] {
        browser.run("document.getElementById('redo').click()");
        assert_eq!(steps(&browser, &tune, count), *look);
    }
    let folder = tune.scene.parent().expect("a folder");
    let file = folder.join("hut.strokes.svg");
    assert!(!file.exists() && tune.file() == SCENE);
    browser.run("document.getElementById('save').click()");
    browser.until("return document.getElementById('unsaved').hidden");
    assert!(tune.file().contains("strokes = \"hut.strokes.svg\""), "{}", tune.file());
    let svg = fs::read_to_string(&file).expect("saved");
    assert_eq!((svg.matches("<path ").count(), svg.matches("stroke=\"#000\"").count()), (2, 1), "{svg}");
    browser.run("location.reload()");
    browser.until("return document.getElementById('save')?.disabled && document.documentElement.dataset.settled === 'true'");
    browser.settle();
    assert_eq!(browser.look("now"), cleared);
    // What another program draws there is taken over.
    fs::write(&file, svg.replace("#000", "#fff")).expect("written");
    let start = std::time::Instant::now();
    while browser.look("now") == cleared {
        assert!(start.elapsed().as_secs() < 20, "the page doesn't show the changed file");
        std::thread::sleep(std::time::Duration::from_millis(50));
    }
}

fn stroke(slot: &str, points: &[[f64; 2]], gesture: &str) -> Value {
    let stroke = json!({ "slot": slot, "points": points, "camera": 0, "width": 12, "strength": 0.8, "clear": false, "gesture": gesture });
    json!({ "do": "stroke", "held": false, "stroke": stroke })
}

/// While a nib is held only what it changes is sent; a page that is opened then gets the whole, and sees the same.
#[test]
fn the_parts_that_are_sent_of_a_stroke_come_to_the_whole() {
    let tune = Tune::demo();
    let mut page = tune.socket();
    page.act(set(None, "rim.separation", json!(0))).expect("set");
    let mut points = vec![[700.0, 560.0]];
    for (turn, slot) in ["barge", "barge", "hut"].into_iter().enumerate() {
        for step in 0..8 {
            points.push([points[0][0] + 30.0 * f64::from(step), 560.0 - 9.0 * f64::from(step)]);
            let gesture = turn.to_string();
            let stroke = json!({ "slot": slot, "points": points, "camera": 960, "width": 40, "strength": 1, "clear": turn == 1, "gesture": gesture });
            let stamp = page.send(json!({ "do": "stroke", "held": step < 7, "stroke": stroke }));
            page.picture(stamp, false);
        }
        points = vec![[500.0 + 200.0 * turn as f64, 640.0]];
    }
    assert!(page.parts >= 12, "{} of 24 drafts came in part", page.parts);
    let (one, whole) = loop {
        let mut other = tune.socket();
        other.until("picture");
        let (one, whole) = (page.draft.take().expect("a draft"), other.draft.expect("a draft"));
        if one.size == whole.size {
            break (one, whole);
        }
        // They are smaller since the last one, as on a slow machine: the next is of that size.
        let stamp = page.send(set(None, "air.visibility", json!(1000 + whole.size[0])));
        page.picture(stamp, false);
    };
    let off: Vec<u8> = one.codes.iter().zip(&whole.codes).map(|(a, b)| a.abs_diff(*b)).collect();
    let others = off.iter().filter(|off| **off > 0).count();
    let most = off.iter().copied().max();
    // What stays while somebody draws is composed by itself, and rounded to 16 bits once more.
    assert!(most <= Some(1) && others < off.len() / 400, "{others} of {}, at most {most:?}", off.len());
}

#[test]
fn a_stroke_is_one_path_at_its_place_and_outlives_the_program() {
    let tune = Tune::start(SCENE);
    let mut page = tune.socket();
    for points in
        [&[[30.0, 40.0]][..], &[[30.0, 40.0], [60.0, 40.0]], &[[30.0, 40.0], [60.0, 40.0], [90.0, 70.0]]]
    {
        page.act(stroke("veil", points, "one")).expect("drawn");
    }
    assert_eq!(page.now()["steps"][0], 1);
    page.act(stroke("veil", &[[10.0, 10.0]], "two")).expect("drawn");
    for wrong in
        [stroke("nobody", &[[1.0, 1.0]], "x"), stroke("veil", &[], "x"), stroke("veil", &[[1e9, 0.0]], "x")]
    {
        assert!(page.act(wrong).is_err());
    }
    page.act(json!({ "do": "save" })).expect("saved");
    let file = tune.scene.with_file_name("veil.strokes.svg");
    let svg = fs::read_to_string(&file).expect("saved");
    let paths: Vec<&str> = svg.lines().filter(|line| line.starts_with("<path ")).collect();
    assert_eq!(paths.len(), 2, "{svg}");
    assert!(paths[0].contains("d=\"M30.00 40.00L60.00 40.00L90.00 70.00\""), "{svg}");
    assert!(paths[0].contains("stroke-opacity=\"0.8\" stroke-width=\"12.00\""), "{svg}");
    // Unsaved strokes are kept beside the scene.
    page.act(stroke("veil", &[[70.0, 20.0], [80.0, 20.0]], "three")).expect("drawn");
    page.act(stroke("ridge", &[[70.0, 20.0], [80.0, 20.0]], "four")).expect("drawn");
    let unsaved = tune.scene.with_file_name("scene.toml.unsaved");
    let start = std::time::Instant::now();
    while !fs::read_to_string(&unsaved).is_ok_and(|text| text.contains("ridge.strokes.svg\",")) {
        assert!(start.elapsed().as_secs() < 20, "unsaved strokes aren't kept");
        std::thread::sleep(std::time::Duration::from_millis(50));
    }
    let again = tempfile::tempdir().expect("a folder");
    for entry in fs::read_dir(tune.scene.parent().expect("a folder")).expect("read").flatten() {
        if entry.path().is_file() {
            fs::copy(entry.path(), again.path().join(entry.file_name())).expect("copied");
        }
    }
    let other = Tune::on(again.path().join("scene.toml"), again, &["--port", "0"]);
    let mut page = other.socket();
    page.act(json!({ "do": "recover", "take": true })).expect("taken over");
    page.act(json!({ "do": "save" })).expect("saved");
    let svg = fs::read_to_string(other.scene.with_file_name("veil.strokes.svg")).expect("saved");
    assert_eq!(svg.matches("<path ").count(), 3, "{svg}");
    assert!(other.scene.with_file_name("ridge.strokes.svg").exists());
    assert!(!other.file().contains("# drawing"), "{}", other.file());
}

//! The preview page: what it says of itself, and what a browser makes of it.

use crate::browser::Browser;
use crate::outside::{SCENE, render, write_scene};
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use std::path::{Path, PathBuf};

fn page(folder: &Path) -> PathBuf {
    let scene = write_scene(folder, SCENE);
    render(&scene, &folder.join("out"), &["--also", "preview"]);
    folder.join("out/preview.html")
}

#[test]
fn the_page_needs_nothing_but_itself() {
    let folder = tempfile::tempdir().unwrap();
    let text = std::fs::read_to_string(page(folder.path())).unwrap();
    assert!(!text.contains("http:") && !text.contains("https:") && !text.contains("//cdn"));
    for name in [" src=", " href=", "@import", "url("] {
        assert!(!text.contains(name), "{name}");
    }
    // Content Security Policy Level 3: what runs is named by its hash.
    let between = |from: &str, to: &str| {
        let start = text.find(from).unwrap() + from.len();
        &text[start..start + text[start..].find(to).unwrap()]
    };
    let policy = between("Content-Security-Policy\" content=\"", "\"");
    assert!(policy.starts_with("default-src 'none'") && !policy.contains("unsafe"));
    for (tag, end) in [("<style>", "</style>"), ("<script>", "</script>")] {
        let hash: String =
            Sha256::digest(between(tag, end).as_bytes()).iter().map(|byte| format!("{byte:02x}")).collect();
        let named = policy.split("'sha256-").skip(1).map(|rest| rest.split('\'').next().unwrap());
        let named: Vec<String> = named.map(hex_of_base64).collect();
        assert!(named.contains(&hash), "{tag}");
    }
    let data: Value = serde_json::from_str(between("id=\"stack\">", "</script>")).unwrap();
    let layers = data["layers"].as_array().unwrap();
    let kinds = |slot: &str| -> Vec<&str> {
        let own = layers.iter().filter(|layer| layer["slot"] == slot);
        own.map(|layer| layer["kind"].as_str().unwrap()).collect()
    };
    assert_eq!(layers.len(), 8);
    assert_eq!(kinds("hut"), ["fog", "rim", "art"], "a rim lies between what is behind and its art");
    assert_eq!(kinds("ridge"), ["fog", "art"]);
    assert_eq!(kinds("veil"), ["fog"]);
    // Fog drifts by the slot's pan rate, pictures don't; 12 scene px a second is what a scene has where it says nothing.
    for layer in layers {
        let rate = layer["rate"].as_f64().unwrap();
        let wanted = if layer["kind"] == "fog" { 12.0 * rate } else { 0.0 };
        assert!((layer["drift"].as_f64().unwrap() - wanted).abs() < 1e-9, "{}", layer["slot"]);
    }
}

fn hex_of_base64(text: &str) -> String {
    let digits = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let bits: String =
        text.trim_end_matches('=').chars().map(|c| format!("{:06b}", digits.find(c).unwrap())).collect();
    bits.as_bytes()
        .chunks_exact(8)
        .map(|byte| format!("{:02x}", u8::from_str_radix(std::str::from_utf8(byte).unwrap(), 2).unwrap()))
        .collect()
}

#[test]
fn a_browser_pans_it_without_a_fault() {
    let folder = tempfile::tempdir().unwrap();
    let path = page(folder.path());
    let Some(browser) = Browser::start(false) else { return };
    browser.open(&path);
    browser.until("return document.documentElement.dataset.ready === 'yes'");
    let click = |id: &str| browser.run(&format!("document.getElementById('{id}').click(); return 0"));
    // Fog drifts, until it is paused.
    let first = browser.look("picture");
    assert!(first[1].as_u64().unwrap() > 100, "not blank: {first}");
    std::thread::sleep(std::time::Duration::from_millis(600));
    assert_ne!(first, browser.look("picture"), "fog drifts");
    click("pause");
    std::thread::sleep(std::time::Duration::from_millis(200));
    let still = browser.look("picture");
    std::thread::sleep(std::time::Duration::from_millis(300));
    assert_eq!(still, browser.look("picture"), "paused");

    // Keys, pointer and the slider pan.
    let place = || browser.run("return Number(document.getElementById('camera').value)").as_f64().unwrap();
    assert_eq!(place(), 180.0);
    browser.keys("stage", "\u{e011}");
    assert_eq!(place(), 0.0, "Home");
    browser.keys("stage", "\u{e014}");
    assert_eq!(place(), 6.0, "a fortieth of the view to the right");
    browser.settle();
    let before = browser.look("picture");
    for kind in ["mouse", "touch"] {
        let from = place();
        browser.drag("stage", -120, kind);
        assert!(place() > from + 10.0, "{kind}: {} from {from}", place());
    }
    browser.settle();
    assert_ne!(before, browser.look("picture"), "panned");

    // Switches.
    for id in ["rim", "fog", "values", "labels"] {
        let before = browser.shot();
        click(id);
        browser.settle();
        assert_ne!(before, browser.shot(), "{id}");
    }
    let names = browser.run("return [...document.querySelectorAll('.name')].filter((name) => !name.hidden).map((name) => name.textContent)");
    assert!(names.as_array().unwrap().contains(&json!("veil")), "{names}");

    assert_eq!(browser.run("return performance.getEntriesByType('resource').filter((entry) => !entry.name.startsWith('data:')).length"), 0);
    if let Some(found) = browser.axe() {
        assert_eq!(found, json!([]), "accessibility");
    }
    // Reading the canvas back is the test's own doing.
    let said = browser.console();
    let said: Vec<&Value> = said
        .as_array()
        .unwrap()
        .iter()
        .filter(|line| {
            let message = line["message"].as_str().unwrap();
            // An imitated graphics processor is told of, too.
            !message.contains("willReadFrequently") && !message.contains("WebGL")
        })
        .collect();
    assert!(said.is_empty(), "{said:?}");
}

#[test]
fn who_asks_for_less_motion_gets_none() {
    let folder = tempfile::tempdir().unwrap();
    let path = page(folder.path());
    let Some(browser) = Browser::start(true) else { return };
    browser.open(&path);
    browser.until("return document.documentElement.dataset.ready === 'yes'");
    browser.settle();
    let first = browser.look("picture");
    std::thread::sleep(std::time::Duration::from_millis(500));
    assert_eq!(first, browser.look("picture"));
    assert_eq!(browser.run("return document.getElementById('pause').textContent"), "Resume drift");
}

#[test]
fn it_fits_the_window_with_its_controls_in_either_scheme_and_names_dont_pile_up() {
    let folder = tempfile::tempdir().unwrap();
    let path = page(folder.path());
    let Some(browser) = Browser::start(true) else { return };
    browser.size(1366, 768);
    let mut grounds = Vec::new();
    for scheme in ["dark", "light"] {
        browser.surroundings(&[("prefers-color-scheme", scheme)]);
        browser.open(&path);
        browser.until("return document.documentElement.dataset.ready === 'yes'");
        browser.run("document.getElementById('labels').click(); return 0");
        browser.settle();
        let fits = browser.run("const boxes = ['stage', 'controls', 'pause'].map((id) => document.getElementById(id).getBoundingClientRect()); return [document.documentElement.scrollHeight <= innerHeight, boxes.every((box) => box.top >= 0 && box.bottom <= innerHeight), boxes[0].height > innerHeight * 0.6]");
        assert_eq!(fits, json!([true, true, true]), "{scheme}");
        let piled = browser.run("const boxes = [...document.querySelectorAll('.name')].filter((one) => !one.hidden).map((one) => one.getBoundingClientRect()); return boxes.filter((one, at) => boxes.some((other, place) => place > at && one.left < other.right && other.left < one.right && one.top < other.bottom && other.top < one.bottom)).length");
        assert_eq!(piled, 0);
        if let Some(found) = browser.axe_all() {
            assert_eq!(found, json!([]), "{scheme}");
        }
        grounds.push(browser.run("return getComputedStyle(document.body).backgroundColor"));
    }
    assert_ne!(grounds[0], grounds[1]);
}

/// The script's own bound on a frame is lifted, so that the way by WebGL is taken wherever there is one, imitated or not.
#[test]
fn both_ways_of_drawing_show_the_same() {
    let folder = tempfile::tempdir().unwrap();
    let path = page(folder.path());
    let text = std::fs::read_to_string(&path).unwrap();
    let policy = text.find("<meta http-equiv").unwrap();
    let rest = policy + text[policy..].find('>').unwrap() + 1;
    let mut looks = Vec::new();
    for bound in ["-1", "1e9"] {
        let fresh = format!("{}{}", &text[..policy], &text[rest..])
            .replace("const FRAME = 8;", &format!("const FRAME = {bound};"));
        assert!(fresh.contains(&format!("FRAME = {bound};")));
        std::fs::write(&path, fresh).unwrap();
        let Some(browser) = Browser::start(true) else { return };
        browser.open(&path);
        browser.until("return document.documentElement.dataset.ready === 'yes'");
        browser.settle();
        looks.push(browser.run("const canvas = document.getElementById('picture'), copy = document.createElement('canvas'); [copy.width, copy.height] = [canvas.width, canvas.height]; const pen = copy.getContext('2d'); pen.drawImage(canvas, 0, 0); return [...pen.getImageData(0, 0, copy.width, copy.height).data].filter((_, at) => at % 4 < 3)"));
    }
    let codes =
        |look: &Value| -> Vec<i64> { look.as_array().unwrap().iter().filter_map(Value::as_i64).collect() };
    let (plain, quick) = (codes(&looks[0]), codes(&looks[1]));
    assert!(plain.len() == quick.len() && plain.iter().max() > plain.iter().min());
    let off: Vec<i64> = plain.iter().zip(&quick).map(|(a, b)| (a - b).abs()).collect();
    let mean = off.iter().sum::<i64>() as f64 / off.len() as f64;
    // Rounding of each layer; at edges the two sample by other rules.
    let far = off.iter().filter(|off| **off > 12).count() as f64 / off.len() as f64;
    assert!(mean < 3.0 && far < 0.01, "{mean} {far}");
}

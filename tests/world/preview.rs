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
        .filter(|line| !line["message"].as_str().unwrap().contains("willReadFrequently"))
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
    assert_eq!(browser.run("return document.getElementById('pause').getAttribute('aria-pressed')"), "true");
}

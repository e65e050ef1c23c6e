//! Random edits through the socket: whatever they are, the program stands, its memory stays, and the file is what the page holds.
//!
//! `FOGWEFT_EDITS` says how many; 10,000 is what a release is held to.

use crate::client::{SCENE, Socket, Tune, memory, value};
use serde_json::{Value, json};

struct Dice(u64);

impl Dice {
    /// Marsaglia, "Xorshift RNGs", 2003.
    fn next(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0
    }

    fn below(&mut self, count: usize) -> usize {
        (self.next() % count as u64) as usize
    }

    fn share(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }
}

/// A value that a key's schema allows most of the time.
fn random(dice: &mut Dice, key: &str, schema: &Value) -> Value {
    if key == "bands.octaves" {
        // More are refused with the picture, by a limit that no schema has: no new picture would be drawn from there on.
        return json!(1 + dice.below(10));
    }
    let part = match schema["anyOf"].as_array() {
        Some(parts) => &parts[dice.below(parts.len())],
        None => schema,
    };
    if dice.below(40) == 0 {
        return [json!(-1e12), json!("nonsense\n\"]"), json!(true), json!([1, 2, 3]), json!("inf")]
            [dice.below(5)]
        .clone();
    }
    if let Some(words) = part["enum"].as_array() {
        return words[dice.below(words.len())].clone();
    }
    if let (Some(min), Some(max)) = (part["minimum"].as_f64(), part["maximum"].as_f64()) {
        let near = min.max(-200.0)..=max.min(600.0);
        let number = near.start() + (near.end() - near.start()).max(0.0) * dice.share();
        return if part["type"] == "integer" {
            json!(number.floor().max(min) as i64)
        } else {
            json!((number * 100.0).round() / 100.0)
        };
    }
    match part["type"].as_str() {
        Some("boolean") => json!(dice.below(2) == 0),
        Some("string") if part["pattern"].is_string() => json!(format!("#{:06x}", dice.next() & 0xff_ffff)),
        _ => json!("radiation-fog"),
    }
}

#[test]
fn random_edits_leave_the_file_valid_and_equal_to_the_page() {
    let count: usize = std::env::var("FOGWEFT_EDITS").ok().and_then(|text| text.parse().ok()).unwrap_or(300);
    let tune = Tune::start(SCENE);
    let mut page = tune.socket();
    let mut other = tune.socket();
    other.send(json!({ "do": "view", "camera": 0.0, "bare": false, "values": false, "compare": true }));
    let controls = crate::wire::controls();
    let mut dice = Dice(0x9e37_79b9_7f4a_7c15);
    let slots = ["sky", "ridge", "veil", "hut"];
    let (mut refused, mut start) = (0, 0);
    for at in 0..count {
        // Once every kind of layer has been kept.
        if at == count / 3 {
            drawn(&mut page, 0);
            start = memory(&tune.child).unwrap_or(0);
        }
        let slot = slots[dice.below(4)];
        let gesture = json!(format!("g{}", at / 3));
        let message = match dice.below(20) {
            0 => json!({ "do": "undo" }),
            1 => json!({ "do": "redo" }),
            2 => json!({ "do": "dice", "slot": slot }),
            3 => json!({ "do": "save" }),
            4 => {
                json!({ "do": "view", "camera": dice.share() * 360.0, "bare": false, "values": dice.below(4) == 0, "compare": false })
            }
            kind => {
                let control = &controls[dice.below(controls.len())];
                let key = control["path"].as_str().unwrap();
                let of_slot = control["table"] == "slot";
                let is_step = ["bands", "falloff", "smear", "soften", "grade"]
                    .contains(&control["table"].as_str().unwrap());
                let slot = (of_slot || (is_step && dice.below(2) == 0)).then_some(slot);
                // Sizes stay such that a picture takes no time.
                if ["view", "travel", "camera", "slot.width", "slot.period", "name", "slot.art"]
                    .contains(&key)
                {
                    continue;
                }
                match kind {
                    5 => json!({ "do": "unset", "slot": slot, "key": key }),
                    6 => json!({ "do": "restore", "slot": slot, "key": key }),
                    _ => {
                        json!({ "do": "set", "slot": slot, "key": key, "value": random(&mut dice, key, &control["schema"]), "gesture": gesture })
                    }
                }
            }
        };
        if message["do"] == "view" {
            page.send(message);
        } else if page.act(message).is_err() {
            refused += 1;
        }
        if at % 50 == 49 {
            page.act(json!({ "do": "save" })).unwrap();
            let text = tune.file();
            let document: toml_edit::DocumentMut = text.parse().expect("valid TOML");
            let state = page.now();
            assert_eq!(state["unsaved"], false);
            // The file's number is the page's.
            let haze = document.get("air").and_then(|air| air.get("haze")).and_then(|haze| haze.as_str());
            let shown = value(&state, None, "air.haze");
            assert!(
                shown[2] == false
                    || shown[0].as_str().is_some_and(|colour| haze.is_some_and(|haze| same(haze, colour))),
                "{haze:?} {shown}"
            );
            fogweft::scene::read::read_text(&tune.scene, &text, &[], &Default::default(), true)
                .expect("a scene");
        }
    }
    assert!(refused < count / 2, "{refused} of {count} refused");
    let stamp =
        page.send(json!({ "do": "view", "camera": 1.0, "bare": false, "values": false, "compare": false }));
    drawn(&mut page, stamp);
    let end = memory(&tune.child).unwrap_or(0);
    println!("{count} edits, {refused} refused; memory {start} kB after a third, {end} kB at the end");
    if count >= 3000 {
        assert!(end as f64 <= start as f64 * 1.2, "{start} kB to {end} kB");
    }
}

/// Waits for a picture that holds what `stamp` changed, draft or settled: where nothing is left to settle there is no draft; or for the
/// word that this can't be drawn.
fn drawn(page: &mut Socket, stamp: u64) {
    while !page.undrawn && !page.pictures.iter().any(|one| u64::from(one.stamp) >= stamp && one.kind == 0) {
        page.next().expect("still there");
    }
}

fn same(one: &str, other: &str) -> bool {
    one.eq_ignore_ascii_case(other) || one.len() == 4
}

//! Random edits through the socket: whatever they are, the program stands, its memory stays, and the file is what the page holds.
//!
//! `FOGWEFT_EDITS` says how many; 10,000 is what a release is held to.

use crate::client::{Picture, SCENE, Socket, Tune, memory};
use serde_json::{Value, json};
use std::collections::HashSet;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

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
    if key == "slot.repeat" && dice.below(2) == 0 {
        // As below: a picture that repeats more closely is refused by the number of its copies.
        return json!(20 + dice.below(500));
    }
    if key == "slot.repeat" {
        return json!(dice.below(2) == 0);
    }
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
        Some("array") if part["items"]["type"] == "array" => {
            // Most rise along the travel.
            let points = (0..1 + dice.below(4)).map(|at| json!([80 * at, dice.below(300) as f64 / 100.0]));
            json!(points.collect::<Vec<Value>>())
        }
        _ => json!("radiation-fog"),
    }
}

/// Steps back and forth that the page's server keeps, all together: as many as it ever does.
const STEPS: u64 = 399;
const SLOTS: [&str; 4] = ["sky", "ridge", "veil", "hut"];
const STEP_TABLES: [&str; 5] = ["bands", "falloff", "smear", "soften", "grade"];
/// What isn't moved: sizes stay such that a picture takes no time.
const STILL: [&str; 7] = ["view", "travel", "camera", "slot.width", "slot.period", "name", "slot.art"];

#[test]
fn random_edits_leave_the_file_valid_and_equal_to_the_page() {
    let count: usize = std::env::var("FOGWEFT_EDITS").ok().and_then(|text| text.parse().ok()).unwrap_or(300);
    let long = count >= 3000;
    let tune = Tune::start(SCENE);
    let mut page = tune.socket();
    let other = watched(&tune);
    let controls = crate::wire::controls();
    let mut dice = Dice(0x9e37_79b9_7f4a_7c15);
    let (mut refused, mut compared, mut at) = (0, 0, 0);
    // How much it held, from the moment on when all steps back are taken and every value has been moved wherever it can stand: what it
    // keeps for the next edit is full then.
    let (mut warm, mut held, mut filled) = (0, Vec::new(), None);
    let mut places = if long { places(&controls) } else { HashSet::new() };
    while held.len() <= 10 {
        let full = page.state["steps"].as_array().is_some_and(|steps| sum(steps) >= STEPS);
        if full && filled.is_none() {
            filled = memory(&tune.child).map(|held| (at, held));
        }
        if !held.is_empty() || !long || (full && places.is_empty()) {
            if held.is_empty() {
                warm = at;
            }
            if at - warm >= held.len() * count / 10 {
                settled(&mut page);
                page.pictures.clear();
                // What a picture took is given back once all is settled.
                if long {
                    std::thread::sleep(std::time::Duration::from_secs(1));
                }
                held.push(memory(&tune.child).unwrap_or(0));
            }
        }
        if let Some(message) = edit(&mut dice, &controls, at) {
            if message["do"] == "set" {
                places.remove(&place(message["slot"].as_str(), message["key"].as_str().unwrap()));
            }
            if message["do"] == "view" {
                page.send(message);
            } else if page.act(message).is_err() {
                refused += 1;
            }
        }
        at += 1;
        if at % 50 == 0 {
            page.act(json!({ "do": "save" })).unwrap();
            let state = page.now();
            compared += crate::equal::compare(&tune, &state);
        }
    }
    assert!(refused < at / 2, "{refused} of {at} refused");
    other.store(true, Ordering::Release);
    if let Some((at, held)) = filled {
        println!("steps back full after {at} edits: {held} kB");
    }
    println!(
        "{count} edits after {warm} that moved every value wherever it can stand; {refused} refused, {compared} values compared; kB held at each tenth: {held:?}"
    );
    if long {
        let (start, end) = (held[0], held[10]);
        assert!(end as f64 <= start as f64 * 1.2, "{start} kB to {end} kB");
    }
}

fn sum(steps: &[Value]) -> u64 {
    steps.iter().filter_map(Value::as_u64).sum()
}

/// Another page that shows the last saved beside it and all that it is sent; set what is returned to let it go.
fn watched(tune: &Tune) -> Arc<AtomicBool> {
    let mut page = tune.socket();
    page.send(json!({ "do": "view", "view": { "camera": 0.0, "bare": false, "values": false, "compare": "saved" } }));
    let end = Arc::new(AtomicBool::new(false));
    let ended = Arc::clone(&end);
    std::thread::spawn(move || {
        while !ended.load(Ordering::Acquire) && page.next().is_some() {
            page.pictures.clear();
        }
    });
    end
}

fn place(slot: Option<&str>, key: &str) -> String {
    format!("{} {key}", slot.unwrap_or("the scene"))
}

/// Every place where [`edit`] may set a value.
fn places(controls: &[Value]) -> HashSet<String> {
    let mut all = HashSet::new();
    for control in controls {
        let (key, table) = (control["path"].as_str().unwrap(), control["table"].as_str().unwrap());
        if STILL.contains(&key) {
            continue;
        }
        if table != "slot" {
            all.insert(place(None, key));
        }
        if table == "slot" || STEP_TABLES.contains(&table) {
            all.extend(SLOTS.map(|slot| place(Some(slot), key)));
        }
    }
    all
}

/// Waits for the settled picture of what stands now.
fn settled(page: &mut Socket) {
    page.undrawn = false;
    // Twice, so that the last is another view than it was.
    let look = |camera: f64| json!({ "do": "view", "view": { "camera": camera, "bare": false, "values": false, "compare": null } });
    page.send(look(1.0));
    let stamp = page.send(look(2.0));
    let fits = |one: &Picture| u64::from(one.stamp) >= stamp && one.kind == 0 && one.settled;
    while !page.undrawn && !page.pictures.iter().any(fits) {
        page.next().expect("still there");
    }
}

fn view(dice: &mut Dice, values: bool) -> Value {
    json!({ "do": "view", "view": { "camera": dice.share() * 360.0, "bare": false, "values": values, "compare": null } })
}

/// What a page may ask for next; none where a picture would take long.
fn edit(dice: &mut Dice, controls: &[Value], at: usize) -> Option<Value> {
    let slot = SLOTS[dice.below(4)];
    let gesture = json!(format!("g{}", at / 3));
    Some(match dice.below(20) {
        0 => json!({ "do": "undo" }),
        1 => json!({ "do": "redo" }),
        2 => json!({ "do": "reseed", "slot": slot }),
        3 => json!({ "do": "save" }),
        4 => {
            let values = dice.below(4) == 0;
            view(dice, values)
        }
        kind => {
            let control = &controls[dice.below(controls.len())];
            let key = control["path"].as_str().unwrap();
            let of_slot = control["table"] == "slot";
            let is_step = STEP_TABLES.contains(&control["table"].as_str().unwrap());
            let slot = (of_slot || (is_step && dice.below(2) == 0)).then_some(slot);
            if STILL.contains(&key) {
                return None;
            }
            match kind {
                5 => json!({ "do": "unset", "slot": slot, "key": key }),
                6 => json!({ "do": "restore", "slot": slot, "key": key }),
                _ => {
                    json!({ "do": "set", "slot": slot, "key": key, "value": random(dice, key, &control["schema"]), "gesture": gesture })
                }
            }
        }
    })
}

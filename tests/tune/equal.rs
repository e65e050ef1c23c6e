//! A page's state against its scene file: every value of the one in the other.

use crate::client::Tune;
use fogweft::base::limits::Limits;
use fogweft::scene::keys::Value as Given;
use fogweft::scene::read::{self, Options};
use fogweft::scene::recipe::layers::{Layer, Resolved};
use fogweft::scene::recipe::shelf::Shelf;
use serde_json::{Map, Value, json};
use toml_edit::{DocumentMut, Item, TableLike};

/// Compares a saved state with its file, read anew from the disk; how many values there were.
pub fn compare(tune: &Tune, state: &Value) -> usize {
    let text = tune.file();
    assert_eq!(state["unsaved"], false);
    assert_eq!(state["faults"], Value::Null);
    as_written(&text, state) + as_meant(tune, &text, state)
}

/// The file as written, by a parser that knows nothing of scenes: each of its values is the state's, and what the state holds for given
/// stands there.
fn as_written(text: &str, state: &Value) -> usize {
    let document: DocumentMut = text.parse().expect("valid TOML");
    let mut count = 0;
    let mut scene = Vec::new();
    values(document.as_table(), "", &mut scene);
    count += written("the scene", &state["scene"], &scene);
    let slots = document["slot"].as_array_of_tables().expect("slots");
    assert_eq!(slots.len(), state["slots"].as_array().unwrap().len());
    for slot in slots {
        let name = slot["name"].as_str().expect("a name");
        let own =
            state["slots"].as_array().unwrap().iter().find(|own| own["name"] == name).expect("the slot");
        let mut all = Vec::new();
        values(slot, "", &mut all);
        for (path, _) in &mut all {
            if !path.contains('.') {
                *path = format!("slot.{path}");
            }
        }
        count += written(name, &own["values"], &all);
    }
    count
}

/// Values below `table` by their paths, but for the slots'.
fn values(table: &dyn TableLike, before: &str, all: &mut Vec<(String, Value)>) {
    for (key, item) in table.iter() {
        let path = format!("{before}{key}");
        match item {
            Item::ArrayOfTables(_) => {}
            Item::Value(value) if !value.is_inline_table() => all.push((path, plain(value))),
            item => values(item.as_table_like().expect("a table"), &format!("{path}."), all),
        }
    }
}

fn plain(value: &toml_edit::Value) -> Value {
    match value {
        toml_edit::Value::String(text) => json!(text.value()),
        toml_edit::Value::Integer(whole) => json!(whole.value()),
        toml_edit::Value::Float(number) if number.value().is_infinite() => json!("inf"),
        toml_edit::Value::Float(number) => json!(number.value()),
        toml_edit::Value::Boolean(flag) => json!(flag.value()),
        toml_edit::Value::Array(items) => items.iter().map(plain).collect(),
        other => panic!("no value of a scene: {other}"),
    }
}

/// Both ways: the file's values in the state, and no other is given there.
fn written(what: &str, state: &Value, file: &[(String, Value)]) -> usize {
    let state = state.as_object().expect("values");
    for (path, value) in file {
        let own = state.get(path).unwrap_or_else(|| panic!("{what}: the page has no {path}"));
        assert!(
            same(&own[0], value) && own[2] == true,
            "{what}: {path} is {value} in the file, {own} on the page"
        );
        assert!(own.get(3).is_none(), "{what}: {path}: saved, and yet {own}");
    }
    for (path, own) in state {
        let stands = file.iter().any(|(other, _)| other == path);
        assert_eq!(own[2] == true, stands, "{what}: {path}: {own}");
    }
    file.len()
}

/// A colour may be shortened to three digits in a file; a whole number is one with or without its point.
fn same(state: &Value, file: &Value) -> bool {
    match (state, file) {
        (Value::Number(a), Value::Number(b)) => a.as_f64() == b.as_f64(),
        (Value::Array(a), Value::Array(b)) => a.len() == b.len() && a.iter().zip(b).all(|(a, b)| same(a, b)),
        (Value::String(a), Value::String(b)) if b.starts_with('#') && b.len() == 4 => {
            let long: String = b[1..].chars().flat_map(|digit| [digit, digit]).collect();
            a[1..].eq_ignore_ascii_case(&long)
        }
        (Value::String(a), Value::String(b)) => a.eq_ignore_ascii_case(b),
        _ => state == file,
    }
}

/// The file as meant, with every default and preset behind it: key by key, value and who set it, what the state says.
fn as_meant(tune: &Tune, text: &str, state: &Value) -> usize {
    let (limits, shelf) = (Limits::default(), Shelf::embedded());
    let options = Options { sets: &[], limits: &limits, shelf: &shelf, check_art: true, held: None };
    let reading = read::read(&tune.scene, text, options).expect("a scene");
    assert_eq!(state["name"], reading.scene.name);
    assert_eq!(state["view"], json!(reading.scene.view));
    assert_eq!(state["travel"], json!(reading.scene.travel));
    // The scene's own: its preset's step numbers, then what it sets for all slots.
    let preset = reading.facts.value("preset").and_then(Given::text).expect("a preset");
    let mut scene = Resolved::of_preset(&shelf.get(preset).expect("on the shelf"));
    for (path, setting) in reading.facts.settings.iter().chain(&reading.over.settings) {
        scene.set(path, setting.value.clone(), setting.layer.clone());
    }
    assert_eq!(state["scene"], Value::Object(stated(&scene, &Layer::Scene)), "the scene");
    let mut count = scene.settings.len();
    let slots = state["slots"].as_array().expect("slots");
    assert_eq!(slots.len(), reading.slots.len());
    for (own, (slot, all)) in slots.iter().zip(reading.scene.slots.iter().zip(&reading.slots)) {
        assert_eq!((&own["name"], &own["preset"]), (&json!(slot.name), &json!(slot.preset)));
        assert_eq!(own["values"], Value::Object(stated(all, &Layer::Slot)), "{}", slot.name);
        count += all.settings.len();
    }
    count
}

fn stated(all: &Resolved, level: &Layer) -> Map<String, Value> {
    let entry = |value: &Given| match value {
        Given::Number(number) if number.is_infinite() => json!("inf"),
        Given::Number(number) => json!(number),
        Given::Whole(whole) => json!(whole),
        Given::Flag(flag) => json!(flag),
        Given::Pair(pair) => json!(pair),
        Given::Points(points) => json!(points),
        Given::Text(_) | Given::Choice(_) => json!(value.text()),
        Given::Colour(colour) => json!(colour.to_hex()),
    };
    let one = |(path, setting): (&&str, &fogweft::scene::recipe::layers::Setting)| {
        let value = json!([entry(&setting.value), setting.layer.to_string(), setting.layer == *level]);
        ((*path).to_owned(), value)
    };
    all.settings.iter().map(one).collect()
}

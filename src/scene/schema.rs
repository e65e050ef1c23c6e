//! JSON Schemas of scene and preset files, from the table of keys.
//!
//! JSON Schema draft 7, which is what TOML editors read.

use crate::base::limits::Limits;
use crate::scene::keys::{self, Fallback, Key, Kind, STEPS, Section, Value};
use crate::scene::project::Project;
use serde_json::{Map, Value as Json, json};
use std::path::Path;

/// Name of the scene's schema beside a scene.
pub const FILE: &str = "scene.schema.json";

/// The first line of a scene, which editors find the schema by; an empty line follows it.
pub const LINE: &str = "#:schema ./scene.schema.json";

/// The dialect.
const DRAFT: &str = "http://json-schema.org/draft-07/schema#";

/// A kind of file that has a schema.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Of {
    /// Scene files.
    Scene,
    /// Scene files of a project whose `fogweft.toml` names a file that they build on: no key has to stand in them.
    SceneOfProject,
    /// Preset files.
    Preset,
}

impl Of {
    /// Scene files in `folder`.
    pub fn scenes_in(folder: &Path, limits: &Limits) -> Of {
        // A project whose file has faults tells of them when a scene is read.
        let project = Project::of_scene(&folder.join("scene.toml"), limits).unwrap_or_default();
        if project.has_common() { Of::SceneOfProject } else { Of::Scene }
    }
}

/// The schema, as text that ends in a line break.
pub fn text(of: Of) -> String {
    let schema = match of {
        Of::Scene => scene(false),
        Of::SceneOfProject => scene(true),
        Of::Preset => preset(),
    };
    format!("{schema:#}\n")
}

fn scene(based: bool) -> Json {
    let mut slot = properties(Section::Slot);
    slot.extend(steps());
    slot.insert("place".into(), places());
    let mut slot_of_mood = slot.clone();
    slot_of_mood.remove("name");
    let mut mood = scene_properties();
    mood.insert(
        "slot".into(),
        json!({
            "description": "Overrides for slots in this mood, by slot name.",
            "type": "object",
            "additionalProperties": table("Overrides for this slot.", slot_of_mood, Vec::new()),
        }),
    );
    let mut all = scene_properties();
    all.insert(
        "slot".into(),
        json!({
            "description": "The slots: places in depth, in any order.",
            "type": "array",
            "minItems": 1,
            "items": table("A place in depth.", slot, vec!["name".into()]),
        }),
    );
    let lamp = properties(Section::Lamp);
    let mut lamp_of_mood = lamp.clone();
    lamp_of_mood.remove("name");
    mood.insert(
        "lamp".into(),
        json!({
            "description": "Overrides for lamps in this mood, by lamp name.",
            "type": "object",
            "additionalProperties": table("Overrides for this lamp.", lamp_of_mood, Vec::new()),
        }),
    );
    all.insert(
        "lamp".into(),
        json!({
            "description": "Lamps: the air before their slot's picture glows around them.",
            "type": "array",
            "items": table("A lamp.", lamp, Vec::new()),
        }),
    );
    all.insert(
        "mood".into(),
        json!({
            "description": "Moods of the scene, by name; each lists only its overrides.",
            "type": "object",
            "additionalProperties": table("Overrides in this mood.", mood, Vec::new()),
        }),
    );
    let mut schema = table("A layered 2D scene and its air.", all, Vec::new());
    add_base(&mut schema, based);
    head("Scene", schema)
}

fn places() -> Json {
    json!({
        "description": "Further places on the slot's plane at which pictures stand; in a mood, instead of the scene's.",
        "type": "array",
        "items": table("A place.", properties(Section::Place), required(Section::Place)),
    })
}

/// Lets a scene build on another, which may give what it doesn't: on the one that it names, or, if it is `based`, on the project's.
fn add_base(schema: &mut Json, based: bool) {
    schema["properties"]["from"] = json!({
        "description": "A scene file that this one builds on, by its path from this file's folder; keys of this file win over its keys.",
        "type": "string",
        "minLength": 1,
    });
    if based {
        return;
    }
    let mut needed = required(Section::Scene);
    needed.push("slot".into());
    let alone = json!({
        "required": needed,
        "properties": {
            "slot": { "items": { "required": required(Section::Slot) } },
            "lamp": { "items": { "required": required(Section::Lamp) } },
        },
    });
    schema["anyOf"] = json!([{ "required": ["from"] }, alone]);
}

/// An sRGB colour.
const COLOUR: &str = "^#([0-9A-Fa-f]{3}|[0-9A-Fa-f]{6})$";

fn scene_properties() -> Map<String, Json> {
    let mut all = properties(Section::Scene);
    all.insert(
        "air".into(),
        table("The air of the scene, shared by all sheets.", properties(Section::Air), Vec::new()),
    );
    all.insert("texture".into(), table("How textures are stored.", properties(Section::Texture), Vec::new()));
    all.insert(
        "rim".into(),
        table("Rims: fog gathered behind silhouettes.", properties(Section::Rim), Vec::new()),
    );
    all.insert(
        "check".into(),
        table("Limits that `fogweft check` enforces.", properties(Section::Check), Vec::new()),
    );
    all.insert("light".into(), table("The light on the pictures.", properties(Section::Light), Vec::new()));
    all.extend(steps());
    all
}

fn preset() -> Json {
    let mut all = properties(Section::Preset);
    all.extend(steps());
    // A preset that is built on another needs no more than a title of its own.
    let mut needed: Vec<Json> = keys::of(Section::Preset).map(|key| key.name().into()).collect();
    needed.retain(|name| name != "from" && name != "title");
    let mut schema = table("A recipe: the five steps with their numbers.", all, vec!["title".into()]);
    schema["anyOf"] = json!([{ "required": ["from"] }, { "required": needed }]);
    head("Preset", schema)
}

fn head(title: &str, mut schema: Json) -> Json {
    schema["$schema"] = DRAFT.into();
    schema["title"] = title.into();
    schema
}

/// A table that holds nothing but these keys.
fn table(about: &str, properties: Map<String, Json>, required: Vec<Json>) -> Json {
    let mut table = json!({
        "description": about,
        "type": "object",
        "properties": properties,
        "additionalProperties": false,
    });
    if !required.is_empty() {
        table["required"] = required.into();
    }
    table
}

/// The five steps' tables.
fn steps() -> Map<String, Json> {
    const ABOUT: [&str; 5] = [
        "Layered noise, periodic along x.",
        "Density over height, above the ground line or below the sky line.",
        "Directional blur.",
        "Separable Gaussian blur.",
        "From optical depth to colour and opacity.",
    ];
    let step = |(step, about): (&'static str, &str)| {
        (step.to_owned(), table(about, properties(Section::Step(step)), Vec::new()))
    };
    STEPS.into_iter().zip(ABOUT).map(step).collect()
}

fn required(section: Section) -> Vec<Json> {
    let keys = keys::of(section).filter(|key| key.fallback == Fallback::Required);
    keys.map(|key| key.name().into()).collect()
}

fn properties(section: Section) -> Map<String, Json> {
    keys::of(section).map(|key| (key.name().to_owned(), property(key))).collect()
}

fn property(key: &Key) -> Json {
    let number = |min: f64, max: f64| json!({ "type": "number", "minimum": min, "maximum": max });
    let pair = |min: f64, max: f64| json!({ "type": "array", "items": number(min, max), "minItems": 2, "maxItems": 2 });
    let mut schema = match key.kind {
        Kind::Number { min, max, endless: false } => number(min, max),
        // JSON has no infinity: readers of TOML hand it on as the largest number, as null, or as a number beyond all others.
        Kind::Number { min, max, endless: true } => json!({
            "anyOf": [number(min, max), { "type": "number", "minimum": f64::MAX }, { "type": "null" }],
        }),
        Kind::Whole { min, max } => json!({ "type": "integer", "minimum": min, "maximum": max }),
        Kind::Flag => json!({ "type": "boolean" }),
        Kind::FlagOrNumber { min, max } => json!({ "anyOf": [{ "type": "boolean" }, number(min, max)] }),
        Kind::Pair { min, max } => pair(min, max),
        Kind::NumberOrPair { min, max } => json!({ "anyOf": [number(min, max), pair(min, max)] }),
        Kind::Pairs { min, max, most } => {
            json!({ "type": "array", "maxItems": most, "items": pair(min, max) })
        }
        Kind::Points { place: [least, greatest], most } => json!({
            "type": "array",
            "minItems": 1,
            "items": { "type": "array", "items": [number(least, greatest), number(0.0, most)], "minItems": 2, "maxItems": 2 },
        }),
        Kind::Text => json!({ "type": "string" }),
        Kind::Name | Kind::Preset | Kind::Path => json!({ "type": "string", "minLength": 1 }),
        Kind::Colour => json!({ "type": "string", "pattern": COLOUR }),
        Kind::ColourOr(word) => json!({
            "anyOf": [{ "type": "string", "pattern": COLOUR }, { "enum": [word] }],
        }),
        Kind::Fit => {
            json!({ "type": "string", "pattern": "^(full|half|power-of-two|error:\\s*[0-9.eE+-]+\\s*)$" })
        }
        Kind::Choice(words) => json!({ "enum": words }),
    };
    schema["description"] = description(key).into();
    if let Some(default) = key.default().and_then(|value| plain(&value)) {
        schema["default"] = default;
    }
    schema
}

/// What the key does, its unit, its range and what holds without it.
fn description(key: &Key) -> String {
    let unit = if key.unit.is_empty() { String::new() } else { format!(" Unit: {}.", key.unit) };
    let without = match key.fallback {
        Fallback::Required => " Required.".to_owned(),
        _ => format!(" Default: {}.", key.fallback_words()),
    };
    format!("{}{unit} {}{without}", key.about, key.wanted())
}

/// A value as JSON; none for infinity, which it hasn't.
fn plain(value: &Value) -> Option<Json> {
    match value {
        Value::Number(number) => serde_json::Number::from_f64(*number).map(Json::Number),
        Value::Whole(whole) => Some((*whole).into()),
        Value::Flag(flag) => Some((*flag).into()),
        Value::Pair(pair) => Some(json!(pair)),
        Value::Points(points) => Some(json!(points)),
        Value::Text(_) | Value::Choice(_) => value.text().map(Json::from),
        Value::Colour(colour) => Some(colour.to_hex().into()),
    }
}

//! What a page is told: the keys with their ranges and units, who set each value, the section, and what is wrong.

use crate::base::fault::Faults;
use crate::base::words::Anchor;
use crate::base::{law, report};
use crate::plan::{Job, Plan};
use crate::review::check::Report;
use crate::scene::keys::{self, Fallback, KEYS, Key, Section, Value};
use crate::scene::recipe::layers::{Layer, Resolved};
use crate::scene::{Scene, schema};
use crate::tune::row_means::RowMeans;
use crate::tune::session::Session;
use serde_json::{Map, Value as Json, json};

/// Heights at which the section shows a slot's density.
const HEIGHTS: usize = 40;

/// The keys as the JSON Schema has them, with their units, in the order of the table.
pub(super) fn controls() -> Json {
    let schema: Json = serde_json::from_str(&schema::text(schema::Of::Scene)).unwrap_or_default();
    let of = |key: &&Key| key.section() != Section::Preset && key.path != "slot.name";
    let control = |key: &Key| {
        let place = match key.section() {
            Section::Slot => format!("/properties/slot/items/properties/{}", key.name()),
            _ => format!("/properties/{}", key.path.replace('.', "/properties/")),
        };
        let without = match key.fallback {
            Fallback::Required => "",
            Fallback::Literal(text) | Fallback::Words(text) => text,
        };
        let table = match key.section() {
            Section::Scene => "scene",
            Section::Air => "air",
            Section::Texture => "texture",
            Section::Rim => "rim",
            Section::Check => "check",
            Section::Step(step) => step,
            Section::Slot | Section::Preset => "slot",
        };
        json!({
            "path": key.path,
            "name": key.name(),
            "table": table,
            "schema": schema.pointer(&place).cloned().unwrap_or_default(),
            "unit": key.unit,
            "about": key.about,
            "without": without,
            "preset": key.kind == keys::Kind::Preset,
        })
    };
    KEYS.iter().filter(of).map(control).collect()
}

/// What a page is greeted with.
pub(super) fn hello(session: &Session) -> Json {
    json!({
        "hello": { "controls": controls(), "presets": session.shelf().names(), "steps": keys::STEPS },
        "mood": session.mood(),
    })
}

/// The state that all pages agree on.
pub(super) fn state(session: &Session) -> Json {
    let (meant, saved) = (session.meant(), session.saved());
    let (reading, old) = (&meant.reading, &saved.reading);
    let scene = &reading.scene;
    let slots: Vec<Json> = scene
        .slots
        .iter()
        .zip(&reading.slots)
        .map(|(slot, own)| {
            let before = old.scene.slots.iter().position(|other| other.name == slot.name);
            let before = before.map(|at| &old.slots[at]);
            json!({ "name": slot.name, "preset": slot.preset, "values": values(own, before, &Layer::Slot) })
        })
        .collect();
    let faults = session.faults().map(faults);
    json!({
        "state": {
            "name": scene.name,
            "turn": meant.turn,
            "view": scene.view,
            "travel": scene.travel,
            "scene": values(&of_scene(session, reading), Some(&of_scene(session, old)), &Layer::Scene),
            "slots": slots,
            "steps": session.steps(),
            "unsaved": session.is_unsaved(),
            "contested": session.is_contested(),
            "faults": faults,
        }
    })
}

/// The scene's own keys, with the step numbers that all its slots start from.
fn of_scene(session: &Session, reading: &crate::scene::read::Reading) -> Resolved {
    let name = reading.facts.value("preset").and_then(Value::text).unwrap_or("radiation-fog");
    let mut all = session
        .shelf()
        .get(name)
        .map_or_else(|_| Resolved::defaults(), |preset| Resolved::of_preset(&preset));
    for (path, setting) in reading.facts.settings.iter().chain(&reading.over.settings) {
        all.lay(path, setting.value.clone(), setting.who.clone());
    }
    all
}

/// Values by their path: the value, who set it, whether that is the `level` itself, and what the last saved had if that is another.
fn values(own: &Resolved, before: Option<&Resolved>, level: &Layer) -> Map<String, Json> {
    let mut all = Map::new();
    let old = |path: &str| before.and_then(|before| before.settings.get(path));
    for (path, setting) in &own.settings {
        let given = setting.who == *level || matches!(setting.who, Layer::Mood(_));
        let mut entry = vec![plain(&setting.value), setting.who.to_string().into(), given.into()];
        match old(path) {
            Some(old) if old.value != setting.value => entry.push(plain(&old.value)),
            None if before.is_some() => entry.push(Json::Null),
            _ => {}
        }
        all.insert((*path).to_owned(), entry.into());
    }
    for (path, setting) in before.iter().flat_map(|before| &before.settings) {
        if !own.settings.contains_key(path) {
            all.insert((*path).to_owned(), json!([null, "", false, plain(&setting.value)]));
        }
    }
    all
}

/// A value as JSON; infinity as the word that TOML has for it.
fn plain(value: &Value) -> Json {
    match value {
        Value::Number(number) if number.is_infinite() => "inf".into(),
        Value::Number(number) => json!(number),
        Value::Whole(whole) => json!(whole),
        Value::Flag(flag) => json!(flag),
        Value::Pair(pair) => json!(pair),
        Value::Text(_) | Value::Choice(_) => json!(value.text()),
        Value::Colour(colour) => colour.to_hex().into(),
    }
}

/// Faults with their lines.
pub(super) fn faults(faults: &Faults) -> Json {
    let one = |fault: &crate::base::fault::Fault| {
        let text = faults.sources.iter().find(|(file, _)| Some(file) == fault.file.as_ref());
        let line = fault.span.as_ref().zip(text).map(|(span, (_, text))| {
            let before = text.get(..span.start).unwrap_or(text);
            let number = before.matches('\n').count() + 1;
            json!({ "number": number, "text": text.lines().nth(number - 1).unwrap_or_default().chars().take(200).collect::<String>() })
        });
        json!({
            "message": fault.message,
            "remedy": fault.remedy,
            "file": fault.file.as_ref().and_then(|file| file.file_name()).map(|name| name.to_string_lossy()),
            "line": line,
        })
    };
    let list: Vec<Json> = faults.list.iter().take(20).map(one).collect();
    json!({ "list": list, "text": report::render(faults, false) })
}

/// What a check found.
pub(super) fn report(report: &Report) -> Json {
    json!({ "passes": report.passes, "findings": report.findings })
}

/// The scene from the side: slots by depth, the fog's density over height, and what is left of contrast.
/// `scale` is that of the fields.
pub(super) fn section(scene: &Scene, plan: &Plan, means: &[Option<RowMeans>], scale: f64) -> Json {
    let tall = scene.ground - scene.sky;
    let open_top = |anchor: Anchor, recipe: &crate::steps::recipe::Recipe| match anchor {
        Anchor::Ground => recipe.falloff.lift + recipe.falloff.height.min(1e6),
        Anchor::Sky => tall - recipe.falloff.lift - recipe.falloff.height.min(1e6),
    };
    let reach = scene
        .slots
        .iter()
        .filter(|slot| slot.fog)
        .map(|slot| match slot.anchor {
            Anchor::Ground => open_top(slot.anchor, &slot.recipe) * 1.9,
            Anchor::Sky => tall,
        })
        .filter(|reach| reach.is_finite())
        .fold(0.0, f64::max)
        .clamp(scene.view[1] * 0.16, scene.view[1] * 1.5);
    let nearest = scene.slots.iter().map(|slot| slot.depth).fold(f64::INFINITY, f64::min);
    // What is left of contrast before each slot, through all sheets nearer than it.
    let mut left = 1.0;
    let mut lefts = vec![1.0; scene.slots.len()];
    for (at, slot) in scene.slots.iter().enumerate().rev() {
        lefts[at] = left;
        let tau = plan.files.iter().find_map(|job| match job {
            Job::Fog(job) if job.placing.slot == slot.name => Some(job.optical_depth),
            _ => None,
        });
        left *= law::transmittance(tau.unwrap_or(0.0));
    }
    let slots: Vec<Json> = scene
        .slots
        .iter()
        .zip(lefts)
        .map(|(slot, left)| {
            let rate = law::pan_rate(scene.camera, slot.depth);
            let fog = plan.files.iter().enumerate().find_map(|(at, job)| match job {
                Job::Fog(job) if job.placing.slot == slot.name => Some((at, job)),
                _ => None,
            });
            let unit = slot.shrink.unwrap_or(rate);
            // Height over the ground on which the slot stands, as large as on the play plane.
            let ground = law::line_at(scene.horizon, scene.ground, rate);
            let density: Vec<f32> = fog
                .and_then(|(at, _)| means.get(at)?.as_ref())
                .map(|means| {
                    let y = |at: usize| {
                        let height = reach * (at as f64 + 0.5) / HEIGHTS as f64;
                        (ground - height * unit) * scale
                    };
                    (0..HEIGHTS).map(|at| (means.at(y(at)) * 1000.0).round() / 1000.0).collect()
                })
                .unwrap_or_default();
            let art = plan.files.iter().find_map(|job| match job {
                Job::Art(job) if job.placing.slot == slot.name => Some((ground - job.placing.rect[1]) / unit),
                _ => None,
            });
            json!({
                "name": slot.name,
                "depth": slot.depth,
                "anchor": slot.anchor.to_string(),
                "fog": slot.fog,
                "height": if slot.recipe.falloff.height.is_finite() { json!(slot.recipe.falloff.height) } else { json!("inf") },
                "lift": slot.recipe.falloff.lift,
                "thickness": slot.recipe.grade.thickness,
                "opticalDepth": fog.map(|(_, job)| job.optical_depth),
                "haze": fog.map(|(_, job)| job.haze.clone()),
                "left": left,
                "density": density,
                "art": art,
            })
        })
        .collect();
    json!({
        "camera": scene.camera,
        "visibility": scene.air.visibility,
        "extinction": plan.extinction,
        "beyond": scene.air.beyond,
        "nearest": nearest,
        "reach": reach,
        "skyLine": tall,
        "haze": scene.air.haze.to_hex(),
        "slots": slots,
    })
}

//! What a page is told: the keys with their ranges and units, who set each value, the section, and what is wrong.

use crate::base::fault::{Fault, Faults};
use crate::base::units::{Px, Scale};
use crate::base::words::Anchor;
use crate::base::{law, report};
use crate::plan::{FogJob, Job, Plan};
use crate::review::check::Report;
use crate::scene::keys::{self, KEYS, Key, Value, key};
use crate::scene::read::Reading;
use crate::scene::recipe::layers::{Layer, Resolved};
use crate::scene::{Scene, Slot, schema};
use crate::tune::row_means::RowMeans;
use crate::tune::session::Session;
use crate::tune::{lamps, places};
use serde_json::{Map, Value as Json, json};

/// Heights at which the section shows a slot's density; chosen by eye.
const HEIGHTS: usize = 40;
/// How high the section reaches: in tops of fog, whose scale heights count up to a bound, and at least and at most in heights of the
/// view. Chosen by eye.
const REACH: f64 = 1.9;
const HEIGHT_MAX: f64 = 1e6;
const REACH_IN_VIEWS: [f64; 2] = [0.16, 1.5];

/// Most faults that a page is told, and most letters of their lines.
const FAULTS: usize = 20;
const FAULT_LINE: usize = 200;

/// The keys as the JSON Schema has them, with their units, in the order of the table.
pub(super) fn controls() -> Json {
    let schema: Json = serde_json::from_str(&schema::text(schema::Of::Scene)).unwrap_or_default();
    KEYS.iter()
        .filter(|key| {
            !matches!(key.section(), keys::Section::Place | keys::Section::Lamp | keys::Section::Preset)
                && ![key!("slot.name"), key!("also_view")].contains(&key.path)
        })
        .map(|key| control(key, &schema))
        .collect()
}

fn control(key: &Key, schema: &Json) -> Json {
    let place = match key.section() {
        keys::Section::Slot => format!("/properties/slot/items/properties/{}", key.name()),
        _ => format!("/properties/{}", key.path.replace('.', "/properties/")),
    };
    let without = match key.fallback {
        keys::Fallback::Required => "",
        _ => key.fallback_words(),
    };
    let table = match key.section() {
        keys::Section::Scene => "scene",
        keys::Section::Air => "air",
        keys::Section::Texture => "texture",
        keys::Section::Rim => "rim",
        keys::Section::Check => "check",
        keys::Section::Light => "light",
        keys::Section::Step(step) => step,
        keys::Section::Slot | keys::Section::Place | keys::Section::Lamp | keys::Section::Preset => "slot",
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
}

/// What a page is greeted with.
pub(super) fn hello(session: &Session) -> Json {
    json!({
        "hello": { "controls": controls(), "presets": session.shelf().names(), "steps": keys::STEPS },
        "mood": session.mood(),
    })
}

/// The state that all pages agree on.
pub(super) fn state(session: &Session, offered: bool) -> Json {
    let (version, saved) = (session.current(), session.saved());
    let (reading, old) = (&version.reading, &saved.reading);
    let scene = &reading.scene;
    let slots: Vec<Json> = scene
        .slots
        .iter()
        .zip(&reading.slots)
        .map(|(slot, own)| {
            let before = old.scene.slots.iter().position(|other| other.name == slot.name);
            let before = before.map(|at| &old.slots[at]);
            json!({
                "name": slot.name,
                "preset": slot.preset,
                "values": values(own, before, &Layer::Slot),
                "places": places::state(slot),
                "placesOfMood": reading.places_of_mood.contains(&slot.name),
            })
        })
        .collect();
    let [broken, unreadable] = [session.faults(), session.unreadable()].map(|found| found.map(faults));
    json!({
        "state": {
            "name": scene.name,
            "turn": version.revision,
            "view": scene.view,
            "travel": scene.travel,
            "mood": session.mood(),
            "moods": reading.moods,
            "scene": values(&scene_values(session, reading), Some(&scene_values(session, old)), &Layer::Scene),
            "slots": slots,
            "lamps": lamps::state(scene),
            "steps": session.steps(),
            "unsaved": session.is_unsaved(),
            "contested": session.has_conflict(),
            "faults": broken,
            "unreadable": unreadable,
            "offered": offered,
        }
    })
}

/// The scene's own keys, with the step numbers that all its slots start from.
fn scene_values(session: &Session, reading: &Reading) -> Resolved {
    let name = reading.facts.value(key!("preset")).and_then(Value::text).unwrap_or_default();
    let mut all = session
        .shelf()
        .get(name)
        .map_or_else(|_| Resolved::defaults(), |preset| Resolved::of_preset(&preset));
    for (path, setting) in reading.facts.settings.iter().chain(&reading.over.settings) {
        all.set(path, setting.value.clone(), setting.layer.clone());
    }
    all
}

/// Values by their path: the value, who set it, whether that is the `level` itself, and what the last saved had if that is another.
fn values(own: &Resolved, before: Option<&Resolved>, level: &Layer) -> Map<String, Json> {
    let mut all = Map::new();
    let old = |path: &str| before.and_then(|before| before.settings.get(path));
    for (path, setting) in &own.settings {
        let given = setting.layer == *level || matches!(setting.layer, Layer::Mood(_));
        let mut entry = vec![plain(&setting.value), setting.layer.to_string().into(), given.into()];
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
        Value::Points(points) => json!(points),
        Value::Text(_) | Value::Choice(_) => json!(value.text()),
        Value::Colour(colour) => colour.to_hex().into(),
    }
}

/// Faults with their lines.
pub(super) fn faults(faults: &Faults) -> Json {
    let list: Vec<Json> = faults.list.iter().take(FAULTS).map(|fault| fault_json(fault, faults)).collect();
    json!({ "list": list, "text": report::render(faults, false) })
}

fn fault_json(fault: &Fault, faults: &Faults) -> Json {
    let source = faults.sources.iter().find(|(file, _)| Some(file) == fault.file.as_ref());
    let line = fault.span.as_ref().zip(source).map(|(span, (_, text))| {
        let before = text.get(..span.start).unwrap_or(text);
        let number = report::line(text.as_bytes(), span.start);
        let column = before.rsplit('\n').next().unwrap_or_default().chars().count() + 1;
        let line = text.lines().nth(number - 1).unwrap_or_default();
        json!({ "number": number, "column": column, "text": line.chars().take(FAULT_LINE).collect::<String>() })
    });
    json!({
        "message": fault.message,
        "remedy": fault.remedy,
        "file": fault.file.as_ref().and_then(|file| file.file_name()).map(|name| name.to_string_lossy()),
        "line": line,
    })
}

/// What a check found.
pub(super) fn report(report: &Report) -> Json {
    json!({ "passes": report.passes, "findings": report.findings })
}

/// The scene from the side: slots by depth, the fog's density over height, and what is left of contrast.
/// `scale` is that of the fields.
pub(super) fn section(scene: &Scene, plan: &Plan, means: &[Option<RowMeans>], scale: Scale) -> Json {
    let section = Section { scene, plan, means, scale, reach: reach(scene) };
    let nearest = scene.slots.iter().map(|slot| slot.depth).fold(f64::INFINITY, f64::min);
    // What is left of contrast before each slot, through all sheets nearer than it.
    let mut left = 1.0;
    let mut slots: Vec<Json> = Vec::new();
    for slot in scene.slots.iter().rev() {
        slots.push(section.slot(slot, left));
        left *= law::transmittance(section.fog(slot).map_or(0.0, |(_, job)| job.optical_depth));
    }
    slots.reverse();
    json!({
        "camera": scene.camera,
        "visibility": scene.air.visibility,
        "extinction": plan.extinction,
        "beyond": scene.air.beyond,
        "nearest": nearest,
        "reach": section.reach,
        "skyLine": tall(scene),
        "haze": scene.air.haze.to_hex(),
        "slots": slots,
    })
}

/// How far the sky's line lies over the ground's, scene px on the play plane.
fn tall(scene: &Scene) -> Px {
    scene.ground - scene.sky
}

/// How high over the ground the section shows fog, scene px on the play plane.
fn reach(scene: &Scene) -> Px {
    let of_slot = |slot: &Slot| match slot.anchor {
        Anchor::Ground => {
            let falloff = &slot.recipe.falloff;
            (falloff.lift + falloff.height.min(Px(HEIGHT_MAX))) * REACH
        }
        Anchor::Sky => tall(scene),
    };
    let [least, most] = REACH_IN_VIEWS.map(|share| scene.view[1] * share);
    let all = scene.slots.iter().filter(|slot| slot.fog).map(of_slot);
    all.filter(|reach| reach.0.is_finite()).fold(Px(0.0), Px::max).clamp(least, most)
}

/// What the section of a slot is made from.
struct Section<'a> {
    scene: &'a Scene,
    plan: &'a Plan,
    means: &'a [Option<RowMeans>],
    scale: Scale,
    reach: Px,
}

impl Section<'_> {
    /// The sheet of a slot, and its place in the plan.
    fn fog(&self, slot: &Slot) -> Option<(usize, &FogJob)> {
        self.plan.files.iter().enumerate().find_map(|(at, job)| match job {
            Job::Fog(job) if job.placing.slot == slot.name => Some((at, job.as_ref())),
            _ => None,
        })
    }

    /// The top of a slot's picture, scene px.
    fn art_top(&self, slot: &Slot) -> Option<Px> {
        self.plan.files.iter().find_map(|job| match job {
            Job::Art(job) if job.placing.slot == slot.name => Some(job.placing.rect.y),
            _ => None,
        })
    }

    /// A slot, of whose contrast `left` is left before it.
    fn slot(&self, slot: &Slot, left: f64) -> Json {
        let rate = law::pan_rate(self.scene.camera, slot.depth);
        let unit = slot.shrink.unwrap_or(rate);
        // Height over the ground on which the slot stands, as large as on the play plane.
        let ground = law::line_at(self.scene.horizon, self.scene.ground, rate);
        let fog = self.fog(slot);
        let recipe = &slot.recipe;
        json!({
            "name": slot.name,
            "depth": slot.depth,
            "anchor": slot.anchor.to_string(),
            "fog": slot.fog,
            "height": plain(&Value::Number(recipe.falloff.height.0)),
            "lift": recipe.falloff.lift,
            "thickness": recipe.grade.thickness,
            "opticalDepth": fog.map(|(_, job)| job.optical_depth),
            "haze": fog.map(|(_, job)| job.haze.clone()),
            "left": left,
            "density": fog.map_or(Vec::new(), |(at, _)| self.densities(at, ground, unit)),
            "art": self.art_top(slot).map(|top| (ground - top) / unit),
        })
    }

    /// The density of the sheet `at` in the plan over [`HEIGHTS`] heights over its ground; none where its field isn't there.
    fn densities(&self, at: usize, ground: Px, unit: f64) -> Vec<f32> {
        let Some(Some(means)) = self.means.get(at) else { return Vec::new() };
        // The clear air's share of the depth along the line is there at any height.
        let even = match self.plan.files.get(at) {
            Some(Job::Fog(job)) if job.optical_depth > 0.0 => (job.clear_depth / job.optical_depth) as f32,
            _ => 0.0,
        };
        (0..HEIGHTS)
            .map(|at| {
                let height = self.reach * (at as f64 + 0.5) / HEIGHTS as f64;
                let density = means.at(((ground - height * unit) * self.scale).0);
                let density = even + (1.0 - even) * density;
                // In thousandths.
                (density * 1000.0).round() / 1000.0
            })
            .collect()
    }
}

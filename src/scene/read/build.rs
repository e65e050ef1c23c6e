//! The scene as meant, from a faultless scene as written.

use crate::base::colour::Srgb;
use crate::base::fault::Result;
use crate::base::units::Px;
use crate::base::words::{Alpha, Anchor, Blending};
use crate::scene::keys::{Entry, KEYS, Key, Section, Value};
use crate::scene::read::{Layer, Meant, Reading, Resolved, layer, winner};
use crate::scene::recipe::shelf::{Preset, anchor};
use crate::scene::written::WrittenSlot;
use crate::scene::{
    Air, ArtPlace, CheckLimits, Curve, Fade, Fit, Repeat, Rims, Sampled, Scene, Slot, Texture, layered,
};
use std::path::Path;

/// The eye's distance for a view of this width: half of it, as for a lens that sees a right angle.
pub(super) fn camera_of(width: f64) -> f64 {
    width / 2.0
}

/// Height of the horizon over that of the view.
const HORIZON: f64 = 0.52;
/// Height of the ground line over that of the view.
const GROUND: f64 = 0.83;

/// Lightness of a dark rim over that of the haze.
pub(crate) const DARK: f64 = 0.3;

/// Builds the scene.
pub(super) fn scene(file: &Path, meant: &Meant) -> Result<Reading> {
    let facts = facts(file, meant);
    let number = |path| facts.value(path).and_then(Value::number).unwrap_or(0.0);
    let colour = |path| facts.value(path).and_then(Value::colour);
    let text = |path| facts.value(path).and_then(Value::text).unwrap_or_default();
    let flag = |path| facts.value(path) == Some(&Value::Flag(true));
    let haze = colour("air.haze").unwrap_or(Srgb([0.0; 3]));
    let air = Air {
        haze,
        aloft: colour("air.aloft"),
        glow: colour("air.glow"),
        shade: colour("air.shade"),
        visibility: number("air.visibility"),
        light: number("air.light"),
        blending: if text("air.blending") == "linear" { Blending::Linear } else { Blending::Encoded },
        beyond: number("air.beyond"),
        drift: number("air.drift"),
    };
    let folder = file.parent().unwrap_or(Path::new(""));
    let mut slots = Vec::with_capacity(meant.written.slots.len());
    for (at, slot) in meant.written.slots.iter().enumerate() {
        let resolved = resolve(meant, at);
        slots.push((self::slot(slot, &resolved, folder, meant)?, resolved));
    }
    slots.sort_by(|(a, _), (b, _)| b.depth.total_cmp(&a.depth).then_with(|| a.name.cmp(&b.name)));
    let (slots, resolved) = slots.into_iter().unzip();
    let scene = Scene {
        name: text("name").to_owned(),
        view: view(meant).map(Px),
        travel: Px(number("travel")),
        camera: number("camera"),
        horizon: Px(number("horizon")),
        ground: Px(number("ground")),
        sky: Px(number("sky")),
        backdrop: colour("backdrop").unwrap_or(haze),
        sampled: Sampled {
            haze: text("air.haze") == "sampled",
            backdrop: text("air.haze") == "sampled" && colour("backdrop").is_none(),
            dark: text("air.haze") == "sampled" && colour("rim.dark").is_none(),
        },
        floor: number("floor"),
        air,
        texture: texture(&facts),
        rims: Rims {
            spread: Px(number("rim.spread")),
            most: number("rim.most"),
            dark: flag("rim.darken").then(|| colour("rim.dark").unwrap_or_else(|| haze.darkened(DARK))),
        },
        check: CheckLimits {
            below: number("check.below"),
            darkest: number("check.darkest"),
            lightest: number("check.lightest"),
            steady: flag("check.steady"),
            memory: number("check.memory"),
            overdraw: number("check.overdraw"),
        },
        slots,
    };
    let of = |preset: &Preset| std::iter::once(preset.name.clone()).chain(preset.built_on.clone());
    let mut presets: Vec<String> = meant.presets.values().flat_map(of).collect();
    presets.sort();
    presets.dedup();
    let mut over = Resolved::default();
    for (entries, who) in [(&meant.written.top, Layer::Scene), (&meant.overrides.all, Layer::CommandLine)] {
        for (path, entry) in entries.iter().filter(|(path, _)| is_step(path)) {
            over.lay(path, entry.value.clone(), layer(entry, who.clone()));
        }
    }
    Ok(Reading { scene, facts, slots: resolved, over, moods: meant.moods.clone(), presets })
}

/// How textures are stored.
fn texture(facts: &Resolved) -> Texture {
    let text = |path| facts.value(path).and_then(Value::text).unwrap_or_default();
    let usual = Texture::default();
    Texture {
        fit: Fit::parse(text("texture.fit")).unwrap_or(usual.fit),
        alpha: if text("texture.alpha") == "premultiplied" { Alpha::Premultiplied } else { Alpha::Straight },
        side: match facts.value("texture.side") {
            Some(Value::Whole(side)) => u32::try_from(*side).unwrap_or(usual.side),
            _ => usual.side,
        },
        trim: facts.value("texture.trim") == Some(&Value::Flag(true)),
    }
}

/// Keys of the scene, its air and its textures: as given, else by default.
fn facts(file: &Path, meant: &Meant) -> Resolved {
    let mut facts = Resolved::default();
    let of_scene = |key: &&Key| {
        matches!(
            key.section(),
            Section::Scene | Section::Air | Section::Rim | Section::Check | Section::Texture
        )
    };
    for key in KEYS.iter().filter(of_scene) {
        if let Some(entry) = meant.written.top.get(key.path) {
            facts.lay(key.path, entry.value.clone(), layer(entry, Layer::Scene));
        } else if let Some(value) = key.default() {
            facts.lay(key.path, value, Layer::Default);
        }
    }
    let [width, height] = view(meant);
    let stem = file.file_stem().map(|stem| stem.to_string_lossy().into_owned()).unwrap_or_default();
    let preset = meant.presets.get(facts.value("preset").and_then(Value::text).unwrap_or_default());
    let visibility = preset.map_or(1000.0, |preset| preset.visibility);
    let by_preset = preset.map_or(Layer::Default, |preset| Layer::Preset(preset.name.clone()));
    let anchor = Value::Choice(if preset.is_some_and(|preset| preset.anchor == Anchor::Sky) {
        "sky"
    } else {
        "ground"
    });
    let mut fill = |path, value, who| {
        if facts.value(path).is_none() {
            facts.lay(path, value, who);
        }
    };
    fill("name", Value::Text(stem), Layer::Default);
    fill("camera", Value::Number(camera_of(width)), Layer::Default);
    fill("horizon", Value::Number(HORIZON * height), Layer::Default);
    fill("ground", Value::Number(GROUND * height), Layer::Default);
    fill("air.visibility", Value::Number(visibility), by_preset.clone());
    fill("air.anchor", anchor, by_preset);
    for (path, like) in [("air.beyond", "air.visibility"), ("backdrop", "air.haze")] {
        if let (None, Some(value)) = (facts.value(path), facts.value(like).cloned()) {
            facts.lay(path, value, Layer::Default);
        }
    }
    facts
}

/// Lays the layers of one slot.
fn resolve(meant: &Meant, at: usize) -> Resolved {
    let slot = &meant.written.slots[at];
    let top = &meant.written.top;
    let chosen = winner(slot.entries.get("slot.preset"), top.get("preset"));
    let (name, who) = match chosen {
        Some((entry, who)) => (entry.value.text().unwrap_or_default().to_owned(), who),
        None => (super::default_preset(), Layer::Default),
    };
    let preset: Option<&Preset> = meant.presets.get(&name);
    let mut resolved = preset.map_or_else(Resolved::defaults, Resolved::of_preset);
    let steps = [
        (top, Layer::Scene),
        (&slot.entries, Layer::Slot),
        (&meant.overrides.all, Layer::CommandLine),
        (&meant.overrides.slots[at], Layer::CommandLine),
    ];
    for (entries, who) in steps {
        for (path, entry) in entries {
            if is_step(path) {
                resolved.lay(path, entry.value.clone(), layer(entry, who.clone()));
            }
        }
    }
    for (path, entry) in slot.entries.iter().filter(|(path, _)| path.starts_with("slot.")) {
        resolved.lay(path, entry.value.clone(), layer(entry, Layer::Slot));
    }
    let anchor = match winner(slot.entries.get("slot.anchor"), top.get("air.anchor")) {
        Some((entry, who)) => (entry.value.clone(), who),
        None => {
            let sky = preset.is_some_and(|preset| preset.anchor == Anchor::Sky);
            (Value::Choice(if sky { "sky" } else { "ground" }), Layer::Preset(name.clone()))
        }
    };
    if let Some((entry, who)) = winner(slot.entries.get("slot.separation"), top.get("rim.separation")) {
        resolved.lay("slot.separation", entry.value.clone(), who);
    } else if let Some(value) = crate::scene::keys::find("rim.separation").and_then(|key| key.default()) {
        resolved.lay("slot.separation", value, Layer::Default);
    }
    resolved.lay("slot.anchor", anchor.0, anchor.1);
    resolved.lay("slot.preset", Value::Text(name), who);
    resolved
}

/// Whether a path is that of a number of the five steps.
fn is_step(path: &str) -> bool {
    crate::scene::keys::STEPS.iter().any(|step| path.split('.').next() == Some(step))
}

/// A slot as meant.
fn slot(written: &WrittenSlot, resolved: &Resolved, folder: &Path, meant: &Meant) -> Result<Slot> {
    let number = |path| resolved.value(path).and_then(Value::number);
    let length = |path| number(path).map(Px);
    let flag = |path, otherwise| match resolved.value(path) {
        Some(Value::Flag(flag)) => *flag,
        _ => otherwise,
    };
    let text = |path| resolved.value(path).and_then(Value::text);
    let name = written.name().unwrap_or_default().to_owned();
    let art = text("slot.art").and_then(|path| {
        let (path, layer) = layered::reference(path);
        let file = folder.join(path);
        let held = layer.and_then(|layer| meant.layered.get(&file)?.find(layer));
        let visible = flag("slot.visible", held.is_none_or(|layer| layer.visible));
        let (x, y) = held.map_or((0.0, None), |layer| (layer.x as f64, Some(Px(layer.y as f64))));
        visible.then(|| ArtPlace {
            file,
            layer: layer.map(str::to_owned),
            x: length("slot.x").unwrap_or(Px(x)),
            y: length("slot.y").or(y),
            width: length("slot.width"),
            repeat: match resolved.value("slot.repeat") {
                Some(Value::Number(every)) => Repeat::Every(Px(*every)),
                Some(Value::Flag(true)) => Repeat::Edge,
                _ => Repeat::No,
            },
            flip: flag("slot.flip", false),
        })
    });
    let seed = match resolved.value("slot.seed") {
        Some(Value::Whole(seed)) => seed.unsigned_abs(),
        _ => seed_of(meant),
    };
    Ok(Slot {
        depth: number("slot.depth").unwrap_or(0.0),
        art,
        fog: flag("slot.fog", true),
        seed: crate::base::seed::derive(seed, &name),
        preset: text("slot.preset").unwrap_or_default().to_owned(),
        anchor: resolved.value("slot.anchor").map_or(Anchor::Ground, anchor),
        recipe: resolved.recipe()?,
        haze: resolved.value("slot.haze").and_then(Value::colour),
        haze_share: number("slot.haze_share"),
        line: length("slot.line"),
        shrink: number("slot.shrink"),
        period: length("slot.period"),
        separation: number("slot.separation").unwrap_or(0.0),
        tint: number("slot.tint").unwrap_or(0.0),
        fade: match text("slot.fade") {
            Some(end @ ("top" | "foot")) => Some(Fade {
                top: end == "top",
                from: length("slot.fade_from"),
                over: length("slot.fade_over"),
                curve: match text("slot.fade_curve") {
                    Some("straight") => Curve::Straight,
                    Some("early") => Curve::Early,
                    Some("late") => Curve::Late,
                    _ => Curve::Smooth,
                },
            }),
            _ => None,
        },
        name,
    })
}

fn seed_of(meant: &Meant) -> u64 {
    match meant.written.top.get("seed") {
        Some(Entry { value: Value::Whole(seed), .. }) => seed.unsigned_abs(),
        _ => 1,
    }
}

fn view(meant: &Meant) -> [f64; 2] {
    match meant.written.top.get("view") {
        Some(Entry { value: Value::Pair(view), .. }) => *view,
        _ => [1.0, 1.0],
    }
}

//! The scene as meant, from a faultless scene file: layers of values, which serde turns into the scene's structs.

use crate::base::fault::Result;
use crate::base::seed;
use crate::base::units::Px;
use crate::base::words::Anchor;
use crate::scene::keys::{self, Fallback, KEYS, SAMPLED, Section, Value, key};
use crate::scene::places::PlaceTable;
use crate::scene::read::{Input, Layer, Reading, Resolved, layer_of, winner};
use crate::scene::recipe::shelf::{Preset, default_preset};
use crate::scene::{Repeat, Sampled, Scene, Slot, lamps, layered, places};
use std::path::{Path, PathBuf};

/// Lightness of a dark rim over that of the haze.
pub(crate) const DARK: f64 = 0.3;

/// Builds the scene.
pub(super) fn scene(file: &Path, input: Input) -> Result<Reading> {
    let facts = facts(file, &input);
    let mut scene: Scene = facts.read("scene")?;
    let haze = facts.value(key!("air.haze")) == Some(&Value::Choice(SAMPLED));
    let dark = facts.value(key!("rim.dark")).is_some();
    let backdrop = facts.value(key!("backdrop")).and_then(Value::colour).is_some();
    scene.sampled = Sampled { haze, backdrop: haze && !backdrop, dark: haze && !dark };
    let dark = scene.rims.dark.unwrap_or_else(|| scene.air.haze.darkened(DARK));
    scene.rims.dark = scene.rims.darken.then_some(dark);
    let folder = file.parent().unwrap_or(Path::new(""));
    let mut slots = Vec::with_capacity(input.file.slots.len());
    for at in 0..input.file.slots.len() {
        let resolved = resolve(&input, &facts, at);
        let places = &input.file.slots[at].places;
        slots.push((slot(&resolved, places, &facts, folder, &input)?, resolved));
    }
    slots.sort_by(|(a, _), (b, _)| b.depth.total_cmp(&a.depth).then_with(|| a.name.cmp(&b.name)));
    let (slots, resolved) = slots.into_iter().unzip();
    scene.slots = slots;
    scene.lamps = lamps::meant(&input.file.lamps)?;
    let mut over = Resolved::default();
    for (entries, layer) in [(&input.file.top, Layer::Scene), (&input.overrides.all, Layer::CommandLine)] {
        set_steps(&mut over, entries, &layer);
    }
    let presets = presets(&input);
    let Input { moods, places_of_mood, warnings, .. } = input;
    Ok(Reading { scene, facts, slots: resolved, over, moods, presets, places_of_mood, warnings })
}

/// Names of the presets that are used, with those that they are built on.
fn presets(input: &Input) -> Vec<String> {
    let mut names: Vec<String> = Vec::new();
    for preset in input.presets.values() {
        names.push(preset.name.clone());
        names.extend(preset.built_on.iter().cloned());
    }
    names.sort();
    names.dedup();
    names
}

/// Keys of the scene, its air and its textures: as given, else by default.
fn facts(file: &Path, input: &Input) -> Resolved {
    let mut facts = Resolved::default();
    let own = KEYS.iter().filter(|key| {
        !key.is_step()
            && !matches!(key.section(), Section::Slot | Section::Place | Section::Lamp | Section::Preset)
    });
    for key in own.clone() {
        if let Some(entry) = input.file.top.get(key.path) {
            facts.set(key.path, entry.value.clone(), layer_of(entry, Layer::Scene));
        } else if let Some(value) = key
            .default()
            .or_else(|| key.of_view(input.of_scene(key!("view")), input.of_scene(key!("travel"))))
        {
            facts.set(key.path, value, Layer::Default);
        }
    }
    let stem = file.file_stem().map(|stem| stem.to_string_lossy().into_owned()).unwrap_or_default();
    facts.fill(key!("name"), Value::Text(stem), Layer::Default);
    let preset = facts.value(key!("preset")).and_then(Value::text).unwrap_or_default();
    if let Some(preset) = input.presets.get(preset) {
        let by = Layer::Preset(preset.name.clone());
        facts.fill(key!("air.visibility"), Value::Number(preset.visibility), by.clone());
        if let Some(visibility) = facts.value(key!("air.visibility")).and_then(Value::number) {
            // Where the visibility is the scene's own, the clear air's follows from it.
            let own = facts.settings.get("air.visibility").is_some_and(|setting| setting.layer != by);
            let layer = if own { Layer::Default } else { by.clone() };
            facts.fill(key!("air.clear"), Value::Number(preset.clear_at(visibility)), layer);
        }
        facts.fill(key!("air.anchor"), Value::Choice(preset.anchor.word()), by);
    }
    for key in own {
        if let Fallback::Like(other, _) = key.fallback
            && let Some(value) = facts.value(other).cloned()
        {
            facts.fill(key.path, value, Layer::Default);
        }
    }
    facts
}

/// Sets those of the entries that are numbers of the five steps.
fn set_steps(resolved: &mut Resolved, entries: &keys::Entries, in_file: &Layer) {
    for (path, entry) in entries {
        if keys::find(path).is_some_and(keys::Key::is_step) {
            resolved.set(path, entry.value.clone(), layer_of(entry, in_file.clone()));
        }
    }
}

/// The settings of one slot, layer by layer.
fn resolve(input: &Input, facts: &Resolved, at: usize) -> Resolved {
    let (slot, top) = (&input.file.slots[at].entries, &input.file.top);
    let either =
        |own, scene| winner(slot.get(own), top.get(scene)).map(|(entry, layer)| (&entry.value, layer));
    let (name, by) = match either(key!("slot.preset"), key!("preset")) {
        Some((value, layer)) => (value.text().unwrap_or_default().to_owned(), layer),
        None => (default_preset(), Layer::Default),
    };
    let preset: Option<&Preset> = input.presets.get(&name);
    let mut resolved = preset.map_or_else(Resolved::defaults, Resolved::of_preset);
    set_steps(&mut resolved, top, &Layer::Scene);
    set_steps(&mut resolved, slot, &Layer::Slot);
    set_steps(&mut resolved, &input.overrides.all, &Layer::CommandLine);
    set_steps(&mut resolved, &input.overrides.slots[at], &Layer::CommandLine);
    for (path, entry) in slot.iter().filter(|(path, _)| keys::find(path).is_some_and(|key| !key.is_step())) {
        resolved.set(path, entry.value.clone(), layer_of(entry, Layer::Slot));
    }
    if let Some((value, layer)) = either(key!("slot.separation"), key!("rim.separation")) {
        resolved.set(key!("slot.separation"), value.clone(), layer);
    } else if let Some(default) = facts.settings.get(key!("rim.separation")) {
        resolved.set(key!("slot.separation"), default.value.clone(), Layer::Default);
    }
    if let Some((value, layer)) = either(key!("slot.anchor"), key!("air.anchor")) {
        resolved.set(key!("slot.anchor"), value.clone(), layer);
    } else {
        let anchor = preset.map_or(Anchor::Ground, |preset| preset.anchor);
        resolved.set(key!("slot.anchor"), Value::Choice(anchor.word()), Layer::Preset(name.clone()));
    }
    resolved.set(key!("slot.preset"), Value::Text(name), by);
    resolved
}

/// A slot as meant.
fn slot(
    resolved: &Resolved,
    places: &[PlaceTable],
    facts: &Resolved,
    folder: &Path,
    input: &Input,
) -> Result<Slot> {
    let mut own = resolved.clone();
    let art = own.value(key!("slot.art")).and_then(Value::text).unwrap_or_default();
    let (path, layer) = layered::reference(art);
    let (file, layer) = (folder.join(path), layer.map(str::to_owned));
    if let Some(held) = layer.as_ref().and_then(|layer| input.layered.get(&file)?.find(layer).ok()) {
        own.fill(key!("slot.visible"), Value::Flag(held.visible), Layer::Default);
        own.fill(key!("slot.x"), Value::Number(held.x as f64), Layer::Default);
        own.fill(key!("slot.y"), Value::Number(held.y as f64), Layer::Default);
    }
    let around = places::Around { slot: &own, folder, layered: &input.layered };
    let hidden = resolved.value(key!("slot.visible")) == Some(&Value::Flag(false));
    let places = if hidden { Vec::new() } else { around.meant(places)? };
    if own.value(key!("slot.visible")) == Some(&Value::Flag(false)) {
        own.settings.remove(key!("slot.art"));
    }
    let mut named = |path, place| named(&mut own, path, place, folder, input);
    let strokes = named(key!("slot.strokes"), [key!("slot.strokes_x"), key!("slot.strokes_y")]);
    let sheet = named(key!("slot.sheet"), [key!("slot.sheet_x"), key!("slot.sheet_y")]);
    for key in keys::of(Section::Slot) {
        if let Some(value) = key.default() {
            own.fill(key.path, value, Layer::Default);
        }
    }
    if let Some(seed) = facts.value(key!("seed")) {
        own.fill(key!("slot.seed"), seed.clone(), Layer::Default);
    }
    let mut slot: Slot = own.read("slot")?;
    (slot.places, slot.recipe) = (places, own.recipe()?);
    if slot.art.is_none() && !slot.places.is_empty() {
        let mut first = slot.places.remove(0);
        first.repeat = repeat(own.value(key!("slot.repeat")));
        slot.art = Some(first);
    } else if let Some(art) = &mut slot.art {
        (art.file, art.layer) = (file, layer);
    }
    slot.seed = seed::derive(slot.seed, slot.stream.as_ref().unwrap_or(&slot.name));
    if let Some(own) = &mut slot.strokes {
        (own.file, own.layer) = strokes;
    }
    if let Some(own) = &mut slot.sheet {
        (own.file, own.layer) = sheet;
    }
    Ok(slot)
}

/// The file, in the scene's folder, and the layer that a slot names under a key; where the layer lies is what the keys of its `place` are else.
fn named(
    own: &mut Resolved,
    path: &str,
    place: [&'static str; 2],
    folder: &Path,
    input: &Input,
) -> (PathBuf, Option<String>) {
    let (path, layer) = layered::reference(own.value(path).and_then(Value::text).unwrap_or_default());
    let (file, layer) = (folder.join(path), layer.map(str::to_owned));
    if let Some(held) = layer.as_ref().and_then(|layer| input.layered.get(&file)?.find(layer).ok()) {
        for (key, at) in place.into_iter().zip([held.x, held.y]) {
            own.fill(key, Value::Number(at as f64), Layer::Default);
        }
    }
    (file, layer)
}

/// How the pictures of a slot without one of its own repeat.
fn repeat(value: Option<&Value>) -> Repeat {
    match value {
        Some(Value::Flag(true)) => Repeat::Edge,
        Some(Value::Number(every)) => Repeat::Every(Px(*every)),
        _ => Repeat::No,
    }
}

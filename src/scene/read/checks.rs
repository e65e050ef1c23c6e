//! Checks that look at more than one key.

use crate::base::fault::{Class, Fault};
use crate::base::limits::Limits;
use crate::base::names::folded;
use crate::scene::check::{self, Unfit, only_in};
use crate::scene::keys::{self, Entry, Place, Reader, Value, key, shown};
use crate::scene::lamps;
use crate::scene::layered::{self, Layered};
use crate::scene::moods;
use crate::scene::places;
use crate::scene::project;
use crate::scene::read::Options;
use crate::scene::recipe::shelf::{Preset, default_preset};
use crate::scene::written::{SceneFile, SlotTable};
use std::collections::{BTreeMap, HashMap};
use std::path::{Path, PathBuf};

/// Runs them all; faults go to `reader`.
pub(super) fn all(
    written: &SceneFile,
    file: &Path,
    options: Options<'_>,
    reader: &mut Reader<'_>,
) -> BTreeMap<PathBuf, Layered> {
    missing(written, reader);
    many(written, options.limits, reader);
    names(written, reader);
    eye(written, reader);
    frames(written, reader);
    lamps::check(written, reader);
    places::check(written, reader);
    own_sheets(written, reader);
    moods::check(written, reader);
    pictures(written, file, options, reader)
}

/// Keys that must be given. A key that is given but wrong has its own fault already.
fn missing(written: &SceneFile, reader: &mut Reader<'_>) {
    if !written.whole {
        return;
    }
    let wanted = |path: &str| {
        keys::find(path).map(|key| format!("{} {}", key.about, key.wanted())).unwrap_or_default()
    };
    if !written.top.contains_key(key!("view")) && !written.wrong.contains(&key!("view")) {
        reader.whole(Class::Scene, "the scene has no `view`", wanted(key!("view")));
    }
    if written.slots.is_empty() && !written.wrong.contains(&"slot") {
        reader.whole(
            Class::Scene,
            "the scene has no slots",
            "Add at least one: [[slot]] on a line of its own, with `name` and `depth` under it.",
        );
    }
    for slot in &written.slots {
        for path in [key!("slot.name"), key!("slot.depth")] {
            if !slot.wrong.contains(&path) && !slot.entries.contains_key(path) {
                let name = path.trim_start_matches("slot.");
                let of = slot.name().map(|name| format!(" {}", shown(name))).unwrap_or_default();
                reader.fault(
                    Class::Scene,
                    &slot.heading,
                    format!("the slot{of} has no `{name}`"),
                    wanted(path),
                );
            }
        }
    }
}

/// A scene has no more slots and lamps with those of the files that it builds on than one file may have.
fn many(written: &SceneFile, limits: &Limits, reader: &mut Reader<'_>) {
    for (what, count) in [("slots", written.slots.len()), ("lamps", written.lamps.len())] {
        if count > limits.slots {
            let message = format!(
                "with the files that it builds on the scene has {count} {what}, over the limit of {}",
                limits.slots
            );
            let remedy = "Build on files with fewer, or raise the limit: --limit slots=NUMBER.";
            reader.whole(Class::Limit, message, remedy);
        }
    }
}

/// Names must be fit for files and told apart by all file systems.
fn names(written: &SceneFile, reader: &mut Reader<'_>) {
    let mut seen: HashMap<String, &str> = HashMap::new();
    for slot in &written.slots {
        let (Some(name), Some(entry)) = (slot.name(), slot.entries.get(key!("slot.name"))) else { continue };
        if let Err(unfit) = check::name(name) {
            report(unfit, entry, reader);
            continue;
        }
        match seen.get(folded(name).as_str()) {
            Some(other) if *other == name => reader.fault(
                Class::Scene,
                &entry.place,
                format!("two slots are named {}", shown(name)),
                "Rename one; output files are named after slots.",
            ),
            Some(other) => reader.fault(
                Class::Scene,
                &entry.place,
                format!(
                    "the slots' names {} and {} differ only in {}",
                    shown(other),
                    shown(name),
                    only_in(other, name)
                ),
                "Rename one; on some file systems both would be one file.",
            ),
            None => drop(seen.insert(folded(name), name)),
        }
    }
}

/// The view is the widest and the tallest frame.
fn frames(written: &SceneFile, reader: &mut Reader<'_>) {
    let view = written.top.get(key!("view")).map(|entry| &entry.value);
    let (Some(entry), Some(Value::Pair(view))) = (written.top.get(key!("also_view")), view) else { return };
    let Value::Points(frames) = &entry.value else { return };
    for [width, height] in frames {
        let over = match (*width > view[0], *height > view[1]) {
            (true, true) => "wider and taller",
            (true, false) => "wider",
            (false, true) => "taller",
            (false, false) => continue,
        };
        let message = format!(
            "`also_view` has {width} x {height}, which is {over} than the `view`, {} x {}",
            view[0], view[1]
        );
        let [widest, tallest] = [width.max(view[0]), height.max(view[1])];
        let remedy = format!(
            "Make the `view` as wide and as tall as every frame that the game shows, [{widest}, {tallest}], or take this one out."
        );
        reader.fault(Class::Scene, &entry.place, message, remedy);
    }
}

/// Slots must stand before the eye.
fn eye(written: &SceneFile, reader: &mut Reader<'_>) {
    let (given, view) = (written.top.get(key!("camera")), written.top.get(key!("view")));
    let usual = || keys::find(key!("camera"))?.of_view(view.map(|entry| &entry.value), None);
    let camera = given.map(|entry| entry.value.clone()).or_else(usual);
    let Some(camera) = camera.and_then(|camera| camera.number()) else { return };
    for slot in &written.slots {
        let Some(entry) = slot.entries.get(key!("slot.depth")) else { continue };
        let depth = entry.value.number().unwrap_or(0.0);
        if depth > -camera {
            continue;
        }
        // Who moved the camera by an argument finds the fault there.
        let place = later(&entry.place, given.map(|entry| &entry.place));
        let of = slot.name().map(|name| format!(" {}", shown(name))).unwrap_or_default();
        reader.fault(
            Class::Scene,
            place,
            format!(
                "the slot{of} is at or behind the eye: its depth is {depth}, the camera's distance {camera}"
            ),
            format!("Give it a depth above {}, or move the camera back with `camera`.", -camera),
        );
    }
}

/// Of two places the one that has the last word.
fn later<'a>(own: &'a Place, other: Option<&'a Place>) -> &'a Place {
    other.filter(|other| other.rank() > own.rank()).unwrap_or(own)
}

/// The air is no thicker outside the fog than within it.
pub(super) fn air(written: &SceneFile, presets: &BTreeMap<String, Preset>, reader: &mut Reader<'_>) {
    let given = |path: &str| written.top.get(path);
    let Some(entry) = given(key!("air.clear")) else { return };
    let preset = given(key!("preset")).and_then(|entry| entry.value.text());
    let usual = || presets.get(preset.unwrap_or(&default_preset())).map(|preset| preset.visibility);
    let within = given(key!("air.visibility"));
    let visibility = within.and_then(|entry| entry.value.number()).or_else(usual);
    let (Some(clear), Some(visibility)) = (entry.value.number(), visibility) else { return };
    if clear >= visibility {
        return;
    }
    // Who changed the visibility by an argument or a mood finds the fault there.
    let place = later(&entry.place, within.map(|entry| &entry.place));
    reader.fault(
        Class::Scene,
        place,
        format!("`air.clear` is {clear}, less than `air.visibility`, {visibility}: outside the fog one sees at least as far as within it"),
        format!("Give `air.clear` at least {visibility}, or lower `air.visibility`."),
    );
}

/// A sheet is either made, with what is drawn into it, or a picture.
fn own_sheets(written: &SceneFile, reader: &mut Reader<'_>) {
    for slot in &written.slots {
        let given = |path| slot.entries.get(path);
        let (Some(sheet), Some(strokes)) = (given(key!("slot.sheet")), given(key!("slot.strokes"))) else {
            continue;
        };
        let of = slot.name().map(|name| format!(" {}", shown(name))).unwrap_or_default();
        reader.fault(
            Class::Scene,
            later(&sheet.place, Some(&strokes.place)),
            format!("the slot{of} has both `sheet` and `strokes`, but nothing is drawn into a sheet that is a picture"),
            "Leave out one of them; or draw the strokes into the picture.",
        );
    }
}

/// Pictures must lie in the scene's folder and be there. Returns what the layered files among them hold.
fn pictures(
    written: &SceneFile,
    file: &Path,
    options: Options<'_>,
    reader: &mut Reader<'_>,
) -> BTreeMap<PathBuf, Layered> {
    let folder = file.parent().unwrap_or(Path::new(""));
    let climb = project::climb(folder);
    let root = project::root_of(folder).unwrap_or_else(|| folder.to_path_buf());
    // A file that many slots share is looked at once.
    let mut there: HashMap<&str, bool> = HashMap::new();
    let mut layered: BTreeMap<PathBuf, Layered> = BTreeMap::new();
    let files = [key!("slot.art"), key!("slot.strokes"), key!("slot.sheet")];
    let of_slot = |slot: &SlotTable| -> Vec<Entry> {
        let own = files.iter().filter_map(|key| slot.entries.get(*key));
        let places = slot.places.iter().filter_map(|place| place.entries.get(key!("place.art")));
        own.chain(places).cloned().collect()
    };
    for entry in &written.slots.iter().flat_map(of_slot).collect::<Vec<_>>() {
        let (path, layer) = layered::reference(entry.value.text().unwrap_or_default());
        if let Err(unfit) = check::art_path(path, climb) {
            report(unfit, entry, reader);
            continue;
        }
        if !options.check_art {
            continue;
        }
        let full = folder.join(path);
        if !there.contains_key(path) {
            let is_held = options.held.is_some_and(|held| held.contains_key(&full));
            let found = if is_held { Ok(()) } else { check::art_file(&full, &root) };
            there.insert(path, found.is_ok());
            if let Err(unfit) = found {
                report(unfit, entry, reader);
            } else if layer.is_some() {
                match Layered::open(&full, options.limits) {
                    Ok(found) => drop(layered.insert(full.clone(), found)),
                    Err(fault) => report_fault(fault, entry, reader),
                }
            }
        }
        if let (Some(layer), Some(found)) = (layer, layered.get(&full))
            && let Err(fault) = found.find(layer)
        {
            report_fault(fault, entry, reader);
        }
    }
    layered
}

/// A fault of a picture's file, told at the place that names it.
fn report_fault(fault: Fault, entry: &Entry, reader: &mut Reader<'_>) {
    reader.fault(fault.class, &entry.place, fault.message, fault.remedy);
}

fn report(unfit: Unfit, entry: &Entry, reader: &mut Reader<'_>) {
    reader.fault(unfit.class, &entry.place, unfit.message, unfit.remedy);
}

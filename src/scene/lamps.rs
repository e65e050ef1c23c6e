//! Lamps: `[[lamp]]` tables of a scene, and what moods and the command line change of those that have names.

use crate::base::colour::Srgb;
use crate::base::fault::{Class, Result};
use crate::base::law;
use crate::base::limits::Limits;
use crate::base::units::{Px, Travel};
use crate::scene::keys::{self, Entries, Place, Reader, Section, key, shown};

use crate::scene::moods::Named;
use crate::scene::recipe::layers::{Layer, Resolved};
use crate::scene::written::SceneFile;
use serde::Deserialize;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// A lamp: the air around it glows.
#[derive(Clone, Debug, PartialEq, Deserialize)]
pub struct Lamp {
    /// Its name, by which moods and the command line change it.
    pub name: Option<String>,
    /// The slot that it hangs in.
    pub slot: String,
    /// Its middle in scene px, with the camera at the start of the travel.
    pub x: Px,
    /// Height of its middle, from the top of the view.
    pub y: Px,
    /// Colour of its light, sRGB.
    pub colour: Srgb,
    /// How strongly it shines; 0 is out.
    pub strength: f64,
    /// Radius of the lamp itself, scene px.
    pub core: Px,
}

/// A lamp as written.
#[derive(Debug)]
pub(super) struct LampTable {
    /// Where its heading stands.
    pub heading: Place,
    /// Its keys.
    pub entries: Entries,
    /// Its keys that are given but wrong.
    pub wrong: Vec<&'static str>,
}

impl LampTable {
    /// Its name, if it has one.
    pub fn name(&self) -> Option<&str> {
        self.entries.get(key!("lamp.name")).and_then(|entry| entry.value.text())
    }

    fn called(&self) -> String {
        self.name().map(|name| format!(" {}", shown(name))).unwrap_or_default()
    }
}

/// Reads the lamps; faults go to `reader`.
pub(super) fn read(reader: &mut Reader<'_>, value: &Spanned<DeValue<'_>>, limits: &Limits) -> Vec<LampTable> {
    let over = |count| {
        let message =
            format!("the scene has {count} lamps, over the limit of {} for slots and lamps", limits.slots);
        (message, "Paint the smallest ones into their pictures, or raise the limit: --limit slots=NUMBER.")
    };
    let mut lamps = Vec::new();
    for item in reader.list(value, "lamp", limits.slots, over).unwrap_or_default() {
        let Some(table) = reader.item(item, "lamp", "a lamp") else { continue };
        let mut entries = Entries::new();
        let wrong = reader.table(table, Section::Lamp, &[], &mut entries);
        lamps.push(LampTable { heading: reader.place(item.span()), entries, wrong });
    }
    lamps
}

/// What a mood changes of lamps.
pub(super) fn of_mood(reader: &mut Reader<'_>, mood: &str, value: &Spanned<DeValue<'_>>) -> Vec<Named> {
    let how = format!("Write [mood.{mood}.lamp.NAME], with its overrides under it.");
    let DeValue::Table(table) = value.get_ref() else {
        let message = "`lamp` in a mood must be a table of lamps by name";
        reader.fault(Class::Scene, &Place::File(value.span()), message, how);
        return Vec::new();
    };
    let mut all = Vec::new();
    for (name, value) in table.iter() {
        let DeValue::Table(table) = value.get_ref() else {
            reader.fault(Class::Scene, &Place::File(value.span()), "a mood's lamp must be a table", &how);
            continue;
        };
        let (name, place) = (name.get_ref().clone().into_owned(), reader.place(name.span()));
        all.push(Named { name, place, entries: overrides(reader, table), places: None });
    }
    all
}

fn overrides(reader: &mut Reader<'_>, table: &DeTable<'_>) -> Entries {
    let mut entries = Entries::new();
    reader.table(table, Section::Lamp, &[], &mut entries);
    if let Some(entry) = entries.remove(key!("lamp.name")) {
        let remedy = "Remove the key, or change the name in the [[lamp]].";
        reader.fault(Class::Scene, &entry.place, "a mood can't rename a lamp", remedy);
    }
    entries
}

/// Checks that look at more than one key; faults go to `reader`.
pub(super) fn check(written: &SceneFile, reader: &mut Reader<'_>) {
    for (at, lamp) in written.lamps.iter().enumerate() {
        for path in [key!("lamp.slot"), key!("lamp.x"), key!("lamp.y")] {
            if written.whole && !lamp.wrong.contains(&path) && !lamp.entries.contains_key(path) {
                let wanted =
                    keys::find(path).map(|key| format!("{} {}", key.about, key.wanted())).unwrap_or_default();
                let message =
                    format!("the lamp{} has no `{}`", lamp.called(), path.trim_start_matches("lamp."));
                reader.fault(Class::Scene, &lamp.heading, message, wanted);
            }
        }
        let earlier = &written.lamps[..at];
        if let (Some(name), Some(entry)) = (lamp.name(), lamp.entries.get(key!("lamp.name")))
            && earlier.iter().any(|other| other.name() == Some(name))
        {
            let message = format!("two lamps are named {}", shown(name));
            reader.fault(
                Class::Scene,
                &entry.place,
                message,
                "Rename one: moods change lamps by their names.",
            );
        }
        if let Some(entry) = lamp.entries.get(key!("lamp.slot")) {
            let name = entry.value.text().unwrap_or_default();
            match written.slots.iter().find(|slot| slot.name() == Some(name)) {
                Some(slot) => strip(written, lamp, &slot.entries, reader),
                None if !written.whole => {}
                None => {
                    let message = format!("there is no slot {} for the lamp{}", shown(name), lamp.called());
                    let remedy = keys::instead(name, written.slots.iter().filter_map(|slot| slot.name()));
                    reader.fault(Class::Scene, &entry.place, message, remedy);
                }
            }
        }
    }
}

/// Lamps must hang on the strip of their slot that the camera sees.
fn strip(written: &SceneFile, lamp: &LampTable, slot: &Entries, reader: &mut Reader<'_>) {
    let view = written.top.get(key!("view")).map(|entry| &entry.value);
    let value = |path: &str| {
        let given = written.top.get(path).map(|entry| entry.value.clone());
        given.or_else(|| keys::find(path)?.default().or_else(|| keys::find(path)?.of_view(view, None)))
    };
    let travel = match value(key!("travel")) {
        Some(keys::Value::Pair([right, down])) => Travel::new(right, down),
        Some(keys::Value::Number(right)) => Travel::new(right, 0.0),
        _ => return,
    };
    let (Some(keys::Value::Pair(view)), Some(camera), Some(depth)) = (
        view,
        value(key!("camera")).and_then(|value| value.number()),
        slot.get(key!("slot.depth")).and_then(|entry| entry.value.number()),
    ) else {
        return;
    };
    if depth <= -camera {
        return;
    }
    let ends = law::strip(view.map(Px), travel, law::pan_rate(camera, depth)).map(|side| side.0);
    for (path, end) in [key!("lamp.x"), key!("lamp.y")].into_iter().zip(ends) {
        let Some(entry) = lamp.entries.get(path) else { continue };
        let at = entry.value.number().unwrap_or_default();
        if !(0.0..=end).contains(&at) {
            let name = path.trim_start_matches("lamp.");
            let message = format!("the lamp{} is off its slot's strip: its {name} is {at}", lamp.called());
            let remedy = format!("Between 0 and {end:.0} the camera comes to see it.");
            reader.fault(Class::Scene, &entry.place, message, remedy);
        }
    }
}

/// The lamps as meant, of a faultless file.
pub(super) fn meant(lamps: &[LampTable]) -> Result<Vec<Lamp>> {
    let lamp = |table: &LampTable| {
        let mut own = Resolved::default();
        for (path, entry) in &table.entries {
            own.set(path, entry.value.clone(), Layer::Scene);
        }
        for key in keys::of(Section::Lamp) {
            if let Some(value) = key.default() {
                own.fill(key.path, value, Layer::Default);
            }
        }
        own.read("lamp")
    };
    lamps.iter().map(lamp).collect()
}

//! Moods: other atmospheres of one scene, as `[mood.NAME]` tables.
//!
//! A mood's keys take the place of those that the scene or the slot gives, as if they were written there; so a slot's own number still
//! wins over the scene's, whichever of the two is the mood's.

use crate::base::fault::Class;
use crate::base::limits::Limits;
use crate::base::names::folded;
use crate::scene::check;
use crate::scene::keys::{self, Entries, Place, Reader, Section, key, shown};
use crate::scene::lamps;
use crate::scene::places::{self, PlaceTable};
use crate::scene::written::SceneFile;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// A mood as written.
#[derive(Debug)]
pub(super) struct MoodTable {
    /// Its name.
    pub name: String,
    /// Where that stands.
    pub place: Place,
    /// Keys of the scene, its air, its rims, its limits and its step tables.
    pub top: Entries,
    /// Keys, step tables and places of slots; of two for one slot the later one holds.
    pub slots: Vec<Named>,
    /// Keys of lamps, alike.
    pub lamps: Vec<Named>,
}

/// What a mood changes of a slot or a lamp.
#[derive(Debug)]
pub(super) struct Named {
    /// Its name.
    pub name: String,
    /// Where that stands.
    pub place: Place,
    /// The mood's values.
    pub entries: Entries,
    /// Places that take the place of all of a slot's.
    pub places: Option<Vec<PlaceTable>>,
}

impl MoodTable {
    /// Takes over what the mood of the same name in a base says besides.
    pub fn build_on(&mut self, base: MoodTable) {
        for (path, entry) in base.top {
            self.top.entry(path).or_insert(entry);
        }
        self.slots.splice(0..0, base.slots);
        self.lamps.splice(0..0, base.lamps);
    }
}

/// Reads all moods; faults go to `reader`.
pub(super) fn read(reader: &mut Reader<'_>, value: &Spanned<DeValue<'_>>, limits: &Limits) -> Vec<MoodTable> {
    let DeValue::Table(table) = value.get_ref() else {
        reader.fault(
            Class::Scene,
            &Place::File(value.span()),
            "`mood` must be a table of moods",
            "Write [mood.dusk] on a line of its own, with its overrides under it.",
        );
        return Vec::new();
    };
    let mut moods: Vec<MoodTable> = Vec::new();
    for (name, value) in table.iter() {
        if let Err(unfit) = check::mood_name(name.get_ref()) {
            reader.fault(unfit.class, &Place::File(name.span()), unfit.message, unfit.remedy);
            continue;
        }
        let DeValue::Table(table) = value.get_ref() else {
            let message = format!("the mood {} must be a table", shown(name.get_ref()));
            reader.fault(
                Class::Scene,
                &Place::File(value.span()),
                message,
                "Write [mood.NAME], with its overrides under it.",
            );
            continue;
        };
        let place = reader.place(name.span());
        reader.mood = Some(name.get_ref().clone().into_owned());
        moods.push(read_mood(reader, (name.get_ref(), place), table, limits));
        reader.mood = None;
    }
    moods
}

fn read_mood(
    reader: &mut Reader<'_>,
    (name, place): (&str, Place),
    table: &DeTable<'_>,
    limits: &Limits,
) -> MoodTable {
    let mut top = Entries::new();
    reader.scene(table, &["slot", "lamp", "from"], &mut top);
    if let Some((from, _)) = table.get_key_value("from") {
        let message = "a mood can't say what the scene builds on";
        reader.fault(
            Class::Scene,
            &Place::File(from.span()),
            message,
            "Write `from` at the top of the scene.",
        );
    }
    let slots = match table.get("slot").map(|slots| (slots, slots.get_ref())) {
        Some((_, DeValue::Table(table))) => of_slots(reader, name, table, limits),
        Some((value, _)) => {
            reader.fault(
                Class::Scene,
                &Place::File(value.span()),
                "`slot` in a mood must be a table of slots by name",
                format!("Write [mood.{name}.slot.NAME], with its overrides under it."),
            );
            Vec::new()
        }
        None => Vec::new(),
    };
    let lamps = table.get("lamp").map(|value| lamps::of_mood(reader, name, value)).unwrap_or_default();
    MoodTable { name: name.to_owned(), place, top, slots, lamps }
}

fn of_slots(reader: &mut Reader<'_>, mood: &str, table: &DeTable<'_>, limits: &Limits) -> Vec<Named> {
    let mut all = Vec::new();
    for (name, value) in table.iter() {
        let DeValue::Table(table) = value.get_ref() else {
            reader.fault(
                Class::Scene,
                &Place::File(value.span()),
                "a mood's slot must be a table",
                format!("Write [mood.{mood}.slot.{}], with its overrides under it.", name.get_ref()),
            );
            continue;
        };
        let mut entries = Entries::new();
        reader.table(table, Section::Slot, &[places::NAME], &mut entries);
        if let Some(entry) = entries.remove(key!("slot.name")) {
            reader.fault(
                Class::Scene,
                &entry.place,
                "a mood can't rename a slot",
                "Remove the key: outputs are named after the slot.",
            );
        }
        let places = places::read(reader, Some(name.get_ref()), table, limits);
        let (name, place) = (name.get_ref().clone().into_owned(), reader.place(name.span()));
        all.push(Named { name, place, entries, places });
    }
    all
}

/// Checks that look at more than one table; faults go to `reader`. A base's mood may name slots and lamps that only other scenes have.
pub(super) fn check(written: &SceneFile, reader: &mut Reader<'_>) {
    for (at, mood) in written.moods.iter().enumerate() {
        if let Some(other) =
            written.moods[..at].iter().find(|other| folded(&other.name) == folded(&mood.name))
        {
            let message = format!(
                "the moods\' names {} and {} differ only in {}",
                shown(&other.name),
                shown(&mood.name),
                check::only_in(&other.name, &mood.name)
            );
            let remedy = "Rename one; on some file systems both would be one folder.";
            reader.fault(Class::Scene, &mood.place, message, remedy);
        }
        let own = |named: &&Named| !matches!(named.place, Place::Base(..));
        let names = written.slots.iter().filter_map(|slot| slot.name());
        for slot in mood.slots.iter().filter(own).filter(|slot| !names.clone().any(|name| name == slot.name))
        {
            let there = keys::instead(&slot.name, names.clone());
            let remedy = format!("A mood can change the scene's slots, but not add any. {there}");
            let message = format!("there is no slot {}", shown(&slot.name));
            reader.fault(Class::Scene, &slot.place, message, remedy);
        }
        let names = written.lamps.iter().filter_map(|lamp| lamp.name());
        for lamp in mood.lamps.iter().filter(own).filter(|lamp| !names.clone().any(|name| name == lamp.name))
        {
            let there = keys::instead(&lamp.name, names.clone());
            let remedy = format!("Give the lamp that is meant a `name` in its [[lamp]]. {there}");
            let message = format!("there is no lamp {}", shown(&lamp.name));
            reader.fault(Class::Scene, &lamp.place, message, remedy);
        }
    }
}

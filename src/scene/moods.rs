//! Moods: other atmospheres of one scene, as `[mood.NAME]` tables.
//!
//! A mood's keys take the place of those that the scene or the slot gives, as if they were written there; so a slot's own number still
//! wins over the scene's, whichever of the two is the mood's.

use crate::base::fault::Class;
use crate::base::names::folded;
use crate::scene::check;
use crate::scene::keys::{self, Entries, Place, Reader, Section, key, shown};
use crate::scene::lamps;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// A mood as written.
#[derive(Debug, Default)]
pub(super) struct MoodTable {
    /// Its name.
    pub name: String,
    /// Keys of the scene, its air, its rims, its limits and its step tables.
    pub top: Entries,
    /// Keys and step tables of slots, by their place in the file.
    pub slots: Vec<(usize, Entries)>,
    /// Keys of lamps, by their place in the file.
    pub lamps: Vec<(usize, Entries)>,
}

/// Names of what a mood may change, in the file's order.
pub(super) struct Names<'a> {
    pub slots: &'a [Option<&'a str>],
    pub lamps: &'a [Option<&'a str>],
}

/// Reads all moods; faults go to `reader`.
pub(super) fn read(
    reader: &mut Reader<'_>,
    value: &Spanned<DeValue<'_>>,
    names: &Names<'_>,
) -> Vec<MoodTable> {
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
        let place = Place::File(name.span());
        if let Err(unfit) = check::mood_name(name.get_ref()) {
            reader.fault(unfit.class, &place, unfit.message, unfit.remedy);
            continue;
        }
        if let Some(other) = moods.iter().find(|mood| folded(&mood.name) == folded(name.get_ref())) {
            let message = format!(
                "the moods\' names {} and {} differ only in {}",
                shown(&other.name),
                shown(name.get_ref()),
                check::only_in(&other.name, name.get_ref())
            );
            reader.fault(
                Class::Scene,
                &place,
                message,
                "Rename one; on some file systems both would be one folder.",
            );
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
        reader.mood = Some(name.get_ref().clone().into_owned());
        moods.push(read_mood(reader, name.get_ref(), table, names));
        reader.mood = None;
    }
    moods
}

fn read_mood(reader: &mut Reader<'_>, name: &str, table: &DeTable<'_>, names: &Names<'_>) -> MoodTable {
    let mut mood = MoodTable { name: name.to_owned(), ..MoodTable::default() };
    reader.scene(table, &["slot", "lamp"], &mut mood.top);
    match table.get("slot").map(|slots| (slots, slots.get_ref())) {
        Some((_, DeValue::Table(table))) => mood.slots = of_slots(reader, name, table, names.slots),
        Some((value, _)) => reader.fault(
            Class::Scene,
            &Place::File(value.span()),
            "`slot` in a mood must be a table of slots by name",
            format!("Write [mood.{name}.slot.NAME], with its overrides under it."),
        ),
        None => {}
    }
    if let Some(value) = table.get("lamp") {
        mood.lamps = lamps::of_mood(reader, name, value, names.lamps);
    }
    mood
}

fn of_slots(
    reader: &mut Reader<'_>,
    mood: &str,
    table: &DeTable<'_>,
    slots: &[Option<&str>],
) -> Vec<(usize, Entries)> {
    let mut all = Vec::new();
    for (name, value) in table.iter() {
        let Some(at) = slots.iter().position(|slot| *slot == Some(name.get_ref().as_ref())) else {
            let message = format!("there is no slot {}", shown(name.get_ref()));
            let there = keys::instead(name.get_ref(), slots.iter().flatten().copied());
            let remedy = format!("A mood can change the scene's slots, but not add any. {there}");
            reader.fault(Class::Scene, &Place::File(name.span()), message, remedy);
            continue;
        };
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
        reader.table(table, Section::Slot, &[], &mut entries);
        if let Some(entry) = entries.remove(key!("slot.name")) {
            reader.fault(
                Class::Scene,
                &entry.place,
                "a mood can't rename a slot",
                "Remove the key: outputs are named after the slot.",
            );
        }
        all.push((at, entries));
    }
    all
}

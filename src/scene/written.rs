//! The scene as written: what the file gives, checked key by key, nothing resolved.

use crate::base::fault::Class;
use crate::base::limits::Limits;
use crate::scene::keys::{Entries, Place, Reader, Section};
use crate::scene::moods;
use std::ops::Range;
use toml::Spanned;
use toml::de::DeValue;

/// A scene as written.
#[derive(Debug, Default)]
pub(super) struct Written {
    /// Keys of the scene, its air and its step tables.
    pub top: Entries,
    /// The slots, in the file's order.
    pub slots: Vec<WrittenSlot>,
    /// The moods, in the file's order.
    pub moods: Vec<moods::WrittenMood>,
    /// Keys of the scene that are given but wrong; `slot` stands for the list of slots.
    pub wrong: Vec<&'static str>,
    /// Whether all of the file could be read; if not, nothing can be called missing.
    pub whole: bool,
}

/// A slot as written.
#[derive(Debug)]
pub(super) struct WrittenSlot {
    /// Its heading.
    pub heading: Range<usize>,
    /// Its keys and step tables.
    pub entries: Entries,
    /// Its keys that are given but wrong.
    pub wrong: Vec<&'static str>,
}

impl WrittenSlot {
    /// Its name, if it has one.
    pub fn name(&self) -> Option<&str> {
        self.entries.get("slot.name").and_then(|entry| entry.value.text())
    }
}

/// Reads a scene's text; faults go to `reader`.
pub(super) fn read(text: &str, limits: &Limits, reader: &mut Reader<'_>) -> Written {
    let mut room = String::new();
    let (table, whole) = reader.parse(text, &mut room);
    let mut written = Written { whole, ..Written::default() };
    let tables = ["air", "rim", "check", "texture", "slot", "mood"];
    written.wrong = reader.table(&table, Section::Scene, &tables, &mut written.top);
    for (name, value) in table.iter() {
        match name.get_ref().as_ref() {
            "air" => read_table(reader, "air", Section::Air, value, &mut written.top),
            "rim" => read_table(reader, "rim", Section::Rim, value, &mut written.top),
            "check" => read_table(reader, "check", Section::Check, value, &mut written.top),
            "texture" => read_table(reader, "texture", Section::Texture, value, &mut written.top),
            "slot" if !read_slots(reader, value, limits, &mut written.slots) => written.wrong.push("slot"),
            _ => {}
        }
    }
    if let Some((_, value)) = table.iter().find(|(name, _)| name.get_ref() == "mood") {
        written.moods = moods::read(reader, value, &written.slots);
    }
    written
}

pub(super) fn read_table(
    reader: &mut Reader<'_>,
    name: &str,
    section: Section,
    value: &Spanned<DeValue<'_>>,
    into: &mut Entries,
) {
    match value.get_ref() {
        DeValue::Table(table) => drop(reader.table(table, section, &[], into)),
        _ => reader.fault(
            Class::Scene,
            &Place::File(value.span()),
            format!("`{name}` must be one table"),
            format!("Write [{name}] once, on a line of its own, with its keys under it."),
        ),
    }
}

/// Reads the slots; says whether each is a table.
fn read_slots(
    reader: &mut Reader<'_>,
    value: &Spanned<DeValue<'_>>,
    limits: &Limits,
    into: &mut Vec<WrittenSlot>,
) -> bool {
    let DeValue::Array(array) = value.get_ref() else {
        reader.fault(
            Class::Scene,
            &Place::File(value.span()),
            "`slot` must be a list of tables",
            "Write [[slot]] with two brackets on each side, once for each slot.",
        );
        return false;
    };
    if let Some(first_over) = array.get(limits.slots) {
        reader.fault(
            Class::Limit,
            &Place::File(first_over.span()),
            format!("the scene has {} slots, over the limit of {}", array.len(), limits.slots),
            "Merge slots that are close together (pictures of one depth can share a sheet), or raise the limit: --limit slots=NUMBER.",
        );
    }
    let mut all_tables = true;
    for item in array.iter().take(limits.slots) {
        match item.get_ref() {
            DeValue::Table(table) => {
                let mut entries = Entries::new();
                let wrong = reader.table(table, Section::Slot, &[], &mut entries);
                into.push(WrittenSlot { heading: item.span(), entries, wrong });
            }
            _ => {
                all_tables = false;
                reader.fault(
                    Class::Scene,
                    &Place::File(item.span()),
                    "a slot must be a table",
                    "Write [[slot]] on a line of its own, with its keys under it.",
                );
            }
        }
    }
    all_tables
}

//! The scene as written: what the file gives, checked key by key, nothing resolved.

use crate::base::fault::{Class, Fault, Result};
use crate::base::limits::Limits;
use crate::scene::keys::{self, Entries, Place, Reader, Section, key, shown};
use crate::scene::lamps::{self, LampTable};
use crate::scene::moods;
use std::ops::Range;
use std::path::Path;
use toml::Spanned;
use toml::de::DeValue;

/// A scene as written.
#[derive(Debug, Default)]
pub(super) struct SceneFile {
    /// Keys of the scene, its air and its step tables.
    pub top: Entries,
    /// The slots, in the file's order.
    pub slots: Vec<SlotTable>,
    /// The lamps, in the file's order.
    pub lamps: Vec<LampTable>,
    /// The moods, in the file's order.
    pub moods: Vec<moods::MoodTable>,
    /// Keys of the scene that are given but wrong; `slot` stands for the list of slots.
    pub wrong: Vec<&'static str>,
    /// Whether all of the file could be read; if not, nothing can be called missing.
    pub whole: bool,
}

/// A slot as written.
#[derive(Debug)]
pub(super) struct SlotTable {
    /// Its heading.
    pub heading: Range<usize>,
    /// Its keys and step tables.
    pub entries: Entries,
    /// Its keys that are given but wrong.
    pub wrong: Vec<&'static str>,
}

impl SlotTable {
    /// Its name, if it has one.
    pub fn name(&self) -> Option<&str> {
        self.entries.get(key!("slot.name")).and_then(|entry| entry.value.text())
    }
}

impl SceneFile {
    /// Lays the mood of this name over it; `file` is for messages.
    ///
    /// # Errors
    /// Class `Usage`: there is none.
    pub fn apply_mood(&mut self, name: &str, file: &Path) -> Result<()> {
        let Some(at) = self.moods.iter().position(|mood| mood.name == name) else {
            let remedy = if self.moods.is_empty() {
                format!("It has none: write [mood.{name}], with its overrides under it.")
            } else {
                keys::instead(name, self.moods.iter().map(|mood| mood.name.as_str()))
            };
            let message = format!("the scene has no mood {}", shown(name));
            return Err(Fault::new(Class::Usage, message).in_file(file).remedy(remedy).into());
        };
        let mood = self.moods.swap_remove(at);
        self.top.extend(mood.top);
        for (slot, entries) in mood.slots {
            self.slots[slot].entries.extend(entries);
        }
        for (lamp, entries) in mood.lamps {
            self.lamps[lamp].entries.extend(entries);
        }
        Ok(())
    }
}

/// Reads a scene's text; faults go to `reader`.
pub(super) fn read(text: &str, limits: &Limits, reader: &mut Reader<'_>) -> SceneFile {
    let mut room = String::new();
    let (table, whole) = reader.parse(text, &mut room);
    let mut written = SceneFile { whole, ..SceneFile::default() };
    written.wrong = reader.scene(&table, &["slot", "lamp", "mood"], &mut written.top);
    if let Some(slots) = table.get("slot")
        && !read_slots(reader, slots, limits, &mut written.slots)
    {
        written.wrong.push("slot");
    }
    if let Some(lamps) = table.get("lamp") {
        written.lamps = lamps::read(reader, lamps, limits);
    }
    if let Some(moods) = table.get("mood") {
        let names = moods::Names {
            slots: &written.slots.iter().map(SlotTable::name).collect::<Vec<_>>(),
            lamps: &written.lamps.iter().map(LampTable::name).collect::<Vec<_>>(),
        };
        written.moods = moods::read(reader, moods, &names);
    }
    written
}

/// Reads the slots; says whether each is a table.
fn read_slots(
    reader: &mut Reader<'_>,
    value: &Spanned<DeValue<'_>>,
    limits: &Limits,
    into: &mut Vec<SlotTable>,
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
                into.push(SlotTable { heading: item.span(), entries, wrong });
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

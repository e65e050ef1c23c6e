//! The scene as written: what the file gives, checked key by key, nothing resolved.

use crate::base::fault::{Class, Fault, Result};
use crate::base::limits::Limits;
use crate::scene::keys::{self, Entries, Place, Reader, Section, key, shown};
use crate::scene::lamps::{self, LampTable};
use crate::scene::moods;
use crate::scene::places::{self, PlaceTable};
use std::collections::BTreeSet;
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
    /// Where its heading stands.
    pub heading: Place,
    /// Its keys and step tables.
    pub entries: Entries,
    /// Its further places, in the file's order.
    pub places: Vec<PlaceTable>,
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
    /// Slots whose places the mood of this name lists itself.
    pub fn places_of_mood(&self, name: &str) -> BTreeSet<String> {
        let slots = self.moods.iter().filter(|mood| mood.name == name).flat_map(|mood| &mood.slots);
        slots.filter(|slot| slot.places.is_some()).map(|slot| slot.name.clone()).collect()
    }

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
        for changed in mood.slots {
            if let Some(slot) = self.slots.iter_mut().find(|slot| slot.name() == Some(&changed.name)) {
                slot.entries.extend(changed.entries);
                slot.places = changed.places.unwrap_or(std::mem::take(&mut slot.places));
            }
        }
        for changed in mood.lamps {
            if let Some(lamp) = self.lamps.iter_mut().find(|lamp| lamp.name() == Some(&changed.name)) {
                lamp.entries.extend(changed.entries);
            }
        }
        Ok(())
    }

    /// Takes over what a base says besides. Slots, named lamps and moods of one name are one; a slot's own places stand instead of a base's; those that the base alone has follow the
    /// scene's own, in the base's order.
    pub fn build_on(&mut self, base: SceneFile) {
        fill(&mut self.top, base.top);
        for slot in base.slots {
            let own = self.slots.iter_mut().find(|own| own.name().is_some() && own.name() == slot.name());
            match own {
                Some(own) => {
                    fill(&mut own.entries, slot.entries);
                    own.wrong.extend(slot.wrong);
                    if own.places.is_empty() {
                        own.places = slot.places;
                    }
                }
                None => self.slots.push(slot),
            }
        }
        for lamp in base.lamps {
            let own = self.lamps.iter_mut().find(|own| own.name().is_some() && own.name() == lamp.name());
            match own {
                Some(own) => {
                    fill(&mut own.entries, lamp.entries);
                    own.wrong.extend(lamp.wrong);
                }
                None => self.lamps.push(lamp),
            }
        }
        for mood in base.moods {
            match self.moods.iter_mut().find(|own| own.name == mood.name) {
                Some(own) => own.build_on(mood),
                None => self.moods.push(mood),
            }
        }
        self.wrong.extend(base.wrong);
        self.whole &= base.whole;
    }
}

/// Adds what isn't there yet.
fn fill(own: &mut Entries, base: Entries) {
    for (path, entry) in base {
        own.entry(path).or_insert(entry);
    }
}

/// Reads a scene's text; faults go to `reader`.
pub(super) fn read(text: &str, limits: &Limits, reader: &mut Reader<'_>) -> SceneFile {
    let mut room = String::new();
    let (table, whole) = reader.parse(text, &mut room);
    let mut written = SceneFile { whole, ..SceneFile::default() };
    written.wrong = reader.scene(&table, &["from", "slot", "lamp", "mood"], &mut written.top);
    if let Some(slots) = table.get("slot")
        && !read_slots(reader, slots, limits, &mut written.slots)
    {
        written.wrong.push("slot");
    }
    if let Some(lamps) = table.get("lamp") {
        written.lamps = lamps::read(reader, lamps, limits);
    }
    if let Some(moods) = table.get("mood") {
        written.moods = moods::read(reader, moods, limits);
    }
    if let Some(from) = table.get("from")
        && !matches!(from.get_ref(), DeValue::String(_))
    {
        let remedy = "Write its path in quotes, from this file's folder: from = \"../common.toml\".";
        reader.fault(Class::Scene, &Place::File(from.span()), "`from` must be the path of a file", remedy);
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
    let over = |count| {
        let message = format!("the scene has {count} slots, over the limit of {}", limits.slots);
        (
            message,
            "Merge slots that are close together (pictures of one depth can share a sheet), or raise the limit: --limit slots=NUMBER.",
        )
    };
    let Some(items) = reader.list(value, "slot", limits.slots, over) else { return false };
    let mut all_tables = true;
    for item in items {
        let Some(table) = reader.item(item, "slot", "a slot") else {
            all_tables = false;
            continue;
        };
        let mut entries = Entries::new();
        let wrong = reader.table(table, Section::Slot, &[places::NAME], &mut entries);
        let named = table.get("name").and_then(|name| name.get_ref().as_str());
        let places = places::read(reader, named, table, limits).unwrap_or_default();
        into.push(SlotTable { heading: reader.place(item.span()), entries, places, wrong });
    }
    all_tables
}

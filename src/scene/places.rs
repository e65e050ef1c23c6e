//! Places: `[[slot.place]]` tables of a slot, at which pictures stand on its plane besides its own.

use crate::base::fault::{Class, Result};
use crate::base::limits::Limits;
use crate::scene::keys::{self, Entries, Place, Reader, Section, Value, key, shown};
use crate::scene::layered::{self, Layered};
use crate::scene::recipe::layers::{Layer, Resolved};
use crate::scene::written::{SceneFile, SlotTable};
use crate::scene::{ArtPlace, Repeat};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// The name of the list in a slot.
pub(super) const NAME: &str = "place";

/// The heading of a table of it.
const HEADING: &str = "slot.place";

/// A place as written.
#[derive(Debug)]
pub(super) struct PlaceTable {
    /// Where its heading stands.
    pub heading: Place,
    /// Its keys.
    pub entries: Entries,
    /// Its keys that are given but wrong.
    pub wrong: Vec<&'static str>,
}

/// Reads the places of a slot's table, or of a mood's table for the slot called `named`; none if it lists none. Faults go to `reader`.
pub(super) fn read(
    reader: &mut Reader<'_>,
    named: Option<&str>,
    slot: &DeTable<'_>,
    limits: &Limits,
) -> Option<Vec<PlaceTable>> {
    let value = slot.get(NAME)?;
    let of = named.map(|name| format!("slot {}, ", shown(name))).unwrap_or_default();
    let over = |count| {
        let most = limits.slots;
        let message = format!(
            "{of}place {}: the slot has {count} places, over the limit of {most} for slots, lamps and places of a slot",
            most + 1
        );
        (message, "Draw several into one picture, or raise the limit: --limit slots=NUMBER.")
    };
    let tables = reader.list(value, HEADING, limits.slots, over)?.into_iter().enumerate();
    Some(tables.filter_map(|(at, item)| one(reader, item, &format!("{of}place {}", at + 1))).collect())
}

/// Reads one place, which messages call `name`.
fn one(reader: &mut Reader<'_>, item: &Spanned<DeValue<'_>>, name: &str) -> Option<PlaceTable> {
    let table = reader.item(item, HEADING, name)?;
    let mut entries = Entries::new();
    let before = reader.count();
    let wrong = reader.table(table, Section::Place, &[], &mut entries);
    reader.prefix(before, name);
    Some(PlaceTable { heading: reader.place(item.span()), entries, wrong })
}

/// Checks that look at more than one key; faults go to `reader`.
pub(super) fn check(written: &SceneFile, reader: &mut Reader<'_>) {
    if !written.whole {
        return;
    }
    for slot in &written.slots {
        let of = slot.name().map(|name| format!("slot {}, ", shown(name))).unwrap_or_default();
        pictures(slot, &of, reader);
        for (at, place) in slot.places.iter().enumerate() {
            let art = place.entries.get(key!("place.art")).and_then(|entry| entry.value.text());
            let is_layer = art.is_some_and(|art| layered::reference(art).1.is_some());
            if place.lacks(key!("place.x")) && !is_layer {
                let wanted = keys::find(key!("place.x")).map(|key| format!("{} {}", key.about, key.wanted()));
                let message = format!("{of}place {} has no `x`", at + 1);
                reader.fault(Class::Scene, &place.heading, message, wanted.unwrap_or_default());
            }
        }
    }
}

/// Places of a slot, which messages begin with as `of` says, that have no picture; all of them are one fault.
fn pictures(slot: &SlotTable, of: &str, reader: &mut Reader<'_>) {
    let own = key!("slot.art");
    if slot.wrong.contains(&own) || slot.entries.contains_key(own) {
        return;
    }
    let mut bare = slot.places.iter().enumerate().filter(|(_, place)| place.lacks(key!("place.art")));
    let Some((at, first)) = bare.next() else { return };
    let others = match bare.count() {
        0 => String::new(),
        1 => " (nor has one after it)".to_owned(),
        count => format!(" (nor have {count} after it)"),
    };
    reader.fault(
        Class::Scene,
        &first.heading,
        format!("{of}place {} has no `art`{others}, and the slot has none that it could show again", at + 1),
        "Give the place an `art`; or give the slot one, which every place without its own shows.",
    );
}

impl PlaceTable {
    fn lacks(&self, path: &'static str) -> bool {
        !self.wrong.contains(&path) && !self.entries.contains_key(path)
    }
}

/// What places are read with: the settings of their slot, those of the layer of its own picture among them, the scene's folder, and what
/// the layered files hold.
pub(super) struct Around<'a> {
    pub slot: &'a Resolved,
    pub folder: &'a Path,
    pub layered: &'a BTreeMap<PathBuf, Layered>,
}

impl Around<'_> {
    /// The places as meant, of a faultless file: those that aren't hidden layers.
    pub fn meant(&self, places: &[PlaceTable]) -> Result<Vec<ArtPlace>> {
        let mut all = Vec::with_capacity(places.len());
        for (at, table) in places.iter().enumerate() {
            all.extend(self.one(table, at + 1)?);
        }
        Ok(all)
    }

    fn one(&self, table: &PlaceTable, number: usize) -> Result<Option<ArtPlace>> {
        let mut own = Resolved::default();
        for (path, entry) in &table.entries {
            own.set(path, entry.value.clone(), Layer::Slot);
        }
        if own.value(key!("place.art")).is_none() {
            // Another copy of the slot's own.
            let pairs = [
                (key!("place.art"), key!("slot.art")),
                (key!("place.y"), key!("slot.y")),
                (key!("place.width"), key!("slot.width")),
                (key!("place.flip"), key!("slot.flip")),
            ];
            for (path, like) in pairs {
                if let Some(value) = self.slot.value(like) {
                    own.fill(path, value.clone(), Layer::Slot);
                }
            }
        }
        let art = own.value(key!("place.art")).and_then(Value::text).unwrap_or_default().to_owned();
        let (path, layer) = layered::reference(&art);
        let file = self.folder.join(path);
        if let Some(held) = layer.and_then(|layer| self.layered.get(&file)?.find(layer).ok()) {
            if !held.visible
                && self.slot.layer(key!("slot.visible")).is_none_or(|layer| *layer == Layer::Default)
            {
                return Ok(None);
            }
            own.fill(key!("place.x"), Value::Number(held.x as f64), Layer::Default);
            own.fill(key!("place.y"), Value::Number(held.y as f64), Layer::Default);
        }
        for key in keys::of(Section::Place) {
            if let Some(value) = key.default() {
                own.fill(key.path, value, Layer::Default);
            }
        }
        let layer = layer.map(str::to_owned);
        Ok(Some(ArtPlace { file, layer, number, repeat: Repeat::No, ..own.read("place")? }))
    }
}

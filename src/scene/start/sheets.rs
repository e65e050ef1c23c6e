//! What is kept of the sheets and strokes in a painting: what somebody painted.

use crate::base::fault::Result;
use crate::base::limits::Limits;
use crate::scene::start::painting::{Painted, Painting};
use std::collections::{BTreeMap, BTreeSet};

/// What outputs add to a slot's name; a layer called so is a sheet or a rim that will be made again.
const SHEETS: [&str; 2] = [FOG, RIM];
const FOG: &str = ".fog";
const RIM: &str = ".rim";

/// What a painter adds to a slot's name: what the layer shows becomes the slot's fog.
const STROKES: &str = ".strokes";

/// The slot's name in that of a sheet's or a rim's layer.
pub(super) fn sheet_of(name: &str) -> Option<&str> {
    SHEETS.iter().find_map(|end| name.strip_suffix(end))
}

/// The layers of sheets, rims and strokes, by the slots' names.
#[derive(Default)]
pub(super) struct Sheets<'a> {
    /// Slots that have a sheet.
    pub fogs: BTreeSet<&'a str>,
    /// Slots that have a rim.
    pub rims: BTreeSet<&'a str>,
    /// Sheets that stay as they are.
    pub kept: BTreeMap<&'a str, &'a Painted>,
    /// Layers of strokes.
    pub strokes: BTreeMap<&'a str, &'a Painted>,
    /// What there is to say of each.
    pub notes: Vec<String>,
}

impl<'a> Sheets<'a> {
    /// Those among `layers`.
    ///
    /// # Errors
    /// Those of reading a layer's picture.
    pub fn of(painting: &Painting, layers: &[&'a Painted], limits: &Limits) -> Result<Sheets<'a>> {
        let ending = |end: &str| layers.iter().filter_map(|layer| layer.name.strip_suffix(end)).collect();
        let mut sheets = Sheets { fogs: ending(FOG), rims: ending(RIM), ..Sheets::default() };
        for layer in layers {
            sheets.look_at(painting, layer, layers, limits)?;
        }
        let made = sheets.fogs.len() - sheets.kept.len();
        for (count, what) in [(made, "sheets of fog"), (sheets.rims.len(), "rims")] {
            if count > 0 {
                sheets.notes.push(format!("{what} not imported, because they are made again: {count}"));
            }
        }
        Ok(sheets)
    }

    fn look_at(
        &mut self,
        painting: &Painting,
        layer: &'a Painted,
        layers: &[&'a Painted],
        limits: &Limits,
    ) -> Result<()> {
        let name = &layer.name;
        if let Some(slot) = name.strip_suffix(FOG) {
            match painting.painted_on(layer, limits)? {
                Some(true) => {
                    self.notes.push(format!("{name}: it was painted on; it is the sheet of {slot} as it is"));
                    self.kept.insert(slot, layer);
                }
                Some(false) => {}
                None => self.notes.push(format!(
                    "{name}: its name doesn't say how it was made, so {slot} gets a new sheet; to show it as it is, give {slot} this layer as its `sheet`"
                )),
            }
        } else if name.ends_with(RIM) && painting.painted_on(layer, limits)? == Some(true) {
            self.notes.push(format!(
                "{name}: it was painted on, but it is made again; merge it into the picture to keep it"
            ));
        } else if let Some(slot) = name.strip_suffix(STROKES)
            && layers.iter().any(|other| other.name == slot || sheet_of(&other.name) == Some(slot))
        {
            self.strokes.insert(slot, layer);
        }
        Ok(())
    }

    /// Whether a layer is no picture of a slot.
    pub fn holds(&self, layer: &Painted) -> bool {
        sheet_of(&layer.name).is_some() || self.strokes.values().any(|own| std::ptr::eq(*own, layer))
    }

    /// The strokes of a slot; none are drawn into a sheet that stays as it is.
    pub fn strokes_of(&mut self, slot: &str) -> Option<&'a Painted> {
        let layer = *self.strokes.get(slot)?;
        let (name, kept) = (&layer.name, self.kept.contains_key(slot));
        self.notes.push(if kept {
            format!("{name}: not imported, since the sheet of {slot} stays as it is")
        } else {
            format!("{name}: its strokes become fog of {slot}")
        });
        (!kept).then_some(layer)
    }
}

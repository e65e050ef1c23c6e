//! A scene to start from, made of a layered file: its layers become slots.

use crate::base::fault::{Class, Fault, Result};
use crate::base::files;
use crate::base::limits::Limits;
use crate::base::names::folded;
use crate::base::words::Blending;
use crate::scene::layered::{AGAIN, BACKDROP, Layer, Layered};
use crate::scene::pictures::Source;
use crate::scene::recipe::shelf::Shelf;
use crate::scene::start::SCENE;
use crate::scene::{is_slot_name, read, schema};
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

/// What outputs add to a slot's name; a layer called so is a sheet that will be made again.
const SHEETS: [&str; 2] = [".fog", ".rim"];

/// A slot to be written.
struct Slot {
    name: String,
    depth: Option<f64>,
    /// How the scene names its layer; none for a slot that only has fog.
    layer: Option<String>,
    /// Distance at which its art stands again, px.
    again: Option<f64>,
    fog: bool,
    /// Whether its art gets a rim.
    rim: bool,
}

/// Writes a scene into `folder` whose slots are the layers of `file`, and the file itself beside it; with the recipe of `preset`.
/// Returns what of the file isn't taken over, or not as it was.
///
/// # Errors
/// Class `Usage`: no such preset. Class `Picture`: the file can't be used. Class `Output`: something stands in the way; nothing was
/// written.
pub fn write_scene(folder: &Path, file: &Path, preset: &str, limits: &Limits) -> Result<Vec<String>> {
    Shelf::of_scene(Some(&folder.join(SCENE)), limits).get(preset)?;
    let layered = Layered::open(file, limits)?;
    let name = file.file_name().unwrap_or_default().to_string_lossy().into_owned();
    if !name.to_ascii_lowercase().ends_with(".ora") || name.contains(['#', '\\']) {
        return Err(Fault::new(
            Class::Usage,
            "a layered file's name must end in .ora and contain no # or \\",
        )
        .in_file(file)
        .remedy("Rename it.")
        .into());
    }
    let bytes = fs::read(file).map_err(|error| {
        Fault::new(Class::Picture, format!("the layered file can't be read: {}", files::why(&error)))
            .in_file(file)
    })?;
    let copy = folder.join(&name);
    let there = fs::read(&copy).is_ok_and(|there| there == bytes);
    for (path, taken) in
        [(folder.join(SCENE), false), (folder.join(schema::FILE), false), (copy.clone(), there)]
    {
        if !taken && path.symlink_metadata().is_ok() {
            return Err(Fault::new(Class::Output, "the file already exists")
                .in_file(path)
                .remedy("Choose a new folder; nothing was written.")
                .into());
        }
    }
    let mut import = Import { layered: &layered, file, name: &name, limits, notes: Vec::new() };
    let text = import.scene(preset)?;
    // Whatever the layers are called, what is written must be readable.
    read::read_text(&folder.join(SCENE), &text, &[], limits, false)?;
    files::prepare_folder(folder)?;
    if !there {
        files::put_new(&copy, &bytes)?;
    }
    files::put_new(folder.join(SCENE), text.as_bytes())?;
    files::put_new(folder.join(schema::FILE), schema::text(schema::Of::Scene).as_bytes())?;
    Ok(import.notes)
}

/// A layered file on its way to a scene.
struct Import<'a> {
    layered: &'a Layered,
    file: &'a Path,
    /// The file's name, as the scene refers to it.
    name: &'a str,
    limits: &'a Limits,
    /// What isn't taken over, or not as it was.
    notes: Vec<String>,
}

impl Import<'_> {
    /// The scene's text, with the recipe of `preset`.
    fn scene(&mut self, preset: &str) -> Result<String> {
        for layer in &self.layered.layers {
            let unlike = |what: &String| format!("{}: {what}, is ignored", layer.name);
            self.notes.extend(layer.unlike.iter().map(unlike));
        }
        let backdrop = match self.layered.layers.last() {
            Some(last) if last.parts() == (BACKDROP, None) => self.plain_colour(last)?,
            _ => None,
        };
        let mut slots = self.slots(backdrop.is_some());
        if slots.is_empty() {
            return Err(Fault::new(Class::Picture, "the file has no layers that could become slots")
                .in_file(self.file)
                .remedy("Paint each plane of the level on a layer of its own.")
                .into());
        }
        let camera = f64::from(self.layered.size[0]) / 2.0;
        let depths = depths(&slots, camera, &mut self.notes);
        for (slot, depth) in slots.iter_mut().zip(depths) {
            slot.depth = Some(depth);
        }
        let mut text = self.head(preset, camera, self.travel(&slots, camera)?, backdrop);
        for slot in &slots {
            text += &self.slot(slot)?;
        }
        Ok(text)
    }

    /// All that stands before the slots.
    fn head(&self, preset: &str, camera: f64, travel: f64, backdrop: Option<[u8; 3]>) -> String {
        let [width, height] = self.layered.size;
        let stem = self.name.rsplit_once('.').map_or(self.name, |(stem, _)| stem);
        let backdrop =
            backdrop.map_or(String::new(), |[r, g, b]| format!("backdrop = \"#{r:02x}{g:02x}{b:02x}\"\n"));
        format!(
            "{}\n\n# A scene made from {}: its layers are the slots. Paint in it, save it, and render again.\n#\n\
             # Positions and visibility come from the layers, unless a slot sets x, y or visible.\n\n\
             name = {}\nview = [{width}, {height}]\n\
             travel = {travel}             # how far the camera pans on the play plane, px: until the last layer ends\n\
             camera = {camera}             # the eye's distance from the play plane, in depth units\n\
             preset = {}\n{backdrop}\n[air]\n\
             visibility = 2400          # the distance at which 5 % of contrast remains, in depth units\n",
            schema::LINE,
            self.name,
            quoted(stem),
            quoted(preset)
        )
    }

    fn slot(&self, slot: &Slot) -> Result<String> {
        let depth = slot.depth.unwrap_or(0.0);
        let mut text = format!("\n[[slot]]\nname = {}\ndepth = {depth}\n", quoted(&slot.name));
        if let Some(layer) = &slot.layer {
            text += &format!("art = {}\n", quoted(&format!("{}#{layer}", self.name)));
            if let Some(distance) = slot.again {
                let edge_to_edge = (distance - self.width_of(layer)?).abs() < 1e-6;
                text +=
                    &if edge_to_edge { "repeat = true\n".into() } else { format!("repeat = {distance:?}\n") };
            }
        }
        if !slot.fog {
            text += "fog = false\n";
        }
        if slot.layer.is_some() && !slot.rim {
            text += "separation = 0\n";
        }
        Ok(text)
    }

    /// The slots, far to near.
    fn slots(&mut self, backdrop: bool) -> Vec<Slot> {
        let mut layers: Vec<&Layer> = self.layered.layers.iter().rev().skip(usize::from(backdrop)).collect();
        let again = take_repeats(&mut layers);
        let names = || layers.iter().map(|layer| layer.parts().0);
        let [fogs, rims] =
            SHEETS.map(|end| names().filter_map(|name| name.strip_suffix(end)).collect::<BTreeSet<&str>>());
        let pictures: BTreeSet<&str> = names().filter(|name| sheet_of(name).is_none()).collect();
        for (there, what) in [(&fogs, "sheets of fog"), (&rims, "rims")] {
            if !there.is_empty() {
                self.notes.push(format!("{what} not imported, because they are made again: {}", there.len()));
            }
        }
        // Without any of either, nothing was made of it yet.
        let plain = fogs.is_empty() && rims.is_empty();
        let mut taken = BTreeSet::new();
        let mut slots = Vec::new();
        for layer in layers {
            let (own, depth) = layer.parts();
            let (name, art) = match sheet_of(own) {
                Some(slot) if pictures.contains(slot) || !own.ends_with(".fog") => continue,
                Some(slot) => (slot, false),
                None => (own, true),
            };
            let fit = fitting(name, &mut taken);
            if fit != name {
                self.notes.push(format!("{name}: its slot is named {fit}"));
            }
            slots.push(Slot {
                name: fit,
                depth,
                layer: art.then(|| self.reference(layer).to_owned()),
                again: again.get(name).copied(),
                fog: plain || fogs.contains(name),
                rim: plain || rims.contains(name),
            });
        }
        slots
    }

    /// How the scene names a layer: by its plain name where that means this layer and no other.
    fn reference<'l>(&self, layer: &'l Layer) -> &'l str {
        let means = |name: &&str| self.layered.find(name).is_some_and(|found| std::ptr::eq(found, layer));
        [layer.parts().0, &layer.name].into_iter().find(means).unwrap_or(&layer.src)
    }

    /// How far the camera can pan until the last layer ends.
    fn travel(&self, slots: &[Slot], camera: f64) -> Result<f64> {
        let width = f64::from(self.layered.size[0]);
        let mut most = 0.0_f64;
        for slot in slots {
            let Some(layer) = slot.layer.as_deref() else { continue };
            // What repeats never ends.
            let Some(found) = self.layered.find(layer).filter(|_| slot.again.is_none()) else { continue };
            let rate = camera / (camera + slot.depth.unwrap_or(0.0));
            most = most.max((found.x as f64 + self.width_of(layer)? - width) / rate);
        }
        if most == 0.0 && slots.iter().any(|slot| slot.again.is_some()) {
            most = 2.0 * width;
        }
        Ok(most.floor().min(1e7))
    }

    /// Width of a layer's picture, px.
    fn width_of(&self, name: &str) -> Result<f64> {
        let missing = || self.layered.missing(name).in_file(self.file);
        let layer = self.layered.find(name).ok_or_else(missing)?;
        Ok(Source::open_layer(self.file, &layer.src, self.limits)?.natural[0])
    }

    /// The colour of a layer that has only one, opaque.
    fn plain_colour(&self, layer: &Layer) -> Result<Option<[u8; 3]>> {
        let source = Source::open_layer(self.file, &layer.src, self.limits)?;
        let size = source.natural.map(|side| side as u32);
        let picture = source.draw(size, false, false, Blending::Encoded, self.limits)?;
        let Some(first) = picture.texels.first() else { return Ok(None) };
        let plain = first[3] == u16::MAX && picture.texels.iter().all(|texel| texel == first);
        Ok(plain.then(|| [first[0], first[1], first[2]].map(|code| (code >> 8) as u8)))
    }
}

fn quoted(text: &str) -> String {
    toml_edit::Value::from(text).to_string()
}

/// The slot's name in that of a sheet's layer.
fn sheet_of(name: &str) -> Option<&str> {
    SHEETS.iter().find_map(|end| name.strip_suffix(end))
}

/// Takes the further places of what repeats out of the layers, since they are drawn again; gives the distance by layer.
fn take_repeats(layers: &mut Vec<&Layer>) -> BTreeMap<String, f64> {
    let names: BTreeSet<&str> = layers.iter().map(|layer| layer.parts().0).collect();
    let mut again = BTreeMap::new();
    layers.retain(|layer| {
        let said = layer.parts().0.rsplit_once(AGAIN).and_then(|(name, far)| Some((name, far.parse().ok()?)));
        let said = said.filter(|(name, far)| names.contains(name) && (1.0..=1e7).contains(far));
        said.is_none_or(|(name, far): (&str, f64)| {
            again.insert(name.to_owned(), far);
            false
        })
    });
    again
}

/// A name that files can be called after, like none before it.
fn fitting(name: &str, taken: &mut BTreeSet<String>) -> String {
    let mut plain = name.to_owned();
    if !is_slot_name(&plain) {
        let bad = |c: char| c.is_control() || r#"/\<>:"|?*"#.contains(c);
        plain = name.chars().map(|c| if bad(c) { '-' } else { c }).take(40).collect();
        plain = plain.trim_matches(|c: char| c == '.' || c.is_whitespace()).replace('.', "-");
        if plain.is_empty() {
            plain = "layer".to_owned();
        }
        // It means a device on some system, or is still too long.
        if !is_slot_name(&plain) {
            plain = format!("{}-layer", plain.chars().take(20).collect::<String>());
        }
    }
    let mut fit = plain.clone();
    let mut count = 1;
    while !taken.insert(folded(&fit)) {
        count += 1;
        fit = format!("{plain}-{count}");
    }
    fit
}

/// A depth for every slot, far to near: as its layer says, else spaced evenly in pan rates between those that say it, the nearest on
/// the play plane, the farthest a share of one that none reaches.
fn depths(slots: &[Slot], camera: f64, notes: &mut Vec<String>) -> Vec<f64> {
    let rate = |depth: f64| camera / (camera + depth);
    let mut rates: Vec<Option<f64>> = Vec::new();
    for slot in slots {
        let depth = slot.depth.filter(|depth| *depth > -camera && depth.abs() <= 1e9);
        if depth != slot.depth {
            notes.push(format!("{}: its depth is out of range and was ignored", slot.name));
        }
        rates.push(depth.map(rate));
    }
    let mut depths = Vec::with_capacity(slots.len());
    let mut at = 0;
    while at < slots.len() {
        if let (Some(_), Some(depth)) = (rates[at], slots[at].depth) {
            depths.push(depth);
            at += 1;
            continue;
        }
        let run = rates[at..].iter().take_while(|rate| rate.is_none()).count();
        let before = at.checked_sub(1).and_then(|at| rates[at]);
        let after = rates.get(at + run).copied().flatten();
        for step in 1..=run {
            let share = |parts: usize| step as f64 / parts as f64;
            let rate = match (before, after) {
                (None, None) => share(run),
                (None, Some(after)) => after * share(run + 1),
                (Some(before), Some(after)) => before + (after - before) * share(run + 1),
                (Some(before), None) if before < 1.0 => before + (1.0 - before) * share(run),
                (Some(before), None) => before * (1.0 + 0.15 * step as f64),
            };
            depths.push((camera * (1.0 / rate - 1.0) * 10.0).round() / 10.0);
        }
        at += run;
    }
    // Slots of one depth are told apart by name; the painter's order is kept.
    for at in 1..depths.len() {
        if depths[at] == depths[at - 1] {
            depths[at] -= 1e-3 * (1.0 + depths[at].abs() * 1e-3);
        } else if depths[at] > depths[at - 1] {
            notes.push(format!(
                "{}: its depth puts it behind {}, although it is painted over it; the depth is used",
                slots[at].name,
                slots[at - 1].name
            ));
        }
    }
    depths
}

#[cfg(test)]
mod tests {
    use super::*;

    fn slot(depth: Option<f64>) -> Slot {
        Slot { name: "s".into(), depth, layer: None, again: None, fog: true, rim: true }
    }

    #[test]
    fn depths_are_spaced_between_those_given() {
        let mut notes = Vec::new();
        let all = depths(&[slot(None), slot(None), slot(None), slot(None)], 600.0, &mut notes);
        // Pan rates 1/4, 2/4, 3/4, 1.
        assert_eq!(all, [1800.0, 600.0, 200.0, 0.0]);
        let some =
            depths(&[slot(Some(1800.0)), slot(None), slot(Some(200.0)), slot(None)], 600.0, &mut notes);
        assert_eq!(some, [1800.0, 600.0, 200.0, 0.0]);
        let front = depths(&[slot(None), slot(Some(-100.0)), slot(None)], 600.0, &mut notes);
        assert!(front[0] > 0.0 && front[2] < -100.0 && front[2] > -600.0, "{front:?}");
        assert!(notes.is_empty());
        let same = depths(&[slot(Some(5.0)), slot(Some(5.0)), slot(Some(9.0))], 600.0, &mut notes);
        assert!(same[1] < same[0]);
        assert_eq!(notes.len(), 1);
    }

    #[test]
    fn names_become_fit_for_files() {
        let mut taken = BTreeSet::new();
        let mut fit = |name: &str| fitting(name, &mut taken);
        assert_eq!(fit("reeds"), "reeds");
        assert_eq!(fit("Reeds"), "Reeds-2");
        assert_eq!(fit("a/b:c"), "a-b-c");
        assert_eq!(fit("x.fog"), "x-fog");
        assert_eq!(fit(" . "), "layer");
        assert_eq!(fit("COM1"), "COM1-layer");
    }
}

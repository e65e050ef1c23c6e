//! A scene to start from, made of a layered file: its layers become slots.

use crate::base::fault::{Class, Fault, Result};
use crate::base::files;
use crate::base::limits::Limits;
use crate::scene::layered::{AGAIN, BACKDROP, Layer, Layered};
use crate::scene::pictures::Source;
use crate::scene::recipe::shelf::Shelf;
use crate::scene::start::SCENE;
use crate::scene::{is_slot_name, read, schema};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;
use std::fs;
use std::path::Path;

/// What outputs add to a slot's name; a layer called so is a sheet that will be made anew.
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
    let (text, notes) = scene(&layered, file, &name, preset, limits)?;
    // Whatever the layers are called, what is written must be readable.
    read::read_text(&folder.join(SCENE), &text, &[], limits, false)?;
    files::prepare_folder(folder)?;
    if !there {
        files::write_whole(&copy, &bytes)?;
    }
    files::write_whole(folder.join(SCENE), text.as_bytes())?;
    files::write_whole(folder.join(schema::FILE), schema::text(schema::Of::Scene).as_bytes())?;
    Ok(notes)
}

fn scene(
    layered: &Layered,
    file: &Path,
    name: &str,
    preset: &str,
    limits: &Limits,
) -> Result<(String, Vec<String>)> {
    let mut notes: Vec<String> = layered
        .layers
        .iter()
        .flat_map(|layer| layer.unlike.iter().map(|what| format!("{}: {what}, is ignored", layer.name)))
        .collect();
    let backdrop = match layered.layers.last() {
        Some(last) if last.parts() == (BACKDROP, None) => plain_colour(file, last, limits)?,
        _ => None,
    };
    let mut slots = slots(layered, backdrop.is_some(), &mut notes);
    if slots.is_empty() {
        return Err(Fault::new(Class::Picture, "the file has no layers that could become slots")
            .in_file(file)
            .remedy("Paint each plane of the level on a layer of its own.")
            .into());
    }
    let [width, height] = layered.size.map(f64::from);
    let camera = width / 2.0;
    let depths = depths(&slots, camera, &mut notes);
    for (slot, depth) in slots.iter_mut().zip(depths) {
        slot.depth = Some(depth);
    }
    let travel = travel(layered, &slots, file, camera, limits)?;

    let mut text = format!(
        "{}\n\n# A scene made from {name}: its layers are the slots. Paint in it, save it, and render again.\n#\n\
         # Positions and visibility come from the layers, unless a slot sets x, y or visible.\n\n\
         name = {}\nview = [{width}, {height}]\n",
        schema::LINE,
        quoted(name.rsplit_once('.').map_or(name, |(stem, _)| stem))
    );
    let _ = write!(
        text,
        "travel = {travel}             # how far the camera pans on the play plane, px: until the last layer ends\n\
         camera = {camera}             # the eye's distance from the play plane, in depth units\n\
         preset = {}\n",
        quoted(preset)
    );
    if let Some([r, g, b]) = backdrop {
        let _ = writeln!(text, "backdrop = \"#{r:02x}{g:02x}{b:02x}\"");
    }
    text += "\n[air]\nvisibility = 2400          # the distance at which 5 % of contrast remains, in depth units\n";
    for slot in &slots {
        let _ = write!(
            text,
            "\n[[slot]]\nname = {}\ndepth = {}\n",
            quoted(&slot.name),
            slot.depth.unwrap_or(0.0)
        );
        if let Some(layer) = &slot.layer {
            let _ = writeln!(text, "art = {}", quoted(&format!("{name}#{layer}")));
        }
        if let (Some(distance), Some(layer)) = (slot.again, &slot.layer) {
            let width = width_of(layered, file, layer, limits)?;
            let _ = match (distance - width).abs() < 1e-6 {
                true => writeln!(text, "repeat = true"),
                false => writeln!(text, "repeat = {distance:?}"),
            };
        }
        if !slot.fog {
            text += "fog = false\n";
        }
        if slot.layer.is_some() && !slot.rim {
            text += "separation = 0\n";
        }
    }
    Ok((text, notes))
}

fn quoted(text: &str) -> String {
    toml_edit::Value::from(text).to_string()
}

/// The slots, far to near.
fn slots(layered: &Layered, backdrop: bool, notes: &mut Vec<String>) -> Vec<Slot> {
    let mut layers: Vec<&Layer> = layered.layers.iter().rev().collect();
    if backdrop {
        layers.remove(0);
    }
    // Further places of what repeats are drawn anew; they say the distance.
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
    let sheet = |layer: &Layer| {
        let (name, _) = layer.parts();
        SHEETS.iter().find_map(|end| name.strip_suffix(end)).map(str::to_owned)
    };
    let [fogs, rims] = SHEETS.map(|end| -> BTreeSet<&str> {
        layers.iter().filter_map(|layer| layer.parts().0.strip_suffix(end)).collect()
    });
    let arts: BTreeSet<String> = layers
        .iter()
        .filter(|layer| sheet(layer).is_none())
        .map(|layer| layer.parts().0.to_owned())
        .collect();
    for (there, what) in [(&fogs, "sheets of fog"), (&rims, "rims")] {
        if !there.is_empty() {
            notes.push(format!("{what} not imported, because they are made again: {}", there.len()));
        }
    }
    // Without any of either, nothing was made of it yet.
    let plain = fogs.is_empty() && rims.is_empty();
    let mut taken = BTreeSet::new();
    let mut slots = Vec::new();
    for layer in layers {
        let (own, depth) = layer.parts();
        let (name, art) = match sheet(layer) {
            Some(slot) if arts.contains(&slot) || !layer.parts().0.ends_with(".fog") => continue,
            Some(slot) => (slot, false),
            None => (own.to_owned(), true),
        };
        // By its plain name where that means this layer and no other.
        let short = layered.find(own).is_some_and(|found| std::ptr::eq(found, layer));
        let whole = layered.find(&layer.name).is_some_and(|found| std::ptr::eq(found, layer));
        let reference = if short {
            own
        } else if whole {
            &layer.name
        } else {
            &layer.src
        };
        let fit = fitting(&name, &mut taken);
        if fit != name {
            notes.push(format!("{name}: its slot is named {fit}"));
        }
        slots.push(Slot {
            again: again.get(&name).copied(),
            fog: plain || fogs.contains(name.as_str()),
            rim: plain || rims.contains(name.as_str()),
            name: fit,
            depth,
            layer: art.then(|| reference.to_owned()),
        });
    }
    slots
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
    while !taken.insert(fit.to_lowercase()) {
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

/// How far the camera can pan until the last layer ends.
fn travel(layered: &Layered, slots: &[Slot], file: &Path, camera: f64, limits: &Limits) -> Result<f64> {
    let width = f64::from(layered.size[0]);
    let mut most = 0.0_f64;
    for slot in slots {
        let Some(layer) = slot.layer.as_deref() else { continue };
        // What repeats never ends.
        let Some(found) = layered.find(layer).filter(|_| slot.again.is_none()) else { continue };
        let rate = camera / (camera + slot.depth.unwrap_or(0.0));
        most = most.max((found.x as f64 + width_of(layered, file, layer, limits)? - width) / rate);
    }
    if most == 0.0 && slots.iter().any(|slot| slot.again.is_some()) {
        most = 2.0 * width;
    }
    Ok(most.floor().min(1e7))
}

/// Width of a layer's picture, px.
fn width_of(layered: &Layered, file: &Path, name: &str, limits: &Limits) -> Result<f64> {
    let layer = layered.find(name).ok_or_else(|| layered.missing(name).in_file(file))?;
    Ok(Source::open_layer(file, &layer.src, limits)?.natural[0])
}

/// The colour of a layer that has only one, opaque.
fn plain_colour(file: &Path, layer: &Layer, limits: &Limits) -> Result<Option<[u8; 3]>> {
    let source = Source::open_layer(file, &layer.src, limits)?;
    let size = source.natural.map(|side| side as u32);
    let picture = source.draw(size, false, false, crate::base::words::Blending::Encoded, limits)?;
    let Some(first) = picture.texels.first() else { return Ok(None) };
    let plain = first[3] == u16::MAX && picture.texels.iter().all(|texel| texel == first);
    Ok(plain.then(|| [first[0], first[1], first[2]].map(|code| (code >> 8) as u8)))
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

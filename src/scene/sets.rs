//! `--set KEY=VALUE`: the command line's layer.

use crate::base::fault::Class;
use crate::scene::keys::{self, Entries, Entry, KEYS, Key, Place, Reader, key, near, shown};
use crate::scene::written::SceneFile;

/// What the command line sets over the step tables; all other keys go straight into the scene as written.
#[derive(Debug, Default)]
pub(super) struct Overrides {
    /// Step numbers for all slots.
    pub all: Entries,
    /// Step numbers for one slot, by its place in the file; they win over those for all.
    pub slots: Vec<Entries>,
}

/// Lays the arguments over the scene as written. Of two for one key the later one holds.
pub(super) fn apply(sets: &[String], written: &mut SceneFile, reader: &mut Reader<'_>) -> Overrides {
    let mut overrides = Overrides { all: Entries::new(), slots: vec![Entries::new(); written.slots.len()] };
    for argument in sets {
        let place = Place::Argument(argument.clone());
        let Some((target, key, text)) = split(argument, written, &place, reader) else { continue };
        if text.trim().is_empty() {
            reader.fault(Class::Usage, &place, format!("`{}` has no value", key.path), key.wanted());
            continue;
        }
        let value = match key.parse(text) {
            Ok(value) => value,
            Err(wrong) => {
                reader.fault(Class::Usage, &place, wrong.message, wrong.remedy);
                continue;
            }
        };
        let into = match (target, key.is_step()) {
            (Target::Scene, true) => &mut overrides.all,
            (Target::Scene, false) => &mut written.top,
            (Target::Slot(at), true) => &mut overrides.slots[at],
            (Target::Slot(at), false) => &mut written.slots[at].entries,
            (Target::Place(slot, at), _) => &mut written.slots[slot].places[at].entries,
            (Target::Lamp(at), _) => &mut written.lamps[at].entries,
        };
        into.insert(key.path, Entry { value, place });
    }
    overrides
}

/// What an argument sets a key of.
enum Target {
    Scene,
    /// The slot at this place in the file.
    Slot(usize),
    /// The place at this place in the list of the slot at this place in the file.
    Place(usize, usize),
    /// The lamp at this place in the file.
    Lamp(usize),
}

/// What is set, the key, and the text of the value.
fn split<'a>(
    argument: &'a str,
    written: &SceneFile,
    place: &Place,
    reader: &mut Reader<'_>,
) -> Option<(Target, &'static Key, &'a str)> {
    if let Some(rest) = argument.trim_start().strip_prefix("lamp.") {
        return of_lamp(rest, written, place, reader);
    }
    if let Some(rest) = argument.trim_start().strip_prefix("slot.") {
        return of_slot(rest, written, place, reader);
    }
    let Some((path, text)) = argument.split_once('=') else {
        no_value(place, reader);
        return None;
    };
    let path = path.trim();
    let key = keys::find_general(path);
    if key.is_none() {
        unknown_at_top(path, place, reader);
    }
    key.map(|key| (Target::Scene, key, text))
}

/// The slot, or one of its places, with its key and the text of the value that `rest` names.
fn of_slot<'a>(
    rest: &'a str,
    written: &SceneFile,
    place: &Place,
    reader: &mut Reader<'_>,
) -> Option<(Target, &'static Key, &'a str)> {
    let slots = written.slots.iter().enumerate().filter_map(|(at, slot)| Some((at, slot.name()?)));
    let Some((at, rest)) = named(rest, slots) else {
        // In a file that can't be read to its end, the slot may stand further down.
        if written.whole {
            unknown_slot(rest, written, place, reader);
        }
        return None;
    };
    let Some((path, text)) = rest.split_once('=') else {
        no_value(place, reader);
        return None;
    };
    let path = path.trim();
    if let Some(path) = path.strip_prefix("place.") {
        let (at, key) = of_place(path, (at, written), place, reader)?;
        return Some((at, key, text));
    }
    let key = keys::find(&format!("slot.{path}")).or_else(|| keys::find(path).filter(|key| key.is_step()));
    match key {
        Some(key) if key.path == key!("slot.name") => {
            reader.fault(
                Class::Usage,
                place,
                "a slot can't be renamed from the command line",
                "Change its name in the scene file.",
            );
            None
        }
        Some(key) => Some((Target::Slot(at), key, text)),
        None => {
            let known = KEYS.iter().filter_map(|key| match key.section() {
                keys::Section::Slot => Some(key.name()),
                keys::Section::Step(_) => Some(key.path),
                _ => None,
            });
            unknown_key(path, known, place, reader);
            None
        }
    }
}

fn no_value(place: &Place, reader: &mut Reader<'_>) {
    reader.fault(Class::Usage, place, "the value is missing", "Write KEY=VALUE, as in air.visibility=300.");
}

/// The lamp, its key and the text of the value that `rest` names.
fn of_lamp<'a>(
    rest: &'a str,
    written: &SceneFile,
    place: &Place,
    reader: &mut Reader<'_>,
) -> Option<(Target, &'static Key, &'a str)> {
    let names = written.lamps.iter().enumerate().filter_map(|(at, lamp)| Some((at, lamp.name()?)));
    let Some((at, rest)) = named(rest, names.clone()) else {
        if written.whole {
            let name = rest.split(['.', '=']).next().unwrap_or_default();
            let remedy = format!(
                "Give the lamp that is meant a `name` in its [[lamp]]. {}",
                keys::instead(name, names.map(|(_, name)| name))
            );
            reader.fault(Class::Usage, place, format!("there is no lamp {}", shown(name)), remedy);
        }
        return None;
    };
    let Some((path, text)) = rest.split_once('=') else {
        no_value(place, reader);
        return None;
    };
    let key = keys::find(&format!("lamp.{}", path.trim()));
    match key {
        Some(key) if key.path == key!("lamp.name") => {
            let message = "a lamp can't be renamed from the command line";
            reader.fault(Class::Usage, place, message, "Change its name in the scene file.");
            None
        }
        Some(key) => Some((Target::Lamp(at), key, text)),
        None => {
            unknown_key(path.trim(), keys::of(keys::Section::Lamp).map(Key::name), place, reader);
            None
        }
    }
}

/// The place of a slot and its key that `path` names, as in `3.x`.
fn of_place(
    path: &str,
    (slot, written): (usize, &SceneFile),
    place: &Place,
    reader: &mut Reader<'_>,
) -> Option<(Target, &'static Key)> {
    let (number, name) = path.split_once('.').unwrap_or((path, ""));
    let count = written.slots[slot].places.len();
    let Some(at) = number.parse::<usize>().ok().filter(|number| (1..=count).contains(number)) else {
        if written.whole {
            let message = format!("the slot has no place {}", shown(number));
            let remedy = match count {
                0 => "Write it as [[slot.place]] in the scene file.".to_owned(),
                _ => format!("Its places are numbered from 1 to {count}, as in slot.NAME.place.1.x=400."),
            };
            reader.fault(Class::Usage, place, message, remedy);
        }
        return None;
    };
    let key = keys::find(&format!("place.{}", name.trim()));
    if key.is_none() {
        unknown_key(name.trim(), keys::of(keys::Section::Place).map(Key::name), place, reader);
    }
    Some((Target::Place(slot, at - 1), key?))
}

/// Of what has names, the one whose name `rest` begins with, and what follows the dot after it. Names may hold dots: the longest wins.
fn named<'a, 'n>(rest: &'a str, names: impl Iterator<Item = (usize, &'n str)>) -> Option<(usize, &'a str)> {
    let tail = |name: &str| {
        let quoted = format!("\"{name}\".");
        rest.strip_prefix(quoted.as_str()).or_else(|| rest.strip_prefix(name)?.strip_prefix('.'))
    };
    names
        .filter(|(_, name)| !name.is_empty())
        .filter_map(|(at, name)| Some((name.len(), at, tail(name)?)))
        .max_by_key(|(length, at, _)| (*length, std::cmp::Reverse(*at)))
        .map(|(_, at, tail)| (at, tail))
}

fn unknown_slot(rest: &str, written: &SceneFile, place: &Place, reader: &mut Reader<'_>) {
    let name = rest.split(['.', '=']).next().unwrap_or_default();
    if written.slots.iter().any(|slot| slot.name() == Some(name)) {
        let remedy = format!("Write a key after the slot's name, as in slot.{name}.depth=300.");
        reader.fault(Class::Usage, place, "the slot's key is missing", remedy);
        return;
    }
    let remedy = keys::instead(name, written.slots.iter().filter_map(|slot| slot.name()));
    reader.fault(Class::Usage, place, format!("there is no slot {}", shown(name)), remedy);
}

fn unknown_at_top(path: &str, place: &Place, reader: &mut Reader<'_>) {
    if path == "from" {
        let message = "what a scene builds on can't be set from the command line";
        return reader.fault(Class::Usage, place, message, "Change `from` in the scene file.");
    }
    let known = KEYS.iter().map(|key| key.path).filter(|path| keys::find_general(path).is_some());
    unknown_key(path, known, place, reader);
}

fn unknown_key(
    path: &str,
    known: impl Iterator<Item = &'static str> + Clone,
    place: &Place,
    reader: &mut Reader<'_>,
) {
    let same: Vec<String> = known
        .clone()
        .filter(|known| known.rsplit_once('.').is_some_and(|(_, name)| name == path))
        .map(|known| format!("`{known}`"))
        .collect();
    let remedy = match near(path, known) {
        _ if !same.is_empty() => format!("Did you mean {}?", same.join(", or ")),
        Some(near) => format!("Did you mean `{near}`?"),
        None => "Use the keys of the scene file, with dots: travel, air.haze, smear.length, slot.NAME.depth."
            .into(),
    };
    reader.fault(Class::Usage, place, format!("there is no key {}", shown(path)), remedy);
}

//! Values of what stands in a file that the scene builds on: they are written into the scene, which wins.

use crate::base::fault::{Class, Fault, Result};
use crate::scene::edit;
use crate::tune::blocks::{blocks, inserted};
use crate::tune::write::{Location, dotted, parse};
use std::path::Path;
use toml_edit::{Document, Item};

/// The text with `value` at a place that has no table yet; none where it has one, or can't get one.
pub(super) fn set(
    document: &Document<&str>,
    text: &str,
    location: &Location<'_>,
    value: &str,
) -> Option<String> {
    if location.mood.is_some() || location.lamp.is_some() {
        return None;
    }
    let key: Vec<&str> = location.key.split('.').collect();
    let line = format!("{} = {value}\n", dotted(&key));
    match location.slot {
        Some(name) => slot(document, text, name, &line),
        None => Some(at_top(document, text, &line)),
    }
}

/// The text with a table of its own for a slot, after all others.
fn slot(document: &Document<&str>, text: &str, name: &str, line: &str) -> Option<String> {
    let fits = document.get("slot").is_none_or(Item::is_array_of_tables);
    if !fits || edit::slot(document.as_item(), name).is_some() {
        return None;
    }
    let blocks = blocks(document, text);
    let last = blocks.iter().rev().find(|block| block.path[0] == "slot");
    let at = last.map_or(text.len(), |block| block.lines.end);
    Some(inserted(text, at, &edit::slot_table(name, line)))
}

/// The text with a table for each of the first lamps that has none yet, so that those that stand in a file that the scene builds on can be
/// changed in the scene. `names` are those of all lamps up to the one that is meant: the others keep their places by that.
///
/// # Errors
/// Class `Scene`: the text can't be read, has its lamps in a list of one line, or one of those that are to be written has no name.
pub(super) fn lamps(file: &Path, text: &str, names: &[Option<&str>]) -> Result<String> {
    let document = parse(file, text)?;
    let own = (0..names.len()).take_while(|at| edit::lamp(document.as_item(), *at).is_some()).count();
    let mut fresh = text.to_owned();
    if own == names.len() {
        return Ok(fresh);
    }
    let by_hand =
        |message: &str, remedy: &str| Fault::new(Class::Scene, message).in_file(file).remedy(remedy);
    if document.get("lamp").is_some_and(|item| !item.is_array_of_tables()) {
        let remedy = "Write it there by hand, with its `name` and what differs.";
        return Err(by_hand("the lamps stand in a list of one line", remedy).into());
    }
    let mut tables = Vec::new();
    for (at, name) in names.iter().enumerate().skip(own) {
        let Some(name) = name else {
            let message =
                format!("lamp {} stands in a file that the scene builds on, and has no name", at + 1);
            return Err(by_hand(&message, "Change it there, or give it a `name` there.").into());
        };
        tables.push(format!("[[lamp]]\nname = {}\n", toml_edit::Value::from(*name).to_string().trim()));
    }
    let blocks = blocks(&document, text);
    let last = |all: &str| blocks.iter().rev().find(|block| block.path[0] == all);
    let at = last("lamp").or_else(|| last("slot")).map_or(text.len(), |block| block.lines.end);
    fresh = inserted(&fresh, at, &tables.join("\n"));
    Ok(fresh)
}

/// The text with a line before all tables, below the comments and the empty line that it begins with.
fn at_top(document: &Document<&str>, text: &str, line: &str) -> String {
    let first = blocks(document, text).first().map_or(text.len(), |block| block.lines.start);
    let mut at = 0;
    for own in text[..first].split_inclusive('\n') {
        at += own.len();
        if own.trim().is_empty() {
            return inserted(text, at, line);
        }
    }
    // Comments right above a table are the table's.
    inserted(text, 0, line)
}

#[cfg(test)]
mod tests {
    use super::lamps;
    use crate::tune::write::{Location, set, unset};
    use std::path::Path;

    fn put(text: &str, slot: Option<&str>, key: &str, value: &str) -> String {
        set(Path::new("s"), text, &Location { mood: None, slot, lamp: None, key }, value).expect("a place")
    }

    #[test]
    fn a_slot_of_a_base_gets_a_table_in_the_scene() {
        let text = "from = \"../common.toml\"\n\n[[slot]]\nname = \"hut\"\ndepth = 0\n\n# evening\n[mood.dusk.air]\nlight = 3\n";
        let first = put(text, Some("far reeds"), "smear.length", "4");
        let own = "depth = 0\n\n[[slot]]\nname = \"far reeds\"\nsmear.length = 4\n";
        assert_eq!(first, text.replace("depth = 0\n", own));
        let second = put(&first, Some("far reeds"), "x", "1");
        assert!(second.contains("name = \"far reeds\"\nx = 1\nsmear.length = 4\n"), "{second}");
        let location = Location { mood: None, slot: Some("far reeds"), lamp: None, key: "smear.length" };
        assert!(!unset(Path::new("s"), &first, &location).expect("taken out").contains("smear"));
    }

    #[test]
    fn a_lamp_of_a_base_gets_a_table_in_the_scene_and_all_keep_their_places() {
        let own = "from = \"../common.toml\"\n\n[[lamp]]\nname = \"door\"\nx = 1\n\n# evening\n[mood.dusk.air]\nlight = 3\n";
        let names = [Some("door"), Some("far \"one\""), Some("sign"), None];
        let fresh = lamps(Path::new("s"), own, &names[..3]).expect("written");
        let tables = "x = 1\n\n[[lamp]]\nname = 'far \"one\"'\n\n[[lamp]]\nname = \"sign\"\n";
        assert_eq!(fresh, own.replace("x = 1\n", tables));
        let location = Location { mood: None, slot: None, lamp: Some((2, "sign")), key: "strength" };
        let set = set(Path::new("s"), &fresh, &location, "2").expect("set");
        assert_eq!(set, fresh.replace("\"sign\"\n", "\"sign\"\nstrength = 2\n"));
        assert_eq!(lamps(Path::new("s"), own, &names[..1]).as_deref().ok(), Some(own), "it has one already");
        let refused = lamps(Path::new("s"), own, &names).expect_err("it has no name");
        assert!(refused.list[0].message.contains("lamp 4"), "{refused}");
        lamps(Path::new("s"), "lamp = [{ x = 1 }]\n", &names[..2]).expect_err("a list of one line");
    }

    #[test]
    fn a_key_of_a_base_gets_a_line_before_all_tables() {
        let slots = "# it\n[[slot]]\nname = \"hut\"\n";
        assert_eq!(put(slots, None, "travel", "4"), format!("travel = 4\n\n{slots}"));
        assert_eq!(put(slots, None, "air.light", "4"), format!("air.light = 4\n\n{slots}"));
        let schema = format!("#:schema ./scene.schema.json\n\n{slots}");
        let wanted = format!("#:schema ./scene.schema.json\n\ntravel = 4\n\n{slots}");
        assert_eq!(put(&schema, None, "travel", "4"), wanted);
    }
}

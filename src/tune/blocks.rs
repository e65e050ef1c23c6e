//! Whole tables of a scene's text: slots and moods are added, renamed and removed; every other byte stays.

use crate::base::fault::{Class, Fault, Result};
use crate::scene::edit::{Edit, slot, slot_table};
use crate::tune::write::dotted;
use std::ops::Range;
use std::path::Path;
use toml_edit::{Document, Item, Table};

/// A table's header and where its lines end.
pub(super) struct Block {
    /// Names on the way to it; of one in a list also its place there.
    pub path: Vec<String>,
    pub lines: Range<usize>,
}

/// A slot that is to be added.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct NewSlot<'a> {
    pub name: &'a str,
    pub depth: f64,
    pub x: Option<f64>,
    pub art: Option<&'a str>,
}

/// The text with one more slot, after all others.
///
/// # Errors
/// Class `Scene`: the text can't be read, or has its slots in a list of one line.
pub(super) fn add_slot(file: &Path, text: &str, slot: &NewSlot<'_>) -> Result<String> {
    let document = parse(file, text)?;
    takes_tables(file, document.get("slot"), "the slots")?;
    let blocks = blocks(&document, text);
    let last = blocks.iter().rev().find(|block| block.path[0] == "slot");
    let at = last.map_or(text.len(), |block| block.lines.end);
    let string = |text: &str| toml_edit::Value::from(text).to_string().trim().to_owned();
    let mut lines = slot_table(slot.name, &format!("depth = {}\n", slot.depth));
    if let Some(art) = slot.art {
        lines += &format!("art = {}\n", string(art));
    }
    if let Some(x) = slot.x {
        lines += &format!("x = {x}\n");
    }
    Ok(inserted(text, at, &lines))
}

/// The text without a slot, and without what moods change of it.
///
/// # Errors
/// As for [`add_slot`]; and where there is no such slot.
pub(super) fn remove_slot(file: &Path, text: &str, name: &str) -> Result<String> {
    let document = parse(file, text)?;
    let tables = document.get("slot").and_then(Item::as_array_of_tables);
    let at = tables
        .and_then(|all| all.iter().position(|one| one.get("name").and_then(Item::as_str) == Some(name)))
        .ok_or_else(|| by_hand(file, "the slot has no table of its own", "Remove it by hand, or hide it."))?;
    let at = at.to_string();
    let lamps: Vec<String> = lamps_of(&document, name).map(|(at, _)| at.to_string()).collect();
    let is_its = |path: &[String]| match path {
        [slots, place, ..] if slots == "slot" => *place == at,
        [all, place, ..] if all == "lamp" => lamps.contains(place),
        [moods, _, slots, one, ..] => moods == "mood" && slots == "slot" && one == name,
        _ => false,
    };
    Ok(without(text, &blocks(&document, text), is_its))
}

/// The text with one more lamp, after all others, in a slot and at a place of its strip.
///
/// # Errors
/// Class `Scene`: the text can't be read, or has its lamps in a list of one line.
pub(super) fn add_lamp(file: &Path, text: &str, slot: &str, [x, y]: [f64; 2]) -> Result<String> {
    let document = parse(file, text)?;
    takes_tables(file, document.get("lamp"), "the lamps")?;
    let blocks = blocks(&document, text);
    let last = |all: &str| blocks.iter().rev().find(|block| block.path[0] == all);
    let at = last("lamp").or_else(|| last("slot")).map_or(text.len(), |block| block.lines.end);
    let slot = toml_edit::Value::from(slot).to_string();
    Ok(inserted(text, at, &format!("[[lamp]]\nslot = {}\nx = {x}\ny = {y}\n", slot.trim())))
}

/// The text without the lamp at a place of their list, and without what moods change of it.
///
/// # Errors
/// As for [`add_lamp`]; and where there is no such lamp.
pub(super) fn remove_lamp(file: &Path, text: &str, at: usize) -> Result<String> {
    let document = parse(file, text)?;
    let tables = document.get("lamp").and_then(Item::as_array_of_tables);
    let lamp = tables
        .and_then(|all| all.get(at))
        .ok_or_else(|| by_hand(file, "the lamp has no table of its own", "Remove it by hand."))?;
    let (name, at) = (lamp.get("name").and_then(Item::as_str), at.to_string());
    let is_its = |path: &[String]| match path {
        [all, place, ..] if all == "lamp" => *place == at,
        [moods, _, lamps, one, ..] => moods == "mood" && lamps == "lamp" && Some(one.as_str()) == name,
        _ => false,
    };
    Ok(without(text, &blocks(&document, text), is_its))
}

/// The text with one more place in a slot, after all others.
///
/// # Errors
/// Class `Scene`: the text can't be read, or has no table for the slot, or its places in a list of one line.
pub(super) fn add_place(file: &Path, text: &str, slot: &str, x: f64) -> Result<String> {
    let document = parse(file, text)?;
    let (at, table) = found_slot(file, &document, slot)?;
    takes_tables(file, table.get("place"), "the slot's places")?;
    let blocks = blocks(&document, text);
    let own = |block: &&Block| block.path[0] == "slot" && block.path.get(1) == Some(&at);
    let end = blocks.iter().rev().find(own).map_or(text.len(), |block| block.lines.end);
    Ok(inserted(text, end, &format!("[[slot.place]]\nx = {x}\n")))
}

/// The text without the place of this number, from 1 on.
///
/// # Errors
/// As for [`add_place`]; and where there is no such place.
pub(super) fn remove_place(file: &Path, text: &str, slot: &str, number: usize) -> Result<String> {
    let document = parse(file, text)?;
    let (at, table) = found_slot(file, &document, slot)?;
    let places = table.get("place").and_then(Item::as_array_of_tables).map_or(0, |places| places.len());
    if !(1..=places).contains(&number) {
        return Err(by_hand(file, "the place has no table of its own", "Remove it by hand."));
    }
    let own = [at, (number - 1).to_string()];
    let is_its = |path: &[String]| match path {
        [slots, slot, places, place, ..] => {
            slots == "slot" && places == "place" && [slot, place] == own.each_ref()
        }
        _ => false,
    };
    Ok(without(text, &blocks(&document, text), is_its))
}

/// A slot's table, and its place among them.
fn found_slot<'d>(file: &Path, document: &'d Document<&str>, name: &str) -> Result<(String, &'d Table)> {
    let tables = document.get("slot").and_then(Item::as_array_of_tables);
    let named = |table: &&Table| table.get("name").and_then(Item::as_str) == Some(name);
    let found = tables.and_then(|all| all.iter().enumerate().find(|(_, table)| named(table)));
    let found = found.map(|(at, table)| (at.to_string(), table));
    found.ok_or_else(|| by_hand(file, "the slot has no table of its own", "Change its places by hand."))
}

/// The text with a slot called otherwise, also where moods name it.
///
/// # Errors
/// As for [`remove_slot`].
pub(super) fn rename_slot(file: &Path, text: &str, old: &str, new: &str) -> Result<String> {
    let unfit = || by_hand(file, "the slot's name can't be found in the text", "Rename it by hand.");
    let document = parse(file, text)?;
    let at = slot(document.as_item(), old).and_then(|table| table.get("name")?.span()).ok_or_else(unfit)?;
    let string = toml_edit::Value::from(new).to_string().trim().to_owned();
    let mut text = Edit { at, with: string }.done(text);
    // Each header that names it, one after the other.
    loop {
        let document = parse(file, &text)?;
        let (at, with) = if let Some(at) = named_by_mood(&document, old) {
            (at, dotted(&[new]))
        } else if let Some((_, at)) = lamps_of(&document, old).next() {
            (at, toml_edit::Value::from(new).to_string().trim().to_owned())
        } else {
            return Ok(text);
        };
        let next = Edit { at: at.ok_or_else(unfit)?, with }.done(&text);
        if next == text {
            return Err(unfit());
        }
        text = next;
    }
}

/// The places in their list of the lamps that hang in a slot, and where the text says so.
fn lamps_of<'d>(
    document: &'d Document<&str>,
    name: &'d str,
) -> impl Iterator<Item = (usize, Option<Range<usize>>)> + 'd {
    let tables = document.get("lamp").and_then(Item::as_array_of_tables).into_iter().flatten();
    tables.enumerate().filter_map(move |(at, lamp)| {
        let slot = lamp.get("slot").filter(|slot| slot.as_str() == Some(name))?;
        Some((at, slot.span()))
    })
}

/// Where a mood names a slot, if one does; and where in the text, if that is known.
fn named_by_mood(document: &Document<&str>, name: &str) -> Option<Option<Range<usize>>> {
    let moods = document.get("mood")?.as_table_like()?;
    moods.iter().find_map(|(_, mood)| {
        let slots = mood.as_table_like()?.get("slot")?.as_table_like()?;
        let (key, _) = slots.get_key_value(name)?;
        Some(key.span())
    })
}

/// The text with a mood that changes nothing yet.
///
/// # Errors
/// As for [`add_slot`]; and where there is one of this name.
pub(super) fn add_mood(file: &Path, text: &str, name: &str) -> Result<String> {
    let document = parse(file, text)?;
    let moods = document.get("mood").and_then(Item::as_table_like);
    if moods.is_some_and(|moods| moods.contains_key(name)) {
        return Err(by_hand(file, "there is a mood of this name already", "Choose another name."));
    }
    // A table of its own for the air: what is set later stands in tables, not in dotted keys.
    Ok(inserted(text, text.len(), &format!("[{}]\n", dotted(&["mood", name, "air"]))))
}

/// The text without a mood.
///
/// # Errors
/// As for [`add_slot`]; and where it has no table of its own.
pub(super) fn remove_mood(file: &Path, text: &str, name: &str) -> Result<String> {
    let document = parse(file, text)?;
    let all = blocks(&document, text);
    let fresh = without(text, &all, |path| path.len() > 1 && path[0] == "mood" && path[1] == name);
    let left = parse(file, &fresh)?;
    let moods = left.get("mood").and_then(Item::as_table_like);
    if fresh == text || moods.is_some_and(|moods| moods.contains_key(name)) {
        return Err(by_hand(file, "the mood has no table of its own", "Remove it by hand."));
    }
    Ok(fresh)
}

fn parse<'t>(file: &Path, text: &'t str) -> Result<Document<&'t str>> {
    crate::tune::write::parse(file, text)
}

/// Refuses to add a table to a list that isn't one of tables.
fn takes_tables(file: &Path, list: Option<&Item>, what: &str) -> Result<()> {
    if list.is_none_or(Item::is_array_of_tables) {
        return Ok(());
    }
    Err(by_hand(file, &format!("{what} stand in a list of one line"), "Write the new one there by hand."))
}

fn by_hand(file: &Path, what: &str, remedy: &str) -> crate::base::fault::Faults {
    Fault::new(Class::Scene, what).in_file(file).remedy(remedy).into()
}

/// `lines` at a line's start, with an empty line before and after.
pub(super) fn inserted(text: &str, at: usize, lines: &str) -> String {
    let (before, after) = text.split_at(at);
    let end = if before.is_empty() || before.ends_with('\n') { "" } else { "\n" };
    let gap =
        if before.trim_end().is_empty() || format!("{before}{end}").ends_with("\n\n") { "" } else { "\n" };
    let more =
        if after.is_empty() || after.starts_with('\n') || after.starts_with("\r\n") { "" } else { "\n" };
    format!("{before}{end}{gap}{lines}{more}{after}")
}

/// All tables that have headers, in the text's order.
pub(super) fn blocks(document: &Document<&str>, text: &str) -> Vec<Block> {
    let mut headers = Vec::new();
    collect(document.as_table(), &mut Vec::new(), &mut headers);
    headers.sort_by_key(|(_, start)| *start);
    let starts: Vec<usize> = headers.iter().map(|(_, start)| *start).chain([text.len()]).collect();
    let block = |(at, (path, _)): (usize, (Vec<String>, usize))| {
        let from = text[..starts[at]].rfind('\n').map_or(0, |at| at + 1);
        let next = text[..starts[at + 1]].rfind('\n').map_or(0, |at| at + 1);
        let to = if at + 2 == starts.len() { text.len() } else { next };
        Block { path, lines: from..from + content(&text[from..to]) }
    };
    headers.into_iter().enumerate().map(block).collect()
}

/// Bytes of a block up to its last line that says something: a comment after it belongs to what follows.
fn content(block: &str) -> usize {
    let (mut end, mut at) = (0, 0);
    for line in block.split_inclusive('\n') {
        at += line.len();
        let line = line.trim();
        if !line.is_empty() && !line.starts_with('#') {
            end = at;
        }
    }
    end
}

fn collect(table: &Table, path: &mut Vec<String>, headers: &mut Vec<(Vec<String>, usize)>) {
    for (name, item) in table.iter() {
        path.push(name.to_owned());
        match item {
            Item::Table(inner) => header(inner, path, headers),
            Item::ArrayOfTables(all) => {
                for (at, inner) in all.iter().enumerate() {
                    path.push(at.to_string());
                    header(inner, path, headers);
                    path.pop();
                }
            }
            _ => {}
        }
        path.pop();
    }
}

fn header(table: &Table, path: &mut Vec<String>, headers: &mut Vec<(Vec<String>, usize)>) {
    if let Some(span) = table.span().filter(|_| !table.is_implicit() && !table.is_dotted()) {
        headers.push((path.clone(), span.start));
    }
    collect(table, path, headers);
}

/// The text without the blocks that `is_its` says, nor the empty lines after them.
fn without(text: &str, blocks: &[Block], is_its: impl Fn(&[String]) -> bool) -> String {
    let mut left = String::with_capacity(text.len());
    let mut from = 0;
    for block in blocks.iter().filter(|block| is_its(&block.path)) {
        left += &text[from..block.lines.start.max(from)];
        let rest = &text[block.lines.end..];
        let blank: usize =
            rest.split_inclusive('\n').take_while(|line| line.trim().is_empty()).map(str::len).sum();
        from = block.lines.end + blank;
    }
    left += &text[from..];
    left
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "view = [10, 10]\n\n# them\n[[slot]]\nname = 'reeds'\ndepth = 1\n[slot.bands]\nsize = 4\n\n# it\n[[slot]]\nname = \"hut\" # old\ndepth = 0\n\n# evening\n[mood.dusk.slot.reeds]\ndepth = 4\n[mood.dusk.slot.reeds.smear]\nlength = 5\n\n[mood.dusk.air]\nhaze = '#fff'\n";

    fn file() -> &'static Path {
        Path::new("s")
    }

    #[test]
    fn a_slot_is_added_after_all_others_and_removed_with_what_moods_change_of_it() {
        let new = NewSlot { name: "boat", depth: 0.5, x: None, art: Some("boat.png") };
        let added = add_slot(file(), TEXT, &new).unwrap();
        let lines = "\n[[slot]]\nname = \"boat\"\ndepth = 0.5\nart = \"boat.png\"\n";
        assert_eq!(added, TEXT.replace("depth = 0\n", &format!("depth = 0\n{lines}")));
        assert_eq!(remove_slot(file(), &added, "boat").unwrap(), TEXT);
        let left = remove_slot(file(), TEXT, "reeds").unwrap();
        assert_eq!(
            left,
            "view = [10, 10]\n\n# them\n# it\n[[slot]]\nname = \"hut\" # old\ndepth = 0\n\n# evening\n[mood.dusk.air]\nhaze = '#fff'\n"
        );
    }

    #[test]
    fn a_slot_is_renamed_wherever_it_is_named() {
        let fresh = rename_slot(file(), TEXT, "reeds", "tall reeds").unwrap();
        let wanted = TEXT.replace("'reeds'", "\"tall reeds\"").replace("slot.reeds", "slot.\"tall reeds\"");
        assert_eq!(fresh, wanted);
        assert!(rename_slot(file(), TEXT, "nobody", "x").is_err());
        // Its lamps hang in it still, or go with it.
        let lit = format!("{TEXT}\n[[lamp]]\nslot = 'reeds' # dim\nx = 1\n");
        let fresh = rename_slot(file(), &lit, "reeds", "rushes").unwrap();
        assert!(fresh.ends_with("[[lamp]]\nslot = \"rushes\" # dim\nx = 1\n"), "{fresh}");
        assert!(!remove_slot(file(), &lit, "reeds").unwrap().contains("lamp"));
    }

    #[test]
    fn places_go_with_their_slot() {
        let places = TEXT.replace("depth = 0\n", "depth = 0\n[[slot.place]]\nx = 4\n");
        let boat = NewSlot { name: "boat", depth: 0.5, x: None, art: None };
        let fresh = add_slot(file(), &places, &boat).unwrap();
        assert!(fresh.contains("x = 4\n\n[[slot]]\nname = \"boat\"\n"), "{fresh}");
        assert!(!remove_slot(file(), &places, "hut").unwrap().contains("place"));
        let renamed = rename_slot(file(), &places, "hut", "shed").unwrap();
        assert_eq!(renamed, places.replace("\"hut\"", "\"shed\""));
    }

    #[test]
    fn lamps_come_and_go() {
        let first = add_lamp(file(), TEXT, "hut", [4.5, 2.0]).unwrap();
        let lines = "\n[[lamp]]\nslot = \"hut\"\nx = 4.5\ny = 2\n";
        assert_eq!(first, TEXT.replace("depth = 0\n", &format!("depth = 0\n{lines}")));
        let named = first.replace("y = 2\n", "y = 2\nname = 'gate' # old\n");
        let dusk = format!("{named}\n[mood.dusk.lamp.gate]\nstrength = 3\n");
        let second = add_lamp(file(), &dusk, "reeds", [1.0, 1.0]).unwrap();
        assert_eq!(remove_lamp(file(), &second, 1).unwrap(), dusk);
        assert_eq!(remove_lamp(file(), &dusk, 0).unwrap(), format!("{TEXT}\n"));
        assert!(remove_lamp(file(), TEXT, 0).is_err());
        assert!(add_lamp(file(), "lamp = []\n", "hut", [0.0; 2]).is_err());
    }

    #[test]
    fn moods_come_and_go() {
        let fresh = add_mood(file(), TEXT, "storm").unwrap();
        assert_eq!(fresh, format!("{TEXT}\n[mood.storm.air]\n"));
        assert_eq!(remove_mood(file(), &fresh, "storm").unwrap(), format!("{TEXT}\n"));
        assert!(add_mood(file(), TEXT, "dusk").is_err() && remove_mood(file(), TEXT, "dawn").is_err());
        let left = remove_mood(file(), TEXT, "dusk").unwrap();
        assert!(!left.contains("mood") && left.contains("# evening"));
    }

    #[test]
    fn places_are_added_after_all_of_their_slot_and_removed_alone() {
        let one = add_place(file(), TEXT, "reeds", 40.0).expect("added");
        assert_eq!(one, TEXT.replace("size = 4\n", "size = 4\n\n[[slot.place]]\nx = 40\n"));
        let two = add_place(file(), &one, "reeds", 90.5).expect("added");
        assert_eq!(two, one.replace("x = 40\n", "x = 40\n\n[[slot.place]]\nx = 90.5\n"));
        assert_eq!(remove_place(file(), &two, "reeds", 2).expect("removed"), one);
        let left = remove_place(file(), &two, "reeds", 1).expect("removed");
        assert_eq!(left, one.replace("x = 40\n", "x = 90.5\n"));
        for (slot, number) in [("reeds", 0), ("reeds", 3), ("hut", 1), ("none", 1)] {
            assert!(remove_place(file(), &two, slot, number).is_err(), "{slot} {number}");
        }
        assert!(add_place(file(), "slot = [{ name = 'a' }]\n", "a", 1.0).is_err());
        let list = TEXT.replace("depth = 1\n", "depth = 1\nplace = [{ x = 1 }]\n");
        assert!(add_place(file(), &list, "reeds", 1.0).is_err());
    }
}

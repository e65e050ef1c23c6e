//! Values written into a scene's text and taken out of it; every other byte stays what it is.

use crate::base::fault::{Class, Fault, Result};
use crate::scene::edit::{Edit, after, lamp, line_after, place, slot};
use crate::scene::keys::KEYS;
use crate::tune::inherited;
use std::ops::Range;
use std::path::Path;
use toml_edit::{Document, Item, TableLike};

/// Where a value stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Location<'a> {
    /// The mood that it is a difference of; none: the scene itself.
    pub mood: Option<&'a str>,
    /// The slot; none: the scene's own keys and tables.
    pub slot: Option<&'a str>,
    /// The lamp, by its place among them and its name; in a mood it is known by its name.
    pub lamp: Option<(usize, &'a str)>,
    /// Its path there: `depth`, `soften.sigma`, `air.haze`; `place.0.x` of a slot's first place.
    pub key: &'a str,
}

/// The text of the scene `file` with `value` (TOML) at `location`: in the place of the old one, else on a line of its own beside its
/// neighbours.
///
/// # Errors
/// Class `Scene`: the text can't be read, or leaves no place for the value.
pub fn set(file: &Path, text: &str, location: &Location<'_>, value: &str) -> Result<String> {
    let document = parse(file, text)?;
    let edit = match found(document.as_item(), location) {
        Some(item) => item.span().map(|at| Edit { at, with: value.to_owned() }),
        None => added(document.as_item(), text, location, value),
    };
    let fresh = edit.map(|edit| edit.done(text));
    let fresh = fresh.or_else(|| inherited::set(&document, text, location, value));
    let fresh = fresh.ok_or_else(|| unfit(file, location, value))?;
    // Whatever the layout: what is written must read back.
    if reads(&fresh, location).as_deref() == Some(value) {
        Ok(fresh)
    } else {
        Err(unfit(file, location, value).into())
    }
}

/// The text without the value at `location`, so that what stands behind it holds; unchanged where there is none.
///
/// # Errors
/// Class `Scene`: the text can't be read, or the value can't be taken out without touching the rest.
pub fn unset(file: &Path, text: &str, location: &Location<'_>) -> Result<String> {
    let document = parse(file, text)?;
    let Some(item) = found(document.as_item(), location) else { return Ok(text.to_owned()) };
    let taken = item.span().and_then(|value| removed(text, value)).map(|edit| edit.done(text));
    match taken {
        Some(fresh) if Document::parse(fresh.as_str()).is_ok() && reads(&fresh, location).is_none() => {
            Ok(fresh)
        }
        _ => Err(Fault::new(
            Class::Scene,
            format!("`{}` can't be removed without changing the rest", location.key),
        )
        .in_file(file)
        .remedy("Remove it from the file by hand.")
        .into()),
    }
}

/// The value at `location` as TOML, if the text gives one.
pub fn reads(text: &str, location: &Location<'_>) -> Option<String> {
    let document = Document::parse(text).ok()?;
    let value = found(document.as_item(), location)?.as_value()?;
    Some(value.clone().decorated("", "").to_string())
}

pub(super) fn parse<'t>(file: &Path, text: &'t str) -> Result<Document<&'t str>> {
    Document::parse(text).map_err(|error| {
        Fault::new(Class::Scene, format!("the scene can't be read: {}", error.message()))
            .in_file(file)
            .at(error.span())
            .remedy("Fix it in an editor.")
            .into()
    })
}

fn unfit(file: &Path, location: &Location<'_>, value: &str) -> Fault {
    Fault::new(Class::Scene, format!("the file's layout leaves no place for `{}`", location.key))
        .in_file(file)
        .remedy(format!("Write `{} = {value}` by hand.", location.key))
}

/// The table that paths are looked for in, and the steps from there to the value.
fn start<'a, 's>(root: &'a Item, location: &Location<'s>) -> Option<(&'a dyn TableLike, Vec<&'s str>)> {
    let key = location.key.split('.');
    match (location.mood, location.slot) {
        (None, Some(name)) => match of_place(location.key) {
            Some((at, key)) => Some((place(slot(root, name)?, at)?, vec![key])),
            None => Some((slot(root, name)?, key.collect())),
        },
        (None, None) => match location.lamp {
            Some((at, _)) => Some((lamp(root, at)?, key.collect())),
            None => Some((root.as_table_like()?, key.collect())),
        },
        (Some(mood), slot) => {
            let mut path = vec!["mood", mood];
            path.extend(slot.into_iter().flat_map(|slot| ["slot", slot]));
            path.extend(location.lamp.into_iter().flat_map(|(_, name)| ["lamp", name]));
            path.extend(key);
            Some((root.as_table_like()?, path))
        }
    }
}

/// The index of a place and the key there.
fn of_place(key: &str) -> Option<(usize, &str)> {
    let (at, key) = key.strip_prefix("place.")?.split_once('.')?;
    Some((at.parse().ok()?, key))
}

fn found<'a>(root: &'a Item, location: &Location<'_>) -> Option<&'a Item> {
    let (table, path) = start(root, location)?;
    let (last, way) = path.split_last()?;
    let mut table = table;
    for step in way {
        table = table.get(step)?.as_table_like()?;
    }
    table.get(last).filter(|item| item.is_value())
}

/// Where a value that isn't there yet goes: as deep as there are tables already, beside a neighbour; else a table of its own.
fn added(root: &Item, text: &str, location: &Location<'_>, value: &str) -> Option<Edit> {
    let (base, path) = start(root, location)?;
    // The tables on the way, each with what is left of the path and the item that holds it.
    let mut way: Vec<(&dyn TableLike, Option<&Item>, usize)> = vec![(base, None, 0)];
    for (at, step) in path.iter().enumerate().take(path.len() - 1) {
        let Some(item) = way.last()?.0.get(step) else { break };
        way.push((item.as_table_like()?, Some(item), at + 1));
    }
    // What a mood changes stands in tables of its own, never among the scene's keys.
    let least = if location.mood.is_some() { 2 } else { 0 };
    for (table, item, depth) in way.into_iter().rev().filter(|(_, _, depth)| *depth >= least) {
        let own = match item {
            // A dotted table's keys stand on lines of the table above, and are written from there.
            Some(Item::Table(table)) if table.is_dotted() => None,
            _ => Some(depth),
        };
        if let (Some(depth), true) = (own, location.mood.is_some() && !matches!(item, Some(Item::Value(_))))
            && let Some(edit) = in_order(text, table, &path, depth, location, value)
        {
            return Some(edit);
        }
        let neighbour = table.iter().filter(|(_, item)| item.is_value()).last();
        let first = match (location.slot, location.mood) {
            (Some(_), None) if depth == 0 => table.get("name"),
            (None, None) if depth == 0 && location.lamp.is_none() => neighbour_at_top(table),
            _ => None,
        };
        if let (Some(depth), Some(near)) = (own, first.or(neighbour.map(|(_, item)| item))) {
            return after(text, near, &dotted(&path[depth..]), value);
        }
        if let Some(Item::Value(inline)) = item {
            // An empty inline table: {}
            return Some(Edit {
                at: inline.span()?,
                with: format!("{{ {} = {value} }}", dotted(&path[depth..])),
            });
        }
        if let Some(Item::Table(headed)) = item
            && !headed.is_dotted()
            && !headed.is_implicit()
            && headed.span().is_some()
        {
            return Some(line_after(text, headed.span()?.end, &dotted(&path[depth..]), value));
        }
        if item.is_some_and(|item| item.as_table().is_some_and(|table| table.is_dotted())) {
            let line = beside_dotted(table)?;
            let above = depth_above_dotted(base, &path[..depth])?;
            return after(text, line, &dotted(&path[above..]), value);
        }
    }
    location.mood?;
    Some(own_table(text, location, &path, value))
}

/// Where there is nothing to stand beside: a table of its own at the end.
fn own_table(text: &str, location: &Location<'_>, path: &[&str], value: &str) -> Edit {
    // A slot's step numbers stand in the slot's table, by dotted keys.
    let own = location.slot.is_some() || location.lamp.is_some();
    let (tables, key) = path.split_at(if own { 4 } else { path.len() - 1 });
    let gap = if text.is_empty() || text.ends_with("\n\n") {
        ""
    } else if text.ends_with('\n') {
        "\n"
    } else {
        "\n\n"
    };
    let with = format!("{gap}[{}]\n{} = {value}\n", dotted(tables), dotted(key));
    Edit { at: text.len()..text.len(), with }
}

/// The value among those of a mood's headed table, in the order of the table of keys.
fn in_order(
    text: &str,
    table: &dyn TableLike,
    path: &[&str],
    depth: usize,
    location: &Location<'_>,
    value: &str,
) -> Option<Edit> {
    let first = if location.slot.is_some() { 4 } else { 2 };
    let way = path.get(first..depth)?;
    // A slot's own keys come before its numbers of steps.
    let rank = |key: &str| {
        let of_slot = location.slot.map(|_| format!("slot.{key}"));
        let own = of_slot.and_then(|path| KEYS.iter().position(|one| one.path == path));
        let place = own.map(|at| (0, at));
        place.or_else(|| KEYS.iter().position(|one| one.path == key).map(|at| (1, at)))
    };
    let own = rank(location.key)?;
    let mut there = Vec::new();
    leaves(table, &way.join("."), &mut there);
    there.sort_by_key(|(_, at)| at.start);
    let key = dotted(&path[depth..]);
    match there.iter().rev().find(|(key, _)| rank(key).is_some_and(|rank| rank < own)) {
        Some((_, at)) => Some(line_after(text, at.end, &key, value)),
        None => {
            let at = there.first()?.1.start;
            let start = text[..at].rfind('\n').map_or(0, |at| at + 1);
            let indent: String = text[start..at].chars().take_while(|c| matches!(c, ' ' | '\t')).collect();
            Some(Edit { at: start..start, with: format!("{indent}{key} = {value}\n") })
        }
    }
}

/// The values of a table on its own lines, dotted ones too: their keys and where they stand.
fn leaves(table: &dyn TableLike, prefix: &str, all: &mut Vec<(String, Range<usize>)>) {
    for (name, item) in table.iter() {
        let key = if prefix.is_empty() { name.to_owned() } else { format!("{prefix}.{name}") };
        match item {
            Item::Value(value) => all.extend(value.span().map(|at| (key, at))),
            Item::Table(inner) if inner.is_dotted() => leaves(inner, &key, all),
            _ => {}
        }
    }
}

/// The value at the top that was written last, before any table.
fn neighbour_at_top(table: &dyn TableLike) -> Option<&Item> {
    let values = table.iter().map(|(_, item)| item).filter(|item| item.is_value());
    values.max_by_key(|item| item.span().map_or(0, |span| span.end))
}

/// A value in a dotted table, or below it.
fn beside_dotted(table: &dyn TableLike) -> Option<&Item> {
    table.iter().map(|(_, item)| item).find(|item| item.is_value())
}

/// How deep the last table is on the way that isn't dotted.
fn depth_above_dotted(base: &dyn TableLike, way: &[&str]) -> Option<usize> {
    let (mut table, mut depth) = (base, 0);
    for (at, step) in way.iter().enumerate() {
        let item = table.get(step)?;
        if !item.as_table().is_some_and(|table| table.is_dotted()) {
            depth = at + 1;
        }
        table = item.as_table_like()?;
    }
    Some(depth)
}

/// A dotted key; names that aren't bare are quoted.
pub(super) fn dotted(path: &[&str]) -> String {
    let parts: Vec<String> = path
        .iter()
        .map(
            |name| if is_bare(name) { (*name).to_owned() } else { toml_edit::Value::from(*name).to_string() },
        )
        .collect();
    parts.join(".")
}

fn is_bare(name: &str) -> bool {
    !name.is_empty() && name.chars().all(|c| c.is_ascii_alphanumeric() || c == '-' || c == '_')
}

/// The bytes of a key with its value: the whole line where nothing else stands on it, else with one of the commas around it.
fn removed(text: &str, value: Range<usize>) -> Option<Edit> {
    let equals = text[..value.start].rfind('=')?;
    let head = text[..equals].trim_end();
    let start = head.rfind(['\n', ',', '{']).map_or(0, |at| at + 1);
    let before = text[..start].chars().next_back();
    let end = value.end;
    let line_end = text[end..].find('\n').map_or(text.len(), |at| end + at + 1);
    let rest = text[end..line_end].trim();
    let with = String::new();
    if matches!(before, None | Some('\n')) && (rest.is_empty() || rest.starts_with('#')) {
        return Some(Edit { at: start..line_end, with });
    }
    let next = end + (text[end..].len() - text[end..].trim_start().len());
    match before? {
        '{' if text[next..].starts_with(',') => {
            let after = next + 1;
            Some(Edit {
                at: start + (text[start..].len() - text[start..].trim_start().len())
                    ..after + spaces(&text[after..]),
                with,
            })
        }
        '{' => Some(Edit { at: start..next, with }),
        ',' => Some(Edit { at: start - 1..end, with }),
        _ => None,
    }
}

fn spaces(text: &str) -> usize {
    text.len() - text.trim_start_matches([' ', '\t']).len()
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "# top\nview = [10, 10] # frame\n\n[air]\nhaze = \"#ccc\" # straw\n[[slot]]\nname = 'reeds'  # them\ndepth = 1\nbands = { amount = 0.5, size = 4 } # x\nsmear.length = 3\n# end\n";

    fn at<'a>(mood: Option<&'a str>, slot: Option<&'a str>, key: &'a str) -> Location<'a> {
        Location { mood, slot, lamp: None, key }
    }

    fn put(text: &str, location: Location<'_>, value: &str) -> String {
        set(Path::new("s"), text, &location, value).expect("a place")
    }

    #[test]
    fn values_take_the_place_of_old_ones_or_stand_beside_others() {
        let reeds = Some("reeds");
        for (slot, key, value, old, new) in [
            (reeds, "depth", "2", "depth = 1", "depth = 2"),
            (reeds, "bands.gain", "2", "size = 4", "size = 4, gain = 2"),
            (reeds, "smear.angle", "2", "length = 3\n", "length = 3\nsmear.angle = 2\n"),
            (reeds, "grade.lit", "1", "# them\n", "# them\ngrade.lit = 1\n"),
            (None, "travel", "2", "# frame\n", "# frame\ntravel = 2\n"),
            (None, "air.light", "2", "# straw\n", "# straw\nlight = 2\n"),
            (None, "rim.most", "0.2", "# frame\n", "# frame\nrim.most = 0.2\n"),
        ] {
            assert_eq!(put(TEXT, at(None, slot, key), value), TEXT.replace(old, new), "{key}");
        }
    }

    #[test]
    fn moods_get_tables_of_their_own() {
        let dusk = Some("dusk");
        let first = put(TEXT, at(dusk, None, "air.haze"), "\"#fff\"");
        assert_eq!(first, format!("{TEXT}\n[mood.dusk.air]\nhaze = \"#fff\"\n"));
        let second = put(&first, at(dusk, Some("reeds"), "depth"), "4");
        assert_eq!(second, format!("{first}\n[mood.dusk.slot.reeds]\ndepth = 4\n"));
        let third = put(&second, at(dusk, Some("reeds"), "smear.length"), "4");
        assert_eq!(third, format!("{second}smear.length = 4\n"));
        // In the order of the table of keys, whatever was set first.
        let fourth = put(&third, at(dusk, Some("reeds"), "bands.size"), "7");
        assert_eq!(fourth, third.replace("smear.length = 4", "bands.size = 7\nsmear.length = 4"));
        let fifth = put(&fourth, at(dusk, Some("reeds"), "x"), "1");
        assert_eq!(fifth, fourth.replace("depth = 4\n", "depth = 4\nx = 1\n"));
        let sixth = put(&fifth, at(dusk, None, "air.light"), "20");
        let last = put(&sixth, at(dusk, None, "air.visibility"), "90");
        assert!(last.contains("[mood.dusk.air]\nhaze = \"#fff\"\nvisibility = 90\nlight = 20\n"), "{last}");
    }

    #[test]
    fn lamps_are_known_by_their_place_and_in_moods_by_their_name() {
        let lamp = |mood, key| Location { mood, slot: None, lamp: Some((1, "post")), key };
        for (lamps, new) in [
            ("lamp = [{ x = 1 }, { x = 2, y = 3 }]\n", "lamp = [{ x = 1 }, { x = 9, y = 3, core = 2 }]\n"),
            (
                "[[lamp]]\nx = 1\n[[lamp]]\nx = 2\ny = 3\n",
                "[[lamp]]\nx = 1\n[[lamp]]\nx = 9\ny = 3\ncore = 2\n",
            ),
        ] {
            assert_eq!(put(&put(lamps, lamp(None, "x"), "9"), lamp(None, "core"), "2"), new);
            let first = put(lamps, lamp(Some("dusk"), "x"), "9");
            assert_eq!(first, format!("{lamps}\n[mood.dusk.lamp.post]\nx = 9\n"));
            assert_eq!(put(&first, lamp(Some("dusk"), "y"), "4"), format!("{first}y = 4\n"));
        }
        let rows = "[mood.dusk.lamp]\npost = { x = 3 }\n";
        let both = put(rows, lamp(Some("dusk"), "y"), "4");
        assert_eq!(both, "[mood.dusk.lamp]\npost = { x = 3, y = 4 }\n");
    }

    #[test]
    fn values_of_a_place_stand_in_its_table() {
        let places = "[[slot.place]] # two\nx = 4\n[[slot.place]]\nx = 9 # three\n";
        let (text, reeds) = (format!("{TEXT}{places}"), Some("reeds"));
        let moved = put(&text, at(None, reeds, "place.1.x"), "7");
        assert_eq!(moved, text.replace("x = 9", "x = 7"));
        let more = put(&moved, at(None, reeds, "place.0.flip"), "true");
        assert_eq!(more, moved.replace("x = 4\n", "x = 4\nflip = true\n"));
        assert_eq!(unset(Path::new("s"), &more, &at(None, reeds, "place.0.flip")).expect("out"), moved);
        let list = TEXT.replace("depth = 1\n", "depth = 1\nplace = [{ x = 1 }, { x = 2 }]\n");
        assert_eq!(put(&list, at(None, reeds, "place.1.y"), "5"), list.replace("x = 2", "x = 2, y = 5"));
        assert!(set(Path::new("s"), &text, &at(None, reeds, "place.2.x"), "1").is_err());
    }

    #[test]
    fn places_stay_as_they_are() {
        let places = "[[slot.place]] # two\nx = 4\n[[slot.place]]\nx = 9 # three\n";
        let (text, reeds) = (format!("{TEXT}{places}"), Some("reeds"));
        assert_eq!(put(&text, at(None, reeds, "x"), "2"), put(TEXT, at(None, reeds, "x"), "2") + places);
        assert_eq!(
            put(&text, at(None, reeds, "grade.lit"), "1"),
            text.replace("# them\n", "# them\ngrade.lit = 1\n")
        );
        // A mood that lists places and nothing else of its slot.
        let dusk = format!("{text}[[mood.dusk.slot.reeds.place]]\nx = 5\n");
        let set = put(&dusk, at(Some("dusk"), reeds, "depth"), "4");
        assert_eq!(set, format!("{dusk}\n[mood.dusk.slot.reeds]\ndepth = 4\n"));
        assert!(Document::parse(set.as_str()).is_ok(), "{set}");
    }

    #[test]
    fn what_is_taken_out_leaves_the_rest() {
        let reeds = Some("reeds");
        for (slot, key, gone) in [
            (reeds, "depth", "depth = 1\n"),
            (reeds, "bands.amount", "amount = 0.5, "),
            (reeds, "bands.size", ", size = 4"),
            (reeds, "smear.length", "smear.length = 3\n"),
            (None, "air.haze", "haze = \"#ccc\" # straw\n"),
            (None, "travel", ""),
        ] {
            let left = unset(Path::new("s"), TEXT, &at(None, slot, key)).expect("taken out");
            assert_eq!(left, TEXT.replacen(gone, "", 1), "{key}");
        }
    }
}

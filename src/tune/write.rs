//! Values written into a scene's text and taken out of it; every other byte stays what it is.

use crate::base::fault::{Class, Fault, Result};
use crate::scene::edit::{Edit, after, line_after, slot};
use std::ops::Range;
use std::path::Path;
use toml_edit::{Document, Item, TableLike};

/// Where a value stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Spot<'a> {
    /// The mood that it is a difference of; none: the scene itself.
    pub mood: Option<&'a str>,
    /// The slot; none: the scene's own keys and tables.
    pub slot: Option<&'a str>,
    /// Its path there: `depth`, `soften.sigma`, `air.haze`.
    pub key: &'a str,
}

/// The text of the scene `file` with `value` (TOML) at `spot`: in the place of the old one, else on a line of its own beside its
/// neighbours.
///
/// # Errors
/// Class `Scene`: the text can't be read, or leaves no place for the value.
pub fn set(file: &Path, text: &str, spot: &Spot<'_>, value: &str) -> Result<String> {
    let document = parse(file, text)?;
    let edit = match found(document.as_item(), spot) {
        Some(item) => item.span().map(|at| Edit { at, with: value.to_owned() }),
        None => added(document.as_item(), text, spot, value),
    };
    let fresh = edit.map(|edit| edit.done(text)).ok_or_else(|| unfit(file, spot, value))?;
    // Whatever the layout: what is written must read back.
    if reads(&fresh, spot).as_deref() == Some(value) {
        Ok(fresh)
    } else {
        Err(unfit(file, spot, value).into())
    }
}

/// The text without the value at `spot`, so that what stands behind it holds; unchanged where there is none.
///
/// # Errors
/// Class `Scene`: the text can't be read, or the value can't be taken out without touching the rest.
pub fn unset(file: &Path, text: &str, spot: &Spot<'_>) -> Result<String> {
    let document = parse(file, text)?;
    let Some(item) = found(document.as_item(), spot) else { return Ok(text.to_owned()) };
    let taken = item.span().and_then(|value| removed(text, value)).map(|edit| edit.done(text));
    match taken {
        Some(fresh) if Document::parse(fresh.as_str()).is_ok() && reads(&fresh, spot).is_none() => Ok(fresh),
        _ => Err(Fault::new(
            Class::Scene,
            format!("`{}` can't be removed without changing the rest", spot.key),
        )
        .in_file(file)
        .remedy("Remove it from the file by hand.")
        .into()),
    }
}

/// The value at `spot` as TOML, if the text gives one.
pub fn reads(text: &str, spot: &Spot<'_>) -> Option<String> {
    let document = Document::parse(text).ok()?;
    let value = found(document.as_item(), spot)?.as_value()?;
    Some(value.clone().decorated("", "").to_string())
}

fn parse<'t>(file: &Path, text: &'t str) -> Result<Document<&'t str>> {
    Document::parse(text).map_err(|error| {
        Fault::new(Class::Scene, format!("the scene can't be read: {}", error.message()))
            .in_file(file)
            .at(error.span())
            .remedy("Fix it in an editor.")
            .into()
    })
}

fn unfit(file: &Path, spot: &Spot<'_>, value: &str) -> Fault {
    Fault::new(Class::Scene, format!("the file's layout leaves no place for `{}`", spot.key))
        .in_file(file)
        .remedy(format!("Write `{} = {value}` by hand.", spot.key))
}

/// The table that paths are looked for in, and the steps from there to the value.
fn start<'a, 's>(root: &'a Item, spot: &Spot<'s>) -> Option<(&'a dyn TableLike, Vec<&'s str>)> {
    let key = spot.key.split('.');
    match (spot.mood, spot.slot) {
        (None, Some(name)) => Some((slot(root, name)?, key.collect())),
        (None, None) => Some((root.as_table_like()?, key.collect())),
        (Some(mood), slot) => {
            let mut path = vec!["mood", mood];
            path.extend(slot.into_iter().flat_map(|slot| ["slot", slot]));
            path.extend(key);
            Some((root.as_table_like()?, path))
        }
    }
}

fn found<'a>(root: &'a Item, spot: &Spot<'_>) -> Option<&'a Item> {
    let (table, path) = start(root, spot)?;
    let (last, way) = path.split_last()?;
    let mut table = table;
    for step in way {
        table = table.get(step)?.as_table_like()?;
    }
    table.get(last).filter(|item| item.is_value())
}

/// Where a value that isn't there yet goes: as deep as there are tables already, beside a neighbour; else a table of its own.
fn added(root: &Item, text: &str, spot: &Spot<'_>, value: &str) -> Option<Edit> {
    let (base, path) = start(root, spot)?;
    // The tables on the way, each with what is left of the path and the item that holds it.
    let mut way: Vec<(&dyn TableLike, Option<&Item>, usize)> = vec![(base, None, 0)];
    for (at, step) in path.iter().enumerate().take(path.len() - 1) {
        let Some(item) = way.last()?.0.get(step) else { break };
        way.push((item.as_table_like()?, Some(item), at + 1));
    }
    // What a mood changes stands in tables of its own, never among the scene's keys.
    let least = if spot.mood.is_some() { 2 } else { 0 };
    for (table, item, depth) in way.into_iter().rev().filter(|(_, _, depth)| *depth >= least) {
        let own = match item {
            // A dotted table's keys stand on lines of the table above, and are written from there.
            Some(Item::Table(table)) if table.is_dotted() => None,
            _ => Some(depth),
        };
        let neighbour = table.iter().filter(|(_, item)| item.is_value()).last();
        let first = match (spot.slot, spot.mood) {
            (Some(_), None) if depth == 0 => table.get("name"),
            (None, None) if depth == 0 => neighbour_at_top(table),
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
    // Nothing to stand beside: a table of its own at the end.
    spot.mood?;
    // A slot's step numbers stand in the slot's table, by dotted keys.
    let (tables, key) = path.split_at(if spot.slot.is_some() { 4 } else { path.len() - 1 });
    let gap = if text.is_empty() || text.ends_with("\n\n") {
        ""
    } else if text.ends_with('\n') {
        "\n"
    } else {
        "\n\n"
    };
    let with = format!("{gap}[{}]\n{} = {value}\n", dotted(tables), dotted(key));
    Some(Edit { at: text.len()..text.len(), with })
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
fn dotted(path: &[&str]) -> String {
    let bare = |name: &str| {
        !name.is_empty() && name.chars().all(|c| c.is_ascii_alphanumeric() || c == '-' || c == '_')
    };
    let part = |name: &&str| {
        if bare(name) { (*name).to_owned() } else { toml_edit::Value::from(*name).to_string() }
    };
    path.iter().map(part).collect::<Vec<_>>().join(".")
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

    fn spot<'a>(mood: Option<&'a str>, slot: Option<&'a str>, key: &'a str) -> Spot<'a> {
        Spot { mood, slot, key }
    }

    fn put(text: &str, spot: Spot<'_>, value: &str) -> String {
        set(Path::new("s"), text, &spot, value).expect("a place")
    }

    fn take(text: &str, spot: Spot<'_>) -> String {
        unset(Path::new("s"), text, &spot).expect("taken")
    }

    #[test]
    fn values_take_the_place_of_old_ones_or_stand_beside_others() {
        let reeds = Some("reeds");
        assert_eq!(put(TEXT, spot(None, reeds, "depth"), "2"), TEXT.replace("depth = 1", "depth = 2"));
        assert_eq!(
            put(TEXT, spot(None, reeds, "bands.gain"), "2"),
            TEXT.replace("size = 4", "size = 4, gain = 2")
        );
        assert_eq!(
            put(TEXT, spot(None, reeds, "smear.angle"), "2"),
            TEXT.replace("length = 3\n", "length = 3\nsmear.angle = 2\n")
        );
        assert_eq!(
            put(TEXT, spot(None, reeds, "grade.lit"), "1"),
            TEXT.replace("# them\n", "# them\ngrade.lit = 1\n")
        );
        assert_eq!(
            put(TEXT, spot(None, None, "travel"), "2"),
            TEXT.replace("# frame\n", "# frame\ntravel = 2\n")
        );
        assert_eq!(
            put(TEXT, spot(None, None, "air.light"), "2"),
            TEXT.replace("# straw\n", "# straw\nlight = 2\n")
        );
        assert_eq!(
            put(TEXT, spot(None, None, "rim.most"), "0.2"),
            TEXT.replace("# frame\n", "# frame\nrim.most = 0.2\n")
        );
    }

    #[test]
    fn moods_get_tables_of_their_own() {
        let dusk = Some("dusk");
        let first = put(TEXT, spot(dusk, None, "air.haze"), "\"#fff\"");
        assert_eq!(first, format!("{TEXT}\n[mood.dusk.air]\nhaze = \"#fff\"\n"));
        let second = put(&first, spot(dusk, Some("reeds"), "depth"), "4");
        assert_eq!(second, format!("{first}\n[mood.dusk.slot.reeds]\ndepth = 4\n"));
        let third = put(&second, spot(dusk, Some("reeds"), "smear.length"), "4");
        assert_eq!(third, format!("{second}smear.length = 4\n"));
    }

    #[test]
    fn what_is_taken_out_leaves_the_rest() {
        let reeds = Some("reeds");
        assert_eq!(take(TEXT, spot(None, reeds, "depth")), TEXT.replace("depth = 1\n", ""));
        assert_eq!(take(TEXT, spot(None, reeds, "bands.amount")), TEXT.replace("amount = 0.5, ", ""));
        assert_eq!(take(TEXT, spot(None, reeds, "bands.size")), TEXT.replace(", size = 4", ""));
        assert_eq!(take(TEXT, spot(None, reeds, "smear.length")), TEXT.replace("smear.length = 3\n", ""));
        assert_eq!(take(TEXT, spot(None, None, "air.haze")), TEXT.replace("haze = \"#ccc\" # straw\n", ""));
        assert_eq!(take(TEXT, spot(None, None, "travel")), TEXT);
    }
}

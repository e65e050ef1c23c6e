//! Edits of a scene's text that leave every other byte as it is: what the ways of writing a value back share.

use std::ops::Range;
use toml_edit::{Item, TableLike};

/// What takes the place of some bytes.
pub(crate) struct Edit {
    pub at: Range<usize>,
    pub with: String,
}

impl Edit {
    /// The text with it done.
    pub fn done(&self, text: &str) -> String {
        format!("{}{}{}", &text[..self.at.start], self.with, &text[self.at.end..])
    }
}

/// The slot of this name in the scene's own list.
pub(crate) fn slot<'a>(root: &'a Item, name: &str) -> Option<&'a dyn TableLike> {
    let named = |table: &&'a dyn TableLike| table.get("name").and_then(Item::as_str) == Some(name);
    match root.get("slot")? {
        Item::ArrayOfTables(tables) => tables.iter().map(|table| table as &dyn TableLike).find(named),
        other => other
            .as_array()?
            .iter()
            .filter_map(|value| value.as_inline_table())
            .map(|table| table as &dyn TableLike)
            .find(named),
    }
}

/// The lamp at a place of the scene's own list.
#[cfg(feature = "tune")]
pub(crate) fn lamp(root: &Item, at: usize) -> Option<&dyn TableLike> {
    match root.get("lamp")? {
        Item::ArrayOfTables(tables) => tables.get(at).map(|table| table as &dyn TableLike),
        other => other.as_array()?.get(at)?.as_inline_table().map(|table| table as &dyn TableLike),
    }
}

/// The place at an index of a slot's list.
#[cfg(feature = "tune")]
pub(crate) fn place(slot: &dyn TableLike, at: usize) -> Option<&dyn TableLike> {
    match slot.get("place")? {
        Item::ArrayOfTables(tables) => tables.get(at).map(|table| table as &dyn TableLike),
        other => other.as_array()?.get(at)?.as_inline_table().map(|table| table as &dyn TableLike),
    }
}

/// A slot's own table, with the `lines` that follow its name.
pub(crate) fn slot_table(name: &str, lines: &str) -> String {
    format!("[[slot]]\nname = {}\n{lines}", toml_edit::Value::from(name).to_string().trim())
}

/// The key after a value, in the manner in which that stands there: on a line of its own, or behind a comma.
pub(crate) fn after(text: &str, neighbour: &Item, key: &str, value: &str) -> Option<Edit> {
    let end = neighbour.span()?.end;
    let rest = text[end..].lines().next().unwrap_or_default().trim_start();
    if rest.is_empty() || rest.starts_with('#') {
        return Some(line_after(text, end, key, value));
    }
    Some(Edit { at: end..end, with: format!(", {key} = {value}") })
}

/// A line of its own below the one that `at` stands in, indented alike.
pub(crate) fn line_after(text: &str, at: usize, key: &str, value: &str) -> Edit {
    let start = text[..at].rfind('\n').map_or(0, |at| at + 1);
    let indent: String = text[start..at].chars().take_while(|c| matches!(c, ' ' | '\t')).collect();
    match text[at..].find('\n') {
        Some(length) => {
            let end = at + length;
            let ending = if text[..end].ends_with('\r') { "\r\n" } else { "\n" };
            Edit { at: end + 1..end + 1, with: format!("{indent}{key} = {value}{ending}") }
        }
        None => Edit { at: text.len()..text.len(), with: format!("\n{indent}{key} = {value}") },
    }
}

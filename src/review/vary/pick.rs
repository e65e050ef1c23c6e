//! A value written into a slot of a scene's text; every other byte stays what it is.

use crate::base::fault::{Class, Fault, Result};
use crate::scene::edit::{self, Edit, after, line_after};
use std::path::Path;
use toml_edit::{Document, Item, TableLike};

/// The text of the scene `file` with `key` of `slot` at `value` (TOML): in the place of its value if it has one, else on a line of
/// its own under a neighbour.
///
/// # Errors
/// Class `Scene`: the text can't be read, or holds the slot in a form that can't be written to.
pub fn picked(file: &Path, text: &str, slot: &str, key: &str, value: &str) -> Result<String> {
    let unfit = |message: String| {
        Fault::new(Class::Scene, message)
            .in_file(file)
            .remedy(format!("Write `{key} = {value}` into the slot by hand."))
    };
    let document = Document::parse(text)
        .map_err(|error| unfit(format!("the scene can't be read: {}", error.message())))?;
    let edit = match edit::slot(document.as_item(), slot) {
        Some(table) => edit(text, table, key, value),
        // It stands in a file that the scene builds on.
        None => Some(own_table(text, slot, key, value)),
    };
    let edit = edit.ok_or_else(|| unfit("the slot's layout leaves no place for the value".into()))?;
    let fresh = edit.done(text);
    // Whatever the layout: what is written must read back.
    let there = Document::parse(fresh.as_str()).ok().is_some_and(|document| {
        edit::slot(document.as_item(), slot)
            .and_then(|table| get(table, key))
            .and_then(Item::as_value)
            .is_some_and(|found| found.clone().decorated("", "").to_string() == value)
    });
    if there {
        Ok(fresh)
    } else {
        Err(unfit("the value can't be written without changing the rest".into()).into())
    }
}

/// A table of the scene's own for a slot, at the text's end.
fn own_table(text: &str, slot: &str, key: &str, value: &str) -> Edit {
    let gap = if text.is_empty() || text.ends_with('\n') { "" } else { "\n" };
    let with = format!("{gap}\n{}", edit::slot_table(slot, &format!("{key} = {value}\n")));
    Edit { at: text.len()..text.len(), with }
}

fn get<'a>(table: &'a dyn TableLike, key: &str) -> Option<&'a Item> {
    match key.split_once('.') {
        Some((step, name)) => table.get(step)?.as_table_like()?.get(name),
        None => table.get(key),
    }
}

fn edit(text: &str, slot: &dyn TableLike, key: &str, value: &str) -> Option<Edit> {
    if let Some(found) = get(slot, key) {
        return Some(Edit { at: found.span()?, with: value.to_owned() });
    }
    let Some((step, name)) = key.split_once('.') else { return after(text, slot.get("name")?, key, value) };
    let Some(numbers) = slot.get(step) else { return after(text, slot.get("name")?, key, value) };
    // The step has a table already, in one of TOML's forms; the number joins one of its neighbours.
    let neighbour = numbers.as_table_like()?.iter().find(|(_, item)| item.is_value());
    match (numbers, neighbour) {
        (Item::Table(table), Some((_, item))) if table.is_dotted() => after(text, item, key, value),
        (_, Some((_, item))) => after(text, item, name, value),
        (Item::Table(table), None) => Some(line_after(text, table.span()?.end, name, value)),
        (_, None) => {
            // An empty inline table: {}
            let span = numbers.span()?;
            Some(Edit { at: span, with: format!("{{ {name} = {value} }}") })
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn picked(text: &str, key: &str, value: &str) -> String {
        super::picked(Path::new("scene.toml"), text, "reeds", key, value).expect("picked")
    }

    #[test]
    fn a_value_takes_the_place_of_the_old_one() {
        let text =
            "# top\n[[slot]]\nname = 'reeds'  # them\nseed=3 # any\nsmear = { length = 4 } # x\n# end\n";
        assert_eq!(picked(text, "seed", "9"), text.replace("seed=3", "seed=9"));
        assert_eq!(picked(text, "smear.length", "5.5"), text.replace("length = 4", "length = 5.5"));
    }

    #[test]
    fn a_new_value_stands_with_its_neighbours() {
        let text = "[[slot]]\r\n  name = \"reeds\" # them\r\n  depth = 1\r\n[slot.soften]\r\nstretch = 2 # wide\r\n[[slot]]\r\nname = \"x\"\r\n";
        assert_eq!(picked(text, "seed", "9"), text.replace("# them\r\n", "# them\r\n  seed = 9\r\n"));
        assert_eq!(picked(text, "soften.sigma", "9"), text.replace("# wide\r\n", "# wide\r\nsigma = 9\r\n"));
        assert_eq!(
            picked(text, "smear.length", "9"),
            text.replace("# them\r\n", "# them\r\n  smear.length = 9\r\n")
        );
    }

    #[test]
    fn every_form_of_a_slot_can_be_written_to() {
        let inline = "slot = [{ name = \"reeds\", depth = 1 }, { name = \"x\" }]";
        assert_eq!(picked(inline, "seed", "9"), inline.replace("\"reeds\"", "\"reeds\", seed = 9"));
        let dotted = "[[slot]]\nname = \"reeds\"\nsoften.stretch = 2";
        assert_eq!(picked(dotted, "soften.sigma", "9"), format!("{dotted}\nsoften.sigma = 9"));
        let empty = "[[slot]]\nname = \"reeds\"\nsoften = {}\n";
        assert_eq!(picked(empty, "soften.sigma", "9"), empty.replace("{}", "{ sigma = 9 }"));
        let headed = "[[slot]]\nname = \"reeds\"\n[slot.soften] # none yet\n";
        assert_eq!(picked(headed, "soften.sigma", "9"), format!("{headed}sigma = 9\n"));
        // It stands in a file that the scene builds on.
        let without = "[[slot]]\nname = \"x\"\n";
        assert_eq!(
            picked(without, "seed", "9"),
            format!("{without}\n[[slot]]\nname = \"reeds\"\nseed = 9\n")
        );
        let unread = "slot = 3\n";
        assert!(super::picked(Path::new("s"), unread, "reeds", "seed", "1").is_err());
    }
}

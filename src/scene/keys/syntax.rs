//! What isn't TOML, told in plain words, and as much of the rest as can be read.
//!
//! A slip such as a bracket left open would hide all that follows it. So its line is blanked and the text is read
//! again: byte places stay the same, and what stands below is checked too.

use crate::scene::keys::shown;
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue, Error};

/// Most lines that are blanked; who left more open mends these first.
const ROUNDS: usize = 12;

/// From so many errors on, nothing is blanked: this is no scene file, and reading it again takes time.
const HOPELESS: usize = 1000;

/// One place that isn't TOML.
pub(super) struct Slip {
    pub span: Range<usize>,
    pub message: String,
    pub remedy: String,
}

/// What is wrong with a text.
#[derive(Default)]
pub(super) struct Slips {
    /// In no order.
    pub list: Vec<Slip>,
    /// Bytes that can't be trusted, sorted and apart: what is found there besides is an effect, not a cause.
    pub broken: Vec<Range<usize>>,
}

impl Slips {
    /// Whether a place can't be trusted.
    pub fn covers(&self, at: usize) -> bool {
        let after = self.broken.partition_point(|range| range.start <= at);
        after.checked_sub(1).is_some_and(|before| self.broken[before].contains(&at))
    }
}

/// Finds the slips of a text that isn't TOML throughout, and blanks in it what hides the rest.
pub(super) fn mend(text: &mut String) -> Slips {
    let mut slips = Slips::default();
    for round in 0.. {
        let (table, errors) = DeTable::parse_recoverable(text);
        let first = match round {
            0..ROUNDS if errors.len() < HOPELESS => {
                errors.iter().filter_map(|error| stop(error, table.get_ref())).min_by_key(|stop| stop.at)
            }
            _ => None,
        };
        let Some(stop) = first else {
            note_rest(text, &errors, &mut slips);
            break;
        };
        let line = line_at(text, stop.at);
        let end = if stop.heading { next_heading(text, line.end) } else { line.end };
        let sign = text.get(stop.at..line.end).and_then(|rest| rest.chars().next());
        slips.list.push(Slip {
            span: stop.at..stop.at + sign.map_or(0, char::len_utf8),
            message: stop.message.into(),
            remedy: stop.remedy.into(),
        });
        slips.broken.push(line.start..end + 1);
        let blank = " ".repeat(line.len());
        text.replace_range(line, &blank);
    }
    merge(&mut slips.broken);
    slips
}

/// A slip that hides what follows it.
struct Stop {
    at: usize,
    heading: bool,
    message: &'static str,
    remedy: &'static str,
}

fn stop(error: &Error, table: &DeTable<'_>) -> Option<Stop> {
    let at = error.span().unwrap_or(0..0).start;
    let message = error.message();
    if message.starts_with("key with no value") {
        let remedy = "Write KEY = VALUE, one per line. Comments start with #.";
        Some(Stop { at, heading: false, message: "an = is missing here", remedy })
    } else if message.starts_with("unclosed array,") || message.starts_with("unclosed inline table") {
        let message = "this bracket is never closed";
        let remedy = "Close it with ] or }, and separate its items with commas.";
        Some(Stop { at: opened_at(table, at).unwrap_or(at), heading: false, message, remedy })
    } else if message.starts_with("unclosed table") || message.starts_with("unclosed array table") {
        let remedy = "Write [air] for a table and [[slot]] for a slot.";
        Some(Stop { at, heading: true, message: "the heading's bracket is not closed", remedy })
    } else {
        None
    }
}

/// Where the outermost list or inline table starts that holds the byte before `at`.
fn opened_at(table: &DeTable<'_>, at: usize) -> Option<usize> {
    let within = |value: &Spanned<DeValue<'_>>| match value.get_ref() {
        DeValue::Array(_) | DeValue::Table(_) if value.span().start < at && at <= value.span().end => {
            Some(value.span().start)
        }
        DeValue::Table(table) => opened_at(table, at),
        DeValue::Array(array) => array.iter().find_map(|item| match item.get_ref() {
            DeValue::Table(table) => opened_at(table, at),
            _ => None,
        }),
        _ => None,
    };
    table.iter().filter_map(|(_, value)| within(value)).min()
}

/// Notes the errors that hide nothing, the first of each line.
fn note_rest(text: &str, errors: &[Error], slips: &mut Slips) {
    let mut errors: Vec<(Range<usize>, &Error)> =
        errors.iter().map(|error| (error.span().unwrap_or(0..0), error)).collect();
    errors.sort_by_key(|(span, _)| span.start);
    let mut seen_to = None;
    for (span, error) in errors {
        if seen_to.is_some_and(|end| span.start <= end) {
            continue;
        }
        let line = line_at(text, span.start);
        seen_to = Some(line.end);
        let (message, remedy) = words(error.message(), text, &span);
        slips.broken.push(line.start..line.end + 1);
        slips.list.push(Slip { span, message, remedy: remedy.into() });
    }
}

/// An error in plain words, and the remedy.
fn words(message: &str, text: &str, span: &Range<usize>) -> (String, &'static str) {
    let written = text.get(span.clone()).unwrap_or_default();
    let rest = text.get(span.start..).unwrap_or_default();
    let no_value = message.starts_with("string values must be quoted")
        || message.starts_with("invalid boolean")
        || message.starts_with("invalid float");
    if message == "duplicate key" {
        let remedy = "Keep one of the two. All keys of a table go under one heading.";
        (format!("{} is set twice", shown(written)), remedy)
    } else if no_value && written.is_empty() && rest.trim_start().starts_with('#') {
        (
            "a value is missing after =, because # starts a comment".into(),
            "Put a colour in quotes, like \"#c3ccd4\".",
        )
    } else if (no_value && written.is_empty()) || message.starts_with("missing value") {
        ("a value is missing after =".into(), "Write KEY = VALUE on one line.")
    } else if no_value {
        let remedy = "Put text in quotes. Write numbers without a unit, one value per key.";
        (format!("{} is not a value", shown(written)), remedy)
    } else if message.contains("string") {
        let remedy = "Close them on the same line, with the same kind of quotes.";
        ("the quotes are not closed".into(), remedy)
    } else if message.starts_with("missing escaped value") {
        (
            "a backslash in double quotes starts an escape sequence".into(),
            "Write / between folders of a path; elsewhere double the backslash.",
        )
    } else if message.starts_with("missing comma") {
        ("a comma is missing".into(), "Separate the values of a list with commas.")
    } else if message.starts_with("unexpected key or value") {
        let remedy = "Start a new line for the next key. Decimals take a point, not a comma.";
        ("unexpected text where the line should end".into(), remedy)
    } else if message.starts_with("invalid mantissa") || message.starts_with("invalid fraction") {
        ("the number needs digits on both sides of its point".into(), "Write 0.5, not .5, and 5, not 5.")
    } else if message.contains("recurs") {
        ("brackets or dots are nested too deeply".into(), "No key needs more than three levels.")
    } else if message.starts_with("invalid unquoted key") {
        let remedy = "Use the letters a to z, digits, - and _.";
        ("this character is not allowed in a key".into(), remedy)
    } else {
        (
            format!("not valid TOML: {message}"),
            "Write KEY = VALUE, one per line, with text in quotes and lists in [ ].",
        )
    }
}

/// The bytes of the line that holds byte `at`, without its end.
fn line_at(text: &str, at: usize) -> Range<usize> {
    let bytes = text.as_bytes();
    let at = at.min(bytes.len());
    let start = bytes[..at].iter().rposition(|byte| *byte == b'\n').map_or(0, |before| before + 1);
    let end = bytes[at..]
        .iter()
        .position(|byte| matches!(byte, b'\n' | b'\r'))
        .map_or(bytes.len(), |more| at + more);
    start..end.max(start)
}

/// Where the next line starts that begins with a bracket.
fn next_heading(text: &str, from: usize) -> usize {
    let rest = text.get(from..).unwrap_or_default();
    rest.match_indices('\n')
        .find(|(at, _)| rest[at + 1..].trim_start_matches([' ', '\t']).starts_with('['))
        .map_or(text.len(), |(at, _)| from + at)
}

/// Sorts ranges and joins those that meet.
fn merge(ranges: &mut Vec<Range<usize>>) {
    ranges.sort_by_key(|range| range.start);
    ranges.dedup_by(|later, earlier| {
        let meet = later.start <= earlier.end;
        if meet {
            earlier.end = earlier.end.max(later.end);
        }
        meet
    });
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_slip_is_told_in_plain_words_at_its_place() {
        for (line, at, message) in [
            ("name = reeds", "reeds", "\"reeds\" is not a value"),
            ("name = reeds near", "reeds near", "\"reeds near\" is not a value"),
            ("flip = True", "True", "\"True\" is not a value"),
            ("flip = truey", "truey", "\"truey\" is not a value"),
            ("x = 12px", "12px", "\"12px\" is not a value"),
            ("haze = #ccc", "", "a value is missing after =, because # starts a comment"),
            ("x =", "", "a value is missing after ="),
            ("name = \"reeds", "", "the quotes are not closed"),
            ("name = 'reeds", "", "the quotes are not closed"),
            ("art = \"a\\qb\"", "", "a backslash in double quotes starts an escape sequence"),
            ("x = [1, 2] 3", "", "unexpected text where the line should end"),
            ("x = 1,5", "", "unexpected text where the line should end"),
            ("x = .5", "", "the number needs digits on both sides of its point"),
            ("x = 5.", "", "the number needs digits on both sides of its point"),
            ("x 300", "3", "an = is missing here"),
            ("x", "\n", "an = is missing here"),
            ("view = [1, 2", "[", "this bracket is never closed"),
            ("view = { a = 1,", "{", "this bracket is never closed"),
            ("[air", "\n", "the heading's bracket is not closed"),
            ("[[slot]", "\n", "the heading's bracket is not closed"),
            ("größe = 1", "öß", "this character is not allowed in a key"),
            ("x = +-5", "-", "not valid TOML: redundant numeric sign, expected nothing"),
        ] {
            let text = format!("a = 1\n{line}\nb = 2\n");
            let mut mended = text.clone();
            let slips = mend(&mut mended);
            assert_eq!(slips.list.len(), 1, "{line}");
            let slip = &slips.list[0];
            assert_eq!(slip.message, message, "{line}");
            let span = slip.span.start..slip.span.end.max(slip.span.start);
            assert_eq!(text[span].trim_matches(' '), at.trim_matches('\n'), "{line}");
            assert_eq!(mended.len(), text.len());
            assert!(slips.covers(6) && !slips.covers(0), "{line}");
        }
    }

    #[test]
    fn what_follows_an_open_bracket_is_still_read() {
        let mut text =
            String::from("view = [1920, 1080\ntravel 3\n[[slot]\ndepth = 1\n[[slot]]\ndepth = 2\nx = no\n");
        let slips = mend(&mut text);
        let messages: Vec<&str> = slips.list.iter().map(|slip| slip.message.as_str()).collect();
        assert_eq!(
            messages,
            [
                "this bracket is never closed",
                "an = is missing here",
                "the heading's bracket is not closed",
                "\"no\" is not a value"
            ]
        );
        assert!(slips.covers(text.find("depth = 1").expect("there")));
        assert!(!slips.covers(text.find("depth = 2").expect("there")));
    }
}

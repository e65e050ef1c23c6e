//! Faults as text for people: `file:line:column: error: message`, the line with a caret under the fault, the remedy.

use crate::base::fault::{Fault, Faults};
use std::fmt;
use std::ops::Range;

/// Maximum number of faults shown; whoever has more starts with these.
const MAX_SHOWN: usize = 100;

/// Maximum characters of a line shown; chosen by eye, for a terminal of 120 columns.
const MAX_WIDTH: usize = 110;

/// Maximum characters of a long line shown before the fault; chosen by eye.
const MAX_BEFORE: usize = 50;

/// Columns of a tab.
const TAB: &str = "    ";

const BOLD: &str = "1";
const RED: &str = "1;31";
const CYAN: &str = "1;36";

/// All faults, separated by blank lines; `colour` adds terminal colours.
pub fn render(faults: &Faults, colour: bool) -> String {
    let mut parts: Vec<String> =
        faults.list.iter().take(MAX_SHOWN).map(|fault| one(faults, fault, colour)).collect();
    match faults.list.len().saturating_sub(MAX_SHOWN) {
        0 => {}
        1 => parts.push("note: 1 more error is not shown".into()),
        more => parts.push(format!("note: {more} more errors are not shown")),
    }
    parts.join("\n\n")
}

impl fmt::Display for Faults {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&render(self, false))
    }
}

fn one(faults: &Faults, fault: &Fault, colour: bool) -> String {
    let paint = |code: &str, text: &str| match colour {
        true => format!("\u{1b}[{code}m{text}\u{1b}[0m"),
        false => text.to_owned(),
    };
    let source = faults.sources.iter().find(|(file, _)| Some(file) == fault.file.as_ref());
    let excerpt = fault.span.as_ref().zip(source).map(|(span, (_, text))| Excerpt::new(text, span));
    let mut head = String::new();
    if let Some(file) = &fault.file {
        let place = excerpt.as_ref().map_or(String::new(), |at| format!("{}:{}:", at.line, at.column));
        head = paint(BOLD, &format!("{}:{place}", escape(&file.to_string_lossy()))) + " ";
    }
    let mut lines = vec![format!("{head}{} {}", paint(RED, "error:"), paint(BOLD, &escape(&fault.message)))];
    if let Some(Excerpt { line, text, indent, carets, .. }) = &excerpt {
        let number = line.to_string();
        let (gutter, blank) = (format!("  {number} |"), format!("  {:1$} |", "", number.len()));
        lines.push(format!("{} {text}", paint(CYAN, &gutter)));
        let marks = paint(RED, &"^".repeat(*carets));
        lines.push(format!("{} {:indent$}{marks}", paint(CYAN, &blank), ""));
    }
    if !fault.remedy.is_empty() {
        lines.push(format!("  {} {}", paint(CYAN, "help:"), escape(&fault.remedy)));
    }
    lines.join("\n")
}

/// The part of a source line around a fault, as it is shown.
struct Excerpt {
    /// Number of the line, from 1.
    line: usize,
    /// The character of the line at which the fault begins, from 1.
    column: usize,
    /// What is shown of the line.
    text: String,
    /// Terminal columns before the carets.
    indent: usize,
    /// Terminal columns under which there is a caret; at least 1.
    carets: usize,
}

impl Excerpt {
    /// Of the first line that `span` touches. Any span will do: one that ends before it starts, or lies outside the text.
    fn new(source: &str, span: &Range<usize>) -> Excerpt {
        let start = floor(source, span.start);
        let line_start = source[..start].rfind('\n').map_or(0, |at| at + 1);
        let rest = &source[start..];
        let rest = rest[..rest.find('\n').unwrap_or(rest.len())].trim_end_matches('\r');
        let length = floor(rest, span.end.saturating_sub(start));

        let before = &source[line_start..start];
        let from = before.char_indices().rev().take(MAX_BEFORE).last().map_or(0, |(at, _)| at);
        let room = MAX_WIDTH - before[from..].chars().count();
        let to = rest.char_indices().nth(room).map_or(rest.len(), |(at, _)| at);
        let cut = |is_cut: bool| if is_cut { "…" } else { "" };
        let lead = format!("{}{}", cut(from > 0), escape(&before[from..]));
        Excerpt {
            line: line(source.as_bytes(), start),
            column: 1 + before.chars().count(),
            indent: columns(&lead),
            carets: columns(&escape(&rest[..length.min(to)])).max(1),
            text: format!("{lead}{}{}", escape(&rest[..to]), cut(to < rest.len())),
        }
    }
}

/// The number, from 1, of the line that byte `at` of a text lies in; beyond its end, that of the last.
pub fn line(text: &[u8], at: usize) -> usize {
    1 + text[..at.min(text.len())].iter().filter(|byte| **byte == b'\n').count()
}

/// The nearest start of a character at or before byte `at`, in `text`.
fn floor(text: &str, at: usize) -> usize {
    (0..=at.min(text.len())).rev().find(|at| text.is_char_boundary(*at)).unwrap_or(0)
}

/// Text of several lines as a terminal may show it: whatever it quotes, only its own line ends move the cursor.
pub fn clean(text: &str) -> String {
    text.split('\n').map(escape).collect::<Vec<_>>().join("\n")
}

/// JSON without a character that a terminal would act on; its values stay the same.
pub fn clean_json(text: &str) -> String {
    let mut clean = String::with_capacity(text.len());
    for c in text.chars() {
        if c != '\n' && (c.is_control() || is_invisible(c)) {
            let mut units = [0; 2];
            clean.extend(c.encode_utf16(&mut units).iter().map(|unit| format!("\\u{unit:04x}")));
        } else {
            clean.push(c);
        }
    }
    clean
}

/// `text` with four spaces for a tab, and escapes for what would move the cursor, turn the direction of text, or hide.
pub fn escape(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '\t' => escaped.push_str(TAB),
            _ if c.is_control() || is_invisible(c) => escaped.extend(c.escape_unicode()),
            _ => escaped.push(c),
        }
    }
    escaped
}

/// Characters that turn the direction of text, join, break or hide: Unicode's formats and separators.
fn is_invisible(c: char) -> bool {
    matches!(c, '\u{ad}' | '\u{61c}' | '\u{180e}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}'
        | '\u{2060}'..='\u{206f}' | '\u{feff}' | '\u{fff9}'..='\u{fffb}' | '\u{e0000}'..='\u{e007f}')
}

/// Columns that `text` takes on a terminal: two for a wide character, none for a mark over another.
fn columns(text: &str) -> usize {
    let width = |c: char| match c {
        '\u{300}'..='\u{36f}' | '\u{1ab0}'..='\u{1aff}' | '\u{1dc0}'..='\u{1dff}' => 0,
        '\u{20d0}'..='\u{20ff}' | '\u{fe00}'..='\u{fe0f}' | '\u{fe20}'..='\u{fe2f}' => 0,
        '\u{1100}'..='\u{115f}' | '\u{2e80}'..='\u{a4cf}' | '\u{ac00}'..='\u{d7a3}' => 2,
        '\u{f900}'..='\u{faff}' | '\u{fe30}'..='\u{fe6f}' | '\u{ff00}'..='\u{ff60}' => 2,
        '\u{ffe0}'..='\u{ffe6}' | '\u{1f300}'..='\u{1f64f}' | '\u{1f680}'..='\u{1faff}' => 2,
        '\u{20000}'..='\u{3fffd}' => 2,
        _ => 1,
    };
    text.chars().map(width).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::fault::Class;

    fn shown(text: &str, span: Range<usize>) -> String {
        let fault = Fault::new(Class::Scene, "Wrong").in_file("a.toml").at(Some(span)).remedy("Fix it.");
        render(&Faults::from(fault).with_source("a.toml", text), false)
    }

    /// The line shown and the columns of its carets, both behind the gutter.
    fn line_and_carets(text: &str, span: Range<usize>) -> (String, Range<usize>) {
        let report = shown(text, span);
        let behind =
            |at: usize| report.lines().nth(at).and_then(|line| line.split_once("| ")).expect("a gutter").1;
        (behind(1).to_owned(), behind(2).find('^').expect("carets")..behind(2).len())
    }

    #[test]
    fn a_place_is_shown_with_its_line() {
        assert_eq!(
            shown("a = 1\nb = -2\n", 10..12),
            "a.toml:2:5: error: Wrong\n  2 | b = -2\n    |     ^^\n  help: Fix it."
        );
    }

    #[test]
    fn no_span_and_no_text_panics() {
        for text in ["", "\n", "ä = 1", "a\r\nb\r\n", "\t\u{202e}x\u{0}", "a\n\n", "日本 = 1"] {
            for start in (0..9).chain([usize::MAX]) {
                for end in [0, start, start.saturating_add(1), 50, usize::MAX] {
                    let report = shown(text, start..end);
                    assert!(report.starts_with("a.toml:") && report.contains(": error: Wrong\n"), "{report}");
                    assert!(report.contains('^') && report.lines().count() == 4, "{report}");
                }
            }
        }
    }

    #[test]
    fn carets_are_under_the_fault_behind_tabs_and_wide_or_escaped_characters() {
        assert_eq!(line_and_carets("\ta = 1", 5..6), ("    a = 1".into(), 8..9));
        assert_eq!(line_and_carets("日本 = 1", 9..10), ("日本 = 1".into(), 7..8));
        assert_eq!(line_and_carets("e\u{301} = 1", 6..7), ("e\u{301} = 1".into(), 4..5));
        assert_eq!(line_and_carets("a\u{1b}\u{202e}b", 5..6), ("a\\u{1b}\\u{202e}b".into(), 15..16));
        assert_eq!(line_and_carets("a = 日本", 4..10), ("a = 日本".into(), 4..8));
    }

    #[test]
    fn a_long_line_is_shown_around_the_fault() {
        let text = format!("a = \"{}", "ä".repeat(5000));
        let (line, carets) = line_and_carets(&text, 1005..usize::MAX);
        assert_eq!(line, format!("…{}…", "ä".repeat(MAX_WIDTH)));
        assert_eq!(carets, MAX_BEFORE + 1..MAX_WIDTH + 1);
        assert!(shown(&text, 1005..1007).starts_with("a.toml:1:506: "));
        assert!(line_and_carets(&text, 0..1).0.starts_with("a = \"ää"));
    }

    #[test]
    fn nothing_of_a_text_moves_the_cursor() {
        let fault = Fault::new(Class::Scene, "a\u{1b}[2J").in_file("b\u{202e}c\n").remedy("d\u{7}");
        let report = Faults::from(fault).to_string();
        assert_eq!(report, "b\\u{202e}c\\u{a}: error: a\\u{1b}[2J\n  help: d\\u{7}");
    }

    #[test]
    fn a_fault_without_a_place_names_its_file_alone() {
        let fault = Fault::new(Class::Output, "The folder is full").in_file("out").remedy("Make room.");
        let faults = Faults { list: vec![fault, Fault::new(Class::Usage, "Odd")], sources: Vec::new() };
        assert_eq!(faults.to_string(), "out: error: The folder is full\n  help: Make room.\n\nerror: Odd");
    }

    #[test]
    fn endless_lists_are_cut_with_a_note() {
        let list = vec![Fault::new(Class::Scene, "Wrong"); 130];
        let report = render(&Faults { list, sources: Vec::new() }, false);
        assert_eq!(report.matches("error: Wrong").count(), 100);
        assert!(report.ends_with("\n\nnote: 30 more errors are not shown"), "{report}");
    }

    #[test]
    fn colour_is_added_only_if_wanted() {
        let faults = Faults::from(Fault::new(Class::Scene, "Wrong"));
        assert!(render(&faults, true).contains('\u{1b}'));
        assert!(!render(&faults, false).contains('\u{1b}'));
    }
}

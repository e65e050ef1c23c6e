//! Faults as text: the file, the place, the line itself and the remedy.

use crate::base::fault::{Fault, Faults};
use annotate_snippets::{AnnotationKind, Element, Group, Level, Origin, Renderer, Snippet};
use std::ops::Range;

/// Most faults that are shown; who has more mends these first.
const MOST: usize = 100;

/// Most bytes of a line that are shown, around the fault.
const WIDEST: usize = 400;

/// All faults as text for people, one after the other; `colour` adds terminal colours.
pub fn render(faults: &Faults, colour: bool) -> String {
    let renderer = if colour { Renderer::styled().hyperlink(false) } else { Renderer::plain() };
    let mut parts: Vec<String> =
        faults.list.iter().take(MOST).map(|fault| one(faults, fault, &renderer)).collect();
    if let Some(more) = faults.list.len().checked_sub(MOST).filter(|more| *more > 0) {
        let title = Level::NOTE.primary_title(format!("{more} more faults are not shown"));
        parts.push(renderer.render(&[Group::with_title(title)]));
    }
    parts.join("\n\n")
}

fn one(faults: &Faults, fault: &Fault, renderer: &Renderer) -> String {
    let file = fault.file.as_ref().map(|file| file.display().to_string());
    let source = faults.sources.iter().find(|(file, _)| Some(file) == fault.file.as_ref());
    let shown = match (&fault.span, source) {
        (Some(span), Some((_, text))) => Some(Shown::new(text, span)),
        _ => None,
    };
    let mut group = Group::with_title(Level::ERROR.primary_title(fault.message.as_str()));
    match (&shown, file) {
        (Some(Shown::Line { line, number, span }), file) => {
            let snippet = Snippet::source(*line)
                .line_start(*number)
                .path(file)
                .annotation(AnnotationKind::Primary.span(span.clone()));
            group = group.element(Element::from(snippet));
        }
        (Some(Shown::Place { line, column }), Some(file)) => {
            group = group.element(Element::from(Origin::path(file).line(*line).char_column(*column)));
        }
        (_, Some(file)) => group = group.element(Element::from(Origin::path(file))),
        (_, None) => {}
    }
    if !fault.remedy.is_empty() {
        group = group.element(Element::from(Level::HELP.message(fault.remedy.as_str())));
    }
    renderer.render(&[group])
}

/// How the place of a fault is shown.
enum Shown<'a> {
    /// The line, its number and the bytes at fault in it.
    Line { line: &'a str, number: usize, span: Range<usize> },
    /// Line and column alone, where the line is too long to show.
    Place { line: usize, column: usize },
}

impl<'a> Shown<'a> {
    /// The first line that `span` touches; whatever the span, nothing panics.
    fn new(text: &'a str, span: &Range<usize>) -> Shown<'a> {
        let floor = |mut at: usize| {
            at = at.min(text.len());
            while !text.is_char_boundary(at) {
                at -= 1;
            }
            at
        };
        let (start, end) = (floor(span.start), floor(span.end.max(span.start)));
        let line_start = text[..start].rfind('\n').map_or(0, |at| at + 1);
        let line_end = text[start..].find('\n').map_or(text.len(), |at| start + at);
        let number = 1 + text[..line_start].bytes().filter(|byte| *byte == b'\n').count();
        let line = text[line_start..line_end].trim_end_matches('\r');
        if line.len() > WIDEST {
            return Shown::Place { line: number, column: 1 + text[line_start..start].chars().count() };
        }
        let within = |at: usize| at.saturating_sub(line_start).min(line.len());
        Shown::Line { line, number, span: within(start)..within(end) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::fault::Class;

    fn shown(text: &str, span: Range<usize>) -> String {
        let fault = Fault::new(Class::Scene, "Wrong").in_file("a.toml").at(Some(span)).remedy("Mend it");
        render(&Faults::from(fault).with_source("a.toml", text), false)
    }

    #[test]
    fn a_place_is_shown_with_its_line() {
        assert_eq!(
            shown("a = 1\nb = -2\n", 10..12),
            "error: Wrong\n --> a.toml:2:5\n  |\n2 | b = -2\n  |     ^^\n  |\n  = help: Mend it"
        );
    }

    #[test]
    fn no_span_and_no_text_panics() {
        let texts = ["", "\n", "ä = 1", "a\r\nb\r\n", "\t\u{202e}x\u{0}", "a\n\n"];
        for text in texts {
            for start in 0..9 {
                for end in [0, start, start + 1, 50, usize::MAX] {
                    let report = shown(text, start..end);
                    assert!(report.contains("error: Wrong") && report.contains("a.toml"), "{report}");
                }
            }
        }
    }

    #[test]
    fn of_a_very_long_line_the_place_alone_is_shown() {
        let report = shown(&format!("a = 1\nb = {}", "ä".repeat(5000)), 12..14);
        assert!(report.contains("a.toml:2:6"), "{report}");
        assert!(report.len() < 200, "{report}");
    }

    #[test]
    fn a_fault_without_a_place_names_its_file_alone() {
        let fault = Fault::new(Class::Output, "The folder is full").in_file("out").remedy("Make room.");
        let report = Faults::from(fault).to_string();
        assert!(report.contains("out") && report.contains("help: Make room."), "{report}");
        assert_eq!(Faults::from(Fault::new(Class::Usage, "Odd")).to_string(), "error: Odd");
    }

    #[test]
    fn endless_lists_are_cut_with_a_note() {
        let list = vec![Fault::new(Class::Scene, "Wrong"); 130];
        let report = render(&Faults { list, sources: Vec::new() }, false);
        assert_eq!(report.matches("error: Wrong").count(), 100);
        assert!(report.ends_with("note: 30 more faults are not shown"), "{report}");
    }

    #[test]
    fn colour_is_added_only_if_wanted() {
        let faults = Faults::from(Fault::new(Class::Scene, "Wrong"));
        assert!(render(&faults, true).contains('\u{1b}'));
        assert!(!render(&faults, false).contains('\u{1b}'));
    }
}

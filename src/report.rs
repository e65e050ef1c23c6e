//! Faults as text: the file, the place, the line itself and the remedy.

use crate::fault::{Fault, Faults};
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

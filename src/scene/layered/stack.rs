//! The layer stack: `stack.xml`.

use crate::base::fault::{Class, Fault};
use crate::base::limits::Limits;
use crate::scene::layered::{Layer, Layered};
use resvg::usvg::roxmltree::{Document, Node, ParsingOptions};

/// Most elements of a stack.
const MOST_NODES: u32 = 100_000;
/// Deepest nesting of stacks.
const DEEPEST: usize = 64;

/// What the stacks around a layer do to it.
#[derive(Clone, Copy)]
struct Around {
    x: i64,
    y: i64,
    visible: bool,
    opacity: f64,
}

/// Reads the text of `stack.xml`.
pub(super) fn read(text: &str, limits: &Limits) -> Result<Layered, Fault> {
    let options = ParsingOptions { allow_dtd: false, nodes_limit: MOST_NODES, ..Default::default() };
    let document = Document::parse_with_options(text, options)
        .map_err(|error| broken(format!("its stack.xml is malformed: {error}")))?;
    let image = document.root_element();
    if image.tag_name().name() != "image" {
        return Err(broken("its stack.xml has no image element".into()));
    }
    let side = |name: &str| {
        let value: Option<u32> = image.attribute(name).and_then(|text| text.trim().parse().ok());
        value
            .filter(|side| (1..=limits.side).contains(side))
            .ok_or_else(|| broken(format!("its stack.xml has no `{name}` from 1 to {}", limits.side)))
    };
    let size = [side("w")?, side("h")?];
    let mut layers = Vec::new();
    let outside = Around { x: 0, y: 0, visible: true, opacity: 1.0 };
    for stack in elements(image, "stack") {
        gather(stack, outside, 0, &mut layers)?;
    }
    Ok(Layered { size, layers })
}

fn gather(stack: Node<'_, '_>, outside: Around, depth: usize, into: &mut Vec<Layer>) -> Result<(), Fault> {
    if depth > DEEPEST {
        return Err(broken(format!("its stacks are nested more than {DEEPEST} levels deep")));
    }
    for node in stack.children().filter(Node::is_element) {
        // Stacks had offsets up to draft 0.0.3; they add up.
        let around = Around {
            x: outside.x.saturating_add(whole(node, "x")),
            y: outside.y.saturating_add(whole(node, "y")),
            visible: outside.visible && node.attribute("visibility") != Some("hidden"),
            opacity: outside.opacity * number(node, "opacity").unwrap_or(1.0).clamp(0.0, 1.0),
        };
        match node.tag_name().name() {
            "stack" => gather(node, around, depth + 1, into)?,
            "layer" => {
                let src = node.attribute("src").unwrap_or_default().to_owned();
                let name = node.attribute("name").map(str::trim).filter(|name| !name.is_empty());
                let mut unlike = Vec::new();
                if around.opacity < 1.0 {
                    unlike.push(format!("its opacity of {:.3}", around.opacity));
                }
                if let Some(other) = node.attribute("composite-op").filter(|op| *op != "svg:src-over") {
                    unlike.push(format!("its blend mode, {other}"));
                }
                if src.is_empty() {
                    return Err(broken("a layer in its stack.xml has no picture".into()));
                }
                into.push(Layer {
                    name: name.unwrap_or(&src).to_owned(),
                    src,
                    x: around.x,
                    y: around.y,
                    visible: around.visible,
                    unlike,
                });
            }
            // Text and filters were proposed, never taken up.
            _ => {}
        }
    }
    Ok(())
}

fn elements<'a, 'i>(node: Node<'a, 'i>, name: &'static str) -> impl Iterator<Item = Node<'a, 'i>> {
    node.children().filter(move |child| child.tag_name().name() == name)
}

fn number(node: Node<'_, '_>, name: &str) -> Option<f64> {
    node.attribute(name)?.trim().parse().ok().filter(|value: &f64| value.is_finite())
}

/// Whole px; the draft allows nothing else, some programs write fractions.
fn whole(node: Node<'_, '_>, name: &str) -> i64 {
    number(node, name).map_or(0, |value| value.round().clamp(-1e7, 1e7) as i64)
}

fn broken(message: String) -> Fault {
    Fault::new(Class::Picture, message).remedy("Save it again as OpenRaster (.ora).")
}

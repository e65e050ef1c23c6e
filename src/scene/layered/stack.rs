//! The layer stack: `stack.xml`.

use crate::base::fault::{Class, Fault};
use crate::base::limits::Limits;
use crate::scene::layered::{Layer, Layered, Part};
use crate::scene::pictures::has_crowded_tag;
use roxmltree::{Document, Node, ParsingOptions};

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
    if has_crowded_tag(text) {
        return Err(broken("an element of its stack.xml has thousands of attributes".into()));
    }
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
    let outside = Around { x: 0, y: 0, visible: true, opacity: 1.0 };
    let mut nodes = Vec::new();
    for stack in elements(image, "stack") {
        nodes.extend(entries(stack, outside.within(stack)));
    }
    // A painting that lies in one group as a whole has its layers in there.
    while let [(node, around)] = nodes[..]
        && node.tag_name().name() == "stack"
    {
        nodes = entries(node, around);
        if nodes.is_empty() {
            break;
        }
    }
    let mut layered = Layered { size, layers: Vec::new(), inner: Vec::new() };
    for (node, around) in nodes {
        let mut leaves = Vec::new();
        gather(node, around, 0, &mut leaves)?;
        if node.tag_name().name() == "stack" {
            layered.layers.extend(group(node, around, &leaves));
            layered.inner.append(&mut leaves);
        } else {
            layered.layers.append(&mut leaves);
        }
    }
    Ok(layered)
}

impl Around {
    /// What holds within `node`. Stacks had offsets up to draft 0.0.3; they add up.
    fn within(self, node: Node<'_, '_>) -> Around {
        Around {
            x: self.x.saturating_add(whole(node, "x")),
            y: self.y.saturating_add(whole(node, "y")),
            visible: self.visible && node.attribute("visibility") != Some("hidden"),
            opacity: self.opacity * number(node, "opacity").unwrap_or(1.0).clamp(0.0, 1.0),
        }
    }
}

/// The layers and stacks of a stack, each with what holds in it. Text and filters were proposed, never taken up.
fn entries<'a, 'i>(stack: Node<'a, 'i>, outside: Around) -> Vec<(Node<'a, 'i>, Around)> {
    let known = stack.children().filter(|node| matches!(node.tag_name().name(), "stack" | "layer"));
    known.map(|node| (node, outside.within(node))).collect()
}

/// A group as one layer: all that is shown in it. None if that is nothing.
fn group(node: Node<'_, '_>, around: Around, leaves: &[Layer]) -> Option<Layer> {
    // A hidden group keeps what would be seen if it were shown.
    let shown = leaves.iter().filter(|leaf| leaf.visible || !around.visible);
    let parts: Vec<Part> = shown.clone().flat_map(|leaf| leaf.parts.clone()).collect();
    let first = parts.first()?;
    let mut unlike: Vec<String> = mixing(node).into_iter().collect();
    for leaf in shown {
        unlike.extend(leaf.unlike.iter().map(|what| format!("{}: {what}", leaf.name)));
    }
    Some(Layer {
        name: name(node).unwrap_or("group").to_owned(),
        x: parts.iter().fold(first.x, |least, part| least.min(part.x)),
        y: parts.iter().fold(first.y, |least, part| least.min(part.y)),
        visible: around.visible,
        unlike,
        parts,
        group: true,
        place: leaves[0].place,
    })
}

/// Adds the layer that `node` is, or all that lie in it.
fn gather(node: Node<'_, '_>, around: Around, depth: usize, into: &mut Vec<Layer>) -> Result<(), Fault> {
    if depth > DEEPEST {
        return Err(broken(format!("its stacks are nested more than {DEEPEST} levels deep")));
    }
    if node.tag_name().name() == "stack" {
        return entries(node, around)
            .into_iter()
            .try_for_each(|(node, around)| gather(node, around, depth + 1, into));
    }
    let src = node.attribute("src").unwrap_or_default().to_owned();
    if src.is_empty() {
        return Err(broken("a layer in its stack.xml has no picture".into()));
    }
    let Around { x, y, visible, opacity } = around;
    into.push(Layer {
        name: name(node).unwrap_or(&src).to_owned(),
        x,
        y,
        visible,
        unlike: mixing(node).into_iter().collect(),
        parts: vec![Part { src, x, y, opacity }],
        group: false,
        place: node.range().start,
    });
    Ok(())
}

fn name<'a>(node: Node<'a, '_>) -> Option<&'a str> {
    node.attribute("name").map(str::trim).filter(|name| !name.is_empty())
}

/// How it is mixed with what is below, where that isn't drawing it over.
fn mixing(node: Node<'_, '_>) -> Option<String> {
    let other = node.attribute("composite-op").filter(|op| *op != "svg:src-over")?;
    Some(format!("its blend mode, {other}"))
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

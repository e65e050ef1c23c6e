//! Checks an SVG's elements and what they refer to, before the library follows the references by recursion.

use crate::base::fault::{Class, Fault};
use crate::scene::pictures::cost::references::{StyleSheet, Use, references};
use crate::scene::pictures::cost::{MOST_NODES, too_many};
use resvg::usvg::roxmltree::{Document, Node};
use std::collections::HashMap;

/// Most levels of elements inside each other, references followed. Drawings by hand have a few dozen. The library's
/// recursion takes less than 64 KB of stack for each.
const MOST_LEVELS: u32 = 512;

/// Most comparisons of an element with a style sheet's rule.
const MOST_STYLING: u64 = 200_000_000;

/// Most paints and markers that a shape is taken to inherit, the nearest ones; five properties can be inherited.
const MOST_INHERITED: usize = 8;

/// Refuses references in a circle, too many levels, and too many elements once all references are followed.
pub(in crate::scene::pictures) fn check_references(document: &Document) -> Result<(), Fault> {
    let sheet = StyleSheet::new(document);
    let nodes: Vec<Node> = document.descendants().collect();
    // A rule is compared with each class of a list; with a class of four letters and a space as one.
    let classes = |node: &Node| node.attribute("class").map_or(0, str::len) as u64 / 5;
    let compared: u64 = nodes.iter().map(|node| 1 + classes(node)).sum();
    if (sheet.rules_count as u64).saturating_mul(compared) > MOST_STYLING {
        return Err(Fault::new(
            Class::Limit,
            "the SVG's style sheet has too many rules for so many elements",
        )
        .remedy("Save it with presentation attributes instead of a style sheet, or as PNG."));
    }
    let items = items(&nodes, &sheet);
    let mut graph = Graph { states: vec![State::New; items.len()], items, nodes, document };
    (0..graph.nodes.len()).try_for_each(|at| graph.visit(at, 0).map(drop))
}

/// A node, as far as it costs something.
struct Item {
    /// Its children and what it refers to.
    edges: Vec<(Use, usize)>,
    /// What its paints and markers refer to, and those that it inherits.
    passed_on: Vec<usize>,
    shape: bool,
    vertices: f64,
}

/// The nodes with their edges, each at its number in the document.
fn items(nodes: &[Node], sheet: &StyleSheet) -> Vec<Item> {
    let mut ids: HashMap<&str, usize> = HashMap::new();
    for (at, node) in nodes.iter().enumerate() {
        node.attribute("id").map(|id| *ids.entry(id).or_insert(at));
    }
    let mut items: Vec<Item> = Vec::with_capacity(nodes.len());
    for (at, node) in nodes.iter().enumerate() {
        let shape = matches!(
            node.tag_name().name(),
            "path" | "rect" | "circle" | "ellipse" | "line" | "polyline" | "polygon" | "text"
        );
        let named = references(*node, sheet).into_iter();
        let mut edges: Vec<_> = named.filter_map(|(how, id)| Some((how, *ids.get(id)?))).collect();
        let mut passed_on: Vec<usize> =
            edges.iter().filter(|(how, _)| *how != Use::Once).map(|(_, to)| *to).collect();
        if let Some(parent) = node.parent().map(|parent| parent.id().get_usize()) {
            let inherited = items[parent].passed_on.iter().take(MOST_INHERITED);
            passed_on.extend(inherited.clone());
            if shape {
                edges.extend(inherited.map(|to| (Use::Inherited, *to)));
            }
            items[parent].edges.push((Use::Once, at));
        }
        let geometry = ["d", "points"].iter().filter_map(|name| node.attribute(*name)).map(str::len).max();
        // A vertex takes at least two characters; a rectangle has no more than ten.
        let vertices = if shape { geometry.unwrap_or(0) as f64 / 2.0 + 10.0 } else { 0.0 };
        items.push(Item { edges, passed_on, shape, vertices });
    }
    items
}

/// What a node comes to with all it refers to.
#[derive(Clone, Copy)]
struct Sum {
    elements: f64,
    shapes: f64,
    vertices: f64,
    levels: u32,
}

/// How far a node is summed up.
#[derive(Clone, Copy)]
enum State {
    New,
    Open,
    Done(Sum),
}

struct Graph<'a> {
    document: &'a Document<'a>,
    nodes: Vec<Node<'a, 'a>>,
    items: Vec<Item>,
    states: Vec<State>,
}

impl Graph<'_> {
    /// Sums up a node, `depth` levels below the first.
    fn visit(&mut self, at: usize, depth: u32) -> Result<Sum, Fault> {
        match self.states[at] {
            State::Done(sum) => return Ok(sum),
            State::Open => return Err(self.circle(self.nodes[at])),
            State::New if depth > MOST_LEVELS => return Err(too_deep()),
            State::New => self.states[at] = State::Open,
        }
        let Item { edges, shape, vertices, .. } = &mut self.items[at];
        let (edges, shapes) = (std::mem::take(edges), f64::from(u8::from(*shape)));
        let mut sum = Sum { elements: 1.0, shapes, vertices: *vertices, levels: 0 };
        let mut parts = Vec::with_capacity(edges.len());
        for (how, to) in edges {
            let part = self.visit(to, depth + 1)?;
            sum.levels = sum.levels.max(part.levels + 1);
            if how == Use::Once {
                sum.elements += part.elements;
                sum.shapes += part.shapes;
                sum.vertices += part.vertices;
            } else {
                parts.push((how, part));
            }
        }
        for (how, part) in parts {
            sum.elements += match how {
                Use::Once | Use::Inherited => 0.0,
                // A gradient is no element to draw; a pattern is drawn for each shape.
                Use::Paint if part.shapes == 0.0 => 1.0,
                Use::Paint => part.elements * sum.shapes,
                Use::Marker => part.elements * sum.vertices,
            };
        }
        if sum.elements > f64::from(MOST_NODES) {
            return Err(too_many());
        }
        if sum.levels > MOST_LEVELS {
            return Err(too_deep());
        }
        self.states[at] = State::Done(sum);
        Ok(sum)
    }

    fn circle(&self, node: Node) -> Fault {
        let line = self.document.text_pos_at(node.range().start).row;
        let name = node.attribute("id").unwrap_or(node.tag_name().name());
        Fault::new(Class::Picture, format!("the SVG's element {name:?} (line {line}) refers to itself"))
            .remedy("Remove the circular reference, or save it as PNG.")
    }
}

fn too_deep() -> Fault {
    Fault::new(Class::Limit, format!("the SVG's elements are nested more than {MOST_LEVELS} levels deep"))
        .remedy("Ungroup some of them, or save it as PNG.")
}

//! Checks an SVG's elements and what they refer to, before the library follows the references by recursion.

use crate::base::fault::{Class, Fault};
use crate::scene::pictures::cost::references::{StyleSheet, Use, references};
use crate::scene::pictures::cost::{MOST_NODES, too_many};
use roxmltree::{Document, Node};
use std::collections::HashMap;

/// Most levels of elements inside each other, references followed. Drawings by hand have a few dozen. The library's
/// recursion takes less than 64 KB of stack for each.
const MOST_LEVELS: u32 = 512;

/// Most paints and markers that a shape is taken to inherit, the nearest ones; five properties can be inherited.
const MOST_INHERITED: usize = 8;

/// Refuses references in a circle, too many levels, and too many elements once all references are followed.
pub(in crate::scene::pictures) fn check_references(document: &Document) -> Result<(), Fault> {
    let sheet = StyleSheet::new(document);
    let nodes: Vec<Node> = document.descendants().collect();
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
            edges.iter().filter(|(how, _)| *how == Use::Paint).map(|(_, to)| *to).collect();
        if let Some(parent) = node.parent().map(|parent| parent.id().get_usize()) {
            let inherited = items[parent].passed_on.iter().take(MOST_INHERITED);
            passed_on.extend(inherited.clone());
            if shape {
                edges.extend(inherited.map(|to| (Use::Paint, *to)));
            }
            items[parent].edges.push((Use::Once, at));
        }
        items.push(Item { edges, passed_on });
    }
    items
}

/// What a node comes to with all it refers to.
#[derive(Clone, Copy)]
struct Sum {
    elements: f64,
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
        let mut sum = Sum { elements: 1.0, levels: 0 };
        for (how, to) in std::mem::take(&mut self.items[at].edges) {
            let part = self.visit(to, depth + 1)?;
            sum.levels = sum.levels.max(part.levels + 1);
            // A paint is read once, wherever it is used.
            if how == Use::Once {
                sum.elements += part.elements;
            }
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

//! Checks an SVG's elements and what they refer to, before the library follows the references by recursion.

use crate::base::fault::{Class, Fault};
use crate::scene::pictures::gauge::refs::{self, Sheet, Via};
use crate::scene::pictures::gauge::{MOST_NODES, too_many};
use resvg::usvg::roxmltree::{Document, Node};
use std::collections::HashMap;

/// Most levels of elements inside each other, references followed. Drawings by hand have a few dozen. The library's
/// recursion takes less than 64 KB of stack for each.
const MOST_LEVELS: u32 = 512;

/// Most comparisons of an element with a style sheet's rule.
const MOST_STYLING: u64 = 200_000_000;

/// Checks the text's elements; gives warnings of what isn't drawn.
pub(in crate::scene::pictures) fn document(document: &Document) -> Result<Vec<String>, Fault> {
    let sheet = Sheet::of(document);
    let graph = Graph::of(document, &sheet);
    if sheet.rules_count as u64 * graph.items.len() as u64 > MOST_STYLING {
        return Err(Fault::new(
            Class::Limit,
            "the SVG's style sheet has too many rules for so many elements",
        )
        .remedy("Save it with presentation attributes instead of a style sheet, or as PNG."));
    }
    graph.check()?;
    Ok(warnings(document))
}

/// What isn't drawn, each with the line where it first stands.
fn warnings(document: &Document) -> Vec<String> {
    const KINDS: [(&str, &[&str], &str); 4] = [
        ("text", &["text"], "convert it to paths"),
        (
            "an embedded or linked picture",
            &["image", "feImage"],
            "put it in a slot of its own, or save the whole as PNG",
        ),
        ("a foreign object", &["foreignObject"], "convert it to paths"),
        (
            "an animation",
            &["animate", "animateTransform", "animateMotion", "set"],
            "the drawing is used without it",
        ),
    ];
    let mut found = [None; KINDS.len()];
    let mut outside = None;
    for node in document.descendants().filter(Node::is_element) {
        let name = node.tag_name().name();
        let link =
            node.attributes().find(|attribute| attribute.name() == "href").map(|found| found.value().trim());
        let inside = link.is_none_or(|link| link.starts_with('#'));
        for ((_, names, _), first) in KINDS.iter().zip(&mut found) {
            let written = name != "text"
                || node
                    .descendants()
                    .any(|node| node.is_text() && node.text().is_some_and(|t| !t.trim().is_empty()));
            // feImage draws elements of the drawing itself.
            if first.is_none() && names.contains(&name) && written && !(name == "feImage" && inside) {
                *first = Some(node);
            }
        }
        if outside.is_none() && !inside && !matches!(name, "a" | "image" | "feImage" | "script") {
            outside = Some(node);
        }
    }
    let line = |node: Node| document.text_pos_at(node.range().start).row;
    let mut warnings = Vec::new();
    for ((what, _, remedy), node) in KINDS.iter().zip(found) {
        if let Some(node) = node {
            warnings.push(format!("{what} is not drawn (line {}): {remedy}", line(node)));
        }
    }
    if let Some(node) = outside {
        warnings.push(format!(
            "content of another file is not drawn (line {}): copy it into this one",
            line(node)
        ));
    }
    warnings
}

/// An element.
struct Item<'a> {
    id: &'a str,
    line_of: usize,
    children: Vec<usize>,
    refs: Vec<(Via, usize)>,
    /// What ancestors' paints and markers refer to, for shapes.
    inherited: Vec<usize>,
    shape: bool,
    vertices: f64,
}

/// What an element comes to with all it refers to.
#[derive(Clone, Copy, Default)]
struct Sum {
    elements: f64,
    shapes: f64,
    vertices: f64,
    levels: u32,
}

struct Graph<'a> {
    document: &'a Document<'a>,
    items: Vec<Item<'a>>,
}

impl<'a> Graph<'a> {
    fn of(document: &'a Document<'a>, sheet: &Sheet<'a>) -> Graph<'a> {
        let nodes: Vec<Node> = document.descendants().filter(Node::is_element).collect();
        let places: HashMap<_, usize> = nodes.iter().map(Node::id).zip(0..).collect();
        let mut ids: HashMap<&str, usize> = HashMap::new();
        for (at, node) in nodes.iter().enumerate() {
            if let Some(id) = node.attribute("id") {
                ids.entry(id).or_insert(at);
            }
        }
        let mut items: Vec<Item> = Vec::with_capacity(nodes.len());
        // What each element hands down: one of a few lists, shared by most.
        let mut lists: Vec<Vec<usize>> = vec![Vec::new()];
        let mut handed: Vec<usize> = Vec::with_capacity(nodes.len());
        for (at, node) in nodes.iter().enumerate() {
            let name = node.tag_name().name();
            let shape = matches!(
                name,
                "path" | "rect" | "circle" | "ellipse" | "line" | "polyline" | "polygon" | "text"
            );
            let parent = node.parent_element().and_then(|parent| places.get(&parent.id()).copied());
            let refs: Vec<(Via, usize)> = refs::of(*node, sheet)
                .into_iter()
                .filter_map(|(via, id)| Some((via, *ids.get(id)?)))
                .collect();
            let above = parent.map_or(0, |parent: usize| handed[parent]);
            let own: Vec<usize> =
                refs.iter().filter(|(via, _)| *via != Via::Once).map(|(_, to)| *to).collect();
            let inherited = if shape { lists[above].clone() } else { Vec::new() };
            handed.push(if own.is_empty() || own.iter().all(|to| lists[above].contains(to)) {
                above
            } else {
                // Never more than a few: a longer list says the same again.
                let mut list = own;
                list.extend(lists[above].iter().take(8));
                lists.push(list);
                lists.len() - 1
            });
            if let Some(parent) = parent {
                items[parent].children.push(at);
            }
            let geometry =
                ["d", "points"].iter().filter_map(|name| node.attribute(*name)).map(str::len).max();
            items.push(Item {
                id: node.attribute("id").unwrap_or(name),
                line_of: node.range().start,
                children: Vec::new(),
                refs,
                inherited,
                shape,
                // A vertex takes at least two characters; a rectangle has no more than ten.
                vertices: if shape { geometry.unwrap_or(0) as f64 / 2.0 + 10.0 } else { 0.0 },
            });
        }
        Graph { document, items }
    }

    /// Refuses references in a circle, too many levels, and too many elements.
    fn check(&self) -> Result<(), Fault> {
        let mut sums: Vec<Option<Sum>> = vec![None; self.items.len()];
        let mut open = vec![false; self.items.len()];
        // Depth first without recursion: (element, next neighbour).
        let mut stack: Vec<(usize, usize)> = Vec::new();
        for start in 0..self.items.len() {
            if sums[start].is_some() {
                continue;
            }
            stack.push((start, 0));
            open[start] = true;
            while let Some((at, next)) = stack.last_mut() {
                let at = *at;
                match self.neighbour(at, *next) {
                    Some(to) => {
                        *next += 1;
                        if open[to] {
                            return Err(self.circle(to));
                        }
                        if sums[to].is_none() {
                            open[to] = true;
                            stack.push((to, 0));
                        }
                    }
                    None => {
                        let sum = self.sum(at, &sums);
                        if sum.elements > f64::from(MOST_NODES) {
                            return Err(too_many());
                        }
                        if sum.levels > MOST_LEVELS {
                            return Err(Fault::new(
                                Class::Limit,
                                format!("the SVG's elements are nested more than {MOST_LEVELS} levels deep"),
                            )
                            .remedy("Ungroup some of them, or save it as PNG."));
                        }
                        sums[at] = Some(sum);
                        open[at] = false;
                        stack.pop();
                    }
                }
            }
        }
        Ok(())
    }

    fn neighbour(&self, at: usize, next: usize) -> Option<usize> {
        let item = &self.items[at];
        let (children, refs) = (item.children.len(), item.refs.len());
        if next < children {
            return Some(item.children[next]);
        }
        if next < children + refs {
            return Some(item.refs[next - children].1);
        }
        item.inherited.get(next - children - refs).copied()
    }

    fn sum(&self, at: usize, sums: &[Option<Sum>]) -> Sum {
        let item = &self.items[at];
        let of = |at: usize| sums[at].unwrap_or_default();
        let mut sum = Sum {
            elements: 1.0,
            shapes: f64::from(u8::from(item.shape)),
            vertices: item.vertices,
            levels: item.inherited.iter().map(|to| of(*to).levels).max().unwrap_or(0),
        };
        let once = item.refs.iter().filter(|(via, _)| *via == Via::Once).map(|(_, to)| to);
        for to in item.children.iter().chain(once) {
            let part = of(*to);
            sum.elements += part.elements;
            sum.shapes += part.shapes;
            sum.vertices += part.vertices;
            sum.levels = sum.levels.max(part.levels);
        }
        for (via, to) in &item.refs {
            let part = of(*to);
            sum.levels = sum.levels.max(part.levels);
            sum.elements += match via {
                Via::Once => 0.0,
                // A gradient is no element to draw; a pattern is drawn for each shape.
                Via::Paint if part.shapes == 0.0 => 1.0,
                Via::Paint => part.elements * sum.shapes,
                Via::Marker => part.elements * sum.vertices,
            };
        }
        sum.levels += 1;
        sum
    }

    fn circle(&self, at: usize) -> Fault {
        let item = &self.items[at];
        let line = self.document.text_pos_at(item.line_of).row;
        Fault::new(Class::Picture, format!("the SVG's element {:?} (line {line}) refers to itself", item.id))
            .remedy("Remove the circular reference, or save it as PNG.")
    }
}

//! References inside an SVG: attributes, `style` attributes and style sheets.

use resvg::usvg::roxmltree::{Document, Node};
use std::collections::HashMap;

/// How a property draws what it refers to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Via {
    /// Once for the element: `mask`, `clip-path`, `filter`, or a link.
    Once,
    /// Once for each shape, and inherited: `fill`, `stroke`.
    Paint,
    /// Once for each vertex, and inherited: `marker-start` and its like.
    Marker,
}

/// A reference: how, and the id it names.
pub(super) type Reference<'a> = (Via, &'a str);

/// Style sheet rules that refer to something, by the names in their selectors.
pub(super) struct Sheet<'a> {
    rules: Vec<Vec<Reference<'a>>>,
    /// A class (`.`), id (`#`) or element name to the rules that have it in their selector; `*` fits all.
    names: HashMap<&'a str, Vec<usize>>,
    /// Number of rules, with or without references.
    pub rules_count: usize,
}

impl<'a> Sheet<'a> {
    /// Collects the rules of all `style` elements. Selectors are taken apart into names; a rule counts for every
    /// element that has one of them, which is at least every element that it is meant for.
    pub fn of(document: &'a Document) -> Sheet<'a> {
        let mut sheet = Sheet { rules: Vec::new(), names: HashMap::new(), rules_count: 0 };
        let styles =
            document.descendants().filter(|node| node.tag_name().name() == "style" && node.is_element());
        for text in styles.flat_map(|style| style.children()).filter_map(|child| child.text()) {
            for rule in text.split('}') {
                sheet.rules_count += 1;
                let Some((selector, body)) = rule.rsplit_once('{') else { continue };
                let references: Vec<Reference> = declarations(body).collect();
                if references.is_empty() {
                    continue;
                }
                let at = sheet.rules.len();
                sheet.rules.push(references);
                for name in names(selector) {
                    sheet.names.entry(name).or_default().push(at);
                }
            }
        }
        sheet
    }

    fn fitting(&self, node: Node<'a, '_>) -> impl Iterator<Item = Reference<'a>> + '_ {
        let classes = node.attribute("class").unwrap_or_default().split_ascii_whitespace();
        let names = classes.chain(node.attribute("id")).chain([node.tag_name().name(), "*"]);
        let places: Vec<usize> = names.filter_map(|name| self.names.get(name)).flatten().copied().collect();
        places.into_iter().flat_map(|at| self.rules[at].iter().copied())
    }
}

/// All that an element refers to.
pub(super) fn of<'a>(node: Node<'a, 'a>, sheet: &Sheet<'a>) -> Vec<Reference<'a>> {
    let mut all = Vec::new();
    let name = node.tag_name().name();
    // Links to follow by clicking, and animations, draw nothing.
    let draws = !matches!(name, "a" | "set" | "mpath") && !name.starts_with("animate");
    for attribute in node.attributes() {
        match attribute.name() {
            "href" if draws => {
                all.extend(attribute.value().trim().strip_prefix('#').map(|id| (Via::Once, id)))
            }
            "style" => all.extend(declarations(attribute.value())),
            property => all.extend(targets(attribute.value()).map(|id| (via(property), id))),
        }
    }
    all.extend(sheet.fitting(node));
    all
}

fn via(property: &str) -> Via {
    match property {
        "fill" | "stroke" => Via::Paint,
        "marker" | "marker-start" | "marker-mid" | "marker-end" => Via::Marker,
        _ => Via::Once,
    }
}

fn declarations(text: &str) -> impl Iterator<Item = Reference<'_>> {
    let pairs = text.split(';').filter_map(|declaration| declaration.split_once(':'));
    pairs.flat_map(|(property, value)| targets(value).map(move |id| (via(property.trim()), id)))
}

/// The ids in all `url(#id)` of a value.
fn targets(value: &str) -> impl Iterator<Item = &str> {
    value.split("url(").skip(1).filter_map(|rest| {
        let rest = rest.trim_start().trim_start_matches(['"', '\'']).strip_prefix('#')?;
        rest.split(['"', '\'', ')']).next().map(str::trim)
    })
}

/// The names in a selector; `*` where it has none, or picks by something else.
fn names(selector: &str) -> Vec<&str> {
    let mut names: Vec<&str> = selector
        .split(|c: char| !(c.is_alphanumeric() || "-_*".contains(c) || !c.is_ascii()))
        .filter(|name| !name.is_empty())
        .collect();
    if names.is_empty() || selector.contains(['[', ':']) {
        names.push("*");
    }
    names
}

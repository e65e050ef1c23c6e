//! References inside an SVG: attributes, `style` attributes and style sheets.

use roxmltree::{Document, Node};
use std::collections::HashMap;

/// How an element uses another one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Use {
    /// Once: a child, a link, `mask`, `clip-path` or `filter`.
    Once,
    /// For each shape, and inherited: `fill`, `stroke`, `marker-start` and its like.
    Paint,
}

/// How something is used, and its id.
type Reference<'a> = (Use, &'a str);

/// Style sheet rules that refer to something, by the names in their selectors.
pub(super) struct StyleSheet<'a> {
    rules: Vec<Vec<Reference<'a>>>,
    /// A class, id or element name to the rules that have it in their selector; `*` fits all.
    names: HashMap<&'a str, Vec<usize>>,
}

impl<'a> StyleSheet<'a> {
    /// Collects the rules of all `style` elements. Selectors are taken apart into names; a rule counts for every
    /// element that has one of them, which is at least every element that it is meant for.
    pub fn new(document: &'a Document) -> StyleSheet<'a> {
        let mut sheet = StyleSheet { rules: Vec::new(), names: HashMap::new() };
        let styles = document.descendants().filter(|node| node.tag_name().name() == "style");
        for text in styles.flat_map(|style| style.children()).filter_map(|child| child.text()) {
            for rule in text.split('}') {
                let Some((selector, body)) = rule.rsplit_once('{') else { continue };
                let references: Vec<Reference> = declarations(body).collect();
                if !references.is_empty() {
                    for name in names(selector) {
                        sheet.names.entry(name).or_default().push(sheet.rules.len());
                    }
                    sheet.rules.push(references);
                }
            }
        }
        sheet
    }
}

/// All that an element refers to.
pub(super) fn references<'a>(node: Node<'a, 'a>, sheet: &StyleSheet<'a>) -> Vec<Reference<'a>> {
    let mut all = Vec::new();
    let name = node.tag_name().name();
    // Links to follow by clicking, and animations, draw nothing.
    let draws = !matches!(name, "a" | "set" | "mpath") && !name.starts_with("animate");
    for attribute in node.attributes() {
        match attribute.name() {
            "href" if draws => {
                all.extend(attribute.value().trim().strip_prefix('#').map(|id| (Use::Once, id)))
            }
            "style" => all.extend(declarations(attribute.value())),
            property => all.extend(targets(property, attribute.value())),
        }
    }
    let classes = node.attribute("class").unwrap_or_default().split_ascii_whitespace();
    let names = classes.chain(node.attribute("id")).chain([name, "*"]);
    let rules = names.filter_map(|name| sheet.names.get(name)).flatten();
    all.extend(rules.flat_map(|rule| &sheet.rules[*rule]));
    all
}

fn declarations(text: &str) -> impl Iterator<Item = Reference<'_>> {
    let pairs = text.split(';').filter_map(|declaration| declaration.split_once(':'));
    pairs.flat_map(|(property, value)| targets(property.trim(), value))
}

/// The ids in all `url(#id)` of a property's value.
fn targets<'a>(property: &str, value: &'a str) -> impl Iterator<Item = Reference<'a>> + use<'a> {
    let how = match property {
        "fill" | "stroke" | "marker" | "marker-start" | "marker-mid" | "marker-end" => Use::Paint,
        _ => Use::Once,
    };
    value.split("url(").skip(1).filter_map(move |rest| {
        let rest = rest.trim_start().trim_start_matches(['"', '\'']).strip_prefix('#')?;
        rest.split(['"', '\'', ')']).next().map(|id| (how, id.trim()))
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

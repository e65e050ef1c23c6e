//! Tags of XML that no honest file has.

/// Most attributes of an element: the standards know a few hundred. Reading them takes time by their square.
pub(super) const MOST_ATTRIBUTES: usize = 2000;

/// Whether some tag has more attributes than any honest one, by its signs of equality outside quotes. Comments and other markup that isn't a
/// tag don't count.
pub(crate) fn has_crowded_tag(text: &str) -> bool {
    let mut rest = text;
    while let Some(at) = rest.find('<') {
        rest = &rest[at..];
        let skipped = [("<!--", "-->"), ("<![CDATA[", "]]>"), ("<?", "?>")]
            .iter()
            .find(|(open, _)| rest.starts_with(open));
        if let Some((open, close)) = skipped {
            rest = rest[open.len()..].split_once(close).map_or("", |(_, after)| after);
            continue;
        }
        let (mut quote, mut count, mut end) = (None, 0, rest.len());
        for (at, sign) in rest.bytes().enumerate().skip(1) {
            match (quote, sign) {
                (Some(open), _) if open == sign => quote = None,
                (Some(_), _) => {}
                // An entity's text may hold tags of its own: they are looked at as such.
                (None, b'"' | b'\'') if !rest.starts_with("<!") => quote = Some(sign),
                (None, b'=') => count += 1,
                (None, b'>' | b'<') => {
                    end = at;
                    break;
                }
                (None, _) => {}
            }
        }
        if count > MOST_ATTRIBUTES {
            return true;
        }
        rest = &rest[end..];
    }
    false
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn crowded_tags_are_found_wherever_they_stand() {
        let many = |count: usize| (0..count).map(|at| format!(" a{at}='=>'")).collect::<String>();
        let (few, crowd) = (many(MOST_ATTRIBUTES), many(MOST_ATTRIBUTES + 1));
        for honest in [
            format!("<svg{few}><g{few}/></svg>"),
            format!("<!-- it's{crowd} --><svg/>"),
            format!("<svg><style><![CDATA[{crowd}]]></style></svg>"),
            format!("<?x {crowd}?><svg/>"),
            format!("<svg><text>{crowd}</text></svg>"),
            "<svg a='".to_owned(),
        ] {
            assert!(!has_crowded_tag(&honest));
        }
        for hostile in [
            format!("<svg{crowd}/>"),
            format!("<!-- it's -->\n<svg a='<' b=\">\"><g{crowd}></g></svg>"),
            format!("<!DOCTYPE svg [<!ENTITY e \"<g{crowd}/>\">]><svg>&e;</svg>"),
            format!("<svg{crowd}"),
        ] {
            assert!(has_crowded_tag(&hostile));
        }
    }
}

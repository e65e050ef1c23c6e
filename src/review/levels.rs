//! One page to look over all levels of a game: the still of each in every mood, sizes, and what its check found.

use crate::output::forms::escaped;
use crate::review::check::Report;
use crate::review::head::head;
use std::path::Path;

/// A level in one mood.
pub struct Card {
    /// The level's name.
    pub level: String,
    /// The mood; none: the level without one.
    pub mood: Option<String>,
    /// Address of its output folder, relative to the page.
    pub folder: String,
    /// What was written, in words.
    pub size: String,
    /// What the check found.
    pub verdict: Verdict,
}

/// What a check found, as a line of HTML.
#[derive(Clone)]
pub struct Verdict {
    /// What it was found of.
    key: String,
    line: String,
}

/// Begins the line of a verdict, before its key.
const VERDICT: &str = "<p class=\"check\" data-key=\"";

impl Verdict {
    /// That of `report`; `key` tells what it was found of.
    pub fn new(key: String, report: &Report) -> Verdict {
        let text = |fails: bool| {
            let findings = report.findings.iter().filter(move |finding| finding.fails == fails);
            findings.map(|finding| {
                let slot = finding.slot.as_ref().map(|slot| format!("{slot}: ")).unwrap_or_default();
                escaped(&format!("{slot}{}", finding.message))
            })
        };
        let fails: Vec<String> = text(true).collect();
        let notes = text(false).count();
        let line = match (fails.len(), notes) {
            (0, 0) => "within its limits".to_owned(),
            (0, notes) => format!("within its limits; notes: {notes}"),
            _ => format!("<strong>exceeds its limits</strong>: {}", fails.join("; ")),
        };
        Verdict { key, line: line.replace('\n', " ") }
    }

    /// The verdict under `key` on an earlier page.
    pub fn known(page: &str, key: &str) -> Option<Verdict> {
        let begins = format!("{VERDICT}{key}\">");
        let line = page.lines().find_map(|line| line.strip_prefix(begins.as_str()))?;
        let line = line.strip_suffix("</p>")?.to_owned();
        Some(Verdict { key: key.to_owned(), line })
    }
}

const STYLE: &str = "  p { margin: 0; }
  strong { color: #f3cf93; }
";
const HEADING: &str = "<h1>Levels</h1>
";

/// The page's HTML.
pub fn page(cards: &[Card]) -> String {
    let mut text = head("Levels", STYLE) + HEADING;
    for group in cards.chunk_by(|a, b| a.level == b.level) {
        text += &format!("<h2>{}</h2>\n<section>\n", escaped(&group[0].level));
        for card in group {
            let mood = escaped(card.mood.as_deref().unwrap_or("without a mood"));
            let (folder, Verdict { key, line }) = (&card.folder, &card.verdict);
            text += &format!(
                "<figure><a href=\"{folder}/still.png\"><img src=\"{folder}/still.png\" loading=\"lazy\" alt=\"\">{mood}</a>\n\
                 <p>{}, <a href=\"{folder}/still.values.png\">values</a></p>\n{VERDICT}{key}\">{line}</p>\n</figure>\n",
                escaped(&card.size)
            );
        }
        text += "</section>\n";
    }
    text + "</html>\n"
}

/// The address of `folder` from a page in `from`; both must be absolute.
pub fn address(from: &Path, folder: &Path) -> String {
    let inside = folder.strip_prefix(from).map(|inside| inside.to_string_lossy().replace('\\', "/"));
    let path = inside.unwrap_or_else(|_| format!("file://{}", folder.display()));
    let plain = |byte: u8| byte.is_ascii_alphanumeric() || b"-._~/:".contains(&byte);
    let sign = |byte: u8| if plain(byte) { char::from(byte).to_string() } else { format!("%{byte:02X}") };
    path.bytes().map(sign).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    // RFC 3986, 2.1 and 2.3.
    #[test]
    fn addresses_are_relative_and_escaped() {
        let from = Path::new("/game");
        assert_eq!(address(from, Path::new("/game/a b/ü#1")), "a%20b/%C3%BC%231");
        assert_eq!(address(from, Path::new("/else/where")), "file:///else/where");
    }

    #[test]
    fn a_verdict_is_found_again_on_its_page() {
        let verdict = Verdict { key: "abc".into(), line: "within its limits".into() };
        let card =
            Card { level: "<one>".into(), mood: None, folder: "one".into(), size: "3 files".into(), verdict };
        let page = page(&[card]);
        assert!(page.contains("<h2>&lt;one&gt;</h2>"), "{page}");
        assert_eq!(Verdict::known(&page, "abc").expect("known").line, "within its limits");
        assert!(Verdict::known(&page, "ab").is_none() && Verdict::known(&page, "abcd").is_none());
    }
}

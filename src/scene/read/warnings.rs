//! What a faultless scene says and hardly anybody means.

use crate::base::report;
use crate::scene::bases::Chain;
use crate::scene::keys::{Entry, Place, key};
use crate::scene::written::SceneFile;
use std::path::Path;

/// Lightness under which a picture keeps its own light only by mistake: all but its black would.
const LEAST_KEPT: f64 = 2.0;

/// Warnings, each named by its file and line; `text` stands in `file`, and `chain` is what it builds on.
pub(super) fn of(written: &SceneFile, file: &Path, text: &str, chain: &Chain) -> Vec<String> {
    let scene = [("light.keep", written.top.get(key!("light.keep")))];
    let slots = written.slots.iter().map(|slot| ("keep", slot.entries.get(key!("slot.keep"))));
    let kept = scene.into_iter().chain(slots).filter_map(|(name, entry)| {
        let entry = entry?;
        let value = entry.value.number().filter(|value| (0.0..LEAST_KEPT).contains(value) && *value > 0.0)?;
        let place = place(entry, file, text, chain);
        Some(format!(
            "{place}: `{name}` is a lightness, 0 to 100: at {value} all but black keeps its own light; 80 keeps what is lighter than 80"
        ))
    });
    kept.collect()
}

/// The file and the line of an entry, or the argument that it comes from.
fn place(entry: &Entry, file: &Path, text: &str, chain: &Chain) -> String {
    let (file, text, span) = match &entry.place {
        Place::File(span) | Place::Mood(_, span) => (file, text, span),
        Place::Base(base, _, span) => {
            let link = chain.links.iter().find(|(link, _)| link == base);
            (base.file.as_path(), link.map_or("", |(_, text)| text.as_str()), span)
        }
        Place::Argument(argument) => return format!("--set {argument}"),
    };
    format!("{}:{}", file.display(), report::line(text.as_bytes(), span.start))
}

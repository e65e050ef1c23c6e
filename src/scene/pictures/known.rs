//! What a picture file is, as it is found again without reading or parsing it.

use crate::base::key::{Key, KeyWriter};
use crate::base::stamp::Stamp;
use crate::scene::pictures::Source;
use serde::{Deserialize, Serialize};

/// Most bytes of any text in it.
const LONGEST: usize = 8192;

/// What is known of a picture file.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Facts {
    /// BLAKE3 of its content, in hexadecimal.
    pub hash: String,
    /// Its own width and height, px.
    pub natural: [f64; 2],
    /// What of it isn't drawn.
    pub warnings: Vec<String>,
}

impl Facts {
    /// Those of a picture that was read.
    pub(in crate::scene) fn of(source: &Source) -> Facts {
        let prefix = format!("{}: ", source.file.display());
        let bare = |warning: &String| warning.strip_prefix(&prefix).unwrap_or(warning).to_owned();
        Facts {
            hash: blake3::Hash::from_bytes(source.hash).to_hex().to_string(),
            natural: source.natural,
            warnings: source.warnings.iter().map(bare).collect(),
        }
    }

    /// Key of the facts of the file at the absolute path `path` while it has this stamp.
    pub(super) fn file_key(path: &str, stamp: &Stamp) -> Key {
        let Stamp { bytes, modified, changed, inode } = stamp;
        KeyWriter::new("picture file")
            .part("path", path)
            .part("bytes", bytes)
            .part("modified", modified)
            .part("changed", changed)
            .part("inode", inode)
            .key()
    }

    /// Key of the facts of any file whose content has this hash.
    pub(super) fn content_key(hash: &str) -> Key {
        KeyWriter::new("picture content").part("hash", hash).key()
    }

    /// As text.
    pub fn encode(&self) -> Vec<u8> {
        // Plain finite numbers and text can always be written.
        serde_json::to_vec(self).unwrap_or_default()
    }

    /// From text; none if it can't be what [`Facts::encode`] wrote.
    pub fn decode(text: &[u8]) -> Option<Facts> {
        let facts: Facts = serde_json::from_slice(text).ok()?;
        let sound = facts.hash.len() == 64
            && facts.hash.bytes().all(|byte| byte.is_ascii_hexdigit())
            && facts.natural.iter().all(|side| *side > 0.0 && *side <= 1e9)
            && facts.warnings.iter().all(|warning| warning.len() <= LONGEST);
        sound.then_some(facts)
    }
}

//! What is known of picture files without reading them again.

use crate::base::stamp::Seen;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// What is known of a picture file.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Known {
    /// BLAKE3 of its content, in hexadecimal.
    pub hash: String,
    /// Its own width and height, px.
    pub natural: [f64; 2],
    /// What of it isn't drawn.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub warnings: Vec<String>,
    /// Its stamp when it last held just that.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seen: Option<Seen>,
}

/// What earlier runs knew of pictures.
#[derive(Clone, Debug, Default)]
pub struct Memory {
    by_path: BTreeMap<String, Known>,
}

impl Memory {
    /// Of what is known by absolute path.
    pub fn new(by_path: BTreeMap<String, Known>) -> Memory {
        Memory { by_path }
    }

    /// What was known of the file at this absolute path.
    pub fn at(&self, path: &str) -> Option<&Known> {
        self.by_path.get(path)
    }

    /// What was known of any file with this content.
    pub fn like(&self, hash: &str) -> Option<&Known> {
        self.by_path.values().find(|known| known.hash == hash)
    }
}

//! Words that many modules share: how colours are mixed, where fog lies, how texels are stored.

use std::fmt;

/// How the target renderer blends colours.
#[cfg_attr(feature = "scene", derive(schemars::JsonSchema))]
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "scene", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "lowercase"))]
pub enum Blending {
    /// On the stored sRGB values.
    Encoded,
    /// On linear light.
    Linear,
}

/// Where fog lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "scene", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "lowercase"))]
pub enum Anchor {
    /// On the ground line, thinning upward.
    Ground,
    /// Under the sky line, thinning downward.
    Sky,
}

impl Anchor {
    /// What scene files write so.
    pub(crate) fn from_word(word: &str) -> Option<Anchor> {
        [Anchor::Ground, Anchor::Sky].into_iter().find(|anchor| anchor.word() == word)
    }

    /// As scene files write it.
    pub fn word(self) -> &'static str {
        match self {
            Anchor::Ground => "ground",
            Anchor::Sky => "sky",
        }
    }
}

impl fmt::Display for Anchor {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// How colour and alpha are stored.
#[cfg_attr(feature = "scene", derive(schemars::JsonSchema))]
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "scene", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "lowercase"))]
pub enum Alpha {
    /// Colour unchanged, alpha separate.
    #[default]
    Straight,
    /// Colour times alpha, in the space that the renderer blends in.
    Premultiplied,
}

/// Bits of a channel.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bits {
    /// 8, opacity dithered.
    Eight,
    /// 16, exact.
    Sixteen,
}

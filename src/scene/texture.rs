//! How a scene's textures are stored.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Shape of the stored textures.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Texture {
    /// Size of stored sheets.
    pub fit: Fit,
    /// How colour and alpha are stored.
    pub alpha: Alpha,
    /// Longest side of a texture, texels; what is longer is cut into tiles.
    pub side: u32,
    /// Whether empty margins are left out.
    pub trim: bool,
}

impl Default for Texture {
    /// As drawn: whole, straight, uncut.
    fn default() -> Texture {
        Texture { fit: Fit::Full, alpha: Alpha::Straight, side: 32_768, trim: false }
    }
}

/// Size of a stored sheet.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Fit {
    /// One texel for each texel of the view.
    Full,
    /// Half of that on each side.
    Half,
    /// The next power of two on each side; art too.
    PowerOfTwo,
    /// The smallest that, stretched by a linear filter, stays within this many 8-bit steps on any backdrop.
    Error(f64),
}

impl Fit {
    /// Reads `full`, `half`, `power-of-two`, or `error:` and a number from 0.05 to 16.
    pub fn parse(text: &str) -> Option<Fit> {
        match text {
            "full" => Some(Fit::Full),
            "half" => Some(Fit::Half),
            "power-of-two" => Some(Fit::PowerOfTwo),
            other => {
                let steps: f64 = other.strip_prefix("error:")?.trim().parse().ok()?;
                (0.05..=16.0).contains(&steps).then_some(Fit::Error(steps))
            }
        }
    }
}

/// How colour and alpha are stored.
#[derive(JsonSchema, Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Alpha {
    /// Colour unchanged, alpha separate.
    #[default]
    Straight,
    /// Colour times alpha, in the space that the renderer blends in.
    Premultiplied,
}

#[cfg(test)]
mod tests {
    use super::Fit;

    #[test]
    fn fits_are_words_or_bounded_errors() {
        assert_eq!(Fit::parse("full"), Some(Fit::Full));
        assert_eq!(Fit::parse("error:0.5"), Some(Fit::Error(0.5)));
        for bad in ["", "Full", "error", "error:", "error:0", "error:nan", "error:inf", "error:17", "third"] {
            assert_eq!(Fit::parse(bad), None, "{bad}");
        }
    }
}

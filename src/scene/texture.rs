//! How a scene's textures are stored.

use crate::base::words::Alpha;

/// Shape of the stored textures.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "scene", derive(serde::Deserialize))]
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

/// Size of a stored sheet.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "scene", derive(serde::Deserialize), serde(try_from = "String"))]
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

impl TryFrom<String> for Fit {
    type Error = String;
    fn try_from(text: String) -> Result<Fit, String> {
        Fit::parse(&text).ok_or_else(|| format!("{text} is no size"))
    }
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

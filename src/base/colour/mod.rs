//! Colours: sRGB codes, linear light, Oklab mixing. Encoded and linear values are distinct types.

pub mod contrast;
pub mod floor;
pub mod lightness;
mod spaces;

/// An sRGB colour, encoded values 0..1; read as `#rgb` or `#rrggbb`.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "scene", derive(serde::Deserialize), serde(try_from = "String"))]
pub struct Srgb(pub [f32; 3]);

impl TryFrom<String> for Srgb {
    type Error = String;
    fn try_from(text: String) -> Result<Srgb, String> {
        Srgb::parse_hex(&text).ok_or_else(|| format!("{text} is no colour"))
    }
}

/// A colour in linear light, sRGB primaries, 0..1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Linear(pub [f32; 3]);

impl Srgb {
    /// From 8-bit codes.
    pub fn from_codes(codes: [u8; 3]) -> Srgb {
        Srgb(codes.map(|code| f32::from(code) / 255.0))
    }

    /// To 8-bit codes, rounded to the nearest.
    pub fn to_codes(self) -> [u8; 3] {
        self.0.map(|value| (value.clamp(0.0, 1.0) * 255.0 + 0.5) as u8)
    }

    /// Reads `#rgb` or `#rrggbb`.
    pub fn parse_hex(text: &str) -> Option<Srgb> {
        let digits = text.strip_prefix('#')?;
        if !digits.bytes().all(|byte| byte.is_ascii_hexdigit()) {
            return None;
        }
        let value = |part: &str| u8::from_str_radix(part, 16).ok();
        match digits.len() {
            3 => {
                let mut codes = [0; 3];
                for (code, at) in codes.iter_mut().zip(0..) {
                    *code = value(&digits[at..=at])? * 17;
                }
                Some(Srgb::from_codes(codes))
            }
            6 => {
                Some(Srgb::from_codes([value(&digits[0..2])?, value(&digits[2..4])?, value(&digits[4..6])?]))
            }
            _ => None,
        }
    }

    /// As `#rrggbb`.
    pub fn to_hex(self) -> String {
        let [r, g, b] = self.to_codes();
        format!("#{r:02x}{g:02x}{b:02x}")
    }

    /// Decodes to linear light (IEC 61966-2-1).
    pub fn linear(self) -> Linear {
        Linear(spaces::decode(self.0.map(f64::from)).map(|value| value as f32))
    }

    /// To Oklab: L 0..1, a, b.
    pub fn oklab(self) -> [f64; 3] {
        let [l, a, b] = spaces::to_oklab(spaces::decode(self.0.map(f64::from)));
        [l.clamp(0.0, 1.0), a, b]
    }

    /// From Oklab; what lies outside sRGB is clamped.
    pub fn from_oklab(lab: [f64; 3]) -> Srgb {
        let linear = spaces::from_oklab(lab).map(|value| value.clamp(0.0, 1.0));
        Srgb(spaces::encode(linear).map(|value| (value as f32).clamp(0.0, 1.0)))
    }

    /// Mixes toward `other` in Oklab; 0 gives `self`, 1 gives `other`, both exactly.
    pub fn mix(self, other: Srgb, share: f64) -> Srgb {
        if share <= 0.0 {
            return self;
        }
        if share >= 1.0 {
            return other;
        }
        Srgb::interpolate(self.oklab(), other.oklab(), share)
    }

    /// What is `share` of the way from one Oklab colour to another.
    pub fn interpolate(from: [f64; 3], to: [f64; 3], share: f64) -> Srgb {
        let share = share.clamp(0.0, 1.0);
        Srgb::from_oklab(std::array::from_fn(|at| from[at] + (to[at] - from[at]) * share))
    }
}

impl Srgb {
    /// With a fourth number, 0, that fills a register.
    pub(crate) fn lanes(self) -> [f32; 4] {
        let [r, g, b] = self.0;
        [r, g, b, 0.0]
    }

    /// The same hue at `share` of its Oklab lightness and chroma.
    pub fn darkened(self, share: f64) -> Srgb {
        Srgb::from_oklab(self.oklab().map(|value| value * share))
    }
}

impl Linear {
    /// Encodes (IEC 61966-2-1).
    pub fn encode(self) -> Srgb {
        Srgb(spaces::encode(self.0.map(f64::from)).map(|value| value as f32))
    }
}

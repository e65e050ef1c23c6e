//! Bounds that are checked before anything is allocated.

/// What one run may ask of the machine. Every bound has its own message and can be raised by the caller.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// Longest side of any picture read or written, in texels.
    pub side: u32,
    /// Most texels of one picture read or written.
    pub texels: u64,
    /// Most bytes of one picture file (PNG, SVG).
    pub file_bytes: u64,
    /// Most bytes of one scene or preset file; reading takes many times as much memory.
    pub text_bytes: u64,
    /// Most slots of a scene.
    pub slots: usize,
}

/// A bound that a picture's size breaks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Broken {
    /// Its longer side: more than so many texels.
    Side(u32),
    /// Its area: more than so many texels.
    Texels(u64),
}

impl Limits {
    /// The bound that a picture of `size` (width and height in texels) breaks, if any; its longer side is looked at first.
    pub fn broken(&self, [width, height]: [u32; 2]) -> Option<Broken> {
        if width.max(height) > self.side {
            Some(Broken::Side(self.side))
        } else if u64::from(width) * u64::from(height) > self.texels {
            Some(Broken::Texels(self.texels))
        } else {
            None
        }
    }
}

impl Default for Limits {
    fn default() -> Limits {
        Limits {
            side: 32_768,
            texels: 268_435_456,
            file_bytes: 268_435_456,
            text_bytes: 1_048_576,
            slots: 256,
        }
    }
}

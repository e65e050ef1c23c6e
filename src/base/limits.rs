//! Bounds that are checked before anything is allocated.

use crate::base::fault::{Class, Fault};

/// What one run may ask of the machine. Every bound has its own message and can be raised by the caller.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "scene", derive(serde::Serialize, serde::Deserialize))]
#[non_exhaustive]
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
    /// Most octaves of a recipe.
    pub octaves: u32,
    /// Most bytes that a run may hold at once, as far as the plan can tell.
    pub memory: u64,
    /// Most files in a layered file.
    pub entries: usize,
    /// Most bytes that one file in a layered file may unpack to.
    pub unpacked: u64,
    /// Most processor time for reading one picture or layered file, seconds; more where many texels are wanted. Held where they are read
    /// in a process of their own, which may take fifteen times as long by the clock.
    pub read_seconds: u64,
    /// Most bytes that reading one of them may take, besides those of the texels. Held as above, where the system can.
    pub read_memory: u64,
}

/// What the limits are called where they are given: `name=number`.
pub const NAMES: [&str; 11] = [
    "side",
    "texels",
    "file-bytes",
    "text-bytes",
    "slots",
    "octaves",
    "memory",
    "entries",
    "unpacked",
    "read-seconds",
    "read-memory",
];

/// A bound that a picture's size breaks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Broken {
    /// Its longer side: more than so many texels.
    Side(u32),
    /// Its area: more than so many texels.
    Texels(u64),
}

impl Limits {
    /// Sets the limit that `text` names: `slots=512`.
    ///
    /// # Errors
    /// Class usage: there is no such limit, or what stands behind the sign is no whole number above 0 that it can hold.
    pub fn set(&mut self, text: &str) -> Result<(), Fault> {
        let fault = |message: String, remedy: String| Fault::new(Class::Usage, message).remedy(remedy);
        let (name, number) = text.split_once('=').unwrap_or((text, ""));
        let (name, number) = (name.trim(), number.trim());
        if !NAMES.contains(&name) {
            return Err(fault(
                format!("there is no limit named {name:?}"),
                format!("The limits are: {}.", NAMES.join(", ")),
            ));
        }
        let value = number.parse::<u64>().ok().filter(|value| *value > 0);
        let set = value.and_then(|value| {
            match name {
                "side" => self.side = value.try_into().ok()?,
                "texels" => self.texels = value,
                "file-bytes" => self.file_bytes = value,
                "text-bytes" => self.text_bytes = value,
                "slots" => self.slots = value.try_into().ok()?,
                "octaves" => self.octaves = value.try_into().ok()?,
                "memory" => self.memory = value,
                "entries" => self.entries = value.try_into().ok()?,
                "unpacked" => self.unpacked = value,
                "read-seconds" => self.read_seconds = value,
                _ => self.read_memory = value,
            }
            Some(())
        });
        set.ok_or_else(|| {
            fault(
                format!("the limit on {name} can't be {number:?}"),
                format!("Give a whole number above 0: {name}=1000."),
            )
        })
    }

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

    /// As [`Limits::broken`], in words: the bound, and what `--limit` would have to say to let this size through.
    pub fn told(&self, size: [u32; 2]) -> Option<(String, String)> {
        let [width, height] = size;
        Some(match self.broken(size)? {
            Broken::Side(most) => {
                (format!("the limit is {most} texels per side"), format!("side={}", width.max(height)))
            }
            Broken::Texels(most) => (
                format!("the limit is {most} texels in total"),
                format!("texels={}", u64::from(width) * u64::from(height)),
            ),
        })
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
            octaves: 10,
            memory: 8 << 30,
            entries: 4096,
            unpacked: 268_435_456,
            read_seconds: 8,
            read_memory: 768 << 20,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_limit_is_set_by_its_name() {
        for name in NAMES {
            let mut limits = Limits::default();
            limits.set(&format!("{name}=77")).expect("set");
            assert_ne!(limits, Limits::default(), "{name}");
            for wrong in ["", "=", "=0", "=-1", "=1.5", "=x", "=99999999999999999999"] {
                let fault = limits.set(&format!("{name}{wrong}")).expect_err("refused");
                assert!(fault.message.contains(name), "{}", fault.message);
            }
        }
        let fault = Limits::default().set("sides=4").expect_err("refused");
        assert!(fault.message.contains("sides"), "{}", fault.message);
    }
}

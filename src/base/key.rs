//! Keys: what something is made from, as one hash. Equal keys mean equal bytes, in any run, on any machine.
//!
//! A key is written from an explicit list of parts. Each part is hashed with its tag, its kind and its length, so that no two lists
//! read alike. Tags are part of the outputs' form: one is never reused for another number. No name of the program's own types or
//! fields gets into a key.

use crate::base::colour::Srgb;
use crate::base::units::{Camera, Px, Rect, Scale, Texel, Travel};
use crate::base::words::{Alpha, Bits, Blending};
use std::fmt;

/// Version of the outputs' bytes, part of every key: raise it with every change of the program that changes any byte of any output, be
/// it texels or how they are packed. Else reruns would take what an older program made for their own.
pub const OUTPUT_VERSION: u32 = 14;

/// Context of the hash (BLAKE3, key derivation mode): no other use of it gives the same hashes.
const CONTEXT: &str = "fogweft: what a thing is made from";

/// A hash of all that something is made from.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Key([u8; 32]);

impl Key {
    /// The key whose bytes these are, such as the hash of a file.
    pub fn new(bytes: [u8; 32]) -> Key {
        Key(bytes)
    }

    /// As 64 hexadecimal digits.
    pub fn hex(&self) -> String {
        blake3::Hash::from_bytes(self.0).to_hex().to_string()
    }
}

impl fmt::Debug for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.hex())
    }
}

/// Gathers the parts of a key.
pub struct KeyWriter(blake3::Hasher);

impl KeyWriter {
    /// A key of the stage `stage`.
    pub fn new(stage: &str) -> KeyWriter {
        KeyWriter(blake3::Hasher::new_derive_key(CONTEXT))
            .part("stage", stage)
            .part("version", &OUTPUT_VERSION)
    }

    /// Adds a part. Its tag tells it from the stage's other parts.
    pub fn part<P: KeyPart + ?Sized>(mut self, tag: &str, part: &P) -> KeyWriter {
        self.add(tag, part);
        self
    }

    /// As [`KeyWriter::part`], for a part that has parts of its own.
    pub fn add<P: KeyPart + ?Sized>(&mut self, tag: &str, part: &P) -> &mut KeyWriter {
        self.bytes(TAG, tag.as_bytes());
        part.write(self);
        self
    }

    /// The key of the parts so far.
    pub fn key(&self) -> Key {
        Key(*self.0.finalize().as_bytes())
    }

    fn bytes(&mut self, kind: u8, bytes: &[u8]) {
        self.0.update(&[kind]).update(&(bytes.len() as u64).to_le_bytes()).update(bytes);
    }

    fn list<P: KeyPart>(&mut self, kind: u8, parts: &[P]) {
        self.0.update(&[kind]).update(&(parts.len() as u64).to_le_bytes());
        parts.iter().for_each(|part| part.write(self));
    }
}

/// Marks of the kinds of parts; a list or an optional part stands before what it holds, its count in place of its length.
const TAG: u8 = 0;
const FLOAT: u8 = 1;
const WHOLE: u8 = 2;
const TEXT: u8 = 3;
const NESTED: u8 = 4;
const OPTION: u8 = 5;
const LIST: u8 = 6;

/// What can be part of a key.
pub trait KeyPart {
    /// Hashes it.
    fn write(&self, to: &mut KeyWriter);
}

impl KeyPart for f64 {
    fn write(&self, to: &mut KeyWriter) {
        to.bytes(FLOAT, &self.to_bits().to_le_bytes());
    }
}

impl KeyPart for f32 {
    /// As the same number in double precision.
    fn write(&self, to: &mut KeyWriter) {
        f64::from(*self).write(to);
    }
}

/// Lengths, scales and places: as their numbers.
macro_rules! unit {
    ($($kind:ty),*) => {$(
        impl KeyPart for $kind {
            fn write(&self, to: &mut KeyWriter) {
                self.0.write(to);
            }
        }
    )*};
}
unit!(Px, Texel, Scale);

/// Places along the travel: as their first number, and the second where it isn't 0.
macro_rules! pair {
    ($($kind:ident),*) => {$(
        impl KeyPart for $kind {
            fn write(&self, to: &mut KeyWriter) {
                let $kind { right, down } = self;
                right.write(to);
                if down.0 != 0.0 {
                    down.write(to);
                }
            }
        }
    )*};
}
pair!(Camera, Travel);

impl KeyPart for Rect {
    fn write(&self, to: &mut KeyWriter) {
        <[f64; 4]>::from(*self).write(to);
    }
}

/// Whole numbers of every width: the same number is the same part.
macro_rules! whole {
    ($($kind:ty),*) => {$(
        impl KeyPart for $kind {
            fn write(&self, to: &mut KeyWriter) {
                to.bytes(WHOLE, &(*self as i128).to_le_bytes());
            }
        }
    )*};
}
whole!(u8, u16, u32, u64, i32, i64, usize, bool);

impl KeyPart for str {
    fn write(&self, to: &mut KeyWriter) {
        to.bytes(TEXT, self.as_bytes());
    }
}

impl KeyPart for Key {
    fn write(&self, to: &mut KeyWriter) {
        to.bytes(NESTED, &self.0);
    }
}

impl KeyPart for Srgb {
    fn write(&self, to: &mut KeyWriter) {
        self.0.write(to);
    }
}

impl KeyPart for Blending {
    fn write(&self, to: &mut KeyWriter) {
        let encoded = *self == Blending::Encoded;
        if encoded { "encoded" } else { "linear" }.write(to);
    }
}

impl KeyPart for Alpha {
    fn write(&self, to: &mut KeyWriter) {
        let straight = *self == Alpha::Straight;
        if straight { "straight" } else { "premultiplied" }.write(to);
    }
}

impl KeyPart for Bits {
    fn write(&self, to: &mut KeyWriter) {
        let eight = *self == Bits::Eight;
        if eight { 8 } else { 16 }.write(to);
    }
}

impl<P: KeyPart> KeyPart for Option<P> {
    fn write(&self, to: &mut KeyWriter) {
        to.list(OPTION, self.as_slice());
    }
}

impl<P: KeyPart> KeyPart for [P] {
    fn write(&self, to: &mut KeyWriter) {
        to.list(LIST, self);
    }
}

impl<P: KeyPart, const COUNT: usize> KeyPart for [P; COUNT] {
    fn write(&self, to: &mut KeyWriter) {
        to.list(LIST, self);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn key(part: &(impl KeyPart + ?Sized)) -> Key {
        KeyWriter::new("test").part("x", part).key()
    }

    #[test]
    fn parts_are_told_from_their_neighbours() {
        let two = |a: &str, b: &str| KeyWriter::new("test").part("a", a).part("b", b).key();
        assert_ne!(two("ab", "c"), two("a", "bc"));
        assert_ne!(key(&[[1.0, 2.0], [3.0, 4.0]]), key(&[1.0, 2.0, 3.0, 4.0]));
        assert_ne!(KeyWriter::new("a").part("b", "").key(), KeyWriter::new("ab").part("", "").key());
    }

    #[test]
    fn kinds_and_tags_and_stages_count() {
        let all = [
            key(&1.0),
            key(&1_u32),
            key("1"),
            key(&Some(1_u32)),
            key(&None::<u32>),
            key(&[1_u32]),
            key(&key(&1_u32)),
            KeyWriter::new("test").part("y", &1.0).key(),
            KeyWriter::new("other").part("x", &1.0).key(),
        ];
        let several: std::collections::BTreeSet<Key> = all.into_iter().collect();
        assert_eq!(several.len(), all.len());
    }

    #[test]
    fn the_same_number_is_the_same_part_whatever_its_width() {
        assert_eq!(key(&7_u8), key(&7_i64));
        assert_eq!(key(&0.5_f32), key(&0.5_f64));
        assert_ne!(key(&u64::MAX), key(&-1_i64));
        assert_ne!(key(&0.0), key(&-0.0));
    }

    /// Keys are kept in files: a change of how they are written is a change of [`OUTPUT_VERSION`].
    #[test]
    fn keys_are_what_they_were() {
        let parts = KeyWriter(blake3::Hasher::new_derive_key(CONTEXT)).part("a", &1.5).part("b", "two");
        let found = parts.part("c", &[Some(3_u32), None]).key();
        assert_eq!(found.hex(), "a0da0556ff53efce758d558661fd3f6ed5d5f18adf8589d2e992007030d101c0");
        assert_eq!(format!("{found:?}"), found.hex());
    }
}

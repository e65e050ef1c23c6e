//! JSON on one line, with a space after each colon and comma, numbers to 12 digits.

use serde::Serialize;
use serde_json::ser::{CompactFormatter, Formatter, Serializer};
use std::io::{Result, Write};

/// Rounded to 12 significant digits: 0.8700000000000001 is 0.87.
fn tidied(value: f64) -> f64 {
    format!("{value:.11e}").parse().unwrap_or(value)
}

/// A value as one line.
pub(super) trait Line {
    fn line(&self) -> String;
}

impl<T: Serialize> Line for T {
    fn line(&self) -> String {
        let mut bytes = Vec::new();
        // Writing to a `Vec` can't fail, nor has any of the types a map without string keys.
        let written = self.serialize(&mut Serializer::with_formatter(&mut bytes, Spaced));
        written.expect("manifests are plain data");
        String::from_utf8(bytes).expect("JSON is text")
    }
}

struct Spaced;

impl Formatter for Spaced {
    fn write_f64<W: ?Sized + Write>(&mut self, writer: &mut W, value: f64) -> Result<()> {
        CompactFormatter.write_f64(writer, tidied(value))
    }

    fn begin_array_value<W: ?Sized + Write>(&mut self, writer: &mut W, first: bool) -> Result<()> {
        if first { Ok(()) } else { writer.write_all(b", ") }
    }

    fn begin_object_key<W: ?Sized + Write>(&mut self, writer: &mut W, first: bool) -> Result<()> {
        if first { Ok(()) } else { writer.write_all(b", ") }
    }

    fn begin_object_value<W: ?Sized + Write>(&mut self, writer: &mut W) -> Result<()> {
        writer.write_all(b": ")
    }
}

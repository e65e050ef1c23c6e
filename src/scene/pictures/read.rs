//! Files in, bounded, and what they look like.

use crate::base::fault::{Class, Fault};
use crate::base::files::why;
use crate::base::limits::Limits;
use crate::base::room;
use crate::scene::pictures::Kind;
use std::fs::{self, File};
use std::io::{ErrorKind, Read};
use std::path::Path;

/// The whole file, if it is an ordinary one and within the limit.
pub(super) fn whole(file: &Path, limits: &Limits) -> Result<Vec<u8>, Fault> {
    let unreadable = |error: std::io::Error| {
        let fault = Fault::new(Class::Picture, format!("the picture can't be read: {}", why(&error)));
        fault.in_file(file).remedy(match error.kind() {
            ErrorKind::NotFound | ErrorKind::NotADirectory => {
                "Check the path; it is relative to the scene's folder."
            }
            ErrorKind::PermissionDenied => "Give yourself read permission.",
            _ => "Check the disk, or copy the file again.",
        })
    };
    // Before opening: opening a pipe that nobody writes to would wait for ever.
    let data = fs::metadata(file).map_err(unreadable)?;
    if !data.is_file() {
        let what = if data.is_dir() { "a folder" } else { "a device or pipe" };
        return Err(Fault::new(Class::Picture, format!("this is {what}, not a picture"))
            .in_file(file)
            .remedy("Choose a PNG or SVG file."));
    }
    if data.len() > limits.file_bytes {
        return Err(too_long(file, limits));
    }
    // It may grow while it is read.
    let mut bytes = Vec::new();
    room::reserve(&mut bytes, data.len() as usize, "the picture file")
        .map_err(|fault| fault.in_file(file))?;
    File::open(file)
        .and_then(|open| open.take(limits.file_bytes.saturating_add(1)).read_to_end(&mut bytes))
        .map_err(unreadable)?;
    if bytes.len() as u64 > limits.file_bytes {
        return Err(too_long(file, limits));
    }
    Ok(bytes)
}

/// The fault of a file over the limit.
pub(super) fn too_long(file: &Path, limits: &Limits) -> Fault {
    Fault::new(Class::Limit, format!("the picture file is over the limit of {} bytes", limits.file_bytes))
        .in_file(file)
        .remedy("Make it smaller, or raise the limit: --limit file-bytes=NUMBER.")
}

/// PNG or SVG, by content; else what it looks like.
pub(super) fn kind(bytes: &[u8]) -> Result<Kind, Fault> {
    const AS: &str = "Save it as PNG or SVG.";
    let fault = |message: &str, remedy: &str| Err(Fault::new(Class::Picture, message).remedy(remedy));
    // PNG 5.2.
    const SIGNATURE: &[u8] = b"\x89PNG\r\n\x1a\n";
    if bytes.starts_with(SIGNATURE) {
        return Ok(Kind::Png);
    }
    if bytes.is_empty() {
        return fault("the picture file is empty", AS);
    }
    if SIGNATURE.starts_with(bytes) {
        return fault("the picture is a PNG that ends within its first bytes", "Copy or save it again.");
    }
    if bytes.starts_with(b"\x89PNG") {
        return fault(
            "this was a PNG, but its line endings were converted as if it were text",
            "Copy it again as a binary file.",
        );
    }
    let looks = match bytes {
        [0xff, 0xd8, 0xff, ..] => "JPEG",
        [b'G', b'I', b'F', b'8', ..] => "GIF",
        [b'R', b'I', b'F', b'F', _, _, _, _, b'W', b'E', b'B', b'P', ..] => "WebP",
        [b'B', b'M', ..] => "BMP",
        [b'I', b'I', 42, 0, ..] | [b'M', b'M', 0, 42, ..] => "TIFF",
        [_, _, _, _, b'f', b't', b'y', b'p', b'a', b'v', b'i', ..] => "AVIF",
        [_, _, _, _, b'f', b't', b'y', b'p', ..] => "HEIF or a video",
        [0x76, 0x2f, 0x31, 0x01, ..] => "OpenEXR",
        [b'#', b'?', b'R', b'A', b'D', ..] => "Radiance HDR",
        [b'q', b'o', b'i', b'f', ..] => "QOI",
        [b'D', b'D', b'S', b' ', ..] => "DDS",
        [0xab, b'K', b'T', b'X', ..] => "KTX",
        [0xff, 0x0a, ..] | [0, 0, 0, 0x0c, b'J', b'X', b'L', b' ', ..] => "JPEG XL",
        [b'%', b'P', b'D', b'F', ..] => "PDF",
        [b'%', b'!', ..] => "PostScript",
        [b'P', b'K', 3, 4, ..] => "a ZIP archive (perhaps a layered picture)",
        [0x1f, 0x8b, ..] => {
            return fault("this is compressed with gzip (perhaps a compressed SVG)", "Save it as plain SVG.");
        }
        _ => "",
    };
    if !looks.is_empty() {
        return fault(&format!("this is not a PNG or SVG; it looks like {looks}"), AS);
    }
    if let [0xff, 0xfe, ..] | [0xfe, 0xff, ..] = bytes {
        return fault("this is text in UTF-16", "Save it as SVG in UTF-8.");
    }
    let text = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes).trim_ascii_start();
    if text.starts_with(b"<") {
        let svg = text.windows(4).any(|window| window == b"<svg" || window == b":svg");
        if svg || text.starts_with(b"<?xml") {
            return Ok(Kind::Svg);
        }
        return fault("this is markup, but not SVG", AS);
    }
    fault("this is not a PNG or SVG", AS)
}

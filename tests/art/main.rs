//! Art files in: PNG and SVG, resampling, and input meant to do harm.

#[path = "../common/crc.rs"]
mod crc;
mod hostile;
mod made;
mod png;
mod resampling;
mod svg;

use fogweft::base::fault::Faults;
use fogweft::base::limits::Limits;
use fogweft::base::picture::Picture;
use fogweft::base::words::Blending;
use fogweft::scene::pictures::Source;

/// Reads bytes as a file of that name.
fn read(name: &str, bytes: impl AsRef<[u8]>) -> Result<Source, Faults> {
    Source::from_bytes(name, bytes.as_ref().to_vec(), &Limits::default())
}

/// Draws at a size, not mirrored.
fn draw(source: &Source, size: [u32; 2], wraps: bool, blending: Blending) -> Picture {
    source.draw(size, false, wraps, blending, &Limits::default()).expect("the picture can be drawn")
}

/// The message and remedy of the only fault.
fn fault(result: Result<Source, Faults>) -> String {
    let faults = result.expect_err("a fault was expected");
    assert_eq!(faults.list.len(), 1);
    let fault = &faults.list[0];
    assert!(fault.file.is_some(), "a fault names its file");
    assert!(!fault.remedy.is_empty(), "a fault says what to do");
    format!("{:?}: {}; {}", fault.class, fault.message, fault.remedy)
}

//! Pixels to bytes, bytes to files, and the manifest beside them.

pub mod files;
mod form;
pub mod manifest;
pub mod png;
pub mod stream;

pub use files::{make_folder, prepare_folder, sweep, write_whole};
pub use manifest::{Entry, Kind, Manifest, Still, apart};
pub use png::{Effort, Raster, encode};

//! Pixels to bytes, bytes to files, and the manifest beside them.

pub mod files;
mod form;
pub mod manifest;
pub mod png;
pub mod stream;

pub use files::{prepare_folder, write_whole};
pub use manifest::{Entry, Kind, Manifest, Still, guard};
pub use png::{Effort, Raster, encode};

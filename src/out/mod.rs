//! Pixels to bytes, bytes to files, and the manifest beside them.

pub mod files;
mod filter;
mod form;
pub mod manifest;
mod owned;
mod parts;
pub mod png;
pub mod stream;

pub use files::{make_folder, prepare_folder, sweep, write_whole};
pub use manifest::{Entry, Export, Kind, Manifest, Still, apart};
pub use owned::Owned;
pub use png::{Effort, Raster, encode, encode_channels};

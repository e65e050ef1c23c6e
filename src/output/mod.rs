//! Texels to PNG, textures, other forms of the stack, and the manifest beside them.

mod form;
pub mod forms;
pub mod manifest;
mod one_line;
pub mod pictures;
pub mod png;
pub mod stream;
pub mod texture;

pub use manifest::{Entry, Export, Manifest, Still, apart};
pub(crate) use png::encode_texture;
pub use png::{Effort, encode, encode_channels};

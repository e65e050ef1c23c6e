//! What a program calls that uses the library: a sheet of fog on its own, and a whole scene, both without a file.

mod fog;
#[cfg(feature = "scene")]
mod memory;
mod numbers;

pub use fog::{Fog, FogSheet};
#[cfg(feature = "scene")]
pub use memory::{RenderedScene, SceneInMemory};

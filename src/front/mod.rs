//! What a program calls that uses the library: a sheet of fog on its own, and a whole scene, both without a file.

mod fog;
mod memory;
mod numbers;

pub use fog::{Fog, FogSheet};
pub use memory::{RenderedScene, SceneInMemory};

//! From text to the scene as meant: every default, colour and override resolved.

#[cfg(feature = "scene")]
pub mod apart;
#[cfg(feature = "scene")]
pub(crate) mod bases;
#[cfg(feature = "scene")]
mod check;
#[cfg(feature = "scene")]
pub(crate) mod edit;
pub mod keys;
#[cfg(feature = "scene")]
mod lamps;
#[cfg(feature = "scene")]
pub mod layered;
#[cfg(feature = "scene")]
mod meant;
#[cfg(feature = "scene")]
mod moods;
#[cfg(feature = "scene")]
pub mod pictures;
#[cfg(feature = "scene")]
mod places;
#[cfg(feature = "scene")]
pub mod project;
#[cfg(feature = "scene")]
pub mod read;
pub mod recipe;
#[cfg(feature = "scene")]
pub mod schema;
#[cfg(feature = "scene")]
mod sets;
mod source;
#[cfg(feature = "scene")]
pub mod start;
mod texture;
#[cfg(feature = "scene")]
mod written;

#[cfg(feature = "scene")]
pub use lamps::Lamp;
#[cfg(feature = "scene")]
pub use meant::{
    Air, ArtPlace, CheckLimits, Curve, End, Fade, Lighting, Repeat, Rims, Sampled, Scene, SheetPlace, Slot,
    StrokesPlace,
};
pub use source::Source;
pub use texture::{Fit, Texture};

/// Whether a slot may be called so.
#[cfg(feature = "scene")]
pub(crate) fn is_slot_name(name: &str) -> bool {
    check::name(name).is_ok()
}

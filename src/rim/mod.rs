//! Rims: fog gathered behind one silhouette, solved so that the lightness step across its outline is the wanted one.
//!
//! Coverage times bands goes through the sheet's own smear and soften, wide: the spread. Along the outline the optical depth that
//! each place requires is found on the composite; the spread times a gain, a field blurred the same way and corrected a few times,
//! meets it. Opacity is 1 - exp(-depth). Beneath the art the rim ends a few texels in.

mod ceiling;
mod codec;
mod crop;
mod depth;
mod draw;
mod gain;
mod kernel;
pub(crate) mod lightness_step;
pub(crate) mod outline;
mod part;
pub(crate) mod problem;
mod requirement;
mod samples;
mod selection;
mod solve;
mod spread;

pub use draw::Rim;
pub use problem::{Outcome, SHARE, TOLERANCE};

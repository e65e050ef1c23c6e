//! Light: a picture in another light than it is painted in.
//!
//! Reflected light is the product of what falls on a surface and what the surface reflects, channel by channel in linear light (common
//! practice, no source: three channels stand in for the spectrum). What is lighter than `keep` shines by itself, and stays.

use super::each_colour;
use crate::plan::treatment::Relight;

/// Lights the colours of texels, also where they are transparent.
pub(super) fn apply(light: &Relight, texels: &mut [[u16; 4]]) {
    each_colour(texels, |colour| light.on(colour));
}

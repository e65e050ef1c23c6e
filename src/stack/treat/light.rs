//! Light: a picture in another light than it is painted in.
//!
//! Reflected light is the product of what falls on a surface and what the surface reflects, channel by channel in linear light (common
//! practice, no source: three channels stand in for the spectrum). What is lighter than `keep` shines by itself, and stays.

use crate::base::colour::Srgb;
use crate::base::picture::Picture;
use crate::plan::treatment::Relight;
use rayon::prelude::*;
use std::collections::HashMap;

/// Lights a picture's colours, also where it is transparent.
pub(super) fn apply(light: &Relight, picture: &mut Picture) {
    picture.texels.par_chunks_mut(4096).for_each(|texels| {
        let mut known = HashMap::new();
        for texel in texels {
            let codes = [texel[0], texel[1], texel[2]];
            let lit = *known.entry(codes).or_insert_with(|| {
                let colour = Srgb(codes.map(|code| f32::from(code) / 65535.0));
                light.on(colour).0.map(|value| (value * 65535.0 + 0.5) as u16)
            });
            texel[..3].copy_from_slice(&lit);
        }
    });
}

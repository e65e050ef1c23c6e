//! The copy of a picture that is drawn, with its light, tint, fade and floor. The picture itself is never touched.

mod fade;
mod floor;
mod light;
mod tint;

use crate::base::colour::Srgb;
use crate::base::picture::Picture;
use crate::base::words::Blending;
use crate::plan::treatment::Treatment;
use rayon::prelude::*;
use std::collections::HashMap;
use tint::Air;

/// Rows of a picture that a thread treats at once.
const ROWS: usize = 16;

/// Treats rows of a picture.
pub(crate) struct Treater<'a> {
    treatment: &'a Treatment,
    width: usize,
    air: Option<Air<'a>>,
}

impl<'a> Treater<'a> {
    /// Of a picture `width` texels wide; `blending` is the space that the tint is mixed in.
    pub fn new(treatment: &'a Treatment, width: u32, blending: Blending) -> Treater<'a> {
        let width = width as usize;
        let air = treatment.tint.as_ref().map(|tint| Air::new(tint, width, blending));
        Treater { treatment, width, air }
    }

    /// Treats whole rows, the first of them the picture's row `first`.
    pub fn apply(&self, first: usize, rows: &mut [[u16; 4]]) {
        if let Some(light) = &self.treatment.light {
            light::apply(light, rows);
        }
        if let Some(air) = &self.air {
            air.apply(first, rows);
        }
        if self.treatment.floor > 0.0 {
            floor::apply(self.treatment.floor, rows);
        }
        if let Some(fade) = &self.treatment.fade {
            fade::apply(fade, self.width, first, rows);
        }
    }
}

impl Treatment {
    /// The treated copy. `blending` is the space that the tint is mixed in.
    pub fn apply(&self, mut picture: Picture, blending: Blending) -> Picture {
        if self.nothing() {
            return picture;
        }
        // What comes of it lies between the codes of 8 bits.
        picture.deep = true;
        let treater = Treater::new(self, picture.size[0], blending);
        let parts = picture.texels.par_chunks_mut(treater.width * ROWS).enumerate();
        parts.for_each(|(part, rows)| treater.apply(part * ROWS, rows));
        picture
    }
}

/// Puts another colour in the place of each. Art is flat for the most part: each is worked out once.
fn each_colour(texels: &mut [[u16; 4]], change: impl Fn(Srgb) -> Srgb) {
    let mut known: HashMap<[u16; 3], [u16; 3]> = HashMap::new();
    let mut last = None;
    for texel in texels {
        let codes = [texel[0], texel[1], texel[2]];
        let changed = match last {
            Some((same, changed)) if same == codes => changed,
            _ => *known.entry(codes).or_insert_with(|| {
                let colour = Srgb(codes.map(|code| f32::from(code) / 65535.0));
                change(colour).0.map(|value| (value * 65535.0 + 0.5) as u16)
            }),
        };
        last = Some((codes, changed));
        texel[..3].copy_from_slice(&changed);
    }
}

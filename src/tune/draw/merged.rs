//! Layers of a draft that stay while others change: drawn once, as one picture behind those that change and one before them. While somebody
//! drags one slot, most of a draft needn't be composed again.

use super::layers::{Draft, RimPicture, Under};
use crate::base::picture::Picture;
use crate::stack::Made;
use crate::stack::compositor::{Compositor, Draft as Pixels, Pixels as _};
use crate::tune::view::View;
use rayon::prelude::*;
use rayon::slice::ChunksMut;
use std::ops::Range;
use std::sync::Arc;

/// Fewest jobs that are merged: the pictures that stand for them cost as much as a few layers.
const LEAST: usize = 6;

/// A draft as it is drawn for a page.
#[derive(Clone)]
pub(super) struct Drawing {
    pub draft: Arc<Draft>,
    pub rims: Vec<Option<Arc<RimPicture>>>,
    /// The turn of the view that it shows.
    pub drafted: u64,
}

impl Drawing {
    /// Whether a job of both has the very same rim, or none.
    pub fn has_rim_of(&self, other: &Drawing, at: usize) -> bool {
        let [own, others] = [self, other].map(|drawing| drawing.rims[at].as_ref().map(Arc::as_ptr));
        own == others
    }

    /// The jobs, from the first to the last, whose layers are others than in an earlier drawing; none where any may be.
    pub fn differing(&self, before: &Drawing) -> Option<Range<usize>> {
        if self.drafted != before.drafted || !self.draft.is_as_large_as(&before.draft) {
            return None;
        }
        let differs = |at: &usize| !self.has_rim_of(before, *at) || !self.draft.draws_as(&before.draft, *at);
        let count = self.rims.len();
        let first = (0..count).find(differs);
        Some(first.map_or(0..0, |first| first..(0..count).rfind(differs).map_or(first, |last| last + 1)))
    }
}

/// See the module.
pub(super) struct Merged {
    /// What was merged, held so that its layers can be told from others.
    of: Drawing,
    /// The jobs that change.
    apart: Range<usize>,
    behind: Picture,
    before: Picture,
}

impl Merged {
    /// All jobs of a drawing but those `apart`; none where that gains nothing.
    pub fn new(of: &Drawing, apart: Range<usize>, view: &View) -> Option<Merged> {
        let Drawing { draft, rims, .. } = of;
        if rims.len() - apart.len() < LEAST {
            return None;
        }
        let (layers, under) = (draft.layers(view), Under::new(view.ground, draft.plan.texels));
        let behind = opaque(&under.lay(draft.some(0..apart.start, view, &layers, rims)));
        let over = |ground: f32| draft.some(apart.end..rims.len(), view, &layers, rims).over([ground; 3]);
        let before = by_themselves([over(0.0), over(1.0)]);
        Some(Merged { of: of.clone(), apart, behind, before })
    }

    /// Whether they are layers of another drawing, too.
    pub fn fits(&self, drawing: &Drawing) -> bool {
        let Range { start, end } = self.apart;
        let differing = drawing.differing(&self.of);
        differing.is_some_and(|jobs| jobs.is_empty() || (start <= jobs.start && jobs.end <= end))
    }

    /// A drawing that they fit, composed with them.
    pub fn compositor<'a>(
        &'a self,
        drawing: &'a Drawing,
        view: &View,
        layers: &'a [Option<Made>],
    ) -> Compositor<'a> {
        let apart = drawing.draft.some(self.apart.clone(), view, layers, &drawing.rims);
        apart.over_texels(&self.behind).under_texels(&self.before)
    }
}

/// The texels of `stack` as a picture.
fn opaque(stack: &Compositor<'_>) -> Picture {
    picture(stack, |out| {
        stack.strips(out, |_, pixels: &mut Pixels, texels: &mut [[u16; 4]]| {
            pixels.leave(&stack.space);
            let [red, green, blue] = &pixels.planes;
            for (texel, (red, (green, blue))) in texels.iter_mut().zip(red.iter().zip(green.iter().zip(blue)))
            {
                *texel = [*red, *green, *blue, u16::MAX];
            }
        });
    })
}

/// What layers look like by themselves that are drawn over black and over white.
fn by_themselves([black, white]: [Compositor<'_>; 2]) -> Picture {
    let count = black.size[1].div_ceil(Pixels::ROWS);
    let mut over_black: Vec<Pixels> = (0..count).map(|_| Pixels::default()).collect();
    black.strips(over_black.par_iter_mut(), |_, pixels: &mut Pixels, out| {
        out.planes = std::mem::take(&mut pixels.planes);
    });
    picture(&white, |out| {
        let strips = out.zip(&over_black);
        white.strips(strips, |_, pixels: &mut Pixels, (texels, over_black): (&mut [[u16; 4]], &Pixels)| {
            texels.copy_from_slice(&over_black.by_themselves(pixels, &white.space));
        });
    })
}

/// A picture as large as `stack`, each of its strips drawn by `draw`.
fn picture(stack: &Compositor<'_>, draw: impl FnOnce(ChunksMut<'_, [u16; 4]>)) -> Picture {
    let [width, height] = stack.size;
    let mut texels = vec![[0; 4]; width * height];
    draw(texels.par_chunks_mut(width * Pixels::ROWS));
    Picture { size: stack.size.map(|side| side as u32), deep: true, texels }
}

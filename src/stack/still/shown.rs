//! What a run leaves of a frame: its texels, and steps of lightness for the value view.
//!
//! Both are taken from each strip as it is drawn: the exact colours of a large frame never exist whole in memory.

use super::{Layer, STRIP, eight, sixteen, strips};
use crate::base::raster::Owned;
use crate::base::simd::vectorize;
use crate::base::space::{Lanes, Space};
use crate::base::units::Camera;
use crate::base::words::Bits;
use crate::plan::Plan;
use crate::stack::values;
use rayon::prelude::*;

/// A composed frame as texels and as steps of lightness.
pub struct Shown {
    /// Opaque RGBA; dithered at 8 bits.
    pub texels: Owned,
    /// The grey of each texel's step of lightness.
    pub greys: Vec<u8>,
}

impl Shown {
    /// Draws `layers`, which must be in drawing order, at camera place `camera`.
    pub fn new(plan: &Plan, layers: &[Layer<'_>], camera: Camera, bits: Bits) -> Shown {
        let (size, space) = (plan.texels, Space::new(plan.blending));
        let (texels, greys) = match bits {
            Bits::Eight => {
                let (samples, greys) = drawn(
                    plan,
                    layers,
                    camera,
                    #[inline(always)]
                    |y, row, out| eight(&space, y, row, out),
                );
                (Owned::Eight { size, samples }, greys)
            }
            Bits::Sixteen => {
                let (samples, greys) = drawn(
                    plan,
                    layers,
                    camera,
                    #[inline(always)]
                    |_, row, out| sixteen(&space, row, out),
                );
                (Owned::Sixteen { size, samples }, greys)
            }
        };
        Shown { texels, greys }
    }
}

fn drawn<T: Copy + Default + Send>(
    plan: &Plan,
    layers: &[Layer<'_>],
    camera: Camera,
    write: impl Fn(usize, &mut [Lanes], &mut [T]) + Sync + Send,
) -> (Vec<T>, Vec<u8>) {
    let [width, height] = plan.texels.map(|side| side as usize);
    let scale = values::Scale::new(plan.blending);
    let (mut samples, mut greys) = (vec![T::default(); width * height * 4], vec![0; width * height]);
    let strip = width * STRIP;
    let outs = samples.par_chunks_mut(strip * 4).zip(greys.par_chunks_mut(strip));
    strips(plan, layers, camera, outs, |first, board, (samples, greys)| {
        let rows = board.chunks_mut(width).zip(samples.chunks_mut(width * 4).zip(greys.chunks_mut(width)));
        for (y, (row, (samples, greys))) in (first..).zip(rows) {
            vectorize(
                #[inline(always)]
                || {
                    scale.greys(row, greys);
                    write(y, row, samples);
                },
            );
        }
    });
    (samples, greys)
}

//! The still: the stack drawn far to near, source-over, at one camera place.
//!
//! Composed from exact values, not from the 8-bit texels, so that the law holds to half a step of the output. Every picture
//! stands on the nearest whole texel of the view.

use crate::base::bitmap::Bytes;
use crate::base::raster::Owned;
use crate::base::simd::vectorize;
use crate::base::space::{Lanes, Space};
use crate::base::words::{Bits, Blending};
use crate::stack::compositor::{Compositor, Exact, Pixels};
use crate::stack::values;
use crate::steps::dither;
use rayon::prelude::*;

/// A composed frame: RGB in the blending's own space, 0..1, row by row.
pub struct Still {
    /// Width and height in texels.
    pub size: [u32; 2],
    /// The colours.
    pub colours: Vec<[f32; 3]>,
    blending: Blending,
}

impl Still {
    /// Draws what `compositor` holds.
    pub(crate) fn new<P: Pixels>(compositor: &Compositor<'_>) -> Still {
        let [width, height] = compositor.size;
        // Side by side: the memory of a large still is new to the system.
        let mut colours: Vec<[f32; 3]> = rayon::iter::repeat_n([0.0; 3], width * height).collect();
        compositor
            .strips(colours.par_chunks_mut(width * P::ROWS), |_, pixels: &mut P, out| pixels.colours(out));
        let size = compositor.size.map(|side| side as u32);
        Still { size, colours, blending: compositor.space.blending }
    }

    /// As RGBA, 8 bits, dithered.
    pub fn eight(&self) -> Vec<u8> {
        self.rows(u8::MAX, eight)
    }

    /// As RGBA, 16 bits, exact.
    pub fn sixteen(&self) -> Vec<u16> {
        self.rows(u16::MAX, |space, _, colours, texels| sixteen(space, colours, texels))
    }

    /// How its colours are mixed.
    pub fn blending(&self) -> Blending {
        self.blending
    }

    fn rows<T: Copy + Send>(
        &self,
        blank: T,
        write: impl Fn(&Space, usize, &mut [Lanes], &mut [T]) + Sync,
    ) -> Vec<T> {
        let (space, width) = (Space::new(self.blending), self.size[0] as usize);
        let mut out = vec![blank; self.colours.len() * 4];
        let rows = out.par_chunks_mut(width * 4).zip(self.colours.par_chunks(width)).enumerate();
        rows.for_each_init(Vec::new, |row: &mut Vec<Lanes>, (y, (texels, colours))| {
            row.clear();
            row.extend(colours.iter().map(|[r, g, b]| [*r, *g, *b, 0.0]));
            vectorize(
                #[inline(always)]
                || write(&space, y, row, texels),
            );
        });
        out
    }
}

/// A row of colours, which leave the space in place, as RGBA of 8 bits, dithered; `y` is the row's place in the picture.
#[inline(always)]
fn eight(space: &Space, y: usize, row: &mut [Lanes], out: &mut [u8]) {
    space.leave_row(row);
    dither::opaque(y, row, out);
}

/// A row of colours, which leave the space in place, as RGBA of 16 bits, exact.
#[inline(always)]
fn sixteen(space: &Space, row: &mut [Lanes], out: &mut [u16]) {
    space.leave_row(row);
    for (texel, [r, g, b, _]) in out.as_chunks_mut::<4>().0.iter_mut().zip(row) {
        let code = |value: &f32| (value.clamp(0.0, 1.0) * 65535.0 + 0.5) as u16;
        *texel = [code(r), code(g), code(b), u16::MAX];
    }
}

/// A composed frame as a run leaves it: texels and steps of lightness. Both are taken from each strip as it is drawn: the exact
/// colours of a large frame never exist whole in memory.
pub struct Shown {
    /// Opaque RGBA; dithered at 8 bits.
    pub texels: Owned,
    /// The grey of each texel's step of lightness.
    pub greys: Vec<u8>,
}

impl Shown {
    /// Draws what `compositor` holds.
    pub(crate) fn new(compositor: &Compositor<'_>, bits: Bits) -> Shown {
        let (size, space) = (compositor.size.map(|side| side as u32), &compositor.space);
        match bits {
            Bits::Eight => {
                let (samples, greys) = drawn(
                    compositor,
                    #[inline(always)]
                    |y, row, out| eight(space, y, row, out),
                );
                Shown { texels: Owned::Eight { size, samples }, greys }
            }
            Bits::Sixteen => {
                let (samples, greys) = drawn(
                    compositor,
                    #[inline(always)]
                    |_, row, out| sixteen(space, row, out),
                );
                Shown { texels: Owned::Sixteen { size, samples }, greys }
            }
        }
    }
}

fn drawn<T: Copy + Default + Send>(
    compositor: &Compositor<'_>,
    write: impl Fn(usize, &mut [Lanes], &mut [T]) + Sync + Send,
) -> (Vec<T>, Vec<u8>) {
    let [width, height] = compositor.size;
    let scale = values::Scale::new(compositor.space.blending);
    let (mut samples, mut greys) = (vec![T::default(); width * height * 4], vec![0; width * height]);
    let strip = width * Exact::ROWS;
    let outs = samples.par_chunks_mut(strip * 4).zip(greys.par_chunks_mut(strip));
    compositor.strips(outs, |first, pixels: &mut Exact, (samples, greys)| {
        let rows =
            pixels.lanes.chunks_mut(width).zip(samples.chunks_mut(width * 4).zip(greys.chunks_mut(width)));
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

/// Strips that are drawn side by side before what they became is handed on: few enough that little is held, many beside what threads
/// wait for the last of them.
const TOGETHER: usize = 64;

/// Draws what `compositor` holds strip by strip, each handed to `take` as the rows that a PNG of it filters: a byte for the filter's type,
/// then red, green and blue of 8 bits, dithered, or of 16, the high byte first; and whether it is the last. `keep` gets what it made of
/// them, in order; the greys of the steps of lightness come back.
pub(crate) fn strips<T: Send>(
    compositor: &Compositor<'_>,
    bits: Bits,
    take: impl Fn(&mut [u8], bool) -> T + Sync + Send,
    mut keep: impl FnMut(T),
) -> Bytes {
    let [width, height] = compositor.size;
    let scale = values::Scale::new(compositor.space.blending);
    let (count, mut all) = (height.div_ceil(Exact::ROWS), Bytes::default());
    for from in (0..count).step_by(TOGETHER) {
        let mut made: Vec<Option<(T, Bytes)>> = (from..count.min(from + TOGETHER)).map(|_| None).collect();
        compositor.strips_from(from, made.par_iter_mut(), |first, pixels: &mut Exact, made| {
            let rows = Exact::ROWS.min(height - first);
            let (mut bytes, greys) =
                rows_of_file((compositor, &scale), bits, first, &mut pixels.lanes[..width * rows]);
            *made = Some((take(&mut bytes, first + rows >= height), Bytes::new(width, &greys)));
        });
        for (made, greys) in made.into_iter().flatten() {
            keep(made);
            all = all.and(greys);
        }
    }
    all
}

/// The rows of a file of some drawn ones, the first of them `first` in the picture, and their greys.
fn rows_of_file(
    (compositor, scale): (&Compositor<'_>, &values::Scale),
    bits: Bits,
    first: usize,
    lanes: &mut [Lanes],
) -> (Vec<u8>, Vec<u8>) {
    let ([width, _], space) = (compositor.size, &compositor.space);
    let stride = 1 + width * if bits == Bits::Eight { 3 } else { 6 };
    let mut greys = vec![0; lanes.len()];
    let mut bytes = vec![0; lanes.len() / width * stride];
    let (mut codes, mut deep) = (vec![0; width * 4], vec![0; width * 4]);
    let rows = lanes.chunks_mut(width).zip(greys.chunks_mut(width)).zip(bytes.chunks_mut(stride));
    for (y, ((row, greys), out)) in (first..).zip(rows) {
        vectorize(
            #[inline(always)]
            || {
                scale.greys(row, greys);
                match bits {
                    Bits::Eight => {
                        eight(space, y, row, &mut codes);
                        opaque(&codes, &mut out[1..], |code| [code]);
                    }
                    Bits::Sixteen => {
                        sixteen(space, row, &mut deep);
                        opaque(&deep, &mut out[1..], u16::to_be_bytes);
                    }
                }
            },
        );
    }
    (bytes, greys)
}

/// Writes red, green and blue of RGBA.
#[inline(always)]
fn opaque<T: Copy, const N: usize>(samples: &[T], out: &mut [u8], bytes: impl Fn(T) -> [u8; N]) {
    for (out, [r, g, b, _]) in out.chunks_exact_mut(3 * N).zip(samples.as_chunks().0) {
        for (out, sample) in out.as_chunks_mut::<N>().0.iter_mut().zip([r, g, b]) {
            *out = bytes(*sample);
        }
    }
}

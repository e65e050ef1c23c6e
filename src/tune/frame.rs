//! Pictures as a page gets them.

use crate::base::simd::vectorize;
use crate::stack::compositor::{Compositor, Draft, Pixels};
use crate::stack::still::Still;
use crate::stack::values;
use crate::steps::dither;
use crate::tune::hub::Frame;
use crate::tune::view::View;
use rayon::prelude::*;

/// Bytes of a picture's head.
pub(super) const HEAD: usize = 48;
/// Texels follow as RGBA.
const RGBA: u8 = 0;
/// Texels follow as [`subsampled`] has them: a browser takes longest over receiving a picture.
const SUBSAMPLED: u8 = 1;
/// A byte for each texel.
const BYTES: u8 = 2;
/// Texels follow as [`subsampled`] has them, of a part of the picture that the page has already.
const PART: u8 = 3;

/// The left top of a part and its size, texels.
pub(super) type Part = ([u32; 2], [u32; 2]);

/// What a picture shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// The scene as it stands.
    Now = 0,
    /// What it is compared with.
    Other = 1,
    /// A part of the scene as it stands, at scale 1.
    Part = 2,
    /// The outline of the chosen slot's picture.
    Outline = 3,
}

/// What a picture is of: the number of the newest message that it holds, and the scene's revision.
#[derive(Clone, Copy, Debug)]
pub(super) struct Of {
    pub stamp: u64,
    pub revision: u64,
}

/// A draft, whole or a part of it; a part begins where the dither's pattern does, and isn't one of steps of lightness.
pub(super) fn draft(stack: Compositor<'_>, view: &View, kind: Kind, part: Option<Part>, of: Of) -> Frame {
    let size = part.map_or(stack.size.map(|side| side as u32), |(_, size)| size);
    let (form, texels) = match part {
        Some((at, size)) => (PART, subsampled(&stack.part(at, size))),
        None if view.values => (RGBA, values::view(&Still::new::<Draft>(&stack))),
        None => (SUBSAMPLED, subsampled(&stack)),
    };
    let at = part.map_or([0, 0], |(at, _)| at);
    Frame { head: head(at, size, view, [kind as u8, 0, form], of), texels }
}

/// The line around a picture that is chosen, `size` texels large, by its opacity.
pub(super) fn outline(line: Vec<u8>, size: [u32; 2], view: &View, of: Of) -> Frame {
    let at = view.part.map_or([0, 0], |[left, top, ..]| [left, top]);
    Frame { head: head(at, size, view, [Kind::Outline as u8, 1, BYTES], of), texels: line }
}

/// A picture of a `kind` at full resolution, with its `texels` in RGBA; `is_settled` unless more of it is still to come.
pub(super) fn settled(
    texels: Vec<u8>,
    view: &View,
    kind: Kind,
    (at, size): Part,
    is_settled: bool,
    of: Of,
) -> Frame {
    Frame { head: head(at, size, view, [kind as u8, u8::from(is_settled), RGBA], of), texels }
}

/// The texels of a settled picture in RGBA.
pub(super) fn texels(still: &Still, view: &View) -> Vec<u8> {
    if view.values { values::view(still) } else { still.eight() }
}

/// `fogw`, kind, whether it is settled, how its texels follow, width, height, stamp, turn, camera place to the right, left, top, camera place down.
fn head(at: [u32; 2], size: [u32; 2], view: &View, marks: [u8; 3], of: Of) -> [u8; HEAD] {
    let mut head = [0; HEAD];
    head[..4].copy_from_slice(b"fogw");
    head[4..7].copy_from_slice(&marks);
    head[8..12].copy_from_slice(&size[0].to_le_bytes());
    head[12..16].copy_from_slice(&size[1].to_le_bytes());
    head[16..20].copy_from_slice(&(of.stamp as u32).to_le_bytes());
    head[20..24].copy_from_slice(&(of.revision as u32).to_le_bytes());
    head[24..32].copy_from_slice(&view.camera.right.0.to_le_bytes());
    head[32..36].copy_from_slice(&at[0].to_le_bytes());
    head[36..40].copy_from_slice(&at[1].to_le_bytes());
    head[40..48].copy_from_slice(&view.camera.down.0.to_le_bytes());
    head
}

/// 12 bits a texel, by chroma subsampling. First the green of every texel, 8 bits, dithered: it stands for the luma. Then, of every
/// two by two, how much more red than green there is, halved, from 128 on; then the same of blue. Greys stay exact.
pub(super) fn subsampled(stack: &Compositor<'_>) -> Vec<u8> {
    let [width, height] = stack.size;
    let [across, down] = [width.div_ceil(2), height.div_ceil(2)];
    let mut out = vec![0; width * height + 2 * across * down];
    let (luma, rest) = out.split_at_mut(width * height);
    let (red, blue) = rest.split_at_mut(across * down);
    // A strip is an even number of rows.
    let pairs = across * Draft::ROWS / 2;
    let outs = luma
        .par_chunks_mut(width * Draft::ROWS)
        .zip(red.par_chunks_mut(pairs).zip(blue.par_chunks_mut(pairs)));
    stack.strips(outs, |first, pixels: &mut Draft, (luma, (red, blue))| {
        pixels.leave(&stack.space);
        let [reds, greens, blues] = &pixels.planes;
        vectorize(
            #[inline(always)]
            || {
                for (y, (codes, green)) in (first..).zip(luma.chunks_mut(width).zip(greens.chunks(width))) {
                    dithered(y, green, codes);
                }
                differences(width, reds, greens, red);
                differences(width, blues, greens, blue);
            },
        );
    });
    out
}

/// Row `y` in 8 bits, dithered.
#[inline(always)]
fn dithered(y: usize, row: &[u16], codes: &mut [u8]) {
    let thresholds = dither::row(y).map(|threshold| (threshold * 256.0) as u16);
    for (codes, row) in codes.chunks_mut(dither::SIDE).zip(row.chunks(dither::SIDE)) {
        for ((code, value), threshold) in codes.iter_mut().zip(row).zip(&thresholds) {
            // 255 codes in 255 times 256 parts.
            *code = ((value - (value >> 8) + threshold) >> 8) as u8;
        }
    }
}

/// How much more there is in one plane than in another, of every two by two: halved, from 128 on.
#[inline(always)]
fn differences(width: usize, more: &[u16], less: &[u16], out: &mut [u8]) {
    let rows = more.chunks(2 * width).zip(less.chunks(2 * width));
    for ((more, less), out) in rows.zip(out.chunks_mut(width.div_ceil(2))) {
        // Where there is one row or column alone it stands for the missing one.
        let (above, below) = more.split_at(more.len() - width);
        let above = if above.is_empty() { below } else { above };
        let (less_above, less_below) = less.split_at(less.len() - width);
        let less_above = if less_above.is_empty() { less_below } else { less_above };
        let pairs = |row| <[u16]>::as_chunks::<2>(row).0;
        let (a, b) = (pairs(above).iter().zip(pairs(less_above)), pairs(below).iter().zip(pairs(less_below)));
        for ((out, (a, less_a)), (b, less_b)) in out.iter_mut().zip(a).zip(b) {
            *out = mean(gain(*a, *less_a) + gain(*b, *less_b));
        }
        if !width.is_multiple_of(2) {
            let last = |row: &[u16]| [row[width - 1]; 2];
            out[width / 2] = mean(gain(last(above), last(less_above)) + gain(last(below), last(less_below)));
        }
    }
}

#[inline(always)]
fn gain(more: [u16; 2], less: [u16; 2]) -> i32 {
    i32::from(more[0]) - i32::from(less[0]) + i32::from(more[1]) - i32::from(less[1])
}

/// The mean of four differences from their sum, in 257ths of a code, halved: an eighth of a 257th; from 128 on.
#[inline(always)]
fn mean(sum: i32) -> u8 {
    (((sum * 255 + (1 << 18)) >> 19) + 128).clamp(0, 255) as u8
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::picture::Picture;
    use crate::stack::Source;
    use crate::stack::compositor::{Layer, Place};

    /// As the page does it.
    fn decoded([width, height]: [usize; 2], encoded: &[u8]) -> Vec<[u8; 3]> {
        let [across, down] = [width.div_ceil(2), height.div_ceil(2)];
        let more = |plane: usize, x: usize, y: usize| {
            2 * (i32::from(encoded[width * height + plane * across * down + y / 2 * across + x / 2]) - 128)
        };
        let texel = |at: usize| {
            let (x, y) = (at % width, at / width);
            let green = i32::from(encoded[at]);
            let near = |plane: usize| (green + more(plane, x, y)).clamp(0, 255) as u8;
            [near(0), green as u8, near(1)]
        };
        (0..width * height).map(texel).collect()
    }

    fn encoded(size: [u32; 2], texel: impl Fn(usize) -> [u8; 3]) -> Vec<u8> {
        let texel = |at: usize| {
            let [r, g, b] = texel(at).map(|code| u16::from(code) * 257);
            [r, g, b, u16::MAX]
        };
        let texels = (0..size[0] as usize * size[1] as usize).map(texel).collect();
        let picture = Picture { size, deep: false, texels };
        let layer = Layer { source: Source::Picture(&picture), place: Place::at([0, 0], size) };
        subsampled(&Compositor::plain(size, [1.0; 4], vec![layer]))
    }

    #[test]
    fn greys_stay_exact_and_even_colours_within_a_code() {
        for size in [[1_u32, 1], [2, 2], [5, 3], [16, 23]] {
            for colour in [
                [0, 0, 0],
                [255, 255, 255],
                [97, 97, 97],
                [255, 0, 0],
                [0, 0, 255],
                [12, 250, 3],
                [201, 180, 140],
            ] {
                let encoded = encoded(size, |_| colour);
                for found in decoded(size.map(|side| side as usize), &encoded) {
                    let off = (0..3).map(|at| found[at].abs_diff(colour[at])).max().unwrap();
                    let grey = colour[0] == colour[1] && colour[1] == colour[2];
                    assert!(off <= u8::from(!grey), "{colour:?} {found:?}");
                }
            }
        }
    }

    #[test]
    fn light_keeps_its_detail() {
        // A checkerboard of texels: the green, most of what is seen, is that of each.
        let texel =
            |at: usize| if (at % 8 + at / 8).is_multiple_of(2) { [200, 190, 180] } else { [60, 50, 40] };
        for (at, found) in decoded([8, 8], &encoded([8, 8], texel)).into_iter().enumerate() {
            let texel = texel(at);
            assert_eq!(found[1], texel[1]);
            assert!(found[0].abs_diff(texel[0]) <= 1 && found[2].abs_diff(texel[2]) <= 1);
        }
    }
}

//! Pictures as a page gets them.

use super::hub::{Frame, View};
use crate::plan::Plan;
use crate::rim::Survey;
use crate::still::Still;
use crate::values;
use rayon::prelude::*;

/// Texels follow as RGBA.
const WHOLE: u8 = 0;
/// Texels follow as [`lean`] has them.
const LEAN: u8 = 1;

/// A picture with its head: `fogw`, kind, whether it is settled, how its texels follow, width, height, stamp, turn, camera place.
pub(super) fn frame(
    plan: &Plan,
    still: &Still,
    view: &View,
    [kind, settled]: [u8; 2],
    stamp: u64,
    turn: u64,
) -> Frame {
    let texels = if view.values { values::view(plan, still, &Survey::nothing(), 0) } else { still.eight() };
    let (form, texels) = match settled {
        0 => (LEAN, lean(still.size, &texels)),
        _ => (WHOLE, texels),
    };
    let mut head = [0; 32];
    head[..4].copy_from_slice(b"fogw");
    (head[4], head[5], head[6]) = (kind, settled, form);
    head[8..12].copy_from_slice(&still.size[0].to_le_bytes());
    head[12..16].copy_from_slice(&still.size[1].to_le_bytes());
    head[16..20].copy_from_slice(&(stamp as u32).to_le_bytes());
    head[20..24].copy_from_slice(&(turn as u32).to_le_bytes());
    head[24..].copy_from_slice(&view.camera.to_le_bytes());
    Frame { head, texels }
}

/// RGBA as 12 bits a texel, for drafts: a browser takes longest over receiving a picture. First the green of every texel; then, of
/// every two by two, how much more red than green there is, halved, from 128 on; then the same of blue. Greys stay exact.
fn lean([width, height]: [u32; 2], texels: &[u8]) -> Vec<u8> {
    let [width, height] = [width, height].map(|side| side as usize);
    let [across, down] = [width.div_ceil(2), height.div_ceil(2)];
    let mut out = vec![0; width * height + 2 * across * down];
    let (green, rest) = out.split_at_mut(width * height);
    let (red, blue) = rest.split_at_mut(across * down);
    let rows = green
        .par_chunks_mut(2 * width)
        .zip(red.par_chunks_mut(across))
        .zip(blue.par_chunks_mut(across))
        .zip(texels.par_chunks(8 * width));
    rows.for_each(|(((green, red), blue), texels)| {
        let texels = texels.as_chunks::<4>().0;
        for (green, texel) in green.iter_mut().zip(texels) {
            *green = texel[1];
        }
        let (upper, lower) = texels.split_at(width);
        // At an odd edge the last row and column stand for the missing ones.
        let lower = if lower.is_empty() { upper } else { lower };
        for (at, (red, blue)) in red.iter_mut().zip(blue).enumerate() {
            let (x, next) = (2 * at, (2 * at + 1).min(width - 1));
            let mean = |channel: usize| {
                let over = |texel: &[u8; 4]| i32::from(texel[channel]) - i32::from(texel[1]);
                let sum = over(&upper[x]) + over(&upper[next]) + over(&lower[x]) + over(&lower[next]);
                // -4 * 255 to 4 * 255, to eighths from 128 on.
                (((sum + 4) >> 3) + 128).min(255) as u8
            };
            (*red, *blue) = (mean(0), mean(2));
        }
    });
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// As the page does it.
    fn unpacked([width, height]: [usize; 2], lean: &[u8]) -> Vec<[u8; 3]> {
        let [across, down] = [width.div_ceil(2), height.div_ceil(2)];
        let more = |plane: usize, x: usize, y: usize| {
            2 * (i32::from(lean[width * height + plane * across * down + y / 2 * across + x / 2]) - 128)
        };
        let texel = |at: usize| {
            let (x, y) = (at % width, at / width);
            let green = i32::from(lean[at]);
            let near = |plane: usize| (green + more(plane, x, y)).clamp(0, 255) as u8;
            [near(0), green as u8, near(1)]
        };
        (0..width * height).map(texel).collect()
    }

    #[test]
    fn greys_stay_exact_and_even_colours_within_a_code() {
        for size in [[1_u32, 1], [2, 2], [5, 3], [16, 9]] {
            let count = (size[0] * size[1]) as usize;
            let [width, height] = size.map(|side| side as usize);
            for colour in [
                [0, 0, 0],
                [255, 255, 255],
                [97, 97, 97],
                [255, 0, 0],
                [0, 0, 255],
                [12, 250, 3],
                [201, 180, 140],
            ] {
                let texels: Vec<u8> =
                    [colour[0], colour[1], colour[2], 255].into_iter().cycle().take(4 * count).collect();
                for found in unpacked([width, height], &lean(size, &texels)) {
                    let off =
                        (0..3).map(|at| (i32::from(found[at]) - colour[at] as i32).abs()).max().unwrap();
                    let grey = colour[0] == colour[1] && colour[1] == colour[2];
                    assert!(off <= i32::from(!grey), "{colour:?} {found:?}");
                }
            }
        }
    }

    #[test]
    fn light_keeps_its_detail() {
        // A checkerboard of texels: the green, most of what is seen, is that of each.
        let texels: Vec<u8> = (0..64)
            .flat_map(|at| if (at % 8 + at / 8) % 2 == 0 { [200, 190, 180, 255] } else { [60, 50, 40, 255] })
            .collect();
        let found = unpacked([8, 8], &lean([8, 8], &texels));
        for (found, texel) in found.iter().zip(texels.chunks(4)) {
            assert_eq!(found[1], texel[1]);
            assert!(found[0].abs_diff(texel[0]) <= 1 && found[2].abs_diff(texel[2]) <= 1);
        }
    }
}

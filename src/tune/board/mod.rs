//! Drafts mixed in whole numbers of 16 bits, red, green and blue apart: one instruction takes sixteen texels.
//!
//! A draft's fog is softer than the still's, and the rest of it within a code; settled pictures are drawn exactly.

mod layer;
mod view;

use crate::base::colour::Srgb;
use crate::base::picture::Picture;
use crate::base::placing::Placing;
use crate::base::simd::vectorize;
use crate::base::units::Camera;
use crate::base::words::Blending;
use crate::plan::Plan;
use crate::stack::still::Still;
use crate::steps::dither;
use crate::steps::sheet::Sheet;
use layer::{LIGHT, Pieced, Poured, sixteen};
use rayon::prelude::*;
use std::sync::Arc;
use view::{Seen, View};

/// Rows that are drawn together: few enough to stay near the processor.
const STRIP: usize = 10;

/// A layer of a draft, and where it stands.
#[derive(Clone)]
pub(super) struct Laid {
    pub what: What,
    pub placing: Placing,
}

/// What a draft is drawn of.
#[derive(Clone)]
pub(super) enum What {
    /// Fog, coarser than the view or as fine.
    Fog(Arc<Sheet>),
    /// Art, or a rim as a picture.
    Picture(Arc<Picture>),
}

/// A composed draft: red, green and blue in the blending's own space, 0..65535, row by row.
pub(super) struct Board {
    /// Width and height in texels.
    pub size: [u32; 2],
    planes: [Vec<u16>; 3],
    blending: Blending,
}

/// What a layer is drawn from.
enum Ready {
    Fog(Arc<Poured>, Seen),
    Picture(Arc<Pieced>),
}

/// What is kept from one draft to the next: layers that stay.
#[derive(Default)]
pub(super) struct Easel {
    poured: Vec<Arc<Poured>>,
    pieced: Vec<Arc<Pieced>>,
}

impl Easel {
    /// Layers as they are drawn. Of a sheet that is new no more than is seen: it may be another in the next draft.
    fn ready(&mut self, layers: &[Laid], view: &View) -> Vec<Ready> {
        let Easel { poured, pieced } = std::mem::take(self);
        let ready = layers.iter().map(|layer| match &layer.what {
            What::Fog(sheet) => {
                let cols = sheet.size()[0] as usize;
                let seen = view.seen(&layer.placing, sheet.size());
                let window = [seen.start, seen.count];
                let kept =
                    poured.iter().find(|one| Arc::ptr_eq(&one.sheet, sheet) && one.linear == view.linear);
                let one = match kept {
                    Some(one) if one.holds(window).is_some() => Arc::clone(one),
                    None if seen.count < cols => Arc::new(Poured::new(sheet, view.linear, window)),
                    _ => Arc::new(Poured::new(sheet, view.linear, [0, cols])),
                };
                self.poured.push(Arc::clone(&one));
                Ready::Fog(one, seen)
            }
            What::Picture(picture) => {
                let kept = pieced.iter().find(|one| Arc::ptr_eq(&one.picture, picture));
                let one = kept.map_or_else(|| Arc::new(Pieced::new(picture)), Arc::clone);
                self.pieced.push(Arc::clone(&one));
                Ready::Picture(one)
            }
        });
        ready.collect()
    }

    /// Draws `layers`, far to near, at `camera`.
    pub fn draw(&mut self, plan: &Plan, layers: &[Laid], camera: Camera) -> Board {
        let [width, height] = plan.texels.map(|side| side as usize);
        let linear = plan.blending == Blending::Linear;
        let Srgb(ground) = plan.backdrop;
        let ground =
            ground.map(|value| if linear { LIGHT[0][sixteen(value) as usize] } else { sixteen(value) });
        let mut planes = ground.map(|value| vec![value; width * height]);
        let [red, green, blue] = &mut planes;
        let strips = red
            .par_chunks_mut(width * STRIP)
            .zip(green.par_chunks_mut(width * STRIP))
            .zip(blue.par_chunks_mut(width * STRIP))
            .enumerate();
        let view = View { scale: plan.scale, camera, width, linear };
        let ready = self.ready(layers, &view);
        strips.for_each_init(Default::default, |tools, (strip, ((red, green), blue))| {
            let out = &mut [red, green, blue];
            for (layer, ready) in layers.iter().zip(&ready) {
                vectorize(
                    #[inline(always)]
                    || match ready {
                        Ready::Fog(poured, seen) => view.fog(seen, poured, strip * STRIP, tools, out),
                        Ready::Picture(picture) => view.picture(&layer.placing, picture, strip * STRIP, out),
                    },
                );
            }
        });
        Board { size: plan.texels, planes, blending: plan.blending }
    }
}

impl Board {
    /// As exact values.
    pub fn still(&self) -> Still {
        let [red, green, blue] = &self.planes;
        let unit = |code: &u16| f32::from(*code) / 65535.0;
        let colours = red.par_iter().zip(green).zip(blue).map(|((r, g), b)| [unit(r), unit(g), unit(b)]);
        Still::of(self.size, colours.collect(), self.blending)
    }

    /// As 12 bits a texel. First the green of every texel, 8 bits, dithered; then, of every two by two, how much more red than green
    /// there is, halved, from 128 on; then the same of blue. Greys stay exact.
    pub fn lean(mut self) -> Vec<u8> {
        let [width, height] = self.size.map(|side| side as usize);
        if self.blending == Blending::Linear {
            let encode = &LIGHT[1];
            let turn = |code: &mut u16| *code = encode[*code as usize];
            self.planes.iter_mut().for_each(|plane| plane.par_iter_mut().with_min_len(4096).for_each(turn));
        }
        let [across, down] = [width.div_ceil(2), height.div_ceil(2)];
        let mut out = vec![0; width * height + 2 * across * down];
        let (green, rest) = out.split_at_mut(width * height);
        let (red, blue) = rest.split_at_mut(across * down);
        let rows = green
            .par_chunks_mut(2 * width)
            .zip(red.par_chunks_mut(across).zip(blue.par_chunks_mut(across)))
            .zip(self.planes[0].par_chunks(2 * width).zip(self.planes[2].par_chunks(2 * width)))
            .zip(self.planes[1].par_chunks(2 * width))
            .enumerate();
        rows.for_each(|(pair, (((codes, (more, bluer)), (red, blue)), green))| {
            vectorize(
                #[inline(always)]
                || {
                    for (at, (codes, green)) in codes.chunks_mut(width).zip(green.chunks(width)).enumerate() {
                        let thresholds =
                            dither::row(2 * pair + at).map(|threshold| (threshold * 256.0) as u16);
                        for (codes, green) in codes.chunks_mut(dither::SIDE).zip(green.chunks(dither::SIDE)) {
                            for ((code, green), threshold) in codes.iter_mut().zip(green).zip(&thresholds) {
                                // 255 codes in 255 times 256 parts.
                                *code = ((green - (green >> 8) + threshold) >> 8) as u8;
                            }
                        }
                    }
                    differences(width, red, green, more);
                    differences(width, blue, green, bluer);
                },
            );
        });
        out
    }
}

/// How much more there is in one plane than in another, of two rows by twos: halved, from 128 on.
#[inline(always)]
fn differences(width: usize, more: &[u16], less: &[u16], out: &mut [u8]) {
    // Where there is one row or column alone it stands for the missing one.
    let last = |plane: &[u16]| plane.len().saturating_sub(width);
    let (above, below) = ((&more[..width], &less[..width]), (&more[last(more)..], &less[last(less)..]));
    // Of four, in 257ths of a code, halved: an eighth of a 257th.
    let mean = |sum: i32| (((sum * 255 + (1 << 18)) >> 19) + 128).clamp(0, 255) as u8;
    let whole = width / 2;
    let [a, b, c, d] =
        [above.0, above.1, below.0, below.1].map(|row: &[u16]| -> &[[u16; 2]] { row.as_chunks::<2>().0 });
    for ((out, (a, b)), (c, d)) in out.iter_mut().zip(a.iter().zip(b)).zip(c.iter().zip(d)) {
        let gain = |x: &[u16; 2], y: &[u16; 2]| {
            i32::from(x[0]) - i32::from(y[0]) + i32::from(x[1]) - i32::from(y[1])
        };
        *out = mean(gain(a, b) + gain(c, d));
    }
    if whole < out.len() {
        let gain = |row: (&[u16], &[u16])| 2 * (i32::from(row.0[width - 1]) - i32::from(row.1[width - 1]));
        out[whole] = mean(gain(above) + gain(below));
    }
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

    fn board(size: [u32; 2], texel: impl Fn(usize) -> [u8; 3]) -> Board {
        let count = size.map(|side| side as usize).iter().product();
        let plane = |channel: usize| (0..count).map(|at| u16::from(texel(at)[channel]) * 257).collect();
        Board { size, planes: [0, 1, 2].map(plane), blending: Blending::Encoded }
    }

    #[test]
    fn greys_stay_exact_and_even_colours_within_a_code() {
        for size in [[1_u32, 1], [2, 2], [5, 3], [16, 9]] {
            for colour in [
                [0, 0, 0],
                [255, 255, 255],
                [97, 97, 97],
                [255, 0, 0],
                [0, 0, 255],
                [12, 250, 3],
                [201, 180, 140],
            ] {
                let lean = board(size, |_| colour).lean();
                for found in unpacked(size.map(|side| side as usize), &lean) {
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
        for (at, found) in unpacked([8, 8], &board([8, 8], texel).lean()).into_iter().enumerate() {
            let texel = texel(at);
            assert_eq!(found[1], texel[1]);
            assert!(found[0].abs_diff(texel[0]) <= 1 && found[2].abs_diff(texel[2]) <= 1);
        }
    }
}

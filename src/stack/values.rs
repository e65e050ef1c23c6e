//! The value view: a still in steps of CIE L*, with stretches of outline that lack their separation hatched.

use crate::base::colour::lightness::{least_luminance, luminance_f32};
use crate::base::simd::vectorize;
use crate::base::space::{Lanes, Space};
use crate::base::words::Blending;
use crate::rim;
use crate::stack::still::Still;
use crate::stack::survey::{Mark, Survey};
use ::wide::f32x4;
use rayon::prelude::*;

/// Height of a step, CIE L*.
pub const STEP: f64 = 10.0;

/// Steps from 0 to 100.
const STEPS: usize = (100.0 / STEP) as usize;

/// Distance from an outline that hatching reaches, as a share of the view's height.
const REACH: f64 = 0.006;
/// Texels from one line of the hatching to the next, at least.
const PITCH: usize = 6;
/// Share of the outline within reach that must lack its separation too: a speck is no failing outline.
const STRETCH: f64 = 0.5;

/// Texels that are looked at together.
const TOGETHER: usize = 32;

/// The steps of lightness in the space that a scene's colours are mixed in.
pub(crate) struct Scale {
    space: Space,
    /// Where each step but the lowest begins: luminances are compared, no root is taken for every texel.
    begins: [f32; STEPS - 1],
    /// The grey of the middle of each step.
    greys: [u8; STEPS],
}

impl Scale {
    pub(crate) fn new(blending: Blending) -> Scale {
        Scale {
            space: Space::new(blending),
            begins: std::array::from_fn(|at| least_luminance((at + 1) as f64 * STEP)),
            greys: std::array::from_fn(|at| grey((at as f64 + 0.5) * STEP)),
        }
    }

    /// The grey of each colour's step.
    #[inline(always)]
    pub(crate) fn greys(&self, colours: &[Lanes], greys: &mut [u8]) {
        let (blocks, rest) = colours.as_chunks::<TOGETHER>();
        let (of_blocks, of_rest) = greys.as_chunks_mut::<TOGETHER>();
        for (colours, greys) in blocks.iter().zip(of_blocks) {
            // Luminance grows with red, green and blue, also as it is rounded here.
            let [low, high] = ends(colours).map(|colour| self.grey(colour));
            if low == high {
                greys.fill(low);
            } else {
                self.each(colours, greys);
            }
        }
        self.each(rest, of_rest);
    }

    #[inline(always)]
    fn each(&self, colours: &[Lanes], greys: &mut [u8]) {
        for (grey, colour) in greys.iter_mut().zip(colours) {
            *grey = self.grey(*colour);
        }
    }

    #[inline(always)]
    fn grey(&self, [r, g, b, _]: Lanes) -> u8 {
        let luminance = luminance_f32(self.space.light([r, g, b]));
        self.greys[self.begins.iter().map(|begin| usize::from(luminance >= *begin)).sum::<usize>()]
    }
}

/// The least and the most of each channel.
#[inline(always)]
fn ends(colours: &[Lanes; TOGETHER]) -> [Lanes; 2] {
    // Of every fourth colour, so that none waits for the one before it.
    let [mut least, mut most] = [f32::INFINITY, f32::NEG_INFINITY].map(|end| [f32x4::splat(end); 4]);
    for colours in colours.as_chunks::<4>().0 {
        for ((least, most), colour) in least.iter_mut().zip(&mut most).zip(colours) {
            let colour = f32x4::new(*colour);
            *least = least.fast_min(colour);
            *most = most.fast_max(colour);
        }
    }
    let least = least.into_iter().reduce(f32x4::fast_min);
    let most = most.into_iter().reduce(f32x4::fast_max);
    [least, most].map(|end| end.unwrap_or_default().to_array())
}

/// The value view of `still`, without its outlines: RGBA, 8 bits.
pub fn view(still: &Still) -> Vec<u8> {
    let (width, scale) = (still.size[0] as usize, Scale::new(still.blending()));
    let mut greys = vec![0; still.colours.len()];
    let rows = greys.par_chunks_mut(width).zip(still.colours.par_chunks(width));
    rows.for_each_init(Vec::new, |row: &mut Vec<Lanes>, (greys, colours)| {
        row.clear();
        row.extend(colours.iter().map(|[r, g, b]| [*r, *g, *b, 0.0]));
        vectorize(
            #[inline(always)]
            || scale.greys(row, greys),
        );
    });
    greys.par_iter().flat_map_iter(|grey| [*grey, *grey, *grey, u8::MAX]).collect()
}

/// Hatches, in `greys`, those of the steps in a picture `width` texels wide which was taken from the survey's camera place `place`, stretches
/// of outline that fail: black beside white, so that it stands out from any grey.
pub fn hatch(width: usize, greys: &mut [u8], survey: &Survey, place: usize) {
    let reach = (REACH * (greys.len() / width) as f64).round().max(2.0) as usize;
    let failing = |(job, marks): &(usize, Vec<Mark>)| -> Vec<[u32; 2]> {
        let wanted = survey.wanted.get(job).copied().unwrap_or(0.0);
        let seen: Vec<&Mark> =
            marks.iter().filter(|mark| usize::from(mark.place) == place && mark.seen()).collect();
        let fails = |mark: &&&Mark| lacks(mark.after, wanted);
        if !seen.iter().any(|mark| fails(&mark)) {
            return Vec::new();
        }
        let all = Sums::new(seen.iter().map(|mark| mark.at));
        let failing = Sums::new(seen.iter().filter(fails).map(|mark| mark.at));
        let stretch = |mark: &&&Mark| {
            f64::from(failing.around(mark.at, reach)) >= STRETCH * f64::from(all.around(mark.at, reach))
        };
        seen.iter().filter(fails).filter(stretch).map(|mark| mark.at).collect()
    };
    let failing: Vec<Vec<[u32; 2]>> = survey.marks.par_iter().map(failing).collect();
    let mut failing = failing.concat();
    failing.sort_unstable_by_key(|[x, y]| [*y, *x]);
    let rows = greys.par_chunks_mut(width).enumerate();
    rows.for_each(|(y, texels)| hatch_row(y, texels, &failing, reach));
}

/// Hatches what of the row `y` lies within `reach` of the places `failing`, which are sorted by their rows.
fn hatch_row(y: usize, texels: &mut [u8], failing: &[[u32; 2]], reach: usize) {
    let first = failing.partition_point(|at| (at[1] as usize) + reach < y);
    let last = failing.partition_point(|at| at[1] as usize <= y + reach);
    let pitch = PITCH.max(reach);
    for [x, row] in &failing[first..last] {
        let (x, off) = (*x as usize, y.abs_diff(*row as usize));
        let half = (reach * reach - off * off).isqrt();
        let to = (x + half + 1).min(texels.len());
        let from = x.saturating_sub(half).min(to);
        for (x, texel) in (from..).zip(&mut texels[from..to]) {
            match (x + y) % pitch {
                0 | 1 => *texel = 0,
                2 | 3 => *texel = u8::MAX,
                _ => {}
            }
        }
    }
}

/// Counts of marks in rectangles, by a summed-area table (Crow 1984) over the one that holds them all.
struct Sums {
    corner: [usize; 2],
    size: [usize; 2],
    sums: Vec<u32>,
}

impl Sums {
    fn new(marks: impl Iterator<Item = [u32; 2]> + Clone) -> Sums {
        let (mut corner, mut end) = ([usize::MAX; 2], [0; 2]);
        for at in marks.clone() {
            for axis in 0..2 {
                corner[axis] = corner[axis].min(at[axis] as usize);
                end[axis] = end[axis].max(at[axis] as usize + 1);
            }
        }
        let size = [0, 1].map(|axis: usize| end[axis].saturating_sub(corner[axis]));
        let across = size[0] + 1;
        let mut sums = vec![0_u32; across * (size[1] + 1)];
        for [x, y] in marks {
            sums[(y as usize - corner[1] + 1) * across + x as usize - corner[0] + 1] += 1;
        }
        for y in 1..=size[1] {
            let mut row = 0;
            for x in 1..across {
                row += sums[y * across + x];
                sums[y * across + x] = row + sums[(y - 1) * across + x];
            }
        }
        Sums { corner, size, sums }
    }

    /// Marks within `reach` of a texel along x and y.
    fn around(&self, at: [u32; 2], reach: usize) -> u32 {
        let span = |axis: usize| {
            let place = |at: usize| at.saturating_sub(self.corner[axis]).min(self.size[axis]);
            let at = at[axis] as usize;
            (place(at.saturating_sub(reach)), place(at + reach + 1))
        };
        let ((left, right), (top, foot)) = (span(0), span(1));
        let sum = |x: usize, y: usize| self.sums[y * (self.size[0] + 1) + x];
        sum(right, foot) + sum(left, top) - sum(left, foot) - sum(right, top)
    }
}

/// Whether a step misses what is wanted.
pub(crate) fn lacks(step: f32, wanted: f64) -> bool {
    wanted > 0.0 && f64::from(step) < wanted - rim::TOLERANCE
}

/// The grey of this L*.
fn grey(lightness: f64) -> u8 {
    let y =
        if lightness > 8.0 { libm::pow((lightness + 16.0) / 116.0, 3.0) } else { lightness * 27.0 / 24389.0 }
            as f32;
    crate::base::colour::Linear([y; 3]).encode().to_codes()[0]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::seed;

    #[test]
    fn many_colours_at_once_have_the_greys_of_each() {
        for blending in [Blending::Encoded, Blending::Linear] {
            let scale = Scale::new(blending);
            let random =
                |at: usize, of: usize| (seed::hash(5, at as i64, of as i64) >> 40) as f32 / (1 << 24) as f32;
            // From one shade to all there are; more colours than are looked at together, and some over.
            for spread in [0.0, 0.01, 0.1, 1.0] {
                let row: Vec<Lanes> = (0..40 * TOGETHER + 7)
                    .map(|at| {
                        let around = (at / TOGETHER) as f32 / 40.0;
                        std::array::from_fn(|of| (around + spread * (random(at, of) - 0.5)).clamp(0.0, 1.0))
                    })
                    .collect();
                let (mut greys, mut want) = (vec![1; row.len()], vec![2; row.len()]);
                scale.greys(&row, &mut greys);
                scale.each(&row, &mut want);
                assert_eq!(greys, want, "{blending:?}, {spread}");
                assert!(want.iter().collect::<std::collections::BTreeSet<_>>().len() >= STEPS - 1);
            }
        }
    }
}

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

/// What is hatched of a picture: stretches of outline that fail, black beside white, so that it stands out from any grey.
pub struct Hatching {
    failing: Marks,
    /// How far from these, texels.
    reach: usize,
}

impl Hatching {
    /// Of a picture `height` texels tall which was taken from the survey's camera place `place`.
    pub fn new(height: u32, survey: &Survey, place: usize) -> Hatching {
        let reach = (REACH * f64::from(height)).round().max(2.0) as usize;
        Hatching { failing: Marks::new(failing(survey, place, reach).into_iter()), reach }
    }

    /// Hatches the row `y` of the steps' greys.
    pub fn row(&self, y: usize, texels: &mut [u8]) {
        let reach = self.reach;
        let pitch = PITCH.max(reach);
        for [x, row] in self.failing.of_rows(y as u32, reach as u32) {
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
}

/// Places of outlines that fail, in stretches.
fn failing(survey: &Survey, place: usize, reach: usize) -> Vec<[u32; 2]> {
    let failing = |(job, marks): &(usize, Vec<Mark>)| -> Vec<[u32; 2]> {
        let wanted = survey.wanted.get(job).copied().unwrap_or(0.0);
        let seen: Vec<&Mark> =
            marks.iter().filter(|mark| usize::from(mark.place) == place && mark.seen()).collect();
        let fails = |mark: &&&Mark| lacks(mark.after, wanted);
        if !seen.iter().any(|mark| fails(&mark)) {
            return Vec::new();
        }
        let all = Marks::new(seen.iter().map(|mark| mark.at));
        let failing = Marks::new(seen.iter().filter(fails).map(|mark| mark.at));
        let near = reach as u32;
        let stretch = |mark: &&&Mark| {
            failing.around(mark.at, near) as f64 >= STRETCH * all.around(mark.at, near) as f64
        };
        seen.iter().filter(fails).filter(stretch).map(|mark| mark.at).collect()
    };
    let failing: Vec<Vec<[u32; 2]>> = survey.marks.par_iter().map(failing).collect();
    failing.concat()
}

/// Marks by rows and, of a row, by columns.
struct Marks(Vec<[u32; 2]>);

impl Marks {
    fn new(places: impl Iterator<Item = [u32; 2]>) -> Marks {
        let mut places: Vec<[u32; 2]> = places.collect();
        places.sort_unstable_by_key(|[x, y]| [*y, *x]);
        Marks(places)
    }

    /// Those in rows within `reach` of the row `y`.
    fn of_rows(&self, y: u32, reach: u32) -> &[[u32; 2]] {
        let near = &self.0[self.0.partition_point(|at| at[1] + reach < y)..];
        &near[..near.partition_point(|at| at[1] <= y + reach)]
    }

    /// How many lie within `reach` of a texel along x and y.
    fn around(&self, [x, y]: [u32; 2], reach: u32) -> usize {
        let near = self.of_rows(y, reach);
        let (from, to) = (x.saturating_sub(reach), x + reach);
        let in_row =
            |row: &[[u32; 2]]| row.partition_point(|at| at[0] <= to) - row.partition_point(|at| at[0] < from);
        near.chunk_by(|a, b| a[1] == b[1]).map(in_row).sum()
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

    #[test]
    fn marks_within_reach_are_counted_along_both_axes() {
        let random = |at: usize, of: i64| (seed::hash(3, at as i64, of) >> 40) as u32 % 60;
        let places: Vec<[u32; 2]> = (0..700).map(|at| [0, 1].map(|of| random(at, of))).collect();
        let marks = Marks::new(places.iter().copied());
        for (at, reach) in places.iter().zip([0, 1, 5, 20].into_iter().cycle()) {
            let near = |other: &&[u32; 2]| (0..2).all(|axis| at[axis].abs_diff(other[axis]) <= reach);
            assert_eq!(marks.around(*at, reach), places.iter().filter(near).count(), "{at:?} {reach}");
        }
    }
}

//! The value view: a still in steps of CIE L*, with stretches of outline that lack their separation hatched.

use crate::colour::lightness::{least_luminance, quick_luminance};
use crate::plan::Plan;
use crate::rim::{self, Mark, Survey};
use crate::still::{Space, Still};
use crate::wide::wide;
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

/// The view of `still`, which was taken from the survey's camera place `place`: grey as RGBA, 8 bits. Each step has the grey of
/// its middle; hatching is black beside white, so that it stands out from any grey.
pub fn view(plan: &Plan, still: &Still, survey: &Survey, place: usize) -> Vec<u8> {
    let space = Space::new(plan.blending);
    let [width, height] = still.size.map(|side| side as usize);
    let greys: [u8; STEPS] = std::array::from_fn(|at| grey((at as f64 + 0.5) * STEP));
    // Where each step but the lowest begins: luminances are compared, no root is taken for every texel.
    let begins: [f32; STEPS - 1] = std::array::from_fn(|at| least_luminance((at + 1) as f64 * STEP));
    let mut out = vec![255_u8; width * height * 4];
    out.par_chunks_mut(4 * width).zip(still.colours.par_chunks(width)).for_each(|(texels, colours)| {
        wide(
            #[inline(always)]
            || {
                for (texel, colour) in texels.as_chunks_mut::<4>().0.iter_mut().zip(colours) {
                    let luminance = quick_luminance(space.light(*colour));
                    let at = begins.iter().map(|begin| usize::from(luminance >= *begin)).sum::<usize>();
                    texel[..3].fill(greys[at]);
                }
            },
        );
    });
    let reach = (REACH * height as f64).round().max(2.0) as usize;
    let failing = |(job, marks): &(usize, Vec<Mark>)| -> Vec<[u32; 2]> {
        let wanted = survey.wanted.get(job).copied().unwrap_or(0.0);
        let seen: Vec<&Mark> =
            marks.iter().filter(|mark| usize::from(mark.place) == place && mark.seen()).collect();
        let fails = |mark: &&&Mark| lacks(mark.after, wanted);
        if !seen.iter().any(|mark| fails(&mark)) {
            return Vec::new();
        }
        let all = Sums::new([width, height], seen.iter().copied());
        let failing = Sums::new([width, height], seen.iter().filter(fails).copied());
        let stretch = |mark: &&&Mark| {
            f64::from(failing.around(mark.at, reach)) >= STRETCH * f64::from(all.around(mark.at, reach))
        };
        seen.iter().filter(fails).filter(stretch).map(|mark| mark.at).collect()
    };
    let failing: Vec<Vec<[u32; 2]>> = survey.marks.par_iter().map(failing).collect();
    let mut hatched = vec![false; width * height];
    for at in failing.into_iter().flatten() {
        disc(&mut hatched, [width, height], at, reach);
    }
    let pitch = PITCH.max(reach);
    out.par_chunks_mut(4 * width).zip(hatched.par_chunks(width)).enumerate().for_each(
        |(y, (texels, hatched))| {
            for (x, (texel, _)) in
                texels.chunks_exact_mut(4).zip(hatched).enumerate().filter(|(_, (_, own))| **own)
            {
                match (x + y) % pitch {
                    0 | 1 => texel[..3].fill(0),
                    2 | 3 => texel[..3].fill(255),
                    _ => {}
                }
            }
        },
    );
    out
}

/// Counts of marks in rectangles, by a summed-area table (Crow 1984).
struct Sums {
    size: [usize; 2],
    sums: Vec<u32>,
}

impl Sums {
    fn new<'a>(size: [usize; 2], marks: impl Iterator<Item = &'a Mark>) -> Sums {
        let across = size[0] + 1;
        let mut sums = vec![0_u32; across * (size[1] + 1)];
        for mark in marks {
            let [x, y] = mark.at.map(|at| at as usize);
            sums[(y + 1) * across + x + 1] += 1;
        }
        for y in 1..=size[1] {
            let mut row = 0;
            for x in 1..across {
                row += sums[y * across + x];
                sums[y * across + x] = row + sums[(y - 1) * across + x];
            }
        }
        Sums { size, sums }
    }

    /// Marks within `reach` of a texel along x and y.
    fn around(&self, at: [u32; 2], reach: usize) -> u32 {
        let span = |axis: usize| {
            let at = at[axis] as usize;
            (at.saturating_sub(reach), (at + reach + 1).min(self.size[axis]))
        };
        let ((left, right), (top, foot)) = (span(0), span(1));
        let sum = |x: usize, y: usize| self.sums[y * (self.size[0] + 1) + x];
        sum(right, foot) + sum(left, top) - sum(left, foot) - sum(right, top)
    }
}

/// Marks the texels within `reach` of one.
fn disc(hatched: &mut [bool], [width, height]: [usize; 2], at: [u32; 2], reach: usize) {
    let ([x, y], reach) = (at.map(i64::from), reach as i64);
    for row in (y - reach).max(0)..=(y + reach).min(height as i64 - 1) {
        let half = libm::sqrt((reach * reach - (row - y) * (row - y)) as f64) as i64;
        let (from, to) = ((x - half).max(0) as usize, (x + half).min(width as i64 - 1) as usize);
        let line = row as usize * width;
        hatched[line + from..=line + to].fill(true);
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
    crate::colour::Linear([y; 3]).encode().to_codes()[0]
}

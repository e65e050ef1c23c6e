//! The value view: a still in steps of CIE L*, with stretches of outline that lack their separation hatched.

use crate::plan::Plan;
use crate::rim::{self, Mark, Survey};
use crate::still::{Space, Still};
use rayon::prelude::*;

/// Height of a step, CIE L*.
pub const STEP: f64 = 10.0;

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
    let greys: Vec<u8> =
        (0..(100.0 / STEP).ceil() as usize).map(|at| grey((at as f64 + 0.5) * STEP)).collect();
    let mut out = vec![255_u8; width * height * 4];
    out.par_chunks_mut(4 * width).zip(still.colours.par_chunks(width)).for_each(|(texels, colours)| {
        for (texel, colour) in texels.chunks_exact_mut(4).zip(colours) {
            let at = (f64::from(space.lightness(*colour)) / STEP).max(0.0) as usize;
            texel[..3].fill(greys[at.min(greys.len() - 1)]);
        }
    });
    let reach = (REACH * height as f64).round().max(2.0) as usize;
    let mut hatched = vec![false; width * height];
    for (job, marks) in &survey.marks {
        let wanted = survey.wanted.get(job).copied().unwrap_or(0.0);
        let seen: Vec<&Mark> =
            marks.iter().filter(|mark| usize::from(mark.place) == place && mark.seen()).collect();
        let fails = |mark: &&&Mark| lacks(mark.after, wanted);
        if seen.iter().any(|mark| fails(&mark)) {
            let all = Sums::new([width, height], seen.iter().copied());
            let failing = Sums::new([width, height], seen.iter().filter(fails).copied());
            for mark in seen.iter().filter(fails) {
                if f64::from(failing.around(mark.at, reach))
                    >= STRETCH * f64::from(all.around(mark.at, reach))
                {
                    disc(&mut hatched, [width, height], mark.at, reach);
                }
            }
        }
    }
    let pitch = PITCH.max(reach);
    for (at, _) in hatched.iter().enumerate().filter(|(_, hatched)| **hatched) {
        let (x, y) = (at % width, at / width);
        let line = (x + y) % pitch;
        if line < 2 {
            out[at * 4..at * 4 + 3].fill(0);
        } else if line < 4 {
            out[at * 4..at * 4 + 3].fill(255);
        }
    }
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

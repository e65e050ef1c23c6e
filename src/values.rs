//! The value view: a still in steps of CIE L*, with outlines that lack their separation hatched.

use crate::plan::Plan;
use crate::rim::{self, Survey};
use crate::still::{Space, Still};
use rayon::prelude::*;

/// Height of a step, CIE L*.
pub const STEP: f64 = 10.0;

/// Distance from an outline that hatching reaches, as a share of the view's height.
const REACH: f64 = 0.006;
/// Texels from one line of the hatching to the next, at least.
const PITCH: usize = 6;

/// The view of `still`, which was taken from the survey's camera place `place`: grey as RGBA, 8 bits. Each step has the grey of
/// its middle; hatching is black beside white, so that it stands out from any grey.
pub fn view(plan: &Plan, still: &Still, survey: &Survey, place: usize) -> Vec<u8> {
    let space = Space::new(plan.blending);
    let [width, height] = still.size.map(|side| side as usize);
    let greys: Vec<u8> =
        (0..(100.0 / STEP).ceil() as usize).map(|at| grey((at as f64 + 0.5) * STEP)).collect();
    let mut out = vec![255_u8; width * height * 4];
    out.par_chunks_mut(4).zip(&still.colours).for_each(|(texel, colour)| {
        let at = (f64::from(space.lightness(*colour)) / STEP).max(0.0) as usize;
        texel[..3].fill(greys[at.min(greys.len() - 1)]);
    });
    let reach = (REACH * height as f64).round().max(2.0) as i64;
    let pitch = PITCH.max(reach as usize);
    let mut hatched = vec![false; width * height];
    for (job, marks) in &survey.marks {
        let wanted = survey.wanted.get(job).copied().unwrap_or(0.0);
        let failing =
            marks.iter().filter(|mark| usize::from(mark.place) == place && lacks(mark.after, wanted));
        for mark in failing {
            let [x, y] = mark.at.map(i64::from);
            for row in (y - reach).max(0)..=(y + reach).min(height as i64 - 1) {
                let line = row as usize * width;
                let (from, to) = ((x - reach).max(0) as usize, (x + reach).min(width as i64 - 1) as usize);
                hatched[line + from..=line + to].fill(true);
            }
        }
    }
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

//! The part of a problem that a rim can lie in: around the places that lack their separation where fog could bring it. Nothing else of
//! the art and its canvas is worked out.

use crate::base::exp::opacity;
use crate::rim::depth::KNEE;
use crate::rim::kernel::Kernel;
use crate::rim::lightness_step::{LightnessStep, Sides};
use crate::rim::outline::Point;
use crate::rim::problem::{Observation, Problem, TOLERANCE};
use crate::steps::grid::Grid;
use crate::steps::upsample::Upsampler;
use rayon::prelude::*;
use std::ops::Range;

/// Deviations around those places within which others may be taken through to the fog's side; chosen by eye.
const CORE: f64 = 2.0;
/// Deviations around these that fog reaches: beyond it a Gaussian has 7e-6 of itself.
const REACH: f64 = 4.5;
/// Sides of the fog toward the light, away from it and between: any other is as light as something between these.
const SIDES: [f32; 3] = [-1.0, 0.0, 1.0];

/// An observation with what it shows without fog.
#[derive(Clone, Copy)]
pub(super) struct Seen {
    /// Which observation of the problem.
    pub at: u32,
    /// Which point.
    pub point: u32,
    /// From which camera place.
    pub camera: u16,
    /// The composite of everything behind, and its relative luminance.
    pub behind: [f32; 3],
    pub luminance: f32,
    /// Whether it lacks its separation without fog.
    pub lacking: bool,
}

/// What is known of a problem before any fog is there.
pub(super) struct Known {
    sides: Vec<Sides>,
    seen: Vec<Seen>,
    /// How many of these lack their separation.
    pub lacking: usize,
    /// Left, top and right, bottom on the canvas of the places where fog could bring it, texels; none where it nowhere could.
    core: Option<[[f64; 2]; 2]>,
    /// How far the outline rises over the fog's line.
    pub highest: f64,
}

/// Columns and rows of a grid's samples.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Region {
    pub cols: Range<usize>,
    pub rows: Range<usize>,
}

/// A part of a problem.
pub(super) struct Part<'a> {
    pub problem: &'a Problem<'a>,
    pub known: &'a Known,
    pub kernel: Kernel,
    /// The grid of the whole canvas, and what of it this part is.
    pub whole: Grid,
    pub region: Region,
    /// Points of the outline that lie there, and where on the canvas.
    pub points: Vec<Point>,
    pub places: Vec<[f64; 2]>,
    pub sides: Vec<Sides>,
    pub seen: Vec<Seen>,
    /// Of the observations elsewhere: how many have their separation, and how many lack it for good.
    pub content_elsewhere: usize,
    pub lacking_elsewhere: usize,
    core: [Range<f64>; 2],
}

impl Problem<'_> {
    /// What is known beforehand.
    pub(super) fn known(&self, limit: f32) -> Known {
        let sides: Vec<Sides> = self.points.par_iter().map(|point| Sides::new(self.space, point)).collect();
        let wanted = self.job.spec.separation as f32;
        let seen = |(at, observation): (usize, &Observation)| {
            let Observation { point, camera, behind } = *observation;
            let luminance = self.space.luminance(behind);
            let step = LightnessStep::new(self.space, &sides[point as usize], behind, behind);
            let lacking = step.is_less(0.0, wanted);
            Seen { at: at as u32, point, camera, behind, luminance, lacking }
        };
        let seen: Vec<Seen> = self.observations.par_iter().enumerate().map(seen).collect();
        let lacking: Vec<Seen> = seen.iter().filter(|seen| seen.lacking).copied().collect();
        let core = self.core(&sides, &lacking, limit);
        let (line, open) = (self.job.spec.field.line.0, self.job.spec.field.open);
        let over = |point: &Point| (self.place(point)[1] - line) * open;
        let highest = self.points.iter().map(over).fold(0.0, f64::max);
        Known { sides, seen, lacking: lacking.len(), core, highest }
    }

    /// The frame of the places where fog of any of its colours could bring the separation.
    fn core(&self, sides: &[Sides], lacking: &[Seen], limit: f32) -> Option<[[f64; 2]; 2]> {
        let mut colours: Vec<Vec<[f32; 3]>> =
            SIDES.iter().map(|side| self.haze(self.points, |_| *side)).collect();
        if let Some(dark) = self.job.spec.dark {
            colours.push(vec![self.space.enter(dark.0); self.points.len()]);
        }
        let wanted = (self.job.spec.separation - TOLERANCE) as f32;
        let could = |seen: &&Seen| {
            let point = seen.point as usize;
            colours.iter().any(|colours| {
                let step = LightnessStep::new(self.space, &sides[point], seen.behind, colours[point]);
                step.ends(step.signed(0.0), opacity(KNEE * limit)).reach(wanted)
            })
        };
        let places: Vec<[f64; 2]> = lacking
            .par_iter()
            .filter(could)
            .map(|seen| self.place(&self.points[seen.point as usize]))
            .collect();
        places.into_iter().map(|place| [place; 2]).reduce(|[low, high], [place, _]| {
            [[low[0].min(place[0]), low[1].min(place[1])], [high[0].max(place[0]), high[1].max(place[1])]]
        })
    }
}

/// What of an axis is a part's: `own`, or where nothing is left out, all; places may also lie beyond then, and come round.
fn within(own: Range<f64>, all: bool) -> Range<f64> {
    if all { f64::NEG_INFINITY..f64::INFINITY } else { own }
}

impl<'a> Part<'a> {
    /// The part that a rim of this deviation along y can lie in; none where there can be none.
    pub fn new(problem: &'a Problem<'a>, known: &'a Known, deviation: f64) -> Option<Part<'a>> {
        let spec = &problem.job.spec;
        let kernel = Kernel::new(&spec.field, deviation);
        let whole = kernel.grid([spec.field.cols, spec.field.rows]);
        let [low, high] = known.core?;
        let samples = [whole.cols, whole.rows];
        let side = |axis: usize| {
            let of = |deviations: f64| {
                let by = deviations * kernel.deviation[axis];
                low[axis] - by..high[axis] + by
            };
            let (core, reach) = (of(CORE), of(CORE + REACH));
            // Saturates at 0.
            let [from, to] = [reach.start, reach.end].map(|at| at / whole.step[axis]);
            let samples = from as usize..(to.ceil() as usize).min(samples[axis]);
            (core, samples)
        };
        let ((core_x, mut cols), (core_y, rows)) = (side(0), side(1));
        if spec.periodic {
            cols = 0..whole.cols;
        }
        let core = [within(core_x, cols.len() == whole.cols), within(core_y, rows.len() == whole.rows)];
        let region = Region { cols, rows };
        let mut part = Part {
            problem,
            known,
            kernel,
            whole,
            region,
            points: Vec::new(),
            places: Vec::new(),
            sides: Vec::new(),
            seen: Vec::new(),
            content_elsewhere: 0,
            lacking_elsewhere: 0,
            core,
        };
        part.fill();
        Some(part)
    }

    /// Takes what lies in the region.
    fn fill(&mut self) {
        const NONE: u32 = u32::MAX;
        let (problem, known) = (self.problem, self.known);
        let bounds = |axis: usize, side: &Range<usize>, all: usize| {
            let [from, to] = [side.start, side.end].map(|at| at as f64 * self.whole.step[axis]);
            within(from..to, side.len() == all)
        };
        let bounds =
            [bounds(0, &self.region.cols, self.whole.cols), bounds(1, &self.region.rows, self.whole.rows)];
        let mut own = vec![NONE; problem.points.len()];
        for (at, point) in problem.points.iter().enumerate() {
            let place = problem.place(point);
            if (0..2).all(|axis| bounds[axis].contains(&place[axis])) {
                own[at] = self.points.len() as u32;
                self.points.push(*point);
                self.places.push(place);
                self.sides.push(known.sides[at]);
            }
        }
        let here = known.seen.iter().filter(|seen| own[seen.point as usize] != NONE);
        self.seen = here.map(|seen| Seen { point: own[seen.point as usize], ..*seen }).collect();
        let lacking = self.seen.iter().filter(|seen| seen.lacking).count();
        self.lacking_elsewhere = known.lacking - lacking;
        self.content_elsewhere = known.seen.len() - self.seen.len() - self.lacking_elsewhere;
    }

    /// The grid of its samples; their columns count from its own left.
    pub fn grid(&self) -> Grid {
        let Region { cols, rows } = &self.region;
        let top = self.whole.top + rows.start as f64 * self.whole.step[1];
        Grid { cols: cols.len(), rows: rows.len(), top, ..self.whole }
    }

    /// Where it begins on the canvas, texels.
    pub fn left(&self) -> f64 {
        self.region.cols.start as f64 * self.whole.step[0]
    }

    /// What draws a rim from its samples, as far as they turn into coefficients.
    pub fn upsampler(&self) -> Upsampler {
        let grid = self.grid();
        // Where a sample is a texel, so it is here.
        Upsampler::new(grid, (grid.cols as f64 * grid.step[0]).round() as usize)
    }

    /// What holds for the problem's observations, of those that are here.
    pub fn here(&self, all: &[bool]) -> Vec<bool> {
        self.seen.iter().map(|seen| all[seen.at as usize]).collect()
    }

    /// What holds for those that are here, of the problem's; for no others.
    pub fn everywhere(&self, here: &[bool]) -> Vec<bool> {
        let mut all = vec![false; self.known.seen.len()];
        self.seen.iter().zip(here).for_each(|(seen, here)| all[seen.at as usize] = *here);
        all
    }

    /// Whether a point is so near to those that lack their separation that it may be taken through.
    pub fn is_core(&self, point: u32) -> bool {
        let place = self.places[point as usize];
        (0..2).all(|axis| self.core[axis].contains(&place[axis]))
    }
}

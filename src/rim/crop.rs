//! From the solved airs to a rim that takes no more room than it fills.

use crate::rim::depth::drawn_depth;
use crate::rim::draw::{Rim, Solved};
use crate::rim::part::Region;
use crate::rim::problem::{Air, Problem};
use crate::rim::solve::Solution;
use crate::steps::grid::{Grid, Plane};
use crate::steps::upsample::Upsampler;

/// Drawn depth from which a rim is seen: a twentieth of a step of 8 bits.
const SEEN: f32 = 2e-4;
/// Samples around what is seen: what the spline reaches.
const MARGIN: f64 = 2.0;

impl Solution {
    /// The rim of this solution.
    pub(super) fn crop(self, problem: &Problem<'_>, limit: f32) -> Rim {
        let Solution { outcome, mut airs, mut facing, region, grid } = self;
        let spec = &problem.job.spec;
        let Some(cells) = seen(&airs, &region, limit) else {
            return Rim::empty(problem.job, problem.scale, outcome);
        };
        let size = [spec.field.cols, spec.field.rows];
        let [mut across, down] = [0, 1].map(|axis| {
            [cells[axis][0] as f64 - MARGIN, cells[axis][1] as f64 + MARGIN]
                .map(|cell| (cell * grid.step[axis]).clamp(0.0, f64::from(size[axis])) as u32)
        });
        if spec.periodic {
            across = [0, size[0]];
        }
        let upsampler = Upsampler::new(grid, size[0] as usize);
        for plane in airs.iter_mut().map(|air| &mut air.depth).chain([&mut facing]) {
            *plane = whole(plane, &region, &grid);
            upsampler.prefilter(plane);
        }
        let frame = [across[0], down[0], across[1] - across[0], down[1] - down[0]];
        let solved = Solved { outcome, airs, facing, upsampler, limit, frame };
        Rim::new(problem.job, problem.picture, problem.scale, solved)
    }
}

/// The plane of a whole grid of which `part` is the region, with nothing around it.
fn whole(part: &Plane, region: &Region, grid: &Grid) -> Plane {
    let mut whole = Plane::new(grid.cols, grid.rows);
    for (from, to) in region.rows.clone().enumerate() {
        whole.data[to * grid.cols..][region.cols.clone()].copy_from_slice(part.row(from));
    }
    whole
}

/// The columns and the rows of the grid that hold anything to see, from the first to behind the last.
fn seen(airs: &[Air], region: &Region, limit: f32) -> Option<[[usize; 2]; 2]> {
    let mut cells: Option<[[usize; 2]; 2]> = None;
    for air in airs {
        for (at, depth) in air.depth.data.iter().enumerate() {
            if drawn_depth(*depth, limit) > SEEN {
                let place =
                    [region.cols.start + at % air.depth.cols, region.rows.start + at / air.depth.cols];
                let cells = cells.get_or_insert(place.map(|at| [at, at + 1]));
                for (ends, at) in cells.iter_mut().zip(place) {
                    *ends = [ends[0].min(at), ends[1].max(at + 1)];
                }
            }
        }
    }
    cells
}

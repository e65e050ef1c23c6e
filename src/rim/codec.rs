//! A solved rim as bytes, to be cached between runs: exactly what it is drawn from, so that a rerun's outputs are a clean run's. For that
//! its planes are rounded before they are drawn.

use crate::base::bitmap::Bitmap;
use crate::base::packed::{Packer, Unpacker};
use crate::base::placing::Placing;
use crate::base::simd;
use crate::base::units::Scale;
use crate::plan::RimJob;
use crate::rim::draw::{Rim, Solved};
use crate::rim::problem::{Air, Outcome};
use crate::steps::grid::{Grid, Plane};
use crate::steps::upsample::Upsampler;
use serde::{Deserialize, Serialize};
use std::ops::Range;
use std::sync::Arc;

/// Most bytes of a head: it holds a few dozen numbers.
const HEAD_MAX: usize = 4096;

/// Samples that are kept on each side of a rim: the spline's four, and as many for what rounding does to their places.
const MARGIN: usize = 8;

/// Steps to a unit of optical depth, or of facing the light: opacities are off by a 32nd of a step of 8 bits at most.
const STEPS: f32 = 4096.0;

/// The largest number of a plane: its steps can be counted.
const MOST: f32 = 1000.0;

#[inline(always)]
fn code(number: f32) -> i32 {
    simd::round(number.clamp(-MOST, MOST) * STEPS)
}

#[inline(always)]
fn number(code: i32) -> f32 {
    code as f32 / STEPS
}

/// Rounds a plane of a rim to what is cached of it.
pub(super) fn round(plane: &mut Plane) {
    plane.each_row(
        #[inline(always)]
        |_, numbers| numbers.iter_mut().for_each(|own| *own = number(code(*own))),
    );
}

/// What comes before the planes.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Head {
    outcome: Outcome,
    /// Columns, rows; steps; top.
    grid: ([usize; 2], [f64; 2], f64),
    limit: f32,
    /// Left, top of the rim on its canvas, and its size; none if it is empty.
    frame: Option<[u32; 4]>,
    /// Colours of its airs.
    airs: Vec<Option<[f32; 3]>>,
    /// Columns and rows of the grid that follow, from the first to behind the last; none: all of it.
    #[serde(default)]
    part: Option<[[usize; 2]; 2]>,
}

impl Head {
    /// The columns and the rows that follow; none if they can't be those of its grid.
    fn part(&self) -> Option<[Range<usize>; 2]> {
        let [cols, rows] = self.grid.0;
        let [across, down] = self.part.unwrap_or([[0, cols], [0, rows]]).map(|[from, to]| from..to);
        let inside = |part: &Range<usize>, of: usize| part.start < part.end && part.end <= of;
        (inside(&across, cols) && inside(&down, rows)).then_some([across, down])
    }
}

impl Rim {
    /// Bytes that it takes of memory, about.
    pub(crate) fn bytes(&self) -> usize {
        let planes = self.airs.iter().map(|air| &air.depth).chain([&self.facing]);
        self.beneath.bytes() + planes.map(|plane| size_of_val(&*plane.data)).sum::<usize>()
    }

    /// The same rim as that of `job`: one whose key is equal, though it may have another name and place in the order.
    pub(crate) fn renamed(self: Arc<Rim>, job: &RimJob) -> Arc<Rim> {
        let Placing { slot, path, order, depth, .. } = &job.placing;
        let own = &self.placing;
        if (&own.slot, &own.path, own.order, own.depth) == (slot, path, *order, *depth) {
            return self;
        }
        let mut rim = Rim::clone(&self);
        (rim.placing.slot, rim.placing.path) = (slot.clone(), path.clone());
        (rim.placing.order, rim.placing.depth) = (*order, *depth);
        Arc::new(rim)
    }

    /// As bytes, for [`Rim::decode`].
    pub(crate) fn encode(&self) -> Vec<u8> {
        let grid = self.upsampler.grid();
        let [width, height] = self.placing.texels;
        let head = Head {
            outcome: self.outcome,
            grid: ([grid.cols, grid.rows], grid.step, grid.top),
            limit: self.limit,
            frame: (!self.airs.is_empty()).then_some([self.crop[0], self.crop[1], width, height]),
            airs: self.airs.iter().map(|air| air.colour).collect(),
            part: self.part().map(|part| part.map(|side| [side.start, side.end])),
        };
        let [across, down] = &head.part().unwrap_or_default();
        // Plain finite numbers can always be written.
        let mut bytes = serde_json::to_vec(&head).unwrap_or_default();
        bytes.push(b'\n');
        let planes = self.airs.iter().map(|air| &air.depth).chain([&self.facing]);
        let rows = planes.flat_map(|plane| down.clone().map(move |row| &plane.row(row)[across.clone()]));
        let (mut packer, mut codes) = (Packer::default(), Vec::new());
        for row in rows {
            codes.clear();
            codes.extend(row.iter().map(|number| code(*number)));
            packer.row(&codes);
        }
        bytes.extend(packer.finish());
        bytes
    }

    /// The columns and the rows of its planes that it is drawn from, also at a larger scale: a rim fills a small part of its canvas. None
    /// if all are needed: a larger rim filters samples that are texels here, and a filter takes from all of them.
    fn part(&self) -> Option<[Range<usize>; 2]> {
        let grid = self.upsampler.grid();
        if self.airs.is_empty() || self.upsampler.is_identity().contains(&true) {
            return None;
        }
        let [width, height] = self.placing.texels.map(f64::from);
        let [left, top] = self.crop.map(f64::from);
        // Saturates at 0.
        let ends = |first: f64, length: f64, step: f64| {
            [(first / step) as usize, ((first + length) / step) as usize + 1]
        };
        let [left, right] = ends(left, width, grid.step[0]);
        let [top, foot] = ends(top - grid.top, height, grid.step[1]);
        // Where they come round, all are needed.
        let round = left < MARGIN || right + MARGIN > grid.cols;
        let across = if round { 0..grid.cols } else { left - MARGIN..right + MARGIN };
        let down = top.saturating_sub(MARGIN)..(foot + MARGIN).min(grid.rows);
        Some([across, down])
    }

    /// The rim of `job` on its `picture` from bytes that [`Rim::encode`] wrote for just these; none if they can't be that.
    pub(crate) fn decode(bytes: &[u8], job: &RimJob, picture: &Bitmap, scale: Scale) -> Option<Rim> {
        let end = bytes.iter().take(HEAD_MAX).position(|byte| *byte == b'\n')?;
        let head: Head = serde_json::from_slice(&bytes[..end]).ok()?;
        let Some(frame) = head.frame else {
            return Some(Rim::empty(job, scale, head.outcome));
        };
        let ([cols, rows], step, top) = head.grid;
        let size = [job.spec.field.cols, job.spec.field.rows];
        let is_inside =
            |axis: usize| frame[axis].checked_add(frame[axis + 2]).is_some_and(|end| end <= size[axis]);
        // Samples lie a texel apart or more.
        let is_grid = (1..=size[0] as usize).contains(&cols) && (1..=size[1] as usize).contains(&rows);
        if !is_inside(0) || !is_inside(1) || !is_grid || head.airs.is_empty() {
            return None;
        }
        cols.checked_mul(rows)?;
        let (part, mut unpacker) = (head.part()?, Unpacker::new(&bytes[end + 1..]));
        let mut airs = Vec::new();
        for colour in &head.airs {
            airs.push(Air { depth: plane([cols, rows], &part, &mut unpacker)?, colour: *colour });
        }
        let facing = plane([cols, rows], &part, &mut unpacker)?;
        if !unpacker.is_at_end() {
            return None;
        }
        let upsampler = Upsampler::new(Grid { cols, rows, step, top }, size[0] as usize);
        let Head { outcome, limit, .. } = head;
        Some(Rim::new(job, picture, scale, Solved { outcome, airs, facing, upsampler, limit, frame }))
    }
}

/// The next plane of a rim, of which the columns and rows of `part` were packed.
fn plane(
    [cols, rows]: [usize; 2],
    [across, down]: &[Range<usize>; 2],
    unpacker: &mut Unpacker<'_>,
) -> Option<Plane> {
    let (mut plane, mut codes) = (Plane::new(cols, rows), vec![0; across.len()]);
    for row in down.clone() {
        unpacker.row(&mut codes)?;
        let numbers = &mut plane.data[row * cols..][across.clone()];
        numbers.iter_mut().zip(&codes).for_each(|(to, from)| *to = number(*from));
    }
    Some(plane)
}

//! From the solved airs to a rim that takes no more room than it fills.

use crate::base::picture::Picture;
use crate::base::placing::Placing;
use crate::base::units::{Scale, Texel};
use crate::plan::RimJob;
use crate::rim::solve::{Case, Solved};
use crate::rim::{Air, Outcome, Rim, finished, nothing, outline};
use crate::steps::grid::Plane;
use crate::steps::upsample::Stretch;

impl Case<'_> {
    /// The rim.
    pub(super) fn finish(&self, solved: Solved, limit: f32) -> Rim {
        let Solved { outcome, mut airs, mut spread } = solved;
        let spec = &self.job.spec;
        let grid = spread.grid;
        // Rows and columns of the grid that hold anything to see.
        let seen = |value: f32| finished(value, limit) > 2e-4;
        let mut frame = [grid.cols, grid.rows, 0, 0];
        for air in &airs {
            for (at, value) in air.depth.data.iter().enumerate() {
                if seen(*value) {
                    let (x, y) = (at % grid.cols, at / grid.cols);
                    frame = [frame[0].min(x), frame[1].min(y), frame[2].max(x + 1), frame[3].max(y + 1)];
                }
            }
        }
        if frame[2] == 0 {
            return self.empty(outcome);
        }
        let texel =
            |cell: f64, axis: usize, most: u32| ((cell * grid.step[axis]).clamp(0.0, f64::from(most))) as u32;
        let size = [spec.field.cols, spec.field.rows];
        let [mut left, mut right] =
            [texel(frame[0] as f64 - 2.0, 0, size[0]), texel(frame[2] as f64 + 2.0, 0, size[0])];
        if spec.periodic {
            [left, right] = [0, size[0]];
        }
        let [top, foot] =
            [texel(frame[1] as f64 - 2.0, 1, size[1]), texel(frame[3] as f64 + 2.0, 1, size[1])];
        let frame = [left, top, right - left, foot - top];
        let stretch = Stretch::new(grid, size[0] as usize);
        airs.iter_mut().for_each(|air| stretch.prepare(&mut air.depth));
        stretch.prepare(&mut spread.facing);
        whole(self.job, self.picture, self.scale, (frame, stretch), (airs, spread.facing, limit), outcome)
    }

    /// A rim of one empty texel.
    pub(super) fn empty(&self, outcome: Outcome) -> Rim {
        empty(self.job, self.scale, outcome)
    }
}

/// The rim of `job` on its `picture` that fills `frame` of its canvas: its airs and how they face the light, as coefficients for
/// `stretch`, held under `limit`.
pub(super) fn whole(
    job: &RimJob,
    picture: &Picture,
    scale: Scale,
    (frame, stretch): ([u32; 4], Stretch),
    (airs, facing, limit): (Vec<Air>, Plane, f32),
    outcome: Outcome,
) -> Rim {
    Rim {
        placing: placed(job, scale, frame),
        outcome,
        airs,
        facing,
        stretch,
        limit,
        beneath: outline::beneath(picture, job.spec.wraps),
        art: picture.size,
        crop: [frame[0], frame[1]],
        plain: job.spec.tones.plain(),
        ramps: job.spec.tones.ramps(),
        spec: job.spec.clone(),
    }
}

/// Where the rim of `job` stands that fills `frame` of its canvas: left, top, width and height in texels.
fn placed(job: &RimJob, scale: Scale, frame: [u32; 4]) -> Placing {
    let mut placing = job.placing.clone();
    let [left, top, width, height] = frame.map(|side| Texel(f64::from(side)) / scale);
    if !job.spec.periodic {
        placing.rect.x += left;
        placing.rect.width = width;
    }
    placing.rect.y += top;
    placing.rect.height = height;
    placing.texels = [frame[2], frame[3]];
    placing
}

/// A rim of one empty texel.
pub(super) fn empty(job: &RimJob, scale: Scale, outcome: Outcome) -> Rim {
    let mut placing = job.placing.clone();
    (placing.rect.width, placing.rect.height) = (Texel(1.0) / scale, Texel(1.0) / scale);
    placing.texels = [1, 1];
    Rim {
        placing,
        outcome,
        spec: job.spec.clone(),
        airs: Vec::new(),
        facing: Plane::new(1, 1),
        stretch: Stretch::new(nothing(), 1),
        limit: 0.0,
        beneath: Vec::new(),
        art: [0, 0],
        crop: [0, 0],
        plain: true,
        ramps: job.spec.tones.ramps(),
    }
}

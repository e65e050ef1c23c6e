//! How finely a field is sampled: the grid that its steps are worked out on.

use super::field::FieldSpec;
use super::grid::Grid;
use super::{step1_bands, step2_falloff, step3_smear, step4_soften, tears};
use crate::steps::along::AlongSheet;
use crate::steps::recipe::Noise;

/// Most samples to a deviation of the Gaussian that a body's edge or torn ends may ask for; a vast one would take all memory.
const STEPS_MAX: f64 = 40.0;

/// How finely a field is sampled before it is stretched to texels.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sampling {
    /// One sample a texel, every octave at each: the reference.
    Full,
    /// As few samples as the recipe's blurs allow.
    Reduced,
}

impl FieldSpec {
    pub(super) fn sigma(&self) -> [f64; 2] {
        [self.recipe.soften.sigma.0 * self.recipe.soften.stretch, self.recipe.soften.sigma.0]
    }

    fn smear_extent(&self) -> [f64; 2] {
        step3_smear::extent(self.recipe.smear.length.0, self.recipe.smear.angle, [1.0, 1.0]).map(f64::abs)
    }

    /// Distance between samples that something needs, no less than a Gaussian leaves to be seen of it.
    fn seen(&self, finest: Option<[f64; 2]>) -> [f64; 2] {
        let (sigma, finest) = (self.sigma(), finest.unwrap_or([f64::INFINITY; 2]));
        [0, 1].map(|axis| finest[axis].max(sigma[axis] / STEPS_MAX))
    }

    /// Distance between samples that torn ends and a factor along the travel allow, along x and y: they come after the blurs.
    pub(super) fn after_blurs(&self) -> [f64; 2] {
        let [x, y] = self.seen(tears::finest(&self.recipe, f64::from(self.cols)));
        let along = self.along.as_ref().map_or(f64::INFINITY, AlongSheet::finest);
        [x.min(self.seen(Some([along; 2]))[0]), y]
    }

    /// Distance between samples that the blurs allow, along x and y.
    fn steps(&self) -> [f64; 2] {
        let (sigma, smear) = (self.sigma(), self.smear_extent());
        // The Gaussian spans this many steps; fewer where a long smear has already taken what a coarse grid would miss.
        let per_sigma = [if smear[0] >= 6.0 * sigma[0] { 3.0 } else { 6.0 }, 6.0];
        // And every octave that is seen has four samples a cell, eight where it is creased: with fewer, what is left beats
        // with the grid.
        let [x, y] = [0, 1].map(|axis| sigma[axis] * sigma[axis] + smear[axis] * smear[axis] / 12.0);
        let blur = [x, y, smear[0] * smear[1] / 12.0];
        let finest = step1_bands::finest(&self.recipe.bands, f64::from(self.cols), blur);
        let per_cell = if self.recipe.bands.kind == Noise::Smooth { 4.0 } else { 8.0 };
        // And a body's edge doesn't fall between samples.
        let body = self.seen(step2_falloff::finest(&self.recipe.falloff));
        let after = self.after_blurs();
        let steps = [0, 1].map(|axis| {
            let blurred = (sigma[axis] / per_sigma[axis]).min(finest[axis] / per_cell);
            blurred.min(body[axis]).min(after[axis]).max(1.0)
        });
        let finer = step1_bands::sharpness(&self.recipe.bands, f64::from(self.cols), steps);
        steps.map(|step| (step * finer).max(1.0))
    }

    /// A grid over rows `from..to` (texels) and what the blurs and the stretch reach beyond them.
    pub(super) fn grid(&self, sampling: Sampling, from: f64, to: f64) -> Grid {
        // Soften halves the samples of a reduced grid; they must come out even.
        let ([step_x, step_y], halvings) = match sampling {
            Sampling::Full => ([1.0, 1.0], 0),
            Sampling::Reduced => {
                let steps = self.steps();
                (steps, step4_soften::halvings(self.sigma()[0] / steps[0]))
            }
        };
        // But no more samples than are needed come of it: a Gaussian of many periods would have them halved to a hundred thousandth.
        let needed = (f64::from(self.cols) / step_x).max(1.0);
        let multiple = 1_u32 << halvings.min((needed as u32).ilog2());
        // A power of two that divides the width stretches fastest.
        let whole = [16, 8, 4, 2].into_iter().find(|ratio| {
            f64::from(*ratio) <= step_x
                && f64::from(*ratio) > 0.5 * step_x
                && self.cols.is_multiple_of(*ratio * multiple)
        });
        let cols = match whole {
            Some(ratio) => f64::from(self.cols / ratio),
            None => {
                let multiple = f64::from(multiple);
                (f64::from(self.cols) / step_x / multiple).ceil().max(1.0) * multiple
            }
        };
        let margin = step4_soften::REACH * self.sigma()[1] + step3_smear::REACH * self.smear_extent()[1];
        let above = (margin / step_y).ceil() + 2.0;
        let rows = ((to - from + margin) / step_y).ceil() + above + 2.0;
        Grid {
            cols: cols as usize,
            rows: rows as usize,
            step: [f64::from(self.cols) / cols, step_y],
            top: from - above * step_y,
        }
    }

    /// The grid of the field, once it is softened.
    pub fn sampled(&self, sampling: Sampling) -> Grid {
        if let Some(slope) = self.slope {
            let level = self.level().0.sampled(sampling);
            let each = slope.columns_per_step(level.step);
            let [across, down] = level.step;
            return Grid {
                cols: level.cols * each,
                rows: (f64::from(self.rows) / down).ceil() as usize + 4,
                step: [across / each as f64, down],
                top: -2.0 * down,
            };
        }
        let grid = self.grid(sampling, 0.0, f64::from(self.rows));
        match sampling {
            Sampling::Full => grid,
            Sampling::Reduced => step4_soften::reduced(grid, self.sigma(), self.after_blurs()).0,
        }
    }
}

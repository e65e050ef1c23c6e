//! How finely a field is sampled: the grid that its steps are worked out on.

use super::field::FieldSpec;
use super::grid::Grid;
use super::{step1_bands, step2_falloff, step3_smear, step4_soften, tears, upsample};
use crate::steps::along::AlongSheet;
use crate::steps::recipe::Noise;

/// Most samples to a deviation of the Gaussian that a body's edge or torn ends may ask for; a vast one would take all memory.
const STEPS_MAX: f64 = 40.0;

/// Samples to the deviation of both blurs together.
const PER_DEVIATION: f64 = 3.0;
/// Most of a sample's distance, in deviations of the Gaussian alone: its own taps have to draw it.
const STEP_PER_SIGMA: f64 = 1.2;
/// Samples to a cell of the finest octave that is seen, and to one whose noise is creased: with fewer, what is left beats with the grid.
const PER_CELL: f64 = 3.6;
const PER_CREASED_CELL: f64 = 8.0;

/// Scale heights from the line, at the tallest, beyond which a fog is left out: density 6e-6, less than is lost by rounding.
const EMPTY: f64 = 12.0;
/// What is left out is a whole number of so many parts of a sheet's height: grids stay the same while a height is tried.
const PARTS: f64 = 16.0;

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
        let [x, y] = [0, 1].map(|axis| sigma[axis] * sigma[axis] + smear[axis] * smear[axis] / 12.0);
        let (blur, both) = ([x, y, smear[0] * smear[1] / 12.0], [x, y].map(f64::sqrt));
        let finest = step1_bands::finest(&self.recipe.bands, f64::from(self.cols), blur);
        let per_cell = if self.recipe.bands.kind == Noise::Smooth { PER_CELL } else { PER_CREASED_CELL };
        // And a body's edge doesn't fall between samples.
        let body = self.seen(step2_falloff::finest(&self.recipe.falloff));
        let after = self.after_blurs();
        let steps = [0, 1].map(|axis| {
            let blurred = (both[axis] / PER_DEVIATION).min(sigma[axis] * STEP_PER_SIGMA);
            blurred.min(finest[axis] / per_cell).min(body[axis]).min(after[axis]).max(1.0)
        });
        let finer = step1_bands::sharpness(&self.recipe.bands, f64::from(self.cols), steps);
        steps.map(|step| (step * finer).max(1.0))
    }

    /// The rows of texels, from one to another, that hold any fog. All where none is left out: without noise, which the law is held to, and
    /// where something is drawn, which may lie anywhere.
    fn filled(&self) -> [f64; 2] {
        let all = f64::from(self.rows);
        if !self.is_rounded() || self.strokes.is_some() {
            return [0.0, all];
        }
        let falloff = &self.recipe.falloff;
        let reach = [falloff.height.0 * (1.0 + falloff.breath.abs()), falloff.beyond.0]
            .map(|height| falloff.sway.0.abs() + EMPTY * height);
        let [above, below] = if self.open < 0.0 { reach } else { [reach[1], reach[0]] };
        let part = (all / PARTS).ceil();
        let parts = (all / part).ceil();
        let first = ((self.line.0 - above) / part).floor().clamp(0.0, parts - 1.0);
        let last = ((self.line.0 + below) / part).ceil().clamp(first + 1.0, parts);
        [first * part, (last * part).min(all)]
    }

    /// The grid of all that is sampled. Beyond it a field is as its outermost row.
    pub(super) fn own_grid(&self, sampling: Sampling) -> Grid {
        let [from, to] = match sampling {
            Sampling::Full => [0.0, f64::from(self.rows)],
            Sampling::Reduced => self.filled(),
        };
        self.grid(sampling, from, to)
    }

    /// The same of something that is drawn into; what it is without that is worked out on it, too.
    pub(super) fn drawn_grid(&self, sampling: Sampling) -> Grid {
        self.grid(sampling, 0.0, f64::from(self.rows))
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
        let whole = upsample::WHOLE.into_iter().map(|ratio| ratio as u32).find(|ratio| {
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
        let grid = self.own_grid(sampling);
        match sampling {
            Sampling::Full => grid,
            Sampling::Reduced => step4_soften::reduced(grid, self.sigma(), self.after_blurs()).0,
        }
    }
}

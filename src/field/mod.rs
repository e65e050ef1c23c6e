//! The density field of a sheet: bands, falloff, smear and soften, in that order; one number per place, periodic in x, mean 1
//! along the fog's line.

pub mod bands;
pub mod falloff;
pub mod grid;
pub mod lattice;
pub mod smear;
pub mod soften;
pub mod stretch;
pub mod wander;

use crate::exp::opacity;
use crate::recipe::{Anchor, Recipe};
use crate::seed;
use grid::{Grid, Plane};

/// How finely a field is sampled before it is stretched to texels.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sampling {
    /// One sample a texel: the reference.
    Full,
    /// As few samples as the recipe's blurs allow.
    Reduced,
}

/// What a density field is made from. All lengths in texels of the sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct FieldSpec {
    /// Texels over one period.
    pub cols: u32,
    /// Rows of texels.
    pub rows: u32,
    /// The fog's line (anchor line and lift), from the sheet's top; may lie outside the sheet.
    pub line: f64,
    /// -1 where the open side of the line is upward (ground), 1 where it is downward (sky).
    pub open: f64,
    /// The recipe with its lengths in texels.
    pub recipe: Recipe,
    /// The dice.
    pub seed: u64,
}

impl FieldSpec {
    /// Turns a recipe's lengths into texels: `unit` texels for each of the recipe's px.
    /// `line` is the anchor line in texels from the sheet's top.
    pub fn new(
        size: [u32; 2],
        anchor: Anchor,
        line: f64,
        unit: f64,
        recipe: &Recipe,
        seed: u64,
    ) -> FieldSpec {
        let mut recipe = recipe.clone();
        for length in [
            &mut recipe.bands.size,
            &mut recipe.falloff.height,
            &mut recipe.falloff.beyond,
            &mut recipe.falloff.lift,
            &mut recipe.falloff.sway,
            &mut recipe.falloff.wave,
            &mut recipe.smear.length,
            &mut recipe.soften.sigma,
            &mut recipe.grade.aloft,
        ] {
            *length *= unit;
        }
        let open = match anchor {
            Anchor::Ground => -1.0,
            Anchor::Sky => 1.0,
        };
        let line = line + open * recipe.falloff.lift;
        FieldSpec { cols: size[0], rows: size[1], line, open, recipe, seed }
    }

    fn sigma(&self) -> [f64; 2] {
        [self.recipe.soften.sigma * self.recipe.soften.stretch, self.recipe.soften.sigma]
    }

    fn smear_extent(&self) -> [f64; 2] {
        smear::extent(self.recipe.smear.length, self.recipe.smear.angle, [1.0, 1.0]).map(f64::abs)
    }

    /// Distance between samples that the blurs allow, along x and y.
    fn steps(&self) -> [f64; 2] {
        let (sigma, smear) = (self.sigma(), self.smear_extent());
        // The Gaussian spans this many steps; fewer where a long smear has already taken what a coarse grid would miss.
        let per_sigma = [if smear[0] >= 6.0 * sigma[0] { 3.0 } else { 6.0 }, 6.0];
        [(sigma[0] / per_sigma[0]).max(1.0), (sigma[1] / per_sigma[1]).max(1.0)]
    }

    /// A grid over rows `from..to` (texels) and what the blurs and the stretch reach beyond them.
    fn grid(&self, sampling: Sampling, from: f64, to: f64) -> Grid {
        let [step_x, step_y] = match sampling {
            Sampling::Full => [1.0, 1.0],
            Sampling::Reduced => self.steps(),
        };
        // A power of two that divides the width stretches fastest.
        let whole = [16, 8, 4, 2].into_iter().find(|ratio| {
            f64::from(*ratio) <= step_x
                && f64::from(*ratio) > 0.5 * step_x
                && self.cols.is_multiple_of(*ratio)
        });
        let cols = match whole {
            Some(ratio) => f64::from(self.cols / ratio),
            None => (f64::from(self.cols) / step_x).ceil().max(1.0),
        };
        let margin = soften::REACH * self.sigma()[1] + 0.5 * self.smear_extent()[1];
        let above = (margin / step_y).ceil() + 2.0;
        let rows = ((to - from + margin) / step_y).ceil() + above + 2.0;
        Grid {
            cols: cols as usize,
            rows: rows as usize,
            step: [f64::from(self.cols) / cols, step_y],
            top: from - above * step_y,
        }
    }

    /// Runs the first four steps on `grid`.
    fn work(&self, grid: &Grid) -> Plane {
        let mut plane = Plane::new(grid.cols, grid.rows);
        let passes = bands::Passes { sigma: self.sigma(), smear: self.smear_extent() };
        bands::fill(&self.recipe.bands, seed::of(self.seed, "bands"), self.line, &passes, grid, &mut plane);
        falloff::apply(
            &self.recipe.falloff,
            seed::of(self.seed, "falloff"),
            self.line,
            self.open,
            grid,
            &mut plane,
        );
        let plane = smear::apply(&plane, self.recipe.smear.length, self.recipe.smear.angle, grid.step);
        let sigma = self.sigma();
        soften::apply(plane, [sigma[0] / grid.step[0], sigma[1] / grid.step[1]])
    }
}

/// Mean of `plane` along the height `line` (texels), between the two nearest rows.
fn mean_along(plane: &Plane, grid: &Grid, line: f64) -> f64 {
    let position = ((line - grid.top) / grid.step[1] - 0.5).clamp(0.0, (grid.rows - 1) as f64);
    let row = (position.floor() as usize).min(grid.rows.saturating_sub(2));
    let share = position - row as f64;
    let mean = |row: usize| {
        let numbers = plane.row(row.min(grid.rows - 1));
        numbers.iter().map(|&value| f64::from(value)).sum::<f64>() / numbers.len() as f64
    };
    mean(row) * (1.0 - share) + mean(row + 1) * share
}

/// A density field, on its grid.
#[derive(Clone, Debug)]
pub struct Field {
    /// The sample points.
    pub grid: Grid,
    /// Density, mean 1 along the fog's line.
    pub density: Plane,
}

impl Field {
    /// Works the field out.
    pub fn new(spec: &FieldSpec, sampling: Sampling) -> Field {
        let grid = spec.grid(sampling, 0.0, f64::from(spec.rows));
        let mut density = spec.work(&grid);
        let inside = spec.line >= grid.y(0) && spec.line <= grid.y(grid.rows - 1);
        let mean = if inside {
            mean_along(&density, &grid, spec.line)
        } else {
            let strip = spec.grid(sampling, spec.line - 1.0, spec.line + 1.0);
            mean_along(&spec.work(&strip), &strip, spec.line)
        };
        let scale = if mean > 1e-6 { (1.0 / mean) as f32 } else { 1.0 };
        if scale != 1.0 {
            density.each_row(|_, numbers| numbers.iter_mut().for_each(|number| *number *= scale));
        }
        Field { grid, density }
    }

    /// The field of `spec` from its numbers, worked out before; none if there are more or fewer than it has sample points.
    pub fn of_numbers(spec: &FieldSpec, sampling: Sampling, numbers: Vec<f32>) -> Option<Field> {
        let grid = spec.grid(sampling, 0.0, f64::from(spec.rows));
        let density = Plane { cols: grid.cols, data: numbers };
        (density.data.len() == grid.cols * grid.rows).then_some(Field { grid, density })
    }

    /// How much each place faces the light, -1..1: the slope toward it, over a quarter of a feature, of what is seen of the
    /// density through optical depth `tau`. Thin fog shows the density itself; in thick fog only its outside shows, and what
    /// goes on within mustn't: it would read as marble. `light` in degrees (0 right, 90 above), `reach` in texels along x and y.
    pub fn facing(&self, light: f64, reach: [f64; 2], tau: f64) -> Plane {
        let turn = light.to_radians();
        let dx = (libm::cos(turn) * reach[0] / self.grid.step[0]).round() as i64;
        let dy = (-libm::sin(turn) * reach[1] / self.grid.step[1]).round() as i64;
        let (cols, rows) = (self.grid.cols, self.grid.rows as i64);
        let mut out = Plane::new(cols, self.grid.rows);
        let tau = tau.max(1e-3) as f32;
        let whole = opacity(tau);
        let mut seen = self.density.clone();
        seen.each_row(|_, numbers| {
            numbers.iter_mut().for_each(|number| *number = opacity(tau * *number) / whole);
        });
        out.each_row(|row, numbers| {
            let toward = seen.row((row as i64 + dy).clamp(0, rows - 1) as usize);
            let away = seen.row((row as i64 - dy).clamp(0, rows - 1) as usize);
            let wrap = |at: i64| at.rem_euclid(cols as i64) as usize;
            for (col, number) in numbers.iter_mut().enumerate() {
                let slope = away[wrap(col as i64 - dx)] - toward[wrap(col as i64 + dx)];
                // Held within -1..1 without a corner.
                *number = slope / (1.0 + slope * slope).sqrt();
            }
        });
        out
    }
}

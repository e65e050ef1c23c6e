//! The density field of a sheet: bands, falloff, smear and soften, in that order; one number per place, periodic in x, mean 1
//! along the fog's line.

pub use super::bands_spec::BandsSpec;
use super::grid::{Grid, Plane};
use super::moment::Moment;
pub use super::sampling::Sampling;
use super::{step2_falloff, step3_smear, step4_soften, tears};
use crate::base::interpolate::smoothstep;
use crate::base::seed;
use crate::base::units::{Px, Scale, Texel};
use crate::base::words::Anchor;
use crate::steps::along::AlongSheet;
use crate::steps::recipe::Recipe;
use crate::steps::slope::Slope;
use crate::steps::strokes::Strokes;

/// What a density field is made from. All lengths in texels of the sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct FieldSpec {
    /// Texels over one period.
    pub cols: u32,
    /// Rows of texels.
    pub rows: u32,
    /// The fog's line (anchor line and lift), from the sheet's top; may lie outside the sheet.
    pub line: Texel,
    /// -1 where the open side of the line is upward (ground), 1 where it is downward (sky).
    pub open: f64,
    /// How the line runs where it isn't level.
    pub slope: Option<Slope>,
    /// The recipe.
    pub recipe: Recipe<Texel>,
    /// Seed of its noise.
    pub seed: u64,
    /// The moment of its loop.
    pub moment: Moment,
    /// What is drawn into it.
    pub strokes: Option<Strokes>,
    /// The factor on its density, by column; what is drawn stays as it is drawn.
    pub along: Option<AlongSheet>,
}

impl FieldSpec {
    /// From a recipe of which each px is `unit` texels; `line` is the anchor line from the sheet's top.
    pub fn new(
        size: [u32; 2],
        anchor: Anchor,
        line: Texel,
        unit: Scale,
        recipe: &Recipe<Px>,
        seed: u64,
    ) -> FieldSpec {
        let recipe = recipe.texels(unit);
        let open = match anchor {
            Anchor::Ground => -1.0,
            Anchor::Sky => 1.0,
        };
        let line = line + open * recipe.falloff.lift;
        let slope = Slope::new(recipe.falloff.slope, size[0]);
        FieldSpec {
            cols: size[0],
            rows: size[1],
            line,
            open,
            slope,
            recipe,
            seed,
            moment: Moment::REST,
            strokes: None,
            along: None,
        }
    }

    /// The field at place `time` (0 to 1) of a loop of so many seconds.
    pub fn at(&self, time: f64, seconds: f64) -> FieldSpec {
        FieldSpec { moment: Moment { time, way: self.recipe.bands.way(seconds) }, ..self.clone() }
    }

    /// The same along a level line, with the rows that the slope needs of it; and how many of them lie over the sheet's first.
    pub(super) fn level(&self) -> (FieldSpec, f64) {
        let Some(slope) = self.slope else { return (self.clone(), 0.0) };
        let [low, high] = slope.range(f64::from(self.cols));
        let over = (-low).ceil().max(0.0);
        let rows = f64::from(self.rows) + over + high.ceil().max(0.0);
        let line = self.line + Texel(over);
        let cols = f64::from(self.cols);
        let strokes = self.strokes.as_ref().map(|strokes| strokes.level(&slope, cols, over));
        // Saturates, and is then over any limit.
        (FieldSpec { rows: rows as u32, line, slope: None, strokes, ..self.clone() }, over)
    }

    /// How far a haze has turned into what it is aloft at height `y` (texels), 0..1; of use only where it turns.
    pub fn aloft_share(&self, y: f64) -> f64 {
        smoothstep(((y - self.line.0) * self.open / self.recipe.grade.aloft.0).clamp(0.0, 1.0))
    }

    /// The same along a level line with nothing drawn into it, if something is drawn into more than itself: its mean is that of both.
    pub fn undrawn(&self) -> Option<FieldSpec> {
        self.strokes.as_ref().filter(|strokes| !strokes.only)?;
        Some(FieldSpec { strokes: None, ..self.clone() }.level().0)
    }

    /// The density before soften on the grid that `sampling` asks for: what the blur still has to work on.
    pub fn before_soften(&self, sampling: Sampling) -> (Plane, Grid) {
        let grid = self.own_grid(sampling);
        (self.smeared(sampling, &grid), grid)
    }

    /// What the bands of its field are made from.
    pub fn bands(&self, sampling: Sampling) -> BandsSpec {
        let level = self.level().0;
        level.bands_on(sampling, level.own_grid(sampling))
    }

    fn bands_on(&self, sampling: Sampling, grid: Grid) -> BandsSpec {
        BandsSpec {
            bands: self.recipe.bands.clone(),
            seed: seed::derive(self.seed, "bands"),
            moment: self.moment,
            line: self.line.0,
            sigma: (sampling == Sampling::Reduced).then(|| self.sigma()),
            grid,
        }
    }

    fn smeared(&self, sampling: Sampling, grid: &Grid) -> Plane {
        self.smeared_of(grid, self.bands_on(sampling, *grid).plane())
    }

    fn smeared_of(&self, grid: &Grid, bands: Plane) -> Plane {
        let plane = match &self.strokes {
            None => self.shaped(grid, bands),
            Some(strokes) => {
                let mut plane = self.shaped(grid, bands.clone());
                strokes.lay(grid, &bands, &mut plane);
                plane
            }
        };
        step3_smear::apply(plane, self.recipe.smear.length.0, self.recipe.smear.angle, grid.step)
    }

    /// The bands, shaped over height by the falloff.
    fn shaped(&self, grid: &Grid, mut bands: Plane) -> Plane {
        step2_falloff::apply(
            &self.recipe.falloff,
            seed::derive(self.seed, "falloff"),
            &self.moment,
            self.line.0,
            self.open,
            grid,
            &mut bands,
        );
        bands
    }

    /// The fog's own line.
    pub fn own_line(&self) -> step2_falloff::Line {
        let seed = seed::derive(self.seed, "falloff");
        let Recipe { falloff, .. } = &self.recipe;
        step2_falloff::Line::new(falloff, seed, &self.moment, self.line.0, self.open, f64::from(self.cols))
    }

    /// Mean density along the fog's own line, at rest, before it is brought to 1: what shapes a fog then never changes how much there
    /// is, and a loop doesn't pump. `field` is the field before that.
    fn mean_along_line(&self, sampling: Sampling, field: &Field) -> f64 {
        let rest = FieldSpec { moment: Moment::REST, ..self.clone() };
        let line = rest.own_line();
        let heights = line.heights(field.grid.cols);
        let least = heights.iter().copied().fold(f64::INFINITY, f64::min);
        let most = heights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        // Rows beyond the sheet are there for the blurs, which they haven't gone through whole.
        let inside = least >= 0.0 && most <= f64::from(self.rows);
        if let Some(mean) = field.mean_along(&heights).filter(|_| inside && self.moment.is_rest()) {
            return mean;
        }
        // Two samples more on either side, for the cubic.
        let beyond = 1.0 + 2.0 * field.grid.step[1];
        let strip = rest.work(sampling, rest.grid(sampling, least - beyond, most + beyond));
        strip.mean_along(&line.heights(strip.grid.cols)).unwrap_or(1.0)
    }

    /// Runs the first four steps, from `grid` on.
    fn work(&self, sampling: Sampling, grid: Grid) -> Field {
        let bands = self.bands_on(sampling, grid).plane();
        self.work_on(sampling, grid, bands)
    }

    /// Runs the steps after the bands up to the fourth.
    fn work_on(&self, sampling: Sampling, grid: Grid, bands: Plane) -> Field {
        let (plane, sigma) = (self.smeared_of(&grid, bands), self.sigma());
        let (density, grid) = match sampling {
            Sampling::Full => (step4_soften::apply(plane, sigma), grid),
            Sampling::Reduced => step4_soften::reduce(plane, grid, sigma, self.after_blurs()),
        };
        Field { grid, density }
    }
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
        Field::on(spec, sampling, spec.bands(sampling).plane())
    }

    /// Works the field out on its bands, which are those of [`FieldSpec::bands`].
    pub fn on(spec: &FieldSpec, sampling: Sampling, bands: Plane) -> Field {
        let factor = spec.undrawn().map(|undrawn| Field::factor(&undrawn, sampling, bands.clone()));
        Field::on_with(spec, sampling, bands, factor.unwrap_or(1.0))
    }

    /// What brings the mean along the line to 1; `undrawn` as [`FieldSpec::undrawn`] gives it, on its bands.
    pub fn factor(undrawn: &FieldSpec, sampling: Sampling, bands: Plane) -> f32 {
        Field::normalized(undrawn, sampling, undrawn.drawn_grid(sampling), bands).1
    }

    /// As [`Field::on`], with the [`Field::factor`] of what is drawn into, which is worked out before.
    pub fn on_with(spec: &FieldSpec, sampling: Sampling, bands: Plane, factor: f32) -> Field {
        let mut field = Field::exact(spec, sampling, bands, factor);
        field.round(spec);
        field
    }

    /// The field before it is rounded.
    fn exact(spec: &FieldSpec, sampling: Sampling, bands: Plane, factor: f32) -> Field {
        if let Some(slope) = spec.slope {
            let (level, over) = spec.level();
            let Field { grid: own, density } = Field::exact(&level, sampling, bands, factor);
            let grid = spec.sampled(sampling);
            return Field { grid, density: slope.displace(&density, &own, &grid, over) };
        }
        let Some(along) = &spec.along else { return Field::with_ends(spec, sampling, bands, factor) };
        // What is drawn goes through the same blurs apart from the rest: they are linear.
        let own = |strokes: &Strokes| Strokes { weight: 0.0, ..strokes.clone() };
        let rest = FieldSpec { strokes: spec.strokes.as_ref().map(own), ..spec.clone() };
        let drawn = spec.strokes.as_ref().map(|strokes| {
            let strokes = Some(Strokes { only: true, ..strokes.clone() });
            Field::with_ends(&FieldSpec { strokes, ..spec.clone() }, sampling, bands.clone(), 1.0)
        });
        let mut field = Field::with_ends(&rest, sampling, bands, factor);
        field.times_along(along);
        if let Some(drawn) = drawn {
            field.density.each_row(
                #[inline(always)]
                |row, numbers| {
                    let more = drawn.density.row(row);
                    numbers.iter_mut().zip(more).for_each(|(number, more)| *number += more);
                },
            );
        }
        field
    }

    /// The field with its torn ends, as thick all along and not yet rounded.
    pub fn with_ends(spec: &FieldSpec, sampling: Sampling, bands: Plane, factor: f32) -> Field {
        let mut field = Field::whole(spec, sampling, bands, factor);
        if spec.strokes.as_ref().is_some_and(|strokes| strokes.only) {
            // Drawn fog has the ends it was given.
            return field;
        }
        let seed = seed::derive(spec.seed, "tears");
        tears::tear(&spec.recipe, seed, &spec.moment, &spec.own_line(), &field.grid, &mut field.density);
        field
    }

    /// The field before its ends are torn. What is drawn has no say in the mean, so that all beside it stays as it is.
    fn whole(spec: &FieldSpec, sampling: Sampling, bands: Plane, factor: f32) -> Field {
        let Some(strokes) = &spec.strokes else {
            return Field::normalized(spec, sampling, spec.own_grid(sampling), bands).0;
        };
        let strokes = Strokes { weight: strokes.weight / f64::from(factor), ..strokes.clone() };
        let spec = FieldSpec { strokes: Some(strokes), ..spec.clone() };
        let mut field = spec.work_on(sampling, spec.drawn_grid(sampling), bands);
        field.times(factor);
        field
    }

    /// The field of `spec` on `grid`, in which nothing is drawn, and the factor that brings its mean along the line to 1.
    fn normalized(spec: &FieldSpec, sampling: Sampling, grid: Grid, bands: Plane) -> (Field, f32) {
        let mut field = spec.work_on(sampling, grid, bands);
        let mean = spec.mean_along_line(sampling, &field);
        let scale = if mean > 1e-6 { (1.0 / mean) as f32 } else { 1.0 };
        field.times(scale);
        (field, scale)
    }

    fn times(&mut self, scale: f32) {
        if scale != 1.0 {
            self.density.each_row(
                #[inline(always)]
                |_, numbers| numbers.iter_mut().for_each(|number| *number *= scale),
            );
        }
    }
}

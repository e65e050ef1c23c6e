//! Bytes that a field takes, before it takes them.

use super::field::{FieldSpec, Sampling};
use super::grid::Grid;
use super::step1_bands;

impl FieldSpec {
    /// Bytes that stay of the field as a sheet's opacities and what faces the light, and those that working these out takes besides; about,
    /// and rather too many than too few.
    pub fn bytes(&self) -> [f64; 2] {
        let number = size_of::<f32>() as f64;
        // Rounded, in half the room, what faces the light by half as many columns, at least.
        let held = if self.is_rounded() { 0.75 * number } else { 2.0 * number };
        if self.slope.is_some() {
            let [level, work] = self.level().0.bytes();
            let own = self.sampled(Sampling::Reduced);
            let own = own.cols as f64 * own.rows as f64;
            return [held * own, level + work + 3.0 * number * own];
        }
        let area = |grid: &Grid| grid.cols as f64 * grid.rows as f64;
        let grid = self.own_grid(Sampling::Reduced);
        let own = self.sampled(Sampling::Reduced);
        // The plane that is blurred and the one that it is blurred into.
        let work = |grid: &Grid| {
            2.0 * number * area(grid) + step1_bands::bytes(&self.recipe.bands, self.line.0, grid)
        };
        let sway = self.recipe.falloff.sway.0;
        let strip = self.grid(Sampling::Reduced, self.line.0 - sway - 1.0, self.line.0 + sway + 1.0);
        // What strokes are laid into is worked out once without them, and the bands are kept until then.
        let kept = match (&self.strokes, &self.along) {
            (None, _) => 0.0,
            (Some(_), None) => 2.0 * number * (area(&grid) + area(&own)),
            (Some(_), Some(_)) => 3.0 * number * (area(&grid) + area(&own)),
        };
        // The density, with a copy of it and what faces the light of that.
        let own = area(&own);
        let work = work(&grid).max(work(&strip)).max(2.0 * number * own);
        [held * own, work + number * own + kept]
    }
}

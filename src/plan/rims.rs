//! What the plan knows of rims: how far they spread.

use crate::steps::field::FieldSpec;
use crate::steps::step3_smear;

/// Most texels to a scene px at which rims are solved; larger ones are drawn from the same solution, so that they look alike.
pub(super) const SCALE_MAX: f64 = 1.0;
/// Most that a rim's spread is widened so that no edge shows; chosen by eye.
pub(super) const WIDEST: f64 = 5.0;
/// Deviations of the widest spread that a rim has room for on each side of its art: a Gaussian has 3e-4 of itself beyond.
pub(super) const ROOM: f64 = 3.6;
/// Widest that a rim's spread may be over its height, whatever the sheet's own: beyond that, posts grow banks of fog.
const FLATTEST: f64 = 2.0;

/// Deviation along x over that along y of a sheet's blurs, held to what suits a rim.
pub(crate) fn aspect(field: &FieldSpec) -> f64 {
    let [x, y] = variances(field).map(|(smear, gauss)| smear + gauss);
    if x > 0.0 && y > 0.0 { libm::sqrt(x / y).clamp(1.0 / FLATTEST, FLATTEST) } else { 1.0 }
}

/// Variances of smear and Gaussian along x and y, texels^2.
pub(crate) fn variances(field: &FieldSpec) -> [(f64, f64); 2] {
    let recipe = &field.recipe;
    let [x, y] = step3_smear::extent(recipe.smear.length.0, recipe.smear.angle, [1.0, 1.0]);
    let sigma = recipe.soften.sigma.0;
    let wide = sigma * recipe.soften.stretch;
    [(x * x / 12.0, wide * wide), (y * y / 12.0, sigma * sigma)]
}

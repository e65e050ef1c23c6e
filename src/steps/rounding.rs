//! Rounding of densities to whole numbers, so that a field is stored as exactly what it was drawn from.
//!
//! What a density is rounded by grows with it: an opacity of 8 bits, of any optical depth up to 20 along the line, is off by no
//! more than a 20th of its step. For a depth t and a density d that is t exp(-t d) times what d is off, which asks for the density's
//! logarithm, but for the thinnest; its eighth root comes near that, and roots and powers are the same bits everywhere.

#[cfg(feature = "scene")]
use crate::base::packed::{Packer, Unpacker};
use crate::base::simd;
use crate::steps::field::{Field, FieldSpec};
#[cfg(feature = "scene")]
use crate::steps::grid::{Grid, Plane};

/// The density that is added before the root is taken, and its root: both are exact.
const LEAST: f32 = 1.0 / 256.0;
const ROOT_OF_LEAST: f32 = 0.5;

/// Steps to a unit of the root. Density 1 is a whole number of them.
const STEPS: f32 = 11_874.424;

/// The largest number: denser fog is opaque in any air that shows the rest of the sheet.
const CODE_MAX: f32 = 655_360.0;

/// The whole number nearest to a density.
#[inline(always)]
pub(crate) fn code(density: f32) -> i32 {
    let root = (density.max(0.0) + LEAST).sqrt().sqrt().sqrt();
    simd::round(((root - ROOT_OF_LEAST) * STEPS).min(CODE_MAX))
}

/// The density that a whole number of 0 or more stands for.
#[inline(always)]
pub(crate) fn density(code: i32) -> f32 {
    let root = code as f32 / STEPS + ROOT_OF_LEAST;
    let square = root * root;
    let fourth = square * square;
    fourth * fourth - LEAST
}

impl FieldSpec {
    /// Whether its densities are rounded: not without noise, where the law holds to half a step of 16 bits.
    pub fn is_rounded(&self) -> bool {
        self.recipe.bands.amount > 0.0
    }
}

impl Field {
    /// Rounds the densities to those that a store holds, where it holds them; the field is that of `spec`.
    pub fn round(&mut self, spec: &FieldSpec) {
        if spec.is_rounded() {
            self.density.each_row(
                #[inline(always)]
                |_, numbers| numbers.iter_mut().for_each(|number| *number = density(code(*number))),
            );
        }
    }
}

#[cfg(feature = "scene")]
impl Field {
    /// The field as bytes, for [`Field::unpack`]; it must be rounded.
    pub fn pack(&self) -> Vec<u8> {
        let (mut packer, mut codes) = (Packer::default(), vec![0; self.grid.cols]);
        for row in 0..self.grid.rows {
            let numbers = self.density.row(row);
            simd::vectorize(
                #[inline(always)]
                || codes.iter_mut().zip(numbers).for_each(|(to, number)| *to = code(*number)),
            );
            packer.row(&codes);
        }
        packer.finish()
    }

    /// The field on `grid` from the bytes that [`Field::pack`] made of it, bit for bit; none if they can't be that.
    pub fn unpack(packed: &[u8], grid: Grid) -> Option<Field> {
        let mut density = Plane::new(grid.cols, grid.rows);
        let (mut unpacker, mut codes) = (Unpacker::new(packed), vec![0; grid.cols]);
        for numbers in density.data.chunks_exact_mut(grid.cols) {
            unpacker.row(&mut codes)?;
            simd::vectorize(
                #[inline(always)]
                || numbers.iter_mut().zip(&codes).for_each(|(to, number)| *to = self::density(*number)),
            );
        }
        unpacker.is_at_end().then_some(Field { grid, density })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The largest optical depth that the promise is held for.
    const DEPTH_MAX: f64 = 20.0;

    #[test]
    fn each_whole_number_comes_back() {
        assert_eq!((code(0.0), density(0)), (0, 0.0));
        for number in 0..=CODE_MAX as i32 {
            assert_eq!(code(density(number)), number);
        }
        for (strange, whole) in [(-1.0, 0), (f32::NAN, 0), (f32::INFINITY, CODE_MAX as i32)] {
            assert_eq!(code(strange), whole);
        }
        assert!((density(code(1.0)) - 1.0).abs() < 1e-6);
    }

    #[test]
    fn opacities_stay_within_a_20th_of_a_step() {
        for at in 0..=200_000 {
            let exact = libm::exp(f64::from(at) * 1e-4 - 14.0);
            let rounded = f64::from(density(code(exact as f32)));
            for depth in [1e-3, 0.1, 0.3, 1.0, 3.0, 8.0, DEPTH_MAX] {
                let off = (libm::exp(-depth * exact) - libm::exp(-depth * rounded)).abs();
                assert!(off * 255.0 * 20.0 <= 1.01, "density {exact}, depth {depth}: {off}");
            }
        }
    }
}

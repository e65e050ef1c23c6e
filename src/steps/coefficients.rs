//! Coefficients of a spline on a grid as they are held while a sheet is drawn: in half the room of the numbers that they were worked out as.
//!
//! They lie within -1..2 where samples lie within 0..1, and within -3..3 where those lie within -1..1: along an axis, the filter that turns
//! samples into coefficients takes a change from sample to sample to three times itself at most. A step is an 85th of one of 8 bits, or
//! a 42nd.

use crate::base::simd::{truncate, vectorize};
use crate::steps::grid::Plane;

/// Coefficients of one spline.
#[derive(Clone, Debug, PartialEq)]
pub enum Coefficients {
    /// As they are: of a sheet whose density isn't rounded.
    Exact(Plane),
    /// Rounded.
    Rounded(Rounded),
}

/// Whole numbers, row by row.
#[derive(Clone, Debug, PartialEq)]
pub struct Rounded {
    /// Samples per row.
    pub cols: usize,
    /// The numbers.
    pub codes: Vec<u16>,
    /// What 0 stands for.
    pub least: f32,
}

impl Rounded {
    /// What 0 stands for in coefficients of samples within 0..1, and within -1..1.
    pub const WITHIN_1: f32 = -1.0;
    pub const SIGNED: f32 = -3.0;
}

/// What a plane is rounded by, for what 0 stands for.
fn step(least: f32) -> f32 {
    if least == Rounded::SIGNED { 6.0 / 65535.0 } else { 3.0 / 65535.0 }
}

impl Coefficients {
    /// Of samples within 0..1, or -1..1 if they are `signed`; rounded if that is asked for.
    pub fn new(plane: Plane, signed: bool, rounds: bool) -> Coefficients {
        if !rounds {
            return Coefficients::Exact(plane);
        }
        let least = if signed { Rounded::SIGNED } else { Rounded::WITHIN_1 };
        let step = step(least);
        let mut codes = vec![0; plane.data.len()];
        vectorize(
            #[inline(always)]
            || {
                for (code, number) in codes.iter_mut().zip(&plane.data) {
                    *code = truncate(((number - least) / step + 0.5).clamp(0.0, 65535.0)) as u16;
                }
            },
        );
        Coefficients::Rounded(Rounded { cols: plane.cols, codes, least })
    }

    /// Samples per row.
    pub fn cols(&self) -> usize {
        match self {
            Coefficients::Exact(plane) => plane.cols,
            Coefficients::Rounded(rounded) => rounded.cols,
        }
    }

    /// Number of rows.
    pub fn rows(&self) -> usize {
        match self {
            Coefficients::Exact(plane) => plane.rows(),
            Coefficients::Rounded(rounded) => rounded.codes.len() / rounded.cols,
        }
    }

    /// Bytes that it takes.
    pub fn bytes(&self) -> usize {
        match self {
            Coefficients::Exact(plane) => size_of_val(&*plane.data),
            Coefficients::Rounded(rounded) => size_of_val(&*rounded.codes),
        }
    }

    /// A row of them.
    pub fn row(&self, row: usize) -> Vec<f32> {
        match self {
            Coefficients::Exact(plane) => plane.row(row).to_vec(),
            Coefficients::Rounded(rounded) => {
                Rows::row(rounded, row).iter().map(|code| rounded.number(*code)).collect()
            }
        }
    }
}

/// Rows that a spline is drawn from.
pub trait Rows {
    /// What a row is a list of.
    type Item: Copy;

    /// A row.
    fn row(&self, row: usize) -> &[Self::Item];

    /// What an item stands for.
    fn number(&self, item: Self::Item) -> f32;
}

impl Rows for Plane {
    type Item = f32;

    #[inline(always)]
    fn row(&self, row: usize) -> &[f32] {
        Plane::row(self, row)
    }

    #[inline(always)]
    fn number(&self, item: f32) -> f32 {
        item
    }
}

impl Rows for Rounded {
    type Item = u16;

    #[inline(always)]
    fn row(&self, row: usize) -> &[u16] {
        &self.codes[row * self.cols..][..self.cols]
    }

    #[inline(always)]
    fn number(&self, item: u16) -> f32 {
        f32::from(item) * step(self.least) + self.least
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_rounded_is_off_by_half_a_step_at_most() {
        for (signed, ends, step) in [(false, [-1.0, 2.0], 4.6e-5), (true, [-3.0, 3.0], 9.2e-5)] {
            let number = |at: u32| ends[0] + (ends[1] - ends[0]) * at as f32 / 9999.0;
            let plane = Plane { cols: 100, data: (0..10_000).map(number).collect() };
            let rounded = Coefficients::new(plane.clone(), signed, true);
            assert_eq!([rounded.cols(), rounded.rows(), rounded.bytes()], [100, 100, 20_000]);
            for row in 0..100 {
                for (found, exact) in rounded.row(row).iter().zip(plane.row(row)) {
                    assert!((found - exact).abs() <= 0.51 * step, "{found} {exact}");
                }
            }
        }
    }
}

//! What the bands of a field are made from.

use super::step1_bands;
use crate::base::units::Texel;
use crate::steps::grid::{Grid, Plane};
use crate::steps::moment::Moment;
use crate::steps::recipe::Bands;

/// What the bands of a field are made from: everything that, changed, changes them.
#[derive(Clone, Debug, PartialEq)]
pub struct BandsSpec {
    pub(super) bands: Bands<Texel>,
    pub(super) seed: u64,
    pub(super) moment: Moment,
    pub(super) line: f64,
    pub(super) sigma: Option<[f64; 2]>,
    pub(super) grid: Grid,
}

impl BandsSpec {
    /// Samples of a row, and rows.
    pub fn size(&self) -> [usize; 2] {
        [self.grid.cols, self.grid.rows]
    }

    /// Works them out: mean about 1, before the falloff.
    pub fn plane(&self) -> Plane {
        let mut plane = Plane::new(self.grid.cols, self.grid.rows);
        step1_bands::fill(
            &self.bands,
            self.seed,
            &self.moment,
            self.line,
            self.sigma,
            &self.grid,
            &mut plane,
        );
        plane
    }
}

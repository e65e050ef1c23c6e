//! A density field at texels: the spline through its samples, as opacities are drawn.

use crate::base::simd::vectorize;
use crate::base::threads;
use crate::steps::field::{Field, FieldSpec};
use crate::steps::grid::Plane;
use crate::steps::upsample::Upsampler;

/// A field ready to be read at texels.
#[derive(Clone)]
pub struct Density {
    upsampler: Upsampler,
    /// Coefficients of the spline.
    plane: Plane,
    /// Columns of one period, and rows.
    size: [usize; 2],
}

impl Density {
    /// That of `field`, which was worked out from `spec`.
    pub fn new(spec: &FieldSpec, field: &Field) -> Density {
        let size = [spec.cols, spec.rows].map(|side| side as usize);
        let (upsampler, mut plane) = (Upsampler::new(field.grid, size[0]), field.density.clone());
        upsampler.prefilter(&mut plane);
        Density { upsampler, plane, size }
    }

    /// The density of every texel, row by row from the top; 0 or more, mean 1 along the fog's line.
    pub fn texels(&self) -> Vec<f32> {
        let [cols, rows] = self.size;
        let mut out = vec![0.0; cols * rows];
        threads::each_part(&mut out, cols, 1, |line, row, texels| {
            vectorize(
                #[inline(always)]
                || self.row(row, 0, line, texels),
            );
        });
        out
    }

    /// The density of the texel in column `x`, wrapping, and row `y`, the last one beyond it.
    pub fn at(&self, [x, y]: [u32; 2]) -> f32 {
        let [cols, rows] = self.size;
        let mut texel = [0.0];
        self.row((y as usize).min(rows - 1), x as usize % cols, &mut Vec::new(), &mut texel);
        texel[0]
    }

    /// The texels of row `row` from column `first` on.
    #[cfg_attr(feature = "simd", inline(always))]
    fn row(&self, row: usize, first: usize, line: &mut Vec<f32>, texels: &mut [f32]) {
        self.upsampler.down(&self.plane, row as f64, [first, texels.len()], line);
        self.upsampler.across(line, first, texels);
        for texel in texels {
            // A cubic may stray a hair below nothing.
            *texel = texel.max(0.0);
        }
    }
}

//! Pictures as four numbers a texel, as textures are fitted to them.

use crate::base::simd::vectorize;
use crate::output::texture::resample::{Axis, Scratch};
use rayon::prelude::*;

/// Four numbers a texel, row by row.
#[derive(Clone, Debug, PartialEq)]
pub struct Image {
    /// Width and height.
    pub size: [usize; 2],
    /// The texels.
    pub data: Vec<[f32; 4]>,
}

/// Rows of a picture.
#[derive(Clone, Copy)]
pub struct View<'a> {
    /// Width and height.
    pub size: [usize; 2],
    data: &'a [[f32; 4]],
}

impl Image {
    /// One row.
    pub fn row(&self, y: usize) -> &[[f32; 4]] {
        &self.data[y * self.size[0]..(y + 1) * self.size[0]]
    }

    /// All of it.
    pub fn view(&self) -> View<'_> {
        self.rows(0, self.size[1])
    }

    /// The rows from `first` on.
    pub fn rows(&self, first: usize, count: usize) -> View<'_> {
        let width = self.size[0];
        View { size: [width, count], data: &self.data[first * width..(first + count) * width] }
    }

    /// Rows become columns.
    pub fn transposed(&self) -> Image {
        self.view().every_nth_column(1)
    }
}

impl<'a> View<'a> {
    /// One row.
    pub fn row(&self, y: usize) -> &'a [[f32; 4]] {
        &self.data[y * self.size[0]..(y + 1) * self.size[0]]
    }

    /// A copy.
    pub fn to_image(self) -> Image {
        Image { size: self.size, data: self.data.to_vec() }
    }

    /// Every `step`th column, as rows.
    pub fn every_nth_column(&self, step: usize) -> Image {
        let [width, height] = self.size;
        let count = width.div_ceil(step);
        let mut data = vec![[0.0; 4]; count * height];
        data.par_chunks_mut((height * TOGETHER).max(1)).enumerate().for_each(|(part, columns)| {
            let first = part * TOGETHER;
            for (y, row) in self.data.chunks_exact(width).enumerate() {
                let texels = row[first * step..].iter().step_by(step);
                for (column, texel) in columns.chunks_exact_mut(height).zip(texels) {
                    column[y] = *texel;
                }
            }
        });
        Image { size: [height, count], data }
    }

    fn each_row(
        &self,
        width: usize,
        work: impl Fn(&mut Scratch, &[[f32; 4]], &mut [[f32; 4]]) + Sync,
    ) -> Image {
        let mut data = vec![[0.0; 4]; width * self.size[1]];
        data.par_chunks_mut(width)
            .zip(self.data.par_chunks(self.size[0]))
            .for_each_init(Scratch::default, |scratch, (out, row)| work(scratch, row, out));
        Image { size: [width, self.size[1]], data }
    }

    /// Each row stored by `axis`.
    pub fn stored(&self, axis: &Axis) -> Image {
        self.each_row(axis.to, |scratch, row, out| {
            vectorize(
                #[inline(always)]
                || axis.store(row, scratch, out),
            );
        })
    }

    /// Each column stored by `axis`.
    pub fn columns_stored(&self, axis: &Axis) -> Image {
        if axis.to == axis.from {
            return self.to_image();
        }
        if !axis.is_solved() {
            return self.every_nth_column(1).view().stored(axis).transposed();
        }
        let width = self.size[0];
        let store = |first: usize| {
            let columns = first..(first + TOGETHER).min(width);
            vectorize(
                #[inline(always)]
                || axis.store_columns(columns.len(), |y| &self.row(y)[columns.clone()]),
            )
        };
        let parts: Vec<usize> = (0..width).step_by(TOGETHER).collect();
        let parts: Vec<Vec<[f32; 4]>> = parts.into_par_iter().map(store).collect();
        let mut data = Vec::with_capacity(width * axis.to);
        for y in 0..axis.to {
            for part in &parts {
                let columns = part.len() / axis.to;
                data.extend_from_slice(&part[y * columns..(y + 1) * columns]);
            }
        }
        Image { size: [width, axis.to], data }
    }

    /// Each row as a linear filter draws it.
    #[cfg(test)]
    pub fn drawn(&self, axis: &Axis) -> Image {
        self.each_row(axis.from, |_, row, out| {
            vectorize(
                #[inline(always)]
                || axis.draw(row, out),
            );
        })
    }
}

/// Columns that are read together, since a row's neighbours come with it.
const TOGETHER: usize = 16;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::output::texture::resample::Ends;

    #[test]
    fn columns_are_stored_and_drawn_as_rows_are() {
        let value = |at: usize| ((at * 7919) % 1000) as f32 / 999.0;
        let data = (0..37 * 50).map(|at| [0, 1, 2, 3].map(|channel| value(4 * at + channel))).collect();
        let image = Image { size: [37, 50], data };
        for ends in [Ends::Beyond, Ends::Inner, Ends::Wrap] {
            for to in [3, 17, 39, 45, 50] {
                let axis = Axis::new(50, to, ends);
                let stored = image.view().columns_stored(&axis);
                let turned = image.transposed().view().stored(&axis);
                assert!(stored == turned.transposed(), "{to} {ends:?}");
                let drawn = turned.view().drawn(&axis).transposed();
                let mut row = vec![[0.0; 4]; 37];
                for y in 0..50 {
                    axis.draw_row(&stored.data, y, &mut row);
                    assert!(row == drawn.row(y), "row {y} of {to} {ends:?}");
                }
            }
        }
    }
}

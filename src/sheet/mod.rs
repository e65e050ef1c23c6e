//! Sheets: a field graded to texels, row by row; a sheet never needs to exist whole in memory.

pub mod dither;
pub mod grade;

use crate::colour::Srgb;
use crate::field::grid::{Grid, Plane};
use crate::field::stretch::Stretch;
use crate::field::{Field, FieldSpec, Sampling};
use grade::{Ramps, Tones};
use rayon::prelude::*;
use std::sync::Arc;

/// Bits of a channel.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bits {
    /// 8, opacity dithered.
    Eight,
    /// 16, exact.
    Sixteen,
}

/// All that a sheet of fog is made from.
#[derive(Clone, Debug, PartialEq)]
pub struct SheetSpec {
    /// Its density.
    pub field: FieldSpec,
    /// Optical depth along the fog's line.
    pub tau: f64,
    /// Its colours.
    pub tones: Tones,
    /// Where the light comes from, degrees.
    pub light: f64,
}

/// A sheet ready to be drawn.
pub struct Sheet {
    spec: SheetSpec,
    /// Coefficients of opacity, and of how much each place faces the light.
    alpha: Arc<Plane>,
    facing: Option<Plane>,
    stretch: Stretch,
    ramps: Ramps,
    steepest: f64,
}

/// One row of a sheet: straight alpha, colour encoded in sRGB, also where opacity is 0.
#[derive(Default)]
pub struct Row {
    /// Opacity, 0..1.
    pub alpha: Vec<f32>,
    /// Red, green and blue, 0..1, and a number that only fills a register.
    pub colour: Vec<[f32; 4]>,
    facing: Vec<f32>,
    line: Vec<f32>,
}

impl Sheet {
    /// Works out the field of a sheet.
    pub fn new(spec: SheetSpec, sampling: Sampling) -> Sheet {
        let field = Field::new(&spec.field, sampling);
        Sheet::of_field(spec, field)
    }

    /// The sheet of a field that was worked out from the same `spec`.
    pub fn of_field(spec: SheetSpec, field: Field) -> Sheet {
        let stretch = Stretch::new(field.grid, spec.field.cols as usize);
        let facing = facing(&spec, &field, &stretch);
        let ramps = spec.tones.ramps();
        let Field { density: mut alpha, grid } = field;
        // Opacities are worked out on the grid, then stretched: they are as smooth as the density.
        let tau = spec.tau as f32;
        alpha.each_row(
            #[inline(always)]
            |_, numbers| grade::opacities(numbers, tau),
        );
        let steepest = steepest(&alpha, &grid, spec.field.rows);
        stretch.prepare(&mut alpha);
        Sheet { spec, alpha: Arc::new(alpha), facing, stretch, ramps, steepest }
    }

    /// This sheet in another light and other colours, of its `field`; none if `spec` asks for other opacities.
    pub fn relit(&self, spec: SheetSpec, field: &Field) -> Option<Sheet> {
        if spec.field != self.spec.field || spec.tau != self.spec.tau {
            return None;
        }
        let stretch = Stretch::new(field.grid, spec.field.cols as usize);
        let facing = facing(&spec, field, &stretch);
        let ramps = spec.tones.ramps();
        Some(Sheet { alpha: Arc::clone(&self.alpha), facing, stretch, ramps, steepest: self.steepest, spec })
    }

    /// Width (one period) and height in texels.
    pub fn size(&self) -> [u32; 2] {
        [self.spec.field.cols, self.spec.field.rows]
    }

    /// The colour of all its texels, if they have one.
    pub fn colour(&self) -> Option<Srgb> {
        self.spec.tones.plain().then_some(self.spec.tones.haze)
    }

    /// Fastest change of its opacity between neighbouring samples of its field, per texel.
    pub fn steepest(&self) -> f64 {
        self.steepest
    }

    /// The opacities of `count` texels of row `y` from column `first` on, wrapping; the row's colours are left as they are.
    #[inline(always)]
    pub fn opacities(&self, y: usize, first: usize, count: usize, row: &mut Row) {
        row.alpha.resize(count, 0.0);
        self.stretch.down(&self.alpha, y as f64, &mut row.line);
        self.stretch.across(&mut row.line, first, &mut row.alpha);
        for alpha in &mut row.alpha {
            // A cubic may stray a hair past an edge.
            *alpha = alpha.clamp(0.0, 1.0);
        }
    }

    /// Draws `count` texels of row `y` from column `first` on, wrapping.
    #[inline(always)]
    pub fn row(&self, y: usize, first: usize, count: usize, row: &mut Row) {
        self.opacities(y, first, count, row);
        let tones = &self.spec.tones;
        if tones.plain() {
            row.colour.clear();
            row.colour.resize(count, tones.haze.lanes());
            return;
        }
        row.colour.resize(count, [0.0; 4]);
        let ramp = self.ramps.at(self.spec.field.turned(y as f64 + 0.5));
        row.facing.resize(count, 0.0);
        match &self.facing {
            Some(plane) => {
                self.stretch.down(plane, y as f64, &mut row.line);
                self.stretch.across(&mut row.line, first, &mut row.facing);
            }
            None => row.facing.fill(0.0),
        }
        for (colour, facing) in row.colour.iter_mut().zip(&row.facing) {
            *colour = ramp.at(facing.clamp(-1.0, 1.0));
        }
    }

    /// `width` columns of the sheet, wrapping, as RGBA, 8 bits, opacity dithered: the texels that its file holds.
    pub fn eight(&self, width: u32) -> Vec<u8> {
        let cols = self.size()[0] as usize;
        self.texels(width, |y, row, out: &mut [u8]| {
            let thresholds = dither::row(y);
            for (at, (texel, alpha)) in out.chunks_exact_mut(4).zip(&row.alpha).enumerate() {
                for (code, value) in texel[..3].iter_mut().zip(row.colour[at]) {
                    *code = dither::code(value, 0.5);
                }
                texel[3] = dither::code(*alpha, thresholds[at % cols % dither::SIDE]);
            }
        })
    }

    /// `width` columns of the sheet, wrapping, as RGBA, 16 bits.
    pub fn sixteen(&self, width: u32) -> Vec<u16> {
        self.texels(width, |_, row, out: &mut [u16]| {
            for (at, (texel, alpha)) in out.chunks_exact_mut(4).zip(&row.alpha).enumerate() {
                for (code, value) in texel[..3].iter_mut().zip(row.colour[at]) {
                    *code = (value * 65535.0 + 0.5) as u16;
                }
                texel[3] = (*alpha * 65535.0 + 0.5) as u16;
            }
        })
    }

    fn texels<T: Copy + Default + Send>(
        &self,
        width: u32,
        write: impl Fn(usize, &Row, &mut [T]) + Sync,
    ) -> Vec<T> {
        let [width, height] = [width, self.size()[1]].map(|side| side as usize);
        let mut out = vec![T::default(); width * height * 4];
        out.par_chunks_mut(width * 4).enumerate().for_each_init(Row::default, |row, (y, texels)| {
            self.row(y, 0, width, row);
            write(y, row, texels);
        });
        out
    }
}

/// How the places of a sheet face the light, if its colours go by that, as coefficients for `stretch`.
fn facing(spec: &SheetSpec, field: &Field, stretch: &Stretch) -> Option<Plane> {
    let bands = &spec.field.recipe.bands;
    (spec.tones.lit > 0.0).then(|| {
        let reach = [0.25 * bands.size * bands.stretch, 0.25 * bands.size];
        let mut plane = field.facing(spec.light, reach, spec.tau);
        stretch.prepare(&mut plane);
        plane
    })
}

/// Fastest change between neighbouring samples inside a sheet of so many rows, per texel.
fn steepest(plane: &Plane, grid: &Grid, rows: u32) -> f64 {
    let inside = |row: &usize| (0.0..f64::from(rows)).contains(&grid.y(*row));
    let [across, down] = grid.step.map(|step| (1.0 / (step * step)) as f32);
    let most = (0..grid.rows).into_par_iter().filter(inside).map(|row| {
        let own = plane.row(row);
        let below = plane.row((row + 1).min(grid.rows - 1));
        let mut most = 0.0_f32;
        let mut left = own[grid.cols - 1];
        for (value, below) in own.iter().zip(below) {
            let (x, y) = (value - left, below - value);
            most = most.max(x * x * across + y * y * down);
            left = *value;
        }
        most
    });
    f64::from(most.reduce(|| 0.0, f32::max).sqrt())
}

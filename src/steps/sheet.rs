//! Sheets: a field graded to texels, row by row; a sheet never needs to exist whole in memory.

use super::step5_grade::{self, Ramp, Ramps, Tones};
use crate::base::colour::Srgb;
use crate::base::exp::opacity;
use crate::base::simd::{truncate, vectorize};
use crate::base::threads;
use crate::steps::coefficients::Coefficients;
use crate::steps::dither;
use crate::steps::facing;
use crate::steps::field::{Field, FieldSpec, Sampling};
use crate::steps::grid::{Grid, Plane};
use crate::steps::recipe::Recipe;
use crate::steps::upsample::Upsampler;
use std::sync::Arc;

/// All that a sheet of fog is made from.
#[derive(Clone, Debug, PartialEq)]
pub struct SheetSpec {
    /// Its density.
    pub field: FieldSpec,
    /// Optical depth along the fog's line, without the clear air's.
    pub tau: f64,
    /// Optical depth of the clear air, at any height.
    pub clear: f64,
    /// Its colours.
    pub tones: Tones,
    /// Where the light comes from, degrees.
    pub light: f64,
}

/// The opacities of a sheet on the grid of its field.
pub struct Opacity {
    /// As coefficients of the spline that stretches them.
    pub plane: Coefficients,
    /// The grid.
    pub grid: Grid,
    /// Fastest change between neighbouring samples inside the sheet, per texel.
    pub steepest: f32,
}

/// A sheet ready to be drawn.
pub struct Sheet {
    spec: SheetSpec,
    opacity: Arc<Opacity>,
    /// How much each place faces the light, as coefficients of the spline, and what draws them; none where no colour goes by that.
    facing: Option<(Arc<Coefficients>, Upsampler)>,
    upsampler: Upsampler,
    ramps: Ramps,
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

impl Row {
    /// Its texels: colours, the fourth number of each its opacity.
    #[inline(always)]
    pub fn texels(&mut self) -> &[[f32; 4]] {
        for (texel, alpha) in self.colour.iter_mut().zip(&self.alpha) {
            texel[3] = *alpha;
        }
        &self.colour
    }

    /// Writes its texels as RGBA of 16 bits.
    #[inline(always)]
    pub(crate) fn write_sixteen(&mut self, out: &mut [u16]) {
        for (code, value) in out.iter_mut().zip(self.texels().as_flattened()) {
            *code = (value * 65535.0 + 0.5) as u16;
        }
    }

    /// Writes its texels as RGBA of 16 bits, each 0..1.
    #[inline(always)]
    pub(crate) fn write_rounded(&mut self, out: &mut [f32]) {
        for (number, value) in out.iter_mut().zip(self.texels().as_flattened()) {
            let code = truncate((value * 65535.0 + 0.5).clamp(0.0, 65535.0));
            *number = code as f32 / 65535.0;
        }
    }
}

/// The RGBA of a picture `size` texels large, row by row: `draw` fills a row, `write` turns it into numbers.
pub(crate) fn draw_rows<T: Copy + Default + Send>(
    size: [usize; 2],
    draw: impl Fn(usize, &mut Row) + Sync,
    write: impl Fn(usize, &mut Row, &mut [T]) + Sync,
) -> Vec<T> {
    let mut out = vec![T::default(); size[0] * size[1] * 4];
    fill_rows(size[0], &mut out, draw, write);
    out
}

/// The same into `out`, rows of `width` texels.
pub(crate) fn fill_rows<T: Send>(
    width: usize,
    out: &mut [T],
    draw: impl Fn(usize, &mut Row) + Sync,
    write: impl Fn(usize, &mut Row, &mut [T]) + Sync,
) {
    threads::each_part(out, width * 4, 1, |row, y, texels| {
        vectorize(
            #[inline(always)]
            || {
                draw(y, row);
                write(y, row, texels);
            },
        );
    });
}

impl Sheet {
    /// Works out the field of a sheet.
    pub fn new(spec: SheetSpec, sampling: Sampling) -> Sheet {
        let field = Field::new(&spec.field, sampling);
        Sheet::of_field(spec, field)
    }

    /// The sheet of a field that was worked out from the same `spec`.
    pub fn of_field(spec: SheetSpec, field: Field) -> Sheet {
        let facing = (spec.tones.lit > 0.0).then(|| Arc::new(facing(&spec, &field)));
        let opacity = Arc::new(Opacity::new(&spec, field));
        Sheet::assemble(spec, opacity, facing)
    }

    /// The sheet of the planes that belong to its keys; it shares them.
    pub fn assemble(spec: SheetSpec, opacity: Arc<Opacity>, facing: Option<Arc<Coefficients>>) -> Sheet {
        let cols = spec.field.cols as usize;
        let upsampler = Upsampler::new(opacity.grid, cols);
        let facing = facing.map(|plane| (plane, Upsampler::new(spec.facing_grid(&opacity.grid), cols)));
        let ramps = spec.tones.ramps();
        Sheet { spec, opacity, facing, upsampler, ramps }
    }

    /// The planes that it is drawn from.
    pub fn planes(&self) -> impl Iterator<Item = &Coefficients> {
        std::iter::once(&self.opacity.plane).chain(self.facing.as_ref().map(|(plane, _)| &**plane))
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
        f64::from(self.opacity.steepest)
    }

    /// The opacities of `count` texels of row `y` from column `first` on, wrapping; the row's colours are left as they are.
    #[inline(always)]
    pub fn opacities(&self, y: usize, first: usize, count: usize, row: &mut Row) {
        row.alpha.resize(count, 0.0);
        self.upsampler.down_held(&self.opacity.plane, y as f64, [first, count], &mut row.line);
        self.upsampler.across(&mut row.line, first, &mut row.alpha);
        for alpha in &mut row.alpha {
            // A cubic may stray a hair past an edge.
            *alpha = alpha.clamp(0.0, 1.0);
        }
    }

    /// Draws `count` texels of row `y` from column `first` on, wrapping.
    #[cfg_attr(feature = "simd", inline(always))]
    pub fn row(&self, y: usize, first: usize, count: usize, row: &mut Row) {
        let Some(ramp) = self.lit(y, first, count, row) else {
            row.colour.clear();
            row.colour.resize(count, self.spec.tones.haze.lanes());
            return;
        };
        row.colour.resize(count, [0.0; 4]);
        ramp.paint(&row.facing, &row.alpha, &mut row.colour, |texel, colour, _| *texel = colour);
    }

    /// Gives each of `targets`, which stand for the texels of row `y` from column `first` on, wrapping, to `put`, with the texel's
    /// colour and opacity. The colours are nowhere kept.
    #[inline(always)]
    pub fn paint<T>(
        &self,
        y: usize,
        first: usize,
        row: &mut Row,
        targets: &mut [T],
        mut put: impl FnMut(&mut T, [f32; 4], f32),
    ) {
        match self.lit(y, first, targets.len(), row) {
            Some(ramp) => ramp.paint(&row.facing, &row.alpha, targets, put),
            None => {
                let haze = self.spec.tones.haze.lanes();
                for (target, alpha) in targets.iter_mut().zip(&row.alpha) {
                    put(target, haze, *alpha);
                }
            }
        }
    }

    /// The opacities of a row and how it faces the light, which its colours go by; none if it has one colour.
    #[inline(always)]
    fn lit(&self, y: usize, first: usize, count: usize, row: &mut Row) -> Option<Ramp> {
        self.opacities(y, first, count, row);
        if self.spec.tones.plain() {
            return None;
        }
        row.facing.resize(count, 0.0);
        match &self.facing {
            Some((plane, upsampler)) => {
                upsampler.down_held(plane, y as f64, [first, count], &mut row.line);
                upsampler.across(&mut row.line, first, &mut row.facing);
            }
            None => row.facing.fill(0.0),
        }
        Some(self.ramps.at(self.spec.field.aloft_share(y as f64 + 0.5)))
    }

    /// `width` columns of the sheet, wrapping, as RGBA, 8 bits, dithered: the texels that its file holds.
    pub fn eight(&self, width: u32) -> Vec<u8> {
        let (cols, shaded) = (self.size()[0] as usize, self.colour().is_none());
        self.texels(
            width,
            #[inline(always)]
            |y, row, out: &mut [u8]| dither::texels(y, row.texels(), shaded, cols, out),
        )
    }

    /// `width` columns of the sheet, wrapping, as RGBA, 16 bits.
    pub fn sixteen(&self, width: u32) -> Vec<u16> {
        self.texels(width, |_, row, out: &mut [u16]| row.write_sixteen(out))
    }

    /// The same of the rows from `first` on, each number 0..1, into `out`.
    pub(crate) fn rounded(&self, width: u32, first: usize, out: &mut [[f32; 4]]) {
        fill_rows(
            width as usize,
            out.as_flattened_mut(),
            #[inline(always)]
            |y, row| self.row(first + y, 0, width as usize, row),
            #[inline(always)]
            |_, row, out: &mut [f32]| row.write_rounded(out),
        );
    }

    /// `width` columns of the sheet, wrapping, as RGBA, 32-bit floats: straight alpha, colours encoded in sRGB, all 0..1.
    pub fn floats(&self, width: u32) -> Vec<f32> {
        self.texels(
            width,
            #[inline(always)]
            |_, row, out: &mut [f32]| out.copy_from_slice(row.texels().as_flattened()),
        )
    }

    fn texels<T: Copy + Default + Send>(
        &self,
        width: u32,
        write: impl Fn(usize, &mut Row, &mut [T]) + Sync,
    ) -> Vec<T> {
        let [width, height] = [width, self.size()[1]].map(|side| side as usize);
        draw_rows(
            [width, height],
            #[inline(always)]
            |y, row| self.row(y, 0, width, row),
            write,
        )
    }
}

/// Optical depth below which fog's light is that of so little: its opacities would be lost in rounding.
const THIN: f64 = 1e-3;

impl Opacity {
    /// The opacities of the sheet of `spec`, of its field. They are worked out on the grid, then stretched: they are as smooth as the
    /// density, and take its place.
    pub fn new(spec: &SheetSpec, field: Field) -> Opacity {
        let Field { grid, density } = field;
        let mut plane = opacities(density, spec.tau, spec.clear);
        let steepest = steepest(&plane, &grid, spec.field.rows);
        Upsampler::new(grid, spec.field.cols as usize).prefilter(&mut plane);
        Opacity { plane: Coefficients::new(plane, false, spec.field.is_rounded()), grid, steepest }
    }
}

/// The opacities of densities, in their place.
fn opacities(density: Plane, tau: f64, clear: f64) -> Plane {
    let (mut plane, tau, clear) = (density, tau as f32, clear as f32);
    plane.each_row(
        #[inline(always)]
        |_, numbers| step5_grade::opacities(numbers, tau, clear),
    );
    plane
}

/// How the places of the sheet of `spec` face the light, of its field, as coefficients of the spline.
pub fn facing(spec: &SheetSpec, field: &Field) -> Coefficients {
    let reach = spec.field.reach_of_light();
    let tau = spec.tau.max(THIN);
    let grid = spec.facing_grid(&field.grid);
    // The clear air has no sides.
    let seen = if grid == field.grid {
        opacities(field.density.clone(), tau, 0.0)
    } else {
        mean_opacities(
            &field.density,
            [0, 1].map(|axis| (grid.step[axis] / field.grid.step[axis]).round() as usize),
            tau as f32,
        )
    };
    let mut plane = facing::facing(&seen, opacity(tau as f32), &grid, spec.light, reach);
    Upsampler::new(grid, spec.field.cols as usize).prefilter(&mut plane);
    Coefficients::new(plane, true, spec.field.is_rounded())
}

impl SheetSpec {
    /// The grid of how it faces the light, where that of its field is `own`: light goes far beside the distance of samples, and half as many
    /// columns, and rows, hold its sides.
    pub fn facing_grid(&self, own: &Grid) -> Grid {
        if !self.field.is_rounded() {
            return *own;
        }
        let mut grid = *own;
        if own.cols.is_multiple_of(2) {
            (grid.cols, grid.step[0]) = (own.cols / 2, 2.0 * own.step[0]);
        }
        if self.field.reach_of_light()[1] >= HALVED_FROM * own.step[1] {
            (grid.rows, grid.step[1]) = (own.rows.div_ceil(2), 2.0 * own.step[1]);
        }
        grid
    }
}

impl FieldSpec {
    /// How far light goes into its fog, texels.
    fn reach_of_light(&self) -> [f64; 2] {
        let Recipe { bands, falloff, .. } = &self.recipe;
        let feature = [bands.size.0 * bands.stretch, bands.size.0];
        // A body is as thick as it is high.
        let height = if falloff.firm > 0.0 && falloff.height.0.is_finite() { falloff.height.0 } else { 0.0 };
        [REACH[0] * feature[0], (REACH[1] * feature[1]).max(REACH_OF_BODY * height)]
    }
}

/// Means of the opacities of so many densities across and down: one or two.
fn mean_opacities(density: &Plane, [across, down]: [usize; 2], tau: f32) -> Plane {
    let last = density.rows() - 1;
    let mut out = Plane::new(density.cols / across, density.rows().div_ceil(down));
    out.each_row_with(
        #[inline(always)]
        |[own, sum]: &mut [Vec<f32>; 2], row, numbers| {
            sum.clear();
            sum.resize(density.cols, 0.0);
            for from in down * row..down * (row + 1) {
                own.clear();
                own.extend_from_slice(density.row(from.min(last)));
                step5_grade::opacities(own, tau, 0.0);
                sum.iter_mut().zip(&*own).for_each(|(sum, own)| *sum += own);
            }
            let share = 1.0 / (across * down) as f32;
            if across == 2 {
                for (number, pair) in numbers.iter_mut().zip(sum.as_chunks::<2>().0) {
                    *number = share * (pair[0] + pair[1]);
                }
            } else {
                numbers.iter_mut().zip(&*sum).for_each(|(number, sum)| *number = share * sum);
            }
        },
    );
    out
}

/// How far light goes into fog, as shares of a feature's width and height, and of a body's scale height; chosen by eye.
const REACH: [f64; 2] = [0.2, 0.36];
const REACH_OF_BODY: f64 = 0.5;
/// How many rows' distance light goes, from which on half as many hold its sides: as many as it is looked at along that way.
const HALVED_FROM: f64 = 8.0;

/// Fastest change between neighbouring samples inside a sheet of so many rows, per texel.
fn steepest(plane: &Plane, grid: &Grid, rows: u32) -> f32 {
    let inside = |row: &usize| (0.0..f64::from(rows)).contains(&grid.y(*row));
    let [across, down] = grid.step.map(|step| (1.0 / (step * step)) as f32);
    let larger = |a: f32, b: f32| if b > a { b } else { a };
    let rows = (0..grid.rows).filter(inside).collect();
    let most = threads::each(rows, |row: usize| {
        let own = plane.row(row);
        let below = plane.row((row + 1).min(grid.rows - 1));
        vectorize(
            #[inline(always)]
            || {
                let change = |value: f32, left: f32, below: f32| {
                    let (x, y) = (value - left, below - value);
                    x * x * across + y * y * down
                };
                let first = change(own[0], own[own.len() - 1], below[0]);
                let (values, rest) = own[1..].as_chunks::<8>();
                let (lefts, _) = own[..own.len() - 1].as_chunks::<8>();
                let (belows, _) = below[1..].as_chunks::<8>();
                // The largest in each place of a register.
                let mut most = [first; 8];
                for ((values, lefts), belows) in values.iter().zip(lefts).zip(belows) {
                    for at in 0..8 {
                        most[at] = larger(most[at], change(values[at], lefts[at], belows[at]));
                    }
                }
                let from = own.len() - rest.len();
                for at in from..own.len() {
                    most[0] = larger(most[0], change(own[at], own[at - 1], below[at]));
                }
                most.into_iter().fold(0.0, larger)
            },
        )
    });
    most.into_iter().fold(0.0, larger).sqrt()
}

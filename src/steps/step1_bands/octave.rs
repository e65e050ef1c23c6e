//! One octave of the bands: its noise, and the grid it is worked out on.
//!
//! An octave whose cells span many samples of the field's grid is worked out on a coarser grid of its own and stretched to the
//! field's: at twelve samples a cell the cubic misses gradient noise by 0.05 % of its deviation, in waves as short as the coarse
//! step, which a Gaussian of two thirds of that step takes away; without one, 36 samples a cell are wanted.

use crate::steps::drift::Drift;
use crate::steps::grid::{Grid, Plane};
use crate::steps::recipe::Noise;
use crate::steps::step1_bands::cells::{self, Cells};
use crate::steps::step1_bands::lattice::{DEVIATION, Lattice};
use crate::steps::upsample::Stretch;

/// Mean and deviation of the size of gradient noise, in units of its deviation; measured over 4 million samples.
pub const FOLDED: (f64, f64) = (0.8169, 0.5768);

/// Where an octave's noise comes from.
pub enum Source {
    /// Gradient noise.
    Gradient(Lattice),
    /// Distance to scattered points.
    Cells(Cells),
}

/// A slow displacement of places, the same for all octaves.
pub struct Warp {
    /// Displacement along x and y, about -1..1.
    pub drifts: [Drift; 2],
    /// Places of the anchor line among the cells of each.
    pub offsets: [f64; 2],
    /// Height of its cells, texels.
    pub height: f64,
    /// Texels along x and y of a displacement of 1.
    pub reach: [f64; 2],
}

/// One octave.
pub struct Octave {
    /// Its noise.
    pub source: Source,
    /// Its weight.
    pub amplitude: f32,
    /// Cells per texel along x and y.
    pub per_texel: [f64; 2],
    /// Place of the anchor line among the cells.
    pub offset: f64,
    /// Shift along x in cells.
    pub shift: f64,
}

/// Numbers of one row, kept from row to row.
#[derive(Default)]
pub struct Scratch {
    pushes: [Vec<f32>; 2],
    places: [Vec<f32>; 2],
    noise: Vec<f32>,
    line: Vec<f32>,
}

impl Scratch {
    /// Works out how far the places of the row at `y` (texels below the line) are pushed, at `cols` places over the period.
    #[inline(always)]
    pub fn bend(&mut self, warp: Option<&Warp>, y: f64, cols: usize) {
        for axis in 0..2 {
            self.pushes[axis].resize(cols, 0.0);
            if let Some(warp) = warp {
                warp.drifts[axis].row(y / warp.height + warp.offsets[axis], &mut self.pushes[axis]);
            }
        }
    }
}

impl Octave {
    /// The raw noise of the row at `y` (texels below the line) of a grid with columns `step` apart; [`Scratch::bend`] first.
    #[inline(always)]
    fn noise<'a>(&self, warp: Option<&Warp>, y: f64, step: f64, scratch: &'a mut Scratch) -> &'a [f32] {
        let Scratch { pushes, places: [u, v], noise, .. } = scratch;
        let [per_x, per_y] = self.per_texel;
        let start = self.shift + 0.5 * step * per_x;
        let by = step * per_x;
        let down = (y * per_y + self.offset) as f32;
        let cols = pushes[0].len();
        for line in [&mut *u, &mut *v, &mut *noise] {
            line.resize(cols, 0.0);
        }
        for (at, place) in u.iter_mut().enumerate() {
            *place = (start + at as f64 * by) as f32;
        }
        v.fill(down);
        if let Some(warp) = warp {
            let bend = [(warp.reach[0] * per_x) as f32, (warp.reach[1] * per_y) as f32];
            for ((places, pushes), bend) in [&mut *u, &mut *v].into_iter().zip(pushes).zip(bend) {
                for (place, push) in places.iter_mut().zip(pushes) {
                    *place += bend * *push;
                }
            }
        }
        match &self.source {
            Source::Gradient(lattice) => lattice.samples(u, v, noise),
            Source::Cells(cells) => {
                for ((noise, u), v) in noise.iter_mut().zip(&*u).zip(&*v) {
                    *noise = cells.distance(*u, *v);
                }
            }
        }
        noise
    }

    /// Adds raw noise to `numbers` as `kind` has it, mean 0 and deviation the amplitude.
    #[inline(always)]
    fn add(&self, kind: Noise, noise: &[f32], numbers: &mut [f32]) {
        let sum = numbers.iter_mut().zip(noise);
        match (&self.source, kind) {
            (Source::Cells(_), _) => {
                let scale = self.amplitude / cells::MOMENTS.1;
                sum.for_each(|(number, noise)| *number += scale * (cells::MOMENTS.0 - noise));
            }
            (_, Noise::Billowed | Noise::Ridged) => {
                let sign = if kind == Noise::Billowed { 1.0 } else { -1.0 };
                let scale = sign * self.amplitude / FOLDED.1 as f32;
                let mean = FOLDED.0 as f32;
                sum.for_each(|(number, noise)| *number += scale * (noise.abs() / DEVIATION - mean));
            }
            _ => {
                let scale = self.amplitude / DEVIATION;
                sum.for_each(|(number, noise)| *number += scale * noise);
            }
        }
    }

    /// How many samples of `grid` one of this octave's own may stand for, along x and y, where the Gaussian has a deviation of
    /// `sigma` texels.
    fn ratios(&self, grid: &Grid, sigma: [f64; 2]) -> [usize; 2] {
        if matches!(self.source, Source::Cells(_)) {
            // Creased where two points are equally far.
            return [1, 1];
        }
        std::array::from_fn(|axis| {
            let cell = 1.0 / self.per_texel[axis];
            let fits = |ratio: usize| {
                let step = ratio as f64 * grid.step[axis];
                cell >= 36.0 * step || (cell >= 12.0 * step && step <= 1.5 * sigma[axis])
            };
            [16, 8, 4, 2].into_iter().find(|&ratio| fits(ratio)).unwrap_or(1)
        })
    }
}

/// An octave ready to be added to the rows of a grid.
pub struct Ready {
    octave: Octave,
    coarse: Option<(Stretch, Plane)>,
}

impl Ready {
    /// Works the octave out on a grid of its own, if `sigma` (the Gaussian's deviation in texels; none asks for the octave as it
    /// is) and its size allow. `line` is the fog's line in texels.
    pub fn new(
        octave: Octave,
        warp: Option<&Warp>,
        line: f64,
        grid: &Grid,
        sigma: Option<[f64; 2]>,
    ) -> Ready {
        let [across, down] = sigma.map_or([1, 1], |sigma| octave.ratios(grid, sigma));
        if across * down == 1 {
            return Ready { octave, coarse: None };
        }
        let own = coarser(grid, across, down);
        let mut plane = Plane::new(own.cols, own.rows);
        let step = own.step[0];
        plane.each_row_with(
            #[inline(always)]
            |scratch: &mut Scratch, row, numbers| {
                let y = own.y(row) - line;
                scratch.bend(warp, y, own.cols);
                numbers.copy_from_slice(octave.noise(warp, y, step, scratch));
            },
        );
        // Measured in samples of the field's grid.
        let inner = Grid {
            cols: own.cols,
            rows: own.rows,
            step: [grid.cols as f64 / own.cols as f64, own.step[1] / grid.step[1]],
            top: (own.top - grid.top) / grid.step[1],
        };
        let stretch = Stretch::new(inner, grid.cols);
        stretch.prepare(&mut plane);
        Ready { octave, coarse: Some((stretch, plane)) }
    }

    /// Adds the octave to row `row` of the grid, `y` texels below the line; [`Scratch::bend`] first.
    #[inline(always)]
    pub fn add(
        &self,
        kind: Noise,
        warp: Option<&Warp>,
        place: (usize, f64),
        step: f64,
        scratch: &mut Scratch,
        numbers: &mut [f32],
    ) {
        let noise = match &self.coarse {
            None => self.octave.noise(warp, place.1, step, scratch),
            Some((stretch, plane)) => {
                scratch.noise.resize(numbers.len(), 0.0);
                stretch.down(plane, place.0 as f64, [0, numbers.len()], &mut scratch.line);
                stretch.across(&mut scratch.line, 0, &mut scratch.noise);
                &scratch.noise
            }
        };
        self.octave.add(kind, noise, numbers);
    }
}

/// A grid with about one sample for each `across` by `down` of another's, and a little beyond its first and last row.
fn coarser(grid: &Grid, across: usize, down: usize) -> Grid {
    let cols = grid.cols.div_ceil(across);
    let step = grid.step[1] * down as f64;
    let beyond = if down > 1 { 4 } else { 0 };
    Grid {
        cols,
        rows: grid.rows.div_ceil(down) + 2 * beyond,
        step: [grid.step[0] * grid.cols as f64 / cols as f64, step],
        top: grid.top - beyond as f64 * step,
    }
}

//! One octave of the bands: its noise, and the grid it is worked out on.
//!
//! An octave whose cells span many samples of the field's grid is worked out on a coarser grid of its own and upsampled to the
//! field's: at nine samples a cell the cubic misses gradient noise by 0.16 % of its deviation (its error goes with the fourth power of
//! the step), in waves as short as the coarse step, which a Gaussian of two thirds of that step takes away; without one, 36 samples a
//! cell are wanted.

use crate::steps::grid::{Grid, Plane};
use crate::steps::recipe::Noise;
use crate::steps::slow_noise::{Kept, SlowNoise};
use crate::steps::step1_bands::cells::{self, Cells};
use crate::steps::step1_bands::lattice::{DEVIATION, Lattice};
use crate::steps::upsample::Upsampler;

/// Mean and deviation of the size of the sum of two gradient noises half a cell apart, in units of its deviation; measured over 24 million
/// samples.
pub const FOLDED: (f64, f64) = (0.8131, 0.5847);

/// Samples to a cell with which an octave is drawn exactly enough without a blur, and with one: see above.
const SAMPLES_PER_CELL: f64 = 36.0;
const SAMPLES_PER_CELL_BLURRED: f64 = 9.0;
/// Most of its samples' distance, in deviations of the Gaussian, that the blur hides: see above.
const STEP_PER_SIGMA: f64 = 1.5;

/// Most samples of the field's grid that one sample of an octave stands for, along each axis.
pub(super) const COARSEST: usize = 16;
/// Rows of an octave's own grid beyond the field's first and last: what the cubic reaches.
pub(super) const BEYOND: usize = 4;

/// Where an octave's noise comes from.
pub enum Source {
    /// Gradient noise.
    Gradient(Lattice),
    /// Distance to scattered points.
    Cells(Cells),
}

/// A slow displacement of places, the same for all octaves.
pub struct Warp {
    /// Displacement along x and y, -1..1.
    pub noises: [SlowNoise; 2],
    /// Places of the anchor line among the cells of each.
    pub offsets: [f64; 2],
    /// Height of its cells, texels.
    pub height: f64,
    /// Texels along x and y of a displacement of 1.
    pub reach: [f64; 2],
}

/// One octave.
pub struct Octave {
    /// Its noises, two where it flows; their weights keep the variance.
    pub parts: Vec<Flowing>,
    /// Its weight.
    pub amplitude: f32,
    /// Cells per texel along x and y.
    pub per_texel: [f64; 2],
}

/// A noise, and where it has been carried.
pub struct Flowing {
    /// The noise.
    pub source: Source,
    /// How much of it there is.
    pub weight: f32,
    /// Place of the anchor line among the cells.
    pub offset: f64,
    /// Shift along x in cells.
    pub shift: f64,
}

impl Flowing {
    /// Writes its raw noise at places (u, v) in cells.
    #[inline(always)]
    fn samples(&self, [u, v]: [&[f32]; 2], out: &mut [f32]) {
        match &self.source {
            Source::Gradient(lattice) => lattice.samples(u, v, out),
            Source::Cells(cells) => {
                for ((out, u), v) in out.iter_mut().zip(u).zip(v) {
                    *out = cells.distance(*u, *v);
                }
            }
        }
    }

    /// The mean of its raw noise.
    fn mean(&self) -> f32 {
        if matches!(self.source, Source::Cells(_)) { cells::MOMENTS.0 } else { 0.0 }
    }

    /// Writes its share of the octave, to which the others are added.
    #[inline(always)]
    fn write(&self, places: [&[f32]; 2], out: &mut [f32]) {
        self.samples(places, out);
        if self.weight != 1.0 {
            let mean = self.mean();
            out.iter_mut().for_each(|out| *out = mean + self.weight * (*out - mean));
        }
    }

    /// Adds its share; `own` is a buffer.
    #[inline(always)]
    fn add(&self, places: [&[f32]; 2], own: &mut [f32], sum: &mut [f32]) {
        self.samples(places, own);
        let mean = self.mean();
        sum.iter_mut().zip(&*own).for_each(|(sum, own)| *sum += self.weight * (own - mean));
    }
}

/// Buffers of one row, used again for the next.
#[derive(Default)]
pub struct Scratch {
    displacements: [Vec<f32>; 2],
    kept: [Kept; 2],
    places: [Vec<f32>; 2],
    noise: Vec<f32>,
    own: Vec<f32>,
    line: Vec<f32>,
}

impl Scratch {
    /// Works out how far the warp displaces the row at `y` (texels below the line), at `cols` places over the period.
    #[cfg_attr(feature = "simd", inline(always))]
    pub fn displace(&mut self, warp: Option<&Warp>, y: f64, cols: usize) {
        for axis in 0..2 {
            self.displacements[axis].resize(cols, 0.0);
            if let Some(warp) = warp {
                let v = y / warp.height + warp.offsets[axis];
                warp.noises[axis].row(v, &mut self.kept[axis], &mut self.displacements[axis]);
            }
        }
    }
}

impl Octave {
    /// The raw noise of the row at `y` (texels below the line) of a grid with columns `step` apart; [`Scratch::displace`] first.
    #[cfg_attr(feature = "simd", inline(always))]
    fn noise<'a>(&self, warp: Option<&Warp>, y: f64, step: f64, scratch: &'a mut Scratch) -> &'a [f32] {
        let Scratch { displacements, places: [u, v], noise, own, .. } = scratch;
        let [per_x, per_y] = self.per_texel;
        let by = step * per_x;
        let cols = displacements[0].len();
        for line in [&mut *u, &mut *v, &mut *noise, &mut *own] {
            line.resize(cols, 0.0);
        }
        for (number, part) in self.parts.iter().enumerate() {
            let start = part.shift + 0.5 * by;
            for (at, place) in (0_i32..).zip(u.iter_mut()) {
                *place = (start + f64::from(at) * by) as f32;
            }
            v.fill((y * per_y + part.offset) as f32);
            if let Some(warp) = warp {
                let reach = [(warp.reach[0] * per_x) as f32, (warp.reach[1] * per_y) as f32];
                for ((places, displacements), reach) in
                    [&mut *u, &mut *v].into_iter().zip(&*displacements).zip(reach)
                {
                    for (place, displacement) in places.iter_mut().zip(displacements) {
                        *place += reach * *displacement;
                    }
                }
            }
            if number == 0 {
                part.write([u, v], noise);
            } else {
                part.add([u, v], own, noise);
            }
        }
        noise
    }

    /// Adds raw noise to `numbers` as `kind` has it, mean 0 and deviation the amplitude.
    #[inline(always)]
    fn add(&self, kind: Noise, noise: &[f32], numbers: &mut [f32]) {
        let sum = numbers.iter_mut().zip(noise);
        match kind {
            Noise::Cellular => {
                let scale = self.amplitude / cells::MOMENTS.1;
                sum.for_each(|(number, noise)| *number += scale * (cells::MOMENTS.0 - noise));
            }
            Noise::Billowed | Noise::Ridged => {
                let sign = if kind == Noise::Billowed { 1.0 } else { -1.0 };
                let scale = sign * self.amplitude / FOLDED.1 as f32;
                let mean = FOLDED.0 as f32;
                sum.for_each(|(number, noise)| *number += scale * (noise.abs() / DEVIATION - mean));
            }
            Noise::Smooth => {
                let scale = self.amplitude / DEVIATION;
                sum.for_each(|(number, noise)| *number += scale * noise);
            }
        }
    }

    /// How many samples of `grid` one of this octave's own may stand for, along x and y, where the Gaussian has a deviation of
    /// `sigma` texels.
    fn ratios(&self, grid: &Grid, sigma: [f64; 2]) -> [usize; 2] {
        if self.parts.iter().any(|part| matches!(part.source, Source::Cells(_))) {
            // Creased where two points are equally far.
            return [1, 1];
        }
        std::array::from_fn(|axis| {
            let cell = 1.0 / self.per_texel[axis];
            let mut ratio = COARSEST;
            while ratio > 1 && !suffices(cell, ratio as f64 * grid.step[axis], sigma[axis]) {
                ratio /= 2;
            }
            ratio
        })
    }
}

/// Whether samples `step` texels apart draw noise with this cell under a Gaussian of `sigma` texels.
fn suffices(cell: f64, step: f64, sigma: f64) -> bool {
    cell >= SAMPLES_PER_CELL * step
        || (cell >= SAMPLES_PER_CELL_BLURRED * step && step <= STEP_PER_SIGMA * sigma)
}

/// An octave, sampled as coarsely as it may be, for the rows of a grid.
pub struct SampledOctave {
    octave: Octave,
    coarse: Option<(Upsampler, Plane)>,
}

impl SampledOctave {
    /// Works the octave out on a grid of its own, if `sigma` (the Gaussian's deviation in texels; none asks for the octave as it
    /// is) and its size allow. `line` is the fog's line in texels.
    pub fn new(
        octave: Octave,
        warp: Option<&Warp>,
        line: f64,
        grid: &Grid,
        sigma: Option<[f64; 2]>,
    ) -> SampledOctave {
        let [across, down] = sigma.map_or([1, 1], |sigma| octave.ratios(grid, sigma));
        if across * down == 1 {
            return SampledOctave { octave, coarse: None };
        }
        let own = coarser(grid, across, down);
        let mut plane = Plane::new(own.cols, own.rows);
        let step = own.step[0];
        plane.each_row_with(
            #[inline(always)]
            |scratch: &mut Scratch, row, numbers| {
                let y = own.y(row) - line;
                scratch.displace(warp, y, own.cols);
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
        let upsampler = Upsampler::new(inner, grid.cols);
        upsampler.prefilter(&mut plane);
        SampledOctave { octave, coarse: Some((upsampler, plane)) }
    }

    /// Adds the octave to row `row` of the grid, `y` texels below the line; [`Scratch::displace`] first.
    #[cfg_attr(feature = "simd", inline(always))]
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
            Some((upsampler, plane)) => {
                scratch.noise.resize(numbers.len(), 0.0);
                upsampler.down(plane, place.0 as f64, [0, numbers.len()], &mut scratch.line);
                upsampler.across(&mut scratch.line, 0, &mut scratch.noise);
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
    let beyond = if down > 1 { BEYOND } else { 0 };
    Grid {
        cols,
        rows: grid.rows.div_ceil(down) + 2 * beyond,
        step: [grid.step[0] * grid.cols as f64 / cols as f64, step],
        top: grid.top - beyond as f64 * step,
    }
}

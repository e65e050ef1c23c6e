//! Step 2: falloff. Exponential from the fog's line, with a scale height on each side of it, breathing along x.

mod body;
mod strands;

pub use body::finest;

use crate::base::exp::exp_neg;
use crate::base::seed;
use crate::base::units::Texel;
use crate::steps::grid::{Grid, Plane};
use crate::steps::moment::Moment;
use crate::steps::periodic_noise::PeriodicNoise1d;
use crate::steps::recipe::Falloff;
use body::{Body, Part};

/// Least scale height, as a share of the recipe's, where the breath takes it away; chosen by eye.
const HEIGHT_MIN: f64 = 0.02;
/// Most cells of breath and sway over a period: a bound on their tables; finer ones aren't seen.
const CELLS_MAX: f64 = 65_536.0;

/// Density `h` over the line on its open side (negative: on its far side): exp(-h/height), or exp(h/beyond). A length of
/// infinity means no falloff there. All in one unit of length.
#[inline(always)]
pub fn density(h: f32, height: f32, beyond: f32) -> f32 {
    // One exponential for both sides, so that many run at once.
    exp_neg(if h >= 0.0 { h / height } else { -h / beyond })
}

/// A fog's own line: the anchor line, lifted, and how it rises and falls along x.
pub struct Line {
    /// Its height without sway, texels from the sheet's top.
    y: f64,
    /// -1 where the open side is upward, 1 where it is downward.
    open: f64,
    sway: f64,
    noise: Option<PeriodicNoise1d>,
}

impl Line {
    /// The line at `y` of a falloff over a period, at a moment of the loop; `seed` is the falloff's.
    pub fn new(falloff: &Falloff<Texel>, seed: u64, moment: &Moment, y: f64, open: f64, period: f64) -> Line {
        let endless = falloff.height.0.is_infinite() && falloff.beyond.0.is_infinite();
        let sway = if endless { 0.0 } else { falloff.sway.0 };
        let noise = (sway != 0.0).then(|| slow(falloff, seed::derive(seed, "sway"), moment, period));
        Line { y, open, sway, noise }
    }

    /// How far a height in texels from the sheet's top lies over the line without sway, toward the open side.
    #[inline(always)]
    pub fn over(&self, y: f64) -> f64 {
        (y - self.y) * self.open
    }

    /// A moment with heights over the line instead of down.
    pub fn upright(&self, moment: &Moment) -> Moment {
        moment.upright(self.open)
    }

    /// How far it rises toward the open side, in `cols` columns over the period.
    pub fn rises(&self, cols: usize) -> Vec<f32> {
        let place = |col: usize| (col as f64 + 0.5) / cols as f64;
        (0..cols)
            .map(|col| self.noise.as_ref().map_or(0.0, |noise| (self.sway * noise.sample(place(col))) as f32))
            .collect()
    }

    /// Its height in `cols` columns, texels from the sheet's top.
    pub fn heights(&self, cols: usize) -> Vec<f64> {
        self.rises(cols).into_iter().map(|rise| self.y + self.open * f64::from(rise)).collect()
    }
}

/// The noise of breath or sway.
fn slow(falloff: &Falloff<Texel>, seed: u64, moment: &Moment, period: f64) -> PeriodicNoise1d {
    let cells = cells(falloff, period);
    PeriodicNoise1d::new(seed, cells, moment, moment.way[0] * cells as f64 / period)
}

/// Cells of breath and sway over a period.
fn cells(falloff: &Falloff<Texel>, period: f64) -> usize {
    (period / falloff.wave.0).round().clamp(1.0, CELLS_MAX) as usize
}

fn period(grid: &Grid) -> f64 {
    grid.cols as f64 * grid.step[0]
}

/// The scale height at each column of a grid, as it breathes, and how far the line rises there.
fn columns(
    falloff: &Falloff<Texel>,
    seed: u64,
    moment: &Moment,
    line: &Line,
    grid: &Grid,
) -> Vec<(f32, f32)> {
    let breath = slow(falloff, seed::derive(seed, "breath"), moment, period(grid));
    let column = |(col, rise): (usize, f32)| {
        let place = (col as f64 + 0.5) / grid.cols as f64;
        let height = falloff.height.0 * (1.0 + falloff.breath * breath.sample(place)).max(HEIGHT_MIN);
        (height as f32, rise)
    };
    line.rises(grid.cols).into_iter().enumerate().map(column).collect()
}

/// Multiplies the falloff into `plane`. Lengths of the recipe and `line` in texels; `open` is -1 where the open side is upward
/// (ground), 1 where it is downward (sky).
pub fn apply(
    falloff: &Falloff<Texel>,
    seed: u64,
    moment: &Moment,
    line: f64,
    open: f64,
    grid: &Grid,
    plane: &mut Plane,
) {
    if falloff.height.0.is_infinite() && falloff.beyond.0.is_infinite() {
        return;
    }
    let own = Line::new(falloff, seed, moment, line, open, period(grid));
    let columns = columns(falloff, seed, moment, &own, grid);
    let beyond = falloff.beyond.0 as f32;
    let over = |row: usize| (grid.y(row) - line) * open;
    let Some(body) = Body::new(falloff, seed, &moment.upright(open), grid) else {
        plane.each_row(
            #[inline(always)]
            |row, numbers| {
                let over = over(row) as f32;
                for (number, (height, rise)) in numbers.iter_mut().zip(&columns) {
                    *number *= density(over - rise, *height, beyond);
                }
            },
        );
        return;
    };
    let [low, high] = range(columns.iter().map(|(_, rise)| *rise));
    let [_, tallest] = range(columns.iter().map(|(height, _)| *height));
    plane.each_row_with(
        #[inline(always)]
        |scratch: &mut body::Scratch, row, numbers| {
            let over = over(row);
            let part = Part::of(&body, [over as f32 - high, over as f32 - low], tallest);
            body.row(over, numbers.len(), part, scratch);
            let (over, shape, beyond) = (over as f32, body.shape, beyond);
            let places = numbers.iter_mut().zip(&columns);
            if matches!(part, Part::Above | Part::Deep) {
                for (number, (height, rise)) in places {
                    let veil = density(over - rise, *height, beyond);
                    *number = match part {
                        Part::Above => shape.density_above(*number, veil),
                        _ => shape.density_deep(*number, veil),
                    };
                }
                return;
            }
            for ((number, (height, rise)), noises) in places.zip(scratch.places()) {
                let (over, veil) = (over - rise, density(over - rise, *height, beyond));
                *number = shape.density(over, *height, *number, veil, noises);
            }
        },
    );
}

/// The least and the largest of some numbers.
fn range(numbers: impl Iterator<Item = f32>) -> [f32; 2] {
    numbers
        .fold([f32::INFINITY, f32::NEG_INFINITY], |[low, high], number| [low.min(number), high.max(number)])
}

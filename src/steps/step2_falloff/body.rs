//! The body of a fog: instead of thinning evenly upward it is whole up to a top that heaves in heaps and bays, firm in one place and
//! lost in another. Bands mottle a body's top, hardly its foot.
//!
//! In scale heights over the line, h, a body's density is a logistic step in h - top - heaps n(x, y) u(h); n is slow noise and, in part,
//! the bands. u rises from 0 at the line to 1 a scale height above it, so that whatever the heaps, the foot stays whole. Strands stand
//! over the top. The top is where the sheet, with them, holds as much fog as the exponential.

use super::strands::{self, Strands};
use crate::base::exp::exp_neg;
use crate::base::seed;
use crate::base::simd::vectorize;
use crate::base::threads;
use crate::base::units::Texel;
use crate::steps::grid::Grid;
use crate::steps::moment::Moment;
use crate::steps::recipe::Falloff;
use crate::steps::turning_noise::{self, Kept, TurningNoise};

// All chosen by eye.

/// Width and height of the largest heaps: shares of the wave's length, and of the scale height.
const HEAP: [f64; 2] = [0.45, 1.7];
/// Octaves of the heaps, how much smaller each is than the one before, and how much less it displaces.
const OCTAVES: u32 = 4;
const SHRINK: f64 = 2.15;
const GAIN: f64 = 0.52;
/// The factor that brings the sum of octaves to about -1..1.
const SPREAD: f64 = 1.55;
/// The step's width in scale heights where it is firmest and where it is lost.
const FIRM: f64 = 0.045;
const LOST: f64 = 0.55;
/// Widths of a step between samples that draw it: at one over so many its spectrum is pi^2 / sinh(pi^2), 0.1 % of the whole.
const RESOLVED: f64 = 2.0;
/// Width and height over which firmness varies, as [`HEAP`].
const FIRMNESS: [f64; 2] = [0.3, 3.0];
/// What floats between these heights over the line, in scale heights, is taken away.
const GONE: [f32; 2] = [2.4, 3.6];
/// How much of the bands is left in a body's foot, and at its top.
const QUIET: [f32; 2] = [0.15, 0.8];
/// How far bands displace the top, as a share of what heaps do.
const DETAIL: f32 = 0.3;

/// Samples by which a sheet's own fog is counted, over the height that holds any, and halvings of the interval of its top.
const LEVEL_COLS: usize = 192;
const LEVEL_ROWS: usize = 50;
const LEVEL_HALVINGS: usize = 12;

/// Least side of a cell, texels: of finer ones nothing is seen, and their tables would be vast.
const CELL_MIN: f64 = 2.5;
/// Samples to a cell of the heaps that draw them.
const PER_CELL: f64 = 4.0;
/// Slope of the noise, per cell, where it is steep.
const SLOPE: f64 = 1.5;
/// What the square of a logistic step's width grows by where its place varies: by so much of that variance, its own being pi^2 / 3 of the
/// square.
const PER_VARIANCE: f64 = 3.0 / (std::f64::consts::PI * std::f64::consts::PI);
/// How far from the line places are told apart, in scale heights: twice what floats, for where the height breathes.
const REACH: f64 = 7.2;

/// The least step that the heaps and the firmest edge of a body allow between samples, texels; none where there is no body.
pub fn finest(falloff: &Falloff<Texel>) -> Option<[f64; 2]> {
    has_body(falloff).then(|| {
        let height = falloff.height.0;
        let (steep, mut least) = (steep(falloff), [f64::INFINITY; 2]);
        for (cell, _) in cells(falloff) {
            for axis in 0..2 {
                least[axis] = f64::min(least[axis], cell[axis] / PER_CELL);
            }
        }
        [0, 1].map(|axis| least[axis].min(RESOLVED * FIRM * height / steep[axis]))
    })
}

/// How fast the height over the displaced top changes along x and y: its edge is as steep as the heaps make it.
fn steep(falloff: &Falloff<Texel>) -> [f64; 2] {
    let mut steep = [0.0, 1.0];
    for (cell, amplitude) in cells(falloff) {
        for axis in 0..2 {
            steep[axis] += SLOPE * amplitude * falloff.height.0 / cell[axis];
        }
    }
    steep
}

/// Variance, in scale heights, of what samples on a grid don't show of the top: heaps that are too fine for texels, and what lies between
/// samples. The mean of the fog around is theirs by a wider step.
fn unseen(falloff: &Falloff<Texel>, grid: &Grid) -> f64 {
    let heaps: f64 = octaves(falloff)
        .filter(|(cell, _)| !is_seen(*cell))
        .map(|(_, amplitude)| amplitude * amplitude * TurningNoise::VARIANCE)
        .sum();
    let (steep, height) = (steep(falloff), falloff.height.0);
    let between = |axis: usize| {
        // No grid is finer than texels, however firm the edge.
        let over = (grid.step[axis] * steep[axis] / height).powi(2) - (RESOLVED * FIRM).powi(2);
        over.max(0.0) / 12.0
    };
    heaps + between(0) + between(1)
}

/// The cells of the heaps' octaves, and how far each displaces; finer ones aren't seen.
fn cells(falloff: &Falloff<Texel>) -> impl Iterator<Item = ([f64; 2], f64)> {
    octaves(falloff).filter(|(cell, _)| is_seen(*cell))
}

/// Whether cells are large enough for texels.
pub(super) fn is_seen(cell: [f64; 2]) -> bool {
    cell[0].min(cell[1]) >= CELL_MIN
}

/// The same of all octaves.
fn octaves(falloff: &Falloff<Texel>) -> impl Iterator<Item = ([f64; 2], f64)> {
    (0..OCTAVES)
        .map(|k| {
            let [shrink, gain] = [SHRINK, GAIN].map(|base| libm::pow(base, f64::from(k)));
            let cell = [HEAP[0] * falloff.wave.0 / shrink, HEAP[1] * falloff.height.0 / shrink];
            (cell, SPREAD * falloff.heaps * gain)
        })
        .filter(|(_, amplitude)| *amplitude > 0.0)
}

fn has_body(falloff: &Falloff<Texel>) -> bool {
    falloff.firm > 0.0 && falloff.height.0.is_finite()
}

/// How far over the line and under it places are told apart, texels.
fn reach(falloff: &Falloff<Texel>) -> f64 {
    falloff.sway.0.abs() + REACH * falloff.height.0
}

/// The cell of the noise that says how firm the top is.
fn firmness_cell(falloff: &Falloff<Texel>) -> [f64; 2] {
    [FIRMNESS[0] * falloff.wave.0, FIRMNESS[1] * falloff.height.0].map(|side| side.max(CELL_MIN))
}

/// The body on a grid.
pub(super) struct Body {
    heaps: Vec<TurningNoise>,
    firmness: TurningNoise,
    strands: Option<Strands>,
    pub shape: Shape,
    /// Places farther from the line than this, in texels, are taken as this far.
    reach: f64,
}

/// What makes a density of a body's noises. Loops hold it by value: read through a reference it might change with every number that is
/// written, and they would take those one by one.
#[derive(Clone, Copy)]
pub(super) struct Shape {
    share: f32,
    detail: f32,
    /// Height of the top where no heap displaces it, in scale heights.
    top: f32,
    height: f32,
    /// What widens the step everywhere: its square.
    unseen: f32,
    strands: strands::Shape,
}

/// Which part of a body a row lies in, at all of its places.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Part {
    /// So far under the moving line that the step is 1 to the bit, however wide.
    Deep,
    /// Under the moving line, where no heap displaces anything.
    Foot,
    /// In the top, or partly.
    Top,
    /// Over all that floats: there is nothing of the body.
    Above,
}

/// From so many of its widths on a logistic step is 1 in single precision.
const WHOLE: f32 = 18.0;

impl Part {
    /// The part of a row of `body` whose places all lie between `least` and `most` over the moving line, at scale heights of at most
    /// `tallest`.
    pub fn of(body: &Body, [least, most]: [f32; 2], tallest: f32) -> Part {
        if least >= 0.0 && least / tallest >= body.gone() {
            Part::Above
        } else if -most >= WHOLE * LOST as f32 * narrowed(0.0) * body.shape.height {
            Part::Deep
        } else if most <= 0.0 {
            Part::Foot
        } else {
            Part::Top
        }
    }
}

/// Buffers of one row, used again for the next: how far heaps displace the top, the step's width, and the noise of strands.
#[derive(Default)]
pub(super) struct Scratch {
    heaps: Vec<f32>,
    widths: Vec<f32>,
    strands: Vec<f32>,
    kept: Noises,
}

/// What is kept of the noises of each.
#[derive(Default)]
struct Noises {
    heaps: Vec<Kept>,
    firmness: Kept,
    strands: Vec<Kept>,
}

impl Scratch {
    /// The three of each place of the row.
    #[inline(always)]
    pub fn places(&self) -> impl Iterator<Item = [f32; 3]> {
        let all = self.heaps.iter().zip(&self.widths).zip(&self.strands);
        all.map(
            #[inline(always)]
            |((heap, width), strand)| [*heap, *width, *strand],
        )
    }
}

impl Body {
    /// The body of a falloff, if it has one; heights of the way of `moment` are over the line.
    pub fn new(falloff: &Falloff<Texel>, seed: u64, moment: &Moment, grid: &Grid) -> Option<Body> {
        if !has_body(falloff) {
            return None;
        }
        let (height, period) = (falloff.height.0, grid.cols as f64 * grid.step[0]);
        let noise = |label: &str, cell: [f64; 2], amplitude: f64| {
            TurningNoise::new(seed::derive(seed, label), cell, period, moment, amplitude)
        };
        let heaps = cells(falloff)
            .enumerate()
            .map(|(k, (cell, amplitude))| noise(&format!("heaps {k}"), cell, amplitude))
            .collect();
        let firmness = noise("firmness", firmness_cell(falloff), 1.0);
        let strands = Strands::new(falloff, seed, moment, period);
        let shape = Shape {
            share: falloff.firm as f32,
            detail: DETAIL * falloff.heaps as f32,
            top: 1.0,
            height: height as f32,
            unseen: (PER_VARIANCE * unseen(falloff, grid)) as f32,
            strands: strands.as_ref().map_or(strands::Shape::NONE, |strands| strands.shape),
        };
        let mut body = Body { heaps, firmness, strands, shape, reach: reach(falloff) };
        body.shape.top = body.level();
        Some(body)
    }

    /// Scale heights over the line at which the last of it ends.
    pub fn gone(&self) -> f32 {
        if self.strands.is_some() { strands::GONE[1] } else { GONE[1] }
    }

    /// The top with which the sheet holds as much fog over the line as the exponential, whatever the heaps.
    fn level(&self) -> f32 {
        let row = |row: usize| {
            let h = (row as f64 + 0.5) * f64::from(strands::GONE[1]) / LEVEL_ROWS as f64;
            let mut scratch = Scratch::default();
            vectorize(
                #[inline(always)]
                || self.row(h * f64::from(self.shape.height), LEVEL_COLS, Part::Top, &mut scratch),
            );
            (h as f32, scratch)
        };
        let rows: Vec<(f32, Scratch)> = threads::each((0..LEVEL_ROWS).collect(), row);
        let (mut low, mut high) = (0.0_f32, 2.0_f32);
        for _ in 0..LEVEL_HALVINGS {
            let top = 0.5 * (low + high);
            let sum: f64 = rows.iter().map(|(h, scratch)| self.held(top, *h, scratch)).sum();
            let held = sum * f64::from(strands::GONE[1]) / (LEVEL_ROWS * LEVEL_COLS) as f64;
            if held < 1.0 { low = top } else { high = top }
        }
        0.5 * (low + high)
    }

    /// What a row `h` scale heights over the line holds of the body and its strands, summed, with the top at `top`.
    fn held(&self, top: f32, h: f32, scratch: &Scratch) -> f64 {
        let shape = Shape { top, ..self.shape };
        let mut own = [0.0; LEVEL_COLS];
        vectorize(
            #[inline(always)]
            || {
                let (shape, up, left) = (shape, smooth(h), left(h));
                for (own, [heap, width, strand]) in own.iter_mut().zip(scratch.places()) {
                    let body = step((shape.top - h + heap * up) / shape.width(width, up)) * left;
                    *own = shape.with_strands(body, strand, h, heap * up);
                }
            },
        );
        own.into_iter().map(f64::from).sum()
    }

    /// Works out the heaps, the step's width and the strands along a row `over` texels over the anchor line, as far as its part needs them.
    #[cfg_attr(feature = "simd", inline(always))]
    pub fn row(&self, over: f64, cols: usize, part: Part, scratch: &mut Scratch) {
        let Scratch { heaps, widths, strands, kept } = scratch;
        for line in [&mut *heaps, &mut *widths, &mut *strands] {
            line.clear();
            line.resize(cols, 0.0);
        }
        if matches!(part, Part::Above | Part::Deep) {
            return;
        }
        let over = over.clamp(-self.reach, self.reach);
        if part == Part::Top {
            turning_noise::add_all(&self.heaps, over, &mut kept.heaps, heaps);
        }
        self.firmness.add(over, &mut kept.firmness, widths);
        let range = libm::log(LOST / FIRM) as f32;
        for width in widths.iter_mut() {
            // From firm to lost by its logarithm: -0.6..0.6 is nearly all of the noise.
            let lost = (0.5 + 0.85 * *width).clamp(0.0, 1.0);
            let lost = lost * lost * (3.0 - 2.0 * lost);
            *width = LOST as f32 * exp_neg(range * (1.0 - lost));
        }
        if let Some(all) = self.strands.as_ref().filter(|_| part == Part::Top) {
            all.row(over, &mut kept.strands, strands);
        }
    }
}

impl Shape {
    /// The density of a place `over` the moving line, where the scale height is `height`, and the noises are as [`Scratch::places`] gives them:
    /// of bands of density `bands`, and as the exponential alone, `veil`, has it.
    #[inline(always)]
    pub fn density(self, over: f32, height: f32, bands: f32, veil: f32, noises: [f32; 3]) -> f32 {
        let [heap, width, strand] = noises;
        let h = over / height;
        let up = smooth(h);
        // The step is as wide where the height breathes.
        let heap = heap + self.detail * (bands - 1.0).clamp(-1.0, 1.0);
        let width = self.width(self.height * width / height, up);
        let top = (self.top - h + heap * up) / width;
        let body = step(top) * left(h) * if h < 0.0 { veil } else { 1.0 };
        let body = self.with_strands(body, strand, h, heap * up);
        self.mottled(bands, veil, body, up)
    }

    /// The density of a place in [`Part::Above`], to the bit what [`Shape::density`] gives there.
    #[inline(always)]
    pub fn density_above(self, bands: f32, veil: f32) -> f32 {
        self.mottled(bands, veil, 0.0, 1.0)
    }

    /// The same of a place in [`Part::Deep`].
    #[inline(always)]
    pub fn density_deep(self, bands: f32, veil: f32) -> f32 {
        self.mottled(bands, veil, veil, 0.0)
    }

    /// A body of density `body` within its veil, at a height at which u is `up`, with bands.
    #[inline(always)]
    fn mottled(self, bands: f32, veil: f32, body: f32, up: f32) -> f32 {
        let quiet = 1.0 - self.share * (1.0 - QUIET[0] - (QUIET[1] - QUIET[0]) * up);
        (1.0 + quiet * (bands - 1.0)) * (veil + self.share * (body - veil))
    }

    /// A density of the body with that of its strands, whose noise is `noise`.
    #[inline(always)]
    fn with_strands(self, body: f32, noise: f32, h: f32, heap: f32) -> f32 {
        body + self.strands.density(noise, h, self.top, heap) * (1.0 - body)
    }

    /// The width in scale heights of a step that is `width` wide where u is 1, at a height at which it is `up`.
    #[inline(always)]
    fn width(self, width: f32, up: f32) -> f32 {
        let own = width * narrowed(up);
        (own * own + self.unseen * up * up).sqrt()
    }
}

/// The share of the step's width at the height at which `u` is `up`: a lost edge doesn't thin the foot.
#[inline(always)]
fn narrowed(up: f32) -> f32 {
    0.4 + 0.6 * up
}

/// A logistic step, by the exponential of what is below 0.
#[inline(always)]
fn step(t: f32) -> f32 {
    let tail = exp_neg(t.abs());
    let part = if t >= 0.0 { 1.0 } else { tail };
    part / (1.0 + tail)
}

/// What is left of what floats at this height, in scale heights.
#[inline(always)]
fn left(h: f32) -> f32 {
    1.0 - smooth((h - GONE[0]) / (GONE[1] - GONE[0]))
}

#[inline(always)]
pub(super) fn smooth(t: f32) -> f32 {
    let t = t.clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What of a row isn't worked out makes no difference: to the bit, as if it were.
    #[test]
    fn a_part_has_the_density_of_the_whole() {
        let falloff = Falloff {
            height: Texel(40.0),
            beyond: Texel(90.0),
            lift: Texel(0.0),
            breath: 0.2,
            sway: Texel(10.0),
            firm: 0.8,
            heaps: 0.9,
            strands: 0.5,
            wave: Texel(300.0),
            slope: 0.0,
        };
        let grid = Grid { cols: 96, rows: 200, step: [4.0, 2.0], top: 0.0 };
        let body = Body::new(&falloff, 3, &Moment::REST, &grid).expect("a body");
        let (mut own, mut whole, mut seen) = (Scratch::default(), Scratch::default(), Vec::new());
        for over in (-300..240).map(f64::from) {
            let part = Part::of(&body, [over as f32; 2], 40.0);
            body.row(over, grid.cols, part, &mut own);
            body.row(over, grid.cols, Part::Top, &mut whole);
            for (at, (own, whole)) in own.places().zip(whole.places()).enumerate() {
                let (bands, veil) = (0.4 + 0.02 * at as f32, super::super::density(over as f32, 40.0, 90.0));
                let want = body.shape.density(over as f32, 40.0, bands, veil, whole);
                let got = match part {
                    Part::Above => body.shape.density_above(bands, veil),
                    Part::Deep => body.shape.density_deep(bands, veil),
                    Part::Foot | Part::Top => body.shape.density(over as f32, 40.0, bands, veil, own),
                };
                assert_eq!(got.to_bits(), want.to_bits(), "{part:?} {over} {at}");
            }
            if !seen.contains(&part) {
                seen.push(part);
            }
        }
        assert_eq!(seen, [Part::Deep, Part::Foot, Part::Top, Part::Above]);
    }
}

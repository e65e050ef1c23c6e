//! Rims: fog gathered behind one silhouette, solved so that the lightness step across its outline is the wanted one.
//!
//! Coverage times bands goes through the sheet's own smear and soften, wide: the spread. Along the outline the optical depth that
//! each place needs is found on the composite; the spread times a field of quotients, blurred the same way and corrected a few
//! times, meets it. Opacity is 1 - exp(-depth). Beneath the art the rim ends a few texels in.

mod finish;
mod hold;
mod kept;
pub(crate) mod kernel;
pub(crate) mod need;
pub(crate) mod outline;
mod quotient;
mod serve;
pub(crate) mod solve;
mod spread;

use crate::plan::RimSpec;
use hold::{KNEE, finished, undone, unfinished};

use crate::base::colour::Srgb;
use crate::base::exp::opacity;
use crate::base::placing::Placing;
use crate::base::simd::wide;
use crate::steps::dither;
use crate::steps::grid::{Grid, Plane};
use crate::steps::sheet::Row;
use crate::steps::step5_grade::{Ramps, blend};
use crate::steps::upsample::Stretch;
use rayon::prelude::*;

/// Share of the outline that a rim sees to, of what lacks its separation and can have it.
pub const SHARE: f64 = 0.95;
/// How far below its wanted separation an outline counts as having it, CIE L*.
pub const TOLERANCE: f64 = 0.5;

/// How a rim's strength came out.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Outcome {
    /// Places looked at: points of the outline times camera places.
    pub places: usize,
    /// Of these, those that lack the separation without the rim, or are lighter than what is behind them and taken through with their
    /// neighbours.
    pub lacking: usize,
    /// Of those lacking it, those where fog can bring it.
    pub attainable: usize,
    /// Of the attainable, those that have it with the rim, within [`TOLERANCE`].
    pub reached: usize,
    /// Places that have their separation without the rim, and lose it to the fog that others need.
    pub spoiled: usize,
    /// Standard deviation of the spread along y, texels.
    pub spread: f64,
    /// Fastest change of the rim's opacity outside the art, per texel.
    pub steepest: f64,
    /// That of the slot's sheet, if there is one.
    pub sheet_steepest: Option<f64>,
}

/// Fog of one colour that a rim is made of: its optical depth on the grid, of a finished rim as coefficients of the spline.
#[derive(Clone, Debug)]
struct Air {
    depth: Plane,
    /// Its one colour; none: the haze with its lit and its far side.
    colour: Option<[f32; 3]>,
}

/// A rim, ready to be drawn.
#[derive(Clone)]
pub struct Rim {
    /// Where it stands; its rect holds what isn't empty, no more.
    pub placing: Placing,
    /// How it came out.
    pub outcome: Outcome,
    spec: RimSpec,
    airs: Vec<Air>,
    facing: Plane,
    stretch: Stretch,
    limit: f32,
    /// Share of the rim beneath each texel of the art, 0..255.
    beneath: Vec<u8>,
    art: [u32; 2],
    /// Left, top of the rim on its canvas.
    crop: [u32; 2],
    plain: bool,
    ramps: Ramps,
}

impl Rim {
    /// Width and height in texels.
    pub fn size(&self) -> [u32; 2] {
        self.placing.texels
    }

    /// Draws row `y`, all of it; straight alpha, encoded colour also where it is empty.
    pub fn row(&self, y: usize, row: &mut Row) {
        wide(
            #[inline(always)]
            || self.draw(y, row),
        );
    }

    #[inline(always)]
    fn draw(&self, y: usize, row: &mut Row) {
        let count = self.placing.texels[0] as usize;
        let canvas_y = y + self.crop[1] as usize;
        let first = self.crop[0] as usize;
        row.alpha.clear();
        row.alpha.resize(count, 0.0);
        let haze = self.spec.tones.haze.lanes();
        row.colour.clear();
        row.colour.resize(count, haze);
        if self.airs.is_empty() {
            return;
        }
        let mut line = Vec::new();
        let mut depths = vec![0.0; count];
        self.drawn(&self.airs[0].depth, canvas_y, &mut line, &mut depths);
        if !self.plain {
            let ramp = self.ramps.at(self.spec.field.turned(canvas_y as f64 + 0.5));
            let mut facing = vec![0.0; count];
            self.drawn(&self.facing, canvas_y, &mut line, &mut facing);
            ramp.paint(&facing, &depths, &mut row.colour, |texel, colour, _| *texel = colour);
        }
        for air in &self.airs[1..] {
            let mut other = vec![0.0; count];
            self.drawn(&air.depth, canvas_y, &mut line, &mut other);
            let own = air.colour.map_or(haze, |colour| Srgb(colour).lanes());
            for ((depth, colour), other) in depths.iter_mut().zip(row.colour.iter_mut()).zip(&other) {
                let (bright, dark) = (depth.max(0.0), other.max(0.0));
                let share = dark / (bright + dark + 1e-6);
                *colour = blend(*colour, own, share);
                *depth = bright + dark;
            }
        }
        for (alpha, depth) in row.alpha.iter_mut().zip(&depths) {
            *alpha = opacity(finished(*depth, self.limit));
        }
        self.cut(canvas_y, first, &mut row.alpha);
    }

    /// A plane's texels along row `canvas_y`, from the crop's left on.
    #[inline(always)]
    fn drawn(&self, plane: &Plane, canvas_y: usize, line: &mut Vec<f32>, out: &mut [f32]) {
        let first = self.crop[0] as usize;
        self.stretch.down(plane, canvas_y as f64, [first, out.len()], line);
        self.stretch.across(line, first, out);
    }

    /// Ends the rim a few texels beneath the art.
    fn cut(&self, canvas_y: usize, first: usize, alpha: &mut [f32]) {
        let [width, height] = self.art.map(i64::from);
        let art_y = canvas_y as i64 - self.spec.corner[1];
        if art_y < 0 || art_y >= height {
            return;
        }
        let shares = &self.beneath[(art_y * width) as usize..((art_y + 1) * width) as usize];
        let cols = i64::from(self.spec.field.cols);
        let mut start = first as i64 - self.spec.corner[0];
        if self.spec.periodic {
            start = start.rem_euclid(cols);
        }
        for alpha in alpha.iter_mut() {
            let mut at = start;
            start += 1;
            if self.spec.periodic && start == cols {
                start = 0;
            }
            // Where copies overlap, all lie over the rim: the most solid counts.
            let mut share = u8::MAX;
            while at < width {
                if at >= 0 {
                    share = share.min(shares[at as usize]);
                }
                if !self.spec.periodic {
                    break;
                }
                at += cols;
            }
            if share < u8::MAX {
                *alpha *= f32::from(share) / 255.0;
            }
        }
    }

    /// As RGBA, 8 bits, opacity dithered.
    pub fn eight(&self) -> Vec<u8> {
        let width = self.size()[0] as usize;
        self.texels(
            #[inline(always)]
            |y, row, out: &mut [u8]| dither::texels(y, row.texels(), width, out),
        )
    }

    /// As RGBA, 16 bits.
    pub fn sixteen(&self) -> Vec<u16> {
        self.texels(|_, row, out: &mut [u16]| {
            for (code, value) in out.iter_mut().zip(row.texels().as_flattened()) {
                *code = (value * 65535.0 + 0.5) as u16;
            }
        })
    }

    fn texels<T: Copy + Default + Send>(&self, write: impl Fn(usize, &mut Row, &mut [T]) + Sync) -> Vec<T> {
        let [width, height] = self.size().map(|side| side as usize);
        let mut out = vec![T::default(); width * height * 4];
        out.par_chunks_mut(width * 4).enumerate().for_each_init(Row::default, |row, (y, texels)| {
            self.row(y, row);
            wide(
                #[inline(always)]
                || write(y, row, texels),
            );
        });
        out
    }
}

/// A grid of one point for a rim that is empty.
fn nothing() -> Grid {
    Grid { cols: 1, rows: 1, step: [1.0, 1.0], top: 0.0 }
}

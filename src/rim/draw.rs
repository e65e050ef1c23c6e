//! A rim as it is drawn: from its airs on the grid to texels, row by row.

use crate::base::bitmap::{Bitmap, Bytes};
use crate::base::colour::Srgb;
use crate::base::exp::opacity;
use crate::base::placing::Placing;
use crate::base::simd::{blend, vectorize};
use crate::base::units::{Scale, Texel};
use crate::plan::{RimJob, RimSpec};
use crate::rim::codec;
use crate::rim::depth::drawn_depth;
use crate::rim::outline;
use crate::rim::problem::{Air, Outcome};
use crate::steps::dither;
use crate::steps::grid::{Grid, Plane};
use crate::steps::sheet::{Row, draw_rows, fill_rows};
use crate::steps::step5_grade::Ramps;
use crate::steps::upsample::Upsampler;
use std::ops::Range;

/// Least depth that the share of the darkening air is taken of.
const DEPTH_MIN: f32 = 1e-6;

/// A rim, ready to be drawn.
#[derive(Clone)]
pub struct Rim {
    /// Where it stands; its rect holds what isn't empty, no more.
    pub placing: Placing,
    /// How it came out.
    pub outcome: Outcome,
    spec: RimSpec,
    pub(super) airs: Vec<Air>,
    pub(super) facing: Plane,
    pub(super) upsampler: Upsampler,
    pub(super) limit: f32,
    /// Share of the rim beneath each texel of the art, 0..255, of the art's rows that it lies behind.
    pub(super) beneath: Bytes,
    behind: Range<usize>,
    /// Left, top of the rim on its canvas.
    pub(super) crop: [u32; 2],
    plain: bool,
    ramps: Ramps,
}

/// What of a rim was solved: its airs and how they face the light, as coefficients of the spline.
pub(super) struct Solved {
    pub outcome: Outcome,
    pub airs: Vec<Air>,
    pub facing: Plane,
    pub upsampler: Upsampler,
    /// Most optical depth.
    pub limit: f32,
    /// What of the canvas the rim fills: left, top, width and height in texels.
    pub frame: [u32; 4],
}

impl Rim {
    /// The rim of `job` on its `picture`.
    pub(super) fn new(job: &RimJob, picture: &Bitmap, scale: Scale, solved: Solved) -> Rim {
        let Solved { outcome, mut airs, mut facing, upsampler, limit, frame } = solved;
        airs.iter_mut().for_each(|air| codec::round(&mut air.depth));
        codec::round(&mut facing);
        let mut placing = job.placing.clone();
        let [left, top, width, height] = frame.map(|side| Texel(f64::from(side)) / scale);
        if !job.spec.periodic {
            placing.rect.x += left;
            placing.rect.width = width;
        }
        placing.rect.y += top;
        placing.rect.height = height;
        placing.texels = [frame[2], frame[3]];
        let [from, to] = [frame[1], frame[1] + frame[3]]
            .map(|y| (i64::from(y) - job.spec.corner[1]).clamp(0, i64::from(picture.size[1])) as usize);
        Rim {
            placing,
            outcome,
            airs,
            facing,
            upsampler,
            limit,
            beneath: outline::beneath(picture, from..to, job.spec.wraps),
            behind: from..to,
            crop: [frame[0], frame[1]],
            plain: job.spec.tones.plain(),
            ramps: job.spec.tones.ramps(),
            spec: job.spec.clone(),
        }
    }

    /// The same rim as drawn for `job`, before its `picture`, at a larger `scale` than that at which it was solved.
    pub(crate) fn larger(&self, job: &RimJob, picture: &Bitmap, scale: Scale) -> Rim {
        if self.airs.is_empty() {
            return Rim::empty(job, scale, self.outcome);
        }
        let own = [self.spec.field.cols, self.spec.field.rows];
        let size = [job.spec.field.cols, job.spec.field.rows];
        let ratio = [0, 1].map(|axis| f64::from(size[axis]) / f64::from(own[axis]));
        let Grid { cols, rows, step, top } = self.upsampler.grid();
        let step = [step[0] * ratio[0], step[1] * ratio[1]];
        let upsampler = Upsampler::new(Grid { cols, rows, step, top: top * ratio[1] }, size[0] as usize);
        let stretched = |plane: &Plane| {
            let mut plane = plane.clone();
            upsampler.prefilter_after(&self.upsampler, &mut plane);
            plane
        };
        let airs = self.airs.iter().map(|air| Air { depth: stretched(&air.depth), colour: air.colour });
        let first = [0, 1].map(|axis| (f64::from(self.crop[axis]) * ratio[axis]) as u32);
        let last = [0, 1].map(|axis| {
            let end = self.crop[axis] + self.placing.texels[axis];
            ((f64::from(end) * ratio[axis]).ceil() as u32).min(size[axis])
        });
        let solved = Solved {
            outcome: self.outcome,
            airs: airs.collect(),
            facing: stretched(&self.facing),
            upsampler: upsampler.clone(),
            limit: self.limit,
            frame: [first[0], first[1], last[0] - first[0], last[1] - first[1]],
        };
        Rim::new(job, picture, scale, solved)
    }

    /// A rim of one empty texel.
    pub(super) fn empty(job: &RimJob, scale: Scale, outcome: Outcome) -> Rim {
        let mut placing = job.placing.clone();
        (placing.rect.width, placing.rect.height) = (Texel(1.0) / scale, Texel(1.0) / scale);
        placing.texels = [1, 1];
        Rim {
            placing,
            outcome,
            spec: job.spec.clone(),
            airs: Vec::new(),
            facing: Plane::new(1, 1),
            upsampler: Upsampler::new(Grid { cols: 1, rows: 1, step: [1.0, 1.0], top: 0.0 }, 1),
            limit: 0.0,
            beneath: Bytes::default(),
            behind: 0..0,
            crop: [0, 0],
            plain: true,
            ramps: job.spec.tones.ramps(),
        }
    }

    /// Width and height in texels.
    pub fn size(&self) -> [u32; 2] {
        self.placing.texels
    }

    /// Draws row `y`, all of it; straight alpha, encoded colour also where it is empty.
    pub fn row(&self, y: usize, row: &mut Row) {
        self.columns(y, [0, self.placing.texels[0] as usize], row);
    }

    /// The same of so many `columns` from the first of them on.
    pub(crate) fn columns(&self, y: usize, columns: [usize; 2], row: &mut Row) {
        vectorize(
            #[inline(always)]
            || self.draw_part(y, columns, row),
        );
    }

    #[inline(always)]
    fn draw(&self, y: usize, row: &mut Row) {
        self.draw_part(y, [0, self.placing.texels[0] as usize], row);
    }

    #[inline(always)]
    fn draw_part(&self, y: usize, [first, count]: [usize; 2], row: &mut Row) {
        let first = first + self.crop[0] as usize;
        let canvas_y = y + self.crop[1] as usize;
        row.alpha.clear();
        row.alpha.resize(count, 0.0);
        let haze = self.spec.tones.haze.lanes();
        row.colour.clear();
        row.colour.resize(count, haze);
        let Some((bright, dark)) = self.airs.split_first() else { return };
        let mut line = Vec::new();
        let mut depths = vec![0.0; count];
        self.upsample(&bright.depth, canvas_y, first, &mut line, &mut depths);
        if !self.plain {
            let ramp = self.ramps.at(self.spec.field.aloft_share(canvas_y as f64 + 0.5));
            let mut facing = vec![0.0; count];
            self.upsample(&self.facing, canvas_y, first, &mut line, &mut facing);
            ramp.paint(&facing, &depths, &mut row.colour, |texel, colour, _| *texel = colour);
        }
        for air in dark {
            let mut other = vec![0.0; count];
            self.upsample(&air.depth, canvas_y, first, &mut line, &mut other);
            let own = air.colour.map_or(haze, |colour| Srgb(colour).lanes());
            for ((depth, colour), other) in depths.iter_mut().zip(row.colour.iter_mut()).zip(&other) {
                let (bright, dark) = (depth.max(0.0), other.max(0.0));
                *colour = blend(*colour, own, dark / (bright + dark + DEPTH_MIN));
                *depth = bright + dark;
            }
        }
        for (alpha, depth) in row.alpha.iter_mut().zip(&depths) {
            *alpha = opacity(drawn_depth(*depth, self.limit));
        }
        self.cut(canvas_y, first, &mut row.alpha);
    }

    /// A plane's texels along row `canvas_y` of the canvas, from its column `first` on.
    #[inline(always)]
    fn upsample(&self, plane: &Plane, canvas_y: usize, first: usize, line: &mut Vec<f32>, out: &mut [f32]) {
        self.upsampler.down(plane, canvas_y as f64, [first, out.len()], line);
        self.upsampler.across(line, first, out);
    }

    /// Ends the rim a few texels beneath the art.
    fn cut(&self, canvas_y: usize, first: usize, alpha: &mut [f32]) {
        let art_y = canvas_y as i64 - self.spec.corner[1];
        let behind = usize::try_from(art_y).ok().filter(|y| self.behind.contains(y));
        let Some(art_y) = behind else { return };
        let shares = &self.beneath.row(art_y - self.behind.start);
        let period = self.spec.periodic.then_some(i64::from(self.spec.field.cols));
        let mut start = first as i64 - self.spec.corner[0];
        if let Some(period) = period {
            start = start.rem_euclid(period);
        }
        for alpha in alpha.iter_mut() {
            let share = share_beneath(shares, start, period);
            if share < u8::MAX {
                *alpha *= f32::from(share) / 255.0;
            }
            start += 1;
            if period == Some(start) {
                start = 0;
            }
        }
    }

    /// Whether the haze's colour changes.
    pub fn is_shaded(&self) -> bool {
        !self.spec.tones.plain()
    }

    /// As RGBA, 8 bits, opacity dithered.
    pub fn eight(&self) -> Vec<u8> {
        let width = self.size()[0] as usize;
        let shaded = self.is_shaded();
        self.texels(
            #[inline(always)]
            |y, row, out: &mut [u8]| dither::texels(y, row.texels(), shaded, width, out),
        )
    }

    /// As RGBA, 16 bits.
    pub fn sixteen(&self) -> Vec<u16> {
        self.texels(|_, row, out: &mut [u16]| row.write_sixteen(out))
    }

    /// The same of the rows from `first` on, each number 0..1, into `out`.
    pub(crate) fn rounded(&self, first: usize, out: &mut [[f32; 4]]) {
        fill_rows(
            self.size()[0] as usize,
            out.as_flattened_mut(),
            #[inline(always)]
            |y, row| self.draw(first + y, row),
            #[inline(always)]
            |_, row, out: &mut [f32]| row.write_rounded(out),
        );
    }

    fn texels<T: Copy + Default + Send>(&self, write: impl Fn(usize, &mut Row, &mut [T]) + Sync) -> Vec<T> {
        draw_rows(
            self.size().map(|side| side as usize),
            #[inline(always)]
            |y, row| self.draw(y, row),
            write,
        )
    }
}

/// The share of a rim at column `x` of the art, of the row's `shares`. Where copies of the art overlap, all lie over the rim: the most
/// solid counts.
#[inline]
fn share_beneath(shares: &[u8], x: i64, period: Option<i64>) -> u8 {
    let mut at = x;
    let mut share = u8::MAX;
    while at < shares.len() as i64 {
        if at >= 0 {
            share = share.min(shares[at as usize]);
        }
        let Some(period) = period else { break };
        at += period;
    }
    share
}

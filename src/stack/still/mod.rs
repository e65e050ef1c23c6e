//! The still: the stack drawn far to near, source-over, at one camera place.
//!
//! Composed from exact values, not from the 8-bit texels, so that the law holds to half a step of the output. Every picture
//! stands on the nearest whole texel of the view.

mod shown;

pub use shown::Shown;

use crate::base::picture::Picture;
use crate::base::placing::Placing;
use crate::base::simd::vectorize;
use crate::base::space::{Lanes, Space};
use crate::base::units::{Camera, Scale, Texel};
use crate::base::words::Blending;
use crate::plan::Plan;
use crate::rim::Rim;
use crate::steps::dither;
use crate::steps::sheet::{Row, Sheet};
use crate::steps::step5_grade::blend;
use rayon::prelude::*;
use std::ops::Range;

/// A picture of the stack, ready to be drawn.
pub enum Layer<'a> {
    /// Fog.
    Sheet(&'a Placing, &'a Sheet),
    /// A rim.
    Rim(&'a Rim),
    /// Art.
    Art(&'a Placing, &'a Picture),
}

/// Rows that are drawn together: few enough to stay near the processor.
const STRIP: usize = 10;

/// A composed frame: RGB in the blending's own space, 0..1, row by row.
pub struct Still {
    /// Width and height in texels.
    pub size: [u32; 2],
    /// The colours.
    pub colours: Vec<[f32; 3]>,
    blending: Blending,
}

/// [`over`] for all four.
#[inline(always)]
fn over_lanes(under: &mut Lanes, colour: Lanes, alpha: f32) {
    *under = blend(*under, colour, alpha);
}

/// Draws `layers`, which must be in drawing order, at camera place `camera`: strips of [`STRIP`] rows side by
/// side, each handed to `take` with its first row and what of `outs` stands at its place.
fn strips<T: Send>(
    plan: &Plan,
    layers: &[Layer<'_>],
    camera: Camera,
    outs: impl IndexedParallelIterator<Item = T>,
    take: impl Fn(usize, &mut [Lanes], T) + Sync + Send,
) {
    let width = plan.texels[0] as usize;
    let rows = plan.texels[1] as usize;
    let space = Space::new(plan.blending);
    let [r, g, b] = space.enter(plan.backdrop.0);
    let draw = |(row, board): &mut (Row, Vec<Lanes>), (strip, out): (usize, T)| {
        let first = strip * STRIP;
        board.clear();
        board.resize(width * STRIP.min(rows - first), [r, g, b, 0.0]);
        for layer in layers {
            for (at, out) in board.chunks_mut(width).enumerate() {
                vectorize(
                    #[inline(always)]
                    || draw_row(layer, plan.scale, camera, first + at, row, &space, out),
                );
            }
        }
        take(first, board, out);
    };
    outs.enumerate().for_each_init(Default::default, draw);
}

impl Still {
    /// Draws `layers`, which must be in drawing order, at camera place `camera`.
    pub fn new(plan: &Plan, layers: &[Layer<'_>], camera: Camera) -> Still {
        let [width, height] = plan.texels.map(|side| side as usize);
        // Side by side: the memory of a large still is new to the system.
        let mut colours: Vec<[f32; 3]> = rayon::iter::repeat_n([0.0; 3], width * height).collect();
        strips(plan, layers, camera, colours.par_chunks_mut(width * STRIP), |_, board, out| {
            for (out, [r, g, b, _]) in out.iter_mut().zip(board) {
                *out = [*r, *g, *b];
            }
        });
        Still { size: plan.texels, colours, blending: plan.blending }
    }

    /// A frame that was composed elsewhere.
    #[cfg(feature = "tune")]
    pub(crate) fn of(size: [u32; 2], colours: Vec<[f32; 3]>, blending: Blending) -> Still {
        Still { size, colours, blending }
    }

    /// As RGBA, 8 bits, dithered.
    pub fn eight(&self) -> Vec<u8> {
        self.rows(u8::MAX, eight)
    }

    /// As RGBA, 16 bits, exact.
    pub fn sixteen(&self) -> Vec<u16> {
        self.rows(u16::MAX, |space, _, colours, texels| sixteen(space, colours, texels))
    }

    /// How its colours are mixed.
    pub fn blending(&self) -> Blending {
        self.blending
    }

    fn rows<T: Copy + Send>(
        &self,
        blank: T,
        write: impl Fn(&Space, usize, &mut [Lanes], &mut [T]) + Sync,
    ) -> Vec<T> {
        let (space, width) = (Space::new(self.blending), self.size[0] as usize);
        let mut out = vec![blank; self.colours.len() * 4];
        let rows = out.par_chunks_mut(width * 4).zip(self.colours.par_chunks(width)).enumerate();
        rows.for_each_init(Vec::new, |row: &mut Vec<Lanes>, (y, (texels, colours))| {
            row.clear();
            row.extend(colours.iter().map(|[r, g, b]| [*r, *g, *b, 0.0]));
            vectorize(
                #[inline(always)]
                || write(&space, y, row, texels),
            );
        });
        out
    }
}

/// A row of colours, which leave the space in place, as RGBA of 8 bits, dithered; `y` is the row's place in the picture.
#[inline(always)]
fn eight(space: &Space, y: usize, row: &mut [Lanes], out: &mut [u8]) {
    space.leave_row(row);
    dither::opaque(y, row, out);
}

/// A row of colours, which leave the space in place, as RGBA of 16 bits, exact.
#[inline(always)]
fn sixteen(space: &Space, row: &mut [Lanes], out: &mut [u16]) {
    space.leave_row(row);
    for (texel, [r, g, b, _]) in out.as_chunks_mut::<4>().0.iter_mut().zip(row) {
        let code = |value: &f32| (value.clamp(0.0, 1.0) * 65535.0 + 0.5) as u16;
        *texel = [code(r), code(g), code(b), u16::MAX];
    }
}

/// Draws row `y` of the view of one layer.
#[inline(always)]
fn draw_row(
    layer: &Layer<'_>,
    scale: Scale,
    camera: Camera,
    y: usize,
    row: &mut Row,
    space: &Space,
    out: &mut [Lanes],
) {
    match layer {
        Layer::Sheet(placing, sheet) => {
            let [left, top] = corner(placing, scale, camera);
            let Ok(from) = usize::try_from(y as i64 - top) else { return };
            if from < sheet.size()[1] as usize {
                draw_sheet(placing, sheet, scale, left, from, row, space, out);
            }
        }
        Layer::Rim(rim) => draw_rim(rim, scale, camera, y, row, space, out),
        Layer::Art(placing, picture) => draw_art(placing, picture, scale, camera, y, space, out),
    }
}

/// Left and top in whole texels of the view.
pub(crate) fn corner(placing: &Placing, scale: Scale, camera: Camera) -> [i64; 2] {
    [placing.left(camera), placing.rect.y].map(|side| (side * scale).0.round() as i64)
}

#[inline(always)]
#[allow(clippy::too_many_arguments)]
fn draw_sheet(
    placing: &Placing,
    sheet: &Sheet,
    scale: Scale,
    left: i64,
    from: usize,
    row: &mut Row,
    space: &Space,
    out: &mut [Lanes],
) {
    let cols = sheet.size()[0] as usize;
    // View texels over one period: not always whole, where the scene gives a period of its own.
    let stretch = (placing.rect.width * scale).0 / cols as f64;
    if (stretch - 1.0).abs() * (cols as f64) < 1e-6 {
        let first = (-left).rem_euclid(cols as i64) as usize;
        if let Some(colour) = sheet.colour() {
            // One colour: entered once for the row.
            let colour = space.enter_lanes(colour.lanes());
            sheet.paint(from, first, row, out, |under, _, alpha| over_lanes(under, colour, alpha));
        } else if space.blending == Blending::Encoded {
            sheet.paint(from, first, row, out, over_lanes);
        } else {
            let put = |under: &mut Lanes, colour, alpha| over_lanes(under, space.enter_lanes(colour), alpha);
            sheet.paint(from, first, row, out, put);
        }
        return;
    }
    sheet.row(from, 0, cols, row);
    for (x, under) in out.iter_mut().enumerate() {
        let position = ((x as i64 - left) as f64 + 0.5) / stretch - 0.5;
        let base = position.floor();
        let share = (position - base) as f32;
        let a = (base as i64).rem_euclid(cols as i64) as usize;
        let b = (a + 1) % cols;
        let alpha = row.alpha[a] + (row.alpha[b] - row.alpha[a]) * share;
        let colour = if share < 0.5 { row.colour[a] } else { row.colour[b] };
        over_lanes(under, space.enter_lanes(colour), alpha);
    }
}

#[inline(always)]
fn draw_rim(
    rim: &Rim,
    scale: Scale,
    camera: Camera,
    y: usize,
    row: &mut Row,
    space: &Space,
    out: &mut [Lanes],
) {
    let [left, top] = corner(&rim.placing, scale, camera);
    let [cols, rows] = rim.size().map(i64::from);
    let from = y as i64 - top;
    if from < 0 || from >= rows {
        return;
    }
    rim.row(from as usize, row);
    // Texels of the view over one texel of a period that isn't whole.
    let stretch = (rim.placing.rect.width * scale).0 / cols as f64;
    for (x, under) in out.iter_mut().enumerate() {
        let away = x as i64 - left;
        let col = match rim.placing.period {
            Some(_) => (((away as f64 + 0.5) / stretch).floor() as i64).rem_euclid(cols),
            None if away >= 0 && away < cols => away,
            None => continue,
        };
        over_lanes(under, space.enter_lanes(row.colour[col as usize]), row.alpha[col as usize]);
    }
}

#[inline(always)]
fn draw_art(
    placing: &Placing,
    picture: &Picture,
    scale: Scale,
    camera: Camera,
    y: usize,
    space: &Space,
    out: &mut [Lanes],
) {
    let [_, top] = corner(placing, scale, camera);
    let (width, height) = (picture.size[0] as i64, i64::from(picture.size[1]));
    let from = y as i64 - top;
    if from < 0 || from >= height {
        return;
    }
    let texels = &picture.texels[(from * width) as usize..((from + 1) * width) as usize];
    for (to, from) in parts(placing, scale, camera, texels.len(), out.len()) {
        for (under, texel) in out[to].iter_mut().zip(&texels[from..]) {
            if texel[3] > 0 {
                let [r, g, b, a] = unit(*texel);
                over_lanes(under, space.enter_lanes([r, g, b, 0.0]), a);
            }
        }
    }
}

/// Where a picture of `width` texels is seen in a view of `view`: columns of the view, each with the picture's column that it begins
/// with; one after the other where the picture repeats.
#[inline(always)]
pub(crate) fn parts(
    placing: &Placing,
    scale: Scale,
    camera: Camera,
    width: usize,
    view: usize,
) -> impl Iterator<Item = (Range<usize>, usize)> {
    let (width, view) = (width as i64, view as i64);
    let Texel(start) = placing.left(camera) * scale;
    let (period, first, last) = match placing.period.map(|period| (period * scale).0) {
        None => (0.0, 0, 0),
        Some(period) => {
            let first = ((-(width as f64) - start) / period).ceil() as i64;
            (period, first, ((view as f64 - start) / period).floor() as i64)
        }
    };
    (first..=last).filter_map(move |repeat| {
        let left = (start + repeat as f64 * period).round() as i64;
        let (from, to) = (left.max(0), (left + width).min(view));
        (from < to).then(|| (from as usize..to as usize, (from - left) as usize))
    })
}

/// Codes of 16 bits as 0..1.
#[inline(always)]
fn unit([r, g, b, a]: [u16; 4]) -> Lanes {
    [f32::from(r) / 65535.0, f32::from(g) / 65535.0, f32::from(b) / 65535.0, f32::from(a) / 65535.0]
}

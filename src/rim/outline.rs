//! The outline of an art: where solid texels meet open ones, and the art's own colours on both sides.

use crate::base::bitmap::{Bitmap, Bytes, Unpacked};
use crate::base::interpolate::smoothstep;
use rayon::prelude::*;
use std::ops::Range;

/// Opacity from which a texel counts as inside; reflections and glazes below it have no outline. One half;
/// chosen by eye.
const INSIDE: u16 = 32_768;
/// Least rise of opacity across an outline; what rises slower dissolves and has no outline to set off. 0.4; chosen
/// by eye.
const RISE: u16 = 26_214;
/// Opacity from which nothing behind a texel is seen: 0.98; chosen by eye.
const SOLID: u16 = 64_225;

/// Rows of an art that are looked at together: many, as rows over and under them are unpacked besides.
const BAND: usize = 96;
/// But no more texels of it, where an outline is traced, unless these would be few rows.
const TEXELS: usize = 1 << 19;
const LEAST: usize = 16;

/// How far a rim runs on in full beneath solid texels: filters and the first mip levels reach that far. Texels.
const RUN: u8 = 4;
/// Where it has ended, texels; chosen by eye.
const END: u8 = 11;

/// A place on an outline.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Point {
    /// The texel just outside, in texels of the art; may lie one or two outside its frame.
    pub at: [i32; 2],
    /// The art just inside and just outside, a glaze or nothing there, as it is held: straight, encoded, 16 bits.
    inside: [u16; 4],
    outside: [u16; 4],
}

impl Point {
    /// The art just inside and just outside: straight, encoded, 0..1.
    pub fn sides(&self) -> [[f32; 4]; 2] {
        [self.inside.map(unit), self.outside.map(unit)]
    }
}

/// Reads rows of an art with their surroundings: other copies where it repeats edge to edge, else nothing.
struct Reader<'a> {
    size: [i64; 2],
    /// The rows from `first` on.
    first: i64,
    texels: &'a [[u16; 4]],
    wraps: bool,
}

/// How many rows over and under its own a point looks at.
const AROUND: usize = 2;

impl Reader<'_> {
    fn texel(&self, x: i64, y: i64) -> [u16; 4] {
        let [width, height] = self.size;
        let x = if self.wraps { x.rem_euclid(width) } else { x };
        if x < 0 || x >= width || y < 0 || y >= height {
            return [0; 4];
        }
        self.texels[((y - self.first) * width + x) as usize]
    }

    /// The outline points of row `y`.
    fn points(&self, y: usize) -> Vec<Point> {
        let [width, height] = self.size.map(|side| side as usize);
        let row = |y: usize| &self.texels[(y - self.first as usize) * width..][..width];
        let own = row(y);
        let above = y.checked_sub(1).map(row);
        let below = (y + 1 < height).then(|| row(y + 1));
        let mut found = Vec::new();
        for x in (0..width).filter(|x| !is_open(own[*x])) {
            let (at_x, at_y) = (x as i64, y as i64);
            let left = if x > 0 { own[x - 1] } else { self.texel(-1, at_y) };
            let right = if x + 1 < width { own[x + 1] } else { self.texel(width as i64, at_y) };
            let up = above.map_or([0; 4], |above| above[x]);
            let down = below.map_or([0; 4], |below| below[x]);
            for (neighbour, dx, dy) in [(left, -1, 0), (right, 1, 0), (up, 0, -1), (down, 0, 1)] {
                if is_open(neighbour) {
                    found.extend(self.point(at_x, at_y, dx, dy));
                }
            }
        }
        found
    }

    /// The outline point between an inside texel and its open neighbour one step along `dx`, `dy`.
    fn point(&self, x: i64, y: i64, dx: i64, dy: i64) -> Option<Point> {
        // Antialiased texels mix both sides: one step farther on either side shows the plain colours.
        let (own, deeper) = (self.texel(x, y), self.texel(x - dx, y - dy));
        let inside = if deeper[3] > own[3] { deeper } else { own };
        let (near, far) = (self.texel(x + dx, y + dy), self.texel(x + 2 * dx, y + 2 * dy));
        let (outside, reach) = if far[3] < near[3] { (far, 2) } else { (near, 1) };
        if inside[3].saturating_sub(outside[3]) < RISE {
            return None;
        }
        Some(Point { at: [(x + reach * dx) as i32, (y + reach * dy) as i32], inside, outside })
    }
}

/// A code of 16 bits as 0..1.
fn unit(code: u16) -> f32 {
    f32::from(code) / 65535.0
}

fn is_open(texel: [u16; 4]) -> bool {
    texel[3] < INSIDE
}

/// The outline of `picture`, in reading order, thinned evenly to about `most` points. `wraps`: it repeats edge to edge.
pub(crate) fn trace(picture: &Bitmap, wraps: bool, most: usize) -> Vec<Point> {
    let (size, height) = (picture.size.map(i64::from), picture.size[1] as usize);
    let each = (TEXELS / picture.size[0].max(1) as usize).clamp(LEAST, BAND);
    let bands = (0..height.div_ceil(each)).into_par_iter().map(|band| {
        let (from, to) = (band * each, height.min((band + 1) * each));
        let first = from.saturating_sub(AROUND);
        let texels = picture.rows(first..height.min(to + AROUND));
        let reader = Reader { size, first: first as i64, texels: &texels, wraps };
        let mut points: Vec<Point> = (from..to).flat_map(|y| reader.points(y)).collect();
        points.shrink_to_fit();
        points
    });
    let rows: Vec<Vec<Point>> = bands.collect();
    let count: usize = rows.iter().map(Vec::len).sum();
    let every = count.div_ceil(most.max(1)).max(1);
    rows.into_iter().flatten().step_by(every).collect()
}

/// Which cell of a grid a column or a row of the art belongs to.
pub(super) struct ToCell {
    /// Where the art begins on the canvas, texels.
    pub corner: i64,
    /// The canvas, texels; and whether it is one period.
    pub texels: i64,
    pub wraps: bool,
    /// Texels to a cell, and how many cells there are.
    pub step: f64,
    pub cells: usize,
    /// Those that are looked at.
    pub seen: Range<usize>,
}

impl ToCell {
    /// The cell of a texel of the art, counted from the first that is looked at; none if it isn't among them, or outside the canvas.
    fn cell(&self, texel: usize) -> Option<usize> {
        let at = texel as i64 + self.corner;
        let at = if self.wraps { at.rem_euclid(self.texels) } else { at };
        let cell = || (((at as f64 + 0.5) / self.step) as usize).min(self.cells - 1);
        let cell = (at >= 0 && at < self.texels).then(cell)?;
        self.seen.contains(&cell).then(|| cell - self.seen.start)
    }
}

/// Opacity over cells of a grid laid on the art: mean of what is inside. `to_cell` tells the cells of columns and of rows.
pub(super) fn coverage(picture: &Bitmap, to_cell: &[ToCell; 2]) -> Vec<f32> {
    let cells = [to_cell[0].seen.len(), to_cell[1].seen.len()];
    let [width, height] = picture.size.map(|side| side as usize);
    let per_cell = to_cell[0].step * to_cell[1].step;
    let columns: Vec<Option<usize>> = (0..width).map(|x| to_cell[0].cell(x)).collect();
    let mut rows: Vec<Vec<usize>> = vec![Vec::new(); cells[1]];
    for y in 0..height {
        if let Some(row) = to_cell[1].cell(y) {
            rows[row].push(y);
        }
    }
    let mut out = vec![0.0_f32; cells[0] * cells[1]];
    out.par_chunks_mut(cells[0]).zip(&rows).for_each_init(Unpacked::default, |unpacked, (cells, rows)| {
        for y in rows {
            for (texel, col) in picture.row(*y, unpacked).iter().zip(&columns) {
                if let (Some(col), true) = (col, texel[3] >= INSIDE) {
                    cells[*col] += f32::from(texel[3]);
                }
            }
        }
        for cell in cells.iter_mut() {
            *cell = (*cell / (65535.0 * per_cell) as f32).min(1.0);
        }
    });
    out
}

/// Share of a rim that is drawn beneath each texel of the art's `rows`, 0..255: all where anything behind can be seen and a few texels on.
pub(super) fn beneath(picture: &Bitmap, rows: Range<usize>, wraps: bool) -> Bytes {
    let width = picture.size[0] as usize;
    let share: [u8; END as usize + 1] = std::array::from_fn(|depth| {
        let t = (depth as f64 - f64::from(RUN)) / f64::from(END - RUN);
        (255.0 * (1.0 - smoothstep(t.clamp(0.0, 1.0))) + 0.5) as u8
    });
    let bands = (0..rows.len().div_ceil(BAND)).into_par_iter().map(|band| {
        let first = rows.start + band * BAND;
        let mut depths = depths(picture, first..rows.end.min(first + BAND), wraps);
        depths.iter_mut().for_each(|depth| *depth = share[usize::from(*depth)]);
        Bytes::new(width, &depths)
    });
    let bands: Vec<Bytes> = bands.collect();
    bands.into_iter().fold(Bytes::default(), Bytes::and)
}

/// Distance of each texel of the rows `own` to the next that isn't solid, at most [`END`].
fn depths(picture: &Bitmap, own: Range<usize>, wraps: bool) -> Vec<u8> {
    let (width, height) = (picture.size[0] as usize, picture.size[1] as i64);
    let first = own.start.saturating_sub(usize::from(END));
    let last = picture.size[1].min(own.end as u32 + u32::from(END)) as usize;
    let (mut along, mut unpacked) = (Vec::with_capacity((last - first) * width), Unpacked::default());
    for y in first..last {
        along
            .extend(picture.row(y, &mut unpacked).iter().map(|texel| if texel[3] < SOLID { 0 } else { END }));
    }
    along.chunks_mut(width).for_each(|row| distances_along(row, wraps));
    let mut out = vec![END; own.len() * width];
    for (y, depths) in own.zip(out.chunks_mut(width)) {
        let reach = i64::from(END);
        for dy in -reach..=reach {
            let (at, away) = (y as i64 + dy, dy.unsigned_abs() as u8);
            if at < 0 || at >= height {
                // Over and under the picture lies nothing solid; one row farther, as the distance counts from outside.
                depths.iter_mut().for_each(|depth| *depth = (*depth).min(away));
                continue;
            }
            let row = &along[(at as usize - first) * width..][..width];
            for (depth, other) in depths.iter_mut().zip(row) {
                *depth = (*depth).min((*other).max(away));
            }
        }
    }
    out
}

/// Distance of each texel of a row to the next that isn't solid, at most [`END`]: where the row has 0 if it isn't, else as much as that.
fn distances_along(row: &mut [u8], wraps: bool) {
    let farther = |distance: u8, own: u8| (distance + 1).min(own);
    let reach = usize::from(END).min(row.len());
    // Beyond its ends lies nothing solid, or it comes round.
    let before = row[row.len() - reach..].iter().fold(END, |distance, own| farther(distance, *own));
    let mut distance = if wraps { before } else { 0 };
    for own in row.iter_mut() {
        distance = farther(distance, *own);
        *own = distance;
    }
    let behind = row[..reach].iter().rev().fold(END, |distance, own| farther(distance, *own));
    let mut distance = if wraps { behind } else { 0 };
    for own in row.iter_mut().rev() {
        distance = farther(distance, *own);
        *own = distance;
    }
}

//! The outline of an art: where solid texels meet open ones, and the art's own colours on both sides.

use crate::base::picture::Picture;
use rayon::prelude::*;

/// Opacity from which a texel counts as inside; reflections and glazes below it have no outline.
const INSIDE: u16 = 32_768;
/// Least rise of opacity across an outline; what rises slower dissolves and has no outline to set off.
const RISE: u16 = 26_214;
/// Opacity from which nothing behind a texel is seen.
const SOLID: u16 = 64_225;

/// How far a rim runs on in full beneath solid texels, and where it has ended: filters and the first mip levels reach that far.
const RUN: f32 = 4.0;
/// Where it has ended, texels.
const END: u8 = 11;

/// A place on an outline.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Point {
    /// The texel just outside, in texels of the art; may lie one or two outside its frame.
    pub at: [i32; 2],
    /// The art just inside: straight, encoded, 0..1.
    pub inside: [f32; 4],
    /// The art just outside: a glaze, or nothing.
    pub outside: [f32; 4],
}

/// Reads an art with its surroundings: other copies where it repeats edge to edge, else nothing.
struct Reader<'a> {
    picture: &'a Picture,
    wraps: bool,
}

impl Reader<'_> {
    fn texel(&self, x: i64, y: i64) -> [u16; 4] {
        let [width, height] = self.picture.size.map(i64::from);
        let x = if self.wraps { x.rem_euclid(width) } else { x };
        if x < 0 || x >= width || y < 0 || y >= height {
            return [0; 4];
        }
        self.picture.texels[(y * width + x) as usize]
    }

    /// The outline point between an inside texel and its open neighbour one step along `dx`, `dy`.
    fn point(&self, x: i64, y: i64, dx: i64, dy: i64) -> Option<Point> {
        let solider = |a: [u16; 4], b: [u16; 4]| if b[3] > a[3] { b } else { a };
        // Antialiased texels mix both sides: one step farther on either side shows the plain colours.
        let inside = solider(self.texel(x, y), self.texel(x - dx, y - dy));
        let (near, far) = (self.texel(x + dx, y + dy), self.texel(x + 2 * dx, y + 2 * dy));
        let (outside, reach) = if far[3] < near[3] { (far, 2) } else { (near, 1) };
        if inside[3].saturating_sub(outside[3]) < RISE {
            return None;
        }
        let plain = |texel: [u16; 4]| texel.map(|code| f32::from(code) / 65535.0);
        Some(Point {
            at: [(x + reach * dx) as i32, (y + reach * dy) as i32],
            inside: plain(inside),
            outside: plain(outside),
        })
    }
}

/// The outline of `picture`, in reading order, thinned evenly to about `most` points. `wraps`: it repeats edge to edge.
pub(crate) fn trace(picture: &Picture, wraps: bool, most: usize) -> Vec<Point> {
    let reader = Reader { picture, wraps };
    let [width, height] = picture.size.map(|side| side as usize);
    let open = |texel: [u16; 4]| texel[3] < INSIDE;
    let rows: Vec<Vec<Point>> = (0..height)
        .into_par_iter()
        .map(|y| {
            let row = &picture.texels[y * width..(y + 1) * width];
            let above = y.checked_sub(1).map(|y| &picture.texels[y * width..(y + 1) * width]);
            let below = (y + 1 < height).then(|| &picture.texels[(y + 1) * width..(y + 2) * width]);
            let mut found = Vec::new();
            for x in 0..width {
                if open(row[x]) {
                    continue;
                }
                let (at_x, at_y) = (x as i64, y as i64);
                let left = if x > 0 { row[x - 1] } else { reader.texel(-1, at_y) };
                let right = if x + 1 < width { row[x + 1] } else { reader.texel(width as i64, at_y) };
                let up = above.map_or([0; 4], |above| above[x]);
                let down = below.map_or([0; 4], |below| below[x]);
                for (neighbour, dx, dy) in [(left, -1, 0), (right, 1, 0), (up, 0, -1), (down, 0, 1)] {
                    if open(neighbour) {
                        found.extend(reader.point(at_x, at_y, dx, dy));
                    }
                }
            }
            found
        })
        .collect();
    let count: usize = rows.iter().map(Vec::len).sum();
    let every = count.div_ceil(most.max(1)).max(1);
    rows.into_iter().flatten().step_by(every).collect()
}

/// Opacity over cells of a grid laid on the art: mean of what is inside. `to` says which cell a texel's column and row belong to.
pub(crate) fn coverage(
    picture: &Picture,
    cells: [usize; 2],
    to_col: impl Fn(i64) -> Option<usize> + Sync,
    to_row: impl Fn(i64) -> Option<usize>,
    per_cell: f64,
) -> Vec<f32> {
    let [width, height] = picture.size.map(|side| side as usize);
    let columns: Vec<Option<usize>> = (0..width as i64).map(to_col).collect();
    let mut rows: Vec<Vec<usize>> = vec![Vec::new(); cells[1]];
    for y in 0..height {
        if let Some(row) = to_row(y as i64) {
            rows[row].push(y);
        }
    }
    let mut out = vec![0.0_f32; cells[0] * cells[1]];
    out.par_chunks_mut(cells[0]).zip(&rows).for_each(|(cells, rows)| {
        for y in rows {
            for (texel, col) in picture.texels[y * width..(y + 1) * width].iter().zip(&columns) {
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

/// Share of a rim that is drawn beneath each texel of the art, 0..255: all where anything behind can be seen and a few texels on.
pub(crate) fn beneath(picture: &Picture, wraps: bool) -> Vec<u8> {
    let [width, height] = picture.size.map(|side| side as usize);
    let share: [u8; END as usize + 1] = std::array::from_fn(|depth| {
        let t = ((depth as f32 - RUN) / (f32::from(END) - RUN)).clamp(0.0, 1.0);
        (255.0 * (1.0 - t * t * (3.0 - 2.0 * t)) + 0.5) as u8
    });
    // Distance to the next texel in the row that isn't solid, held to END.
    let mut along = vec![END; width * height];
    along.par_chunks_mut(width).zip(picture.texels.par_chunks(width)).for_each(|(depths, texels)| {
        let edge = if wraps { END } else { 0 };
        for backward in [false, true] {
            let mut depth = edge;
            let laps = if wraps { 2 } else { 1 };
            for step in 0..laps * width {
                let x = if backward { width - 1 - step % width } else { step % width };
                depth = if texels[x][3] < SOLID { 0 } else { (depth + 1).min(END) };
                depths[x] = depths[x].min(depth);
            }
        }
    });
    let mut out = vec![0_u8; width * height];
    out.par_chunks_mut(width).enumerate().for_each(|(y, depths)| {
        depths.fill(END);
        let reach = i64::from(END);
        for dy in -reach..=reach {
            let (at, away) = (y as i64 + dy, dy.unsigned_abs() as u8);
            if at < 0 || at >= height as i64 {
                // Over and under the picture lies nothing solid; one row farther, as the distance counts from outside.
                depths.iter_mut().for_each(|depth| *depth = (*depth).min(away));
                continue;
            }
            let row = &along[at as usize * width..(at as usize + 1) * width];
            for (depth, other) in depths.iter_mut().zip(row) {
                *depth = (*depth).min((*other).max(away));
            }
        }
        depths.iter_mut().for_each(|depth| *depth = share[usize::from(*depth)]);
    });
    out
}

//! Distance to scattered points on a lattice that wraps in x: rounded cells.
//!
//! After Worley, "A cellular texture basis function" (1996), one point a cell, anywhere in it. A place looks at the four by four
//! cells around the nearest corner: whatever lies outside is farther than 1.5, and a point of its own cell never is, so the
//! nearest is always found. Crate `noise` looks at two by two, and takes some thirty times as long without a table.

use crate::base::seed;

/// Mean and standard deviation of [`Cells::distance`] over the plane, measured over 4 million samples.
pub const MOMENTS: (f32, f32) = (0.4295, 0.1898);

/// Bytes of a point.
pub(super) const POINT: usize = 2 * size_of::<f32>();

/// Cells in a row that a place looks at.
const LOOK: usize = 4;

/// The points of one octave.
pub struct Cells {
    first_col: i64,
    first_row: i64,
    cols: usize,
    rows: usize,
    x: Vec<f32>,
    y: Vec<f32>,
}

impl Cells {
    /// Points of `across` cells over the period, for every u in `-margin..=across + margin` and v in `from..=to`, in cells; at
    /// age `time` of their cycle.
    ///
    /// Over a cycle a point goes to and fro in its cell, once or twice along each axis: it stays in it, and anywhere is as likely
    /// as before.
    pub fn new(seed: u64, across: usize, margin: f64, from: f64, to: f64, time: f64) -> Cells {
        let margin = margin.ceil() as i64 + 2;
        let (first_col, first_row) = (-margin, from.floor() as i64 - 2);
        let cols = (across as i64 + 2 * margin + 1) as usize;
        let rows = (to.floor() as i64 + 3 - first_row) as usize;
        let (mut x, mut y) = (Vec::with_capacity(cols * rows), Vec::with_capacity(cols * rows));
        for row in 0..rows as i64 {
            for col in 0..cols as i64 {
                let hash = seed::hash(seed, (col + first_col).rem_euclid(across as i64), row + first_row);
                x.push(col as f32 + place_in_cell(hash, 40, 0, time));
                y.push(row as f32 + place_in_cell(hash, 16, 1, time));
            }
        }
        Cells { first_col, first_row, cols, rows, x, y }
    }

    /// Distance from (u, v) to the nearest point, 0..1.4142, in cells.
    #[inline]
    pub fn distance(&self, u: f32, v: f32) -> f32 {
        let (right, down) = (u - self.first_col as f32, v - self.first_row as f32);
        let col = ((right + 0.5) as i32 as usize).clamp(2, self.cols - 2) - 2;
        let row = ((down + 0.5) as i32 as usize).clamp(2, self.rows - 2) - 2;
        let mut nearest = [f32::MAX; LOOK];
        for line in row..row + LOOK {
            let at = line * self.cols + col;
            let (x, y) = (&self.x[at..at + LOOK], &self.y[at..at + LOOK]);
            for lane in 0..LOOK {
                let (dx, dy) = (x[lane] - right, y[lane] - down);
                let square = dx * dx + dy * dy;
                nearest[lane] = smaller(square, nearest[lane]);
            }
        }
        smaller(smaller(nearest[0], nearest[1]), smaller(nearest[2], nearest[3])).sqrt()
    }
}

/// Without the care that `f32::min` takes of NaN.
#[inline(always)]
fn smaller(a: f32, b: f32) -> f32 {
    if a < b { a } else { b }
}

/// Where a point of this hash is in its cell along one axis, 0..1, at `time` of the loop. It starts at the number in the 24 bits from
/// `shift` on; whether it goes to and fro once or twice, and which way first, are the bits `bit` and two above it.
fn place_in_cell(hash: u64, shift: u64, bit: u64, time: f64) -> f32 {
    let start = (hash >> shift & 0xff_ffff) as f32 / (1 << 24) as f32;
    let length = if hash >> bit & 1 == 0 { 2.0 } else { 4.0 };
    bounce(start, hash >> (2 + bit) & 1 == 0, length * time)
}

/// Where a point at `start` (0 to 1) is after a path of this length between 0 and 1, at first away from 0 or `toward` it, turning back
/// at each end.
fn bounce(start: f32, toward: bool, length: f64) -> f32 {
    if length == 0.0 {
        return start;
    }
    let start = if toward { 2.0 - f64::from(start) } else { f64::from(start) };
    let end = (start + length).rem_euclid(2.0);
    (if end > 1.0 { 2.0 - end } else { end }) as f32
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_loop_closes_and_points_stay_in_their_cells() {
        let at = |time: f64| Cells::new(5, 9, 2.0, 0.0, 6.0, time);
        let (start, end) = (at(0.0), at(1.0));
        assert!(start.x.iter().zip(&end.x).all(|(a, b)| (a - b).abs() < 1e-5));
        assert!(start.y.iter().zip(&end.y).all(|(a, b)| (a - b).abs() < 1e-5));
        for time in [0.1, 0.37, 0.5, 0.93] {
            let on_the_way = at(time);
            for (place, x) in on_the_way.x.iter().enumerate() {
                let inside = x - (place % on_the_way.cols) as f32;
                assert!((0.0..=1.0).contains(&inside), "{inside} at {time}");
            }
            assert!(start.x.iter().zip(&on_the_way.x).any(|(a, b)| (a - b).abs() > 0.1));
        }
    }

    #[test]
    fn the_nearest_of_all_points_is_found() {
        let cells = Cells::new(9, 11, 3.0, -4.0, 7.0, 0.4);
        for at in 0..20_000 {
            let (u, v) = (
                (seed::uniform(at) * 15.0 - 2.0) as f32,
                (seed::uniform(at + 1_000_000) * 11.0 - 4.0) as f32,
            );
            let (right, down) = (u - cells.first_col as f32, v - cells.first_row as f32);
            let all = cells.x.iter().zip(&cells.y);
            let least = all.map(|(x, y)| (x - right).powi(2) + (y - down).powi(2)).fold(f32::MAX, f32::min);
            assert_eq!(cells.distance(u, v), least.sqrt(), "at {u}, {v}");
        }
    }

    #[test]
    fn comes_round_after_the_period() {
        let cells = Cells::new(2, 7, 8.0, 0.0, 6.0, 0.7);
        for at in 0..2000 {
            let (u, v) = ((seed::uniform(at) * 7.0) as f32, (seed::uniform(at + 5000) * 6.0) as f32);
            assert!((cells.distance(u, v) - cells.distance(u - 7.0, v)).abs() < 4e-6);
            assert!((cells.distance(u, v) - cells.distance(u + 7.0, v)).abs() < 4e-6);
        }
    }

    #[test]
    fn moments_are_as_stated() {
        let cells = Cells::new(77, 600, 0.0, 0.0, 600.0, 0.3);
        let count = 400_000;
        let (mut sum, mut squares) = (0.0_f64, 0.0_f64);
        for at in 0..count {
            let (u, v) = (seed::uniform(2 * at) * 600.0, seed::uniform(2 * at + 1) * 600.0);
            let value = f64::from(cells.distance(u as f32, v as f32));
            (sum, squares) = (sum + value, squares + value * value);
        }
        let mean = sum / count as f64;
        let deviation = (squares / count as f64 - mean * mean).sqrt();
        assert!((mean - f64::from(MOMENTS.0)).abs() < 0.002, "mean {mean}");
        assert!((deviation - f64::from(MOMENTS.1)).abs() < 0.002, "deviation {deviation}");
    }
}

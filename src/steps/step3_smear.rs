//! Step 3: smear. A directional blur along a segment of any length and angle, wrapping in x: three boxes one after the other, so that it
//! tapers toward its ends.
//!
//! The kernel's mean is 0 and its variance along the segment is exactly length^2/12, that of one continuous box of the length; across
//! the segment it is 0, at any angle.

use crate::base::simd::vectorize;
use crate::base::threads;
use crate::steps::grid::Plane;

/// A line of taps whose variance is that of a continuous box: `2 reach + 1` of weight `full`, two of weight `end` outside them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// Number of full taps on each side of the middle.
    pub reach: usize,
    /// Weight of a full tap.
    pub full: f64,
    /// Weight of the outermost taps.
    pub end: f64,
}

impl Line {
    /// The line for a box of `length` samples.
    pub fn new(length: f64) -> Line {
        let variance = length * length / 12.0;
        // With n = 2 reach + 1 full taps and none outside, the variance is (n^2 - 1)/12: the widest that isn't too wide.
        let reach = ((libm::sqrt(length * length + 1.0) - 1.0) / 2.0).floor().max(0.0);
        let taps = 2.0 * reach + 1.0;
        let squares = reach * (reach + 1.0) * taps / 3.0;
        let outer = (reach + 1.0) * (reach + 1.0);
        let end = ((variance * taps - squares) / (2.0 * (outer - variance))).max(0.0);
        let sum = taps + 2.0 * end;
        Line { reach: reach as usize, full: 1.0 / sum, end: end / sum }
    }

    /// Weight of the tap at `offset`.
    pub fn weight(&self, offset: i64) -> f64 {
        match offset.unsigned_abs() as usize {
            at if at <= self.reach => self.full,
            at if at == self.reach + 1 => self.end,
            _ => 0.0,
        }
    }
}

/// Lengths of the boxes as shares of the smear's: 0.5, 0.35 and 0.25, chosen by eye, over the root of the sum of their squares.
pub const BOXES: [f64; 3] = [0.758_098_044, 0.530_668_631, 0.379_049_022];

/// How far a smear reaches to each side, as a share of its length: half of all boxes together.
pub const REACH: f64 = 0.5 * (BOXES[0] + BOXES[1] + BOXES[2]);

/// Extent of the smear in samples along x and y.
pub fn extent(length: f64, angle: f64, step: [f64; 2]) -> [f64; 2] {
    let radians = angle.to_radians();
    // y runs downward, a positive angle turns the right end upward.
    [length * libm::cos(radians) / step[0], -length * libm::sin(radians) / step[1]]
}

/// Smears `plane` over `length` texels at `angle` degrees; `step` is the grid's. Rows outside are taken as the outermost row.
pub fn apply(plane: Plane, length: f64, angle: f64, step: [f64; 2]) -> Plane {
    let [x, y] = extent(length, angle, step);
    if x.abs().max(y.abs()) < 1e-6 {
        return plane;
    }
    if y.abs() < 1e-9 * x.abs() {
        return level(plane, BOXES.map(|share| Line::new(share * x.abs())));
    }
    BOXES.into_iter().fold(plane, |plane, share| tilted(&plane, share * x, share * y))
}

/// Rows whose running sums are taken side by side: each sum waits for the one before it in its row.
const LANES: usize = 4;

/// A sample of each of those rows.
type Lanes = [f32; LANES];

/// The level smear, by running sums, in place: its cost doesn't depend on its length.
fn level(mut plane: Plane, lines: [Line; 3]) -> Plane {
    let cols = plane.cols;
    let windows = lines.map(|line| Window::new(line, cols));
    threads::each_part(
        &mut plane.data,
        LANES * cols,
        1,
        |[twice, numbers]: &mut [Vec<Lanes>; 2], _, rows| {
            vectorize(
                #[inline(always)]
                || {
                    numbers.resize(cols, [0.0; LANES]);
                    for (lane, row) in rows.chunks_exact(cols).enumerate() {
                        numbers.iter_mut().zip(row).for_each(|(number, value)| number[lane] = *value);
                    }
                    for window in &windows {
                        window.run(twice, numbers);
                    }
                    for (lane, row) in rows.chunks_exact_mut(cols).enumerate() {
                        row.iter_mut().zip(&*numbers).for_each(|(value, number)| *value = number[lane]);
                    }
                },
            );
        },
    );
    plane
}

/// A line on rows of so many samples that wrap.
struct Window {
    line: Line,
    /// How often the line goes round the row, and how many samples are left.
    laps: usize,
    rest: usize,
    /// Where that rest starts for the first column, and where it ends; and the outermost taps.
    places: [usize; 4],
}

impl Window {
    fn new(line: Line, cols: usize) -> Window {
        let (window, reach) = (2 * line.reach + 1, line.reach as i64);
        let (laps, rest) = (window / cols, window % cols);
        let first = wrapped(-reach, cols);
        let next = wrapped(first as i64 + rest as i64, cols);
        Window {
            line,
            laps,
            rest,
            places: [first, next, wrapped(-reach - 1, cols), wrapped(reach + 1, cols)],
        }
    }

    /// Smears rows; `twice` is a buffer.
    #[inline(always)]
    fn run(&self, twice: &mut Vec<Lanes>, numbers: &mut [Lanes]) {
        // The rows twice, so that nothing wraps within a window.
        twice.clear();
        twice.extend_from_slice(numbers);
        twice.extend_from_slice(numbers);
        let (line, first) = (self.line, self.places[0]);
        let total = if self.laps > 0 { sums(numbers) } else { [0.0; LANES] };
        let mut inside = sums(&twice[first..first + self.rest]);
        let [first, next, left, right] = self.places.map(|at| &twice[at..at + numbers.len()]);
        let taps = first.iter().zip(next).zip(left.iter().zip(right));
        for (number, ((first, next), (left, right))) in numbers.iter_mut().zip(taps) {
            for lane in 0..LANES {
                let ends = f64::from(left[lane]) + f64::from(right[lane]);
                let all = inside[lane] + self.laps as f64 * total[lane];
                number[lane] = (line.full * all + line.end * ends) as f32;
                inside[lane] += f64::from(next[lane]) - f64::from(first[lane]);
            }
        }
    }
}

/// A place on a line of so many samples that wraps.
fn wrapped(at: i64, cols: usize) -> usize {
    at.rem_euclid(cols as i64) as usize
}

/// The sum of each row's samples, in double precision.
#[inline(always)]
fn sums(numbers: &[Lanes]) -> [f64; LANES] {
    let mut sums = [0.0; LANES];
    for number in numbers {
        for (sum, value) in sums.iter_mut().zip(number) {
            *sum += f64::from(*value);
        }
    }
    sums
}

/// A line of more samples than this is drawn as a comb of short lines: tap by tap it would take minutes.
/// Chosen by its time.
const LONG: f64 = 1024.0;

/// A tap: its offset in columns and rows, and its weight.
type Tap = (i64, i64, f32);

/// Any angle. A line is as many short ones, end to end, as there are teeth in a comb: lengths and moments multiply and add up exactly.
fn tilted(plane: &Plane, x: f64, y: f64) -> Plane {
    let long = x.abs().max(y.abs());
    if long <= LONG {
        return by_taps(plane, &line(x, y));
    }
    // A tooth costs nine taps, a place on the short line three: the odd number that costs least.
    let teeth = 2.0 * (libm::sqrt(long / 3.0) / 2.0).floor() + 1.0;
    let short = by_taps(plane, &line(x / teeth, y / teeth));
    by_taps(&short, &comb(x / teeth, y / teeth, teeth as i64))
}

/// A quadratic between samples that keeps the first two moments exact: three samples, and what each takes of a tap at `place`.
fn quadratic(place: f64) -> [(i64, f64); 3] {
    let near = place.round();
    let d = place - near;
    let near = near as i64;
    [(near - 1, 0.5 * (d * d - d)), (near, 1.0 - d * d), (near + 1, 0.5 * (d * d + d))]
}

/// A line, tap by tap along its longer axis, between samples on the shorter one.
fn line(x: f64, y: f64) -> Vec<Tap> {
    let flat = x.abs() >= y.abs();
    let (long, slope) = if flat { (x, y / x) } else { (y, x / y) };
    let line = Line::new(long.abs());
    let reach = line.reach as i64 + 1;
    let mut taps = Vec::new();
    for at in -reach..=reach {
        let weight = line.weight(at);
        if weight == 0.0 {
            continue;
        }
        for (over, share) in quadratic(at as f64 * slope) {
            if share != 0.0 {
                let (dx, dy) = if flat { (at, over) } else { (over, at) };
                taps.push((dx, dy, (weight * share) as f32));
            }
        }
    }
    taps
}

/// An odd number of equal teeth, (x, y) apart, between samples on both axes.
fn comb(x: f64, y: f64, teeth: i64) -> Vec<Tap> {
    let half = teeth / 2;
    let mut taps = Vec::new();
    for at in -half..=half {
        for (dx, a) in quadratic(at as f64 * x) {
            for (dy, b) in quadratic(at as f64 * y) {
                taps.push((dx, dy, (a * b / teeth as f64) as f32));
            }
        }
    }
    taps.retain(|(.., weight)| *weight != 0.0);
    taps
}

/// The sum of a plane's samples at all taps.
fn by_taps(plane: &Plane, taps: &[Tap]) -> Plane {
    let (cols, rows) = (plane.cols, plane.rows());
    let mut out = Plane::new(cols, rows);
    out.each_row(
        #[inline(always)]
        |row, numbers| {
            numbers.fill(0.0);
            for &(dx, dy, weight) in taps {
                let source = plane.row((row as i64 + dy).clamp(0, rows as i64 - 1) as usize);
                let shift = dx.rem_euclid(cols as i64) as usize;
                let (left, right) = source.split_at(shift);
                let (head, tail) = numbers.split_at_mut(cols - shift);
                for (sum, value) in head.iter_mut().zip(right) {
                    *sum += weight * value;
                }
                for (sum, value) in tail.iter_mut().zip(left) {
                    *sum += weight * value;
                }
            }
        },
    );
    out
}

//! Slow periodic noise, for warp, breath and sway: few points, so crate `noise` serves as it is, on a hasher that wraps.

use crate::base::seed;
use crate::base::simd::{TRUNCATE_MAX, truncate, vectorize};
use crate::base::threads;
use crate::steps::moment::Moment;
use crate::steps::upsample;
use noise::core::perlin::perlin_2d;
use noise::permutationtable::NoiseHasher;

/// Hashes lattice points so that noise repeats after `across` cells in x.
pub struct PeriodicHasher {
    seed: u64,
    across: i64,
}

impl PeriodicHasher {
    /// A hasher for noise that repeats after `across` cells.
    pub fn new(seed: u64, across: usize) -> PeriodicHasher {
        PeriodicHasher { seed, across: across as i64 }
    }
}

impl NoiseHasher for PeriodicHasher {
    fn hash(&self, place: &[isize]) -> usize {
        let x = place.first().map_or(0, |&x| (x as i64).rem_euclid(self.across));
        let y = place.get(1).map_or(0, |&y| y as i64);
        (seed::hash(self.seed, x, y) >> 40) as usize
    }
}

/// Samples per lattice cell of the tables, with a cubic between them; chosen by eye.
const PER_CELL: usize = 8;

/// Weights of the octave of `cells` cells and of that of twice as many; chosen by eye.
const WEIGHTS: [f64; 2] = [1.5, 0.6];
/// Where the line crosses its lattice: off the lattice points along x, half way between two rows; at a point all noise is 0.
const LINE: [f64; 2] = [0.37, 0.5];

/// A slow noise over one period: `cells` lattice cells, two octaves, about -1..1, smooth.
pub struct PeriodicNoise1d {
    table: Vec<f32>,
}

impl PeriodicNoise1d {
    /// Noise of `cells` cells over the period, at a moment of its loop; `carried` is the way over the whole loop, in cells.
    pub fn new(seed: u64, cells: usize, moment: &Moment, carried: f64) -> PeriodicNoise1d {
        let own = PeriodicNoise1d::table(seed, cells, moment, carried);
        if moment.is_rest() {
            return PeriodicNoise1d { table: own };
        }
        // Few cells strike no mean: it is held to that at rest, so that the loop doesn't pump.
        let rest = PeriodicNoise1d::table(seed, cells, &Moment::REST, 0.0);
        let mean = |table: &[f32]| table.iter().copied().map(f64::from).sum::<f64>() / table.len() as f64;
        let off = (mean(&rest) - mean(&own)) as f32;
        PeriodicNoise1d { table: own.into_iter().map(|value| value + off).collect() }
    }

    fn table(seed: u64, cells: usize, moment: &Moment, carried: f64) -> Vec<f32> {
        let slow = Octave::new(seed, "slow", cells, 1, moment, carried);
        let quick = Octave::new(seed, "quick", cells, 2, moment, carried);
        let sample = |at: usize| {
            let u = at as f64 / PER_CELL as f64;
            let value = WEIGHTS[0] * slow.sample(u) + WEIGHTS[1] * quick.sample(u);
            // Compressed into -1..1 without a corner.
            (value / libm::sqrt(1.0 + value * value)) as f32
        };
        (0..cells * PER_CELL).map(sample).collect()
    }

    /// The noise at `place`, a share of the period.
    pub fn sample(&self, place: f64) -> f64 {
        let count = self.table.len();
        let position = place * count as f64;
        let base = position.floor();
        let weights = upsample::catmull_rom(position - base);
        (0..4_i64)
            .map(|tap| {
                let at = (base as i64 + tap - 1).rem_euclid(count as i64) as usize;
                f64::from(weights[tap as usize]) * f64::from(self.table[at])
            })
            .sum()
    }
}

/// One octave: a sum of noises that are carried along.
struct Octave {
    hasher: PeriodicHasher,
    /// Their weights and how far each has been carried, in cells of the first octave.
    parts: Vec<(f64, f64)>,
    factor: f64,
}

impl Octave {
    /// `factor` times `cells` cells over the period.
    fn new(seed: u64, label: &str, cells: usize, factor: usize, moment: &Moment, carried: f64) -> Octave {
        let hasher = PeriodicHasher::new(seed::derive(seed, label), cells * factor);
        let parts =
            moment.phases().map(|phase| (phase.weight, carried * phase.age + cells as f64 * phase.apart));
        Octave { hasher, parts: parts.collect(), factor: factor as f64 }
    }

    fn sample(&self, u: f64) -> f64 {
        let parts = self.parts.iter().map(|(weight, carried)| {
            let place = [(u - carried) * self.factor + LINE[0], LINE[1]];
            weight * perlin_2d(place.into(), &self.hasher)
        });
        parts.sum()
    }
}

/// A slow noise over the plane, periodic in x, within -1..1.
pub struct PeriodicNoise2d {
    cols: usize,
    rows: usize,
    first_row: f64,
    /// The sample that a row begins with, and how far into it.
    begin: (usize, f32),
    table: Vec<f32>,
}

impl PeriodicNoise2d {
    /// Noise of `across` cells over the period and for every v in `from..=to`, in cells.
    pub fn new(seed: u64, across: usize, from: f64, to: f64) -> PeriodicNoise2d {
        let cols = across * PER_CELL;
        // On a multiple of the table's step, so that the same place is read alike whatever the sheet's height.
        let first_row = (from * PER_CELL as f64).floor() / PER_CELL as f64 - 2.0 / PER_CELL as f64;
        let rows = ((to - first_row) * PER_CELL as f64).ceil() as usize + 4;
        let mut table = vec![0.0; cols * rows];
        // Rows of one cell have their lattice points in common, so that few are hashed twice.
        threads::each_part(&mut table, cols * PER_CELL, 1, |lattice: &mut LatticeRows, cell, rows| {
            for (row, samples) in (cell * PER_CELL..).zip(rows.chunks_mut(cols)) {
                let v = first_row + row as f64 / PER_CELL as f64;
                lattice.find(seed, across, v.floor() as i64);
                vectorize(
                    #[inline(always)]
                    || lattice.row(v - v.floor(), samples),
                );
            }
        });
        PeriodicNoise2d { cols, rows, first_row, begin: (0, 0.0), table }
    }

    /// The same, so many cells farther right.
    pub fn carried(self, cells: f64) -> PeriodicNoise2d {
        let begin = (-cells * PER_CELL as f64).rem_euclid(self.cols as f64);
        let whole = begin.floor();
        PeriodicNoise2d { begin: (whole as usize % self.cols, (begin - whole) as f32), ..self }
    }

    /// Bytes of the table of `across` cells by `height`.
    pub fn bytes(across: f64, height: f64) -> f64 {
        let per_cell = PER_CELL as f64;
        size_of::<f32>() as f64 * across * per_cell * (height * per_cell + 7.0)
    }

    /// Writes the noise along the row at height `v` (cells), at `out.len()` places evenly over the period.
    #[cfg_attr(feature = "simd", inline(always))]
    pub fn row(&self, v: f64, out: &mut [f32]) {
        let ratio = self.cols as f32 / out.len() as f32;
        let line = self.line(v, self.begin.0);
        if ratio * (TOGETHER as f32) < 1.0 || self.cols as f32 >= TRUNCATE_MAX {
            self.by_samples(&line, ratio, out);
        } else {
            self.by_places(&line, ratio, out);
        }
    }

    /// Writes a row of which many places lie between two samples: by one cubic for all of those.
    #[inline(always)]
    fn by_samples(&self, line: &[f32], ratio: f32, out: &mut [f32]) {
        let into = self.begin.1;
        let mut from = 0;
        for base in 0..=self.cols {
            let past = (base + 1) as f32;
            let mut to = (((past - into) / ratio - 0.5).max(0.0) as usize).clamp(from, out.len());
            while to > from && position(to - 1, ratio) + into >= past {
                to -= 1;
            }
            while to < out.len() && (base == self.cols || position(to, ratio) + into < past) {
                to += 1;
            }
            let taps: [f32; 4] = *line[base..].first_chunk().unwrap_or(&[0.0; 4]);
            let base = base as f32;
            for (at, value) in (from as i32..).zip(&mut out[from..to]) {
                *value = cubic(taps, (at as f32 + 0.5) * ratio + into - base);
            }
            from = to;
        }
    }

    /// Writes a row of which few places lie between two samples: by a cubic for each.
    #[inline(always)]
    fn by_places(&self, line: &[f32], ratio: f32, out: &mut [f32]) {
        let (into, last) = (self.begin.1, self.cols);
        let mut first = 0;
        for out in out.chunks_mut(TOGETHER) {
            let (mut taps, mut t) = ([[0.0_f32; TOGETHER]; 4], [0.0_f32; TOGETHER]);
            for at in 0..out.len() {
                let place = position(first + at, ratio) + into;
                let base = (truncate(place) as usize).min(last);
                let own: &[f32; 4] = line[base..].first_chunk().unwrap_or(&[0.0; 4]);
                for (taps, own) in taps.iter_mut().zip(own) {
                    taps[at] = *own;
                }
                t[at] = place - base as f32;
            }
            let mut values = [0.0; TOGETHER];
            for at in 0..TOGETHER {
                values[at] = cubic([taps[0][at], taps[1][at], taps[2][at], taps[3][at]], t[at]);
            }
            out.copy_from_slice(&values[..out.len()]);
            first += TOGETHER;
        }
    }

    /// The table's samples at height `v` from the sample `first` on, padded by one before and three behind, as they wrap.
    #[inline(always)]
    fn line(&self, v: f64, first: usize) -> Vec<f32> {
        let position = (v - self.first_row) * PER_CELL as f64;
        let base = position.floor().clamp(1.0, (self.rows - 3) as f64);
        let weights = upsample::catmull_rom((position - base).clamp(0.0, 1.0));
        let mut line = vec![0.0_f32; self.cols + 4];
        for (tap, weight) in weights.iter().enumerate() {
            let start = (base as usize + tap - 1) * self.cols;
            let (tail, head) = self.table[start..start + self.cols].split_at(first);
            let (before, behind) = line[1..=self.cols].split_at_mut(head.len());
            for (sums, values) in [(before, head), (behind, tail)] {
                sums.iter_mut().zip(values).for_each(|(sum, value)| *sum += weight * value);
            }
        }
        line[0] = line[self.cols];
        for past in 0..3 {
            line[self.cols + 1 + past] = line[1 + past % self.cols];
        }
        line
    }
}

/// Places that are worked out together.
const TOGETHER: usize = 8;

/// Catmull and Rom's cubic through four samples, at `t` (0..1) between the second and the third, by Horner's rule.
#[inline(always)]
fn cubic(taps: [f32; 4], t: f32) -> f32 {
    let slope = taps[2] - taps[0];
    let curve = 2.0 * taps[0] - 5.0 * taps[1] + 4.0 * taps[2] - taps[3];
    let twist = taps[3] - taps[0] + 3.0 * (taps[1] - taps[2]);
    taps[1] + 0.5 * t * (slope + t * (curve + t * twist))
}

/// Two rows of lattice points, one below the other: the signs of their gradients along x and y.
#[derive(Default)]
struct LatticeRows {
    at: Option<i64>,
    points: [Vec<[f64; 2]>; 2],
}

impl LatticeRows {
    /// Finds the rows `at` and `at + 1` of a lattice that repeats after `across` cells.
    fn find(&mut self, seed: u64, across: usize, at: i64) {
        if self.at == Some(at) {
            return;
        }
        self.at = Some(at);
        let hasher = PeriodicHasher::new(seed, across);
        for (points, y) in self.points.iter_mut().zip(at..) {
            points.clear();
            points.extend((0..=across).map(|x| {
                let hash = hasher.hash(&[x as isize, y as isize]);
                [1, 2].map(|bit| if hash & bit == 0 { 1.0 } else { -1.0 })
            }));
        }
    }

    /// Writes the noise `y` (0..1) below the upper row, [`PER_CELL`] samples a cell: what `noise::core::perlin::perlin_2d` gives there, to
    /// the bit, by one cell's gradients for all of its samples.
    #[inline(always)]
    fn row(&self, y: f64, samples: &mut [f32]) {
        let slope = |[along, across]: [f64; 2], x: f64, y: f64| along * x + across * y;
        let down = quintic(y);
        let mut places = [[0.0; 2]; PER_CELL];
        for (at, [x, share]) in places.iter_mut().enumerate() {
            *x = at as f64 / PER_CELL as f64;
            *share = quintic(*x);
        }
        let [above, below] = self.points.each_ref().map(|points| points.windows(2));
        let cells = samples.as_chunks_mut::<PER_CELL>().0;
        for (samples, pairs) in cells.iter_mut().zip(above.zip(below)) {
            let (&[above, above_next], &[below, below_next]) = pairs else { continue };
            for (sample, [x, share]) in samples.iter_mut().zip(places) {
                let left = linear(slope(above, x, y), slope(below, x, y - 1.0), down);
                let right = linear(slope(above_next, x - 1.0, y), slope(below_next, x - 1.0, y - 1.0), down);
                let value = linear(left, right, share) * SCALE;
                *sample = value.clamp(-1.0, 1.0) as f32;
            }
        }
    }
}

/// What brings gradient noise in the plane to -1..1.
const SCALE: f64 = 2.0 / std::f64::consts::SQRT_2;

/// Perlin's curve from 0 to 1 without a kink at its ends (2002).
#[inline(always)]
fn quintic(t: f64) -> f64 {
    t * t * t * (t * (t * 6.0 - 15.0) + 10.0)
}

#[inline(always)]
fn linear(a: f64, b: f64, share: f64) -> f64 {
    b * share + a * (1.0 - share)
}

/// Where the place `at` lies among the samples of a table of which `ratio` go to a place.
#[inline(always)]
fn position(at: usize, ratio: f32) -> f32 {
    (at as f32 + 0.5) * ratio
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The noise of crate `noise` (Perlin's, 2002) is the reference.
    #[test]
    fn the_table_holds_the_noise_of_the_crate() {
        for (seed, across, from, to) in [(1, 1, -0.3, 0.2), (2, 5, -3.7, 9.1), (3, 12, 40.0, 44.0)] {
            let noise = PeriodicNoise2d::new(seed, across, from, to);
            let hasher = PeriodicHasher::new(seed, across);
            for (at, value) in noise.table.iter().enumerate() {
                let [col, row] = [at % noise.cols, at / noise.cols].map(|at| at as f64 / PER_CELL as f64);
                let want = perlin_2d([col, noise.first_row + row].into(), &hasher) as f32;
                assert_eq!(*value, want, "{seed}: {at}");
            }
        }
    }

    #[test]
    fn places_are_read_alike_however_many_there_are() {
        let noise = PeriodicNoise2d::new(7, 6, -2.0, 3.0).carried(1.234);
        let line = noise.line(0.77, noise.begin.0);
        for count in [5, 48, 50, 333, 1000] {
            let ratio = noise.cols as f32 / count as f32;
            let (mut one, mut other) = (vec![0.0; count], vec![0.0; count]);
            noise.by_samples(&line, ratio, &mut one);
            noise.by_places(&line, ratio, &mut other);
            assert_eq!(one, other, "{count}");
        }
    }
}

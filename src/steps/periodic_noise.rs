//! Slow periodic noise, for warp, breath and sway: few points, so crate `noise` serves as it is, on a hasher that wraps.

use crate::base::seed;
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
        let hasher = PeriodicHasher::new(seed, across);
        let cols = across * PER_CELL;
        // On a multiple of the table's step, so that the same place is read alike whatever the sheet's height.
        let first_row = (from * PER_CELL as f64).floor() / PER_CELL as f64 - 2.0 / PER_CELL as f64;
        let rows = ((to - first_row) * PER_CELL as f64).ceil() as usize + 4;
        let mut table = Vec::with_capacity(cols * rows);
        for row in 0..rows {
            let v = first_row + row as f64 / PER_CELL as f64;
            for col in 0..cols {
                table.push(perlin_2d([col as f64 / PER_CELL as f64, v].into(), &hasher) as f32);
            }
        }
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
    #[inline(always)]
    pub fn row(&self, v: f64, out: &mut [f32]) {
        let ratio = self.cols as f32 / out.len() as f32;
        let (first, into) = self.begin;
        let line = self.line(v, first);
        let mut from = 0;
        for base in 0..=self.cols {
            // The places between two samples of the table, all by one cubic: Catmull-Rom by Horner's rule.
            let past = (base + 1) as f32;
            let mut to = (((past - into) / ratio - 0.5).max(0.0) as usize).clamp(from, out.len());
            while to > from && position(to - 1, ratio) + into >= past {
                to -= 1;
            }
            while to < out.len() && (base == self.cols || position(to, ratio) + into < past) {
                to += 1;
            }
            let taps: &[f32; 4] = line[base..].first_chunk().unwrap_or(&[0.0; 4]);
            let slope = taps[2] - taps[0];
            let curve = 2.0 * taps[0] - 5.0 * taps[1] + 4.0 * taps[2] - taps[3];
            let twist = taps[3] - taps[0] + 3.0 * (taps[1] - taps[2]);
            for (at, value) in (from..to).zip(&mut out[from..to]) {
                let t = position(at, ratio) + into - base as f32;
                *value = taps[1] + 0.5 * t * (slope + t * (curve + t * twist));
            }
            from = to;
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
            for (sum, value) in line[1..].iter_mut().zip(head.iter().chain(tail)) {
                *sum += weight * value;
            }
        }
        line[0] = line[self.cols];
        for past in 0..3 {
            line[self.cols + 1 + past] = line[1 + past % self.cols];
        }
        line
    }
}

/// Where the place `at` lies among the samples of a table of which `ratio` go to a place.
#[inline(always)]
fn position(at: usize, ratio: f32) -> f32 {
    (at as f32 + 0.5) * ratio
}

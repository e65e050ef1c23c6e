//! Slow periodic noise along the travel, for breath and sway: few points, so crate `noise` serves as it is, on a hasher that wraps.

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

//! The cut from layered noise to gaps and fog: a smoothstep over the noise, whose distribution is taken as normal.

use crate::base::interpolate::lerp;
use crate::base::simd::vectorize;
use crate::base::threads;
use std::sync::LazyLock;

/// Half the edge's width at contrast 0, in deviations of the noise; and what is left of it at contrast 1. Chosen by eye.
const HALF_WIDTH: f64 = 2.2;
const HALF_WIDTH_MIN: f64 = 0.03;

/// Half the width of the narrowest edge, in samples; chosen by eye.
const HALF_WIDTH_SAMPLES: f64 = 0.8;

/// A smoothstep of half width w has a slope (as a distribution) of variance w^2 / 5.
const SQUARE_PER_VARIANCE: f64 = 5.0;
/// Lost variance up to this share of the half width squared only widens the edge; more also bends it. Chosen by eye.
const WIDENS: f64 = 0.04;

/// How far a table reaches to each side, deviations of the noise: all of a normal distribution but 1e-15.
const TABLE_REACH: f32 = 8.0;
/// Samples of a table to a deviation; with lines between them.
const TABLE_FINENESS: f32 = 128.0;

/// Least mean density that is scaled up to 1.
const MEAN_MIN: f64 = 1e-3;

/// Half the width of the edge between gaps and fog, in deviations of the noise.
pub(super) fn half_width(contrast: f64) -> f64 {
    HALF_WIDTH * (1.0 - contrast) + HALF_WIDTH_MIN
}

/// The cut from layered noise (mean 0, deviation 1) to density with mean 1.
pub(super) struct Edge {
    /// The noise at which density begins, and one over the edge's width.
    from: f32,
    per_width: f32,
    scale: f32,
    /// Where much was lost: densities from -[`TABLE_REACH`] to [`TABLE_REACH`] deviations.
    table: Vec<f32>,
}

impl Edge {
    /// `lost` is the variance of the octaves that were left out: the blur spreads the edge by as much. `change` is the mean square of
    /// how much the noise changes from sample to sample: an edge narrower than that falls between samples, and is given this width.
    pub fn new(coverage: f64, contrast: f64, lost: f64, change: f64) -> Edge {
        let middle = -normal_quantile(coverage);
        let half = half_width(contrast);
        // The same scale on every grid.
        let reference = Edge::plain(middle, half, 1.0);
        let mean = normal_mean(|noise| f64::from(reference.density(noise as f32)));
        let scale = (1.0 / mean.max(MEAN_MIN)) as f32;
        let half = half.max(HALF_WIDTH_SAMPLES * libm::sqrt(change));
        if SQUARE_PER_VARIANCE * lost < WIDENS * half * half {
            return Edge::plain(middle, libm::sqrt(half * half + SQUARE_PER_VARIANCE * lost), scale);
        }
        let edge = Edge::plain(middle, half, 1.0);
        let table = edge.spread(libm::sqrt(lost));
        Edge { table, scale, ..edge }
    }

    fn plain(middle: f64, half: f64, scale: f32) -> Edge {
        Edge { from: (middle - half) as f32, per_width: (0.5 / half) as f32, scale, table: Vec::new() }
    }

    /// The densities of a plain edge as `deviation` of the noise, spread over the normal distribution, leaves them: a table.
    fn spread(&self, deviation: f64) -> Vec<f32> {
        const SIDE: usize = 8;
        let mut table = vec![0.0; (2.0 * TABLE_REACH * TABLE_FINENESS) as usize + 1];
        threads::each_part(&mut table, SIDE, 32, |(), part, samples| {
            vectorize(
                #[inline(always)]
                || {
                    let noise: [f64; SIDE] = std::array::from_fn(|at| {
                        f64::from((part * SIDE + at) as f32 / TABLE_FINENESS - TABLE_REACH)
                    });
                    let means = normal_means(
                        #[inline(always)]
                        |lost| {
                            // Not by `map`, which isn't inlined.
                            let mut densities = [0.0; SIDE];
                            for (density, noise) in densities.iter_mut().zip(noise) {
                                *density = f64::from(self.density((noise + deviation * lost) as f32));
                            }
                            densities
                        },
                    );
                    samples.iter_mut().zip(means).for_each(|(sample, mean)| *sample = mean as f32);
                },
            );
        });
        table
    }

    /// Noise to density, in place.
    #[inline(always)]
    pub fn cut(&self, numbers: &mut [f32]) {
        // Two loops, so that the plain one runs several numbers at once.
        if self.table.is_empty() {
            numbers.iter_mut().for_each(|number| *number = self.density(*number));
        } else {
            numbers.iter_mut().for_each(|number| *number = self.table_density(*number));
        }
    }

    /// How much the density rises for a deviation of the noise: root mean square over the noise, of the plain edge.
    pub fn slope(&self) -> f64 {
        libm::sqrt(normal_mean(|noise| {
            let t = self.share(noise as f32);
            f64::from(6.0 * self.scale * self.per_width * t * (1.0 - t)).powi(2)
        }))
    }

    /// How much of the edge lies below this noise, 0..1.
    #[inline(always)]
    fn share(&self, noise: f32) -> f32 {
        ((noise - self.from) * self.per_width).clamp(0.0, 1.0)
    }

    #[inline(always)]
    fn density(&self, noise: f32) -> f32 {
        let t = self.share(noise);
        // A smoothstep; in single precision, and scaled first.
        self.scale * t * t * (3.0 - 2.0 * t)
    }

    #[inline(always)]
    fn table_density(&self, noise: f32) -> f32 {
        let place =
            ((noise + TABLE_REACH) * TABLE_FINENESS).clamp(0.0, 2.0 * TABLE_REACH * TABLE_FINENESS - 1.0);
        let at = place as usize;
        self.scale * lerp(self.table[at], self.table[at + 1], place - at as f32)
    }
}

/// The mean of `value` over the normal distribution, by the midpoint rule over +-6 deviations.
fn normal_mean(value: impl Fn(f64) -> f64) -> f64 {
    normal_means(|noise| [value(noise)])[0]
}

/// The same of several values side by side.
#[inline(always)]
fn normal_means<const SIDE: usize>(values: impl Fn(f64) -> [f64; SIDE]) -> [f64; SIDE] {
    const STEPS: usize = 600;
    const WIDTH: f64 = 0.02;
    // Places and the distribution there: tables of edges ask for them thousands of times.
    static NORMAL: LazyLock<[(f64, f64); STEPS]> = LazyLock::new(|| {
        std::array::from_fn(|at| {
            let n = (at as f64 + 0.5) * WIDTH - 6.0;
            (n, libm::exp(-0.5 * n * n))
        })
    });
    let mut sums = [0.0; SIDE];
    for (n, weight) in NORMAL.iter() {
        for (sum, value) in sums.iter_mut().zip(values(*n)) {
            *sum += value * weight * WIDTH;
        }
    }
    sums.map(|sum| sum / libm::sqrt(std::f64::consts::TAU))
}

/// The value below which the share `p` of the normal distribution lies; by bisection of the error function.
fn normal_quantile(p: f64) -> f64 {
    let (mut low, mut high) = (-8.0, 8.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if 0.5 * libm::erfc(-middle / std::f64::consts::SQRT_2) < p {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

//! Slow noise over the plane, periodic in x: Perlin's "Improving noise" (2002), with four gradients, as crate `noise` has it.
//!
//! Within a row of lattice cells, noise is a polynomial of the height in its cell, y, with the fade of y: at each place
//! a + b y + fade(y) (c + d y). A place's four numbers serve all rows that are drawn within the cells.

use crate::base::interpolate::lerp;
use crate::steps::periodic_noise::PeriodicHasher;
use noise::permutationtable::NoiseHasher;

/// A slow noise, within -1..1.
pub struct SlowNoise {
    hasher: PeriodicHasher,
    /// Cells over the period.
    across: usize,
    /// How far it was carried to the right, in cells.
    carried: f64,
}

/// What is kept of one noise from row to row.
#[derive(Default)]
pub struct Kept {
    /// The row of cells that was drawn last.
    at: Option<i64>,
    /// Of each place: its cell, how far it is into that, and the fade of it.
    places: Vec<(u32, f32, f32)>,
    /// The signs of the gradients along x and y over and under the cells, from one cell's left to the last one's right.
    gradients: [Vec<[f32; 2]>; 2],
    /// Of each place.
    parts: [Vec<f32>; 4],
}

impl SlowNoise {
    /// Noise of `across` cells over the period.
    pub fn new(seed: u64, across: usize) -> SlowNoise {
        SlowNoise { hasher: PeriodicHasher::new(seed, across), across, carried: 0.0 }
    }

    /// The same, so many cells farther right.
    pub fn carried(self, cells: f64) -> SlowNoise {
        SlowNoise { carried: cells, ..self }
    }

    /// Writes the noise along the row at height `v` (cells), at `out.len()` places evenly over the period.
    #[cfg_attr(feature = "simd", inline(always))]
    pub fn row(&self, v: f64, kept: &mut Kept, out: &mut [f32]) {
        let at = v.floor();
        if kept.places.len() != out.len() {
            *kept = Kept { places: self.places(out.len()), ..Kept::default() };
        }
        if kept.at != Some(at as i64) {
            kept.at = Some(at as i64);
            self.enter(kept);
        }
        let y = (v - at) as f32;
        let (fade, [a, b, c, d]) = (fade(y), kept.parts.each_ref().map(|part| &part[..out.len()]));
        for ((((out, a), b), c), d) in out.iter_mut().zip(a).zip(b).zip(c).zip(d) {
            *out = (a + b * y + fade * (c + d * y)).clamp(-1.0, 1.0);
        }
    }

    /// So many places over the period.
    fn places(&self, count: usize) -> Vec<(u32, f32, f32)> {
        let across = self.across as f64;
        let place = |at: usize| {
            let u = ((at as f64 + 0.5) * across / count as f64 - self.carried).rem_euclid(across);
            // A remainder may round up to all.
            let cell = u.floor().min(across - 1.0);
            let x = (u - cell) as f32;
            (cell as u32, x, fade(x))
        };
        (0..count).map(place).collect()
    }

    /// Works out the parts of the row of cells that `kept` is at.
    #[inline(always)]
    fn enter(&self, kept: &mut Kept) {
        let Kept { at, places, gradients, parts } = kept;
        for (gradients, row) in gradients.iter_mut().zip(at.unwrap_or_default()..) {
            gradients.clear();
            gradients.extend((0..=self.across).map(|col| self.gradient(col, row)));
        }
        parts.iter_mut().for_each(|part| part.resize(places.len(), 0.0));
        let [of_a, of_b, of_c, of_d] = parts;
        let all = of_a.iter_mut().zip(of_b).zip(of_c).zip(of_d);
        for ((((a, b), c), d), (cell, x, share)) in all.zip(&*places) {
            let [over, under] = gradients.each_ref().map(|row| {
                let pair: &[[f32; 2]; 2] = row[*cell as usize..].first_chunk().unwrap_or(&[[0.0; 2]; 2]);
                let [[left, left_y], [right, right_y]] = pair;
                [lerp(left * x, right * (x - 1.0), *share), lerp(*left_y, *right_y, *share)]
            });
            (*a, *b) = (SCALE * over[0], SCALE * over[1]);
            (*c, *d) = (SCALE * (under[0] - under[1] - over[0]), SCALE * (under[1] - over[1]));
        }
    }

    /// The signs of a lattice point's gradient.
    fn gradient(&self, col: usize, row: i64) -> [f32; 2] {
        let hash = self.hasher.hash(&[col as isize, row as isize]);
        [1, 2].map(|bit| if hash & bit == 0 { 1.0 } else { -1.0 })
    }
}

/// What brings it to -1..1.
const SCALE: f32 = std::f32::consts::SQRT_2;

/// Perlin's quintic (2002): 6 t^5 - 15 t^4 + 10 t^3; value, slope and curvature join at 0 and 1.
#[inline(always)]
pub(super) fn fade(t: f32) -> f32 {
    t * t * t * (t * (t * 6.0 - 15.0) + 10.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use noise::core::perlin::perlin_2d;

    /// The noise of crate `noise` is the reference.
    #[test]
    fn it_is_the_noise_of_the_crate() {
        for (seed, across, carried, count) in
            [(1, 1, 0.0, 7), (2, 5, 0.4, 333), (3, 12, -7.3, 50), (4, 900, 1e3, 1000)]
        {
            let (noise, hasher) =
                (SlowNoise::new(seed, across).carried(carried), PeriodicHasher::new(seed, across));
            let (mut kept, mut out) = (Kept::default(), vec![0.0; count]);
            for v in [-3.7, -3.2, -0.3, 0.0, 0.125, 9.1, 9.9, 40.0, 9.1] {
                noise.row(v, &mut kept, &mut out);
                for (at, value) in out.iter().enumerate() {
                    let u = (at as f64 + 0.5) * across as f64 / count as f64 - carried;
                    let want = perlin_2d([u, v].into(), &hasher);
                    assert!((f64::from(*value) - want).abs() < 2e-6, "{seed}: {at}, {v}: {value} {want}");
                }
            }
        }
    }
}

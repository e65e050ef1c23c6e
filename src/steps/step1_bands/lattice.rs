//! One octave of gradient noise on a lattice that wraps in x.
//!
//! After Perlin, "Improving noise" (2002): quintic fade, zero at every lattice point; but with 64 unit gradients (no axis is
//! favoured, nothing is clipped), and a table of the gradients made once per octave. Crate `noise` with a wrapping hasher
//! took two to two and a half times as long a sample as such a table; where points are few (warp, breath) the crate is used.

use crate::base::interpolate::lerp;
use crate::base::seed;
use crate::base::simd::{TRUNCATE_MAX, truncate};
use crate::steps::slow_noise::fade;

/// Unit gradients, evenly around the circle; a bias of so many isn't seen. Chosen by eye.
const DIRECTIONS: usize = 64;

/// Standard deviation of [`Lattice::samples`] over the plane, measured over 4 million samples.
pub const DEVIATION: f32 = 0.2154;

/// Bytes of a lattice point.
pub(super) const GRADIENT: usize = size_of::<[f32; 4]>();

/// The gradients of one octave.
pub struct Lattice {
    first_col: f32,
    first_row: f32,
    cols: usize,
    /// Gradient of a lattice point and of the one below it, row by row.
    gradients: Vec<[f32; 4]>,
}

impl Lattice {
    /// Gradients for `across` cells over the period, for every u in `-margin..=across + margin` and v in `from..=to`, in cells.
    pub fn new(seed: u64, across: usize, margin: f64, from: f64, to: f64) -> Lattice {
        Lattice::turned(seed, across, margin, [from, to], 0.0)
    }

    /// The same, with every gradient turned by `turns` to the one side or the other. Gradients stay unit vectors, so that the spectrum
    /// is kept.
    ///
    /// After Perlin & Neyret, "Flow noise" (2001).
    pub fn turned(seed: u64, across: usize, margin: f64, [from, to]: [f64; 2], turns: f64) -> Lattice {
        // Every other direction turns the other way.
        let directions: [[f32; 2]; DIRECTIONS] = std::array::from_fn(|at| {
            let turned = if at % 2 == 0 { turns } else { -turns };
            let angle = ((at as f64 + 0.5) / DIRECTIONS as f64 + turned) * std::f64::consts::TAU;
            [libm::cos(angle) as f32, libm::sin(angle) as f32]
        });
        let (first_col, first_row) = (-(margin.ceil() as i64), from.floor() as i64);
        let cols = (across as i64 + margin.ceil() as i64 - first_col + 2) as usize;
        let rows = (to.floor() as i64 - first_row + 1) as usize;
        let mut gradients = Vec::with_capacity(rows * cols);
        for row in first_row..first_row + rows as i64 {
            for col in first_col..first_col + cols as i64 {
                let [[a, b], [c, d]] =
                    [row, row + 1].map(|row| directions[pick(seed, [col, row], across, DIRECTIONS)]);
                gradients.push([a, b, c, d]);
            }
        }
        Lattice { first_col: first_col as f32, first_row: first_row as f32, cols, gradients }
    }

    /// The noise at places (u, v) in cells, which must lie in the ranges asked for; outside them it is some other noise. Repeats after
    /// the period, zero at lattice points, within +-0.7072, mean 0. All three slices have one length: places are looked up one by one,
    /// the arithmetic runs side by side.
    #[inline(always)]
    pub fn samples(&self, u: &[f32], v: &[f32], out: &mut [f32]) {
        for ((u, v), out) in u.chunks(LANES).zip(v.chunks(LANES)).zip(out.chunks_mut(LANES)) {
            let (mut places_u, mut places_v) = ([0.0; LANES], [0.0; LANES]);
            places_u[..u.len()].copy_from_slice(u);
            places_v[..v.len()].copy_from_slice(v);
            let found = self.lanes(&places_u, &places_v);
            out.copy_from_slice(&found[..out.len()]);
        }
    }

    #[inline(always)]
    fn lanes(&self, u: &[f32; LANES], v: &[f32; LANES]) -> [f32; LANES] {
        let (mut x, mut y, mut at) = ([0.0; LANES], [0.0; LANES], [0_i32; LANES]);
        for lane in 0..LANES {
            let (right, down) = (clamped(u[lane] - self.first_col), clamped(v[lane] - self.first_row));
            let (col, row) = (truncate(right), truncate(down));
            (x[lane], y[lane]) = (right - col as f32, down - row as f32);
            at[lane] = row.wrapping_mul(self.cols as i32).wrapping_add(col);
        }
        let last = self.gradients.len() - 2;
        let mut corners = [[0.0; LANES]; 8];
        for lane in 0..LANES {
            let at = (at[lane] as usize).min(last);
            let pair: &[[f32; 4]; 2] = self.gradients[at..].first_chunk().unwrap_or(&[[0.0; 4]; 2]);
            for part in 0..4 {
                corners[part][lane] = pair[0][part];
                corners[4 + part][lane] = pair[1][part];
            }
        }
        let [a, b, c, d, e, f, g, h] = &corners;
        let mut noise = [0.0; LANES];
        for lane in 0..LANES {
            let gradients = [a[lane], b[lane], c[lane], d[lane], e[lane], f[lane], g[lane], h[lane]];
            noise[lane] = within(gradients, x[lane], y[lane]);
        }
        noise
    }
}

/// The noise at (x, y) of a cell with these gradients: of its upper and lower corner on the left, then on the right.
#[inline(always)]
fn within([a, b, c, d, e, f, g, h]: [f32; 8], x: f32, y: f32) -> f32 {
    let (back, up) = (x - 1.0, y - 1.0);
    let fade_x = fade(x);
    let top = lerp(a * x + b * y, e * back + f * y, fade_x);
    let foot = lerp(c * x + d * up, g * back + h * up, fade_x);
    lerp(top, foot, fade(y))
}

/// Which of `count` choices falls to a lattice point.
fn pick(seed: u64, [col, row]: [i64; 2], across: usize, count: usize) -> usize {
    (seed::hash(seed, col.rem_euclid(across as i64), row) >> 32) as usize % count
}

/// Places worked on side by side.
const LANES: usize = 8;

/// A place among the cells, clamped to what [`truncate`] takes.
#[inline(always)]
fn clamped(place: f32) -> f32 {
    place.clamp(0.0, TRUNCATE_MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sample(lattice: &Lattice, u: f32, v: f32) -> f32 {
        let mut noise = [0.0];
        lattice.samples(&[u], &[v], &mut noise);
        noise[0]
    }

    #[test]
    fn fade_of_improved_noise() {
        // Perlin 2002, values of the quintic.
        assert_eq!(fade(0.25), 0.103_515_625);
        assert_eq!(fade(0.5), 0.5);
        assert_eq!(fade(0.75), 0.896_484_4);
    }

    #[test]
    fn zero_at_lattice_points_and_bounded() {
        // Perlin 2002: zero at every lattice point; bound for unit gradients in two dimensions: sqrt(2)/2.
        let lattice = Lattice::new(7, 13, 0.0, -3.0, 9.0);
        let mut most = 0.0_f32;
        for row in -3..=9 {
            for col in 0..13 {
                assert_eq!(sample(&lattice, col as f32, row as f32), 0.0);
            }
        }
        for at in 0..200_000 {
            let (u, v) = (seed::uniform(at) * 13.0, seed::uniform(at + 1_000_000) * 12.0 - 3.0);
            most = most.max(sample(&lattice, u as f32, v as f32).abs());
        }
        assert!(most > 0.5 && most <= std::f32::consts::FRAC_1_SQRT_2, "{most}");
    }

    #[test]
    fn turned_gradients_keep_the_deviation() {
        let [plain, turned] = [0.0, 0.25].map(|turns| Lattice::turned(5, 200, 0.0, [0.0, 200.0], turns));
        assert_eq!(plain.gradients, Lattice::new(5, 200, 0.0, 0.0, 200.0).gradients);
        let count = 100_000;
        let (mut squares, mut product) = (0.0_f64, 0.0_f64);
        for at in 0..count {
            let (u, v) = ((seed::uniform(2 * at) * 200.0) as f32, (seed::uniform(2 * at + 1) * 199.0) as f32);
            let (after, before) = (f64::from(sample(&turned, u, v)), f64::from(sample(&plain, u, v)));
            squares += after * after;
            product += after * before;
        }
        let deviation = (squares / count as f64).sqrt();
        assert!((deviation - f64::from(DEVIATION)).abs() < 0.006, "{deviation}");
        // A quarter of a turn is neither itself nor its own negative.
        assert!((product / squares).abs() < 0.2, "{}", product / squares);
    }

    #[test]
    fn many_at_once_are_the_same() {
        let lattice = Lattice::new(3, 17, 2.0, -2.0, 9.0);
        let place = |at: u64, over: f64| (seed::uniform(at) * over) as f32;
        for count in [0, 1, 31, 32, 33, 200] {
            let u: Vec<f32> = (0..count).map(|at| place(at, 20.0) - 1.5).collect();
            let v: Vec<f32> = (0..count).map(|at| place(at + 1000, 10.9) - 2.0).collect();
            let mut got = vec![0.0; count as usize];
            lattice.samples(&u, &v, &mut got);
            for ((u, v), got) in u.iter().zip(&v).zip(got) {
                assert_eq!(got, sample(&lattice, *u, *v), "at {u}, {v}");
            }
        }
    }

    #[test]
    fn deviation_is_as_stated() {
        let lattice = Lattice::new(99, 400, 0.0, 0.0, 400.0);
        let (mut sum, mut squares) = (0.0_f64, 0.0_f64);
        let count = 400_000;
        for at in 0..count {
            let value = f64::from(sample(
                &lattice,
                (seed::uniform(2 * at) * 400.0) as f32,
                (seed::uniform(2 * at + 1) * 399.0) as f32,
            ));
            sum += value;
            squares += value * value;
        }
        let deviation = (squares / count as f64).sqrt();
        assert!((deviation - f64::from(DEVIATION)).abs() < 0.003, "{deviation}");
        assert!((sum / count as f64).abs() < 0.003);
    }
}

//! One octave of gradient noise on a lattice that wraps in x.
//!
//! After Perlin, "Improving noise" (2002): quintic fade, zero at every lattice point; but with 64 unit gradients (no axis is
//! favoured, nothing is clipped), and a table of the gradients made once per octave. Crate `noise` evaluates the same octave in
//! 19 ns a sample with a wrapping hasher, this table in 4 ns; where points are few (warp, breath, cells) the crate is used.

use crate::seed;

const DIRECTIONS: usize = 64;

/// Standard deviation of [`Lattice::sample`] over the plane, measured over 4 million samples.
pub const DEVIATION: f32 = 0.2154;

/// The gradients of one octave.
pub struct Lattice {
    /// Cells over one period.
    pub across: usize,
    first_row: i64,
    rows: usize,
    gradients: Vec<[f32; 2]>,
}

impl Lattice {
    /// Gradients for `across` cells over the period and for every v in `from..=to`, in cells.
    pub fn new(seed: u64, across: usize, from: f64, to: f64) -> Lattice {
        let directions: [[f32; 2]; DIRECTIONS] = std::array::from_fn(|at| {
            let angle = (at as f64 + 0.5) * std::f64::consts::TAU / DIRECTIONS as f64;
            [libm::cos(angle) as f32, libm::sin(angle) as f32]
        });
        let first_row = from.floor() as i64;
        let rows = (to.floor() as i64 - first_row + 2) as usize;
        let mut gradients = Vec::with_capacity(rows * (across + 1));
        for row in 0..rows as i64 {
            for col in 0..=across {
                let hash = seed::at(seed, (col % across) as i64, first_row + row);
                gradients.push(directions[(hash >> 32) as usize % DIRECTIONS]);
            }
        }
        Lattice { across, first_row, rows, gradients }
    }

    /// The noise at (u, v) in cells; u of any size wraps, v is held inside the range that was asked for. Zero at lattice points,
    /// within +-0.7072, mean 0.
    #[inline]
    pub fn sample(&self, u: f32, v: f32) -> f32 {
        let across = self.across as f32;
        let mut u = u;
        if u < 0.0 || u >= across {
            u -= (u / across).floor() * across;
        }
        let col = (u as usize).min(self.across - 1);
        let down = v - self.first_row as f32;
        let row = (down.max(0.0) as usize).min(self.rows - 2);
        let (x, y) = (u - col as f32, down - row as f32);
        let above = row * (self.across + 1) + col;
        let below = above + self.across + 1;
        let dot = |gradient: [f32; 2], x: f32, y: f32| gradient[0] * x + gradient[1] * y;
        let (fade_x, fade_y) = (fade(x), fade(y));
        let left_top = dot(self.gradients[above], x, y);
        let right_top = dot(self.gradients[above + 1], x - 1.0, y);
        let left_foot = dot(self.gradients[below], x, y - 1.0);
        let right_foot = dot(self.gradients[below + 1], x - 1.0, y - 1.0);
        let top = left_top + (right_top - left_top) * fade_x;
        let foot = left_foot + (right_foot - left_foot) * fade_x;
        top + (foot - top) * fade_y
    }
}

/// Perlin's quintic: 6 t^5 - 15 t^4 + 10 t^3; value, slope and curvature join at 0 and 1.
#[inline]
fn fade(t: f32) -> f32 {
    t * t * t * (t * (t * 6.0 - 15.0) + 10.0)
}

#[cfg(test)]
mod tests {
    use super::*;

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
        let lattice = Lattice::new(7, 13, -3.0, 9.0);
        let mut most = 0.0_f32;
        for row in -3..=9 {
            for col in 0..13 {
                assert_eq!(lattice.sample(col as f32, row as f32), 0.0);
            }
        }
        for at in 0..200_000 {
            let (u, v) = (seed::unit(at) * 13.0, seed::unit(at + 1_000_000) * 12.0 - 3.0);
            most = most.max(lattice.sample(u as f32, v as f32).abs());
        }
        assert!(most > 0.5 && most <= std::f32::consts::FRAC_1_SQRT_2, "{most}");
    }

    #[test]
    fn deviation_is_as_stated() {
        let lattice = Lattice::new(99, 400, 0.0, 400.0);
        let (mut sum, mut squares) = (0.0_f64, 0.0_f64);
        let count = 400_000;
        for at in 0..count {
            let value = f64::from(
                lattice.sample((seed::unit(2 * at) * 400.0) as f32, (seed::unit(2 * at + 1) * 399.0) as f32),
            );
            sum += value;
            squares += value * value;
        }
        let deviation = (squares / count as f64).sqrt();
        assert!((deviation - f64::from(DEVIATION)).abs() < 0.003, "{deviation}");
        assert!((sum / count as f64).abs() < 0.003);
    }
}

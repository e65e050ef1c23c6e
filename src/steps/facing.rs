//! How a field faces the light: its sides, by the fog that light goes through.

use crate::base::exp::exp_neg;
use crate::steps::grid::{Grid, Plane};

/// How much each place of a field on `grid` faces the light, -1..1: by how much thinner the fog is toward the light than away from it,
/// as light sees thickness, falling off by the exponential of what it goes through. So a shoulder is bright, what lies under other fog
/// is in shade, and deep inside it's neither. It goes by what is seen of the density through some optical depth: `seen` are its
/// opacities, `whole` is that of density 1. Thin fog shows the density itself; in thick fog only its outside shows, and what goes on
/// within mustn't: it would read as marble. `light` in degrees (0 right, 90 above), `reach` how far light goes, in texels along x and y.
pub fn facing(seen: &Plane, whole: f32, grid: &Grid, light: f64, reach: [f64; 2]) -> Plane {
    let turn = light.to_radians();
    let toward = [libm::cos(turn) * reach[0] / grid.step[0], -libm::sin(turn) * reach[1] / grid.step[1]];
    let taps: [[i64; 2]; TAPS] = std::array::from_fn(|at| {
        let far = (at as f64 + 0.7) / (TAPS as f64 - 0.3);
        toward.map(|side| (side * far).round() as i64)
    });
    let (cols, rows) = (grid.cols, grid.rows as i64);
    let per_tap = DARKENING / TAPS as f32 / whole;
    let mut out = Plane::new(cols, grid.rows);
    out.each_row_with(
        #[inline(always)]
        |sums: &mut [Vec<f32>; 2], row, numbers| {
            for (sum, side) in sums.iter_mut().zip([1, -1]) {
                sum.clear();
                sum.resize(cols, 0.0);
                for [right, down] in taps {
                    let source = seen.row((row as i64 + side * down).clamp(0, rows - 1) as usize);
                    let (head, tail) = source.split_at((side * right).rem_euclid(cols as i64) as usize);
                    let (first, last) = sum.split_at_mut(tail.len());
                    first.iter_mut().zip(tail).for_each(|(sum, value)| *sum += value);
                    last.iter_mut().zip(head).for_each(|(sum, value)| *sum += value);
                }
            }
            let [toward, away] = sums;
            let own = seen.row(row);
            for (((number, toward), away), own) in numbers.iter_mut().zip(toward).zip(away).zip(own) {
                let [near, far] = [*toward, *away].map(|sum| exp_neg((per_tap * sum).max(0.0)));
                // What is hardly there has no surface.
                let surface = (SURFACE * *own / whole).clamp(0.0, 1.0);
                let side = FACING_GAIN * surface * (near - far);
                // Held within -1..1 without a corner.
                *number = side / (1.0 + side * side).sqrt();
            }
        },
    );
    out
}

// Chosen by eye.

/// Samples of the fog between a place and as far as light goes.
const TAPS: usize = 8;
/// Optical depth of fog of density 1 over that way.
const DARKENING: f32 = 2.2;
/// How much what is left of light on both sides is stretched.
const FACING_GAIN: f32 = 2.8;
/// One over the share of the whole opacity from which fog has a surface.
const SURFACE: f32 = 3.0;

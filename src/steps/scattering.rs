//! Light of a point source that air scatters toward the eye once: a lamp's glow.
//!
//! After the single scattering of a point source in homogeneous air (Sun, Ramamoorthi, Narasimhan & Nayar: A Practical Analytic Single
//! Scattering Model for Real Time Rendering, SIGGRAPH 2005), with isotropic scattering. Theirs also dims the light on its way from where
//! it is scattered to the eye; here the stack in front does that. So the integral along the ray at angle `g` from the lamp,
//! at distance `D`, is that of b exp(-b r) / (4 pi r^2), r the distance to the lamp. With h = D sin g, the ray's least distance, and
//! t - D cos g = h sinh s, it is b / (4 pi h) (S(b h, inf) + S(b h, asinh(cot g))), where S(u, v) is the integral of
//! exp(-u cosh s) / cosh s over s from 0 to v.

use std::f64::consts::PI;

/// Intervals of Simpson's rule.
const INTERVALS: u32 = 64;
/// Beyond this exponent nothing is left to add.
const FAINTEST: f64 = 40.0;

/// The special function S(u, v): the integral of exp(-u cosh s) / cosh s over s from 0 to `v`, which may be infinite; `u` above 0.
/// S(u, inf) is Bickley's Ki_1(u).
pub fn special(u: f64, v: f64) -> f64 {
    // 1 / cosh s is below 1e-9 from 21 on.
    let end = v.min(21.0).min(libm::acosh(1.0 + FAINTEST / u));
    let step = end / f64::from(INTERVALS);
    let value = |at: u32| {
        let cosh = libm::cosh(f64::from(at) * step);
        libm::exp(-u * cosh) / cosh
    };
    let inner: f64 = (1..INTERVALS).map(|at| if at % 2 == 1 { 4.0 } else { 2.0 } * value(at)).sum();
    step / 3.0 * (value(0) + inner + value(INTERVALS))
}

/// Light scattered toward the eye along a ray at `angle` from a lamp at `distance`: of an intensity of 1, in air of this `extinction`.
/// Angles in radians, above 0 and at most a right one; 1 over a length squared.
pub fn glow(extinction: f64, distance: f64, angle: f64) -> f64 {
    let (sin, cos) = (libm::sin(angle), libm::cos(angle));
    let least = distance * sin;
    let u = extinction * least;
    extinction / (4.0 * PI * least) * (special(u, f64::INFINITY) + special(u, libm::asinh(cos / sin)))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The integral itself along the ray, by the midpoint rule in steps that grow with the distance from the ray's nearest point.
    fn integrated(extinction: f64, distance: f64, angle: f64) -> f64 {
        let (along, least) = (distance * libm::cos(angle), distance * libm::sin(angle));
        let side = |reach: f64| {
            let (mut at, mut sum) = (0.0, 0.0);
            while at < reach {
                let step = (1e-3 * (least + at)).min(reach - at);
                let r = (least * least + (at + step / 2.0) * (at + step / 2.0)).sqrt();
                sum += step * extinction * libm::exp(-extinction * r) / (4.0 * PI * r * r);
                at += step;
            }
            sum
        };
        side(along) + side(40.0 / extinction + 1e4 * least)
    }

    // The paper's integrand, with the way to the eye left to the stack.
    #[test]
    fn the_glow_is_the_integral_at_five_visibilities() {
        for visibility in [100.0, 400.0, 900.0, 3000.0, 9000.0] {
            let extinction = crate::base::law::extinction(visibility);
            for distance in [300.0, 1000.0, 4000.0] {
                for px in [2.0, 16.0, 64.0, 256.0, 700.0] {
                    let angle = libm::atan(px / 640.0);
                    let (found, want) =
                        (glow(extinction, distance, angle), integrated(extinction, distance, angle));
                    assert!(
                        (found / want - 1.0).abs() < 0.01,
                        "{visibility} {distance} {px}: {found} {want}"
                    );
                }
            }
        }
    }

    #[test]
    fn without_extinction_the_special_function_is_the_angle() {
        // The Gudermannian of v; pi / 2 at its end.
        for v in [0.1, 1.0, 3.0] {
            assert!((special(1e-12, v) - 2.0 * libm::atan(libm::tanh(v / 2.0))).abs() < 1e-5, "{v}");
        }
        assert!((special(1e-12, f64::INFINITY) - PI / 2.0).abs() < 1e-5);
    }
}

//! Between two values, straight or eased.

/// Linear interpolation: `a` at 0, `a + (b - a)` at 1.
#[inline(always)]
pub fn lerp(a: f32, b: f32, t: f32) -> f32 {
    a + (b - a) * t
}

/// The cubic 3 t^2 - 2 t^3: from 0 at 0 to 1 at 1, level at both; `t` in 0..1.
#[inline(always)]
pub fn smoothstep(t: f64) -> f64 {
    t * t * (3.0 - 2.0 * t)
}

//! A fast exponential in single precision, the same bits everywhere.

use crate::base::simd::truncate;

/// ln 2 in two parts, the first with bits to spare, so that its multiples and the rest are exact (Cody & Waite, "Software manual for
/// the elementary functions", 1980).
const LN_2_HIGH: f32 = 0.693_359_4;
const LN_2_LOW: f32 = -2.121_944_4e-4;
/// exp(-x) for x from here on is taken as 0: it is below 2e-38, the smallest normal number.
const X_MAX: f32 = 87.0;

/// exp(-x) for x >= 0, within 6e-8 of the true value; 0 from x = 87 on.
///
/// Splits off the power of two, then a polynomial of degree 7 on half a step of ln 2 (Taylor's, whose next term is 5e-9 there).
/// The platform's own isn't the same everywhere, and libm's `expf` isn't vectorised.
#[inline(always)]
pub fn exp_neg(x: f32) -> f32 {
    let x = -x.clamp(0.0, X_MAX);
    let scaled = x * std::f32::consts::LOG2_E;
    // Rounding by truncation: the argument is never positive.
    let power = -truncate(0.5 - scaled);
    let power_f32 = power as f32;
    let rest = (x - power_f32 * LN_2_HIGH) - power_f32 * LN_2_LOW;
    let above = 0.5
        + rest
            * (1.666_666_7e-1
                + rest
                    * (4.166_666_8e-2 + rest * (8.333_334e-3 + rest * (1.388_889e-3 + rest * 1.984_127e-4))));
    // The 1 is added last, so that only one rounding counts.
    let poly = 1.0 + (rest + rest * rest * above);
    let value = poly * f32::from_bits(((power + 127) as u32) << 23);
    if x <= -X_MAX { 0.0 } else { value }
}

/// Opacity of a layer of optical depth `tau`: 1 - exp(-tau); 0 for less than nothing.
#[inline(always)]
pub fn opacity(tau: f32) -> f32 {
    // Below 0 the exponential stands at 1.
    1.0 - exp_neg(tau)
}

#[cfg(test)]
mod tests {
    #[test]
    fn follows_the_exponential() {
        for step in 0..90_000 {
            let x = step as f32 * 0.001;
            let (got, want) = (f64::from(super::exp_neg(x)), libm::exp(-f64::from(x)));
            assert!((got - want).abs() <= 6e-8, "x {x}: {got} for {want}");
        }
        assert_eq!(super::exp_neg(0.0), 1.0);
        assert_eq!(super::exp_neg(f32::INFINITY), 0.0);
    }
}

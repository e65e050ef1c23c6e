//! Loops over numbers, compiled a second time for processors with wider registers (feature `simd`).
//!
//! The arithmetic is the same to the bit: wider registers take more numbers at once, and products and sums stay apart.
//!
//! What draws a whole row is inlined for that alone: without the feature it is compiled once and called (`cfg_attr(feature = "simd", ...)`).

#[cfg(feature = "simd")]
use std::sync::LazyLock;

#[cfg(feature = "simd")]
static ARCH: LazyLock<pulp::Arch> = LazyLock::new(pulp::Arch::new);

/// 2^23: floats from here on have no bits for fractions.
const SHIFT: f32 = 8_388_608.0;

/// The largest number that [`truncate`] takes.
pub const TRUNCATE_MAX: f32 = SHIFT - 1.0;

/// `number` without its fraction; it must be 0 or more and at most [`TRUNCATE_MAX`]. A cast gives the same, but isn't vectorised,
/// since it saturates.
#[inline(always)]
pub fn truncate(number: f32) -> i32 {
    // The sum is rounded to the nearest integer, which then stands in its lowest bits.
    let near = number + SHIFT;
    near.to_bits().wrapping_sub(SHIFT.to_bits()).cast_signed() - i32::from(near - SHIFT > number)
}

/// 1.5 times 2^23: what is added to it loses its fraction, on either side of 0.
const MIDDLE: f32 = 12_582_912.0;

/// The whole number nearest to `number`, the even one of two; it must lie within 2^22 of 0.
#[inline(always)]
pub fn round(number: f32) -> i32 {
    (number + MIDDLE).to_bits().wrapping_sub(MIDDLE.to_bits()).cast_signed()
}

/// Runs `work`, and what is inlined into it, compiled for the widest registers that the processor has.
#[inline]
pub fn vectorize<T>(work: impl FnOnce() -> T) -> T {
    #[cfg(feature = "simd")]
    return ARCH.dispatch(work);
    #[cfg(not(feature = "simd"))]
    work()
}

/// Four numbers, each `share` of the way from `a` to `b`.
#[inline(always)]
pub fn blend(a: [f32; 4], b: [f32; 4], share: f32) -> [f32; 4] {
    // A register by name: left to itself the compiler takes the numbers of several colours apart and puts them together again.
    #[cfg(feature = "simd")]
    {
        let (a, b) = (wide::f32x4::new(a), wide::f32x4::new(b));
        (a + (b - a) * wide::f32x4::splat(share)).to_array()
    }
    #[cfg(not(feature = "simd"))]
    advance(a, std::array::from_fn(|at| b[at] - a[at]), share)
}

/// The same where their difference is known.
#[inline(always)]
pub fn advance(a: [f32; 4], difference: [f32; 4], share: f32) -> [f32; 4] {
    #[cfg(feature = "simd")]
    {
        let [a, difference] = [a, difference].map(wide::f32x4::new);
        (a + difference * wide::f32x4::splat(share)).to_array()
    }
    #[cfg(not(feature = "simd"))]
    std::array::from_fn(|at| a[at] + difference[at] * share)
}

#[cfg(test)]
mod tests {
    use super::{round, truncate};

    #[test]
    fn truncating_is_a_cast() {
        for at in 0..=16_000_000_u32 {
            let number = at as f32 * 0.37;
            assert_eq!(truncate(number), number as i32, "{number}");
            assert_eq!(truncate(at as f32 * 0.5), at.cast_signed() / 2);
        }
        for number in [0.0, f32::MIN_POSITIVE, 0.999_999_94, 1.0, 1.5, 2.5, 8_388_607.0, 8_388_606.5] {
            assert_eq!(truncate(number), number as i32, "{number}");
        }
    }

    #[test]
    fn rounding_is_that_of_the_standard() {
        for at in -4_000_000..=4_000_000 {
            let number = at as f32 * 0.37;
            assert_eq!(round(number), number.round_ties_even() as i32, "{number}");
        }
        for number in [-4_194_304.0, 4_194_303.5, 0.5, -0.5, 1.5, 2.5, -2.5, -0.0] {
            assert_eq!(round(number), f32::round_ties_even(number) as i32, "{number}");
        }
    }
}

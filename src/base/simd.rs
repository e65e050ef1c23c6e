//! Loops over numbers, compiled a second time for processors with wider registers.
//!
//! The arithmetic is the same to the bit: wider registers take more numbers at once, and products and sums stay apart.

use std::sync::LazyLock;

static ARCH: LazyLock<pulp::Arch> = LazyLock::new(pulp::Arch::new);

/// 2^23: numbers from here on have no bits for parts of one.
const SHIFT: f32 = 8_388_608.0;

/// The largest number whose whole part [`whole`] tells for certain.
pub const MOST: f32 = SHIFT - 1.0;

/// The whole part of `number`, which must be 0 or more and below 2^23. Casts give the same, but are taken one by one, since they
/// saturate.
#[inline(always)]
pub fn whole(number: f32) -> i32 {
    // The sum is rounded to the nearest whole number, which then stands in its lowest bits.
    let near = number + SHIFT;
    near.to_bits().wrapping_sub(SHIFT.to_bits()).cast_signed() - i32::from(near - SHIFT > number)
}

/// Runs `work`, and what is inlined into it, with the widest registers that the processor has.
#[inline]
pub fn wide<T>(work: impl FnOnce() -> T) -> T {
    ARCH.dispatch(work)
}

#[cfg(test)]
mod tests {
    use super::whole;

    #[test]
    fn whole_parts_are_those_of_a_cast() {
        for at in 0..=16_000_000_u32 {
            let number = at as f32 * 0.37;
            assert_eq!(whole(number), number as i32, "{number}");
            assert_eq!(whole(at as f32 * 0.5), at.cast_signed() / 2);
        }
        for number in [0.0, f32::MIN_POSITIVE, 0.999_999_94, 1.0, 1.5, 2.5, 8_388_607.0, 8_388_606.5] {
            assert_eq!(whole(number), number as i32, "{number}");
        }
    }
}

//! The floor of a colour: a tone curve on Oklab lightness (Ottosson 2020), L' = sqrt(f^2 + (1 - f^2) L^2).

use super::Srgb;

/// A colour on the floor; exactly itself where `floor` is 0.
pub fn floored(colour: Srgb, floor: f64) -> Srgb {
    if floor <= 0.0 {
        return colour;
    }
    let [l, a, b] = colour.oklab();
    let lifted = libm::sqrt(floor * floor + (1.0 - floor * floor) * l * l);
    let fits = |share: f64| {
        use palette::convert::FromColorUnclamped;
        let lab = palette::Oklab::new(lifted, a * share, b * share);
        let linear: palette::LinSrgb<f64> = palette::LinSrgb::from_color_unclamped(lab);
        [linear.red, linear.green, linear.blue].iter().all(|value| (-1e-6..=1.0 + 1e-6).contains(value))
    };
    let mut share = 1.0;
    if !fits(1.0) {
        let (mut low, mut high) = (0.0, 1.0);
        for _ in 0..20 {
            let middle = 0.5 * (low + high);
            if fits(middle) { low = middle } else { high = middle }
        }
        share = low;
    }
    Srgb::from_oklab([lifted, a * share, b * share])
}

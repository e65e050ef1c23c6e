//! Colours against the published tables, as far as the program uses them.

use crate::util::{near, to_encoded, to_linear};
use fogweft::base::colour::{Linear, Srgb};
use proptest::prelude::*;

/// IEC 61966-2-1, as in WCAG 2 and CSS Color 4: 8-bit codes to linear light.
#[test]
fn srgb_decodes() {
    let table = [
        (0, 0.0),
        (1, 0.0003035270),
        (10, 0.0030352698),
        (11, 0.0033465358),
        (32, 0.0144438436),
        (64, 0.0512694584),
        (100, 0.1274376804),
        (124, 0.2015562538),
        (127, 0.2122307574),
        (128, 0.2158605001),
        (188, 0.5028864580),
        (200, 0.5775804404),
        (231, 0.7991027380),
        (255, 1.0),
    ];
    for (code, want) in table {
        // Linear light is kept in single precision.
        for value in Srgb::from_codes([code; 3]).linear().0 {
            near(f64::from(value), want, 6e-8);
        }
    }
}

/// IEC 61966-2-1: linear light to encoded values, both sides of the joint.
#[test]
fn srgb_encodes() {
    let table = [
        (0.0, 0.0),
        (0.001, 0.01292),
        (0.0031308, 0.0404499360),
        (0.01, 0.0998528227),
        (0.05, 0.2478005280),
        (0.18, 0.4613561295),
        (0.25, 0.5370987305),
        (0.5, 0.7353569831),
        (0.75, 0.8808250211),
        (0.9, 0.9546871719),
        (1.0, 1.0),
    ];
    for (linear, want) in table {
        for value in Linear([linear as f32; 3]).encode().0 {
            near(f64::from(value), want, 1e-7);
        }
    }
}

/// glTF 2.0, base colour: [64, 124, 231] decodes to [0.051, 0.202, 0.799].
#[test]
fn gltf_worked_example() {
    let linear = Srgb::from_codes([64, 124, 231]).linear().0;
    for ((got, published), exact) in
        linear.into_iter().zip([0.051, 0.202, 0.799]).zip([0.051269, 0.201556, 0.799103])
    {
        near(f64::from(got), published, 1e-3);
        near(f64::from(got), exact, 5e-7);
    }
}

/// All 256 codes come back; so do 16-bit ones through linear light in double precision (W3C PNG: sample v is v / 65535).
#[test]
fn codes_come_back() {
    for code in 0..=255_u8 {
        let colour = Srgb::from_codes([code, 255 - code, 7]);
        assert_eq!(colour.linear().encode().to_codes(), [code, 255 - code, 7]);
        assert_eq!(Srgb::from_oklab(colour.oklab()).to_codes(), [code, 255 - code, 7]);
        assert_eq!(Srgb::parse_hex(&colour.to_hex()), Some(colour));
    }
}

/// Colours as CSS Color 4 writes them: three digits stand for doubled ones.
#[test]
fn hex_colours() {
    assert_eq!(Srgb::parse_hex("#f80"), Srgb::parse_hex("#ff8800"));
    assert_eq!(Srgb::parse_hex("#3366CC").map(Srgb::to_codes), Some([0x33, 0x66, 0xcc]));
    for wrong in ["", "#", "336699", "#12", "#12345", "#1234567", "#gg0000", "#+12345", "#äöü"] {
        assert_eq!(Srgb::parse_hex(wrong), None, "{wrong}");
    }
}

/// Ottosson, 'A perceptual color space for image processing' (2020), table of XYZ and Oklab, 3 decimals. XYZ enters through the
/// inverse of the sRGB primaries' matrix (CSS Color 4, D65), so values lie outside 0..1.
#[test]
fn oklab_of_the_authors_table() {
    let table = [
        ([0.950, 1.000, 1.089], [1.000, 0.000, 0.000]),
        ([1.0, 0.0, 0.0], [0.450, 1.236, -0.019]),
        ([0.0, 1.0, 0.0], [0.922, -0.671, 0.263]),
        ([0.0, 0.0, 1.0], [0.153, -1.415, -0.449]),
    ];
    const FROM_XYZ: [[f64; 3]; 3] = [
        [3.2409699419045226, -1.537383177570094, -0.4986107602930034],
        [-0.9692436362808796, 1.8759675015077202, 0.04155505740717559],
        [0.05563007969699366, -0.20397695888897652, 1.0569715142428786],
    ];
    for (xyz, want) in table {
        let linear = FROM_XYZ.map(|row| row.iter().zip(xyz).map(|(a, b)| a * b).sum::<f64>() as f32);
        for (got, want) in Linear(linear).encode().oklab().into_iter().zip(want) {
            // Half of the last decimal, and the two papers' matrices (2e-4).
            near(got, want, 7e-4);
        }
    }
}

/// CSS Color 4, sample code: Oklab of sRGB colours.
#[test]
fn oklab_of_css_colours() {
    let table = [
        ([255, 0, 0], [0.62795536, 0.22486307, 0.12584628]),
        ([0, 255, 0], [0.86643962, -0.23388758, 0.17949845]),
        ([0, 0, 255], [0.45201372, -0.03245698, -0.31152817]),
        ([255, 255, 255], [1.0, 0.0, 0.0]),
        ([128, 128, 128], [0.59987081, 0.0, 0.0]),
        ([200, 210, 220], [0.85911116, -0.00660299, -0.01637056]),
        ([60, 70, 80], [0.38911806, -0.00790876, -0.01995281]),
    ];
    for (codes, want) in table {
        for (got, want) in Srgb::from_codes(codes).oklab().into_iter().zip(want) {
            // The author's matrices and the re-derived ones differ by up to 5e-8; codes enter in single precision.
            near(got, want, 2e-7);
        }
    }
}

proptest! {
    /// Both directions against the formulas of IEC 61966-2-1 in double precision.
    #[test]
    fn srgb_follows_its_formulas(value in 0.0..=1.0_f32) {
        let linear = Srgb([value; 3]).linear().0[0];
        prop_assert!((f64::from(linear) - to_linear(f64::from(value))).abs() < 6e-8);
        let encoded = Linear([value; 3]).encode().0[0];
        prop_assert!((f64::from(encoded) - to_encoded(f64::from(value))).abs() < 6e-8);
    }

    /// A mix lies on the straight line in Oklab (CSS Color 4, interpolation), and its ends are exact.
    #[test]
    fn mixes_are_straight_in_oklab(a in any::<[u8; 3]>(), b in any::<[u8; 3]>(), share in 0.0..=1.0_f64) {
        let (from, to) = (Srgb::from_codes(a), Srgb::from_codes(b));
        prop_assert_eq!(from.mix(to, 0.0), from);
        prop_assert_eq!(from.mix(to, 1.0), to);
        let (p, q, mixed) = (from.oklab(), to.oklab(), from.mix(to, share));
        // What leaves sRGB on the way is clamped, so only colours inside are compared.
        prop_assume!(mixed.0.iter().all(|value| (0.001..0.999).contains(value)));
        for ((p, q), got) in p.into_iter().zip(q).zip(mixed.oklab()) {
            prop_assert!((got - (p + (q - p) * share)).abs() < 2e-6);
        }
    }
}

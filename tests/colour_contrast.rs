//! Lightness, contrast and colour difference against the published tables.

#[path = "common/difference.rs"]
mod difference;

use difference::{ciede2000, lab};
use fogweft::base::colour::contrast::ratio;
use fogweft::base::colour::floor::floored;
use fogweft::base::colour::{Srgb, lightness};

/// L* of a colour.
fn lightness_of(colour: Srgb) -> f64 {
    lightness::from_luminance(lightness::luminance(colour.linear()))
}

fn hex(text: &str) -> Srgb {
    Srgb::parse_hex(text).expect("a colour")
}

/// CIE 15: L* = 116 Y^(1/3) - 16 over Y = 216/24389, (24389/27) Y below; values as colour-science gives them to 8 decimals.
#[test]
fn lightness_follows_the_cie() {
    let table = [
        (0.0, 0.0),
        (0.001, 0.903_296_30),
        (216.0 / 24389.0, 8.0),
        (0.01, 8.991_442_40),
        (0.05, 26.734_765_38),
        (0.1, 37.842_430_47),
        (0.18, 49.496_107_61),
        (0.184_186_518_512_444_16, 50.0),
        (0.2, 51.837_211_53),
        (0.5, 76.069_261_01),
        (0.9, 95.996_768_61),
        (1.0, 100.0),
    ];
    for (y, wanted) in table {
        let found = lightness::from_luminance(y);
        assert!((found - wanted).abs() < 1e-7, "Y {y}: {found} for {wanted}");
    }
    assert!((lightness_of(hex("#fff")) - 100.0).abs() < 1e-6);
    assert_eq!(lightness_of(hex("#000")), 0.0);
}

/// Web Content Accessibility Guidelines 2: worked pairs of "Understanding 1.4.11" (#949494, #E5E5E5/#6221EA, #FFF000) and of
/// technique G207 (#E3660E); the others in double precision by its formula.
#[test]
fn contrast_follows_wcag() {
    let table = [
        ("#000000", "#ffffff", 21.0),
        ("#949494", "#ffffff", 3.033_470),
        ("#767676", "#ffffff", 4.542_225),
        ("#777777", "#ffffff", 4.478_089),
        ("#e5e5e5", "#6221ea", 5.699_444),
        ("#fff000", "#ffffff", 1.185_367),
        ("#e3660e", "#ffffff", 3.401_874),
        ("#ffffff", "#003366", 12.609_641),
        ("#ff0000", "#ffffff", 3.998_477),
        ("#0000ff", "#ffffff", 8.592_471),
        ("#808080", "#ffffff", 3.949_440),
        ("#808080", "#000000", 5.317_210),
    ];
    for (a, b, wanted) in table {
        let found = ratio(hex(a), hex(b));
        assert!((found - wanted).abs() < 2e-5, "{a} {b}: {found} for {wanted}");
        assert_eq!(found, ratio(hex(b), hex(a)));
    }
}

/// Sharma, Wu & Dalal 2005, Table 1 (see the file's head): within the table's last digit.
#[test]
fn differences_follow_all_pairs_of_the_paper() {
    let text = include_str!("data/ciede2000.csv");
    let rows: Vec<Vec<f64>> = text
        .lines()
        .filter(|line| line.starts_with(|c: char| c.is_ascii_digit()))
        .map(|line| line.split(',').map(|cell| cell.trim().parse().expect("a number")).collect())
        .collect();
    assert_eq!(rows.len(), 34);
    for row in rows {
        let (a, b, wanted) = ([row[1], row[2], row[3]], [row[4], row[5], row[6]], row[7]);
        for found in [ciede2000(a, b), ciede2000(b, a)] {
            assert!((found - wanted).abs() <= 1e-4, "pair {}: {found} for {wanted}", row[0]);
        }
    }
}

/// sRGB white is L* 100 and neutral; L* of L*a*b* is the L* of luminance.
#[test]
fn lab_and_lightness_agree() {
    for text in ["#ffffff", "#808080", "#d9d0b8", "#2a2438", "#ff0000"] {
        let (found, wanted) = (lab(hex(text))[0], lightness_of(hex(text)));
        // Luminance weights have four digits here.
        assert!((found - wanted).abs() < 0.02, "{text}: {found} {wanted}");
    }
}

/// Common practice, no source: nothing is pure black. The curve is a tone curve: it keeps white, rises everywhere, keeps hue.
#[test]
fn the_floor_lifts_black_and_keeps_hue() {
    for floor in [0.5, 4.0, 8.0, 20.0] {
        // CIE 15: L* of a grey, from its luminance.
        let luminance = floored(hex("#000"), floor).oklab()[0];
        let luminance = luminance * luminance * luminance;
        let lightness = if luminance > 216.0 / 24389.0 {
            116.0 * libm::cbrt(luminance) - 16.0
        } else {
            luminance * 24389.0 / 27.0
        };
        assert!((lightness - floor).abs() < 2e-3, "{lightness} {floor}");
        let white = floored(hex("#fff"), floor).oklab();
        assert!((white[0] - 1.0).abs() < 1e-5);
        let mut last = 0.0;
        for code in 0..=255_u8 {
            let lifted = floored(Srgb::from_codes([code; 3]), floor).oklab()[0];
            assert!(lifted > last, "code {code}");
            last = lifted;
        }
        for text in ["#101830", "#300808", "#2a2438", "#001400", "#000010", "#ff0000"] {
            let (own, lifted) = (hex(text).oklab(), floored(hex(text), floor).oklab());
            let hue = |lab: [f64; 3]| libm::atan2(lab[2], lab[1]);
            let turn = (hue(own) - hue(lifted)).abs();
            assert!(turn.min(std::f64::consts::TAU - turn) < 0.02, "{text} at {floor}: turned by {turn}");
        }
    }
    assert_eq!(floored(hex("#010203"), 0.0), hex("#010203"));
}

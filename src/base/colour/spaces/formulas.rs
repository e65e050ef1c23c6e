//! The formulas themselves, in the order of operations of crate `palette`.

/// Decodes sRGB to linear light (IEC 61966-2-1).
pub(in crate::base::colour) fn decode(encoded: [f64; 3]) -> [f64; 3] {
    encoded.map(|value| {
        if value <= 0.04045 {
            1.0 / 12.92 * value
        } else {
            libm::pow(libm::fma(value, 1.0 / 1.055, 0.055 / 1.055), 2.4)
        }
    })
}

/// Encodes linear light as sRGB (IEC 61966-2-1).
pub(in crate::base::colour) fn encode(linear: [f64; 3]) -> [f64; 3] {
    linear.map(
        |value| {
            if value <= 0.003_130_8 { 12.92 * value } else { libm::pow(value, 1.0 / 2.4) * 1.055 - 0.055 }
        },
    )
}

/// From linear light to Oklab (Ottosson 2020): L, a, b.
pub(in crate::base::colour) fn to_oklab([r, g, b]: [f64; 3]) -> [f64; 3] {
    let l = libm::cbrt(0.412_221_470_8 * r + 0.536_332_536_3 * g + 0.051_445_992_9 * b);
    let m = libm::cbrt(0.211_903_498_2 * r + 0.680_699_545_1 * g + 0.107_396_956_6 * b);
    let s = libm::cbrt(0.088_302_461_9 * r + 0.281_718_837_6 * g + 0.629_978_700_5 * b);
    [
        0.210_454_255_3 * l + 0.793_617_785_0 * m - 0.004_072_046_8 * s,
        1.977_998_495_1 * l - 2.428_592_205_0 * m + 0.450_593_709_9 * s,
        0.025_904_037_1 * l + 0.782_771_766_2 * m - 0.808_675_766_0 * s,
    ]
}

/// From Oklab to linear light, also where that lies outside sRGB.
pub(in crate::base::colour) fn from_oklab([lightness, a, b]: [f64; 3]) -> [f64; 3] {
    let l = lightness + 0.396_337_777_4 * a + 0.215_803_757_3 * b;
    let m = lightness - 0.105_561_345_8 * a - 0.063_854_172_8 * b;
    let s = lightness - 0.089_484_177_5 * a - 1.291_485_548_0 * b;
    let [l, m, s] = [l, m, s].map(|root| root * root * root);
    [
        4.076_741_662_1 * l - 3.307_711_591_3 * m + 0.230_969_929_2 * s,
        -1.268_438_004_6 * l + 2.609_757_401_1 * m - 0.341_319_396_5 * s,
        -0.004_196_086_3 * l - 0.703_418_614_7 * m + 1.707_614_701_0 * s,
    ]
}

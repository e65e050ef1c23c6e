//! Colour difference CIEDE2000 (Sharma, Wu & Dalal 2005, Color Research & Application 30(1), 21-30), weights 1.

use fogweft::base::colour::Srgb;

/// CIE L*, a*, b* under D65.
pub type Lab = [f64; 3];

/// L*a*b* of an sRGB colour.
pub fn lab(colour: Srgb) -> Lab {
    use palette::FromColor;
    let [r, g, b] = colour.0.map(f64::from);
    let lab: palette::Lab<palette::white_point::D65, f64> =
        palette::Lab::from_color(palette::Srgb::new(r, g, b).into_linear());
    [lab.l, lab.a, lab.b]
}

/// The difference; 0 for equal colours, about 1 where it is just seen.
pub fn ciede2000(first: Lab, second: Lab) -> f64 {
    let mean = 0.5 * (libm::hypot(first[1], first[2]) + libm::hypot(second[1], second[2]));
    let a_scale = 1.5 - 0.5 * chroma_weight(mean);
    let ((c1, h1), (c2, h2)) = (polar(first, a_scale), polar(second, a_scale));
    let grey = c1 * c2 == 0.0;
    let difference = h2 - h1;
    let hue_step = match difference {
        _ if grey => 0.0,
        step if step.abs() <= 180.0 => step,
        step if step > 180.0 => step - 360.0,
        step => step + 360.0,
    };
    let hue_mean = match h1 + h2 {
        sum if grey => sum,
        sum if difference.abs() <= 180.0 => 0.5 * sum,
        sum if sum < 360.0 => 0.5 * (sum + 360.0),
        sum => 0.5 * (sum - 360.0),
    };
    let (d_l, d_c) = (second[0] - first[0], c2 - c1);
    let d_h = 2.0 * libm::sqrt(c1 * c2) * libm::sin(0.5 * hue_step.to_radians());
    let (l, c) = (0.5 * (first[0] + second[0]), 0.5 * (c1 + c2));
    let t = 1.0 - 0.17 * cos(hue_mean - 30.0) + 0.24 * cos(2.0 * hue_mean) + 0.32 * cos(3.0 * hue_mean + 6.0)
        - 0.20 * cos(4.0 * hue_mean - 63.0);
    let bump = (hue_mean - 275.0) / 25.0;
    let rotation = -libm::sin((60.0 * libm::exp(-bump * bump)).to_radians()) * 2.0 * chroma_weight(c);
    let off = (l - 50.0) * (l - 50.0);
    let (s_l, s_c, s_h) = (1.0 + 0.015 * off / libm::sqrt(20.0 + off), 1.0 + 0.045 * c, 1.0 + 0.015 * c * t);
    let (l, c, h) = (d_l / s_l, d_c / s_c, d_h / s_h);
    libm::sqrt(l * l + c * c + h * h + rotation * c * h)
}

/// sqrt(C^7 / (C^7 + 25^7)): near 0 for greys, near 1 for strong colours.
fn chroma_weight(chroma: f64) -> f64 {
    let seventh = libm::pow(chroma, 7.0);
    libm::sqrt(seventh / (seventh + libm::pow(25.0, 7.0)))
}

/// Chroma, and hue in degrees; a* multiplied by `a_scale`.
fn polar(lab: Lab, a_scale: f64) -> (f64, f64) {
    let (a, b) = (lab[1] * a_scale, lab[2]);
    let hue = if a == 0.0 && b == 0.0 { 0.0 } else { libm::atan2(b, a).to_degrees().rem_euclid(360.0) };
    (libm::hypot(a, b), hue)
}

/// Cosine of an angle in degrees.
fn cos(degrees: f64) -> f64 {
    libm::cos(degrees.to_radians())
}

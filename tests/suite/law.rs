//! The law: airlight, visibility, pan rates, height fog.

use crate::util::{even, flat_png, near, plan, scene, scene_with, texels, to_encoded, to_linear};
use fogweft::base::law::{
    CONTRAST_AT_VISIBILITY, DEPTH_OF_VISIBILITY, airlight, extinction, line_at, opacity, pan_rate, parts,
    strip, transmittance,
};
use fogweft::base::limits::Limits;
use fogweft::base::units::{Camera, Px, Scale, Texel, Travel};
use fogweft::base::words::Anchor;
use fogweft::plan::Job;
use fogweft::scene::pictures::{Pictures, Source};
use fogweft::stack::Stack;
use fogweft::steps::field::{FieldSpec, Sampling};
use fogweft::steps::step2_falloff::density;
use proptest::prelude::*;

/// Koschmieder 1924: C(d) = C0 exp(-b d) + A (1 - exp(-b d)); values in double precision.
#[test]
fn airlight_table() {
    let rows = [
        (0.1, 0.8, 0.01, 100.0, 0.5424843911799904),
        (1.0, 0.5, 0.005, 250.0, 0.6432523984300951),
        (0.2, 0.7, 0.002, 0.0, 0.2),
        // CIE e-ILV 17-31-018: 5 % of the contrast is left at the optical range.
        (0.0, 1.0, extinction(1000.0), 1000.0, 0.95),
        // AMS Glossary, 'Meteorological range': 2 %.
        (0.0, 1.0, libm::log(50.0) / 1000.0, 1000.0, 0.98),
    ];
    for (colour, haze, b, d, want) in rows {
        near(airlight(colour, haze, b * d), want, 1e-15);
    }
}

/// Consequences of Koschmieder's law.
#[test]
fn airlight_at_its_ends() {
    assert_eq!(airlight(0.3, 0.8, 0.0), 0.3);
    assert_eq!(airlight(0.3, 0.8, f64::INFINITY), 0.8);
    for tau in [0.0, 1e-9, 0.1, 2.0, 40.0] {
        near(airlight(0.8, 0.8, tau), 0.8, 2e-16);
        near((0.8 - airlight(0.3, 0.8, tau)) / 0.8, 0.5 / 0.8 * transmittance(tau), 2e-16);
    }
}

proptest! {
    /// Two slabs are one slab of both lengths: alphas combine as 1 - (1 - a)(1 - b) (Porter & Duff 1984, source-over of one
    /// colour).
    #[test]
    fn slabs_add_up(first in 0.0..20.0_f64, second in 0.0..20.0_f64, colour in 0.0..1.0_f64, haze in 0.0..1.0_f64) {
        let both = opacity(first + second);
        prop_assert!((1.0 - (1.0 - opacity(first)) * (1.0 - opacity(second)) - both).abs() < 1e-15);
        let one = airlight(colour, haze, first + second);
        prop_assert!((airlight(airlight(colour, haze, first), haze, second) - one).abs() < 1e-15);
    }

    /// z = f (1/p - 1) inverts the pinhole's rate; the rate falls with depth.
    #[test]
    fn rates_invert(camera in 1.0..1e5_f64, share in -0.99..100.0_f64) {
        let rate = pan_rate(camera, share * camera);
        prop_assert!((camera * (1.0 / rate - 1.0) / camera - share).abs() < 1e-9);
        prop_assert!(pan_rate(camera, share * camera + 1.0) < rate);
    }
}

/// exp(-0.01 * 150) = exp(-0.01 * 50) exp(-0.01 * 100), in double precision.
#[test]
fn split_slab() {
    near(transmittance(1.5), 0.22313016014842982, 1e-16);
    near(transmittance(0.5) * transmittance(1.0), 0.22313016014842982, 1e-16);
}

/// Equal layers of alpha 0.2 (W3C Compositing and Blending Level 1, source-over).
#[test]
fn equal_layers() {
    let tau = -libm::log(0.8);
    for (layers, want) in [(1.0, 0.2), (2.0, 0.36), (3.0, 0.488), (4.0, 0.5904), (8.0, 0.83222784)] {
        near(opacity(layers * tau), want, 1e-15);
    }
}

/// CIE e-ILV 17-31-018 (5 %); AMS Glossary, 'Meteorological range' (2 %).
#[test]
fn visibility_constants() {
    assert_eq!(CONTRAST_AT_VISIBILITY, 0.05);
    near(DEPTH_OF_VISIBILITY, 2.995732273553991, 1e-15);
    near(transmittance(DEPTH_OF_VISIBILITY), 0.05, 1e-16);
    // The 2 % range is 1.3058653605207224 times the 5 % range.
    near(transmittance(extinction(700.0) * 700.0 * 1.3058653605207224), 0.02, 1e-16);
    // Extinction in 1/km at the limits of the international visibility code, 5 % rule, four figures.
    let limits = [
        (0.05, 59.91),
        (0.2, 14.98),
        (0.5, 5.991),
        (1.0, 2.996),
        (2.0, 1.498),
        (4.0, 0.7489),
        (10.0, 0.2996),
        (20.0, 0.1498),
        (50.0, 0.05991),
    ];
    for (visibility, want) in limits {
        near(extinction(visibility), want, want * 5e-4);
    }
}

/// Alpha of the fog in front of a picture at a meteorological optical range of 1000 m (CIE e-ILV 17-31-018).
#[test]
fn ladder_of_a_thousand_metres() {
    let rungs = [
        (0.0, 0.0),
        (50.0, 0.13910834),
        (100.0, 0.25886555),
        (200.0, 0.45071973),
        (400.0, 0.69829118),
        (800.0, 0.90897179),
        (1600.0, 0.99171386),
        (3200.0, 0.99993134),
    ];
    for (distance, want) in rungs {
        near(opacity(extinction(1000.0) * distance), want, 5e-9);
    }
}

/// Pinhole stereo x = f X / Z (University of Washington, computer vision slides): p = f / (f + z).
#[test]
fn pan_rates() {
    let rows = [
        (1.0, 0.0, 1.0),
        (1.0, 1.0, 0.5),
        (1.0, 3.0, 0.25),
        (2.0, 1.0, 2.0 / 3.0),
        (800.0, 400.0, 2.0 / 3.0),
        // CSS Transforms, d / (d - Z) at Z = d/2.
        (800.0, -400.0, 2.0),
        (500.0, 1000.0, 1.0 / 3.0),
        (1000.0, 9000.0, 0.1),
    ];
    for (camera, depth, want) in rows {
        near(pan_rate(camera, depth), want, 1e-15);
    }
}

/// v + p (w - v): what a view 1920 wide sees of a plane while it pans over 9600 (pinhole, as above); the same down.
#[test]
fn strip_widths() {
    for (rate, want) in [(1.0, 9600.0), (0.5, 5760.0), (0.25, 3840.0), (0.1, 2688.0), (1.5, 13440.0)] {
        let [wide, tall] = strip([Px(1920.0), Px(1080.0)], Travel::new(9600.0 - 1920.0, 900.0), rate);
        near(wide.0, want, 1e-9);
        near(tall.0, 1080.0 + 900.0 * rate, 1e-9);
    }
}

/// A point of the ground plane at depth z is drawn f / (f + z) times as far under the horizon (pinhole, as above).
#[test]
fn lines_meet_at_the_horizon() {
    near(line_at(Px(560.0), Px(900.0), pan_rate(600.0, 0.0)).0, 900.0, 0.0);
    near(line_at(Px(560.0), Px(900.0), pan_rate(600.0, 600.0)).0, 730.0, 1e-12);
    near(line_at(Px(560.0), Px(900.0), pan_rate(600.0, 1e12)).0, 560.0, 1e-6);
}

/// Extinctions add up (Beer's law): the clear part and the fog's make up the whole at the line; without a clear part the fog is all.
#[test]
fn air_in_two_parts() {
    for (visibility, clear) in [(500.0, 20_000.0), (900.0, 900.0), (0.3, 7.0), (500.0, f64::INFINITY)] {
        let [even, fog] = parts(visibility, clear);
        near(even + fog, extinction(visibility), 1e-15 * extinction(visibility));
        // CIE e-ILV 17-31-018: outside the fog, 5 % of the contrast is left at the clear air's own range.
        near(transmittance(even * clear.min(1e300)), if clear.is_finite() { 0.05 } else { 1.0 }, 1e-15);
    }
    assert_eq!(parts(500.0, f64::INFINITY), [0.0, extinction(500.0)]);
}

/// Both parts of the air in a still of three sheets, in both blendings, where the noise is off: Koschmieder 1924 along every row, with the
/// optical depth b_clear z + b_fog z exp(-h/H) of an exponential bank in even air (Beer's law). To half a step of 8 bits.
#[test]
fn both_parts_of_the_air_are_the_law_at_every_height() {
    const ROWS: u32 = 96;
    let (haze, behind, visibility, clear, thickness) = (0xd0, 0x30, 900.0, 6000.0, 1.4);
    for linear in [false, true] {
        let text = format!(
            "view = [16, {ROWS}]\ncamera = 500\nhorizon = 40\nground = 80\nbackdrop = \"#303030\"\n\
             bands.amount = 0\nfalloff = {{ height = 30, beyond = inf, lift = 0, breath = 0, sway = 0, firm = 0 }}\n\
             smear.length = 0\nsoften = {{ sigma = 0, torn = 0 }}\ngrade = {{ lit = 0, thickness = {thickness} }}\n\
             [air]\nhaze = \"#d0d0d0\"\nvisibility = {visibility}\nclear = {clear}\nbeyond = 400\nblending = \"{}\"\n\
             [[slot]]\nname = \"far\"\ndepth = 1500\n[[slot]]\nname = \"mid\"\ndepth = 300\n[[slot]]\nname = \"near\"\ndepth = 0\n",
            if linear { "linear" } else { "encoded" }
        );
        let plan = plan(&scene(&text), &Pictures::default());
        let still =
            Stack::new(&plan, &Pictures::default(), &Limits::default()).unwrap().still(Camera::default());
        let enter = |code: i32| {
            let value = f64::from(code) / 255.0;
            if linear { to_linear(value) } else { value }
        };
        for row in 0..ROWS as usize {
            let tau: f64 = [(1500.0, 400.0), (300.0, 1200.0), (0.0, 300.0)]
                .into_iter()
                .map(|(depth, gap)| {
                    let rate = 500.0 / (500.0 + depth);
                    let over = (40.0 + 40.0 * rate - row as f64 - 0.5).max(0.0);
                    let [even, fog] =
                        [3.0 / clear, 3.0 / visibility - 3.0 / clear].map(|b| b * DEPTH_OF_VISIBILITY / 3.0);
                    gap * (even + fog * thickness * libm::exp(-over / (30.0 * rate)))
                })
                .sum();
            let want = airlight(enter(behind), enter(haze), tau);
            let want = if linear { to_encoded(want) } else { want };
            let got = f64::from(still.colours[row * 16 + 5][0]);
            let got = if linear { to_encoded(got) } else { got };
            near(got * 255.0, want * 255.0, 0.5);
        }
    }
}

/// A picture that fills the view behind all others shows its own air: none is laid over its top by the gap before it, and along the line
/// the whole depth stands. `slot.clear` says otherwise.
#[test]
fn a_painted_sky_keeps_its_own_air() {
    let text = |art: &str| {
        format!(
            "view = [16, 96]\nhorizon = 40\nground = 80\n[air]\nvisibility = 500\nclear = 5000\n\
             [[slot]]\nname = \"sky\"\ndepth = 9000\n{art}[[slot]]\nname = \"range\"\ndepth = 3000\n[[slot]]\nname = \"near\"\ndepth = 0\n"
        )
    };
    let planned = |art: &str, sets: &[&str]| {
        let sets: Vec<String> = sets.iter().map(|set| (*set).to_owned()).collect();
        let mut pictures = Pictures::default();
        if !art.is_empty() {
            let source =
                Source::from_bytes("sky.png", flat_png([16, 60], [9, 9, 9, 255]), &Limits::default());
            pictures.add("sky", source.unwrap());
        }
        let plan = plan(&scene_with(&text(art), &sets), &pictures);
        let fog = |job: &Job| match job {
            Job::Fog(job) => Some((job.clear_depth, job.optical_depth)),
            _ => None,
        };
        plan.files.iter().filter_map(fog).collect::<Vec<_>>()
    };
    let even = [500.0, 6000.0, 3000.0].map(|gap| extinction(5000.0) * gap);
    let bare = planned("", &[]);
    let sky = planned("art = \"sky.png\"\nx = 0\ny = 0\nrepeat = true\n", &[]);
    let said = planned("art = \"sky.png\"\nx = 0\ny = 0\nrepeat = true\n", &["slot.range.clear=1"]);
    for (at, even) in even.into_iter().enumerate() {
        near(bare[at].0, even, 1e-12);
        near(sky[at].0, if at < 2 { 0.0 } else { even }, 1e-12);
        near(said[at].0, if at < 1 { 0.0 } else { even }, 1e-12);
    }
    let lower = planned("art = \"sky.png\"\nx = 0\ny = 3\nrepeat = true\n", &[]);
    assert_eq!(lower, bare, "a picture that leaves a part of the view open is no sky");
}

/// Optical depth along a ray through the density that the falloff step gives, by the midpoint rule.
fn along_ray(b0: f64, height: f64, from: f64, elevation: f64, distance: f64) -> f64 {
    let steps = 20_000;
    let rise = libm::sin(elevation.to_radians());
    let length = distance / f64::from(steps);
    (0..steps)
        .map(|at| {
            let h = from + rise * (f64::from(at) + 0.5) * length;
            b0 * f64::from(density(h as f32, height as f32, f32::INFINITY)) * length
        })
        .sum()
}

/// tau = b0 exp(-y0/H) d (1 - exp(-x))/x with x = d s/H (Beer's law in an exponential atmosphere; slant form as Preetham,
/// Shirley & Smits 1999); rows checked against adaptive quadrature.
#[test]
fn height_fog_along_rays() {
    let rows = [
        (0.02, 30.0, 2.0, 0.0, 200.0, 3.742027940126471, 0.023705980044),
        (0.02, 30.0, 2.0, 1e-7, 200.0, 3.742027918356235, 0.023705980560),
        (0.02, 30.0, 2.0, 5.0, 200.0, 2.838103599725727, 0.058536569539),
        (0.02, 30.0, 2.0, 30.0, 200.0, 1.0825604580855501, 0.338727117771),
        (0.02, 30.0, 2.0, 90.0, 200.0, 0.5605898563326461, 0.570872231916),
        (0.02, 30.0, 50.0, -10.0, 200.0, 1.4243056558338876, 0.240675516846),
        (0.01, 100.0, 0.0, 1.0, 1000.0, 9.176004307076518, 0.000103493235),
        // To infinity: b0 H.
        (0.02, 30.0, 0.0, 90.0, 2000.0, 0.6, 0.548811636094),
    ];
    for (b0, height, from, elevation, distance, tau, left) in rows {
        // Single precision of the density, and the rule's own error.
        near(along_ray(b0, height, from, elevation, distance), tau, tau * 1e-6);
        near(transmittance(tau), left, 6e-13);
    }
}

/// Landmarks of an exponential: half at H ln 2, 1 % at H ln 100, 1/255 at H ln 255, half a step of 8 bits at H ln 510.
#[test]
fn falloff_landmarks() {
    let marks = [
        (0.0, 1.0),
        (0.6931471805599453, 0.5),
        (4.605170185988092, 0.01),
        (5.541263545158426, 1.0 / 255.0),
        (6.234410725718371, 0.5 / 255.0),
    ];
    for (scale_heights, want) in marks {
        for height in [7.0_f32, 220.0] {
            near(f64::from(density(scale_heights as f32 * height, height, 1.0)), want, 1.5e-7);
            near(f64::from(density(-scale_heights as f32 * height, 1.0, height)), want, 1.5e-7);
        }
    }
    assert_eq!(density(1e30, f32::INFINITY, 1.0), 1.0);
    assert_eq!(density(-1e30, 1.0, f32::INFINITY), 1.0);
}

/// The field of an even bank holds H times its density at the line (column integral b0 H, as above), on the ground and,
/// upside down, under the sky.
#[test]
fn fields_hold_the_column_of_height_fog() {
    let mut recipe = even();
    recipe.falloff.height = Px(24.0);
    // The line runs through the middle of a row of texels.
    let ground = FieldSpec::new([32, 512], Anchor::Ground, Texel(400.5), Scale(1.0), &recipe, 5);
    let rows = texels(&ground, Sampling::Full);
    let column: Vec<f64> = rows.iter().map(|row| f64::from(row[9])).collect();
    near(column[400], 1.0, 1e-6);
    for (row, value) in column.iter().enumerate() {
        let over = (400.0 - row as f64).max(0.0);
        near(*value, libm::exp(-over / 24.0), 1e-6);
    }
    // The trapezoid rule over an exponential gives (h/2) coth(h/2H), which is H (1 + h^2/12H^2) to second order.
    let integral = column[..400].iter().sum::<f64>() + 0.5 * column[400];
    near(integral, 24.0 * (1.0 + 1.0 / (12.0 * 24.0 * 24.0)), 2e-5);

    let sky = FieldSpec::new([32, 512], Anchor::Sky, Texel(111.5), Scale(1.0), &recipe, 5);
    let turned: Vec<Vec<f32>> = texels(&sky, Sampling::Full).into_iter().rev().collect();
    assert_eq!(turned, rows);
}

//! Factors along the travel: smooth, within their points, and the law times them.

use crate::util::{decode_file, done, fails, near, scene};
use fogweft::base::limits::Limits;
use fogweft::plan::Plan;
use fogweft::scene::pictures::Pictures;
use fogweft::steps::along::Along;
use proptest::prelude::*;
use std::path::Path;

proptest! {
    /// Steffen 1990, section 2: the interpolant passes through the points, is monotone between two, and its slope is continuous.
    #[test]
    fn a_curve_stays_within_its_points(steps in prop::collection::vec((0.5..900.0_f64, 0.0..8.0_f64), 1..9)) {
        let mut place = -50.0;
        let points: Vec<[f64; 2]> = steps.iter().map(|(step, factor)| { place += step; [place, *factor] }).collect();
        let along = Along::new(points.clone());
        prop_assert_eq!(along.at(points[0][0] - 1e6), points[0][1]);
        prop_assert_eq!(along.at(place + 1e6), points[points.len() - 1][1]);
        for pair in points.windows(2) {
            let ([from, a], [to, b]) = (pair[0], pair[1]);
            let mut before = a;
            for at in 0..=200 {
                let value = along.at(from + (to - from) * f64::from(at) / 200.0);
                prop_assert!(value >= a.min(b) - 1e-9 && value <= a.max(b) + 1e-9);
                prop_assert!((value - before) * (b - a) >= -1e-9);
                before = value;
            }
            let side = 1e-6 * (to - from);
            let slope = |at: f64| (along.at(at + 0.5 * side) - along.at(at - 0.5 * side)) / side;
            let most = 6.0 * (b - a).abs() / (to - from) + 1e-3;
            prop_assert!(slope(to - side).abs() <= most);
        }
        for point in points.iter().skip(1).take(points.len().saturating_sub(2)) {
            let side = 1e-7;
            let [left, right] = [-side, side].map(|side| (along.at(point[0] + side) - point[1]) / side);
            prop_assert!((left - right).abs() < 1e-3 * (1.0 + left.abs()), "{} and {}", left, right);
        }
    }
}

/// A level whose fog is even, with clear air in it; the slot `far` pans half as fast as the camera.
fn level(more: &str) -> String {
    format!(
        "view = [640, 360]\ntravel = 1600\ncamera = 1000\nhorizon = 100\nground = 300\n[air]\nvisibility = 900\nclear = 3000\nbeyond = 90\n\
         {more}[bands]\namount = 0\n[falloff]\nheight = inf\nbeyond = inf\nbreath = 0\nsway = 0\n\
         [smear]\nlength = 60\nangle = 0\n[soften]\nsigma = 8\nstretch = 1\n[grade]\nlit = 0\nthickness = 1\n"
    )
}

const POINTS: &str = "along = [[0, 0.25], [400, 1.5], [900, 0], [1600, 3]]\n";

fn rendered(folder: &Path, text: &str) -> (crate::util::Decoded, crate::util::Decoded) {
    std::fs::write(folder.join("scene.toml"), text).expect("written");
    done(folder, &["render", "scene.toml", "--bits", "16", "--out", "out"]);
    (decode_file(&folder.join("out/far.fog.png")), decode_file(&folder.join("out/near.fog.png")))
}

// Opacity = 1 - exp(-(clear + factor fog) distance), at the places of the points and half way between those that are level.
#[test]
fn the_law_holds_times_the_factor_on_every_sheet() {
    let folder = tempfile::tempdir().expect("a folder");
    let slots = "[[slot]]\nname = \"far\"\ndepth = 1000\n[[slot]]\nname = \"near\"\ndepth = 0\n";
    let (far, near_sheet) =
        rendered(folder.path(), &format!("{}{slots}{}", level(POINTS), "along = [[0, 2], [1600, 2]]\n"));
    let [clear, whole] = [3000.0, 900.0].map(|visibility| -libm::log(0.05) / visibility);
    let mut most: f64 = 0.0;
    for (sheet, rate, distance, own) in [(&far, 0.5, 90.0, 1.0), (&near_sheet, 1.0, 1000.0, 2.0)] {
        assert!(f64::from(sheet.size[0]) >= 640.0 + 1600.0 * rate, "{:?}", sheet.size);
        for (place, factor) in
            [(0.0, 0.25), (400.0, 1.5), (900.0, 0.0), (1600.0, 3.0), (-320.0, 0.25), (1920.0, 3.0)]
        {
            let x = (place * rate + 320.0_f64).floor() as usize;
            let Some(texel) = sheet.texels[..sheet.size[0] as usize].get(x) else { continue };
            let want = 1.0 - libm::exp(-(clear + own * factor * (whole - clear)) * distance);
            let miss = (f64::from(texel[3]) / 65535.0 - want).abs();
            most = most.max(miss);
            // Half a step of 8 bits.
            near(f64::from(texel[3]) / 65535.0, want, 0.5 / 255.0);
        }
    }
    println!("farthest from the law: {:.4} of a step of 8 bits", most * 255.0);
}

// A sheet comes round: what leads back lies beyond what is ever seen.
#[test]
fn a_sheet_is_level_at_both_ends_of_the_travel() {
    let folder = tempfile::tempdir().expect("a folder");
    let ends = "along = [[0, 0], [800, 0], [801, 3], [1600, 3]]\n";
    let slots = "[[slot]]\nname = \"far\"\ndepth = 1000\n[[slot]]\nname = \"near\"\ndepth = 0\n";
    let (_, sheet) = rendered(folder.path(), &format!("{}{slots}", level(ends)));
    let opacity = |x: usize| f64::from(sheet.texels[x][3]) / 257.0;
    let (first, last) = (opacity(0), opacity(2239));
    for x in 0..600 {
        assert!((opacity(x) - first).abs() < 0.25, "{x}: {} is not {first}", opacity(x));
        assert!((opacity(1640 + x) - last).abs() < 0.25, "{}: {} is not {last}", 1640 + x, opacity(1640 + x));
    }
    assert!(last > first + 60.0);
}

#[test]
fn what_is_drawn_stays_where_the_fog_is_taken_away() {
    let folder = tempfile::tempdir().expect("a folder");
    let svg = "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"400\" height=\"200\"><rect width=\"400\" height=\"200\" fill=\"#fff\"/></svg>";
    std::fs::write(folder.path().join("a.svg"), svg).expect("written");
    let slots = "[[slot]]\nname = \"far\"\ndepth = 1000\n[[slot]]\nname = \"near\"\ndepth = 0\nalong = [[0, 0]]\nstrokes = \"a.svg\"\nstrokes_x = 1000\nstrokes_y = 80\n";
    let (_, sheet) = rendered(folder.path(), &format!("{}{slots}", level("")));
    let [clear, whole] = [3000.0, 900.0].map(|visibility| -libm::log(0.05) / visibility * 1000.0);
    let at = |x: usize| f64::from(sheet.texels[180 * sheet.size[0] as usize + x][3]) / 65535.0;
    near(at(1200), 1.0 - libm::exp(-whole), 0.5 / 255.0);
    near(at(300), 1.0 - libm::exp(-clear), 0.5 / 255.0);
}

// Over a picture with a tint the share in its colours and that in the sheet before it are the whole at every place of the travel.
#[test]
fn a_tint_follows_the_fog_before_its_picture() {
    let folder = tempfile::tempdir().expect("a folder");
    let wall = crate::util::flat_png([2240, 200], [0, 0, 0, 255]);
    std::fs::write(folder.path().join("wall.png"), wall).expect("written");
    let still = |tint: f64, camera: f64| {
        let slots = format!(
            "[[slot]]\nname = \"far\"\ndepth = 100\nart = \"wall.png\"\nwidth = 2240\ny = 100\nseparation = 0\ntint = {tint}\n[[slot]]\nname = \"near\"\ndepth = 0\n"
        );
        let haze = "haze = \"#ffffff\"\nblending = \"linear\"\n";
        std::fs::write(
            folder.path().join("scene.toml"),
            format!("{}{slots}", level(&format!("{haze}{POINTS}"))),
        )
        .expect("written");
        let at = camera.to_string();
        done(folder.path(), &["render", "scene.toml", "--bits", "16", "--at", &at, "--out", "out"]);
        decode_file(&folder.path().join("out/still.png"))
    };
    for camera in [0.0, 400.0, 1200.0] {
        let (plain, tinted) = (still(0.0, camera), still(0.6, camera));
        for x in [300, 320, 340] {
            let [a, b] = [&plain, &tinted].map(|still| f64::from(still.texels[200 * 640 + x][1]) / 65535.0);
            // A tenth of the way farther off than the sheet, the picture pans a tenth slower: a place is met within 32 px.
            near(a, b, 0.01);
        }
    }
}

#[test]
fn a_period_within_the_travel_is_refused_and_the_plan_tells_the_factor() {
    let folder = tempfile::tempdir().expect("a folder");
    let slots =
        "[[slot]]\nname = \"far\"\ndepth = 1000\n[[slot]]\nname = \"near\"\ndepth = 0\nperiod = 800\n";
    std::fs::write(folder.path().join("scene.toml"), format!("{}{slots}", level(POINTS))).expect("written");
    let told = fails(folder.path(), 3, &["plan", "scene.toml"]);
    assert!(told.contains("slot near") && told.contains("800") && told.contains("at least 2272"), "{told}");
    // The same everywhere, it may repeat.
    let even = format!("{}{slots}", level("along = [[0, 2], [100, 2]]\n"));
    std::fs::write(folder.path().join("scene.toml"), even).expect("written");
    let text = done(folder.path(), &["plan", "scene.toml"]);
    assert!(text.contains("near: its fog is 2.00 times as dense as the law gives"), "{text}");
    let plan: serde_json::Value =
        serde_json::from_str(&done(folder.path(), &["plan", "scene.toml", "--json"])).expect("JSON");
    let files = plan["files"].as_array().expect("files");
    assert_eq!(files[1]["along"], serde_json::json!([[0.0, 2.0], [100.0, 2.0], [1600.0, 2.0]]));
}

#[test]
fn points_that_cannot_be_are_told() {
    for (points, message) in [
        ("[]", "`air.along` has 0 points"),
        ("[[0, 1], [0, 2]]", "the place 0 doesn't come after 0"),
        ("[[0, -1]]", "too small"),
        ("[[0, 101]]", "too large"),
        ("[[0]]", "a point of `air.along` has 1 numbers, not 2"),
        ("[0, 1]", "`air.along` must be a list of points"),
        ("[[0, nan]]", "not a number"),
        ("3", "`air.along` must be a list of points"),
    ] {
        let folder = tempfile::tempdir().expect("a folder");
        let text = level(&format!("along = {points}\n")) + "[[slot]]\nname = \"a\"\ndepth = 0\n";
        std::fs::write(folder.path().join("scene.toml"), text).expect("written");
        let told = fails(folder.path(), 3, &["plan", "scene.toml"]);
        assert!(told.contains(message) && told.contains("scene.toml:10"), "{points}: {told}");
    }
}

#[test]
fn fog_for_its_places_does_not_drift() {
    let text = level(POINTS) + "[[slot]]\nname = \"a\"\ndepth = 0\n";
    let drift = |text: &str| {
        let scene = scene(text);
        let plan =
            Plan::new(&scene, &Pictures::default().naturals(), 1.0, &Limits::default()).expect("a plan");
        plan.drift_of(&plan.files[0])
    };
    assert_eq!(drift(&text), 0.0);
    assert_eq!(drift(&text.replace(POINTS, "along = [[0, 2]]\n")), 12.0);
}

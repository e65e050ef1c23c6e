//! Treated art: light, tint, fade, floor, and a haze that is sampled.

mod common;

use common::{Pixels, draw, manifest, render, scene};
use fogweft::base::law;
use std::path::Path;

const VIEW: [usize; 2] = [96, 64];

fn plain(colour: [f64; 3], alpha: f64) -> Pixels {
    Pixels::new(VIEW[0], VIEW[1], |_, _| [colour[0], colour[1], colour[2], alpha])
}

/// Even fog of no shape: the law alone.
const EVEN: &str =
    "[bands]\namount = 0\n[falloff]\nheight = inf\nbeyond = inf\nbreath = 0\n[grade]\nlit = 0\n";

fn composed(folder: &Path, backdrop: [f64; 3]) -> Vec<[f64; 3]> {
    let mut frame = vec![backdrop; VIEW[0] * VIEW[1]];
    for drawn in manifest(folder) {
        draw(&mut frame, VIEW, &drawn, &Pixels::read(&drawn.path));
    }
    frame
}

/// Koschmieder (1924): what is seen through optical depth tau keeps exp(-tau) of its colour and gains the rest in haze. However
/// much of the air is moved into the art, the art and the gaps beside it keep their sums.
#[test]
fn tint_keeps_the_sum_on_the_law() {
    // The art covers the left half.
    let far = Pixels::new(VIEW[0], VIEW[1], |x, _| [0.3, 0.1, 0.2, if x < 48 { 1.0 } else { 0.0 }]);
    let (haze, behind) = (Pixels::new(1, 1, |_, _| [0.8, 0.8, 0.6, 1.0]), [0.0, 0.2, 0.0]);
    let haze = haze.at(0, 0);
    let extinction = law::extinction(1000.0);
    for tint in [0.0, 0.3, 1.0] {
        let text = format!(
            "view = [{}, {}]\nbackdrop = \"#003300\"\ncamera = 2000\n{EVEN}[rim]\nseparation = 0\n[air]\nhaze = \"#cccc99\"\nvisibility = 1000\n\
             beyond = 200\n[[slot]]\nname = \"far\"\ndepth = 300\ntint = {tint}\n[[slot]]\nname = \"near\"\ndepth = 0\n",
            VIEW[0], VIEW[1]
        );
        let (scene, pictures) = scene(&text, &[("far", &far, [0.0, 0.0])]);
        let folder = render(&scene, &pictures);
        let frame = composed(folder.path(), behind);
        for channel in 0..3 {
            let law = |own: f64, length: f64| law::airlight(own, haze[channel], extinction * length);
            let (art, gap) = (frame[VIEW[0] * 32 + 10][channel], frame[VIEW[0] * 32 + 80][channel]);
            let own = far.at(0, 0)[channel];
            // Half a step of the art's 8 bits.
            let own = (own * 255.0 + 0.5).floor() / 255.0;
            assert!(
                (art - law(own, 300.0)).abs() < 0.6 / 255.0,
                "tint {tint}: art {art} for {}",
                law(own, 300.0)
            );
            let wanted = law(behind[channel], 500.0);
            assert!((gap - wanted).abs() < 0.6 / 255.0, "tint {tint}: gap {gap} for {wanted}");
        }
    }
}

/// The sRGB transfer function (IEC 61966-2-1), and back.
fn decoded(value: f64) -> f64 {
    if value <= 0.04045 { value / 12.92 } else { libm::pow((value + 0.055) / 1.055, 2.4) }
}

fn encoded(value: f64) -> f64 {
    if value <= 0.0031308 { value * 12.92 } else { 1.055 * libm::pow(value, 1.0 / 2.4) - 0.055 }
}

/// What comes of a plain picture of this colour under these keys, the first of the scene, the others of the slot.
fn lit(own: [f64; 3], keys: &str, of_slot: &str) -> [f64; 3] {
    let art = plain(own, 1.0);
    let text = format!(
        "view = [{}, {}]\n[rim]\nseparation = 0\n[air]\nbeyond = 0\n{keys}\n[[slot]]\nname = \"art\"\ndepth = 0\n{of_slot}\n",
        VIEW[0], VIEW[1]
    );
    let (scene, pictures) = scene(&text, &[("art", &art, [0.0, 0.0])]);
    let [r, g, b, _] = Pixels::read(&render(&scene, &pictures).path().join("art.art.png")).at(5, 5);
    [r, g, b]
}

/// Light multiplies linear light, channel by channel; a stop is a factor of 2.
#[test]
fn light_multiplies_a_picture_in_linear_light() {
    let own = [200, 120, 60].map(|code| f64::from(code) / 255.0);
    let cast = [0x40, 0x80, 0xff].map(|code| decoded(f64::from(code) / 255.0));
    for (keys, of_slot, gain) in [
        ("[light]\ncast = \"#4080ff\"", "", cast),
        ("[light]\nexposure = -1.5", "", [libm::exp2(-1.5); 3]),
        ("[light]\nexposure = -1", "exposure = 0.5", [libm::exp2(0.5); 3]),
        ("[light]\ncast = \"#4080ff\"", "cast = \"#ffffff\"", [1.0; 3]),
        ("[light]\ncast = \"#4080ff\"\nexposure = 1", "keep = 99", cast.map(|part| 2.0 * part)),
    ] {
        let found = lit(own, keys, of_slot);
        for channel in 0..3 {
            let want = encoded((decoded(own[channel]) * gain[channel]).min(1.0));
            assert!((found[channel] - want).abs() < 1.01 / 255.0, "{keys} {of_slot}: {found:?}, not {want}");
        }
    }
}

/// What is lighter than `keep` stays; from there on down the light takes over without a step.
#[test]
fn what_shines_by_itself_keeps_its_light() {
    let night = "[light]\ncast = \"#304878\"\nexposure = -2\nkeep = 70";
    // CIE L* of these greys: 96 and 54 (CIE 15).
    let window = [243.0 / 255.0; 3];
    assert!(lit(window, night, "").iter().all(|part| (part - window[0]).abs() < 0.6 / 255.0));
    let wall = [0x81 as f64 / 255.0; 3];
    let gain = decoded(f64::from(0x30) / 255.0) / 4.0;
    assert!((lit(wall, night, "")[0] - encoded(decoded(wall[0]) * gain)).abs() < 1.01 / 255.0);
    let greys: Vec<f64> =
        (160..256).step_by(4).map(|code| lit([f64::from(code) / 255.0; 3], night, "")[1]).collect();
    assert!(greys.windows(2).all(|pair| pair[0] <= pair[1]), "{greys:?}");
}

/// Opacity of the treated copy of a solid picture, row by row, where its slot has these keys.
fn faded(keys: &str) -> Vec<f64> {
    let art = plain([0.2, 0.3, 0.4], 1.0);
    let text = format!(
        "view = [{}, {}]\n[rim]\nseparation = 0\n[air]\nbeyond = 0\n[[slot]]\nname = \"art\"\ndepth = 0\n{keys}\n",
        VIEW[0], VIEW[1]
    );
    let (scene, pictures) = scene(&text, &[("art", &art, [0.0, 0.0])]);
    let folder = render(&scene, &pictures);
    let treated = Pixels::read(&folder.path().join("art.art.png"));
    (0..VIEW[1] as i64).map(|y| treated.at(5, y)[3]).collect()
}

/// A fade's word and its share by the way that is gone.
type Curve = (&'static str, fn(f64) -> f64);

/// The four curves at every row, from either end: smoothstep (common practice, no source), the straight line, and the parabolas
/// that are steep at first and at last, each the other's mirror image.
#[test]
fn a_fade_dissolves_from_its_line_over_its_length_by_its_curve() {
    let curves: [Curve; 4] = [
        ("smooth", |t| t * t * (3.0 - 2.0 * t)),
        ("straight", |t| t),
        ("early", |t| 1.0 - (1.0 - t) * (1.0 - t)),
        ("late", |t| t * t),
    ];
    for (name, curve) in curves {
        for (end, from, toward) in [("foot", 20.0, 1.0), ("top", 50.0, -1.0)] {
            let keys =
                format!("fade = \"{end}\"\nfade_from = {from}\nfade_over = 40\nfade_curve = \"{name}\"");
            for (y, alpha) in faded(&keys).into_iter().enumerate() {
                let t = ((y as f64 + 0.5 - from) * toward / 40.0).clamp(0.0, 1.0);
                let wanted = 1.0 - curve(t);
                assert!(
                    (alpha - wanted).abs() <= 0.51 / 255.0,
                    "{name} at the {end}, row {y}: {alpha} for {wanted}"
                );
            }
        }
    }
}

/// Without numbers of its own it takes the outer third, gently.
#[test]
fn a_fade_takes_a_third_where_nothing_is_said() {
    let third = VIEW[1] as f64 / 3.0;
    let said = |end: &str, from: f64| {
        format!("fade = \"{end}\"\nfade_from = {from}\nfade_over = {third}\nfade_curve = \"smooth\"")
    };
    assert_eq!(faded("fade = \"foot\""), faded(&said("foot", VIEW[1] as f64 - third)));
    assert_eq!(faded("fade = \"top\""), faded(&said("top", third)));
}

/// Common practice, no source: nothing in the finished frame is pure black.
#[test]
fn the_floor_holds_for_arts_and_still() {
    let art =
        Pixels::new(VIEW[0], VIEW[1], |x, y| [0.0, 0.0, x as f64 / 900.0, if y > 20 { 1.0 } else { 0.0 }]);
    let text = format!(
        "view = [{}, {}]\nbackdrop = \"#000\"\nfloor = 4\n[air]\nhaze = \"#060503\"\nbeyond = 0\n[[slot]]\nname = \"art\"\ndepth = 0\n",
        VIEW[0], VIEW[1]
    );
    let (scene, pictures) = scene(&text, &[("art", &art, [0.0, 0.0])]);
    let original = art.png();
    let folder = render(&scene, &pictures);
    for file in ["art.art.png", "still.png"] {
        let pixels = Pixels::read(&folder.path().join(file));
        for texel in &pixels.texels {
            let colour =
                fogweft::base::colour::Srgb([texel[0], texel[1], texel[2]].map(|value| value as f32));
            // The grey of L* 4 has a luminance of 4 * 27 / 24389 (CIE 15), Oklab's lightness is its cube root.
            assert!(colour.oklab()[0] > 0.164 - 0.006, "{file}: {texel:?}");
        }
    }
    assert_eq!(original, art.png());
}

#[test]
fn a_sampled_haze_is_the_farthest_arts_at_the_horizon() {
    // Blue above, straw around the horizon at 33, brown below; one dark mast.
    let far = Pixels::new(VIEW[0], VIEW[1], |x, y| match (x, y) {
        (40, _) => [0.1, 0.1, 0.1, 1.0],
        (_, 0..=27) => [0.4, 0.5, 0.8, 1.0],
        (_, 28..=38) => [0.8, 0.76, 0.6, 1.0],
        _ => [0.3, 0.2, 0.1, 1.0],
    });
    let text = format!(
        "view = [{}, {}]\nhorizon = 33\n[air]\nhaze = \"sampled\"\n[[slot]]\nname = \"far\"\ndepth = 900\n[[slot]]\nname = \"near\"\ndepth = 0\n",
        VIEW[0], VIEW[1]
    );
    let (mut scene, pictures) = scene(&text, &[("far", &far, [0.0, 0.0])]);
    let limits = fogweft::base::limits::Limits::default();
    fogweft::plan::haze::sample(&mut scene, &pictures, &limits).expect("a haze");
    let wanted = [204, 194, 153];
    for (found, wanted) in scene.air.haze.to_codes().into_iter().zip(wanted) {
        assert!(found.abs_diff(wanted) <= 1, "{}", scene.air.haze.to_hex());
    }
    assert_eq!(scene.backdrop, scene.air.haze);
    // A deck takes the sky's blue from around its line.
    let text = text.replace("[air]", "sky = 12\n[air]\nanchor = \"sky\"");
    let (mut deck, pictures) = self::scene(&text, &[("far", &far, [0.0, 0.0])]);
    fogweft::plan::haze::sample(&mut deck, &pictures, &limits).expect("a haze");
    for (found, wanted) in deck.air.haze.to_codes().into_iter().zip([102, 128, 204]) {
        assert!(found.abs_diff(wanted) <= 1, "{}", deck.air.haze.to_hex());
    }
    let (mut bare, _) = common::scene(&text, &[]);
    assert!(fogweft::plan::haze::sample(&mut bare, &Default::default(), &limits).is_err());
}

#[test]
fn two_hues_of_the_air_are_mixed_by_the_light() {
    let text = format!(
        "view = [{}, {}]\n[air]\nhaze = \"#999999\"\nglow = \"#ffcc88\"\nshade = \"#334477\"\nbeyond = 900\nvisibility = 9000\n[falloff]\nheight = 4000\nfirm = 0\n[grade]\nlit = 1\n\
         [bands]\namount = 1\nsize = 12\n[smear]\nlength = 6\n[soften]\nsigma = 2\n[[slot]]\nname = \"air\"\ndepth = 0\n",
        VIEW[0], VIEW[1]
    );
    let (scene, pictures) = scene(&text, &[]);
    let folder = render(&scene, &pictures);
    let fog = Pixels::read(&folder.path().join("air.fog.png"));
    let warm = fog.texels.iter().filter(|texel| texel[0] > texel[2] + 0.1).count();
    let cold = fog.texels.iter().filter(|texel| texel[2] > texel[0] + 0.1).count();
    assert!(warm > 50 && cold > 50, "{warm} warm, {cold} cold of {}", fog.texels.len());
}

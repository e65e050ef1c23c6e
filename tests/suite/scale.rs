//! Scales: half the size is the whole shrunk; a coarser grid draws the same field.

use crate::util::{fogs, presets, scene};
use fogweft::base::limits::Limits;
use fogweft::base::units::Camera;
use fogweft::plan::Plan;
use fogweft::scene::Scene;
use fogweft::scene::pictures::{Pictures, Source};
use fogweft::stack::Stack;
use fogweft::steps::field::Sampling;
use fogweft::steps::sheet::{Row, Sheet};

/// Opacities of the first sheet of a scene, row by row.
fn opacities(scene: &Scene, scale: f64) -> Vec<Vec<f32>> {
    let plan = Plan::new(scene, &Default::default(), scale, &Limits::default()).unwrap();
    let sheet = Sheet::new(fogs(&plan)[0].spec.clone(), Sampling::Reduced);
    let [width, height] = sheet.size();
    let mut row = Row::default();
    (0..height as usize)
        .map(|y| {
            sheet.row(y, 0, width as usize, &mut row);
            row.alpha.clone()
        })
        .collect()
}

/// The mean of each two by two.
fn halved(rows: &[Vec<f32>]) -> Vec<Vec<f32>> {
    rows.chunks_exact(2)
        .map(|pair| {
            pair[0]
                .chunks_exact(2)
                .zip(pair[1].chunks_exact(2))
                .map(|(a, b)| (a[0] + a[1] + b[0] + b[1]) / 4.0)
                .collect()
        })
        .collect()
}

/// Largest and root mean square difference, in steps of 8 bits.
fn differences(a: &[Vec<f32>], b: &[Vec<f32>]) -> (f64, f64) {
    let (mut most, mut squares, mut count) = (0.0_f64, 0.0, 0.0);
    for (a, b) in a.iter().zip(b) {
        assert_eq!(a.len(), b.len());
        for (a, b) in a.iter().zip(b) {
            let off = 255.0 * f64::from(a - b);
            most = most.max(off.abs());
            squares += off * off;
            count += 1.0;
        }
    }
    (most, (squares / count).sqrt())
}

/// Half the scale against the whole scale's sheet, averaged over two by two, in steps of 8 bits: on the play plane within 24 anywhere and
/// 1 in the root mean square, at a pan rate of a half within 2.4 in the root mean square. Ground fog is so low that its tears are a
/// texel or two high: 48, 2 and 4.
#[test]
fn half_the_scale_is_the_sheet_shrunk_by_two() {
    for name in presets() {
        let low = name == "ground-fog";
        let (all, whole_rate, half_rate) = if low { (48.0, 2.0, 4.0) } else { (24.0, 1.0, 2.4) };
        for (shrink, within) in [(1.0, whole_rate), (0.5, half_rate)] {
            let scene = scene(&format!(
                "view = [960, 540]\ntravel = 200\npreset = \"{name}\"\n[air]\nvisibility = 300\nbeyond = 150\n[[slot]]\nname = \"a\"\ndepth = 0\nshrink = {shrink:?}\n"
            ));
            let (whole, half) = (opacities(&scene, 1.0), opacities(&scene, 0.5));
            assert_eq!(half.len(), 270);
            let (most, rms) = differences(&halved(&whole), &half);
            println!("{name} at {shrink}: half scale {most:.3} at most, {rms:.3} rms");
            assert!(rms <= within, "{name}: {rms} rms");
            assert!(shrink < 1.0 || most <= all, "{name}: {most} at most");
        }
    }
}

/// A still at a scale, averaged over squares of 8 scene px: codes.
fn squares(text: &str, pictures: &Pictures, scale: u32) -> Vec<[f64; 3]> {
    let plan = Plan::new(&scene(text), &pictures.naturals(), f64::from(scale), &Limits::default()).unwrap();
    let still = Stack::new(&plan, pictures, &Limits::default()).unwrap().still(Camera::default());
    let (side, width) = (8 * scale as usize, still.size[0] as usize);
    let mut found = Vec::new();
    for top in (0..still.size[1] as usize).step_by(side) {
        for left in (0..width).step_by(side) {
            let mut sum = [0.0; 3];
            for at in 0..side * side {
                let colour = still.colours[(top + at / side) * width + left + at % side];
                (0..3).for_each(|channel| sum[channel] += 255.0 * f64::from(colour[channel]));
            }
            found.push(sum.map(|sum| sum / (side * side) as f64));
        }
    }
    found
}

/// Rims are one field, whatever the scale: at twice the scale every square of the still is within 3 codes of what it is at scale 1, and
/// rims make a multiple of that.
#[test]
fn rims_are_the_same_at_twice_the_scale() {
    let drawing = |body: &str| {
        format!("<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"480\" height=\"272\">{body}</svg>")
            .into_bytes()
    };
    let ridge = "<path fill=\"#3c4148\" d=\"M0 272V150L70 96L130 140L210 70L300 150L390 110L480 160V272Z\"/>";
    let posts: String = (0..12)
        .map(|at| {
            format!("<rect fill=\"#33383d\" x=\"{}\" y=\"110\" width=\"3.5\" height=\"162\"/>", 20 + 39 * at)
        })
        .collect();
    let mut pictures = Pictures::default();
    for (name, body) in [("ridge", ridge), ("posts", posts.as_str())] {
        let file = format!("{name}.svg");
        pictures.add(name, Source::from_bytes(file, drawing(body), &Limits::default()).unwrap());
    }
    let text = |separation: f64| {
        format!(
            "view = [480, 272]\nbackdrop = \"#484c52\"\ncamera = 500\npreset = \"radiation-fog\"\n[air]\nvisibility = 3000\n\
             [rim]\nseparation = {separation:?}\nspread = 9\nmost = 0.9\n\
             [[slot]]\nname = \"ridge\"\ndepth = 300\nart = \"ridge.svg\"\nx = 0\ny = 0\n\
             [[slot]]\nname = \"posts\"\ndepth = 0\nart = \"posts.svg\"\nx = 0\ny = 0\n"
        )
    };
    let most = |a: &[[f64; 3]], b: &[[f64; 3]]| {
        let differences = a.as_flattened().iter().zip(b.as_flattened()).map(|(a, b)| (a - b).abs());
        differences.fold(0.0, f64::max)
    };
    let [once, twice] = [1, 2].map(|scale| squares(&text(12.0), &pictures, scale));
    let (off, made) = (most(&once, &twice), most(&once, &squares(&text(0.0), &pictures, 1)));
    println!("rims make {made:.1} codes, {off:.2} of which differ by scale");
    assert!(made > 8.0 && off <= 3.0, "{made} codes, {off} off");
}

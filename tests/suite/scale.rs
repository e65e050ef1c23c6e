//! Scales: half the size is the whole shrunk; a coarser grid draws the same field.

use crate::util::{fogs, presets, scene};
use fogweft::base::limits::Limits;
use fogweft::plan::Plan;
use fogweft::scene::Scene;
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

/// Half the scale against the whole scale's sheet, averaged over two by two: on the play plane within 48 steps of 8 bits anywhere
/// (the finest of torn ends, which no blur follows) and within 2 in the root mean square; at a pan rate of a half, where the finest tears and
/// octaves are smaller than a texel of the half scale, within 4 in the root mean square.
#[test]
fn half_the_scale_is_the_sheet_shrunk_by_two() {
    for name in presets() {
        for (shrink, within) in [(1.0, 2.0), (0.5, 4.0)] {
            let scene = scene(&format!(
                "view = [960, 540]\ntravel = 200\npreset = \"{name}\"\n[air]\nvisibility = 300\nbeyond = 150\n[[slot]]\nname = \"a\"\ndepth = 0\nshrink = {shrink:?}\n"
            ));
            let (whole, half) = (opacities(&scene, 1.0), opacities(&scene, 0.5));
            assert_eq!(half.len(), 270);
            let (most, rms) = differences(&halved(&whole), &half);
            println!("{name} at {shrink}: half scale {most:.3} at most, {rms:.3} rms");
            assert!(rms <= within, "{name}: {rms} rms");
            assert!(shrink < 1.0 || most <= 48.0, "{name}: {most} at most");
        }
    }
}

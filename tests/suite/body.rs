//! The body of a fog: a foot that stays whole under a top that heaves, firm in one place and lost in another. No source: what is
//! asked of it is common practice in painting.

use crate::util::{even, mean, texels};
use fogweft::base::units::{Px, Scale, Texel};
use fogweft::base::words::Anchor;
use fogweft::steps::field::{FieldSpec, Sampling};
use fogweft::steps::recipe::Recipe;

const SIZE: [u32; 2] = [1600, 480];
const LINE: f64 = 360.5;
const HEIGHT: f64 = 70.0;

fn body(heaps: f64) -> Recipe<Px> {
    let mut recipe = even();
    let falloff = &mut recipe.falloff;
    (falloff.height, falloff.wave) = (Px(HEIGHT), Px(900.0));
    (falloff.firm, falloff.heaps) = (1.0, heaps);
    recipe
}

fn spec(recipe: &Recipe<Px>, seed: u64) -> FieldSpec {
    FieldSpec::new(SIZE, Anchor::Ground, Texel(LINE), Scale(1.0), recipe, seed)
}

/// Density a scale height above the line and more, all over the sheet, over that along the line: of the exponential it is 1.
fn above(rows: &[Vec<f32>]) -> f64 {
    let of_rows = rows[..LINE as usize].iter().map(|row| mean(row.iter().map(|&value| f64::from(value))));
    of_rows.sum::<f64>() / HEIGHT
}

#[test]
fn the_foot_is_whole_and_the_top_heaves() {
    for seed in 1..=4 {
        let rows = texels(&spec(&body(1.2), seed), Sampling::Reduced);
        let least = rows[LINE as usize..].iter().flatten().copied().fold(f32::INFINITY, f32::min);
        assert!(least > 0.85, "seed {seed}: a hole of {least} in the foot");
        let top = &rows[(LINE - HEIGHT) as usize];
        let share = |of: &dyn Fn(f32) -> bool| top.iter().filter(|&&value| of(value)).count() as f64 / 1600.0;
        let (bays, heaps) = (share(&|value| value < 0.2), share(&|value| value > 0.8));
        assert!(bays > 0.1 && heaps > 0.05, "seed {seed}: {bays:.2} bays, {heaps:.2} heaps");
    }
}

/// The shape of a top doesn't change how much fog there is: within 5 % over seeds, 15 % of one sheet, whose few heaps don't cancel out.
#[test]
fn heaps_leave_the_amount_of_fog() {
    let amounts: Vec<f64> =
        (1..=12).map(|seed| above(&texels(&spec(&body(0.8), seed), Sampling::Reduced))).collect();
    println!("{amounts:.3?}");
    let all = mean(amounts.iter().copied());
    assert!((all - 1.0).abs() < 0.05, "{all}");
    assert!(amounts.iter().all(|one| (one - 1.0).abs() < 0.15), "{amounts:.3?}");
}

/// Rows from a density of nine tenths to one of a tenth, in each column.
#[test]
fn a_top_is_firm_here_and_lost_there() {
    let rows = texels(&spec(&body(0.0), 3), Sampling::Reduced);
    let height = |col: usize, density: f32| rows.iter().position(|row| row[col] > density).unwrap();
    let mut widths: Vec<usize> = (0..1600).map(|col| height(col, 0.9) - height(col, 0.1)).collect();
    widths.sort_unstable();
    let (firm, lost) = (widths[160], widths[1440]);
    assert!(firm < 40 && lost > 3 * firm, "{firm} to {lost} texels");
}

#[test]
fn without_shape_a_body_is_the_exponential() {
    let mut plain = body(1.2);
    plain.bands.shape = 0.0;
    let mut exponential = plain.clone();
    (exponential.falloff.firm, exponential.falloff.heaps) = (0.0, 0.0);
    let [a, b] = [plain, exponential].map(|recipe| texels(&spec(&recipe, 1), Sampling::Reduced));
    assert_eq!(a, b);
}

/// A sheet's height doesn't change what is in it, and its loop closes.
#[test]
fn crops_and_loops_of_a_body_are_its_own() {
    let whole = spec(&body(1.0), 5);
    let mut crop = whole.clone();
    crop.rows -= 150;
    crop.line.0 -= 150.0;
    let rows = texels(&whole, Sampling::Full);
    let cropped = texels(&crop, Sampling::Full);
    let off = |a: &[Vec<f32>], b: &[Vec<f32>]| {
        let pairs = a.iter().flatten().zip(b.iter().flatten());
        pairs.map(|(a, b)| (a - b).abs()).fold(0.0_f32, f32::max)
    };
    assert!(off(&rows[150..], &cropped) < 1e-3);
    let [end, half] = [1.0, 0.5].map(|time| texels(&FieldSpec { time, ..whole.clone() }, Sampling::Full));
    assert!(off(&rows, &end) < 1e-3);
    assert!(off(&rows, &half) > 0.3);
}

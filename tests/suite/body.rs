//! The body of a fog: a foot that stays whole under a top that heaves, firm in one place and lost in another. No source: what is
//! asked of it is common practice in painting.

use crate::util::{even, mean, preset, presets, texels};
use fogweft::base::colour::Srgb;
use fogweft::base::units::{Px, Scale, Texel};
use fogweft::base::words::Anchor;
use fogweft::steps::field::{FieldSpec, Sampling};
use fogweft::steps::recipe::{Noise, Recipe};
use fogweft::steps::sheet::{Sheet, SheetSpec};
use fogweft::steps::step5_grade::Tones;

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

/// What strands add to a body: with them less without, of one top.
fn strands(seed: u64) -> Vec<Vec<f32>> {
    let mut with = body(0.0);
    with.falloff.strands = 1.0;
    let [with, without] = [with, body(0.0)].map(|recipe| texels(&spec(&recipe, seed), Sampling::Reduced));
    let rows = with.into_iter().zip(without);
    rows.map(|(with, without)| with.into_iter().zip(without).map(|(a, b)| a - b).collect()).collect()
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
    (plain.bands.shape, plain.falloff.strands) = (0.0, 0.7);
    let mut exponential = plain.clone();
    (exponential.falloff.firm, exponential.falloff.heaps, exponential.falloff.strands) = (0.0, 0.0, 0.0);
    let [a, b] = [plain, exponential].map(|recipe| texels(&spec(&recipe, 1), Sampling::Reduced));
    assert_eq!(a, b);
}

/// Strands don't change how much fog there is: within 5 % over seeds, 15 % of one sheet.
#[test]
fn strands_leave_the_amount_of_fog() {
    let mut recipe = body(0.8);
    recipe.falloff.strands = 1.0;
    let amounts: Vec<f64> =
        (1..=12).map(|seed| above(&texels(&spec(&recipe, seed), Sampling::Reduced))).collect();
    println!("{amounts:.3?}");
    let all = mean(amounts.iter().copied());
    assert!((all - 1.0).abs() < 0.05, "{all}");
    assert!(amounts.iter().all(|one| (one - 1.0).abs() < 0.15), "{amounts:.3?}");
}

/// Strands stand off the top with clear air below them, are few, many times as long as high, and fewer the higher they are.
#[test]
fn strands_stand_off_the_top_with_gaps_between() {
    let (mut by_height, mut columns, mut off, mut across, mut down) = ([0.0; 4], 0, 0, 0, 0);
    for seed in 1..=8 {
        let rows = strands(seed);
        let is_strand = |row: usize, col: usize| rows[row][col] > 0.2;
        for (row, numbers) in rows.iter().enumerate().take(LINE as usize) {
            let h = (LINE - row as f64) / HEIGHT;
            if (1.0..5.0).contains(&h) {
                by_height[h as usize - 1] +=
                    numbers.iter().map(|&number| f64::from(number.max(0.0))).sum::<f64>();
            }
            across += (1..1600).filter(|&col| is_strand(row, col) != is_strand(row, col - 1)).count();
        }
        for col in 0..1600 {
            let own: Vec<usize> = (0..LINE as usize).filter(|&row| is_strand(row, col)).collect();
            down += (1..LINE as usize).filter(|&row| is_strand(row, col) != is_strand(row - 1, col)).count();
            columns += usize::from(!own.is_empty());
            // Clear air between the lowest strand and the body.
            if let Some(&low) = own.last() {
                let mut under = low..(LINE - 0.8 * HEIGHT) as usize;
                off += usize::from(under.any(|row| rows[row][col].abs() < 0.05));
            }
        }
    }
    println!("{by_height:.0?}; {columns} columns, {off} stand off; edges {across} across, {down} down");
    let share = columns as f64 / (8.0 * 1600.0);
    assert!((0.1..0.7).contains(&share), "strands in {share:.2} of all columns");
    assert!(by_height.windows(2).all(|pair| pair[0] > pair[1]), "{by_height:.0?}");
    assert!(off as f64 > 0.6 * columns as f64, "{off} of {columns} stand off");
    assert!(down > 4 * across, "{down} edges down, {across} across");
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
    let [end, half] = [1.0, 0.5].map(|time| texels(&whole.at(time, 12.0), Sampling::Full));
    assert!(off(&rows, &end) < 1e-3);
    assert!(off(&rows, &half) > 0.3);
}

/// Mean density along the fog's own line, with its sway, by lines between rows.
fn along_line(spec: &FieldSpec) -> f64 {
    let rows = texels(spec, Sampling::Reduced);
    let heights = spec.own_line().heights(spec.cols as usize);
    mean(heights.into_iter().enumerate().map(|(col, y)| {
        let place = (y - 0.5).clamp(0.0, rows.len() as f64 - 2.0);
        let (row, share) = (place as usize, place.fract());
        f64::from(rows[row][col]) * (1.0 - share) + f64::from(rows[row + 1][col]) * share
    }))
}

/// What shapes a fog doesn't change how much there is: the mean along its own line stays 1 within 5 %, whatever the number and the dice.
#[test]
fn no_number_of_the_shape_changes_the_amount() {
    let shapes: [fn(&mut Recipe<Px>); 8] = [
        |recipe| recipe.falloff.sway = Px(110.0),
        |recipe| recipe.falloff.breath = 0.9,
        |recipe| recipe.falloff.wave = Px(300.0),
        |recipe| recipe.falloff.heaps = 1.8,
        |recipe| recipe.falloff.strands = 1.0,
        |recipe| recipe.bands.kind = Noise::Ridged,
        |recipe| recipe.bands.stretch = 9.0,
        |recipe| recipe.bands.coverage = 0.3,
    ];
    for name in ["radiation-fog", "smoke-layer"] {
        for (at, shape) in shapes.iter().enumerate() {
            let (_, mut recipe) = preset(name);
            shape(&mut recipe);
            // The line in the middle, so that its sway stays in the sheet.
            let line = Texel(240.5 + recipe.falloff.lift.0);
            let spec = FieldSpec::new(SIZE, Anchor::Ground, line, Scale(1.0), &recipe, at as u64 + 1);
            let amount = along_line(&spec);
            assert!((amount - 1.0).abs() < 0.05, "{name}, shape {at}: {amount}");
        }
    }
}

/// A line that rises and falls far leaves a thin layer as thin as it was.
#[test]
fn sway_makes_no_layer_thicker() {
    let thick = |sway: f64| {
        let (anchor, mut recipe) = preset("smoke-layer");
        recipe.falloff.sway = Px(sway);
        let spec = FieldSpec::new([2048, 540], anchor, Texel(450.0), Scale(0.5), &recipe, 3);
        let rows = texels(&spec, Sampling::Reduced);
        let opaque = |density: &&f32| 1.0 - libm::expf(-1.4 * **density) > 0.98;
        rows.iter().flatten().filter(opaque).count() as f64 / (2048.0 * 540.0)
    };
    let (level, swaying) = (thick(0.0), thick(300.0));
    assert!(level < 0.001 && swaying < 0.02, "{level} of its texels, {swaying} with sway");
}

/// Every bank and deck has a lit and a shaded side, without glow or shade of its own: 20 codes between them.
#[test]
fn banks_and_decks_have_two_sides() {
    for name in presets().into_iter().filter(|name| !matches!(name.as_str(), "mist" | "dust-haze")) {
        let (_, recipe) = preset(&name);
        let haze = Srgb::parse_hex("#c3c9cf").unwrap();
        let tones = Tones::new(haze, None, None, None, recipe.grade.lit);
        let field = crate::util::spec(&name, [2048, 540], 5);
        let spec = SheetSpec { field, tau: 1.2 * recipe.grade.thickness, clear: 0.0, tones, light: 150.0 };
        let texels = Sheet::new(spec, Sampling::Reduced).eight(2048);
        // What is opaque enough to have a colour.
        let seen = texels.chunks_exact(4).filter(|texel| texel[3] > 76);
        let mut greens: Vec<u8> = seen.map(|texel| texel[1]).collect();
        greens.sort_unstable();
        let [dark, light] = [0.02, 0.98].map(|share| greens[(share * greens.len() as f64) as usize]);
        println!("{name}: {dark} to {light}");
        assert!(light - dark >= 20, "{name}: {dark} to {light}");
    }
}

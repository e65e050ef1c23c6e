//! A line at a slope: all of a sheet lies along it, it never falls back in view, and what is drawn by hand stays where it was drawn.

use crate::util::{even, fogs, plan, preset, scene, texels};
use fogweft::base::law;
use fogweft::base::units::{Px, Scale, Texel};
use fogweft::base::words::Anchor;
use fogweft::plan::Job;
use fogweft::scene::pictures::Pictures;
use fogweft::steps::field::{FieldSpec, Sampling};
use fogweft::steps::recipe::Recipe;
use fogweft::steps::strokes::{Drawing, Strokes};
use std::sync::Arc;

const SIZE: [u32; 2] = [512, 256];

fn spec(recipe: &Recipe<Px>, degrees: f64) -> FieldSpec {
    let mut recipe = recipe.clone();
    recipe.falloff.slope = degrees;
    FieldSpec::new(SIZE, Anchor::Ground, Texel(140.0), Scale(0.25), &recipe, 3)
}

/// Density along a row or a column between two texels.
fn between(a: f32, b: f32, t: f64) -> f64 {
    f64::from(a) * (1.0 - t) + f64::from(b) * t
}

/// Each column of the sheet is that of the level one, displaced by the tangent of the angle, for every kind of fog.
#[test]
fn bands_top_and_smear_lie_along_it() {
    for (name, degrees) in
        [("fog-bank", 9.0), ("upslope-fog", -14.0), ("steam-fog", 5.0), ("radiation-fog", 20.0)]
    {
        let recipe = preset(name).1;
        let (level, sloped) = (spec(&recipe, 0.0), spec(&recipe, degrees));
        let slope = sloped.slope.expect("a slope");
        let (level, own) = (texels(&level, Sampling::Reduced), texels(&sloped, Sampling::Reduced));
        let (mut squares, mut count, mut most) = (0.0, 0.0, 0.0_f64);
        // Of what comes into view: before it falls back.
        for col in 0..440 {
            let up = slope.up(col as f64 + 0.5, f64::from(SIZE[0]));
            assert!((slope.up(col as f64 + 1.5, 512.0) - up - libm::tan(degrees.to_radians())).abs() < 1e-9);
            for row in 0..SIZE[1] as usize {
                let place = row as f64 + up;
                if !(1.0..=253.0).contains(&place) {
                    continue;
                }
                let at = place as usize;
                let want = between(level[at][col], level[at + 1][col], place - at as f64);
                let off = f64::from(own[row][col]) - want;
                (squares, count, most) = (squares + off * off, count + 1.0, most.max(off.abs()));
            }
        }
        let rms = libm::sqrt(squares / count);
        println!("{name} at {degrees} degrees: {rms:.4} rms, {most:.3} at most");
        assert!(count > 60_000.0 && rms < 0.02, "{name}: {rms} rms over {count} texels");
    }
}

/// The height at which fog of a density between foot and air begins, by column.
fn line_of(rows: &[Vec<f32>], col: usize) -> f64 {
    let row = rows.iter().position(|row| row[col] > 0.5).expect("fog");
    row as f64 - f64::from((rows[row][col] - 0.5) / (rows[row][col] - rows[row - 1][col]))
}

#[test]
fn the_line_rises_by_its_tangent() {
    let mut recipe = even();
    recipe.falloff.height = Px(40.0);
    for degrees in [-20.0, 4.0, 11.0] {
        let rows = texels(&spec(&recipe, degrees), Sampling::Full);
        let rise = (line_of(&rows, 100) - line_of(&rows, 300)) / 200.0;
        assert!((rise - libm::tan(degrees.to_radians())).abs() < 0.003, "{degrees}: {rise}");
    }
}

/// Over all that the camera sees of it the line rises steadily; the sheet has no repeat there and doesn't drift off its slope.
#[test]
fn it_covers_the_travel_and_stands() {
    let text = "view = [240, 160]\ntravel = 2000\ncamera = 300\npreset = \"fog-bank\"\nbands.amount = 0\n\
                [[slot]]\nname = \"hill\"\ndepth = 100\nfalloff.slope = 3\nline = 80\n[[slot]]\nname = \"plain\"\ndepth = 0\n";
    let scene = scene(text);
    let plan = plan(&scene, &Pictures::default());
    let job = fogs(&plan)[0];
    let [whole, _] = law::strip(scene.view, scene.travel, job.placing.pan_rate);
    let period = job.placing.period.expect("a period");
    assert!(period > whole, "{period} for {whole}");
    assert_eq!(plan.drift_of(&Job::Fog(Box::new(job.clone()))), 0.0);
    assert_ne!(plan.drift_of(&Job::Fog(Box::new(fogs(&plan)[1].clone()))), 0.0);
    let slope = job.spec.field.slope.expect("a slope");
    let cols = f64::from(job.placing.texels[0]);
    let ups: Vec<f64> = (0..whole.0 as usize).map(|col| slope.up(col as f64, cols)).collect();
    assert!(ups.is_sorted() && slope.up(0.5 * whole.0, cols).abs() < 1e-9);
    // And comes round to where it began.
    assert!((slope.up(cols, cols) - slope.up(0.0, cols)).abs() < 1e-6);
}

#[test]
fn strokes_lie_where_they_were_drawn() {
    let marks: Vec<[f32; 2]> =
        (0..64 * 32).map(|at| if (16..48).contains(&(at % 64)) { [1.0; 2] } else { [0.0; 2] }).collect();
    let drawing = Arc::new(Drawing { size: [64, 32], marks, content: "strokes".into() });
    let recipe = even();
    let field = |degrees: f64| {
        let mut spec = spec(&recipe, degrees);
        spec.strokes = Some(Strokes {
            drawing: Arc::clone(&drawing),
            rect: [300.0, 40.0, 64.0, 32.0],
            copies: 1,
            weight: 1.0,
            only: true,
        });
        texels(&spec, Sampling::Full)
    };
    let (level, sloped) = (field(0.0), field(25.0));
    for (row, (level, sloped)) in level.iter().zip(&sloped).enumerate() {
        for (col, (level, sloped)) in level.iter().zip(sloped).enumerate() {
            // Its ends are drawn between texels.
            let inside = (43..69).contains(&row) && (318..346).contains(&col);
            let beyond = !(38..74).contains(&row) || !(312..352).contains(&col);
            assert!(!inside || (*level > 0.99 && *sloped > 0.97), "{col}, {row}: {level}, {sloped}");
            assert!(!beyond || (*level < 0.01 && *sloped < 0.03), "{col}, {row}: {level}, {sloped}");
        }
    }
}

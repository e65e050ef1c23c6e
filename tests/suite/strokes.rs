//! Drawn strokes: where they are fog, how much of it, and that nothing else moves.

use crate::util::{decode_file, even, fogweft, mean, near, scene, spec, texels};
use fogweft::base::limits::Limits;
use fogweft::base::picture::Picture;
use fogweft::base::units::{Px, Scale, Texel};
use fogweft::base::words::Anchor;
use fogweft::scene::pictures::Pictures;
use fogweft::steps::field::{FieldSpec, Sampling};
use fogweft::steps::strokes::{Drawing, Strokes};
use std::path::Path;
use std::sync::Arc;

const SAMPLINGS: [Sampling; 2] = [Sampling::Full, Sampling::Reduced];

/// A picture in which a rectangle (left, top, width, height) has one texel and all else is clear.
fn drawing(size: [u32; 2], [left, top, width, height]: [u32; 4], texel: [u16; 4]) -> Arc<Drawing> {
    let inside = |x: u32, y: u32| (left..left + width).contains(&x) && (top..top + height).contains(&y);
    let texels = (0..size[1])
        .flat_map(|y| (0..size[0]).map(move |x| (x, y)))
        .map(|(x, y)| if inside(x, y) { texel } else { [0; 4] })
        .collect();
    let name = format!("{size:?} {left} {top} {width} {height} {texel:?}");
    Arc::new(Drawing::new(&Picture { size, deep: true, texels }, name))
}

/// `spec` with a drawing over all of it.
fn drawn(spec: &FieldSpec, drawing: &Arc<Drawing>, weight: f64, only: bool) -> FieldSpec {
    let rect = [0.0, 0.0, f64::from(spec.cols), f64::from(spec.rows)];
    let strokes = Strokes { drawing: Arc::clone(drawing), rect, copies: 1, weight, only };
    FieldSpec { strokes: Some(strokes), ..spec.clone() }
}

const WHITE: [u16; 4] = [65535; 4];
const BLACK: [u16; 4] = [0, 0, 0, 65535];

/// Even fog under a smear and a Gaussian of the size that recipes have.
fn blurred(size: [u32; 2]) -> FieldSpec {
    let mut recipe = even();
    (recipe.smear.length, recipe.soften.sigma) = (Px(60.0), Px(8.0));
    FieldSpec::new(size, Anchor::Ground, Texel(0.8 * f64::from(size[1])), Scale(1.0), &recipe, 3)
}

// Both blurs are convolutions with kernels of integral 1, centred: mass and centroid of what they blur stay.
#[test]
fn a_stroke_keeps_its_mass_and_its_centroid() {
    let plain = blurred([640, 360]);
    for (stroke, weight) in [([200, 150, 90, 24], 1.0), ([303, 171, 31, 17], 2.5)] {
        let drawing = drawing([640, 360], stroke, WHITE);
        for sampling in SAMPLINGS {
            let field = texels(&drawn(&plain, &drawing, weight, true), sampling);
            let (mut mass, mut x, mut y) = (0.0, 0.0, 0.0);
            for (row, line) in field.iter().enumerate() {
                for (col, density) in line.iter().enumerate() {
                    let density = f64::from(*density);
                    mass += density;
                    x += density * (col as f64 + 0.5);
                    y += density * (row as f64 + 0.5);
                }
            }
            let [left, top, width, height] = stroke.map(f64::from);
            let want = weight * width * height;
            near(mass, want, 0.02 * want);
            near(x / mass, left + 0.5 * width, 0.5);
            near(y / mass, top + 0.5 * height, 0.5);
        }
    }
}

#[test]
fn a_drawing_of_any_size_lays_down_the_same_mass() {
    let plain = blurred([512, 256]);
    // The same rectangle in pictures of half, a quarter and twice the sheet's texels.
    for (size, stroke) in
        [([256, 128], [60, 50, 40, 12]), ([128, 64], [30, 25, 20, 6]), ([1024, 512], [240, 200, 160, 48])]
    {
        let spec = drawn(&plain, &drawing(size, stroke, WHITE), 1.0, true);
        let field = texels(&spec, Sampling::Reduced);
        let mass: f64 = field.iter().flatten().map(|density| f64::from(*density)).sum();
        near(mass, 80.0 * 24.0, 0.02 * 80.0 * 24.0);
    }
}

#[test]
fn clearing_leaves_nothing_in_its_middle() {
    let plain = blurred([640, 360]);
    let clearing = drawing([640, 360], [170, 100, 300, 160], BLACK);
    for sampling in SAMPLINGS {
        let field = texels(&drawn(&plain, &clearing, 1.0, false), sampling);
        // Half a code of opacity at an optical depth of 1.
        let middle = &field[160..200].iter().flat_map(|row| &row[300..340]).copied().fold(0.0, f32::max);
        assert!(*middle < 0.5 / 255.0, "{sampling:?}: {middle} is left");
        near(mean(field[20].iter().map(|density| f64::from(*density))), 1.0, 1e-3);
    }
}

#[test]
fn half_grey_wants_half_and_half_alpha_counts_half() {
    let plain = blurred([640, 360]);
    let all = [100, 60, 440, 240];
    let grey = 32768;
    for (texel, only, want) in [
        ([grey, grey, grey, 65535], true, 0.5),
        ([65535, 65535, 65535, grey], true, 0.5),
        // Over even fog of density 1: half of it is kept, the other half becomes 3.
        ([65535, 65535, 65535, grey], false, 0.5 + 0.5 * 3.0),
    ] {
        let weight = if only { 1.0 } else { 3.0 };
        let field = texels(&drawn(&plain, &drawing([640, 360], all, texel), weight, only), Sampling::Reduced);
        near(f64::from(field[180][320]), want, 0.01);
    }
}

#[test]
fn where_nothing_is_drawn_every_bit_stays() {
    for name in ["radiation-fog", "steam-fog", "low-stratus"] {
        let plain = spec(name, [1024, 288], 9);
        let empty = drawing([1024, 288], [0; 4], WHITE);
        let one = drawing([1024, 288], [500, 140, 24, 8], WHITE);
        let blurs = (&plain.recipe.smear, &plain.recipe.soften);
        // The smear is a box, and a Gaussian is nothing beyond six deviations; two samples for the stretch to texels.
        let reach = 12.0 + 0.5 * blurs.0.length.0 + 6.0 * blurs.1.sigma.0 * blurs.1.stretch.max(1.0) + 8.0;
        assert!(reach < 400.0, "{name}: nothing is out of reach of {reach}");
        for sampling in SAMPLINGS {
            let want = texels(&plain, sampling);
            assert_eq!(texels(&drawn(&plain, &empty, 1.0, false), sampling), want, "{name}, {sampling:?}");
            let got = texels(&drawn(&plain, &one, 3.0, false), sampling);
            let (mut most, mut far) = (0.0_f32, 0.0_f32);
            for (got, want) in got.iter().zip(&want) {
                for (col, (got, want)) in got.iter().zip(want).enumerate() {
                    let change = (got - want).abs();
                    let which = if (col as f64 + 0.5 - 512.0).abs() > reach { &mut far } else { &mut most };
                    *which = which.max(change);
                }
            }
            assert!(most > 0.02, "{name}, {sampling:?}: a stroke changes {most} at most");
            // Sums in single precision run on along a row.
            assert!(far < 1e-4, "{name}, {sampling:?}: {far} out of reach of a stroke");
        }
    }
}

#[test]
fn strokes_wrap_as_their_sheet_does() {
    let plain = blurred([256, 128]);
    let drawing = drawing([64, 16], [0, 0, 64, 16], WHITE);
    let at = |left: f64| {
        let rect = [left, 56.0, 64.0, 16.0];
        let strokes = Strokes { drawing: Arc::clone(&drawing), rect, copies: 1, weight: 1.0, only: true };
        texels(&FieldSpec { strokes: Some(strokes), ..plain.clone() }, Sampling::Full)
    };
    assert_eq!(at(-32.0), at(224.0));
    assert_eq!(at(-32.0), at(-32.0 - 512.0));
}

// Four strokes of a quarter of the period are the same as one picture of four.
#[test]
fn strokes_whose_width_tiles_to_the_period_repeat() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = |x: u32| format!("<path d=\"M{} 60h60\" stroke=\"#fff\" stroke-width=\"20\"/>", x + 30);
    let svg = |width: u32, inside: &str| {
        format!("<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"120\">{inside}</svg>")
    };
    let whole: String = (0..4).map(|at| path(160 * at)).collect();
    let one = rendered(folder.path(), &svg(640, &whole), "strokes_x = 20\nstrokes_weight = 3\n");
    let tiled = rendered(folder.path(), &svg(160, &path(0)), "strokes_x = 20\nstrokes_weight = 3\n");
    let apart = one.texels.iter().zip(&tiled.texels).map(|(a, b)| a[3].abs_diff(b[3])).max();
    assert!(apart < Some(64), "{apart:?} of 65535");
    near(densities(&tiled)[60 * 640 + 560], densities(&tiled)[60 * 640 + 80], 1e-3);
    assert!(densities(&tiled)[60 * 640 + 80] > 1.3);
    // Two thirds of the period stand once.
    let once = rendered(folder.path(), &svg(426, &path(0)), "strokes_x = 20\nstrokes_weight = 3\n");
    near(densities(&once)[60 * 640 + 506], 1.0, 1e-3);
}

#[test]
fn a_sheet_with_strokes_covers_its_whole_strip() {
    let text = "view = [320, 180]\ntravel = 3200\n[[slot]]\nname = \"a\"\ndepth = 0\n";
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("a.svg");
    let svg = "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"320\" height=\"180\"><path d=\"M20 20h200\" stroke=\"#fff\" stroke-width=\"20\"/></svg>";
    std::fs::write(&file, svg).expect("written");
    let period = |more: &str| {
        let mut scene = scene(&format!("{text}{more}"));
        if let Some(strokes) = &mut scene.slots[0].strokes {
            strokes.file = file.clone();
        }
        let pictures = Pictures::open(&scene, &Limits::default()).expect("pictures");
        let plan = crate::util::plan(&scene, &pictures);
        let fog = crate::util::fogs(&plan)[0];
        (fog.placing.period.expect("a period").0, plan.notes)
    };
    assert!(period("").0 <= 640.0);
    let (whole, notes) = period("strokes = \"a.svg\"\n");
    assert!(whole >= 3520.0, "{whole}");
    // White high over a ground fog's line wants more than the law gives there.
    assert!(notes.iter().any(|note| note.starts_with("a: over its strokes")), "{notes:?}");
    assert_eq!(period("strokes = \"a.svg\"\nperiod = 640\n").0, 640.0);
}

/// A level of one slot on the play plane, whose fog is even and thin and not lit, with strokes; rendered by the program at 16 bits.
fn rendered(folder: &Path, svg: &str, more: &str) -> crate::util::Decoded {
    let text = format!(
        "view = [640, 360]\ncamera = 1000\nhorizon = 100\nground = 300\n[air]\nvisibility = 900\nclear = inf\nbeyond = 90\n\
         [texture]\nfit = \"full\"\n\
         [bands]\namount = 0\n[falloff]\nheight = inf\nbeyond = inf\nbreath = 0\nsway = 0\n\
         [smear]\nlength = 60\nangle = 0\n[soften]\nsigma = 8\nstretch = 1\n[grade]\nlit = 0\nthickness = 1\n\
         [[slot]]\nname = \"a\"\ndepth = 0\nperiod = 640\nstrokes = \"a.strokes.svg\"\n{more}"
    );
    std::fs::write(folder.join("scene.toml"), text).expect("written");
    std::fs::write(folder.join("a.strokes.svg"), svg).expect("written");
    let run = fogweft(folder, &["render", "scene.toml", "--bits", "16", "--out", "out"]);
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    decode_file(&folder.join("out/a.fog.png"))
}

/// Density at each texel, by the law: opacity = 1 - exp(-tau density), tau = -ln 0.05 / visibility * distance.
fn densities(sheet: &crate::util::Decoded) -> Vec<f64> {
    let tau = -libm::log(0.05) / 900.0 * 90.0;
    sheet.texels.iter().map(|texel| -libm::log(1.0 - f64::from(texel[3]) / 65535.0) / tau).collect()
}

// A stroke of even width with butt ends has the area length times width, and its middle is its centroid.
#[test]
fn the_program_renders_a_stroke_with_its_mass_where_it_was_drawn() {
    let folder = tempfile::tempdir().expect("a folder");
    let svg = "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"200\" height=\"100\"><path d=\"M30 40H140\" stroke=\"#fff\" stroke-width=\"24\"/></svg>";
    let place =
        "strokes_x = 150\nstrokes_y = 120\nstrokes_width = 300\nstrokes_weight = 1.5\nstrokes_only = true\n";
    let sheet = rendered(folder.path(), svg, place);
    assert_eq!(sheet.size, [640, 360]);
    let (mut mass, mut x, mut y) = (0.0, 0.0, 0.0);
    for (at, density) in densities(&sheet).into_iter().enumerate() {
        mass += density;
        x += density * ((at % 640) as f64 + 0.5);
        y += density * ((at / 640) as f64 + 0.5);
    }
    let want = 1.5 * (1.5 * 110.0) * (1.5 * 24.0);
    near(mass, want, 0.02 * want);
    near(x / mass, 150.0 + 1.5 * 85.0, 0.5);
    near(y / mass, 120.0 + 1.5 * 40.0, 0.5);
}

#[test]
fn the_program_clears_what_is_drawn_black() {
    let folder = tempfile::tempdir().expect("a folder");
    let svg = "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"640\" height=\"360\"><rect x=\"160\" y=\"100\" width=\"320\" height=\"160\"/></svg>";
    let sheet = rendered(folder.path(), svg, "");
    let opacity = |x: usize, y: usize| f64::from(sheet.texels[y * 640 + x][3]) / 257.0;
    let middle = (280..360).flat_map(|x| (160..200).map(move |y| (x, y)));
    for (x, y) in middle {
        assert!(opacity(x, y) < 0.5, "{} codes are left at {x}, {y}", opacity(x, y));
    }
    // Where nothing is drawn the sheet is as opaque as the law says.
    near(densities(&sheet)[180 * 640 + 20], 1.0, 1e-3);
}

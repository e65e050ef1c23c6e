//! The gallery's pictures come out as they stand in the repository, texel for texel, and its page names every one.
//!
//! A plain run draws those that take a second or two; where `FOGWEFT_THOROUGH` is 1, as in `.ci/run`, all are drawn. Where one fails,
//! what came out stands in the target folder; the message says where.

#[path = "../gallery/make/mod.rs"]
mod make;

#[path = "common/difference.rs"]
mod difference;

use difference::{ciede2000, lab};
use fogweft::base::colour::Srgb;
use image::codecs::png::PngDecoder;
use image::{AnimationDecoder, Frame};
use make::Canvas;
use std::collections::BTreeSet;
use std::fs;
use std::io::Cursor;
use std::path::Path;
use std::process::Command;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn thorough() -> bool {
    std::env::var_os("FOGWEFT_THOROUGH").is_some_and(|value| value == "1")
}

/// The texels of a PNG, by crate `image`, which the program doesn't write with; of a moving picture the first frame.
fn read(file: &Path) -> Canvas {
    let bytes = fs::read(file).unwrap_or_else(|error| panic!("{}: {error}", file.display()));
    let picture = image::load_from_memory_with_format(&bytes, image::ImageFormat::Png).unwrap().into_rgba8();
    Canvas { size: [picture.width(), picture.height()], texels: picture.into_raw() }
}

/// All frames of a PNG as they are seen one after the other, by the same crate; one where nothing moves.
fn frames(file: &Path) -> Vec<Canvas> {
    let bytes = fs::read(file).unwrap_or_else(|error| panic!("{}: {error}", file.display()));
    let decoder = PngDecoder::new(Cursor::new(bytes)).unwrap();
    if !decoder.is_apng().unwrap() {
        return vec![read(file)];
    }
    let all = decoder.apng().unwrap().into_frames().collect_frames().unwrap();
    let canvas = |frame: Frame| {
        let picture = frame.into_buffer();
        Canvas { size: [picture.width(), picture.height()], texels: picture.into_raw() }
    };
    all.into_iter().map(canvas).collect()
}

/// A moving picture is light enough for a page, neither flashes nor jumps where its loop closes. No frame is farther from the next one than
/// twice the step in the middle of all; whatever moves, the mean lightness of a frame stays within 1 % of white. Bounds of our own;
/// a flash is a change of relative luminance by 10 % of white and back (WCAG 2.2, 'general flash').
#[test]
fn the_loop_is_smooth() {
    let file = root().join("gallery/flow.apng");
    assert!(fs::metadata(&file).unwrap().len() < 2_000_000);
    let all = frames(&file);
    let mean = |canvas: &Canvas| {
        let codes = canvas.texels.chunks_exact(4).flat_map(|texel| &texel[..3]);
        codes.map(|&code| f64::from(code)).sum::<f64>() / (0.75 * canvas.texels.len() as f64)
    };
    let means: Vec<f64> = all.iter().map(mean).collect();
    let (least, most) = means.iter().fold((f64::MAX, 0.0_f64), |(a, b), &one| (a.min(one), b.max(one)));
    assert!(most - least < 2.55, "{least} to {most}");
    let step = |a: &Canvas, b: &Canvas| {
        let pairs = a.texels.iter().zip(&b.texels);
        pairs.map(|(a, b)| f64::from(a.abs_diff(*b))).sum::<f64>() / a.texels.len() as f64
    };
    let steps: Vec<f64> = (0..all.len()).map(|at| step(&all[at], &all[(at + 1) % all.len()])).collect();
    let mut sorted = steps.clone();
    sorted.sort_by(f64::total_cmp);
    let (middle, largest) = (sorted[sorted.len() / 2], sorted[sorted.len() - 1]);
    println!("{} frames, steps {middle:.3} to {largest:.3}, means {least:.2} to {most:.2}", all.len());
    assert!(middle > 0.0 && largest < 2.0 * middle, "{steps:.3?}");
}

/// How many texels differ, where the sizes are the same.
fn differ(a: &Canvas, b: &Canvas) -> Option<usize> {
    let pairs = a.texels.chunks_exact(4).zip(b.texels.chunks_exact(4));
    (a.size == b.size).then(|| pairs.filter(|(a, b)| a != b).count())
}

#[test]
fn pictures_come_out_the_same() {
    let mut wrong = Vec::new();
    for picture in make::pictures().iter().filter(|picture| picture.quick || thorough()) {
        let drawn = picture.draw(root()).unwrap();
        let kept = frames(&root().join("gallery").join(picture.file()));
        let drawn_frames = drawn.frames();
        let same = kept.len() == drawn_frames.len()
            && kept.iter().zip(&drawn_frames).all(|(kept, drawn)| differ(drawn, kept) == Some(0));
        if !same {
            let file = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("actual.{}", picture.file()));
            fs::write(&file, drawn.png()).unwrap();
            wrong.push(format!("{}: see {}", picture.name, file.display()));
        }
    }
    assert!(
        wrong.is_empty(),
        "{}\nafter a look: cargo run --release --example gallery -- NAME",
        wrong.join("\n")
    );
}

/// Runs the real program from the top of the repository.
fn done(args: &[&str]) {
    let output = Command::new(env!("CARGO_BIN_EXE_fogweft")).current_dir(root()).args(args).output().unwrap();
    assert!(output.status.success(), "{args:?}: {}", String::from_utf8_lossy(&output.stderr));
}

/// Those whose command is the plain program's.
#[test]
fn what_plain_commands_make_comes_out_the_same() {
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    if !thorough() {
        return;
    }
    let shelf = file("shelf.png");
    done(&["presets", "--picture", &shelf]);
    assert_eq!(
        differ(&read(Path::new(&shelf)), &read(&root().join("gallery/shelf.png"))),
        Some(0),
        "shelf.png"
    );
}

/// The page names every picture of the folder, with the command for each that we draw, and no other.
#[test]
fn the_page_names_every_picture() {
    let page = fs::read_to_string(root().join("gallery/README.md")).unwrap();
    let is_picture = |name: &str| name.ends_with(".png") || name.ends_with(".apng");
    let there: BTreeSet<String> = fs::read_dir(root().join("gallery"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|name| is_picture(name))
        .collect();
    let named: BTreeSet<String> = page
        .split(['`', '(', ')'])
        .filter(|word| is_picture(word) && !word.contains(['/', ' ']))
        .map(str::to_owned)
        .collect();
    assert_eq!(named, there);
    for picture in make::pictures() {
        assert!(there.contains(&picture.file()), "{} isn't drawn", picture.name);
        let command = format!("-- {}`", picture.name);
        assert!(page.contains(&command), "the page lacks the command that ends with {command}");
    }
}

/// The pictures are large enough to judge and the gallery small enough for a repository.
#[test]
fn the_gallery_is_small() {
    let bytes: u64 = fs::read_dir(root().join("gallery"))
        .unwrap()
        .map(|entry| entry.unwrap().metadata().unwrap().len())
        .sum();
    assert!(bytes < 16_500_000, "{bytes} bytes");
}

/// The comparison sees a single texel.
#[test]
fn one_texel_is_a_difference() {
    let one = Canvas::new([4, 4], [10, 20, 30]);
    let mut other = one.clone();
    assert_eq!(differ(&one, &other), Some(0));
    other.texels[21] ^= 1;
    assert_eq!(differ(&one, &other), Some(1));
    assert_eq!(differ(&one, &Canvas::new([4, 5], [10, 20, 30])), None);
}

/// How far two pictures of one size are apart: the mean CIEDE2000 over the quarter of their texels that differ most. What no fog
/// touches, as the sky over a fog on the ground, says nothing; a few odd texels don't, either.
fn apart(a: &Canvas, b: &Canvas) -> f64 {
    let colours = |canvas: &Canvas| -> Vec<[f64; 3]> {
        let colour = |texel: &[u8]| lab(Srgb([0, 1, 2].map(|channel| f32::from(texel[channel]) / 255.0)));
        canvas.texels.chunks_exact(4).map(colour).collect()
    };
    let mut steps: Vec<f64> = colours(a).into_iter().zip(colours(b)).map(|(a, b)| ciede2000(a, b)).collect();
    steps.sort_by(f64::total_cmp);
    let most = &steps[steps.len() - steps.len() / 4..];
    most.iter().sum::<f64>() / most.len() as f64
}

/// A colour difference is just noticed from 2.3 on: of CIE 1976, Mahy et al. 1994, Color Research & Application, as a printer's glossary
/// quotes it, and so the constant in the documentation of the library colour-science; steps of CIEDE2000 are mostly smaller, so it asks
/// for more. Two recipes are held to twice that, as they are seen one after the other and not edge to edge (common practice, no source). Pictures are a
/// thumbnail's size: what parts recipes must not be their grain.
#[test]
fn no_two_recipes_look_alike_over_any_world() {
    const NOTICED: f64 = 2.3;
    let limits = fogweft::base::limits::Limits::default();
    let mut shelf = fogweft::scene::recipe::shelf::Shelf::default();
    shelf.put_folder(&root().join("presets"), &limits);
    let mut alike = Vec::new();
    for (scene, _) in make::SCENES {
        let drawn = |name: &str, sets: &[String]| {
            make::shelf::one(root(), scene, &shelf.get(name).unwrap(), 96.0, sets).unwrap()
        };
        let all: Vec<(&str, Canvas)> =
            shelf.names().into_iter().map(|name| (name, drawn(name, &[]))).collect();
        let mut pairs = Vec::new();
        for (at, (name, picture)) in all.iter().enumerate() {
            pairs.extend(all[..at].iter().map(|(other, seen)| (apart(picture, seen), *name, *other)));
        }
        pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
        println!("{scene}: {:.2?}", &pairs[..4]);
        let close = pairs.into_iter().filter(|pair| pair.0 < 2.0 * NOTICED);
        alike.extend(close.map(|(step, name, other)| format!("{scene}: {name} and {other}, {step:.2}")));
        // The measure sees two of a kind: other dice make no other recipe of a calm one.
        let mist = &all.iter().find(|(name, _)| *name == "mist").unwrap().1;
        let own = apart(mist, &drawn("mist", &["seed=77".to_owned()]));
        assert!(own > 0.0 && own < NOTICED, "{scene}: mist under other dice is {own} from itself");
    }
    assert!(alike.is_empty(), "recipes look alike:\n{}", alike.join("\n"));
}

//! A picture that is a slot's sheet is what every output shows, as it is.

use crate::compose::{compose, distance};
use crate::outside::{SCENE, codes, decoded, fogweft, render, runs, write_scene};
use image::{Rgba, RgbaImage};
use serde_json::Value;
use std::io::{Cursor, Read, Write};
use std::path::{Path, PathBuf};

fn files<'a>(manifest: &'a Value, slot: &str, kind: &str) -> Vec<&'a Value> {
    let all = manifest["files"].as_array().expect("files").iter();
    all.filter(|file| file["slot"] == slot && file["kind"] == kind).collect()
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().expect("a list").iter().map(|value| value.as_f64().expect("a number")).collect()
}

/// Wisps in two colours of all opacities, which no recipe makes; its left and right edges meet.
fn painted([width, height]: [u32; 2]) -> RgbaImage {
    RgbaImage::from_fn(width, height, |x, y| {
        let turn = std::f64::consts::TAU * f64::from(x) / f64::from(width);
        let middle = f64::from(height) * (0.5 + 0.2 * libm::sin(2.0 * turn));
        let off = (f64::from(y) - middle) / (0.12 * f64::from(height));
        let alpha = 235.0 * libm::exp(-off * off);
        let warm = libm::cos(turn) > 0.0;
        Rgba([if warm { 231 } else { 94 }, 180, if warm { 140 } else { 222 }, alpha as u8])
    })
}

/// The small scene, in which the sheet of `veil` is a picture as large as the one that it replaces; in the mood `dusk` it is another, which stands
/// once. The folder, the scene, and what the sheet was before.
fn own_sheet() -> (tempfile::TempDir, PathBuf, Value) {
    let folder = tempfile::tempdir().expect("a folder");
    let scene = write_scene(folder.path(), SCENE);
    let before = render(&scene, &folder.path().join("before"), &[]);
    let made = files(&before, "veil", "fog")[0].clone();
    let size = [0, 1].map(|axis| made["texels"][axis].as_u64().expect("texels") as u32);
    painted(size).save(folder.path().join("veil.png")).expect("saved");
    painted([150, 60]).save(folder.path().join("wisp.png")).expect("saved");
    let dusk = "[mood.dusk]\nair.haze = \"#b07a60\"\n[mood.dusk.slot.veil]\nsheet = \"wisp.png\"\nsheet_x = 80\nsheet_y = 30\nsheet_width = 180\n";
    let text = SCENE.replace("name = \"veil\"\n", "name = \"veil\"\nsheet = \"veil.png\"\n") + dusk;
    std::fs::write(&scene, text).expect("written");
    (folder, scene, made)
}

/// By how many codes the still is off from what the manifest shows.
fn off(out: &Path, manifest: &Value) -> f64 {
    let (_, still) = decoded(&std::fs::read(out.join("still.png")).expect("a still"));
    let camera = numbers(&manifest["still"]["camera"]);
    let (_, frame) = compose(out, manifest, [camera[0], camera[1]]);
    distance(&frame, &still).0
}

#[test]
fn one_of_the_shape_of_the_sheet_that_it_replaces_takes_its_place() {
    let (folder, scene, made) = own_sheet();
    let out = folder.path().join("out");
    let manifest = render(&scene, &out, &["--bits", "16"]);
    let sheet = files(&manifest, "veil", "fog")[0];
    for key in ["rect", "texels", "period", "repeat", "order", "pan_rate", "depth"] {
        assert_eq!(sheet[key], made[key], "{key}");
    }
    for key in ["optical_depth", "clear_depth"] {
        assert!(sheet[key].is_null(), "no law holds for it: {key}");
    }
    assert_eq!((&sheet["drift"], &sheet["bits"]), (&0.0.into(), &8.into()));
    let file = std::fs::read(out.join(sheet["path"].as_str().expect("a path"))).expect("read");
    assert_eq!(sheet["hash"], blake3::hash(&file).to_hex().as_str());
    let (own, wanted) = (codes(&file), codes(&std::fs::read(folder.path().join("veil.png")).expect("read")));
    assert_eq!(own.0, wanted.0);
    let unlike = own.1.iter().zip(&wanted.1).filter(|(a, b)| if b[3] == 0 { a[3] != 0 } else { a != b });
    assert_eq!(unlike.count(), 0, "not as it is");
    // Neither the air nor the recipe changes it.
    let thick = folder.path().join("thick");
    render(&scene, &thick, &["--set", "air.visibility=300", "--set", "slot.veil.falloff.height=9"]);
    assert!(std::fs::read(thick.join("veil.fog.png")).expect("read") == file);
}

#[test]
fn the_still_is_what_the_manifest_shows_in_all_moods_and_scales() {
    let (folder, scene, _) = own_sheet();
    for mood in [None, Some("dusk")] {
        for scale in ["1", "0.5"] {
            let out = folder.path().join(format!("out-{}-{scale}", mood.unwrap_or("day")));
            let mut more = vec!["--bits", "16", "--scale", scale, "--at", "60"];
            let mut at = out.clone();
            if let Some(mood) = mood {
                more.extend(["--mood", mood]);
                at = out.join(format!("mood-{mood}"));
            }
            let arguments =
                [&["render", scene.to_str().expect("text"), "--out", out.to_str().expect("text")], &more[..]];
            runs(&arguments.concat());
            let manifest: Value =
                serde_json::from_slice(&std::fs::read(at.join("manifest.json")).expect("read"))
                    .expect("JSON");
            let far = off(&at, &manifest);
            assert!(far <= 1.0, "{mood:?} at {scale}: {far} codes");
            let sheet = files(&manifest, "veil", "fog")[0];
            if mood.is_some() {
                assert!(sheet["period"].is_null(), "it stands once");
                // 150 x 60 at a width of 180.
                assert_eq!(numbers(&sheet["rect"]), [80.0, 30.0, 180.0, 72.0]);
            }
        }
    }
}

#[test]
fn a_period_repeats_it_and_without_one_it_stands_once() {
    let (folder, scene, _) = own_sheet();
    let rendered = |name: &str, sets: &[&str]| {
        let out = folder.path().join(name);
        let more: Vec<&str> = sets.iter().flat_map(|set| ["--set", *set]).chain(["--bits", "16"]).collect();
        let manifest = render(&scene, &out, &more);
        let far = off(&out, &manifest);
        assert!(far <= 1.0, "{name}: {far} codes");
        files(&manifest, "veil", "fog")[0].clone()
    };
    let own = "slot.veil.sheet=wisp.png";
    let once = rendered("once", &[own]);
    assert!(once["period"].is_null());
    assert_eq!(
        numbers(&once["rect"]),
        [0.0, 0.0, 150.0, 60.0],
        "at the left top of the view, at its own size"
    );
    let apart = rendered("apart", &[own, "slot.veil.period=200", "slot.veil.sheet_y=40"]);
    assert_eq!((&apart["period"], &apart["repeat"]), (&200.0.into(), &false.into()));
    let meets = rendered("meets", &[own, "slot.veil.period=150"]);
    assert_eq!((&meets["period"], &meets["repeat"]), (&150.0.into(), &true.into()));
    let none = render(&scene, &folder.path().join("none"), &["--set", "slot.veil.fog=false"]);
    assert!(files(&none, "veil", "fog").is_empty(), "a slot without fog has no sheet of its own either");
}

/// OpenRaster draft 0.0.5: layers are PNGs, topmost first; CIE L* of the outline's surroundings changes with what lies behind.
#[test]
fn rims_the_check_and_all_forms_see_it() {
    let (folder, scene, _) = own_sheet();
    let (made, out) = (folder.path().join("before"), folder.path().join("out"));
    let manifest = render(&scene, &out, &["--also", "ora,glb,svg,preview,pan,strip", "--frames", "2"]);
    assert_ne!(
        std::fs::read(out.join("hut.rim.png")).expect("read"),
        std::fs::read(made.join("hut.rim.png")).expect("read"),
        "the rim was solved on another sheet"
    );
    assert!(
        files(&manifest, "veil", "fog")[0]["frames"].as_array().is_none_or(Vec::is_empty),
        "it doesn't flow"
    );
    assert_eq!(files(&manifest, "ridge", "fog")[0]["frames"].as_array().map(Vec::len), Some(1));
    let mut archive =
        zip::ZipArchive::new(std::fs::File::open(out.join("scene.ora")).expect("open")).expect("an archive");
    let mut stack = String::new();
    archive.by_name("stack.xml").expect("a stack").read_to_string(&mut stack).expect("text");
    let layer = stack
        .lines()
        .find(|line| line.contains("\"veil.fog depth 200 made by hand\""))
        .expect("a layer of it");
    let src = layer.split("src=\"").nth(1).and_then(|rest| rest.split('"').next()).expect("a file");
    let mut bytes = Vec::new();
    archive.by_name(src).expect("a layer").read_to_end(&mut bytes).expect("read");
    let painted = codes(&std::fs::read(folder.path().join("veil.png")).expect("read"));
    let unlike = codes(&bytes).1.into_iter().zip(painted.1).filter(|(a, b)| a[3] != b[3]);
    assert_eq!(unlike.count(), 0);
    // What is farther than the sheet is seen through it, where it lies.
    RgbaImage::from_pixel(200, 14, Rgba([231, 180, 140, 90]))
        .save(folder.path().join("flat.png"))
        .expect("saved");
    let own = ["slot.veil.sheet=flat.png", "slot.veil.sheet_x=0", "slot.veil.sheet_width=2000"];
    let ridge = |sets: &[&str]| {
        let more: Vec<&str> = sets.iter().flat_map(|set| ["--set", *set]).collect();
        let output = fogweft(&[&["check", scene.to_str().expect("text"), "--json"], &more[..]].concat());
        let found: Value = serde_json::from_slice(&output.stdout).expect("JSON");
        let slots = found["slots"].as_array().expect("slots").clone();
        slots.iter().find(|slot| slot["slot"] == "ridge").expect("the ridge")["tone"].as_f64()
    };
    let [far, near] = [ridge(&[&own[..], &["slot.veil.sheet_y=900"]].concat()), ridge(&own)]
        .map(|tone| tone.expect("a tone"));
    assert!((far - near).abs() > 5.0, "{far} {near}");
}

/// The files of an archive, in their order.
fn unpacked(file: &Path) -> Vec<(String, Vec<u8>)> {
    let mut archive = zip::ZipArchive::new(std::fs::File::open(file).expect("open")).expect("an archive");
    let count = archive.len();
    let read = |at: usize| {
        let mut entry = archive.by_index(at).expect("an entry");
        let mut bytes = Vec::new();
        entry.read_to_end(&mut bytes).expect("read");
        (entry.name().expect("a name").into_owned(), bytes)
    };
    (0..count).map(read).collect()
}

/// An archive as a painter's program saves it: packed, with PNGs of its own.
fn packed(file: &Path, entries: &[(String, Vec<u8>)]) {
    let mut archive = zip::ZipWriter::new(Cursor::new(Vec::new()));
    let options = zip::write::SimpleFileOptions::default();
    for (name, bytes) in entries {
        let method = if name == "mimetype" {
            zip::CompressionMethod::Stored
        } else {
            zip::CompressionMethod::Deflated
        };
        archive.start_file(name.as_str(), options.compression_method(method)).expect("started");
        archive.write_all(bytes).expect("written");
    }
    std::fs::write(file, archive.finish().expect("an archive").get_ref()).expect("written");
}

fn png(picture: &RgbaImage) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    picture.write_to(&mut bytes, image::ImageFormat::Png).expect("a PNG");
    bytes.into_inner()
}

/// The file of the layer whose name begins so.
fn src(stack: &str, name: &str) -> String {
    let line = stack.lines().find(|line| line.contains(&format!("name=\"{name}"))).expect("a layer");
    line.split("src=\"").nth(1).and_then(|rest| rest.split('"').next()).expect("a file").to_owned()
}

/// Saves a layered file anew with paint on the sheet of `veil`; all other layers lose what a program doesn't keep: the colours where nothing
/// shows, and the rows above all that shows.
fn paint_on(from: &Path, to: &Path) -> RgbaImage {
    let mut entries = unpacked(from);
    let stack = entries.iter().find(|(name, _)| name == "stack.xml").expect("a stack").1.clone();
    let mut stack = String::from_utf8(stack).expect("text");
    let own = src(&stack, "veil.fog depth");
    let mut shown = RgbaImage::default();
    for (name, bytes) in entries.iter_mut().filter(|(name, _)| name.starts_with("data/layer")) {
        let mut picture = image::load_from_memory(bytes).expect("a PNG").into_rgba8();
        if *name == own {
            for y in 40..70 {
                for x in 30..150 {
                    picture.put_pixel(x, y, Rgba([250, 160, 90, 210]));
                }
            }
            shown = picture.clone();
        } else {
            picture.pixels_mut().filter(|texel| texel[3] == 0).for_each(|texel| *texel = Rgba([0; 4]));
            let bare = picture.rows().take_while(|row| row.clone().all(|texel| texel[3] == 0)).count() as u32;
            let (width, height) = picture.dimensions();
            picture = image::imageops::crop_imm(&picture, 0, bare, width, height - bare).to_image();
            let line = stack.lines().find(|line| line.contains(&format!("src=\"{name}\""))).expect("a layer");
            let y = line.split(" y=\"").nth(1).and_then(|rest| rest.split('"').next()).expect("a place");
            let lower = y.parse::<i64>().expect("a number") + i64::from(bare);
            let moved = line.replace(&format!(" y=\"{y}\""), &format!(" y=\"{lower}\""));
            stack = stack.replace(line, &moved);
        }
        *bytes = png(&picture);
    }
    entries
        .iter_mut()
        .filter(|(name, _)| name == "stack.xml")
        .for_each(|(_, bytes)| *bytes = stack.clone().into_bytes());
    packed(to, &entries);
    shown
}

#[test]
fn a_scene_made_of_a_layered_file_keeps_the_sheets_that_were_painted_on() {
    let folder = tempfile::tempdir().expect("a folder");
    let text = SCENE.replace("[falloff]\nheight = 60", "[falloff]\nheight = 12");
    let scene = write_scene(folder.path(), &text);
    let first = render(&scene, &folder.path().join("out"), &["--also", "ora"]);
    let level = folder.path().join("level.ora");
    let shown = paint_on(&folder.path().join("out/scene.ora"), &level);
    let new = |name: &str, from: &Path| {
        let game = folder.path().join(name);
        let said =
            runs(&["new", game.to_str().expect("text"), "--copy", "--from", from.to_str().expect("text")]);
        (said, std::fs::read_to_string(game.join("scene.toml")).expect("read"), game)
    };
    let (said, text, game) = new("game", &level);
    let kept = |text: &str| {
        text.lines().filter(|line| line.starts_with("sheet = ")).map(str::to_owned).collect::<Vec<_>>()
    };
    assert_eq!(kept(&text), ["sheet = \"level.ora#veil.fog\""], "{text}");
    let period = files(&first, "veil", "fog")[0]["period"].as_f64().expect("a period");
    assert!(text.contains(&format!("sheet = \"level.ora#veil.fog\"\nperiod = {period}\n")), "{text}");
    assert!(said.contains("note: veil.fog: it was painted on; it is the sheet of veil as it is\n"), "{said}");
    assert!(said.contains("sheets of fog not imported, because they are made again: 3\n"), "{said}");
    let manifest =
        render(&game.join("scene.toml"), &game.join("out"), &["--also", "ora", "--bits", "16", "--at", "16"]);
    let made = codes(&std::fs::read(game.join("out/veil.fog.png")).expect("read"));
    let unlike = made.1.iter().zip(shown.pixels()).filter(|(a, b)| b[3] > 0 && **a != b.0).count();
    assert_eq!((made.0, unlike), ([shown.width(), shown.height()], 0));
    assert!(off(&game.join("out"), &manifest) <= 1.0);
    // What was painted once stays so, whatever is made of it; and nothing else is kept.
    let (_, text, _) = new("again", &game.join("out/scene.ora"));
    assert_eq!(kept(&text), ["sheet = \"scene.ora#veil.fog\""], "{text}");
    let (said, text, _) = new("plain", &folder.path().join("out/scene.ora"));
    assert!(kept(&text).is_empty() && !said.contains("painted on"), "{said} {text}");
    // Without its fingerprint a layer says nothing.
    let mut entries = unpacked(&level);
    for (_, bytes) in entries.iter_mut().filter(|(name, _)| name == "stack.xml") {
        let stack = String::from_utf8(bytes.clone()).expect("text");
        let bare: Vec<String> = stack
            .lines()
            .map(|line| match line.split_once(" made ") {
                Some((name, rest)) => format!("{name}{}", &rest[rest.find('"').expect("an end")..]),
                None => line.to_owned(),
            })
            .collect();
        *bytes = bare.join("\n").into_bytes();
    }
    let nameless = folder.path().join("nameless.ora");
    packed(&nameless, &entries);
    let (said, text, _) = new("nameless", &nameless);
    assert!(
        kept(&text).is_empty() && said.contains("note: veil.fog: its name doesn't say how it was made"),
        "{said}"
    );
}

#[test]
fn a_layer_of_strokes_becomes_fog() {
    let folder = tempfile::tempdir().expect("a folder");
    let stack = "<image version='0.0.3' w='200' h='100'><stack>\
        <layer name='reeds.strokes' src='data/b.png' x='40' y='30'/>\
        <layer name='reeds depth 120' src='data/a.png' x='-5' y='60'/><layer name='sky' src='data/c.png'/></stack></image>";
    let pictures = [
        ("data/a.png", [260, 40], [30, 40, 30, 255]),
        ("data/b.png", [50, 20], [255, 255, 255, 255]),
        ("data/c.png", [200, 100], [150, 170, 190, 255]),
    ];
    let level = folder.path().join("level.ora");
    std::fs::write(&level, crate::openraster::painted(stack, &pictures)).expect("written");
    let game = folder.path().join("game");
    let said = runs(&[
        "new",
        game.to_str().expect("text"),
        "--copy",
        "--view",
        "200,100",
        "--from",
        level.to_str().expect("text"),
    ]);
    assert!(said.contains("note: reeds.strokes: its strokes become fog of reeds\n"), "{said}");
    let text = std::fs::read_to_string(game.join("scene.toml")).expect("read");
    assert!(text.contains("strokes = \"level.ora#reeds.strokes\"\n"), "{text}");
    assert_eq!(text.matches("[[slot]]").count(), 2, "{text}");
    let fog = |more: &[&str]| {
        let out = folder.path().join(format!("out{}", more.len()));
        render(&game.join("scene.toml"), &out, more);
        codes(&std::fs::read(out.join("reeds.fog.png")).expect("read")).1
    };
    let (with, without) = (fog(&[]), fog(&["--set", "slot.reeds.strokes_weight=0"]));
    let more = with.iter().zip(&without).filter(|(a, b)| a[3] > b[3].saturating_add(20)).count();
    assert!(more > 300, "{more} texels of fog where it is drawn");
}

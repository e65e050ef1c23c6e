//! Pictures at several places of one plane: in the still, in the manifest, in moods, in what is told of them.

use crate::compose::{codes_apart, compose, distance};
use crate::openraster::painted;
use crate::outside::{SCENE, codes, decoded, fogweft, render, runs, write_scene};
use serde_json::{Value, json};
use std::path::Path;

/// Places of the hut: a copy, a mirrored one, another picture, a smaller one, and one far off the strip, which is 600 px long.
const PLACES: &str = r#"
[[slot.place]]
x = 210
[[slot.place]]
x = 300
flip = true
[[slot.place]]
art = "post.png"
x = 372
y = 20
[[slot.place]]
x = 425
y = 80
width = 35
[[slot.place]]
x = 5000
"#;

/// The scene with those places, and a post that is no more symmetric than the hut.
fn street(folder: &Path, places: &str) -> std::path::PathBuf {
    let post: Vec<u8> = (0..100_u32)
        .flat_map(|y| {
            (0..12_u32).flat_map(move |x| {
                let there = (4..8).contains(&x) || (y < 10 && x >= 4);
                [30 + x as u8 * 6, 30, 50 + (y % 5) as u8, if there { 255 } else { 0 }]
            })
        })
        .collect();
    image::save_buffer(folder.join("post.png"), &post, 12, 100, image::ColorType::Rgba8).unwrap();
    write_scene(folder, &(SCENE.to_owned() + places))
}

fn art(manifest: &Value) -> &Value {
    let files = manifest["files"].as_array().unwrap();
    files.iter().find(|file| file["path"] == "hut.art.png").unwrap()
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|number| number.as_f64().unwrap()).collect()
}

#[test]
fn places_compose_to_the_still() {
    let folder = tempfile::tempdir().unwrap();
    let scene = street(folder.path(), PLACES);
    let [eight, deep] = ["eight", "sixteen"].map(|name| folder.path().join(name));
    for (scale, blending) in [("1", "encoded"), ("0.5", "encoded"), ("1", "linear")] {
        let blending = format!("air.blending={blending}");
        for at in ["0", "170", "360"] {
            let more = ["--scale", scale, "--at", at, "--set", &blending, "--set", "slot.hut.tint=0.3"];
            let manifest = render(&scene, &eight, &more);
            render(&scene, &deep, &[&more[..], &["--bits", "16"]].concat());
            let (size, frame) = compose(&eight, &manifest, [at.parse().unwrap(), 0.0]);
            let (still_size, still) = decoded(&std::fs::read(deep.join("still.png")).unwrap());
            assert_eq!(size.map(|side| side as u32), still_size);
            let (far, mean) = distance(&frame, &still);
            println!("scale {scale}, {blending}, at {at}: at most {far:.3} codes, {mean:.4} in the mean");
            assert!(far <= 2.0 && mean < 0.3, "{scale} {blending} {at}: {far} codes, {mean} in the mean");
        }
    }
}

/// What the manifest says of the places, put together here from the scene's own files, is the slot's picture, texel for texel.
#[test]
fn the_manifest_tells_every_picture_with_its_place() {
    let folder = tempfile::tempdir().unwrap();
    let scene = street(folder.path(), PLACES);
    let out = folder.path().join("out");
    let manifest =
        render(&scene, &out, &["--set", "slot.hut.place.4.width=70", "--set", "slot.hut.repeat=false"]);
    assert_eq!(manifest["version"], 2);
    let art = art(&manifest);
    let told: Vec<(&Value, &Value, &Value)> = art["places"]
        .as_array()
        .unwrap()
        .iter()
        .map(|one| (&one["place"], &one["art"], &one["flip"]))
        .collect();
    // The fifth place is off the strip.
    let [hut, post, no, yes] = [json!("hut.png"), json!("post.png"), json!(false), json!(true)];
    let numbered: Vec<Value> = (0..5).map(|number| json!(number)).collect();
    let want = [(&hut, &no), (&hut, &no), (&hut, &yes), (&post, &no), (&hut, &no)];
    let want: Vec<_> = numbered.iter().zip(want).map(|(number, (art, flip))| (number, art, flip)).collect();
    assert_eq!(told, want);
    let (size, drawn) = codes(&std::fs::read(out.join("hut.art.png")).unwrap());
    let whole = numbers(&art["rect"]);
    assert_eq!(whole, [90.0, 20.0, 405.0, 130.0]);
    let mut mine = vec![[0_u8; 4]; (size[0] * size[1]) as usize];
    for place in art["places"].as_array().unwrap() {
        let file = folder.path().join(place["art"].as_str().unwrap());
        let (own, texels) = codes(&std::fs::read(file).unwrap());
        let rect = numbers(&place["rect"]);
        assert_eq!(rect[2..], own.map(f64::from));
        let [left, top] = [0, 1].map(|axis| (rect[axis] - whole[axis]) as u32);
        for (y, x) in (0..own[1]).flat_map(|y| (0..own[0]).map(move |x| (y, x))) {
            let from = if place["flip"] == json!(true) { own[0] - 1 - x } else { x };
            mine[((top + y) * size[0] + left + x) as usize] = texels[(y * own[0] + from) as usize];
        }
    }
    let seen = |texels: &[[u8; 4]]| -> Vec<[u8; 4]> {
        texels.iter().map(|texel| if texel[3] == 0 { [0; 4] } else { *texel }).collect()
    };
    assert!(seen(&mine) == seen(&drawn), "the picture isn't what the manifest says");
    assert!(
        runs(&["plan", scene.to_str().unwrap()])
            .contains("hut: place 5 never comes into view and is left out")
    );
}

/// A picture at two places, against one painted by hand that holds both.
#[test]
fn two_places_are_as_one_picture_that_holds_both() {
    let folder = tempfile::tempdir().unwrap();
    let scene = street(folder.path(), "[[slot.place]]\nx = 230\nflip = true\n");
    let out = folder.path().join("out");
    let (_, hut) = codes(&std::fs::read(folder.path().join("hut.png")).unwrap());
    let mut both = vec![0_u8; 210 * 70 * 4];
    for (y, x) in (0..70).flat_map(|y| (0..70).map(move |x| (y, x))) {
        for (at, from) in [(x, x), (140 + x, 69 - x)] {
            both[(y * 210 + at) * 4..][..4].copy_from_slice(&hut[y * 70 + from]);
        }
    }
    image::save_buffer(folder.path().join("both.png"), &both, 210, 70, image::ColorType::Rgba8).unwrap();
    let other = folder.path().join("other.toml");
    std::fs::write(&other, SCENE.replace("hut.png", "both.png")).unwrap();
    for at in ["0", "100", "360"] {
        let frames = [(&scene, "a"), (&other, "b")].map(|(scene, name)| {
            render(scene, &out.join(name), &["--at", at]);
            decoded(&std::fs::read(out.join(name).join("still.png")).unwrap()).1
        });
        let frame: Vec<[f64; 3]> = frames[0].iter().map(|[r, g, b, _]| [*r, *g, *b]).collect();
        let apart = codes_apart(&frame, &frames[1]);
        assert!(apart <= 1, "at {at}: {apart} codes");
    }
}

#[test]
fn a_mood_lists_other_places_and_arguments_move_them() {
    let folder = tempfile::tempdir().unwrap();
    let mood = "[[mood.fair.slot.hut.place]]\nart = \"post.png\"\nx = 200\ny = 30\n[mood.dusk.slot.hut]\nflip = true\n";
    let scene = street(folder.path(), &(PLACES.to_owned() + mood));
    let out = folder.path().join("out");
    let of_mood = |mood: &str| -> Value {
        render(&scene, &out, &["--mood", mood]);
        let file = out.join(format!("mood-{mood}/manifest.json"));
        serde_json::from_slice(&std::fs::read(file).unwrap()).unwrap()
    };
    let lefts = |manifest: &Value| -> Vec<f64> {
        let places = art(manifest)["places"].as_array().unwrap();
        places.iter().map(|place| numbers(&place["rect"])[0]).collect()
    };
    let left = |more: &[&str]| lefts(&render(&scene, &out, more));
    assert_eq!(left(&[]), [90.0, 210.0, 300.0, 372.0, 425.0]);
    assert_eq!(lefts(&of_mood("fair")), [90.0, 200.0]);
    assert_eq!(left(&["--set", "slot.hut.place.2.x=310"]), [90.0, 210.0, 310.0, 372.0, 425.0]);
    // A copy of the slot's own is mirrored with it, unless it says otherwise.
    let dusk = of_mood("dusk");
    let flips: Vec<&Value> =
        art(&dusk)["places"].as_array().unwrap().iter().map(|one| &one["flip"]).collect();
    assert_eq!(flips, [true, true, true, false, true]);
    // A place that moves is why its picture is drawn again.
    let moved = ["--out", out.to_str().unwrap(), "--set", "slot.hut.place.2.x=320"];
    let printed = runs(&[&["render", scene.to_str().unwrap()], &moved[..]].concat());
    assert!(printed.contains("place 2 hut.png 70 x 70 texels at 220, 30 mirrored -> "), "{printed}");
}

/// Layers of one file stand at places of one plane as pictures of their own files do.
#[test]
fn places_may_show_layers_of_a_layered_file() {
    let folder = tempfile::tempdir().unwrap();
    let xml = "<?xml version='1.0' encoding='UTF-8'?>\n<image version=\"0.0.3\" w=\"200\" h=\"100\"><stack><layer name=\"post\" src=\"data/a.png\" x=\"20\" y=\"30\"/><layer name=\"hut\" src=\"data/b.png\" x=\"30\" y=\"20\"/></stack></image>";
    let kinds = [("data/a.png", [12, 60], [40, 30, 20, 255]), ("data/b.png", [70, 40], [90, 20, 20, 255])];
    std::fs::write(folder.path().join("kinds.ora"), painted(xml, &kinds)).unwrap();
    for (name, [width, height], texel) in kinds {
        let name = folder.path().join(name.replace("data/", ""));
        image::RgbaImage::from_pixel(width, height, image::Rgba(texel)).save(name).unwrap();
    }
    let places = |hut: &str, post: &str| {
        let place = |art: &str, x: i32, flip: bool| {
            format!("[[slot.place]]\nart = \"{art}\"\nx = {x}\ny = 30\nflip = {flip}\n")
        };
        let all = place(post, 210, false) + &place(hut, 260, true) + &place(post, 420, true);
        SCENE.replace("art = \"hut.png\"", &format!("art = \"{hut}\"")) + &all
    };
    let of = |name: &str, hut: &str, post: &str| {
        let scene = write_scene(folder.path(), &places(hut, post));
        let out = folder.path().join(name);
        let manifest = render(&scene, &out, &["--set", "slot.hut.y=30"]);
        let rects: Vec<Value> =
            art(&manifest)["places"].as_array().unwrap().iter().map(|one| one["rect"].clone()).collect();
        (rects, ["hut.art.png", "still.png"].map(|name| codes(&std::fs::read(out.join(name)).unwrap())))
    };
    let layers = of("layers", "kinds.ora#hut", "kinds.ora#post");
    let files = of("files", "b.png", "a.png");
    assert_eq!(layers.0.len(), 4);
    assert!(layers == files, "{:?} {:?}", layers.0, files.0);
    // A layer that isn't there is told by its place.
    let scene = write_scene(folder.path(), &places("kinds.ora#hut", "kinds.ora#mast"));
    let said = fogweft(&["render", scene.to_str().unwrap()]);
    let text = String::from_utf8_lossy(&said.stderr);
    assert!(!said.status.success() && text.contains("mast") && text.contains("kinds.ora"), "{text}");
}

/// Without a picture of the slot's own, the first place's is the first.
#[test]
fn places_need_no_picture_of_the_slots_own() {
    let folder = tempfile::tempdir().unwrap();
    let own = "art = \"hut.png\"\nx = 90\ny = 50\n";
    let scene = street(folder.path(), "");
    let places =
        "[[slot.place]]\nart = \"hut.png\"\nx = 90\ny = 50\n[[slot.place]]\nart = \"post.png\"\nx = 300\n";
    std::fs::write(&scene, SCENE.replace(own, "") + places).unwrap();
    let manifest = render(&scene, &folder.path().join("out"), &[]);
    let numbered: Vec<&Value> =
        art(&manifest)["places"].as_array().unwrap().iter().map(|one| &one["place"]).collect();
    assert_eq!(numbered, [1, 2]);
    // Its foot stands on the ground of a slot on the play plane.
    let post = numbers(&art(&manifest)["places"][1]["rect"]);
    assert_eq!(post, [300.0, 12.0, 12.0, 100.0]);
}

#[test]
fn faults_name_slot_place_and_line() {
    let folder = tempfile::tempdir().unwrap();
    let wrong = "[[slot.place]]\nx = 10\nwidth = 0\n[[slot.place]]\ny = 3\n[[slot.place]]\nart = \"gone.png\"\nx = 1\n[[slot.place]]\nx = 1\nrepeat = true\n";
    let scene = street(folder.path(), wrong);
    let output = fogweft(&["plan", scene.to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(3));
    let told = String::from_utf8(output.stderr).unwrap();
    let text = std::fs::read_to_string(&scene).unwrap();
    let line = |part: &str| text.lines().position(|line| line == part).unwrap() + 1;
    for (message, line) in [
        ("slot \"hut\", place 1: `place.width` is 0", line("width = 0")),
        ("slot \"hut\", place 2 has no `x`", line("y = 3") - 1),
        ("slot \"hut\", place 4: unknown key \"repeat\"", text.lines().count()),
    ] {
        assert!(
            told.contains(message) && told.contains(&format!("scene.toml:{line}")),
            "{message} {line} in:\n{told}"
        );
    }
    assert!(told.contains("gone.png"), "{told}");
    // None that it could show again, and too many.
    let many = SCENE.replace("art = \"hut.png\"\n", "") + &"[[slot.place]]\nx = 5\n".repeat(10_000);
    std::fs::write(&scene, many).unwrap();
    let output = fogweft(&["plan", scene.to_str().unwrap()]);
    let told = String::from_utf8(output.stderr).unwrap();
    assert!(told.contains("the slot has 10000 places, over the limit of 256"), "{told}");
    assert!(told.contains("place 1 has no `art` (nor have 255 after it), and the slot has none"), "{told}");
}

/// Places that touch are one thing; its ends are told by their places.
#[test]
fn what_ends_inside_the_view_is_told_by_its_place() {
    let folder = tempfile::tempdir().unwrap();
    let ground = |second: u32| {
        format!(
            "[[slot]]\nname = \"road\"\ndepth = 0\nart = \"sky.png\"\nx = 0\ny = 100\n[[slot.place]]\nx = {second}\n"
        )
    };
    let scene = street(folder.path(), &ground(250));
    let printed = runs(&["plan", scene.to_str().unwrap()]);
    // Both end at 550 of 600.
    assert!(
        printed.contains(
            "road: the picture of its place 1 ends inside the view: 50 px are missing on the right"
        ),
        "{printed}"
    );
    std::fs::write(&scene, SCENE.to_owned() + &ground(305)).unwrap();
    let printed = runs(&["plan", scene.to_str().unwrap()]);
    // A gap with more beyond it is one that is meant.
    assert!(!printed.contains("ends inside the view"), "{printed}");
}

//! A picture that is a sheet is an input as any other, and what is wrong with it is told.

use super::util::Scene;
use std::fs;

/// Two bars of fog, one as bright as said.
fn bars(bright: u8) -> String {
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"96\" height=\"27\"><path d=\"M0 6H96V12H0z\" fill=\"#{bright:02x}{bright:02x}f0\" opacity=\"0.6\"/><path d=\"M20 15h30v8h-30z\" fill=\"#fff\"/></svg>"
    )
}

/// The small scene, in which the middle slot's sheet is a picture; the nearest has a rim.
fn own() -> Scene {
    let scene = Scene::new();
    scene.write("mid.sheet.svg", &bars(120));
    scene.edit("scene.toml", "smear.length = 22", "sheet = \"mid.sheet.svg\"");
    scene.edit("scene.toml", "y = 12", "y = 12\nseparation = 30");
    scene
}

#[test]
fn what_is_painted_on_it_makes_what_shows_it_and_is_named() {
    let scene = own();
    scene.render(&["--depfile", "o.d"]).well();
    assert!(fs::read_to_string(scene.path("o.d")).expect("text").contains("\nmid.sheet.svg:\n"));
    let times = scene.times();
    scene.write("mid.sheet.svg", &bars(200));
    let said = scene.render(&[]).well();
    assert!(said.out.contains("mid.fog.png: the picture that is its sheet changed\n"), "{}", said.out);
    let shown = ["manifest.json", "mid.fog.png", "near.rim.png", "still.png", "still.values.png"];
    assert_eq!(scene.renewed(&times), shown);
    scene.like_a_clean_run("a painted sheet");
    // It doesn't follow from the recipe, nor from the air.
    let times = scene.times();
    scene.edit("scene.toml", "visibility = 900", "visibility = 600");
    scene.render(&[]).well();
    let renewed = scene.renewed(&times);
    assert!(
        renewed.contains(&"far.fog.png".to_owned()) && !renewed.contains(&"mid.fog.png".to_owned()),
        "{renewed:?}"
    );
    scene.like_a_clean_run("another air");
    scene.edit("scene.toml", "sheet = ", "sheet_y = 3\nsheet = ");
    let said = scene.render(&[]).well();
    assert!(said.out.contains("near.rim.png: mid.fog.png changed\n"), "{}", said.out);
    scene.like_a_clean_run("another place");
    scene.edit("scene.toml", "[[slot]]", "[mood.dusk.slot.mid]\nsheet = \"far.svg\"\n\n[[slot]]");
    scene.render(&["--mood", "dusk", "--out", "dusk"]).well();
    assert_ne!(fs::read(scene.path("dusk/mood-dusk/mid.fog.png")).expect("read"), scene.bytes("mid.fog.png"));
}

#[test]
fn plan_says_what_a_maker_would_want_to_know() {
    let scene = own();
    image::RgbaImage::from_pixel(24, 9, image::Rgba([200, 190, 180, 90]))
        .save(scene.path("small.png"))
        .expect("saved");
    let plan = |sets: &[&str]| {
        let more: Vec<&str> = sets.iter().flat_map(|set| ["--set", *set]).collect();
        scene.run(&[&["plan", "scene.toml"], &more[..]].concat()).well().out
    };
    let said = plan(&["slot.mid.sheet=small.png", "slot.mid.sheet_width=60"]);
    assert!(
        said.contains("mid: its own sheet is drawn 2.50 times as large as its file at scale 1"),
        "{said}"
    );
    let said = plan(&["slot.mid.sheet_x=-60"]);
    assert!(said.contains("mid: its own sheet ends inside the view: "), "{said}");
    assert!(!plan(&[]).contains("mid: its own sheet"), "nothing is the matter");
}

#[test]
fn one_that_cannot_be_used_is_told_by_name_line_and_remedy() {
    let scene = own();
    fs::remove_file(scene.path("mid.sheet.svg")).expect("gone");
    fs::remove_file(scene.path("far.svg")).expect("gone");
    let said = scene.render(&[]);
    // All at once.
    for part in ["far.svg", "mid.sheet.svg", "scene.toml:21", "sheet = "] {
        assert!(said.code == 4 && said.err.contains(part), "{part}: {}", said.err);
    }
    let scene = own();
    for content in ["no picture", "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"9\" height=\"9\"/>"] {
        scene.write("mid.sheet.svg", content);
        let said = scene.render(&[]);
        assert!(said.code == 4 && said.err.contains("mid.sheet.svg"), "{}", said.err);
    }
    assert!(scene.render(&[]).err.contains("slot mid: the picture that is its sheet shows nothing"));
    scene.write("mid.sheet.svg", &bars(99));
    let said = scene.render(&["--set", "slot.mid.sheet_width=1e6"]);
    assert!(said.code == 6 && said.err.contains("mid.fog.png would be 1000000 x"), "{}", said.err);
    let said = scene.render(&["--set", "slot.mid.period=1"]);
    assert!(said.code == 6 && said.err.contains("96 copies of its own sheet"), "{}", said.err);
    let said = scene.run(&["vary", "scene.toml", "mid", "--count", "2"]);
    assert!(said.err.contains("the sheet of \"mid\" is a picture"), "{}", said.err);
    // Nothing is drawn into it.
    scene.edit("scene.toml", "sheet = ", "strokes = \"far.svg\"\nsheet = ");
    let said = scene.render(&[]);
    for part in ["the slot \"mid\" has both `sheet` and `strokes`", "scene.toml:22", "Leave out one of them"]
    {
        assert!(said.code == 3 && said.err.contains(part), "{part}: {} {}", said.code, said.err);
    }
}

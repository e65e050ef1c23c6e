//! `fogweft vary`: variations to choose from.

use super::util::Scene;
use std::fs;

#[test]
fn the_contact_sheet_shows_every_variation() {
    let scene = Scene::new();
    let said = scene.run(&["vary", "scene.toml", "mid", "--count", "4", "--tile", "160"]).well();
    for line in ["1  seed 3  as it is\n", "2  seed 4\n", "4  seed 6\n"] {
        assert!(said.out.contains(line), "{}", said.out);
    }
    let sheet = image::open(scene.path("scene-mid-vary.png")).expect("a picture").into_rgb8();
    // Two columns and two rows of tiles 160 x 90 with gaps of 6 and labels of 22.
    assert_eq!(sheet.dimensions(), (2 * 166 + 6, 2 * (90 + 22 + 6) + 6));
    let tile = |column: u32, row: u32| {
        image::imageops::crop_imm(&sheet, 6 + column * 166, 6 + row * 118, 160, 90).to_image()
    };
    let first = tile(0, 0);
    assert!([(1, 0), (0, 1), (1, 1)].into_iter().all(|(column, row)| tile(column, row) != first));
    // The first tile is the scene as it is: its still at the same scale.
    let scale = (160.0_f64 / 48.0).to_string();
    scene.render(&["--scale", &scale, "--out", "still", "--quiet"]).well();
    assert_eq!(image::open(scene.path("still/still.png")).expect("a picture").into_rgb8(), first);
}

#[test]
fn a_choice_is_written_into_the_scene_and_nothing_else_is() {
    let scene = Scene::new();
    let before = fs::read_to_string(scene.path("scene.toml")).expect("text");
    let said = scene.run(&["vary", "scene.toml", "mid", "--pick", "3"]).well();
    assert!(said.out.contains("set seed of slot \"mid\" to 5"), "{}", said.out);
    let text = fs::read_to_string(scene.path("scene.toml")).expect("text");
    assert_eq!(text, before.replace("# between\n", "# between\nseed = 5\n"));
    // From there on it counts from the choice.
    let said = scene.run(&["vary", "scene.toml", "mid", "--tile", "160", "--count", "2"]).well();
    assert!(said.out.contains("1  seed 5  as it is\n"), "{}", said.out);

    let along = ["vary", "scene.toml", "mid", "--along", "smear.length=10..50", "--count", "5"];
    let said = scene.run(&[&along[..], &["--tile", "160"]].concat()).well();
    assert!(said.out.contains("4  smear.length 40\n"), "{}", said.out);
    scene.run(&[&along[..], &["--pick", "4"]].concat()).well();
    let picked = fs::read_to_string(scene.path("scene.toml")).expect("text");
    assert_eq!(picked, text.replace("smear.length = 22", "smear.length = 40"));
    scene
        .run(&["vary", "scene.toml", "near", "--along", "depth=-5..5", "--count", "3", "--pick", "1"])
        .well();
    assert!(
        fs::read_to_string(scene.path("scene.toml")).expect("text").contains("name = \"near\"\ndepth = -5\n")
    );
    scene.render(&["--quiet"]).well();
}

#[test]
fn wrong_wishes_are_told_and_change_nothing() {
    let scene = Scene::new();
    let before = scene.files(".");
    for (more, words) in [
        (&["mod"][..], "Did you mean \"mid\"?"),
        (&["mid", "--pick", "10"], "the variations are 1 to 9"),
        (&["mid", "--pick", "0"], "the variations are 1 to 9"),
        (&["mid", "--along", "smear.lenght=1..2"], "Did you mean `smear.length`?"),
        (&["mid", "--along", "smear.length"], "KEY=FROM..TO"),
        (&["mid", "--along", "smear.length=1..99999"], "too large"),
        (&["mid", "--along", "falloff.height=1..inf"], "inf"),
        (&["mid", "--along", "bands.kind=1..2"], "no number"),
        (&["mid", "--along", "depth=-100..0"], "behind the eye"),
    ] {
        let said = scene.run(&[&["vary", "scene.toml"], more].concat());
        assert!(said.code == 2 || said.code == 3, "{more:?}: {}", said.err);
        assert!(said.err.contains(words), "{words} in\n{}", said.err);
    }
    assert_eq!(scene.files("."), before);
}

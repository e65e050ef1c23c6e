//! Shelves of the user's own, and who set what.

use super::util::Scene;

const DRIFT: &str = "title = \"Drift\"\nfrom = \"mist\"\n[smear]\nlength = 77\n";

#[test]
fn a_presets_folder_beside_the_scene_is_a_shelf() {
    let scene = Scene::new();
    scene.write("presets/drift.toml", DRIFT);
    scene.edit("scene.toml", "seed = 3", "seed = 3\npreset = \"drift\"");
    scene.render(&[]).well();
    // A tweak of the preset is seen, and named.
    scene.edit("presets/drift.toml", "77", "78");
    let said = scene.render(&[]).well();
    assert!(said.out.contains("far.fog.png: smear.length 77 -> 78\n"), "{}", said.out);
    assert!(!said.out.contains("mid.fog.png:"), "its own number wins: {}", said.out);
    scene.like_a_clean_run("a preset");
    // What is wrong in it is told with its place.
    scene.edit("presets/drift.toml", "length", "lenght");
    let said = scene.render(&[]);
    assert!(said.code == 3 && said.err.contains("drift.toml") && said.err.contains("lenght"), "{}", said.err);
}

#[test]
fn the_scenes_shelf_hides_the_users_which_hides_the_programs() {
    let scene = Scene::new();
    let shown = |name: &str| scene.run(&["presets", "show", name, "--from", "scene.toml"]).well().out;
    scene.write("config/fogweft/presets/drift.toml", DRIFT);
    assert!(shown("drift").contains("length = 77                 # preset drift\n"));
    scene.write("presets/drift.toml", &DRIFT.replace("77", "5"));
    assert!(shown("drift").contains("length = 5                  # preset drift\n"));
    // One of the program's can be built upon under its own name.
    scene.write("presets/mist.toml", "title = \"My mist\"\nfrom = \"mist\"\n[soften]\nsigma = 33\n");
    let text = shown("mist");
    assert!(
        text.starts_with("My mist (mist)\n") && text.contains("sigma = 33                  # preset mist\n"),
        "{text}"
    );
    assert!(scene.run(&["presets", "--from", "scene.toml"]).well().out.contains("\ndrift "));
    assert!(!scene.run(&["presets", "show", "mist"]).well().out.contains("My mist"));
    // A file that is no preset harms nobody who doesn't ask for it.
    scene.write("presets/broken.toml", "title = 3 3");
    scene.render(&["--quiet"]).well();
    assert_eq!(scene.run(&["presets", "show", "broken", "--from", "scene.toml"]).code, 3);
    scene.write("presets/mist.toml", "title = \"Loop\"\nfrom = \"drift\"\n");
    let said = scene.run(&["presets", "show", "mist", "--from", "scene.toml"]);
    assert!(said.code == 3 && said.err.contains("built on each other"), "{}", said.err);
}

#[test]
fn each_number_is_shown_with_who_set_it() {
    let scene = Scene::new();
    scene.edit("scene.toml", "[air]", "soften.sigma = 9\npreset = \"mist\"\n[air]");
    let text =
        scene.run(&["presets", "show", "mist", "--from", "scene.toml", "--set", "bands.warp=0.5"]).well().out;
    assert!(text.contains("sigma = 9                   # scene\n"), "{text}");
    assert!(text.contains("warp = 0.5                  # command line\n"), "{text}");
    assert!(text.contains("# preset mist\n"), "{text}");
    assert!(text.contains("slot far: as above\n"), "{text}");
    let own = format!("slot mid, where it differs:\n{:<34}# slot\n", "smear.length = 22");
    assert!(text.contains(&own), "{text}");
    let text = scene.run(&["presets", "show", "mid", "--from", "scene.toml"]).well().out;
    for line in [
        format!("{:<34}# scene\n", "view = [48, 27]"),
        format!("{:<34}# default\n", "camera = 24"),
        format!("{:<34}# slot\n", "slot.depth = 200"),
        format!("{:<34}# scene\n", "slot.preset = \"mist\""),
        format!("{:<28}# slot\n", "length = 22"),
    ] {
        assert!(text.contains(&line), "{line} in\n{text}");
    }
    let said = scene.run(&["presets", "show", "mod", "--from", "scene.toml"]);
    assert_eq!(said.code, 2, "{}", said.err);
}

//! Projects: scenes that build on others, and what `fogweft.toml` says for all of them.

use super::util::{Scene, TEXT, hill, same};
use std::fs;

/// The moods that all levels share.
const MOODS: &str = "\
[mood.dusk.air]
haze = \"#886655\"
[mood.dusk.slot.mid]
smear.length = 40
[mood.dusk.slot.elsewhere]
fog = false
";

/// What all levels share: what the usual scene says before its slots, and moods.
fn common() -> String {
    let head = TEXT.find("view").expect("a view")..TEXT.find("\n[[slot]]").expect("slots");
    format!("{}{MOODS}", &TEXT[head])
}

/// A project with one level, which is the usual scene in two files.
fn project() -> Scene {
    let scene = Scene::new();
    scene.write("fogweft.toml", "");
    scene.write("common.toml", &common());
    for (slot, colour) in [("far", "#667788"), ("mid", "#445566"), ("near", "#223344")] {
        scene.write(&format!("levels/one/{slot}.svg"), &hill(colour));
    }
    let slots = &TEXT[TEXT.find("[[slot]]").expect("slots")..];
    scene.write("levels/one/scene.toml", &format!("from = \"../../common.toml\"\n\n{slots}"));
    scene
}

const LEVEL: &str = "levels/one/scene.toml";
const SHEETS: &str = "levels/one/scene-sheets";

/// The same in one file.
fn in_one_file(scene: &Scene) {
    let moods = MOODS.replace("[mood.dusk.slot.elsewhere]\nfog = false\n", "");
    scene.write("scene.toml", &format!("{TEXT}\n{moods}"));
    scene.render(&["--all-moods", "--quiet"]).well();
}

#[test]
fn two_files_make_what_one_makes() {
    let scene = project();
    in_one_file(&scene);
    scene.run(&["render", LEVEL, "--all-moods", "--quiet"]).well();
    for folder in ["", "/mood-dusk"] {
        let split = scene.files(&format!("{SHEETS}{folder}"));
        same(&split, &scene.files(&format!("scene-sheets{folder}")), "two files");
    }
    let said = scene.run(&["check", LEVEL, "--mood", "dusk"]);
    assert!(said.code < 2, "{}", said.err);
}

/// A path in a base counts from the base's folder, of a slot's places, too.
#[test]
fn a_place_of_a_base_has_its_picture_beside_the_base() {
    let scene = project();
    scene.write("shared/plates/post.svg", &hill("#553311"));
    let place = "[[slot]]\nname = \"mid\"\n[[slot.place]]\nart = \"plates/post.svg\"\nx = 21\ny = 3\n[[slot.place]]\nx = 44\n";
    scene.write("shared/common.toml", &(common() + place));
    scene.edit(LEVEL, "../../common.toml", "../../shared/common.toml");
    scene.run(&["render", LEVEL]).well();
    // The same written into one file, from where paths lead elsewhere.
    let own = TEXT.replace(
        "smear.length = 22\n",
        "smear.length = 22\n[[slot.place]]\nart = \"shared/plates/post.svg\"\nx = 21\ny = 3\n[[slot.place]]\nx = 44\n",
    );
    scene.write("scene.toml", &own);
    scene.render(&["--quiet"]).well();
    let (split, whole) = (scene.files(SHEETS), scene.files("scene-sheets"));
    for name in ["mid.art.png", "still.png"] {
        assert!(split[name] == whole[name], "{name}");
    }
    // It is an input like any other, for what watches, and for what isn't to be written over.
    scene.run(&["render", LEVEL, "--depfile", "one.d"]).well();
    assert!(fs::read_to_string(scene.path("one.d")).expect("text").contains("plates/post.svg"));
    scene.write("shared/plates/post.svg", &hill("#115533"));
    let said = scene.run(&["render", LEVEL]).well();
    assert!(said.out.contains("mid.art.png: ") && !said.out.contains("near.art.png: "), "{}", said.out);
}

#[test]
fn who_set_a_value_is_told_and_a_change_of_the_base_makes_what_it_touches() {
    let scene = project();
    let shown = scene.run(&["presets", "show", "mid", "--from", LEVEL, "--set", "floor=3"]).well().out;
    for line in [
        format!("{:<34}# ../../common.toml\n", "air.visibility = 900"),
        format!("{:<34}# command line\n", "floor = 3"),
        format!("{:<34}# slot\n", "slot.depth = 200"),
    ] {
        assert!(shown.contains(&line), "{line} in\n{shown}");
    }
    scene.run(&["render", LEVEL, "--depfile", "one.d"]).well();
    let rule = fs::read_to_string(scene.path("one.d")).expect("text");
    assert!(rule.contains("\ncommon.toml:\n") || rule.contains("/common.toml:\n"), "{rule}");
    assert!(rule.contains("fogweft.toml:\n"), "{rule}");
    // A key of the level's own hides the base's.
    scene.edit(LEVEL, "[[slot]]", "travel = 24\n\n[[slot]]");
    let before = scene.files(SHEETS);
    scene.edit("common.toml", "travel = 24", "travel = 30");
    let said = scene.run(&["render", LEVEL]).well();
    same(&before, &scene.files(SHEETS), "a hidden key");
    assert!(!said.out.contains("fog.png"), "{}", said.out);
    scene.edit("common.toml", "visibility = 900", "visibility = 800");
    let said = scene.run(&["render", LEVEL]).well();
    assert!(said.out.contains("mid.fog.png: air.visibility 900 -> 800\n"), "{}", said.out);
    assert!(!said.out.contains("far.art.png"), "{}", said.out);
    // A mood of the base wins over the level's own, as it would in one file.
    let dusk = scene.run(&["presets", "show", "mid", "--from", LEVEL, "--mood", "dusk"]).well().out;
    assert!(dusk.contains(&format!("{:<28}# ../../common.toml, mood dusk\n", "length = 40")), "{dusk}");
}

#[test]
fn slots_of_one_name_are_one_and_pictures_stay_where_their_file_says() {
    let scene = project();
    in_one_file(&scene);
    scene.write("shared/hill.svg", &hill("#998877"));
    scene.write(
        "shared/far.toml",
        "from = \"../common.toml\"\n[[slot]]\nname = \"far\"\ndepth = 700\nart = \"hill.svg\"\n[[slot]]\nname = \"ridge\"\ndepth = 400\nart = \"hill.svg\"\n",
    );
    scene.edit(LEVEL, "../../common.toml", "../../shared/far.toml");
    scene.run(&["render", LEVEL, "--all-moods", "--quiet"]).well();
    scene.write("far.svg", &hill("#667788"));
    scene.write("ridge.svg", &hill("#998877"));
    scene.edit(
        "scene.toml",
        "[[slot]]",
        "[[slot]]\nname = \"ridge\"\ndepth = 400\nart = \"ridge.svg\"\n\n[[slot]]",
    );
    scene.render(&["--all-moods", "--quiet"]).well();
    // The level's own depth and picture of `far` win; `ridge` is the base's.
    same(&scene.files(SHEETS), &scene.files("scene-sheets"), "merged slots");
}

#[test]
fn what_is_wrong_is_told_at_its_place() {
    let scene = project();
    let refused = |wanted: &[&str]| {
        let said = scene.run(&["render", LEVEL]);
        assert_eq!(said.code, 3, "{}", said.err);
        for part in wanted {
            assert!(said.err.contains(part), "{part} in\n{}", said.err);
        }
    };
    let good = fs::read_to_string(scene.path(LEVEL)).expect("text");
    scene.write("common.toml", &common().replace("seed", "sede"));
    // All faults at once, each with its file and line.
    scene.edit(LEVEL, "depth = 600", "dpeth = 600");
    refused(&["common.toml:3", "\"sede\"", "scene.toml:5", "\"dpeth\""]);
    scene.write(LEVEL, &good);
    scene.write("common.toml", &common().replace("view", "from = \"levels/one/scene.toml\"\nview"));
    refused(&["common.toml:1", "built on each other", "scene.toml from", "Remove `from` in one of them"]);
    scene.write("common.toml", &common());
    for (from, wanted) in [
        ("../../comon.toml", "Did you mean common.toml"),
        ("../../../common.toml", "leaves the project's folder"),
        ("/common.toml", "is not relative"),
    ] {
        scene.write(LEVEL, &good.replace("../../common.toml", from));
        refused(&["scene.toml:1", wanted]);
    }
    scene.write(LEVEL, &good.replace("\"../../common.toml\"", "3"));
    refused(&["scene.toml:1", "must be the path of a file"]);
    scene.write(LEVEL, &good.replace("[[slot]]", "[mood.dusk]\nfrom = \"x.toml\"\n[[slot]]"));
    refused(&["a mood can't say what the scene builds on"]);
    scene.write(LEVEL, &good);
    let said = scene.run(&["render", LEVEL, "--set", "from=x.toml"]);
    assert!(said.code == 2 && said.err.contains("Change `from` in the scene file"), "{}", said.err);
    fs::remove_file(scene.path("fogweft.toml")).expect("removed");
    refused(&["leaves the scene's folder", "fogweft.toml"]);
}

#[test]
fn the_project_names_a_shelf_a_common_file_and_a_place_for_outputs() {
    let scene = project();
    in_one_file(&scene);
    scene.write("recipes/drift.toml", "title = \"Drift\"\nfrom = \"mist\"\n[smear]\nlength = 77\n");
    scene.write("fogweft.toml", "shelf = \"recipes\"\ncommon = \"common.toml\"\nout = \"build/fog\"\n");
    scene.edit(LEVEL, "from = \"../../common.toml\"\n", "");
    scene.run(&["render", LEVEL, "--all-moods", "--quiet"]).well();
    same(&scene.files("build/fog/levels/one/scene"), &scene.files("scene-sheets"), "a common file");
    assert!(!scene.path(SHEETS).exists());
    scene.edit("common.toml", "seed = 3", "seed = 3\npreset = \"drift\"");
    let shown = scene.run(&["presets", "show", "far", "--from", LEVEL]).well().out;
    assert!(shown.contains("length = 77                 # preset drift\n"), "{shown}");
    // Over --out, and of what is cleaned.
    scene.run(&["render", LEVEL, "--out", "elsewhere", "--quiet"]).well();
    assert!(scene.path("elsewhere/manifest.json").exists());
    scene.run(&["clean", LEVEL]).well();
    // What a level says for itself.
    scene.edit(LEVEL, "[[slot]]", "preset = \"mist\"\n\n[[slot]]");
    let shown = scene.run(&["presets", "show", "far", "--from", LEVEL]).well().out;
    assert!(shown.contains("# preset mist\n") && !shown.contains("# preset drift\n"), "{shown}");
    for (text, wanted) in [
        ("shlef = \"recipes\"\n", "Did you mean \"shelf\"?"),
        ("out = \"../build\"\n", "leaves"),
        ("out = 3\n", "must be a path"),
        ("\ncommon = \"comon.toml\"\n", "Did you mean common.toml"),
    ] {
        scene.write("fogweft.toml", text);
        let said = scene.run(&["render", LEVEL]);
        assert!(said.code == 3 && said.err.contains("fogweft.toml:"), "{text}: {}", said.err);
        assert!(said.err.contains(wanted), "{text}: {}", said.err);
    }
}

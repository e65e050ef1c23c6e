//! What wins, who set each value, and defaults.

use fogweft::base::colour::Srgb;
use fogweft::base::limits::Limits;
use fogweft::base::units::{Px, Travel};
use fogweft::base::words::{Anchor, Blending};
use fogweft::scene::Repeat;
use fogweft::scene::read::{Options, Reading, read};
use fogweft::scene::recipe::layers::{Layer, Resolved};
use fogweft::scene::recipe::shelf::Shelf;
use fogweft::steps::recipe::Noise;
use std::path::{Path, PathBuf};

fn reading(text: &str, sets: &[&str]) -> Reading {
    let sets: Vec<String> = sets.iter().map(|set| (*set).to_owned()).collect();
    let (limits, shelf) = (Limits::default(), Shelf::embedded());
    let options = Options { sets: &sets, limits: &limits, shelf: &shelf, check_art: false, held: None };
    read(Path::new("dir/level.toml"), text, options).unwrap_or_else(|faults| panic!("{faults}"))
}

const LAYERED: &str = r##"
view = [1920, 1080]
preset = "mist"

[smear]
length = 50
angle = 5

[[slot]]
name = "far"
depth = 900

[[slot]]
name = "near"
depth = -100
preset = "steam-fog"
smear.length = 60
[slot.falloff]
height = inf
"##;

#[test]
fn each_layer_wins_over_those_below_it() {
    let reading = reading(LAYERED, &["smear.angle=7", "slot.near.soften.sigma=3"]);
    let [far, near] = &reading.scene.slots[..] else { panic!("two slots") };
    let [far_by, near_by] = &reading.slots[..] else { panic!("two slots") };
    let preset = |name: &str| Some(Layer::Preset(name.to_owned()));

    assert_eq!((far.recipe.smear.length, far_by.layer("smear.length")), (Px(50.0), Some(&Layer::Scene)));
    assert_eq!((near.recipe.smear.length, near_by.layer("smear.length")), (Px(60.0), Some(&Layer::Slot)));
    assert_eq!((far.recipe.smear.angle, far_by.layer("smear.angle")), (7.0, Some(&Layer::CommandLine)));
    assert_eq!(near.recipe.falloff.height, Px(f64::INFINITY));
    assert_eq!(
        (near.recipe.soften.sigma, near_by.layer("soften.sigma")),
        (Px(3.0), Some(&Layer::CommandLine))
    );
    assert_eq!(far_by.layer("soften.sigma").cloned(), preset("mist"));
    // The slot's own preset takes the place of the scene's.
    let steam = fogweft::scene::recipe::shelf::Shelf::embedded().get("steam-fog").expect("on the shelf");
    let steam = Resolved::of_preset(&steam).recipe().expect("complete");
    assert_eq!((&near.recipe.bands, near.preset.as_str()), (&steam.bands, "steam-fog"));
    assert_ne!(near.recipe.bands, far.recipe.bands);
    assert_eq!(near_by.layer("bands.kind").cloned(), preset("steam-fog"));
    assert_eq!(far.recipe.bands.kind, Noise::Smooth);
    // The recipe is what the settings say.
    for (slot, resolved) in reading.scene.slots.iter().zip(&reading.slots) {
        assert_eq!(resolved.recipe().expect("complete"), slot.recipe);
    }
}

#[test]
fn on_the_command_line_a_named_slot_wins_and_so_does_the_later_of_two() {
    for sets in
        [["slot.near.smear.length=9", "smear.length=8"], ["smear.length=8", "slot.near.smear.length=9"]]
    {
        let reading = reading(LAYERED, &sets);
        assert_eq!(reading.scene.slots[0].recipe.smear.length, Px(8.0));
        assert_eq!(reading.scene.slots[1].recipe.smear.length, Px(9.0));
    }
    assert_eq!(reading(LAYERED, &["travel=1", "travel=2"]).scene.travel, Travel::new(2.0, 0.0));
}

#[test]
fn a_preset_from_the_command_line_wins_over_the_slots_own() {
    let reading = reading(LAYERED, &["preset=low-stratus"]);
    for slot in &reading.scene.slots {
        assert_eq!((slot.preset.as_str(), slot.anchor), ("low-stratus", Anchor::Sky));
    }
    assert_eq!(reading.slots[0].layer("slot.preset"), Some(&Layer::CommandLine));
    let one = self::reading(LAYERED, &["preset=low-stratus", "slot.near.preset=mist"]);
    assert_eq!(one.scene.slots[1].preset, "mist");
}

#[test]
fn the_anchor_goes_command_line_slot_air_preset() {
    let text = |air: &str, slot: &str| {
        format!(
            "view = [100, 100]\npreset = \"low-stratus\"\n{air}\n[[slot]]\nname = \"a\"\ndepth = 1\n{slot}\n"
        )
    };
    let (sky, ground) = (Anchor::Sky, Anchor::Ground);
    for (air, slot, sets, anchor, who) in [
        ("", "", vec![], sky, Layer::Preset("low-stratus".into())),
        ("air.anchor = \"ground\"", "", vec![], ground, Layer::Scene),
        ("air.anchor = \"ground\"", "anchor = \"sky\"", vec![], sky, Layer::Slot),
        (
            "air.anchor = \"ground\"",
            "anchor = \"sky\"",
            vec!["air.anchor=ground"],
            ground,
            Layer::CommandLine,
        ),
        ("", "", vec!["air.anchor=ground", "slot.a.anchor=sky"], sky, Layer::CommandLine),
        ("", "preset = \"mist\"", vec![], ground, Layer::Preset("mist".into())),
        ("air.anchor = \"sky\"", "preset = \"mist\"", vec![], sky, Layer::Scene),
    ] {
        let reading = reading(&text(air, slot), &sets);
        assert_eq!(reading.scene.slots[0].anchor, anchor, "{air} {slot} {sets:?}");
        assert_eq!(reading.slots[0].layer("slot.anchor"), Some(&who), "{air} {slot} {sets:?}");
    }
}

#[test]
fn overrides_take_bare_text_and_toml_alike() {
    let sets = [
        "air.haze=#ccc",
        "backdrop=\"#102030\"",
        " travel = 2000 ",
        "view=[640, 360]",
        "falloff.height=inf",
        "bands.kind=ridged",
        "slot.far.flip=true",
        "slot.\"far\".repeat=12.5",
        "slot.far.art=a = b.png",
        "name=Die Mühle",
    ];
    let scene = reading(LAYERED, &sets).scene;
    assert_eq!(scene.air.haze, Srgb::from_codes([0xcc; 3]));
    assert_eq!(scene.backdrop, Srgb::from_codes([0x10, 0x20, 0x30]));
    assert_eq!((scene.travel, scene.view), (Travel::new(2000.0, 0.0), [640.0, 360.0].map(Px)));
    assert_eq!(scene.slots[0].recipe.falloff.height, Px(f64::INFINITY));
    assert_eq!(scene.slots[0].recipe.bands.kind, Noise::Ridged);
    assert_eq!(scene.name, "Die Mühle");
    let art = scene.slots[0].art.as_ref().expect("art");
    assert_eq!((art.flip, art.repeat), (true, Repeat::Every(Px(12.5))));
    assert_eq!(art.file, PathBuf::from("dir").join("a = b.png"));
}

#[test]
fn slots_whose_names_hold_dots_or_signs_can_be_overridden() {
    let text = "view = [9, 9]\n[[slot]]\nname = \"a\"\ndepth = 1\n[[slot]]\nname = \"a.b\"\ndepth = 1\n[[slot]]\nname = \"c=d\"\ndepth = 1\n";
    let scene = reading(text, &["slot.a.b.depth=3", "slot.a.depth=2", "slot.c=d.depth=4"]).scene;
    let depths: Vec<(&str, f64)> = scene.slots.iter().map(|slot| (slot.name.as_str(), slot.depth)).collect();
    assert_eq!(depths, [("c=d", 4.0), ("a.b", 3.0), ("a", 2.0)]);
}

#[test]
fn a_scene_needs_a_view_and_a_slot_and_no_more() {
    let reading = reading("view = [1920, 1080]\n[[slot]]\nname = \"a\"\ndepth = 300\n", &[]);
    let scene = &reading.scene;
    assert_eq!((scene.name.as_str(), scene.travel, scene.camera), ("level", Travel::default(), 960.0));
    assert_eq!([scene.horizon, scene.ground, scene.sky], [0.52 * 1080.0, 0.83 * 1080.0, 0.0].map(Px));
    assert_eq!(scene.backdrop, scene.air.haze);
    assert_eq!(scene.air.beyond, scene.air.visibility);
    assert_eq!(scene.air.blending, Blending::Encoded);
    let slot = &scene.slots[0];
    assert_eq!((slot.preset.as_str(), slot.fog, &slot.art), ("radiation-fog", true, &None));
    assert_eq!(reading.facts.layer("air.visibility"), Some(&Layer::Preset("radiation-fog".into())));
    assert_eq!(reading.facts.layer("travel"), Some(&Layer::Default));
    assert_eq!(reading.facts.layer("view"), Some(&Layer::Scene));
}

#[test]
fn everything_that_is_given_arrives() {
    let text = r##"
name = "Mill"
view = [1280, 720.5]
travel = 3000
camera = 700
horizon = 300
ground = 600
sky = -20
seed = 7
backdrop = "#123"
[air]
haze = "#aabbcc"
aloft = "#112233"
glow = "#ffeecc"
shade = "#001122"
visibility = 555
anchor = "sky"
light = 20
blending = "linear"
beyond = 0
[[slot]]
name = "one"
depth = 12.5
art = "art/one.svg"
x = -5
y = 40
width = 900
repeat = true
flip = true
fog = false
haze = "#fff"
haze_share = 0.25
line = 610
shrink = 0.5
period = 2048
"##;
    let scene = reading(text, &[]).scene;
    assert_eq!((scene.name.as_str(), scene.view, scene.sky), ("Mill", [1280.0, 720.5].map(Px), Px(-20.0)));
    assert_eq!(
        (scene.travel, scene.camera, scene.horizon, scene.ground),
        (Travel::new(3000.0, 0.0), 700.0, Px(300.0), Px(600.0))
    );
    assert_eq!(scene.backdrop.to_hex(), "#112233");
    let air = &scene.air;
    let hex = |colour: Option<Srgb>| colour.map(Srgb::to_hex).unwrap_or_default();
    assert_eq!(
        [hex(Some(air.haze)), hex(air.aloft), hex(air.glow), hex(air.shade)],
        ["#aabbcc", "#112233", "#ffeecc", "#001122"]
    );
    assert_eq!((air.visibility, air.light, air.blending, air.beyond), (555.0, 20.0, Blending::Linear, 0.0));
    let slot = &scene.slots[0];
    let art = slot.art.as_ref().expect("art");
    assert_eq!(
        (art.x, art.y, art.width, art.repeat, art.flip),
        (Px(-5.0), Some(Px(40.0)), Some(Px(900.0)), Repeat::Edge, true)
    );
    assert_eq!((slot.depth, slot.fog, slot.anchor), (12.5, false, Anchor::Sky));
    assert_eq!((hex(slot.haze).as_str(), slot.haze_share), ("#ffffff", Some(0.25)));
    assert_eq!((slot.line, slot.shrink, slot.period), (Some(Px(610.0)), Some(0.5), Some(Px(2048.0))));
}

#[test]
fn the_order_of_slots_in_the_file_changes_nothing() {
    let slots =
        [("c", 5, ""), ("a", 5, "smear.length = 3\n"), ("b", 900, "preset = \"mist\"\n"), ("d", -40, "")];
    let text = |order: [usize; 4]| {
        order.iter().fold(String::from("view = [1920, 1080]\n"), |text, at| {
            let (name, depth, more) = slots[*at];
            format!("{text}[[slot]]\nname = \"{name}\"\ndepth = {depth}\n{more}")
        })
    };
    let first = reading(&text([0, 1, 2, 3]), &["slot.a.grade.lit=1"]);
    let names: Vec<&str> = first.scene.slots.iter().map(|slot| slot.name.as_str()).collect();
    assert_eq!(names, ["b", "a", "c", "d"], "far to near, ties by name");
    for order in [[3, 2, 1, 0], [2, 0, 3, 1], [1, 3, 0, 2]] {
        assert_eq!(reading(&text(order), &["slot.a.grade.lit=1"]), first);
    }
}

#[test]
fn seeds_follow_the_scenes_seed_and_the_name_alone() {
    let text = |seed: u64, more: &str| {
        format!(
            "view = [9, 9]\nseed = {seed}\n[[slot]]\nname = \"a\"\ndepth = 1\n{more}\n[[slot]]\nname = \"b\"\ndepth = 1\n"
        )
    };
    let seeds = |text: &str| reading(text, &[]).scene.slots.iter().map(|slot| slot.seed).collect::<Vec<_>>();
    let plain = seeds(&text(1, ""));
    assert_ne!(plain[0], plain[1]);
    assert_eq!(seeds(&text(1, "smear.length = 1")), plain);
    assert_ne!(seeds(&text(2, "")), plain);
    let own = seeds(&text(1, "seed = 2"));
    assert_eq!(own, [seeds(&text(2, ""))[0], plain[1]], "its own seed stands for the scene's");
}

#[test]
fn line_ends_and_a_byte_order_mark_make_no_difference() {
    let plain = reading(LAYERED, &[]);
    assert_eq!(reading(&LAYERED.replace('\n', "\r\n"), &[]), plain);
    assert_eq!(reading(&format!("\u{feff}{LAYERED}"), &[]), plain);
}

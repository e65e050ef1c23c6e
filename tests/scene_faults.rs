//! Every kind of fault that a scene file or an override can have: its message, place and remedy.

use fogweft::base::fault::{Class, Fault, Faults};
use fogweft::base::limits::Limits;
use fogweft::scene::Source;
use fogweft::scene::read::{read_file, read_text};
use std::path::Path;

/// The faults of a text, pictures not looked for.
fn faults(text: &str, sets: &[&str]) -> Faults {
    let sets: Vec<String> = sets.iter().map(|set| (*set).to_owned()).collect();
    read_text(Path::new("dir/level.toml"), text, &sets, &Limits::default(), false)
        .expect_err("the scene should be faulty")
}

/// The only fault of a text, and the text it points at.
fn only(text: &str) -> (Fault, String) {
    let faults = faults(text, &[]);
    assert_eq!(faults.list.len(), 1, "{faults}");
    let fault = faults.list[0].clone();
    let place = fault.span.clone().map_or("", |span| &text[span]).to_owned();
    assert_eq!(fault.file.as_deref(), Some(Path::new("dir/level.toml")));
    (fault, place)
}

/// A good scene with lines put in at the top and into its one slot.
fn scene(top: &str, slot: &str) -> String {
    format!("{top}\nview = [1920, 1080]\n\n[[slot]]\nname = \"reeds\"\n{slot}\n")
}

#[test]
fn each_fault_of_a_key_names_its_place_and_remedy() {
    // (lines at the top, lines in the slot; message, place, part of the remedy)
    let cases = [
        ("horzon = 3", "depth = 1", "unknown key \"horzon\" in a scene", "horzon", "Did you mean `horizon`?"),
        (
            "visibility = 3",
            "depth = 1",
            "unknown key \"visibility\" in a scene",
            "visibility",
            "`air.visibility`",
        ),
        ("zzz = 3", "depth = 1", "unknown key \"zzz\" in a scene", "zzz", "Known keys: name, view"),
        ("air.hase = \"#ccc\"", "depth = 1", "unknown key \"hase\" in [air]", "hase", "Did you mean `haze`?"),
        ("falloff.hieght = 9", "depth = 1", "unknown key \"hieght\" in [falloff]", "hieght", "`height`"),
        ("", "depth = 1\nsize = 9", "unknown key \"size\" in [[slot]]", "size", "Did you mean `bands.size`?"),
        (
            "",
            "depth = 1\nstretch = 9",
            "unknown key \"stretch\" in [[slot]]",
            "stretch",
            "`bands.stretch`, or `soften.stretch`",
        ),
        ("", "depth = 1\nsmear.lenght = 9", "unknown key \"lenght\" in [smear]", "lenght", "`length`"),
        (
            "",
            "depth = \"12\"",
            "`slot.depth` must be a number, not a number in quotes",
            "\"12\"",
            "from -1e9 to 1e9",
        ),
        (
            "travel = true",
            "depth = 1",
            "`travel` must be a number or a list of two, not true or false",
            "true",
            "scene px",
        ),
        (
            "travel = 1979-05-27",
            "depth = 1",
            "`travel` must be a number or a list of two, not a date",
            "1979-05-27",
            "Give a number",
        ),
        (
            "seed = 1.5",
            "depth = 1",
            "`seed` must be a whole number, not a number with a fraction",
            "1.5",
            "0 or more",
        ),
        ("seed = -1", "depth = 1", "`seed` is -1, which is out of range", "-1", "0 or more"),
        (
            "bands.octaves = 25",
            "depth = 1",
            "`bands.octaves` is 25, which is out of range",
            "25",
            "from 1 to 24",
        ),
        ("travel = nan", "depth = 1", "`travel` is nan, which is not a number", "nan", "from 0 to 10000000"),
        ("", "depth = -nan", "`slot.depth` is nan, which is not a number", "-nan", "from -1e9"),
        ("travel = inf", "depth = 1", "`travel` can't be inf", "inf", "from 0"),
        ("falloff.height = -inf", "depth = 1", "`falloff.height` can't be -inf", "-inf", "or inf"),
        (
            "smear.length = -5",
            "depth = 1",
            "`smear.length` is -5, which is too small",
            "-5",
            "from 0 to 16384",
        ),
        ("camera = 0", "depth = 1", "`camera` is 0, which is too small", "0", "from 0.001"),
        (
            "bands.amount = 1.01",
            "depth = 1",
            "`bands.amount` is 1.01, which is too large",
            "1.01",
            "from 0 to 1.",
        ),
        (
            "air.visibility = 1e400",
            "depth = 1",
            "`air.visibility` is 1e400, which is too large",
            "1e400",
            "from 0.001",
        ),
        (
            "air.visibility = 900\nair.clear = 450",
            "depth = 1",
            "`air.clear` is 450, less than `air.visibility`, 900: outside the fog one sees at least as far as within it",
            "450",
            "at least 900",
        ),
        (
            "air.haze = \"grey\"",
            "depth = 1",
            "`air.haze` is \"grey\", which is not a colour",
            "\"grey\"",
            "#c3ccd4",
        ),
        (
            "air.haze = 13421772",
            "depth = 1",
            "`air.haze` must be a colour, not a number",
            "13421772",
            "#c3ccd4",
        ),
        (
            "air.anchor = \"grund\"",
            "depth = 1",
            "`air.anchor` can't be \"grund\"",
            "\"grund\"",
            "Did you mean \"ground\"?",
        ),
        ("bands.kind = \"x\"", "depth = 1", "`bands.kind` can't be \"x\"", "\"x\"", "\"cellular\""),
        (
            "",
            "depth = 1\nflip = \"yes\"",
            "`slot.flip` must be true or false, not text",
            "\"yes\"",
            "without quotes",
        ),
        (
            "",
            "depth = 1\nrepeat = 0",
            "`slot.repeat` is 0, which is too small",
            "0",
            "true, false, or a number from 1",
        ),
        (
            "",
            "depth = 1\nrepeat = \"x\"",
            "`slot.repeat` must be true, false or a number, not text",
            "\"x\"",
            "true, false",
        ),
        ("name = [1]", "depth = 1", "`name` must be text, not a list", "[1]", "text in quotes"),
        ("bands = 3", "depth = 1", "`bands` must be a table of numbers", "3", "Write [bands]"),
        ("air = \"thick\"", "depth = 1", "`air` must be one table", "\"thick\"", "Write [air] once"),
        (
            "preset = \"steamfog\"",
            "depth = 1",
            "there is no preset \"steamfog\"",
            "\"steamfog\"",
            "\"steam-fog\"",
        ),
        (
            "preset = \"elephant\"",
            "depth = 1",
            "there is no preset \"elephant\"",
            "\"elephant\"",
            "There are: \"advection-fog\"",
        ),
        ("", "depth = 1\npreset = \"mits\"", "there is no preset \"mits\"", "\"mits\"", "\"mist\""),
        ("", "", "the slot \"reeds\" has no `depth`", "[[slot]]", "0 on the play plane"),
        (
            "",
            "depth = -960",
            "the slot \"reeds\" is at or behind the eye: its depth is -960, the camera's distance 960",
            "-960",
            "above -960",
        ),
        (
            "camera = 100",
            "depth = -100.5",
            "the slot \"reeds\" is at or behind the eye: its depth is -100.5, the camera's distance 100",
            "-100.5",
            "`camera`",
        ),
        (
            "",
            "depth = 1\nart = \"/a.png\"",
            "the picture's path \"/a.png\" is not relative to the scene's folder",
            "\"/a.png\"",
            "beside the scene",
        ),
        (
            "",
            "depth = 1\nart = \"C:/a.png\"",
            "the picture's path \"C:/a.png\" is not relative to the scene's folder",
            "\"C:/a.png\"",
            "beside the scene",
        ),
        (
            "",
            "depth = 1\nart = \"a/../../b.png\"",
            "the picture's path \"a/../../b.png\" leaves the scene's folder",
            "\"a/../../b.png\"",
            "beside the scene",
        ),
        (
            "",
            "depth = 1\nart = 'a\\b.png'",
            "the picture's path 'a\\b.png' has \\ between folders",
            "'a\\b.png'",
            "Write 'a/b.png'",
        ),
        ("", "depth = 1\nart = \"\"", "the picture's path is empty", "\"\"", "beside the scene"),
    ];
    for (top, slot, message, place, remedy) in cases {
        let (fault, at) = only(&scene(top, slot));
        assert_eq!((fault.message.as_str(), at.as_str()), (message, place), "{top} / {slot}");
        assert!(fault.remedy.contains(remedy), "{message}: {}", fault.remedy);
        assert_eq!(fault.class, Class::Scene, "{message}");
    }
}

#[test]
fn each_fault_of_the_whole_scene_has_its_message() {
    let slot = "[[slot]]\nname = \"a\"\ndepth = 1\n";
    let view = "view = [1920, 1080]\n";
    let cases = [
        (String::from(slot), "the scene has no `view`", ""),
        (view.to_owned(), "the scene has no slots", ""),
        (format!("{view}slot = []"), "the scene has no slots", ""),
        (format!("{view}[slot]\nname = \"a\"\ndepth = 1"), "`slot` must be a list of tables", "[slot]"),
        (format!("{view}slot = [1]"), "a slot must be a table", "1"),
        (format!("{view}[[air]]\n{slot}"), "`air` must be one table", "[[air]]"),
        (format!("view = [1920, 0]\n{slot}"), "`view` is 0, which is too small", "[1920, 0]"),
        (format!("view = [0, 1080]\n{slot}"), "`view` is 0, which is too small", "[0, 1080]"),
        (format!("view = [1080]\n{slot}"), "`view` must be two numbers, not 1", "[1080]"),
        (format!("view = [-1920, 1080]\n{slot}"), "`view` is -1920, which is too small", "[-1920, 1080]"),
        (
            format!("view = [\"a\", 1080]\n{slot}"),
            "`view` must be a list of two numbers, not text",
            "[\"a\", 1080]",
        ),
        (format!("{view}{slot}{slot}"), "two slots are named \"a\"", "\"a\""),
        (
            format!("{view}{slot}[[slot]]\nname = \"A\"\ndepth = 2"),
            "the slots' names \"a\" and \"A\" differ only in case",
            "\"A\"",
        ),
        (format!("{view}[[slot]]\ndepth = 1"), "the slot has no `name`", "[[slot]]"),
        (
            format!("{view}[[slot]]\ndepth = 1\nname = \"a/b\""),
            "the slot's name \"a/b\" contains \"/\", which is not allowed in file names",
            "\"a/b\"",
        ),
        (
            format!("{view}[[slot]]\ndepth = 1\nname = \"NUL\""),
            "the slot's name \"NUL\" is a device on Windows",
            "\"NUL\"",
        ),
        (
            format!("{view}[[slot]]\ndepth = 1\nname = \"a.fog\""),
            "the slot's name \"a.fog\" ends in .fog, which is reserved for outputs",
            "\"a.fog\"",
        ),
    ];
    for (text, message, place) in cases {
        let (fault, at) = only(&text);
        assert_eq!((fault.message.as_str(), at.as_str()), (message, place), "{text}");
        assert!(!fault.remedy.is_empty(), "{message}");
    }
}

#[test]
fn what_is_not_toml_is_told_with_the_rest() {
    let text =
        "view = [1920, 1080\ntravel = -1\n[[slot]]\nname = reeds\ndept = 1\nart 3\nsmear.length = nan\n";
    let faults = faults(text, &[]);
    let messages: Vec<&str> = faults.list.iter().map(|fault| fault.message.as_str()).collect();
    assert_eq!(
        messages,
        [
            "this bracket is never closed",
            "`travel` is -1, which is too small",
            "\"reeds\" is not a value",
            "unknown key \"dept\" in [[slot]]",
            "an = is missing here",
            "`smear.length` is nan, which is not a number",
        ]
    );

    let twice = scene("travel = 1\ntravel = 2\nhorizon = nan", "depth = 1");
    let faults = self::faults(&twice, &[]);
    let messages: Vec<&str> = faults.list.iter().map(|fault| fault.message.as_str()).collect();
    assert_eq!(messages, ["\"travel\" is set twice", "`horizon` is nan, which is not a number"]);
    assert_eq!(faults.list[0].span, Some(11..17));
}

#[test]
fn all_faults_come_at_once_in_the_order_of_the_file() {
    let text = "travel = -1\nair.haze = \"x\"\n[[slot]]\nname = \"b\"\ndepth = nan\n[falloff]\nhieght = 2\n[grade]\nlit = 9\n";
    let faults = faults(text, &["smear.lenght=3", "air.haze=#zz"]);
    let messages: Vec<&str> = faults.list.iter().map(|fault| fault.message.as_str()).collect();
    assert_eq!(
        messages,
        [
            "the scene has no `view`",
            "`travel` is -1, which is too small",
            "`air.haze` is \"x\", which is not a colour",
            "`slot.depth` is nan, which is not a number",
            "unknown key \"hieght\" in [falloff]",
            "`grade.lit` is 9, which is too large",
            "there is no key \"smear.lenght\"",
            "`air.haze` is \"#zz\", which is not a colour",
        ]
    );
    assert_eq!(faults.exit_code(), 3);
}

#[test]
fn faults_of_overrides_name_the_argument_as_written() {
    let good = scene("", "depth = 1");
    // (argument, message, part of the remedy)
    let cases = [
        ("travel", "the value is missing", "KEY=VALUE"),
        ("travel=", "`travel` has no value", "from 0"),
        ("travle=3", "there is no key \"travle\"", "`travel`"),
        ("haze=#ccc", "there is no key \"haze\"", "`air.haze`"),
        ("length=3", "there is no key \"length\"", "`smear.length`"),
        ("elephant=3", "there is no key \"elephant\"", "slot.NAME.depth"),
        ("=3", "there is no key \"\"", "with dots"),
        ("travel=-3", "`travel` is -3, which is too small", "from 0"),
        ("travel=many", "`travel` must be a number or a list of two, not text", "from 0"),
        ("air.haze=#cccc", "`air.haze` is \"#cccc\", which is not a colour", "#c3ccd4"),
        ("preset=steamfog", "there is no preset \"steamfog\"", "steam-fog"),
        ("camera=nan", "`camera` is nan, which is not a number", "from 0.001"),
        ("slot.reed.depth=3", "there is no slot \"reed\"", "\"reeds\""),
        ("slot.elephant.depth=3", "there is no slot \"elephant\"", "There are: \"reeds\""),
        ("slot.reeds=3", "the slot's key is missing", "slot.reeds.depth=300"),
        ("slot.reeds.depth", "the value is missing", "KEY=VALUE"),
        ("slot.reeds.dept=3", "there is no key \"dept\"", "`depth`"),
        ("slot.reeds.travel=3", "there is no key \"travel\"", "with dots"),
        ("slot.reeds.length=3", "there is no key \"length\"", "`smear.length`"),
        ("slot.reeds.name=b", "a slot can't be renamed from the command line", "scene file"),
        (
            "slot.reeds.depth=-960",
            "the slot \"reeds\" is at or behind the eye: its depth is -960, the camera's distance 960",
            "above -960",
        ),
        ("slot.reeds.art=../a.png", "the picture's path \"../a.png\" leaves the scene's folder", "beside"),
    ];
    for (argument, message, remedy) in cases {
        let faults = faults(&good, &[argument]);
        assert_eq!(faults.list.len(), 1, "{argument}: {faults}");
        let fault = &faults.list[0];
        assert_eq!(fault.message, message, "{argument}");
        assert!(fault.remedy.contains(remedy), "{argument}: {}", fault.remedy);
        assert_eq!(fault.class, Class::Usage, "{argument}");
        assert_eq!(fault.file.as_deref(), Some(Path::new(&format!("--set {argument}"))));
        assert_eq!(faults.exit_code(), 2);
    }
}

#[test]
fn a_camera_moved_by_an_argument_is_at_fault_itself() {
    let faults = faults(&scene("", "depth = -500"), &["camera=400"]);
    assert_eq!(faults.list[0].file.as_deref(), Some(Path::new("--set camera=400")), "{faults}");
}

#[test]
fn more_slots_than_the_limit_are_refused() {
    let mut text = String::from("view = [1920, 1080]\n");
    for at in 0..5 {
        text.push_str(&format!("[[slot]]\nname = \"s{at}\"\ndepth = {at}\n"));
    }
    let mut limits = Limits::default();
    limits.slots = 4;
    let faults = read_text(Path::new("a.toml"), &text, &[], &limits, false).expect_err("five of four");
    assert_eq!(faults.list[0].message, "the scene has 5 slots, over the limit of 4");
    assert_eq!(faults.exit_code(), 6);
    limits.slots = 5;
    assert!(read_text(Path::new("a.toml"), &text, &[], &limits, false).is_ok());
}

#[test]
fn files_that_cannot_be_read_have_messages_of_their_own() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = |name: &str| folder.path().join(name);
    let mut limits = Limits::default();
    limits.text_bytes = 100;
    let fault = |path: &Path| Source::load(path, &limits).expect_err("unreadable").list[0].clone();

    std::fs::write(path("level.toml"), "view = [1, 1]").expect("written");
    let missing = fault(&path("levle.toml"));
    assert_eq!((missing.message.as_str(), missing.class), ("there is no such file", Class::Usage));
    assert_eq!(missing.remedy, "Did you mean level.toml?");

    let directory = fault(folder.path());
    assert_eq!(directory.message, "this is a folder, not a scene file");
    assert!(directory.remedy.contains("level.toml"), "{}", directory.remedy);

    std::fs::write(path("latin.toml"), b"# a\nname = \"M\xfchle\"").expect("written");
    let latin = fault(&path("latin.toml"));
    assert_eq!(latin.message, "the file is not UTF-8 text (line 2)");
    assert_eq!(latin.class, Class::Scene);

    std::fs::write(path("long.toml"), "#".repeat(101)).expect("written");
    let long = fault(&path("long.toml"));
    assert_eq!(
        (long.message.as_str(), long.class),
        ("the file is longer than the limit of 100 bytes", Class::Limit)
    );
}

#[test]
fn pictures_must_be_there() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("level.toml");
    std::fs::create_dir(folder.path().join("art")).expect("made");
    std::fs::write(folder.path().join("art/reeds.png"), "").expect("written");
    let with = |art: &str| {
        std::fs::write(&file, scene("", &format!("depth = 1\nart = \"{art}\""))).expect("written");
        read_file(&file, &[], &Limits::default())
    };
    let found = with("art/reeds.png").expect("there");
    assert_eq!(
        found.slots[0].art.as_ref().map(|art| art.file.clone()),
        Some(folder.path().join("art/reeds.png"))
    );

    let missing = with("art/reeeds.png").expect_err("not there");
    assert_eq!(missing.exit_code(), 4);
    assert!(missing.list[0].message.starts_with("there is no picture "), "{missing}");
    assert_eq!(missing.list[0].remedy, "Did you mean \"reeds.png\"?");
    assert!(missing.list[0].span.is_some());

    let folder_itself = with("art").expect_err("a folder");
    assert!(folder_itself.list[0].message.ends_with("is a folder, not a picture"), "{folder_itself}");
}

#[test]
fn the_report_shows_file_line_and_remedy() {
    let text = scene("travel = -1", "depth = 1");
    let report = faults(&text, &[]).to_string();
    for part in [
        "dir/level.toml:1:10: error: `travel` is -1, which is too small",
        "1 | travel = -1",
        "^^",
        "help: Give a number from 0 to 10000000 scene px, or two in brackets, like `travel = [3840, 900]`.",
    ] {
        assert!(report.contains(part), "{part} in\n{report}");
    }
}

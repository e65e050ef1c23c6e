//! The other commands of the real program: demo, plan, new, presets, sheet; and the exit codes.

use crate::run::folder;
use crate::util::{decode_file, done, fails, files, fogweft, presets, thorough};
use serde_json::Value;
use std::fs;
use std::path::Path;

/// The demo, once for all checks of it: it is the one large picture here.
#[test]
fn the_demo_stands_on_its_own() {
    let folder = tempfile::tempdir().unwrap();
    let said = done(folder.path(), &["demo"]);
    let home = folder.path().join("fogweft-demo");
    let first = files(&home);
    for (name, bytes) in fogweft::scene::start::DEMO {
        // The scene begins with the line by which editors find the schema beside it.
        let own = first[*name].strip_prefix(b"#:schema ./scene.schema.json\n\n").unwrap_or(&first[*name]);
        assert_eq!(own, *bytes, "{name}");
        assert_eq!(own.len() < first[*name].len(), *name == "scene.toml", "{name}");
    }
    assert!(first.contains_key("scene.schema.json"));
    let manifest: Value = serde_json::from_slice(&first["scene-sheets/manifest.json"]).unwrap();
    for entry in manifest["files"].as_array().unwrap() {
        let path = entry["path"].as_str().unwrap();
        assert!(first.contains_key(&format!("scene-sheets/{path}")), "{path}");
    }
    let count = manifest["files"].as_array().unwrap().len();
    assert!(said.starts_with(&format!("{count} files, ")) && said.contains("still.png"), "{said}");
    let next = said.split("Next:").nth(1).expect("what to try next");
    assert_eq!(next.matches("  fogweft ").count(), 3, "{said}");
    let slots = manifest["files"].as_array().unwrap().iter().filter(|entry| entry["kind"] == "fog").count();
    assert!((6..=8).contains(&slots), "six to eight slots, not {slots}");
    assert_eq!(decode_file(&home.join("scene-sheets/still.png")).size, [1920, 1080]);

    // Again over itself: the same.
    done(folder.path(), &["demo"]);
    assert_eq!(files(&home), first);

    // An edited scene is somebody's work: refused, and nothing is touched.
    let edited = [&first["scene.toml"][..], b"# mine\n"].concat();
    fs::write(home.join("scene.toml"), &edited).unwrap();
    let text = fails(folder.path(), 5, &["demo"]);
    assert!(text.contains("scene.toml"), "{text}");
    let mut after = files(&home);
    assert_eq!(after.insert("scene.toml".to_owned(), first["scene.toml"].clone()), Some(edited));
    assert_eq!(after, first);
}

#[test]
fn the_demo_overwrites_nothing() {
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("mine")).unwrap();
    fs::write(folder.path().join("mine/notes.txt"), "mine").unwrap();
    let before = files(folder.path());
    let text = fails(folder.path(), 5, &["demo", "mine"]);
    assert!(text.contains("notes.txt"), "{text}");
    assert_eq!(files(folder.path()), before);
    // A file where the folder should be; a scene of the same name by somebody else.
    fails(folder.path(), 5, &["demo", "mine/notes.txt"]);
    fs::write(folder.path().join("mine/scene.toml"), "view = [1, 1]").unwrap();
    fs::remove_file(folder.path().join("mine/notes.txt")).unwrap();
    let before = files(folder.path());
    fails(folder.path(), 5, &["demo", "mine"]);
    assert_eq!(files(folder.path()), before);
}

/// The plan is what the run then does; it draws nothing.
#[test]
fn the_plan_is_what_is_made() {
    let folder = folder();
    let before = files(folder.path());
    let text = done(folder.path(), &["plan", "marsh.toml"]);
    let plan: Value = serde_json::from_str(&done(folder.path(), &["plan", "marsh.toml", "--json"])).unwrap();
    assert_eq!(files(folder.path()), before);
    done(folder.path(), &["render", "marsh.toml", "--out", "out"]);
    let manifest: Value =
        serde_json::from_slice(&fs::read(folder.path().join("out/manifest.json")).unwrap()).unwrap();
    let (jobs, entries) = (plan["files"].as_array().unwrap(), manifest["files"].as_array().unwrap());
    assert_eq!(jobs.len(), entries.len());
    for (job, entry) in jobs.iter().zip(entries) {
        for key in ["slot", "kind", "path", "order"] {
            assert_eq!(job[key], entry[key], "{key}");
        }
        // A rim takes no more room than it fills; how much is known when it is solved.
        let size = |value: &Value| [0, 1].map(|at| value["texels"][at].as_u64().unwrap());
        let (most, own) = (size(job), size(entry));
        let fits = own[0] <= most[0] && own[1] <= most[1];
        assert!(if job["kind"] == "rim" { fits } else { most == own }, "{most:?} {own:?}");
        for key in ["depth", "pan_rate", "period", "optical_depth"] {
            match (job[key].as_f64(), entry[key].as_f64()) {
                (Some(a), Some(b)) => assert!((a - b).abs() <= 1e-9 * a.abs(), "{key}: {a} {b}"),
                (a, b) => assert_eq!(a, b, "{key}"),
            }
        }
        assert!(text.contains(job["path"].as_str().unwrap()), "{text}");
    }
    // The air behind hills: 600 of 500, and 5 % are left after 500 (CIE e-ILV 17-31-018).
    let hills = jobs.iter().find(|job| job["path"] == "hills.fog.png").unwrap();
    assert!((hills["optical_depth"].as_f64().unwrap() - 600.0 / 500.0 * 2.995732273553991).abs() < 1e-12);
    let half: Value =
        serde_json::from_str(&done(folder.path(), &["plan", "marsh.toml", "--json", "--scale", "0.5"]))
            .unwrap();
    assert_eq!(half["texels"], serde_json::json!([80, 48]));
}

/// A new scene renders as it is, for every preset, in pictures that suit it, and doesn't overwrite.
#[test]
fn a_new_scene_renders_at_once() {
    let folder = tempfile::tempdir().unwrap();
    let anchors = fogweft::scene::recipe::shelf::Shelf::embedded();
    for name in presets() {
        let told = done(folder.path(), &["new", &name, "--preset", &name]);
        assert_eq!(told.matches("  fogweft ").count(), 3, "three commands to try next: {told}");
        let scene = fs::read_to_string(folder.path().join(&name).join("scene.toml")).unwrap();
        assert!(scene.contains(&format!("preset = \"{name}\"")), "{scene}");
        assert!(scene.contains(&format!("name = \"{name}\"")), "named after its folder: {scene}");
        let visibility = scene.lines().any(|line| line.starts_with("visibility"));
        assert!(!visibility, "the preset's own holds: {scene}");
        let comments = scene.lines().filter(|line| line.contains('#')).count();
        assert!(comments > 15, "a painter can read it");
        let under_sky = anchors.get(&name).unwrap().anchor == fogweft::base::words::Anchor::Sky;
        assert_eq!(folder.path().join(&name).join("viaduct.svg").is_file(), under_sky, "{name}");
        done(folder.path(), &["render", &format!("{name}/scene.toml"), "--scale", "0.05"]);
        assert!(folder.path().join(&name).join("scene-sheets/still.png").is_file());
    }
    let before = files(folder.path());
    fails(folder.path(), 5, &["new", "mist"]);
    assert_eq!(files(folder.path()), before);
    assert!(fails(folder.path(), 2, &["new", "other", "--preset", "mits"]).contains("mist"));
    fails(folder.path(), 2, &["new", "other", "--like", "sea"]);
    fails(folder.path(), 2, &["new", "other", "--like", "sky", "--preset", "mits"]);
    assert!(!folder.path().join("other").exists());
    // A folder whose name needs quoting; Windows allows no such name.
    let quoted = if cfg!(windows) { "a 'b'" } else { "a \"b\"" };
    done(folder.path(), &["new", quoted, "--like", "sky", "--preset", "mist"]);
    done(folder.path(), &["plan", &format!("{quoted}/scene.toml")]);
}

#[test]
fn a_new_scene_is_made_quietly_where_that_is_asked_for() {
    let folder = tempfile::tempdir().unwrap();
    assert_eq!(done(folder.path(), &["new", "one", "--quiet"]), "");
    done(folder.path(), &["new", "two"]);
    for name in ["scene.toml", "scene.schema.json"] {
        let [one, two] =
            ["one", "two"].map(|scene| fs::read_to_string(folder.path().join(scene).join(name)).unwrap());
        assert_eq!(one, two.replace("name = \"two\"", "name = \"one\""), "{name}");
    }
    fails(folder.path(), 5, &["new", "one", "-q"]);
}

/// CIE L* goes from 0 to 100 (ISO/CIE 11664-4): who writes 0.8 meant a share.
#[test]
fn a_lightness_written_as_a_share_is_warned_of_by_its_line() {
    let folder = folder();
    let file = folder.path().join("marsh.toml");
    let text = fs::read_to_string(&file).unwrap();
    let warned = |text: &str, more: &[&str]| {
        fs::write(&file, text).unwrap();
        let told = |command| {
            let run = fogweft(folder.path(), &[&[command, "marsh.toml"], more].concat());
            String::from_utf8(run.stderr).unwrap()
        };
        let [plan, check] = ["plan", "check"].map(told);
        let about = |text: &str| -> Vec<String> {
            text.lines().filter(|line| line.contains("lightness, 0 to 100")).map(str::to_owned).collect()
        };
        assert_eq!(about(&plan), about(&check));
        about(&plan)
    };
    let light = |keep: &str| format!("{text}\n[light]\nkeep = {keep}\n");
    for (keep, told) in [("0.8", 1), ("1.99", 1), ("0", 0), ("2", 0), ("80", 0)] {
        assert_eq!(warned(&light(keep), &[]).len(), told, "{keep}");
    }
    let line = light("0.8").lines().position(|line| line == "keep = 0.8").unwrap() + 1;
    let warning = warned(&light("0.8"), &[]).remove(0);
    assert!(warning.starts_with(&format!("warning: marsh.toml:{line}: `light.keep`")), "{warning}");
    let name = text.lines().position(|line| line.starts_with("name = ")).unwrap();
    let mut lines: Vec<&str> = text.lines().collect();
    lines.insert(name + 1, "keep = 0.5");
    let warning = warned(&lines.join("\n"), &[]).remove(0);
    assert!(warning.starts_with(&format!("warning: marsh.toml:{}: `keep`", name + 2)), "{warning}");
    let warning = warned(&text, &["--set", "light.keep=0.8"]).remove(0);
    assert!(warning.starts_with("warning: --set light.keep=0.8: "), "{warning}");
}

/// Each starter scene has slots, lamps and strokes, and its pictures go down to the foot of the frame wherever the camera is.
#[test]
fn starter_scenes_are_whole() {
    let folder = tempfile::tempdir().unwrap();
    for kind in ["ground", "sky", "night"] {
        done(folder.path(), &["new", kind, "--like", kind]);
        let scene = format!("{kind}/scene.toml");
        done(folder.path(), &["render", &scene, "--scale", "0.25", "--set", "rim.separation=0"]);
        let sheets = folder.path().join(kind).join("scene-sheets");
        let manifest: Value =
            serde_json::from_slice(&fs::read(sheets.join("manifest.json")).unwrap()).unwrap();
        let of = |kind: &str| -> Vec<&Value> {
            manifest["files"].as_array().unwrap().iter().filter(|file| file["kind"] == kind).collect()
        };
        assert!((6..=8).contains(&of("art").len()) && !of("lamp").is_empty(), "{kind}");
        let text = fs::read_to_string(folder.path().join(&scene)).unwrap();
        assert_eq!(text.lines().filter(|line| line.starts_with("strokes = ")).count(), 1, "{kind}");
        for art in of("art") {
            let picture = decode_file(&sheets.join(art["path"].as_str().unwrap()));
            let [width, height] = picture.size.map(|side| side as usize);
            let place: Vec<f64> = serde_json::from_value(art["rect"].clone()).unwrap();
            assert!(place[1] + place[3] >= 1080.0 - 4.0, "{kind} {art}");
            // The last texels may be in part within the picture.
            let row = (1072.0 - place[1]).min(place[3] - 8.0) / place[3] * height as f64;
            let whole =
                picture.texels[row as usize * width..][..width].iter().all(|texel| texel[3] == 0xffff);
            assert!(whole, "{kind} {}: its foot is whole", art["path"]);
        }
    }
}

/// All demo scenes: a page shows each in each mood. Drawn in full only where slow tests are asked for.
#[test]
fn all_demo_scenes_have_a_page() {
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir_all(folder.path().join("d/salt-marsh")).unwrap();
    fs::write(folder.path().join("d/salt-marsh/notes.txt"), "mine").unwrap();
    assert!(fails(folder.path(), 5, &["demo", "d", "--all"]).contains("notes.txt"));
    fs::rename(folder.path().join("d/salt-marsh/notes.txt"), folder.path().join("d/notes.txt")).unwrap();
    assert!(fails(folder.path(), 5, &["demo", "d", "--all"]).contains("notes.txt"));
    fs::rename(folder.path().join("d/notes.txt"), folder.path().join("d/index.html")).unwrap();
    assert!(fails(folder.path(), 5, &["demo", "d", "--all"]).contains("index.html"));
    assert_eq!(files(folder.path()).len(), 1, "nothing was written");
    if !thorough() {
        return;
    }
    let told = done(folder.path(), &["demo", "worlds", "--all"]);
    let next = told.split("Next:").nth(1).unwrap();
    assert_eq!(next.matches("  fogweft ").count(), 3, "{told}");
    let page = fs::read_to_string(folder.path().join("worlds/index.html")).unwrap();
    for end in ["href=\"", "src=\""] {
        let paths: Vec<&str> = page.split(end).skip(1).map(|rest| rest.split('"').next().unwrap()).collect();
        assert!(paths.len() >= 7, "each scene in each mood: {page}");
        assert!(paths.iter().all(|path| folder.path().join("worlds").join(path).is_file()), "{paths:?}");
    }
    done(folder.path(), &["demo", "worlds", "--all"]);
}

#[test]
fn the_shelf_is_shown() {
    let folder = tempfile::tempdir().unwrap();
    let list = done(folder.path(), &["presets"]);
    assert!(presets().len() >= 10);
    assert!(list.contains(" sky ") && list.contains(" ground "), "{list}");
    for name in presets() {
        assert!(list.lines().any(|line| line.trim_start().starts_with(&name)), "{name}:\n{list}");
        let shown = done(folder.path(), &["presets", "show", &name]);
        assert!(shown.contains(&name), "{shown}");
        for key in fogweft::scene::keys::KEYS.iter().filter(|key| key.is_step()) {
            let (step, number) = key.path.split_once('.').unwrap();
            assert!(
                shown.contains(&format!("[{step}]")) && shown.contains(&format!("\n{number} = ")),
                "{}",
                key.path
            );
        }
    }
    assert!(fails(folder.path(), 2, &["presets", "show", "sea-frett"]).contains("sea-fret"));
}

/// Rows of a decoded sheet.
fn sheet(folder: &Path, args: &[&str]) -> (u32, Vec<[u16; 4]>) {
    done(folder, &[&["sheet", "--out", "one.png"], args].concat());
    let decoded = decode_file(&folder.join("one.png"));
    fs::remove_file(folder.join("one.png")).unwrap();
    (decoded.size[0], decoded.texels)
}

/// One sheet without a scene: every option does what it says.
#[test]
fn one_sheet_without_a_scene() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let base = ["--preset", "valley-fog", "--size", "300x90"];
    let with = |more: &[&str]| sheet(folder, &[&base[..], more].concat());
    let (width, plain) = with(&[]);
    assert_eq!((width, plain.len()), (300, 300 * 90));
    assert_eq!(with(&[]).1, plain, "the same again");
    // A period inside the width repeats exactly, also where the dither's tile doesn't divide it.
    for period in [101, 128] {
        let (_, texels) = with(&["--period", &period.to_string()]);
        assert!(texels.iter().any(|texel| texel[3] != texels[0][3]), "the sheet holds fog");
        for row in texels.chunks(300) {
            assert!((0..300 - period).all(|x| row[x] == row[x + period]), "period {period}");
        }
    }
    // Under the sky, too, where the fog is thick at the top.
    let deck = ["--preset", "stratocumulus", "--size", "300x100", "--period", "120", "--haze", "#c8ccd2"];
    let (_, texels) = sheet(folder, &[&deck[..], &["--thickness", "1.5", "--seed", "9"]].concat());
    assert_eq!(texels.len(), 300 * 100);
    for row in texels.chunks(300) {
        assert!((0..180).all(|x| row[x] == row[x + 120]));
    }
    let alphas = texels.iter().map(|texel| texel[3] / 257);
    let (most, least) = (alphas.clone().max().unwrap(), alphas.min().unwrap());
    assert!(most > 120 && most - least > 10, "opacities from {least} to {most}");
    assert_ne!(with(&["--seed", "2"]).1, plain);
    assert_eq!(with(&["--seed", "1"]).1, plain);
    // Unlit, every texel has the haze.
    let (_, hazed) = with(&["--haze", "#336699", "--set", "grade.lit=0"]);
    assert!(hazed.iter().all(|texel| texel[..3] == [0x33 * 257, 0x66 * 257, 0x99 * 257]));
    // Optical thickness along the line: 1 - exp(-2), everywhere if the fog is even.
    let even = [
        "--set",
        "bands.amount=0",
        "--set",
        "falloff.height=inf",
        "--set",
        "falloff.beyond=inf",
        "--bits",
        "16",
    ];
    let (_, texels) = with(&[&["--thickness", "2"], &even[..]].concat());
    for texel in texels {
        assert!((f64::from(texel[3]) - 65535.0 * 0.8646647167633873).abs() <= 0.55, "{texel:?}");
    }
    assert_ne!(with(&["--line", "20"]).1, plain);
    let lit = |light: &str| with(&["--set", "grade.lit=0.5", "--light", light]).1;
    assert_ne!(lit("0"), lit("180"));

    fails(folder, 2, &["sheet", "--preset", "valley-fog", "--size", "0x9", "--out", "x.png"]);
    fails(folder, 2, &["sheet", "--preset", "valley-fog", "--size", "30by9", "--out", "x.png"]);
    fails(
        folder,
        2,
        &["sheet", "--preset", "valley-fog", "--size", "30x9", "--thickness", "nan", "--out", "x.png"],
    );
    fails(folder, 6, &["sheet", "--preset", "valley-fog", "--size", "40000x9", "--out", "x.png"]);
    fails(folder, 5, &["sheet", "--preset", "valley-fog", "--size", "30x9", "--out", "no/such/x.png"]);
    assert!(
        fails(
            folder,
            2,
            &[
                "sheet",
                "--preset",
                "valley-fog",
                "--size",
                "30x9",
                "--set",
                "smear.lenght=3",
                "--out",
                "x.png"
            ]
        )
        .contains("smear.length")
    );
    assert!(files(folder).is_empty(), "nothing is left of what failed");
}

/// The fixed exit codes, one by one, each with what a user needs to go on; nothing is written.
#[test]
fn exit_codes() {
    let folder = folder();
    let folder = folder.path();
    fs::write(folder.join("bad.toml"), "view = [0, 96]\ntravel = -1\n[[slot]]\nname = \"a\"\ndepht = 4\n")
        .unwrap();
    fs::write(
        folder.join("gone.toml"),
        "view = [9, 9]\n[[slot]]\nname = \"a\"\ndepth = 4\nart = \"gone.png\"\n",
    )
    .unwrap();
    fs::write(folder.join("text.png"), "no picture").unwrap();
    fs::write(
        folder.join("text.toml"),
        "view = [9, 9]\n[[slot]]\nname = \"a\"\ndepth = 4\nart = \"text.png\"\n",
    )
    .unwrap();
    fs::create_dir(folder.join("theirs")).unwrap();
    fs::write(folder.join("theirs/sky.fog.png"), "theirs").unwrap();
    let before = files(folder);
    let table: [(i32, &[&str], &[&str]); 15] = [
        (0, &["--version"], &[]),
        (2, &[], &["fogweft"]),
        (2, &["rendr"], &["render"]),
        (2, &["render", "marsh.toml", "--scale", "0"], &["scale"]),
        (2, &["render", "marsh.toml", "--only", "hils"], &["hils", "hills"]),
        (2, &["render", "marsh.toml", "--set", "air.visiblity=3"], &["air.visibility"]),
        (2, &["render", "mash.toml"], &["mash.toml", "marsh.toml"]),
        // All faults at once, each with its line.
        (3, &["render", "bad.toml"], &["bad.toml:1", "bad.toml:2", "bad.toml:5", "depth"]),
        (3, &["plan", "bad.toml"], &["bad.toml:1"]),
        (4, &["render", "gone.toml"], &["gone.png"]),
        (4, &["render", "text.toml"], &["text.png"]),
        (5, &["render", "marsh.toml", "--out", "theirs"], &["sky.fog.png"]),
        (5, &["render", "marsh.toml", "--out", "sky.png"], &["sky.png"]),
        (6, &["render", "marsh.toml", "--set", "view=[60000, 60000]"], &["60000"]),
        (6, &["render", "marsh.toml", "--set", "view=[4000, 200]", "--scale", "16"], &["64000", "scale"]),
    ];
    for (code, args, words) in table {
        let text = fails(folder, code, args);
        for word in words {
            assert!(text.contains(word), "fogweft {}: no `{word}` in\n{text}", args.join(" "));
        }
    }
    assert_eq!(files(folder), before);
}

//! One door for every write: nothing is replaced that the program didn't write, nothing that it reads, nothing through a link, and
//! what somebody saves during a run stays.

use super::util::{Scene, TEXT, count, outputs, symlink};
use std::fs;
use std::time::Duration;

const PRECIOUS: &[u8] = b"painted for weeks\n";

/// The commands that write one file, each with the file's name.
fn commands() -> [(&'static str, Vec<&'static str>); 6] {
    let rim =
        ["rim", "near.svg", "--haze", "#c8ccd0", "--separation", "8", "--behind", "#2c3d4e", "--spread", "2"];
    [
        ("a.png", vec!["sheet", "--preset", "mist", "--size", "32x16", "--out", "a.png"]),
        ("a.png", [&rim[..], &["--out", "a.png"]].concat()),
        ("a.png", vec!["vary", "scene.toml", "near", "--count", "2", "--tile", "160", "--out", "a.png"]),
        ("a.d", vec!["render", "scene.toml", "--out", "o", "--quiet", "--depfile", "a.d"]),
        ("m/fogweft.1", vec!["man", "m"]),
        ("p.png", vec!["presets", "--picture", "p.png", "--tile", "160"]),
    ]
}

#[test]
#[cfg_attr(windows, ignore = "links ask for rights of their own there")]
fn single_files_replace_only_what_the_program_wrote() {
    let scene = Scene::new();
    fs::create_dir(scene.path("m")).expect("made");
    for (name, args) in commands() {
        scene.write(name, PRECIOUS);
        let text = scene.refused(5, &args);
        assert!(text.contains(name) && text.contains("--replace"), "{args:?}: {text}");
        assert_eq!(fs::read(scene.path(name)).expect("there"), PRECIOUS, "{args:?}");
        scene.well(&[&args[..], &["--replace"]].concat());
        // What it wrote itself it replaces, as long as nobody edited it.
        let written = fs::read(scene.path(name)).expect("there");
        scene.well(&args);
        assert!(fs::read(scene.path(name)).expect("there") == written, "{args:?}");
        let mut edited = written.clone();
        edited[written.len() / 2] ^= 1;
        scene.write(name, &edited);
        scene.refused(5, &args);
        assert!(fs::read(scene.path(name)).expect("there") == edited, "{args:?}");
        fs::remove_file(scene.path(name)).expect("removed");
        // Nor through a link.
        scene.write("precious", PRECIOUS);
        symlink(scene.path("precious"), scene.path(name)).expect("linked");
        scene.refused(5, &[&args[..], &["--replace"]].concat());
        assert_eq!(fs::read(scene.path("precious")).expect("there"), PRECIOUS, "{args:?}");
        fs::remove_file(scene.path(name)).expect("removed");
    }
}

#[test]
fn nothing_that_a_command_reads_is_written_over() {
    let scene = Scene::new();
    fs::hard_link(scene.path("near.svg"), scene.path("twin.svg")).expect("linked");
    let before = outputs(&scene.path("."));
    let rim =
        ["rim", "near.svg", "--haze", "#c8ccd0", "--separation", "8", "--behind", "far.svg", "--spread", "2"];
    for args in [
        [&rim[..], &["--out", "near.svg"]].concat(),
        [&rim[..], &["--out", "far.svg"]].concat(),
        [&rim[..], &["--out", "twin.svg"]].concat(),
        vec!["vary", "scene.toml", "near", "--count", "2", "--out", "scene.toml"],
        vec!["vary", "scene.toml", "near", "--count", "2", "--out", "./far.svg"],
        vec!["render", "scene.toml", "--out", "o", "--depfile", "scene.toml"],
        vec!["render", "scene.toml", "--out", "o", "--depfile", "near.svg"],
    ] {
        let text = scene.refused(5, &[&args[..], &["--replace"]].concat());
        assert!(text.contains("reads"), "{args:?}: {text}");
        assert!(outputs(&scene.path(".")) == before, "{args:?}");
        assert!(!scene.path("o").exists(), "{args:?}");
    }
}

#[test]
fn what_is_printed_goes_to_no_file_that_is_read() {
    let scene = Scene::new();
    let before = outputs(&scene.path("."));
    for (file, args) in [
        ("scene.toml", &["plan", "scene.toml", "--json"][..]),
        ("near.svg", &["plan", "scene.toml", "--json"]),
        ("scene.toml", &["render", "scene.toml", "--out", "o"]),
        ("scene.toml", &["vary", "scene.toml", "near", "--count", "2"]),
    ] {
        let out = fs::File::options().append(true).open(scene.path(file)).expect("opened");
        let done = scene.command(args).stdout(out).output().expect("runs");
        let text = super::util::told(5, &done);
        assert!(text.contains("standard output") && text.contains(file), "{args:?}: {text}");
        assert!(outputs(&scene.path(".")) == before, "{args:?}");
    }
}

/// A picture of an earlier run as the art of a slot that would be written under its name.
#[test]
fn an_output_that_became_a_picture_of_the_scene_stays() {
    let scene = Scene::new();
    scene.well(&["render", "scene.toml", "--out", "o"]);
    let art = fs::read(scene.path("o/near.art.png")).expect("there");
    scene.write("scene.toml", TEXT.replace("near.svg", "o/near.art.png").replace("y = 12", "y = 9"));
    for more in [&[][..], &["--replace"], &["--again", "--replace"]] {
        let done = scene.run(&[&["render", "scene.toml", "--out", "o"], more].concat());
        assert_eq!(done.status.code(), Some(5), "{}", String::from_utf8_lossy(&done.stderr));
        assert!(fs::read(scene.path("o/near.art.png")).expect("there") == art);
    }
}

#[test]
#[cfg_attr(windows, ignore = "links ask for rights of their own there")]
fn folders_and_hidden_files_are_never_followed() {
    let scene = Scene::new();
    scene.write("scene.toml", format!("{TEXT}[mood.dusk.air]\nvisibility = 300\n"));
    fs::create_dir_all(scene.path("elsewhere")).expect("made");
    fs::create_dir_all(scene.path("o")).expect("made");
    symlink(scene.path("elsewhere"), scene.path("o/mood-dusk")).expect("linked");
    let text = scene.refused(5, &["render", "scene.toml", "--out", "o", "--mood", "dusk"]);
    assert!(text.contains("mood-dusk"), "{text}");
    symlink(scene.path("elsewhere"), scene.path("o/scale-2")).expect("linked");
    scene.refused(5, &["render", "scene.toml", "--out", "o", "--scale", "1", "--scale", "2"]);
    assert!(outputs(&scene.path("elsewhere")).is_empty());
    // Links of either kind in the cache, whose files' names are known to anybody.
    scene.well(&["render", "scene.toml", "--out", "p"]);
    let cache = scene.path("p/.fogweft-cache");
    for (at, entry) in fs::read_dir(&cache).expect("a cache").flatten().enumerate() {
        scene.write("precious", PRECIOUS);
        fs::remove_file(entry.path()).expect("removed");
        match at % 2 {
            0 => symlink(scene.path("precious"), entry.path()).expect("linked"),
            _ => fs::hard_link(scene.path("precious"), entry.path()).expect("linked"),
        }
    }
    scene.write(".keep", "");
    scene.well(&["render", "scene.toml", "--out", "p", "--again"]);
    assert_eq!(fs::read(scene.path("precious")).expect("there"), PRECIOUS);
    // A file that isn't a lock isn't written over.
    fs::create_dir(scene.path("q")).expect("made");
    scene.write("q/.fogweft-lock", PRECIOUS);
    scene.refused(5, &["render", "scene.toml", "--out", "q"]);
    assert_eq!(fs::read(scene.path("q/.fogweft-lock")).expect("there"), PRECIOUS);
}

/// What is saved during a run, in place or by a rename, stands there afterwards.
#[test]
#[cfg_attr(
    windows,
    ignore = "no two files are exchanged in one step there: the look is just before, not just after"
)]
fn what_is_painted_during_a_run_is_never_lost() {
    let scene = Scene::new();
    scene.well(&["render", "scene.toml", "--out", "o"]);
    let files = ["near.fog.png", "far.art.png", "still.png", "far.fog.png"];
    let (mut painted, mut kept) = (0, 0);
    for round in 0..count("FOGWEFT_ROUNDS", 6, 60) {
        scene.well(&["render", "scene.toml", "--out", "o", "--replace", "--prune"]);
        scene.write("scene.toml", TEXT.replace("= 900", &format!("= {}", 500 + round)));
        let mut child = scene
            .command(&["render", "scene.toml", "--out", "o", "--again", "--quiet"])
            .spawn()
            .expect("runs");
        let mut last = [None; 4];
        let mut number = 0_u32;
        while child.try_wait().expect("asked").is_none() {
            let at = number as usize % files.len();
            let (path, text) = (scene.path("o").join(files[at]), format!("round {round}, save {number}"));
            if number.is_multiple_of(3) {
                scene.write("o/by-hand", &text);
                fs::rename(scene.path("o/by-hand"), path).expect("saved");
            } else {
                fs::write(path, text).expect("saved");
            }
            last[at] = Some(number);
            number += 1;
            std::thread::sleep(Duration::from_millis(u64::from(number % 7)));
        }
        painted += number;
        for (name, number) in files.iter().zip(last) {
            let Some(number) = number else { continue };
            let there = fs::read(scene.path("o").join(name)).expect("there");
            assert_eq!(there, format!("round {round}, save {number}").as_bytes(), "{name}");
            kept += 1;
        }
        let said = scene.well(&["render", "scene.toml", "--out", "o"]);
        assert!(said.contains("kept") || painted == 0, "{said}");
    }
    assert!(painted > 0, "no run took long enough");
    println!("{painted} saves during runs, the last {kept} of each file all there");
}

#[test]
fn the_manifest_alone_proves_what_runs_wrote() {
    let scene = Scene::new();
    let forget = || fs::remove_file(scene.path("o/.fogweft-run.json")).expect("removed");
    let run =
        ["render", "scene.toml", "--out", "o", "--frames", "3", "--also", "ora,svg,preview", "--bits", "16"];
    scene.well(&run);
    let clean = outputs(&scene.path("o"));
    forget();
    let said = scene.well(&run);
    assert!(said.contains("nothing changed"), "{said}");
    assert!(outputs(&scene.path("o")) == clean);
    // Everything is made again without a word of anybody's edits.
    scene.write("scene.toml", TEXT.replace("= 900", "= 500"));
    forget();
    let said = scene.well(&run);
    assert!(!said.contains("edited") && !said.contains(".new"), "{said}");
    // A new version beside an edited file, and the files of a slot that is gone.
    scene.write("o/near.fog.png", PRECIOUS);
    scene.write("scene.toml", TEXT.replace("= 900", "= 400"));
    scene.well(&run);
    assert!(scene.path("o/near.fog.new.png").exists());
    scene.write("scene.toml", TEXT.replace("= 900", "= 300"));
    forget();
    scene.well(&run);
    assert!(scene.path("o/near.fog.new.png").exists() && !scene.path("o/near.fog.new-2.png").exists());
    let far = TEXT.find("[[slot]]\nname = \"far\"").expect("there");
    let near = TEXT.find("[[slot]]\nname = \"near\"").expect("there");
    scene.write("scene.toml", format!("{}{}", &TEXT[..far], &TEXT[near..]));
    scene.well(&run);
    forget();
    scene.well(&run);
    scene.write("scene.toml", TEXT);
    forget();
    let said = scene.well(&run);
    assert!(!said.contains("far.fog.png: edited"), "{said}");
    assert_eq!(fs::read(scene.path("o/near.fog.png")).expect("there"), PRECIOUS);
    scene.well(&[&run[..], &["--replace", "--prune"]].concat());
    let there = outputs(&scene.path("o"));
    let other: Vec<_> = clean.iter().filter(|(name, bytes)| there.get(*name) != Some(bytes)).collect();
    let more: Vec<_> = there.keys().filter(|name| !clean.contains_key(*name)).collect();
    assert!(
        other.is_empty() && more.is_empty(),
        "{:?}, {more:?}",
        other.iter().map(|(name, _)| name).collect::<Vec<_>>()
    );
}

#[cfg(unix)]
#[test]
fn a_saved_scene_keeps_its_mode_and_its_link() {
    use std::os::unix::fs::{MetadataExt, PermissionsExt};
    let scene = Scene::new();
    fs::create_dir(scene.path("kept")).expect("made");
    fs::rename(scene.path("scene.toml"), scene.path("kept/real.toml")).expect("moved");
    symlink("kept/real.toml", scene.path("scene.toml")).expect("linked");
    fs::set_permissions(scene.path("kept/real.toml"), fs::Permissions::from_mode(0o640)).expect("set");
    let said = scene.well(&["vary", "scene.toml", "near", "--count", "2", "--pick", "2"]);
    assert!(said.contains("link") && said.contains("real.toml"), "{said}");
    assert!(scene.path("scene.toml").symlink_metadata().expect("there").is_symlink());
    assert_eq!(fs::metadata(scene.path("kept/real.toml")).expect("there").mode() & 0o777, 0o640);
    let text = fs::read_to_string(scene.path("kept/real.toml")).expect("text");
    assert!(text.contains("seed") && text != TEXT, "{text}");
}

/// Folders that `new` and `demo` are to fill, with files of somebody's own under the names that they write.
#[test]
#[cfg_attr(windows, ignore = "links ask for rights of their own there")]
fn new_scenes_never_take_the_place_of_files() {
    let scene = Scene::new();
    scene.well(&["render", "scene.toml", "--out", "o", "--also", "ora"]);
    for (args, names) in [
        (&["new", "d"][..], &["scene.toml", "scene.schema.json"][..]),
        (&["new", "d", "--from", "o/scene.ora"], &["scene.toml", "scene.ora"]),
        (&["demo", "d"], &["scene.toml", "moon.svg"]),
    ] {
        scene.well(args);
        let written: Vec<String> = outputs(&scene.path("d")).into_keys().collect();
        fs::remove_dir_all(scene.path("d")).expect("removed");
        for name in names.iter().copied().chain(written.iter().map(String::as_str)) {
            fs::create_dir_all(scene.path("d")).expect("made");
            scene.write(&format!("d/{name}"), PRECIOUS);
            let done = scene.run(args);
            assert!(matches!(done.status.code(), Some(0 | 2 | 5)), "{args:?} {name}: {done:?}");
            assert_eq!(fs::read(scene.path("d").join(name)).expect("there"), PRECIOUS, "{args:?} {name}");
            fs::remove_dir_all(scene.path("d")).expect("removed");
            scene.write("precious", PRECIOUS);
            fs::create_dir_all(scene.path("d")).expect("made");
            symlink(scene.path("precious"), scene.path("d").join(name)).expect("linked");
            scene.run(args);
            assert_eq!(fs::read(scene.path("precious")).expect("there"), PRECIOUS, "{args:?} {name}");
            fs::remove_dir_all(scene.path("d")).expect("removed");
        }
    }
}

/// Root may give a file away, and saves it for whom it belongs to.
#[cfg(unix)]
#[test]
fn a_saved_scene_keeps_its_owner() {
    use std::os::unix::fs::MetadataExt;
    let scene = Scene::new();
    if std::os::unix::fs::chown(scene.path("scene.toml"), Some(54321), Some(54322)).is_err() {
        return println!("skipped: only root gives files away");
    }
    scene.well(&["vary", "scene.toml", "near", "--count", "2", "--pick", "2"]);
    let data = fs::metadata(scene.path("scene.toml")).expect("there");
    assert_eq!([data.uid(), data.gid()], [54321, 54322]);
    assert_ne!(fs::read_to_string(scene.path("scene.toml")).expect("text"), TEXT);
}

#[test]
#[cfg_attr(windows, ignore = "links ask for rights of their own there")]
fn the_page_says_where_a_linked_scene_is_saved() {
    use std::io::{BufRead, BufReader};
    let scene = Scene::new();
    fs::create_dir(scene.path("kept")).expect("made");
    fs::rename(scene.path("scene.toml"), scene.path("kept/real.toml")).expect("moved");
    for art in ["near.svg", "far.svg"] {
        fs::copy(scene.path(art), scene.path("kept").join(art)).expect("copied");
    }
    symlink("kept/real.toml", scene.path("scene.toml")).expect("linked");
    let mut run = scene.command(&["tune", "scene.toml", "--port", "0"]);
    let mut child = run.stdout(std::process::Stdio::piped()).spawn().expect("runs");
    let out = BufReader::new(child.stdout.take().expect("piped"));
    let lines = out.lines().map_while(Result::ok).take_while(|line| !line.starts_with("Keep"));
    let said = lines.collect::<Vec<_>>().join("\n");
    child.kill().expect("killed");
    child.wait().expect("ended");
    assert!(said.contains("is a link") && said.contains("kept/real.toml"), "{said}");
}

//! Nothing is written outside the output folder, and nothing is read but what the scene names.

use super::util::{Scene, outputs, symlink};
use std::fs;

#[test]
fn slot_names_never_leave_the_folder() {
    let scene = Scene::new();
    let names = [
        "../escape",
        "..",
        ".",
        "/escape",
        "a/../../escape",
        "a\\\\..\\\\escape",
        "a\\u0000b",
        "con",
        "NUL",
        "aux.png",
        "",
        " ",
        "\\u202e",
        "a/b",
        "-",
        "x\\ny",
        "~",
    ];
    for name in names {
        scene.write("odd.toml", format!("view = [64, 36]\n[[slot]]\nname = \"{name}\"\ndepth = 100\n"));
        let before = everything(&scene);
        let done = scene.run(&["render", "odd.toml", "--out", "o"]);
        let after = everything(&scene);
        let new: Vec<_> = after.iter().filter(|path| !before.contains(path)).collect();
        match done.status.code() {
            Some(0) => assert!(new.iter().all(|path| path.starts_with("o")), "{name:?}: {new:?}"),
            Some(3) => assert!(new.is_empty(), "{name:?}: {new:?}"),
            other => panic!("{name:?}: {other:?}"),
        }
        let _ = fs::remove_dir_all(scene.path("o"));
    }
    assert!(!scene.path("../escape").exists());
}

/// All paths below the scene's folder, from it.
fn everything(scene: &Scene) -> Vec<String> {
    let (root, mut found) = (scene.path("."), Vec::new());
    let mut open = vec![root.clone()];
    while let Some(folder) = open.pop() {
        for entry in fs::read_dir(folder).expect("read").flatten() {
            if entry.file_type().is_ok_and(|kind| kind.is_dir()) {
                open.push(entry.path());
            }
            found.push(entry.path().strip_prefix(&root).expect("below").to_string_lossy().into_owned());
        }
    }
    found
}

/// Where a file system folds case or composes letters, two such slots would write over each other. Pairs by Unicode's full case folding
/// (CaseFolding.txt, status C and F) and canonical composition (UAX 15).
#[test]
fn names_that_a_file_system_takes_for_one_are_refused() {
    let scene = Scene::new();
    let cased = [["Reeds", "reeds"], ["STRASSE", "straße"], ["Ä", "ä"], ["ΟΔΟΣ", "οδος"], ["ﬁne", "FINE"]];
    let composed = [["ä", "a\u{308}"], ["가", "\u{1100}\u{1161}"]];
    let both = cased.map(|pair| (pair, "case")).into_iter().chain(composed.map(|pair| (pair, "composed")));
    for ([a, b], why) in both {
        let slot = |name: &str, depth: u32| format!("[[slot]]\nname = \"{name}\"\ndepth = {depth}\n");
        scene.write("two.toml", format!("view = [64, 36]\n{}{}", slot(a, 0), slot(b, 100)));
        let text = scene.refused(3, &["render", "two.toml", "--out", "o"]);
        assert!(text.contains(a) && text.contains(why), "{text}");
        scene.write(
            "two.toml",
            format!("view = [64, 36]\n[mood.\"{a}\"]\nseed = 1\n[mood.\"{b}\"]\nseed = 2\n"),
        );
        let text = scene.refused(3, &["plan", "two.toml"]);
        assert!(text.contains(why), "{text}");
        assert!(!scene.path("o").exists());
    }
    let slots = "[[slot]]\nname = \"a\"\ndepth = 0\n[[slot]]\nname = \"ä\"\ndepth = 9\n[[slot]]\nname = \"ß\"\ndepth = 20\n";
    scene.write("two.toml", format!("view = [64, 36]\n{slots}"));
    scene.well(&["plan", "two.toml"]);
}

/// XML 1.0 has no place for U+FFFE and U+FFFF; a layered file names its layers in it.
#[test]
fn names_that_no_layered_file_can_hold_are_refused_in_the_scene() {
    let scene = Scene::new();
    for name in ["a\u{fffe}b", "a\u{ffff}b"] {
        scene.write("odd.toml", format!("view = [64, 36]\n[[slot]]\nname = \"{name}\"\ndepth = 0\n"));
        scene.refused(3, &["plan", "odd.toml"]);
    }
    scene.write(
        "odd.toml",
        "view = [64, 36]\n[[slot]]\nname = \"a\u{fffd}\u{10000}<&'\"\ndepth = 0\n".replace('<', ""),
    );
    scene.well(&["render", "odd.toml", "--out", "o", "--also", "ora"]);
    scene.well(&["new", "from", "--from", "o/scene.ora"]);
}

#[test]
#[cfg_attr(windows, ignore = "links ask for rights of their own there")]
fn links_that_leave_the_scenes_folder_are_refused() {
    let scene = Scene::new();
    for folder in ["level", "level/arts", "outside"] {
        fs::create_dir(scene.path(folder)).expect("a folder");
    }
    fs::copy(scene.path("far.svg"), scene.path("outside/far.svg")).expect("copied");
    fs::copy(scene.path("far.svg"), scene.path("level/arts/far.svg")).expect("copied");
    let link = |to: &str, from: &str| symlink(to, scene.path(from)).expect("linked");
    link("../outside/far.svg", "level/file.svg");
    link("../outside", "level/folder");
    link("file.svg", "level/twice.svg");
    link("arts/far.svg", "level/inside.svg");
    link("arts", "level/pictures");
    link("level", "by-link");
    let write = |art: &str| {
        let slot = format!("[[slot]]\nname = \"a\"\ndepth = 0\nart = \"{art}\"\n");
        scene.write("level/scene.toml", format!("view = [64, 36]\n{slot}"));
    };
    for art in ["file.svg", "folder/far.svg", "twice.svg"] {
        write(art);
        let text = scene.refused(3, &["render", "level/scene.toml", "--out", "o"]);
        assert!(text.contains("leaves the scene's folder"), "{text}");
        assert!(!scene.path("o").exists());
    }
    for art in ["inside.svg", "pictures/far.svg", "arts/far.svg"] {
        write(art);
        scene.well(&["plan", "level/scene.toml"]);
        scene.well(&["plan", "by-link/scene.toml"]);
    }
}

/// A pipe that nobody writes to would be waited for without an end.
#[test]
#[cfg_attr(windows, ignore = "there are no pipes and devices among the files there")]
fn what_is_no_ordinary_file_is_told_at_once() {
    let scene = Scene::new();
    let pipe = std::process::Command::new("mkfifo").arg(scene.path("pipe")).status();
    assert!(pipe.is_ok_and(|done| done.success()), "mkfifo makes a pipe");
    scene.well(&["new", "there"]);
    fs::create_dir(scene.path("presets")).expect("a folder");
    for odd in ["pipe", "/dev/zero", "there"] {
        let _ = fs::remove_file(scene.path("presets/odd.toml"));
        symlink(scene.path(odd), scene.path("presets/odd.toml")).expect("linked");
        let commands: [&[&str]; 12] = [
            &["render", odd, "--out", "o"],
            &["plan", odd],
            &["check", odd],
            &["tune", odd],
            &["vary", odd, "far"],
            &["presets", "show", "far", "--from", odd],
            &["new", "made", "--from", odd],
            &["new", "made", "--preset", "odd"],
            &["rim", odd, "--haze", "#ccc", "--separation", "9", "--behind", "#fff", "--out", "r.png"],
            &["render", "scene.toml", "--out", "o", "--depfile", odd],
            &["sheet", "--preset", "odd", "--size", "8x8", "--out", "s.png"],
            &["plan", "scene.toml", "--set", "preset=odd"],
        ];
        for args in commands {
            // Of a folder these take the levels in it.
            if odd == "there" && matches!(args, ["render" | "plan" | "check", "there", ..]) {
                continue;
            }
            let mut run = scene.command(args);
            run.stdin(std::process::Stdio::null());
            run.stdout(std::process::Stdio::piped()).stderr(std::process::Stdio::piped());
            let mut child = run.spawn().expect("the binary runs");
            let begun = std::time::Instant::now();
            while child.try_wait().expect("asked").is_none() {
                if begun.elapsed().as_secs() > 30 {
                    let _ = child.kill();
                    panic!("{args:?} waits");
                }
                std::thread::sleep(std::time::Duration::from_millis(5));
            }
            let done = child.wait_with_output().expect("ended");
            let text = String::from_utf8_lossy(&done.stderr);
            assert!(matches!(done.status.code(), Some(2..=5)), "{args:?}: {:?} {text}", done.status);
            assert!(text.contains("error") && !text.contains("panicked"), "{args:?}: {text}");
        }
    }
}

#[test]
#[cfg_attr(windows, ignore = "links ask for rights of their own there")]
fn a_link_in_the_folder_is_never_written_through() {
    let scene = Scene::new();
    scene.write("precious", "painted for weeks");
    scene.well(&["render", "scene.toml", "--out", "o"]);
    for name in ["near.fog.png", "still.png", "manifest.json", ".fogweft-run.json"] {
        let file = scene.path("o").join(name);
        fs::remove_file(&file).expect("removed");
        symlink(scene.path("precious"), &file).expect("linked");
        for more in [&["--again"][..], &["--again", "--replace"], &["--prune"]] {
            let _ = scene.run(&[&["render", "scene.toml", "--out", "o"], more].concat());
            assert_eq!(
                fs::read(scene.path("precious")).expect("read"),
                b"painted for weeks",
                "{name}, {more:?}"
            );
        }
        let _ = fs::remove_file(&file);
        scene.well(&["render", "scene.toml", "--out", "o", "--again", "--replace"]);
    }
}

#[test]
#[cfg_attr(windows, ignore = "there are no pipes and devices among the files there")]
fn pictures_that_are_no_files_are_refused_at_once() {
    let scene = Scene::new();
    symlink("/dev/zero", scene.path("zero.png")).expect("linked");
    let pipe = std::process::Command::new("mkfifo").arg(scene.path("pipe.png")).status();
    assert!(pipe.is_ok_and(|done| done.success()), "mkfifo makes a pipe");
    for art in
        ["/dev/zero", "/dev/stdin", "/proc/self/mem", "zero.png", "pipe.png", ".", "no-such.png", "loop.png"]
    {
        let _ = symlink("loop.png", scene.path("loop.png"));
        scene.write(
            "odd.toml",
            format!("view = [64, 36]\n[[slot]]\nname = \"a\"\ndepth = 0\nart = \"{art}\"\n"),
        );
        // Paths that leave the scene's folder are the scene's fault, the others the picture's.
        let code = if art.starts_with('/') { 3 } else { 4 };
        let text = scene.refused(code, &["render", "odd.toml", "--out", "o"]);
        assert!(text.contains(art) || text.contains("odd.toml"), "{art}: {text}");
        assert!(outputs(&scene.path("o")).is_empty());
    }
}

/// A layered file's layers give slots their names, and its paths lead nowhere but into itself.
#[test]
fn a_layered_file_stays_within_itself() {
    let scene = Scene::new();
    scene.write("secret.png", "not for the archive");
    let layers = ["../../escape", "/etc/passwd", "a/../b"];
    let xml: String = layers
        .iter()
        .map(|name| format!("<layer name=\"{name}\" src=\"../secret.png\" x=\"0\" y=\"0\"/>"))
        .collect();
    let xml = format!("<image version=\"0.0.3\" w=\"64\" h=\"36\"><stack>{xml}</stack></image>");
    scene.layered("odd.ora", &xml);
    let done = scene.run(&["new", "from", "--from", "odd.ora"]);
    if done.status.success() {
        let text = fs::read_to_string(scene.path("from/scene.toml")).expect("a scene");
        let names: Vec<&str> = text.lines().filter(|line| line.starts_with("name")).collect();
        assert!(names.iter().all(|name| !name.contains('/') && !name.contains("..")), "{names:?}");
        // The picture that the archive doesn't hold is missing: it isn't looked for elsewhere.
        scene.refused(4, &["render", "from/scene.toml", "--out", "o"]);
    } else {
        assert!(matches!(done.status.code(), Some(3 | 4)), "{done:?}");
    }
    assert!(!scene.path("escape").exists() && !scene.path("../escape").exists());
}

//! Nothing is written outside the output folder, and nothing is read but what the scene names.

use super::util::{Scene, outputs};
use std::fs;
use std::io::Write;

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

/// Where a file system folds case, two such slots would write over each other.
#[test]
fn names_that_differ_by_case_alone_are_refused() {
    let scene = Scene::new();
    for [a, b] in [["Reeds", "reeds"], ["STRASSE", "strasse"], ["Ä", "ä"]] {
        let slot = |name: &str, depth: u32| format!("[[slot]]\nname = \"{name}\"\ndepth = {depth}\n");
        scene.write("two.toml", format!("view = [64, 36]\n{}{}", slot(a, 0), slot(b, 100)));
        let text = scene.refused(3, &["render", "two.toml", "--out", "o"]);
        assert!(text.contains(a) || text.contains(b), "{text}");
        assert!(!scene.path("o").exists());
    }
}

#[test]
fn a_link_in_the_folder_is_never_written_through() {
    let scene = Scene::new();
    scene.write("precious", "painted for weeks");
    scene.well(&["render", "scene.toml", "--out", "o"]);
    for name in ["near.fog.png", "still.png", "manifest.json", ".fogweft-run.json"] {
        let file = scene.path("o").join(name);
        fs::remove_file(&file).expect("removed");
        std::os::unix::fs::symlink(scene.path("precious"), &file).expect("linked");
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
fn pictures_that_are_no_files_are_refused_at_once() {
    let scene = Scene::new();
    std::os::unix::fs::symlink("/dev/zero", scene.path("zero.png")).expect("linked");
    let pipe = std::process::Command::new("mkfifo").arg(scene.path("pipe.png")).status();
    assert!(pipe.is_ok_and(|done| done.success()), "mkfifo makes a pipe");
    for art in
        ["/dev/zero", "/dev/stdin", "/proc/self/mem", "zero.png", "pipe.png", ".", "no-such.png", "loop.png"]
    {
        let _ = std::os::unix::fs::symlink("loop.png", scene.path("loop.png"));
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
    let mut archive = zip::ZipWriter::new(fs::File::create(scene.path("odd.ora")).expect("made"));
    let stored = zip::write::SimpleFileOptions::default().compression_method(zip::CompressionMethod::Stored);
    for (name, content) in [("mimetype", "image/openraster"), ("stack.xml", &xml)] {
        archive.start_file(name, stored).expect("begun");
        archive.write_all(content.as_bytes()).expect("written");
    }
    archive.finish().expect("finished");
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

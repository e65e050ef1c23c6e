//! Files appear whole or not at all, and the manifest has its form.

use fogweft::base::fault::{Class, Faults, Result};
use fogweft::base::files::{prepare_folder, write_whole};
use fogweft::base::placing::Kind;
use fogweft::base::words::Blending;
use fogweft::output::manifest::NAME;
use fogweft::output::{Manifest, apart};
use proptest::prelude::*;
use std::fs;
use std::path::Path;

fn message<T: std::fmt::Debug>(result: Result<T>) -> String {
    let faults: Faults = result.expect_err("a fault was expected");
    let fault = &faults.list[0];
    assert_eq!(fault.class, Class::Output);
    assert!(fault.file.is_some() && !fault.remedy.is_empty());
    fault.message.clone()
}

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

fn manifest() -> Manifest {
    let manifest = serde_json::json!({
        "version": 2,
        "generator": "fogweft 0.1.0",
        "view": [1280.0, 720.0],
        "travel": [4000.0, 0.0],
        "scale": 1.0,
        "blending": "encoded",
        "alpha": "straight",
        "still": {
            "path": "still.png",
            "camera": [0.1 + 0.2, 0.0],
            "backdrop": "#010203",
            "hash": "00",
            "bytes": 5,
            "made_of": "01",
        },
        "files": [{
            "slot": "reeds-near",
            "kind": "fog",
            "path": "reeds-near.fog.png",
            "order": 5,
            "depth": 120.0,
            "pan_rate": 0.87 + 1e-16,
            "rect": [0.0, -12.5, 4096.0, 720.0],
            "texels": [1024, 180],
            "stretch": [4.0, 4.0],
            "period": 4096.0,
            "repeat": true,
            "blending": "encoded",
            "alpha": "straight",
            "bits": 8,
            "drift": 10.44,
            "optical_depth": 0.25,
            "clear_depth": 0.05,
            "opaque": false,
            "hash": blake3::hash(b"fog").to_hex().to_string(),
            "bytes": 3,
            "made_of": "02",
        }],
    });
    serde_json::from_value(manifest).expect("a manifest")
}

#[test]
fn a_file_is_written_and_replaced_whole() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.png");
    write_whole(&path, b"first").unwrap();
    write_whole(&path, b"second").unwrap();
    assert_eq!(fs::read(&path).unwrap(), b"second");
    assert_eq!(names(folder.path()), ["a.png"]);
}

#[test]
#[cfg(unix)]
fn new_files_have_the_usual_permissions() {
    use std::os::unix::fs::PermissionsExt;
    let folder = tempfile::tempdir().unwrap();
    // Whatever the umask is, a plainly created file shows it.
    fs::write(folder.path().join("plain"), b"").unwrap();
    write_whole(folder.path().join("whole"), b"").unwrap();
    let mode = |name: &str| fs::metadata(folder.path().join(name)).unwrap().permissions().mode();
    assert_eq!(mode("whole"), mode("plain"));
}

/// More than the 260 characters that Windows takes of a path unless it is asked otherwise (Microsoft, Maximum Path Length Limitation).
#[test]
fn a_file_of_a_long_path_is_written_and_replaced() {
    let folder = tempfile::tempdir().unwrap();
    let deep =
        (0..6).fold(folder.path().to_path_buf(), |path, at| path.join(format!("{at}{}", "d".repeat(60))));
    prepare_folder(&deep).unwrap();
    for content in ["one", "another"] {
        write_whole(deep.join("a.png"), content.as_bytes()).unwrap();
        assert_eq!(fs::read(deep.join("a.png")).unwrap(), content.as_bytes());
    }
    assert_eq!(names(&deep), ["a.png"]);
}

#[test]
fn what_stands_in_the_way_is_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    assert!(message(write_whole(at("none/a.png"), b"x")).contains("doesn't exist"));
    fs::create_dir(at("dir")).unwrap();
    assert!(message(write_whole(at("dir"), b"x")).contains("folder"));
    fs::write(at("kept"), b"kept").unwrap();
    let mut permissions = fs::metadata(at("kept")).unwrap().permissions();
    permissions.set_readonly(true);
    fs::set_permissions(at("kept"), permissions).unwrap();
    assert!(message(write_whole(at("kept"), b"x")).contains("read-only"));
    assert!(message(write_whole(at("kept/a.png"), b"x")).contains("can't be written"));
    // Wine, which stands for Windows in the checks, calls such a name one that isn't there.
    let long = message(write_whole(at(&"n".repeat(300)), b"x"));
    assert!(long.contains("name") || cfg!(windows) && long.contains("can't be written"), "{long}");
    #[cfg(unix)]
    {
        fs::write(at("elsewhere"), b"theirs").unwrap();
        std::os::unix::fs::symlink(at("elsewhere"), at("link")).unwrap();
        std::os::unix::fs::symlink(at("nowhere"), at("dangling")).unwrap();
        assert!(message(write_whole(at("link"), b"x")).contains("link"));
        assert!(message(write_whole(at("dangling"), b"x")).contains("link"));
        assert_eq!(fs::read(at("elsewhere")).unwrap(), b"theirs");
    }
    assert_eq!(fs::read(at("kept")).unwrap(), b"kept");
    assert!(names(folder.path()).iter().all(|name| !name.ends_with(".part")), "no litter");
}

#[test]
#[cfg(target_os = "linux")]
fn a_full_disk_leaves_the_old_file_and_no_litter() {
    // A file size limit of the shell stands for the full disk: writes beyond it fail part way (EFBIG, setrlimit(2)).
    // The limit holds for the whole process, so this test runs itself again in one of its own.
    if let Ok(folder) = std::env::var("FOGWEFT_TEST_FULL") {
        let path = Path::new(&folder).join("a.png");
        let text = message(write_whole(&path, &vec![7; 1 << 20]));
        assert!(text.contains("larger than the disk allows"), "{text}");
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.png");
    write_whole(&path, b"old").unwrap();
    let test = std::env::current_exe().unwrap();
    let script =
        "trap '' XFSZ; ulimit -f 64; exec \"$0\" --exact a_full_disk_leaves_the_old_file_and_no_litter";
    let run = std::process::Command::new("sh")
        .args(["-c", script])
        .arg(test)
        .env("FOGWEFT_TEST_FULL", folder.path())
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&run.stdout);
    assert!(run.status.success() && said.contains("1 passed"), "{said}");
    assert_eq!(names(folder.path()), ["a.png"]);
    assert_eq!(fs::read(path).unwrap(), b"old");
}

#[test]
fn the_folder_is_made_or_the_cause_told() {
    let folder = tempfile::tempdir().unwrap();
    let deep = folder.path().join("a/b/c");
    prepare_folder(&deep).unwrap();
    prepare_folder(&deep).unwrap();
    assert!(names(&deep).is_empty());
    fs::write(folder.path().join("file"), b"").unwrap();
    assert!(message(prepare_folder(folder.path().join("file"))).contains("a file is where"));
    assert!(message(prepare_folder(folder.path().join("file/a"))).contains("can't be created"));
    // No file can be made there, not even by the superuser (proc(5)).
    #[cfg(target_os = "linux")]
    assert!(message(prepare_folder("/proc/self")).contains("is not writable"));
}

#[test]
fn the_manifest_has_its_form_and_comes_back() {
    let folder = tempfile::tempdir().unwrap();
    assert_eq!(Manifest::read(folder.path()).unwrap(), None);
    let text = manifest().text();
    let lines: Vec<&str> = text.lines().collect();
    assert_eq!(
        lines[..4],
        ["{", "  \"version\": 2,", "  \"generator\": \"fogweft 0.1.0\",", "  \"view\": [1280.0, 720.0],"]
    );
    let value: serde_json::Value = serde_json::from_str(&text).unwrap();
    let file = &value["files"][0];
    let expected = serde_json::json!({
        "slot": "reeds-near", "kind": "fog", "path": "reeds-near.fog.png", "order": 5, "depth": 120.0, "pan_rate": 0.87,
        "rect": [0.0, -12.5, 4096.0, 720.0], "texels": [1024, 180], "period": 4096.0
    });
    for (key, expected) in expected.as_object().unwrap() {
        assert_eq!(&file[key], expected, "{key}");
    }
    assert_eq!(value["blending"], "encoded");
    // 0.1 + 0.2 is 0.30000000000000004 in binary (IEEE 754).
    assert!(text.contains("\"camera\": [0.3, 0.0],"), "{text}");
    let mut none = manifest();
    none.files[0].period = None;
    none.files[0].optical_depth = None;
    none.files[0].clear_depth = None;
    assert!(none.text().contains("\"period\": null") && !none.text().contains("optical_depth"));
    write_whole(folder.path().join(NAME), text.as_bytes()).unwrap();
    let back = Manifest::read(folder.path()).unwrap().unwrap();
    assert_eq!(back.text(), text);
    let mut empty = manifest();
    empty.files.clear();
    serde_json::from_str::<serde_json::Value>(&empty.text()).unwrap();
}

#[test]
fn the_least_form_and_unknown_keys_are_read() {
    let folder = tempfile::tempdir().unwrap();
    let text = r#"{"version": 2, "view": [640, 360], "travel": [10, 0], "scale": 0.5, "blending": "linear", "mood": "grey", "files": [
        {"slot": "a", "kind": "rim", "path": "sub/a.rim.png", "order": 0, "depth": 1, "pan_rate": 1, "rect": [0, 0, 1, 1],
         "texels": [1, 1], "period": null, "author": {"x": [1]}}]}"#;
    fs::write(folder.path().join(NAME), text).unwrap();
    let manifest = Manifest::read(folder.path()).unwrap().unwrap();
    assert_eq!(manifest.names().collect::<Vec<_>>(), ["sub/a.rim.png"]);
    assert_eq!((manifest.blending, manifest.files[0].kind), (Blending::Linear, Kind::Rim));
}

#[test]
fn a_manifest_that_can_not_be_ours_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(NAME);
    let read = |text: &str| {
        fs::write(&path, text).unwrap();
        message(Manifest::read(folder.path()))
    };
    assert!(read("").contains("not the manifest"));
    assert!(read("[1, 2]").contains("not the manifest"));
    assert!(read(&"[".repeat(100_000)).contains("not the manifest"));
    assert!(read(&manifest().text().replace("\"version\": 2", "\"version\": 3")).contains("version 3"));
    for bad in ["../../../a.png", "/etc/a.png", "a/../../b", "C:a.png", "..\\\\a", "", ".", "a\\u0000b"] {
        let text = manifest().text().replace("reeds-near.fog.png", bad);
        assert!(read(&text).contains("outside its folder"), "{bad:?}");
    }
    fs::remove_file(&path).unwrap();
    fs::create_dir(&path).unwrap();
    assert!(message(Manifest::read(folder.path())).contains("ordinary file"));
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn an_altered_manifest_never_panics(changes in prop::collection::vec((0usize..2000, any::<u8>()), 1..5)) {
        let folder = tempfile::tempdir().unwrap();
        let mut bytes = manifest().text().into_bytes();
        for (at, byte) in changes {
            let at = at % bytes.len();
            bytes[at] = byte;
        }
        fs::write(folder.path().join(NAME), bytes).unwrap();
        if let Ok(Some(manifest)) = Manifest::read(folder.path()) {
            let plain = |part| matches!(part, std::path::Component::Normal(_));
            prop_assert!(manifest.names().all(|name| Path::new(name).components().all(plain)));
        }
    }
}

#[test]
fn outputs_are_files_of_their_own() {
    let folder = tempfile::tempdir().unwrap();
    let names = |list: &[&str]| list.iter().map(|name| name.to_string()).collect::<Vec<_>>();
    apart(folder.path(), &names(&["reeds-near.fog.png", "still.png", NAME])).unwrap();
    for bad in ["../a.png", "/a.png", "a\\b.png", ""] {
        assert!(message(apart(folder.path(), &names(&[bad]))).contains("outside its folder"), "{bad}");
    }
    // Common practice, no source: some disks don't tell case apart.
    let twins = names(&["Reed.fog.png", "reed.fog.png"]);
    assert!(message(apart(folder.path(), &twins)).contains("same file"));
}

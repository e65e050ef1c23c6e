//! What somebody painted on an output is what the still and every other form show, and the manifest says so.

use crate::compose::{compose, distance};
use crate::outside::{SCENE, decoded, runs, write_scene};
use image::Rgba;
use serde_json::Value;
use std::path::Path;

/// Paints a bar of one colour over the middle of a picture, at the bits that it has.
fn paint(file: &Path) {
    let mut picture = image::open(file).expect("a picture").into_rgba16();
    let (width, height) = picture.dimensions();
    for y in height / 4..height / 4 + height / 3 {
        for x in width / 4..width / 2 {
            picture.put_pixel(x, y, Rgba([60_000, 9_000, 2_000, 52_000]));
        }
    }
    picture.save(file).expect("saved");
}

fn manifest(out: &Path) -> Value {
    serde_json::from_slice(&std::fs::read(out.join("manifest.json")).expect("a manifest")).expect("JSON")
}

fn files(manifest: &Value) -> &[Value] {
    manifest["files"].as_array().expect("files")
}

fn text(file: &Value, key: &str) -> String {
    file[key].as_str().unwrap_or_default().to_owned()
}

/// Renders, paints on a file of each kind, renders again, and composes the still from the manifest.
fn painted_counts(sets: &[&str], most: f64) {
    let folder = tempfile::tempdir().expect("a folder");
    let scene = write_scene(folder.path(), SCENE);
    let out = folder.path().join("out");
    let mut arguments = vec!["render", scene.to_str().expect("text"), "--out", out.to_str().expect("text")];
    arguments.extend(["--bits", "16", "--at", "60", "--also", "ora,glb,svg"]);
    arguments.extend(sets.iter().flat_map(|set| ["--set", *set]));
    runs(&arguments);
    let read = |name: &str| std::fs::read(out.join(name)).expect("read");
    let before = manifest(&out);
    let still = decoded(&read("still.png")).1;
    let forms = ["scene.ora", "scene.glb", "scene.svg", "still.values.png"];
    let old: Vec<Vec<u8>> = forms.iter().map(|form| read(form)).collect();
    let one =
        |kind: &str| files(&before).iter().rfind(|file| file["kind"] == kind).map(|file| text(file, "path"));
    let painted: Vec<String> = ["fog", "rim", "art"].into_iter().filter_map(one).collect();
    assert_eq!(painted.len(), 3, "{before}");
    painted.iter().for_each(|path| paint(&out.join(path)));
    let bytes: Vec<Vec<u8>> = painted.iter().map(|path| read(path)).collect();

    // Without the hidden record the manifest alone tells what is whose.
    for record in [true, false, false] {
        if !record {
            std::fs::remove_file(out.join(".fogweft-run.json")).expect("gone");
        }
        let said = runs(&arguments);
        let now = manifest(&out);
        for (path, bytes) in painted.iter().zip(&bytes) {
            assert!(said.contains(&format!("{path}: edited since the last run, kept and shown\n")), "{said}");
            assert!(read(path) == *bytes, "{path} is lost");
            let file = files(&now).iter().find(|file| text(file, "path") == *path).expect("listed");
            assert_eq!(text(file, "hash"), blake3::hash(bytes).to_hex().as_str(), "{path}");
            assert_eq!(file["bytes"], bytes.len());
            let own = files(&before).iter().find(|file| text(file, "path") == *path).expect("listed");
            assert_eq!(
                (&file["original"]["hash"], &file["original"]["bytes"]),
                (&own["hash"], &own["bytes"])
            );
        }
        let shown = decoded(&read("still.png")).1;
        let (_, frame) = compose(&out, &now, [now["still"]["camera"][0].as_f64().expect("a place"), 0.0]);
        let (far, _) = distance(&frame, &shown);
        assert!(far <= most, "{sets:?}: the still is {far} codes from what the manifest shows");
        let moved = still.iter().zip(&shown).filter(|(old, new)| (old[2] - new[2]).abs() > 0.1).count();
        assert!(moved > 200, "{sets:?}: {moved} texels of the still show what was painted");
        for (form, old) in forms.iter().zip(&old) {
            assert!(read(form) != *old, "{sets:?}: {form} doesn't show what was painted");
        }
    }
    // Only some slots: what was painted elsewhere still counts.
    let one = files(&before).iter().find(|file| file["kind"] == "fog").map(|file| text(file, "slot"));
    let shown = read("still.png");
    runs(&[&arguments[..], &["--only", &one.expect("a slot")]].concat());
    assert!(read("still.png") == shown, "{sets:?}: the still changed with --only");
    runs(&[&arguments[..], &["--replace"]].concat());
    assert!(decoded(&read("still.png")).1 == still, "{sets:?}: --replace doesn't bring the old still back");
    assert!(files(&manifest(&out)).iter().all(|file| file["original"].is_null()));
}

#[test]
fn what_was_painted_on_is_shown() {
    painted_counts(&["texture.fit=full"], 1.0);
}

#[test]
fn what_was_painted_on_fitted_tiles_is_shown() {
    painted_counts(&["texture.fit=error:0.5", "texture.trim=true", "texture.side=128"], 1.0);
}

#[test]
fn what_is_no_picture_any_more_is_told() {
    let folder = tempfile::tempdir().expect("a folder");
    let scene = write_scene(folder.path(), SCENE);
    let out = folder.path().join("out");
    let arguments = ["render", scene.to_str().expect("text"), "--out", out.to_str().expect("text")];
    runs(&arguments);
    let still = std::fs::read(out.join("still.png")).expect("read");
    let path = text(&files(&manifest(&out))[0], "path");
    std::fs::write(out.join(&path), "no picture").expect("written");
    let said = runs(&arguments);
    assert!(said.contains(&format!("note: {path}: it was edited but can't be shown: ")), "{said}");
    assert!(std::fs::read(out.join("still.png")).expect("read") == still);
    assert_eq!(std::fs::read(out.join(&path)).expect("read"), b"no picture");
}

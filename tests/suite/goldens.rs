//! Goldens: decoded pixels of a few small pictures, so that no change of looks goes unseen.
//!
//! `FOGWEFT_RENEW=1 cargo test --release --test suite goldens` renews them; look at what changed before you commit it. It refuses
//! where texels changed and `OUTPUT_VERSION` didn't: reruns would keep what an older program made. Where one fails, expected, actual
//! and difference stand side by side in the target folder; the message says where.

use crate::util::{Decoded, decode, decode_file, done, files};
use fogweft::base::key::OUTPUT_VERSION;
use std::collections::BTreeMap;
use std::fmt::Write;
use std::fs;
use std::path::Path;

const HERE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/suite/goldens");

/// Hash of size and texels: scrambled pixels don't pass.
fn hash(picture: &Decoded) -> String {
    let mut hasher = blake3::Hasher::new();
    for side in picture.size {
        hasher.update(&side.to_le_bytes());
    }
    for sample in picture.texels.as_flattened() {
        hasher.update(&sample.to_le_bytes());
    }
    hasher.finalize().to_hex().to_string()
}

/// The pictures by name.
fn pictures() -> BTreeMap<String, Vec<u8>> {
    let folder = tempfile::tempdir().unwrap();
    for preset in ["radiation-fog", "low-stratus", "steam-fog"] {
        let out = format!("{preset}.png");
        let numbers = ["bands.size=16", "falloff.height=24", "smear.length=20", "soften.sigma=1.5"];
        let sets = numbers.iter().flat_map(|number| ["--set", number]);
        let args = ["sheet", "--preset", preset, "--size", "144x72", "--out", &out];
        done(folder.path(), &args.into_iter().chain(sets).collect::<Vec<_>>());
    }
    let (home, out) = (folder.path().join("marsh"), folder.path().join("out"));
    fs::create_dir(&home).unwrap();
    for (name, bytes) in fogweft::scene::start::DEMO {
        fs::write(home.join(name), bytes).unwrap();
    }
    done(&home, &["render", "scene.toml", "--scale", "0.1", "--out", out.to_str().unwrap()]);
    fs::rename(out.join("still.png"), folder.path().join("salt-marsh.png")).unwrap();
    fs::remove_dir_all(home).unwrap();
    fs::remove_dir_all(out).unwrap();
    files(folder.path())
}

/// Expected, actual and their difference (grey where equal, four times over) beside each other, on black.
fn side_by_side(expected: &Decoded, actual: &Decoded) -> image::RgbaImage {
    let width = expected.size[0].max(actual.size[0]);
    let height = expected.size[1].max(actual.size[1]);
    let at = |picture: &Decoded, x: u32, y: u32| {
        (x < picture.size[0] && y < picture.size[1])
            .then(|| picture.texels[(y * picture.size[0] + x) as usize].map(|sample| (sample / 257) as u8))
    };
    image::RgbaImage::from_fn(3 * width, height, |x, y| {
        let (part, x) = (x / width, x % width);
        let (a, b) = (at(expected, x, y), at(actual, x, y));
        // Sheets are shown as they look on black.
        let seen = |texel: Option<[u8; 4]>| {
            let [r, g, b, a] = texel.unwrap_or([255, 0, 0, 255]);
            [r, g, b].map(|code| (u16::from(code) * u16::from(a) / 255) as u8)
        };
        let [r, g, b] = match part {
            0 => seen(a),
            1 => seen(b),
            _ => {
                let (a, b) = (seen(a), seen(b));
                std::array::from_fn(|at| {
                    (128 + 4 * (i32::from(b[at]) - i32::from(a[at]))).clamp(0, 255) as u8
                })
            }
        };
        image::Rgba([r, g, b, 255])
    })
}

/// The list without the version that it was made for.
fn hashes(list: &str) -> &str {
    list.split_once('\n').map_or("", |(_, hashes)| hashes)
}

/// Whether texels changed although the output version is the recorded one.
fn is_overdue(known: &str, text: &str) -> bool {
    known.lines().next() == text.lines().next() && hashes(known) != hashes(text)
}

#[test]
fn renewing_refuses_other_texels_of_the_same_version() {
    let [old, other] = ["output version 3\n01 a.png\n", "output version 3\n02 a.png\n"];
    assert!(is_overdue(old, other) && !is_overdue(old, old));
    assert!(!is_overdue(old, &other.replace('3', "4")) && !is_overdue(old, &old.replace('3', "4")));
    assert!(!is_overdue("", old), "the first list is anybody's");
}

#[test]
fn goldens() {
    let list = Path::new(HERE).join("hashes.txt");
    let pictures = pictures();
    let mut text = format!("output version {OUTPUT_VERSION}\n");
    for (name, bytes) in &pictures {
        writeln!(text, "{} {name}", hash(&decode(bytes))).unwrap();
    }
    let known = fs::read_to_string(&list).unwrap_or_default();
    if std::env::var_os("FOGWEFT_RENEW").is_some_and(|value| value == "1") {
        assert!(
            !is_overdue(&known, &text),
            "texels changed: raise OUTPUT_VERSION in src/base/key.rs by one, then renew"
        );
        fs::create_dir_all(HERE).unwrap();
        for (name, bytes) in &pictures {
            fs::write(Path::new(HERE).join(name), bytes).unwrap();
        }
        fs::write(&list, &text).unwrap();
        return;
    }
    if known == text {
        return;
    }
    assert!(
        hashes(&known) != hashes(&text),
        "the goldens are of another output version: renew them with FOGWEFT_RENEW=1"
    );
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("goldens");
    fs::create_dir_all(&folder).unwrap();
    let mut changed = Vec::new();
    for (name, bytes) in &pictures {
        let (golden, actual) = (Path::new(HERE).join(name), decode(bytes));
        if golden.is_file() && hash(&decode_file(&golden)) == hash(&actual) {
            continue;
        }
        changed.push(name.as_str());
        let stem = name.trim_end_matches(".png");
        fs::write(folder.join(format!("{stem}.actual.png")), bytes).unwrap();
        if golden.is_file() {
            let expected = decode_file(&golden);
            fs::copy(&golden, folder.join(format!("{stem}.expected.png"))).unwrap();
            side_by_side(&expected, &actual).save(folder.join(format!("{stem}.difference.png"))).unwrap();
        }
    }
    panic!("{} differ from their goldens: see {}", changed.join(", "), folder.display());
}

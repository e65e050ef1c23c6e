//! The public PNG suite (PngSuite, W. van Schaik, 2011), where `FOGWEFT_PNG_SUITE` names a folder that holds it; `pngsuite.sh` fetches it.

use super::util::Scene;
use crate::outside::second_reader;
use fogweft::base::limits::Limits;
use fogweft::base::words::Blending;
use fogweft::scene::pictures::Source;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// PNG files below a folder, by name.
fn pictures(folder: &Path) -> Vec<PathBuf> {
    let mut all = Vec::new();
    for entry in
        fs::read_dir(folder).unwrap_or_else(|error| panic!("{}: {error}", folder.display())).flatten()
    {
        let path = entry.path();
        if path.is_dir() {
            all.extend(pictures(&path));
        } else if path.extension().is_some_and(|ending| ending == "png") {
            all.push(path);
        }
    }
    all.sort();
    all
}

/// What the suite's file names say ("the first letter"; x: corrupted) and what else lies beside it.
#[test]
fn the_public_suite_is_read_exactly_and_its_broken_files_are_told() {
    let Some(folder) = std::env::var_os("FOGWEFT_PNG_SUITE") else {
        println!("skipped: FOGWEFT_PNG_SUITE names no folder; tests/trust/pngsuite.sh fetches the suite");
        return;
    };
    let scene = Scene::new();
    let (mut sound, mut broken, mut others, mut longest) = (0, 0, [0; 2], Duration::ZERO);
    for file in pictures(Path::new(&folder)) {
        let bytes = fs::read(&file).expect("read");
        let name = file.file_name().expect("a name").to_string_lossy().into_owned();
        // The suite's names have eight letters: what is tried, interlaced or not, colour type, depth.
        let is_suite = name.len() == 12 && name.is_char_boundary(3) && "in".contains(&name[3..4]);
        let is_suite = is_suite || name.len() == 12 && name.starts_with("exif");
        let text = format!("view = [64, 36]\n[[slot]]\nname = \"a\"\ndepth = 0\nart = \"{name}\"\n");
        scene.write(&name, &bytes);
        scene.write("scene.toml", text);
        let start = Instant::now();
        let done = scene.run(&["render", "scene.toml", "--out", "o", "--replace", "--prune"]);
        longest = longest.max(start.elapsed());
        let said = String::from_utf8_lossy(&done.stderr);
        assert!(!said.contains("panicked"), "{name}: {said}");
        if is_suite && !name.starts_with('x') {
            assert_eq!(done.status.code(), Some(0), "{name}: {said}");
            exact(&name, bytes);
            sound += 1;
        } else if done.status.success() {
            assert!(!is_suite, "{name} was drawn");
            others[0] += 1;
        } else {
            assert_eq!(done.status.code(), Some(4), "{name}: {said}");
            assert!(said.contains(&name) && said.contains("error"), "{name}: {said}");
            if is_suite { broken += 1 } else { others[1] += 1 }
        }
    }
    println!(
        "{sound} sound files of the suite read exactly, {broken} broken ones refused; of others {} read, {} refused; the longest run {longest:?}",
        others[0], others[1]
    );
    assert!(sound > 0 && longest < Duration::from_secs(10));
}

/// Texel for texel what a decoder says that shares nothing with the program's.
fn exact(name: &str, bytes: Vec<u8>) {
    let (size, texels) = second_reader(&bytes);
    let limits = Limits::default();
    let source = Source::from_bytes(name, bytes, &limits).expect("a picture");
    assert_eq!(source.natural, size.map(f64::from), "{name}");
    let own = source.draw(size, false, false, Blending::Encoded, &limits).expect("drawn");
    for (at, (own, other)) in own.texels.iter().zip(&texels).enumerate() {
        let other = other.map(|share| (share * 65535.0).round() as u16);
        // Where alpha is 0 any colour will do, and one that fits is chosen.
        assert!(own == &other || (own[3] == 0 && other[3] == 0), "{name}, texel {at}: {own:?}, {other:?}");
    }
}

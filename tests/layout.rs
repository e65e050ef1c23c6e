//! Which module may know which: data flows one way, and no file of `src` names a module that comes after its own.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// The entries of `src` in the order of the data; each knows those before it.
const ORDER: [&str; 10] =
    ["base", "steps", "scene", "plan", "rim", "stack", "output", "store", "review", "tune"];

/// The program and the root of the library, which know all of them.
const FACES: [&str; 2] = ["cli", "lib.rs"];

fn sources(folder: &Path) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder).expect("a folder").map(|entry| entry.expect("an entry").path());
    let mut all = Vec::new();
    for path in entries {
        if path.is_dir() {
            all.extend(sources(&path));
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            all.push(path);
        }
    }
    all
}

/// The modules at the top of the crate that a source names, outside comments.
fn named(text: &str) -> BTreeSet<&str> {
    let code = text.lines().map(|line| line.split("//").next().unwrap_or_default());
    code.flat_map(|line| line.split("crate::").skip(1))
        .map(|rest| {
            rest.split(|sign: char| !sign.is_alphanumeric() && sign != '_').next().unwrap_or_default()
        })
        .collect()
}

fn place(entry: &str) -> Option<usize> {
    ORDER.iter().position(|other| *other == entry)
}

#[test]
fn src_has_at_most_twelve_entries_and_each_has_its_place() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let entries: BTreeSet<String> = fs::read_dir(root)
        .expect("src")
        .map(|entry| entry.expect("an entry").file_name().to_string_lossy().into_owned())
        .collect();
    let known: BTreeSet<String> = ORDER.into_iter().chain(FACES).map(str::to_owned).collect();
    assert_eq!(entries, known);
    assert!(entries.len() <= 12);
}

#[test]
fn no_module_knows_one_that_comes_after_it() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut wrong = Vec::new();
    let mut seen = 0;
    for file in sources(&root) {
        let inside = file.strip_prefix(&root).expect("inside");
        let entry = inside.iter().next().and_then(|name| name.to_str()).expect("a name");
        let Some(own) = place(entry) else { continue };
        let text = fs::read_to_string(&file).expect("text");
        for other in named(&text) {
            let Some(at) = place(other) else { continue };
            seen += 1;
            if at > own {
                wrong.push(format!("{} knows {other}", inside.display()));
            }
        }
    }
    assert!(seen > 300, "the sources name each other {seen} times only");
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn the_reading_of_sources_finds_what_they_name() {
    let text = "use crate::plan::{Job, Plan};\n// crate::tune\nfn a(b: &crate::stack::Stack) {}\n";
    assert_eq!(named(text), BTreeSet::from(["plan", "stack"]));
}

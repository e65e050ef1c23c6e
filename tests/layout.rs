//! How the sources are laid out: data flows one way, so no file of `src` names a module that comes after its own; and no file or
//! function is longer than one can hold in mind.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// The entries of `src` in the order of the data; each knows those before it.
const ORDER: [&str; 11] =
    ["base", "steps", "scene", "plan", "rim", "stack", "output", "store", "front", "review", "tune"];

/// The program and the root of the library, which know all of them.
const FACES: [&str; 2] = ["cli", "lib.rs"];

/// Most lines of a file, and of a function; tests don't count. Chosen by eye.
const FILE: usize = 450;
const FUNCTION: usize = 60;

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

/// A source without its tests, which stand at its end.
fn without_tests(text: &str) -> &str {
    text.split("#[cfg(test)]\nmod tests {").next().unwrap_or_default()
}

/// Name and number of lines of each function, as rustfmt leaves it: it ends with the first brace that is indented as it is.
fn functions(text: &str) -> Vec<(&str, usize)> {
    let lines: Vec<&str> = text.lines().collect();
    let indent = |line: &str| line.len() - line.trim_start().len();
    let mut found = Vec::new();
    for (at, line) in lines.iter().enumerate() {
        let (head, Some(rest)) = (line.trim_start(), line.split_once("fn ").map(|(_, rest)| rest)) else {
            continue;
        };
        let words = head.split("fn ").next().unwrap_or_default().split_whitespace();
        let heads = |word: &str| word.starts_with("pub") || ["const", "unsafe", "async"].contains(&word);
        if !words.clone().all(|word| heads(word) || word.ends_with(')')) || line.ends_with(';') {
            continue;
        }
        let name = rest.split(|sign: char| !sign.is_alphanumeric() && sign != '_').next().unwrap_or_default();
        let ends = |other: &&&str| other.trim_start() == "}" && indent(other) == indent(line);
        let length = if line.ends_with('}') {
            1
        } else {
            1 + lines[at..].iter().take_while(|other| !ends(other)).count()
        };
        found.push((name, length));
    }
    found
}

fn place(entry: &str) -> Option<usize> {
    ORDER.iter().position(|other| *other == entry)
}

#[test]
fn src_has_at_most_twelve_modules_and_each_has_its_place() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let entries: BTreeSet<String> = fs::read_dir(root)
        .expect("src")
        .map(|entry| entry.expect("an entry").file_name().to_string_lossy().into_owned())
        .collect();
    let known: BTreeSet<String> = ORDER.into_iter().chain(FACES).map(str::to_owned).collect();
    assert_eq!(entries, known);
    assert!(entries.len() - usize::from(entries.contains("lib.rs")) <= 12);
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

/// What writes, replaces or moves a file. A lock is opened, made where it is missing, and never written over.
const WRITES: [&str; 10] = [
    "fs::write",
    "fs::rename",
    "fs::copy",
    "fs::hard_link",
    "File::create",
    "File::options",
    "OpenOptions::new",
    "tempfile",
    ".persist",
    "symlink(",
];
const DOORS: [&str; 2] = ["base/files.rs", "store/rerun/lock.rs"];

#[test]
fn files_are_written_through_one_door() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut wrong = Vec::new();
    let mut doors = 0;
    for file in sources(&root).into_iter().filter(|file| !file.ends_with("tests.rs")) {
        let text = fs::read_to_string(&file).expect("text");
        let code = without_tests(&text).lines().map(|line| line.split("//").next().unwrap_or_default());
        let found = code.filter(|line| WRITES.iter().any(|word| line.contains(word))).count();
        if DOORS.iter().any(|door| file.ends_with(door)) {
            doors += usize::from(found > 0);
        } else if found > 0 {
            wrong.push(format!("{}: {found}", file.display()));
        }
    }
    assert_eq!(doors, DOORS.len());
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn no_file_and_no_function_is_long() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let (mut files, mut long, mut seen) = (Vec::new(), Vec::new(), 0);
    for file in sources(&root).into_iter().filter(|file| !file.ends_with("tests.rs")) {
        let inside = file.strip_prefix(&root).expect("inside").display();
        let text = fs::read_to_string(&file).expect("text");
        let text = without_tests(&text);
        if text.lines().count() > FILE {
            files.push(format!("{inside}: {} lines", text.lines().count()));
        }
        for (name, length) in functions(text) {
            seen += 1;
            if length > FUNCTION {
                long.push(format!("{inside} {name}"));
            }
        }
    }
    assert!(seen > 1000, "{seen} functions only");
    assert!(files.is_empty(), "over {FILE} lines: {files:#?}");
    assert!(long.is_empty(), "over {FUNCTION} lines: {long:#?}");
}

#[test]
fn the_reading_of_sources_finds_where_functions_end() {
    let text = "impl A {\n    pub(crate) const fn a(\n        b: u8,\n    ) -> u8 {\n        if b > 0 {\n        }\n    }\n\n    fn b() {}\n}\n\
                fn c(of: fn (u8)) {\n}\n// fn d() {\ntrait E {\n    fn e();\n}\n#[cfg(test)]\nmod tests {\n    fn f() {}\n}\n";
    assert_eq!(functions(without_tests(text)), [("a", 6), ("b", 1), ("c", 2)]);
}

//! The documents: short where they must be, generated where they can be, their links whole, and their commands run.

#[path = "common/program.rs"]
mod program;

use fogweft::scene::keys::{KEYS, Key, Section};
use program::program;
use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Stdio;

/// The documents for people who use the program, from the top of the repository.
const DOCUMENTS: [&str; 2] = ["README.md", "presets/README.md"];

/// Most words of README; a page that one reads to its end.
const MOST_WORDS: usize = 1600;

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn text(name: &str) -> String {
    fs::read_to_string(root().join(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
}

#[test]
fn readme_is_short() {
    let words = text("README.md").split_whitespace().count();
    assert!(words <= MOST_WORDS, "{words} words");
}

/// A table's cell.
fn cell(text: &str) -> String {
    text.replace('|', "\\|")
}

/// The rows of some keys, under the header of the table that they stand in.
fn rows(title: &str, keys: &[&Key]) -> String {
    let mut rows = format!("\n**{title}**\n\n| key | takes | default | |\n|---|---|---|---|\n");
    for key in keys {
        let [takes, default, about] = [&key.takes(), key.fallback_words(), key.about].map(cell);
        rows += &format!("| `{}` | {takes} | {default} | {about} |\n", key.name());
    }
    rows
}

/// The tables of keys, each under its section in the order of the table, scenes' or presets'.
fn tables(of_presets: bool) -> String {
    let title = |section: Section| match section {
        Section::Scene => "At the top".to_owned(),
        Section::Preset => "Head".to_owned(),
        Section::Air => "`[air]`".to_owned(),
        Section::Texture => "`[texture]`".to_owned(),
        Section::Rim => "`[rim]`".to_owned(),
        Section::Check => "`[check]`".to_owned(),
        Section::Light => "`[light]`".to_owned(),
        Section::Slot => "`[[slot]]`".to_owned(),
        Section::Place => "`[[slot.place]]`".to_owned(),
        Section::Lamp => "`[[lamp]]`".to_owned(),
        Section::Step(step) => format!("`[{step}]`"),
    };
    let wanted = |section: Section| match section {
        Section::Preset | Section::Step(_) => of_presets,
        _ => !of_presets,
    };
    let mut told: Vec<Section> = Vec::new();
    for key in KEYS.iter().filter(|key| wanted(key.section())) {
        if !told.contains(&key.section()) {
            told.push(key.section());
        }
    }
    let of = |section: Section| KEYS.iter().filter(|key| key.section() == section).collect::<Vec<_>>();
    told.into_iter().map(|section| rows(&title(section), &of(section))).collect()
}

/// What the program prints.
fn printed(args: &[&str]) -> String {
    let folder = tempfile::tempdir().unwrap();
    let output = program(folder.path(), args).output().unwrap();
    assert!(output.status.success(), "{args:?}: {}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

/// Every command's own help.
fn commands() -> String {
    let help = printed(&["--help"]);
    let names = help.lines().skip_while(|line| *line != "Commands:").skip(1);
    let names = names.take_while(|line| !line.is_empty());
    // A line that is indented farther goes on with what the one before says.
    let names = names.filter_map(|line| line.strip_prefix("  ").filter(|line| !line.starts_with(' ')));
    let names = names.filter_map(|line| line.split_whitespace().next());
    let mut all = String::new();
    for name in names.filter(|name| *name != "help") {
        all +=
            &format!("\n### `fogweft {name}`\n\n```text\n{}\n```\n", printed(&[name, "--help"]).trim_end());
    }
    assert!(all.contains("fogweft render"), "{help}");
    all
}

/// `text` with what stands between the marks of `block` replaced.
fn with_block(text: &str, block: &str, content: &str) -> String {
    let begin = format!("<!-- begin: {block} -->\n");
    let (before, rest) = text.split_once(&begin).unwrap_or_else(|| panic!("no {begin}"));
    let (_, after) = rest.split_once("<!-- end -->").expect("an end");
    format!("{before}{begin}{content}\n<!-- end -->{after}")
}

#[test]
fn the_reference_is_generated_from_the_programs_own_tables() {
    let file = "presets/README.md";
    let found = text(file);
    let mut wanted = with_block(&found, "scene keys", &tables(false));
    wanted = with_block(&wanted, "preset keys", &tables(true));
    wanted = with_block(&wanted, "commands", &commands());
    if std::env::var_os("FOGWEFT_RENEW").is_some() {
        fs::write(root().join(file), &wanted).unwrap();
        return;
    }
    let differ = found.lines().zip(wanted.lines()).find(|(one, other)| one != other);
    assert!(
        found == wanted,
        "{file} is out of date, first at {differ:?}: FOGWEFT_RENEW=1 cargo test --release --test documents"
    );
}

/// The anchors of a document's headings, as renderers of Markdown make them: common practice, no source.
fn anchors(text: &str) -> BTreeSet<String> {
    let plain = |title: &str| -> String {
        let kept = title.to_lowercase().replace(' ', "-");
        kept.chars().filter(|sign| sign.is_alphanumeric() || *sign == '-').collect()
    };
    text.lines()
        .filter(|line| line.starts_with('#'))
        .map(|line| plain(line.trim_start_matches('#').trim()))
        .collect()
}

#[test]
fn links_lead_somewhere() {
    for name in
        [&DOCUMENTS[..], &["gallery/README.md", "DEVELOPERS.md", "CHANGELOG.md", "tests/README.md"]].concat()
    {
        let own = text(name);
        let targets =
            own.split("](").skip(1).filter_map(|rest| rest.split_once(')')).map(|(target, _)| target);
        for target in targets.filter(|target| !target.contains("://") && !target.contains(' ')) {
            let (path, anchor) = target.split_once('#').unwrap_or((target, ""));
            let file = root().join(name).parent().unwrap().join(path);
            let file = if path.is_empty() { root().join(name) } else { file };
            assert!(file.exists(), "{name}: {target}");
            if !anchor.is_empty() {
                let there = fs::read_to_string(&file).unwrap();
                assert!(anchors(&there).contains(anchor), "{name}: {target}");
            }
        }
    }
}

/// A command of a document and what the document says that it prints.
struct Shown {
    line: String,
    prints: Vec<String>,
}

/// The commands of a document: those in shell blocks, and those after `$` with what they print.
fn shown(text: &str) -> Vec<Shown> {
    let mut all: Vec<Shown> = Vec::new();
    let mut block: Option<String> = None;
    let mut indent = 0;
    for line in text.lines() {
        // A block in a list is indented as its fence is.
        if block.is_none() {
            indent = line.len() - line.trim_start().len();
        }
        let line = line.get(indent..).unwrap_or(line);
        if let Some(kind) = line.strip_prefix("```") {
            block = if block.is_some() { None } else { Some(kind.to_owned()) };
            continue;
        }
        let command = match block.as_deref() {
            Some("sh") => Some(line),
            Some("") => line.strip_prefix("$ "),
            _ => continue,
        };
        match command {
            Some(command) => {
                let command = command.split(" # ").next().unwrap_or_default().trim();
                all.push(Shown { line: command.to_owned(), prints: Vec::new() });
            }
            None => {
                if let Some(last) = all.last_mut() {
                    last.prints.push(line.to_owned());
                }
            }
        }
    }
    all
}

/// Runs a command of a document in `folder`, as a reader would, one after the other.
fn run(folder: &Path, shown: &Shown) {
    let words: Vec<String> =
        shown.line.split_whitespace().map(|word| word.trim_matches('"').to_owned()).collect();
    let Some((first, args)) = words.split_first() else { return };
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    if first == "cargo" {
        // The suite can't run itself; that the demo runs is checked with the program.
        assert!(matches!(args[0], "run" | "test" | "install"), "{}", shown.line);
        return;
    }
    assert_eq!(first, "fogweft", "{}", shown.line);
    let mut command = program(folder, &args);
    if args[0] == "tune" || args.contains(&"--watch") {
        return until_it_speaks(&mut command, shown);
    }
    let output = command.output().unwrap();
    let code = output.status.code();
    assert!(matches!(code, Some(0 | 1)), "{}: {}", shown.line, String::from_utf8_lossy(&output.stderr));
    let said = String::from_utf8(output.stdout).unwrap();
    let mut lines = said.lines();
    for wanted in shown.prints.iter().filter(|line| !line.is_empty() && *line != "...") {
        assert!(
            lines.any(|line| line.trim_end() == wanted.trim_end()),
            "{}: it doesn't print, or not in this order\n{wanted}\nbut\n{said}",
            shown.line
        );
    }
}

/// Starts what runs until it is stopped, and stops it after its first word.
fn until_it_speaks(command: &mut std::process::Command, shown: &Shown) {
    use std::io::Read;
    let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    let mut byte = [0_u8; 1];
    let spoke = child.stdout.take().unwrap().read(&mut byte).unwrap();
    child.kill().unwrap();
    child.wait().unwrap();
    assert_eq!(spoke, 1, "{} says nothing", shown.line);
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap().flatten() {
        if entry.path().is_dir() {
            copy(&entry.path(), &to.join(entry.file_name()));
        } else {
            fs::copy(entry.path(), to.join(entry.file_name())).unwrap();
        }
    }
}

#[test]
fn every_command_of_a_document_runs() {
    for name in DOCUMENTS {
        let folder = tempfile::tempdir().unwrap();
        copy(&root().join("presets"), &folder.path().join("presets"));
        copy(&root().join("presets/salt-marsh"), folder.path());
        fs::copy(root().join("tests/data/horse.png"), folder.path().join("heron.png")).unwrap();
        let all = shown(&text(name));
        assert!(!all.is_empty(), "{name}");
        for shown in &all {
            run(folder.path(), shown);
        }
    }
}

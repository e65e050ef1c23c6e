//! Several levels in one command: which scenes are meant, what became of each, and the caches that they left.

use super::render::{Done, Part};
use super::table::{bytes, layout};
use super::{args, default_out, say};
use fogweft::base::fault::{Class, Fault, Faults, Result};
use fogweft::scene::project::Project;
use fogweft::store::cache::{FOLDER, Store};
use serde::Serialize;
use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// Most bytes of a file that is looked at to see whether it is a scene.
const MOST_BYTES: u64 = 4 << 20;
/// Most folders within folders that are looked through.
const DEPTH: usize = 32;
/// Most scenes of one command.
const MOST: usize = 10_000;

/// The scenes that are meant: files as they are given, of folders every scene below, in the order of their paths; each once.
///
/// # Errors
/// Class `Usage`: a folder holds none, or too many.
pub fn scenes(given: &[PathBuf]) -> Result<Vec<PathBuf>> {
    let mut all = Vec::new();
    for path in given {
        if !path.is_dir() {
            all.push(path.clone());
            continue;
        }
        let mut found = Vec::new();
        below(path, DEPTH, &mut |file| {
            if is_scene(file) {
                found.push(file.to_path_buf());
            }
        });
        if found.is_empty() || found.len() > MOST {
            let message = match found.len() {
                0 => "there is no scene in this folder or below it".to_owned(),
                many => format!("there are {many} scenes below this folder; the limit is {MOST}"),
            };
            let remedy = "Name scene files, or a folder that holds some: TOML files with `[[slot]]`.";
            return Err(Fault::new(Class::Usage, message).in_file(path).remedy(remedy).into());
        }
        all.extend(found);
    }
    let mut seen = BTreeSet::new();
    all.retain(|path| seen.insert(fs::canonicalize(path).unwrap_or_else(|_| path.clone())));
    Ok(all)
}

/// Calls `take` with every file below a folder, sorted; hidden folders and links are left out.
fn below(folder: &Path, depth: usize, take: &mut dyn FnMut(&Path)) {
    let mut entries: Vec<PathBuf> =
        fs::read_dir(folder).into_iter().flatten().flatten().map(|entry| entry.path()).collect();
    entries.sort();
    for path in entries {
        let hidden = path.file_name().is_some_and(|name| name.to_string_lossy().starts_with('.'));
        match fs::symlink_metadata(&path) {
            Ok(data) if data.is_dir() && !hidden && depth > 0 => below(&path, depth - 1, take),
            Ok(data) if data.is_file() => take(&path),
            _ => {}
        }
    }
}

/// Whether a file holds slots or builds on one that may, however faulty it is besides.
fn is_scene(file: &Path) -> bool {
    let toml = file.extension().is_some_and(|ending| ending == "toml");
    let short = || fs::metadata(file).is_ok_and(|data| data.len() <= MOST_BYTES);
    let text = || fs::read_to_string(file).unwrap_or_default();
    // What a preset is built on has no ending.
    let based = |line: &str| line.starts_with("from") && line.contains(".toml");
    toml && short()
        && text().lines().any(|line| line.trim_start().starts_with("[[slot]]") || based(line.trim_start()))
}

/// Output folders of the scenes: beside each, or below `out`, named after their paths. One scene alone has `out` itself.
pub fn outs(out: Option<&Path>, scenes: &[PathBuf]) -> Vec<PathBuf> {
    let Some(out) = out else { return scenes.iter().map(|scene| default_out(scene)).collect() };
    match scenes {
        [_] => vec![out.to_path_buf()],
        _ => names(scenes).into_iter().map(|name| out.join(name)).collect(),
    }
}

/// Names of scenes, unlike each other: their paths from the folder that all stand in; `scene.toml` is named by its folder.
pub fn names(scenes: &[PathBuf]) -> Vec<String> {
    let named = paths(scenes);
    let root = root(&named);
    let word = |path: &PathBuf| {
        let parts = path.strip_prefix(&root).unwrap_or(path).components();
        let parts: Vec<String> = parts.map(|part| part.as_os_str().to_string_lossy().into_owned()).collect();
        parts.join("-")
    };
    let mut taken = BTreeSet::new();
    let mut unlike = |word: String| {
        let mut name = word.clone();
        let mut number = 2;
        while !taken.insert(name.to_lowercase()) {
            name = format!("{word}-{number}");
            number += 1;
        }
        name
    };
    named.iter().map(word).map(&mut unlike).collect()
}

/// Absolute paths of scenes without their endings; of `scene.toml`, that of its folder.
fn paths(scenes: &[PathBuf]) -> Vec<PathBuf> {
    let named = |scene: &PathBuf| {
        let path = absolute(scene);
        if path.file_stem().is_some_and(|stem| stem == "scene") {
            path.parent().unwrap_or(&path).to_path_buf()
        } else {
            path.with_extension("")
        }
    };
    scenes.iter().map(named).collect()
}

pub fn absolute(path: &Path) -> PathBuf {
    fs::canonicalize(path).unwrap_or_else(|_| path.to_path_buf())
}

/// The folder in which all of these paths are.
fn root(paths: &[PathBuf]) -> PathBuf {
    let mut root = paths.first().and_then(|path| path.parent()).map(Path::to_path_buf).unwrap_or_default();
    while paths.iter().any(|path| path == &root || !path.starts_with(&root)) && root.pop() {}
    root
}

/// The folder for what is made of all levels: `out`, else the project's for outputs, else the one that was given, else the one in which all
/// are.
pub fn common(out: Option<&Path>, given: &[PathBuf], scenes: &[PathBuf]) -> PathBuf {
    let project = scenes.first().and_then(|scene| Project::of_scene(scene, &super::limits()).ok());
    let projects = project.and_then(|project| project.out().map(Path::to_path_buf));
    match (out.map(Path::to_path_buf).or(projects), given) {
        (Some(out), _) => out,
        (None, [folder]) if folder.is_dir() => folder.clone(),
        _ => root(&paths(scenes)),
    }
}

/// What `one` makes of each level, and the faults of those that it can't be made of. It is told the level's name among several, where there
/// are several: scenes are often called the same.
///
/// # Errors
/// As for [`scenes`].
pub fn each<T>(
    levels: &args::Levels,
    one: impl Fn(args::Scene, Option<String>) -> Result<T>,
) -> Result<(Vec<T>, Vec<Faults>)> {
    let (mut made, mut faults) = (Vec::new(), Vec::new());
    let scenes = scenes(&levels.levels)?;
    let several = scenes.len() > 1;
    for (name, scene) in names(&scenes).into_iter().zip(scenes) {
        match one(args::Scene { scene, sets: levels.sets.clone() }, several.then_some(name)) {
            Ok(value) => made.push(value),
            Err(found) => faults.push(found),
        }
    }
    Ok((made, faults))
}

/// All faults of all levels, those with the highest exit code first; what is wrong with a file that several build on, once.
pub fn worst(mut faults: Vec<Faults>) -> Result<()> {
    if faults.len() == 1 {
        return Err(faults.remove(0));
    }
    let mut all = Faults::default();
    for found in faults {
        all.sources.extend(found.sources);
        for fault in found.list {
            if !all.list.contains(&fault) {
                all.list.push(fault);
            }
        }
    }
    all.list.sort_by_key(|fault| std::cmp::Reverse(fault.class.exit_code()));
    all.or(())
}

/// Prints one value as JSON, several as a list.
pub fn say_json<T: Serialize>(what: &str, mut values: Vec<T>) -> Result<()> {
    match values.len() {
        0 => Ok(()),
        1 => super::say_json(what, &values.remove(0)),
        _ => super::say_json(what, &values),
    }
}

/// What became of each level, in one table.
pub fn table(scenes: &[PathBuf], results: &[Result<Done>]) -> String {
    let mut rows = Vec::new();
    for (name, result) in names(scenes).into_iter().zip(results) {
        match result {
            Ok(done) => {
                for Part { mood, report, .. } in &done.parts {
                    let (count, total) = report.manifest.own_files();
                    rows.push(vec![
                        name.clone(),
                        mood.clone().unwrap_or_else(|| "-".to_owned()),
                        count.to_string(),
                        bytes(total),
                        report.made.len().to_string(),
                        report.unchanged.to_string(),
                    ]);
                }
            }
            Err(faults) => {
                let failed = format!("failed, exit code {}", faults.exit_code());
                rows.push(vec![name, failed, "-".into(), "-".into(), "-".into(), "-".into()]);
            }
        }
    }
    format!("\n{}", layout(&["level", "mood", "files", "size", "made", "unchanged"], &rows, 2))
}

/// Empties the hidden caches of the outputs at or below `paths`; of a scene file, those of its outputs.
pub fn clean(args: &args::Clean) -> Result<()> {
    let mut freed = 0;
    for path in &args.paths {
        let root = if path.is_dir() { path.clone() } else { default_out(path) };
        if !root.is_dir() {
            let fault = Fault::new(Class::Usage, "there are no outputs here").in_file(path);
            return Err(fault.remedy("Name a folder of outputs, or a scene that was rendered.").into());
        }
        let mut folders = vec![root.clone()];
        let mut at = 0;
        while let Some(folder) = folders.get(at).cloned() {
            at += 1;
            let inside = fs::read_dir(&folder).into_iter().flatten().flatten().map(|entry| entry.path());
            let plain = |path: &PathBuf| {
                fs::symlink_metadata(path).is_ok_and(|data| data.is_dir())
                    && !path.file_name().is_some_and(|name| name.to_string_lossy().starts_with('.'))
            };
            folders.extend(inside.filter(plain));
        }
        for folder in folders.iter().filter(|folder| is_cache(&folder.join(FOLDER))) {
            let before = size(&folder.join(FOLDER));
            Store::in_folder(folder).clear_disk();
            freed += before.saturating_sub(size(&folder.join(FOLDER)));
        }
    }
    say(&format!("{} freed\n", bytes(freed)));
    Ok(())
}

fn is_cache(folder: &Path) -> bool {
    fs::symlink_metadata(folder).is_ok_and(|data| data.is_dir())
}

fn size(folder: &Path) -> u64 {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    entries.filter_map(|entry| entry.metadata().ok()).map(|data| data.len()).sum()
}

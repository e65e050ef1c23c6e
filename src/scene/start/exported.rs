//! A folder of exported layers as a painting: PNGs of one size, or trimmed ones whose places a file beside them gives.

use crate::base::fault::{Class, Fault, Faults, Result};
use crate::base::limits::Limits;
use crate::scene::check;
use crate::scene::layered::{self, Layered};
use crate::scene::pictures::Source;
use crate::scene::start::painting::{Painted, Painting, Picture};
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

/// The file of an OpenRaster archive that says where its layers lie.
const STACK: &str = "stack.xml";

/// Reads the folder: by its `stack.xml`, else by its only CSV file, else as pictures of one size, the farthest first by name.
///
/// # Errors
/// Class `Picture`: no PNGs, sizes that differ, or places that don't fit them; all at once. Class `Limit`: too large.
pub(super) fn open(folder: &Path, limits: &Limits) -> Result<Painting> {
    let mut names: Vec<String> = Vec::new();
    let entries = fs::read_dir(folder).map_err(|error| {
        Fault::new(Class::Picture, format!("the folder can't be read: {}", crate::base::files::why(&error)))
            .in_file(folder)
    })?;
    for entry in entries.flatten() {
        names.extend(entry.file_name().into_string());
    }
    names.sort();
    if names.iter().any(|name| name == STACK) {
        return stacked(folder, limits);
    }
    let ending = |name: &&String, ending: &str| name.to_ascii_lowercase().ends_with(ending);
    let pictures: Vec<&String> = names.iter().filter(|name| ending(name, ".png")).collect();
    let mut sizes = BTreeMap::new();
    for name in &pictures {
        sizes.insert(name.as_str(), Source::open(folder.join(name), limits)?.natural.map(|side| side as u32));
    }
    let tables: Vec<&String> = names.iter().filter(|name| ending(name, ".csv")).collect();
    match tables[..] {
        [] => one_size(folder, &sizes),
        [table] => placed(folder, table, &sizes, limits),
        _ => Err(Fault::new(Class::Picture, "the folder contains several CSV files")
            .in_file(folder)
            .remedy("Keep only the one that gives the places of the pictures.")
            .into()),
    }
}

/// A layer of the file `name`, called after it.
fn layer(name: &str, depth: Option<f64>, at: [i64; 2]) -> Painted {
    let stem = name.rsplit_once('.').map_or(name, |(stem, _)| stem);
    let (own, said) = layered::named(stem);
    Painted::new(own, depth.or(said), at, Picture::File(name.to_owned())).called(stem)
}

/// Pictures of one size: the canvas. Their names' order is the painter's, from far to near.
fn one_size(folder: &Path, sizes: &BTreeMap<&str, [u32; 2]>) -> Result<Painting> {
    let fault =
        |message: String, remedy: &str| Fault::new(Class::Picture, message).in_file(folder).remedy(remedy);
    let Some((first, size)) = sizes.first_key_value() else {
        return Err(fault(
            "the folder contains no PNG".into(),
            "Export each plane of the level as a PNG into it.",
        )
        .into());
    };
    if let Some((other, found)) = sizes.iter().find(|(_, found)| *found != size) {
        let [[w, h], [v, k]] = [size, found];
        return Err(fault(
            format!("{first} is {w} x {h} px, {other} {v} x {k} px"),
            "Export all layers as large as the canvas, or give the places of trimmed ones in a file layers.csv with the \
             columns name,x,y,depth.",
        )
        .into());
    }
    Ok(Painting {
        file: folder.to_path_buf(),
        size: *size,
        layers: sizes.keys().rev().map(|name| layer(name, None, [0, 0])).collect(),
        notes: Vec::new(),
    })
}

/// A row of the table: a picture, with or without `.png`, its left and top edge in px, its depth where it is given.
#[derive(serde::Deserialize)]
struct Row {
    name: String,
    x: f64,
    y: f64,
    #[serde(default)]
    depth: Option<f64>,
}

/// Pictures whose places a table gives, one row each, from far to near. The canvas is what holds all of them.
fn placed(folder: &Path, table: &str, sizes: &BTreeMap<&str, [u32; 2]>, limits: &Limits) -> Result<Painting> {
    let file = folder.join(table);
    let fault = |message: String| {
        Fault::new(Class::Picture, message)
            .in_file(&file)
            .remedy("Give one row for each picture, with the columns name,x,y,depth; depth may be empty.")
    };
    let bytes = crate::scene::pictures::content(&file, limits)?;
    let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).from_reader(bytes.as_slice());
    let mut faults = Faults::default();
    let mut rows = Vec::new();
    for (at, row) in reader.deserialize::<Row>().enumerate() {
        match row {
            Ok(row) if [row.x, row.y].iter().all(|edge| edge.abs() <= 1e7) => {
                let known = sizes.keys().find(|name| {
                    **name == row.name || name.rsplit_once('.').is_some_and(|(stem, _)| stem == row.name)
                });
                match known {
                    Some(name) if rows.iter().any(|(other, _)| other == name) => {
                        faults.list.push(fault(format!("row {}: {name} has a row already", at + 2)));
                    }
                    Some(name) => rows.push((*name, row)),
                    None => faults.list.push(fault(format!(
                        "row {}: there is no picture {}",
                        at + 2,
                        crate::scene::keys::shown(&row.name)
                    ))),
                }
            }
            Ok(_) => faults.list.push(fault(format!("row {}: a place is out of range", at + 2))),
            Err(error) => faults.list.push(fault(format!("the table can't be read: {error}"))),
        }
    }
    for name in sizes.keys().filter(|name| !rows.iter().any(|(other, _)| other == *name)) {
        faults.list.push(fault(format!("there is no row for {name}")));
    }
    faults.or(())?;
    let edge = |value: f64| value.round() as i64;
    let far = |axis: usize| {
        let ends = rows.iter().map(|(name, row)| edge([row.x, row.y][axis]) + i64::from(sizes[name][axis]));
        ends.max().unwrap_or_default().clamp(1, i64::from(u32::MAX)) as u32
    };
    Ok(Painting {
        file: folder.to_path_buf(),
        size: [far(0), far(1)],
        layers: rows
            .iter()
            .rev()
            .map(|(name, row)| layer(name, row.depth, [edge(row.x), edge(row.y)]))
            .collect(),
        notes: Vec::new(),
    })
}

/// An unpacked OpenRaster archive. Every layer is a slot: a folder holds no picture of a whole group.
fn stacked(folder: &Path, limits: &Limits) -> Result<Painting> {
    let file = folder.join(STACK);
    let bytes = crate::scene::pictures::content(&file, limits)?;
    let text = String::from_utf8(bytes)
        .map_err(|_| Fault::new(Class::Picture, "it is not UTF-8").in_file(&file).remedy("Save it again."))?;
    let layered = Layered::read(&file, &text, limits)?;
    let mut painting =
        Painting { file: folder.to_path_buf(), size: layered.size, layers: Vec::new(), notes: Vec::new() };
    for found in layered.leaves() {
        let (name, depth) = found.named();
        for part in &found.parts {
            if part.opacity < 1.0 {
                painting.notes.push(format!("{name}: its opacity of {:.3}, is ignored", part.opacity));
            }
            // What the file says of paths is somebody else's word.
            check::art_path(&part.src, 0).map_err(|unfit| {
                Fault::new(Class::Picture, unfit.message).in_file(&file).remedy(unfit.remedy)
            })?;
            let picture = Picture::File(part.src.clone());
            painting.layers.push(Painted::new(name, depth, [found.x, found.y], picture).called(&found.name));
        }
        painting.notes.extend(found.unlike.iter().map(|what| format!("{name}: {what}, is ignored")));
    }
    Ok(painting)
}

//! What is shown of plans, runs and presets.

use super::table::{bytes, layout, number};
use fogweft::base::report::escape;
use fogweft::base::units::{Rect, Travel};
use fogweft::plan::{Job, Place, Plan};
use fogweft::store::run::Report;
use std::io::IsTerminal;

/// A run: what was made and why, what was kept, and where the still is. A first run shows every file in a table on a terminal; elsewhere
/// one line is enough, since the manifest lists them.
pub fn report(report: &Report) -> String {
    let to_terminal = std::io::stdout().is_terminal();
    let first = !report.made.is_empty() && report.made.iter().all(|change| change.why == "new");
    let mut text = if first && to_terminal { files(report) } else { String::new() };
    if !first {
        for change in &report.made {
            text += &format!("{}: {}\n", change.path, change.why);
        }
    }
    for change in &report.kept {
        let kept = if change.shown { "kept and shown" } else { "kept" };
        text += &match &change.beside {
            Some(name) => {
                format!(
                    "{}: edited since the last run, {kept}; the new version is {name} ({})\n",
                    change.path, change.why
                )
            }
            None => format!("{}: {}, {kept}\n", change.path, change.why),
        };
    }
    for gone in &report.gone {
        text += &match (gone.removed, gone.touched) {
            (true, _) => format!("{}: no longer part of the scene, deleted\n", gone.path),
            (_, true) => {
                format!("{}: no longer part of the scene; edited since it was made, kept\n", gone.path)
            }
            _ => format!("{}: no longer part of the scene; --prune deletes it\n", gone.path),
        };
    }
    for note in report.plan.notes.iter().chain(&report.notes) {
        text += &format!("note: {}\n", escape(note));
    }
    if report.given_up > 0 {
        text += &format!("{} copies of other moods' files deleted\n", report.given_up);
    }
    text += &format!("{}, in {}", own_files(report), report.folder.display());
    text += &match (report.made.len(), report.unchanged) {
        _ if first => String::new(),
        (0, _) => "; nothing changed".to_owned(),
        (made, unchanged) => format!("; {made} made, {unchanged} unchanged"),
    };
    let parted = if first && !to_terminal { "; " } else { "\n" };
    text += &format!("{parted}still: {}\n", report.still.display());
    for export in &report.manifest.exports {
        text += &format!("{}, {}\n", report.folder.join(&export.path).display(), bytes(export.bytes));
    }
    text
}

/// How many files a run's folder has, how large they are, and how many it names in the folders of other moods.
pub fn own_files(report: &Report) -> String {
    let (count, total) = report.manifest.own_files();
    match report.manifest.files.len() - count {
        0 => format!("{count} files, {}", bytes(total)),
        shared => format!("{count} files, {}, and {shared} of other moods", bytes(total)),
    }
}

/// The files of a run.
fn files(report: &Report) -> String {
    let row = |entry: &fogweft::output::Entry| {
        vec![
            entry.slot.clone(),
            entry.path.clone(),
            number(entry.depth, 2),
            number(entry.pan_rate, 3),
            entry.optical_depth.map_or("-".to_owned(), |tau| number(tau, 3)),
            format!("{} x {}", entry.texels[0], entry.texels[1]),
            bytes(entry.bytes),
        ]
    };
    let rows: Vec<Vec<String>> = report.manifest.files.iter().map(row).collect();
    layout(&["slot", "file", "depth", "pan rate", "optical depth", "texels", "size"], &rows, 2)
}

/// How far the camera pans: to the right, and down where it does.
fn travel(travel: Travel) -> String {
    let right = number(travel.right.0, 1);
    if travel.down.0 > 0.0 { format!("{right} right, {} down", number(travel.down.0, 1)) } else { right }
}

/// A plan of the scene that is called `name`: every job, no pixels.
pub fn plan(plan: &Plan, name: &str) -> String {
    let rows: Vec<Vec<String>> = plan.files.iter().map(job_row).collect();
    let head = [
        "file",
        "preset",
        "depth",
        "pan rate",
        "air",
        "optical depth",
        "clear",
        "opacity",
        "line",
        "period",
        "texels",
    ];
    let mut text = format!(
        "{}: view {} x {}, travel {}, scale {}, extinction {} per unit of depth along the line, {} outside the fog, blending {}\n",
        escape(name),
        number(plan.view[0].0, 1),
        number(plan.view[1].0, 1),
        travel(plan.travel),
        number(plan.scale.0, 4),
        number(plan.extinction, 7),
        number(plan.clear_extinction, 7),
        plan.blending,
    );
    text += &layout(&head, &rows, 2);
    text += &places(plan);
    for note in &plan.notes {
        text += &format!("note: {}\n", escape(note));
    }
    text
}

/// The places of the slots whose pictures stand at several; empty where there are none.
fn places(plan: &Plan) -> String {
    let arts = plan.files.iter().filter_map(|job| match job {
        Job::Art(job) => Some(job),
        Job::Fog(_) | Job::Own(_) | Job::Rim(_) | Job::Lamp(_) => None,
    });
    let row = |slot: &str, place: &Place| {
        let Rect { x, y, width, height, .. } = place.rect;
        let mut row = vec![slot.to_owned(), place.name(), escape(&place.art)];
        row.extend([x, y, width, height].map(|length| number(length.0, 1)));
        row.push(if place.flip { "yes" } else { "" }.to_owned());
        row
    };
    let rows: Vec<Vec<String>> =
        arts.flat_map(|art| art.places.iter().map(|place| row(&art.placing.slot, place))).collect();
    match rows.is_empty() {
        true => String::new(),
        false => layout(&["slot", "place", "picture", "x", "y", "width", "height", "flipped"], &rows, 3),
    }
}

fn job_row(job: &Job) -> Vec<String> {
    let placing = job.placing();
    let fog = match job {
        Job::Fog(job) => Some(job),
        Job::Own(_) | Job::Rim(_) | Job::Art(_) | Job::Lamp(_) => None,
    };
    let cell = |value: Option<f64>, decimals| value.map_or(String::new(), |value| number(value, decimals));
    vec![
        placing.path.clone(),
        fog.map_or(String::new(), |job| job.preset.clone()),
        number(placing.depth, 2),
        number(placing.pan_rate, 3),
        cell(fog.map(|job| job.gap), 1),
        cell(fog.map(|job| job.optical_depth), 3),
        cell(fog.map(|job| job.clear_depth), 3),
        cell(fog.map(|job| job.opacity), 3),
        cell(fog.map(|job| job.line.0), 1),
        placing.period.map_or("-".to_owned(), |period| number(period.0, 1)),
        format!("{} x {}", placing.texels[0], placing.texels[1]),
    ]
}

//! What is shown of plans, runs and presets.

use super::args::PresetsCommand;
use super::say;
use super::table::{bytes, layout, number};
use fogweft::fault::Result;
use fogweft::plan::{Job, Plan};
use fogweft::recipe::layers::Resolved;
use fogweft::recipe::shelf::Shelf;
use fogweft::render::Report;

/// A run: its files and where the still is.
pub fn report(report: &Report) -> String {
    let rows: Vec<Vec<String>> = report
        .manifest
        .files
        .iter()
        .map(|entry| {
            vec![
                entry.slot.clone(),
                entry.path.clone(),
                number(entry.depth, 2),
                number(entry.pan_rate, 3),
                entry.optical_depth.map_or("-".to_owned(), |tau| number(tau, 3)),
                format!("{} x {}", entry.texels[0], entry.texels[1]),
                bytes(entry.bytes),
            ]
        })
        .collect();
    let mut text =
        layout(&["slot", "file", "depth", "pan rate", "optical depth", "texels", "size"], &rows, 2);
    for note in &report.plan.notes {
        text += &format!("note: {note}\n");
    }
    let total: u64 = report.manifest.files.iter().map(|entry| entry.bytes).sum();
    text + &format!(
        "{} files, {}, in {}\nstill: {}\n",
        report.manifest.files.len(),
        bytes(total),
        report.folder.display(),
        report.still.display()
    )
}

/// A plan: every job, no pixels.
pub fn plan(plan: &Plan) -> String {
    let rows: Vec<Vec<String>> = plan
        .files
        .iter()
        .map(|job| {
            let placing = job.placing();
            let (gap, tau, opacity, line, preset) = match job {
                Job::Fog(job) => (
                    number(job.gap, 1),
                    number(job.optical_depth, 3),
                    number(job.opacity, 3),
                    number(job.line, 1),
                    job.preset.clone(),
                ),
                Job::Rim(_) | Job::Art(_) => Default::default(),
            };
            vec![
                placing.path.clone(),
                preset,
                number(placing.depth, 2),
                number(placing.pan_rate, 3),
                gap,
                tau,
                opacity,
                line,
                placing.period.map_or("-".to_owned(), |period| number(period, 1)),
                format!("{} x {}", placing.texels[0], placing.texels[1]),
            ]
        })
        .collect();
    let head = [
        "file",
        "preset",
        "depth",
        "pan rate",
        "air",
        "optical depth",
        "opacity",
        "line",
        "period",
        "texels",
    ];
    let mut text = format!(
        "{}: view {} x {}, travel {}, scale {}, extinction {} per unit of depth, blending {}\n",
        plan.name,
        number(plan.view[0], 1),
        number(plan.view[1], 1),
        number(plan.travel, 1),
        number(plan.scale, 4),
        number(plan.extinction, 7),
        plan.blending,
    );
    text += &layout(&head, &rows, 2);
    for note in &plan.notes {
        text += &format!("note: {note}\n");
    }
    text
}

/// The shelf, or one preset of it.
pub fn presets(command: Option<PresetsCommand>) -> Result<()> {
    let shelf = Shelf::embedded();
    match command {
        None => {
            let mut rows = Vec::new();
            for name in shelf.names() {
                let preset = shelf.get(name)?;
                rows.push(vec![preset.name, preset.word, preset.anchor.to_string(), preset.about]);
            }
            say(&layout(&["preset", "weather word", "anchor", "for"], &rows, 4));
        }
        Some(PresetsCommand::Show { name }) => {
            let preset = shelf.get(&name)?;
            let mut text = format!("{} ({})\n{}\n\n", preset.title, preset.name, preset.about);
            text += &format!("{}\n{}\n{}\n\n", preset.word, preset.definition, preset.source);
            text +=
                &format!("anchor = \"{}\"\nvisibility = {}\n", preset.anchor, number(preset.visibility, 3));
            let resolved = Resolved::of_preset(&preset);
            let mut table = "";
            for key in fogweft::keys::KEYS.iter().filter(|key| key.is_step()) {
                let (step, number) = key.path.split_once('.').unwrap_or(("", key.path));
                if step != table {
                    text += &format!("\n[{step}]\n");
                    table = step;
                }
                if let Some(value) = resolved.value(key.path) {
                    let unit = if key.unit.is_empty() { String::new() } else { format!(" ({})", key.unit) };
                    text += &format!("{:<28}# {}{unit}\n", format!("{number} = {value}"), key.about);
                }
            }
            say(&text);
        }
    }
    Ok(())
}

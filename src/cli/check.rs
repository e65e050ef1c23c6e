//! `fogweft check`: the report as a table for people, or as JSON.

use super::table::{bytes, layout, number};
use super::{args, levels, load, say};
use fogweft::base::fault::Result;
use fogweft::base::report::escape;
use fogweft::review::check::{self, FrameFigures, FrameSlot, Report, Separation, SlotFigures};
use std::process::ExitCode;

/// Runs the check; the exit code is 1 where a limit is broken.
pub fn run(args: &args::Check) -> Result<ExitCode> {
    let limits = super::limits();
    let one = |scene: args::Scene, name: Option<String>| {
        let (reading, pictures) = load(&scene, args.mood.as_deref(), &limits)?;
        let report = match args.frames {
            1 => check::check(&reading.scene, &pictures, args.scale, &limits)?,
            frames => check::check_loop(&reading.scene, &pictures, args.scale, frames, &limits)?,
        };
        let name = name.unwrap_or_else(|| report.scene.clone());
        if !args.json {
            say(&text(&name, &report));
        }
        Ok((name, report))
    };
    let (reports, faults) = levels::each(&args.levels, one)?;
    let passes = reports.iter().all(|(_, report)| report.passes);
    if args.json {
        levels::say_json("report", reports.into_iter().map(|(_, report)| report).collect())?;
    } else if reports.len() > 1 {
        say(&summary(&reports));
    }
    levels::worst(faults)?;
    Ok(if passes { ExitCode::SUCCESS } else { ExitCode::from(1) })
}

/// All levels in one table.
fn summary(reports: &[(String, Report)]) -> String {
    let row = |(name, report): &(String, Report)| {
        let fails = report.findings.iter().filter(|finding| finding.fails).count();
        let notes = report.findings.len() - fails;
        let state = if report.passes { "within" } else { "exceeds" };
        vec![name.clone(), state.to_owned(), fails.to_string(), notes.to_string(), bytes(report.memory)]
    };
    let rows: Vec<Vec<String>> = reports.iter().map(row).collect();
    format!("\n{}", layout(&["level", "limits", "failures", "notes", "memory"], &rows, 2))
}

fn text(name: &str, report: &Report) -> String {
    slots(name, report) + &sheets(report) + &frames(report) + &findings(report)
}

/// The cells of a slot's separation; empty where none of its outline is seen.
fn steps(separation: &Separation, seen: bool) -> [String; 3] {
    if !seen {
        return ["-", "-", "-"].map(str::to_owned);
    }
    [number(separation.least, 1), number(separation.median, 1), format!("{:.1} %", 100.0 * separation.below)]
}

fn slot_row(slot: &SlotFigures) -> Vec<String> {
    let seen = slot.points > 0;
    let mut row = vec![slot.slot.clone(), number(slot.wanted, 1)];
    row.extend(steps(&slot.before, seen));
    row.extend(steps(&slot.after, seen));
    row.push(slot.tone.map_or("-".into(), |tone| number(tone, 0)));
    row.push(bytes(slot.memory));
    row.push(number(slot.overdraw, 2));
    row
}

/// How the outlines of each slot read, and what the stack costs.
fn slots(name: &str, report: &Report) -> String {
    let rows: Vec<Vec<String>> = report.slots.iter().map(slot_row).collect();
    let mut text = format!(
        "{}: outlines seen from {} camera places{}; lightness differences (CIE L*) across them, without and with rims\n\n",
        escape(name),
        report.cameras.len(),
        if report.moments > 1 {
            format!(" at {} moments of the loop", report.moments)
        } else {
            String::new()
        },
    );
    text += &layout(
        &[
            "slot",
            "wanted",
            "min",
            "median",
            "below",
            "with rims: min",
            "median",
            "below",
            "L*",
            "memory",
            "overdraw",
        ],
        &rows,
        1,
    );
    text += &format!(
        "total: {}, {} texels blended per texel of the view\nlightness {} from far to near, L* {} to {}\n\n",
        bytes(report.memory),
        number(report.overdraw, 2),
        if report.steady { "is monotonic" } else { "reverses" },
        number(report.darkest, 1),
        number(report.lightest, 1),
    );
    text
}

/// How each sheet repeats.
fn sheets(report: &Report) -> String {
    let mut text = String::new();
    let rows: Vec<Vec<String>> = report
        .sheets
        .iter()
        .map(|sheet| {
            vec![
                sheet.slot.clone(),
                number(sheet.seam, 2),
                number(sheet.band, 3),
                number(sheet.repeat, 2),
                number(sheet.turns, 2),
            ]
        })
        .collect();
    text += &layout(&["sheet", "seam", "band", "period in views", "periods per travel"], &rows, 1);
    text += "\n";
    text
}

/// The slots in the smaller frames; empty where there are none.
fn frames(report: &Report) -> String {
    let row = |frame: &FrameFigures, slot: &FrameSlot| {
        let [width, height] = frame.frame;
        let mut row = vec![format!("{width} x {height}"), slot.slot.clone()];
        row.extend(steps(&slot.after, slot.points > 0));
        row.extend(
            [slot.repeat, slot.turns].map(|figure| figure.map_or("-".into(), |figure| number(figure, 2))),
        );
        row
    };
    let rows: Vec<Vec<String>> =
        report.frames.iter().flat_map(|frame| frame.slots.iter().map(|slot| row(frame, slot))).collect();
    if rows.is_empty() {
        return String::new();
    }
    let head =
        ["frame", "slot", "with rims: min", "median", "below", "period in frames", "periods per travel"];
    layout(&head, &rows, 2) + "\n"
}

fn findings(report: &Report) -> String {
    let mut text = String::new();
    for finding in &report.findings {
        let head = if finding.fails { "fails" } else { "note" };
        let slot = finding.slot.as_ref().map(|slot| format!("{slot}: ")).unwrap_or_default();
        text += &format!("{head}: {slot}{}.\n    {}\n", finding.message, finding.remedy);
    }
    text + if report.passes { "The scene is within its limits.\n" } else { "The scene exceeds its limits.\n" }
}

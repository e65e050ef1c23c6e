//! `fogweft check`: the report as a table for people, or as JSON.

use super::table::{bytes, layout, number};
use super::{args, load, say};
use fogweft::base::fault::{Class, Fault, Result};
use fogweft::review::check::{self, Report, Separation};
use std::process::ExitCode;

/// Runs the check; the exit code is 1 where a limit is broken.
pub fn run(args: &args::Check) -> Result<ExitCode> {
    let limits = super::limits();
    let (reading, arts) = load(&args.scene, args.mood.as_deref(), &limits)?;
    let report = check::check(&reading.scene, &arts, args.scale, &limits)?;
    if args.json {
        let text = serde_json::to_string_pretty(&report).map_err(|error| {
            Fault::new(Class::Output, format!("the report can't be written as JSON: {error}"))
        })?;
        say(&(text + "\n"));
    } else {
        say(&text(&report));
    }
    Ok(if report.passes { ExitCode::SUCCESS } else { ExitCode::from(1) })
}

fn text(report: &Report) -> String {
    let steps = |separation: &Separation| {
        [
            number(separation.least, 1),
            number(separation.median, 1),
            format!("{:.1} %", 100.0 * separation.below),
        ]
    };
    let rows: Vec<Vec<String>> = report
        .slots
        .iter()
        .map(|slot| {
            let none = || ["-", "-", "-"].map(str::to_owned);
            let seen = slot.points > 0;
            let [before, after] =
                [&slot.before, &slot.after].map(|found| if seen { steps(found) } else { none() });
            let mut row = vec![slot.slot.clone(), number(slot.wanted, 1)];
            row.extend(before);
            row.extend(after);
            row.push(slot.tone.map_or("-".into(), |tone| number(tone, 0)));
            row.push(bytes(slot.memory));
            row.push(number(slot.overdraw, 2));
            row
        })
        .collect();
    let mut text = format!(
        "{}: outlines seen from {} camera places; lightness differences (CIE L*) across them, without and with rims\n\n",
        report.scene,
        report.cameras.len()
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
    for finding in &report.findings {
        let head = if finding.fails { "fails" } else { "note" };
        let slot = finding.slot.as_ref().map(|slot| format!("{slot}: ")).unwrap_or_default();
        text += &format!("{head}: {slot}{}.\n    {}\n", finding.message, finding.remedy);
    }
    text + if report.passes { "The scene is within its limits.\n" } else { "The scene exceeds its limits.\n" }
}

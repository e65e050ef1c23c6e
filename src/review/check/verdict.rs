//! From figures to plain words: what breaks a limit, what is worth a look, and what to do about it.

use crate::review::check::{Finding, Report, SlotFigures};

/// Change of CIE L* against the run of the others that is not yet called a turn.
const LEVEL: f64 = 2.0;
/// Seam, band and repeat from which a sheet shows them.
const SEAM: f64 = 1.5;
/// See [`SEAM`].
const BAND: f64 = 0.3;

/// Fills in the report's findings.
pub(super) fn judge(report: &mut Report) {
    let mut findings = Vec::new();
    let mut add = |fails, slot: Option<&str>, message: String, remedy: String| {
        findings.push(Finding { fails, slot: slot.map(str::to_owned), message, remedy });
    };
    for slot in report.slots.iter().filter(|slot| slot.points > 0 && slot.wanted > 0.0) {
        let most = report.limits.below;
        if slot.after.below > most {
            add(
                true,
                Some(&slot.slot),
                format!(
                    "{} of its outline is below a separation of {:.1} L* (limit {}){}",
                    percent(slot.after.below),
                    slot.wanted,
                    percent(most),
                    worst(slot),
                ),
                remedy(slot),
            );
        }
        if let Some(rim) = &slot.rim
            && let Some(sheet) = rim.sheet_steepest
            && rim.steepest > sheet
        {
            add(
                false,
                Some(&slot.slot),
                format!("its rim is up to {:.1} times as steep as its sheet", rim.steepest / sheet),
                format!("Raise `rim.spread`, or lower `slot.{}.separation`.", slot.slot),
            );
        }
    }
    let tones: Vec<(&str, f64)> =
        report.slots.iter().filter_map(|slot| Some((slot.slot.as_str(), slot.tone?))).collect();
    let turn = turn(&tones);
    report.steady = turn.is_none();
    if let Some(at) = turn {
        let (far, near) = (tones[at], tones[at + 1]);
        add(
            report.limits.steady,
            Some(near.0),
            format!("lightness reverses from {} (L* {:.0}) to {} (L* {:.0})", far.0, far.1, near.0, near.1),
            format!("Repaint one of the two, or mix part of the fog into {} with `tint`.", far.0),
        );
    }
    let limits = &report.limits;
    if report.darkest < limits.darkest {
        add(
            true,
            None,
            format!("the darkest tone is L* {:.1}, below the limit of {:.1}", report.darkest, limits.darkest),
            "Raise `floor` at the top of the scene.".into(),
        );
    }
    if report.lightest > limits.lightest {
        add(
            true,
            None,
            format!(
                "the lightest tone is L* {:.1}, above the limit of {:.1}",
                report.lightest, limits.lightest
            ),
            "Darken the lightest parts of the pictures, `air.haze` or `air.glow`.".into(),
        );
    }
    if report.memory as f64 > limits.memory * 1e6 {
        add(
            true,
            None,
            format!(
                "textures take {:.0} MB, above the limit of {:.0}",
                report.memory as f64 / 1e6,
                limits.memory
            ),
            "Render at a smaller scale, shorten periods, or drop a slot's sheet with `fog = false`.".into(),
        );
    }
    if report.overdraw > limits.overdraw {
        add(
            true,
            None,
            format!(
                "{:.1} texels are blended per texel of the view, above the limit of {:.1}",
                report.overdraw, limits.overdraw
            ),
            "Merge slots that are close together, or drop a slot's sheet with `fog = false`.".into(),
        );
    }
    for sheet in &report.sheets {
        if sheet.seam > SEAM {
            add(
                true,
                Some(&sheet.slot),
                format!("its sheet changes {:.1} times as much across its seam as inside", sheet.seam),
                "Give it another `period`.".into(),
            );
        }
        if sheet.band > BAND {
            add(
                true,
                Some(&sheet.slot),
                format!("its sheet shows banding: tiles are off by {:.2} 8-bit steps", sheet.band),
                "Render it with --bits 16.".into(),
            );
        }
        if sheet.repeat < 1.0 {
            add(
                true,
                Some(&sheet.slot),
                format!(
                    "its sheet repeats after {:.2} views: the repeat shows within one frame",
                    sheet.repeat
                ),
                format!("Leave `slot.{}.period` out, or make it longer than the view.", sheet.slot),
            );
        }
    }
    report.passes = findings.iter().all(|finding: &Finding| !finding.fails);
    report.findings = findings;
}

fn percent(share: f64) -> String {
    format!("{:.1} %", share * 100.0)
}

fn worst(slot: &SlotFigures) -> String {
    // Where only a corner of the outline is in view, its share says little.
    let weight = |place: &&super::PlaceFigures| place.after.below * place.points as f64;
    match slot.places.iter().max_by(|a, b| weight(a).total_cmp(&weight(b))) {
        Some(place) if slot.places.len() > 1 => format!(", most of it from camera place {:.0}", place.camera),
        _ => String::new(),
    }
}

fn remedy(slot: &SlotFigures) -> String {
    let name = &slot.slot;
    match &slot.rim {
        None => format!("Give it a rim with `slot.{name}.separation`."),
        Some(rim) if (rim.attainable as f64) < 0.7 * rim.lacking as f64 => format!(
            "The haze is hardly lighter than the picture there: darken the picture, lighten the haze, allow `rim.darken`, raise `rim.most`, \
             or lower `slot.{name}.separation`."
        ),
        Some(_) => format!(
            "Parts of the outline that need different amounts of fog are too close together: lower `rim.spread` or \
             `slot.{name}.separation`, or move the pictures' tones apart."
        ),
    }
}

/// The first place at which lightness turns against the way it runs as a whole.
fn turn(tones: &[(&str, f64)]) -> Option<usize> {
    let (first, last) = (tones.first()?.1, tones.last()?.1);
    let way = if last < first { -1.0 } else { 1.0 };
    tones.windows(2).position(|pair| (pair[1].1 - pair[0].1) * way < -LEVEL)
}

//! From figures to plain words: what breaks a limit, what is worth a look, and what to do about it.

use crate::base::placing::Kind;
use crate::base::units::Camera;
use crate::plan::{Change, End};
use crate::review::check::{Finding, FrameFigures, FrameSlot, Report, SheetFigures, SlotFigures};
use crate::stack::seams::Seam;

/// Change of CIE L* against the run of the others that is not yet called a turn. Chosen by eye.
const LEVEL: f64 = 2.0;

/// Times that a sheet changes across its seam as it does inside, from which the seam shows. Chosen by eye.
const SEAM: f64 = 1.5;

/// Error of a tile's mean, 8-bit steps, from which a sheet shows bands; without dither it is 0.5. Chosen by eye.
const BAND: f64 = 0.3;

/// Least difference of opacity along a row at which the bands of a sheet are seen, 8-bit steps. Chosen by eye.
const SEEN: f64 = 2.0;

/// Share of the lacking outline that a rim must be able to serve for the wish, not the haze, to be the cause. Chosen by eye.
const ATTAINABLE: f64 = 0.7;

/// Fills in the report's findings; `ends` are where pictures end inside the view, `changes` what smaller frames show otherwise, `seams` where
/// pictures repeat without their edges meeting.
pub(super) fn judge(report: &mut Report, ends: &[End], changes: &[Change], seams: &[Seam]) {
    let tones: Vec<(&str, f64)> =
        report.slots.iter().filter_map(|slot| Some((slot.slot.as_str(), slot.tone?))).collect();
    let turn = turn(&tones).map(|at| (tones[at], tones[at + 1]));
    let mut findings: Vec<Finding> = Vec::new();
    for slot in report.slots.iter().filter(|slot| slot.points > 0 && slot.wanted > 0.0) {
        findings.extend(outline(slot, report.limits.below, ends));
        findings.extend(rim(slot));
    }
    findings.extend(turn.map(|(far, near)| Finding {
        fails: report.limits.steady,
        ..failure(
            Some(near.0),
            format!("lightness reverses from {} (L* {:.0}) to {} (L* {:.0})", far.0, far.1, near.0, near.1),
            format!("Repaint one of the two, or mix part of the fog into {} with `tint`.", far.0),
        )
    }));
    let steady = turn.is_none();
    findings.extend(totals(report));
    findings.extend(report.sheets.iter().flat_map(sheet));
    findings.extend(ends.iter().map(end));
    findings.extend(seams.iter().map(seam));
    findings.extend(changes.iter().map(change));
    findings.extend(report.frames.iter().flat_map(|frame| in_frame(frame, report)));
    report.steady = steady;
    report.passes = findings.iter().all(|finding| !finding.fails);
    report.findings = findings;
}

/// A finding that breaks a limit.
fn failure(slot: Option<&str>, message: String, remedy: impl Into<String>) -> Finding {
    Finding { fails: true, slot: slot.map(str::to_owned), message, remedy: remedy.into() }
}

/// An outline too much of which stays under its separation.
fn outline(slot: &SlotFigures, most: f64, ends: &[End]) -> Option<Finding> {
    (slot.after.below > most).then(|| {
        let message = format!(
            "{} of its outline is below a separation of {:.1} L* (limit {}){}",
            percent(slot.after.below),
            slot.wanted,
            percent(most),
            worst(slot),
        );
        let remedy = match ends.iter().find(|end| end.slot == slot.slot && end.kind == Kind::Art) {
            // Where a picture is cut off, no fog is meant to set it off.
            Some(end) => {
                format!("It ends {}: lengthen it or let it repeat first. {}", end.side, remedy(slot))
            }
            None => remedy(slot),
        };
        failure(Some(&slot.slot), message, remedy)
    })
}

/// A rim that changes faster than its sheet.
fn rim(slot: &SlotFigures) -> Option<Finding> {
    let rim = slot.rim?;
    let sheet = rim.sheet_steepest.filter(|sheet| rim.steepest > *sheet)?;
    let message = format!("its rim is up to {:.1} times as steep as its sheet", rim.steepest / sheet);
    let remedy = format!("Raise `rim.spread`, or lower `slot.{}.separation`.", slot.slot);
    Some(Finding { fails: false, ..failure(Some(&slot.slot), message, remedy) })
}

/// The tones, the memory and the overdraw of the whole scene.
fn totals(report: &Report) -> Vec<Finding> {
    let limits = &report.limits;
    let mut findings = Vec::new();
    if report.darkest < limits.darkest {
        let message =
            format!("the darkest tone is L* {:.1}, below the limit of {:.1}", report.darkest, limits.darkest);
        findings.push(failure(None, message, "Raise `floor` at the top of the scene."));
    }
    if report.lightest > limits.lightest {
        let message = format!(
            "the lightest tone is L* {:.1}, above the limit of {:.1}",
            report.lightest, limits.lightest
        );
        findings.push(failure(
            None,
            message,
            "Darken the lightest parts of the pictures, `air.haze` or `air.glow`.",
        ));
    }
    let memory = report.memory as f64 / 1e6;
    if memory > limits.memory {
        let message = format!("textures take {memory:.0} MB, above the limit of {:.0}", limits.memory);
        let remedy = "Render at a smaller scale, shorten periods, or drop a slot's sheet with `fog = false`.";
        findings.push(failure(None, message, remedy));
    }
    if report.overdraw > limits.overdraw {
        let message = format!(
            "{:.1} texels are blended per texel of the view, above the limit of {:.1}",
            report.overdraw, limits.overdraw
        );
        let remedy = "Merge slots that are close together, or drop a slot's sheet with `fog = false`.";
        findings.push(failure(None, message, remedy));
    }
    findings
}

/// A picture that ends inside the view.
fn end(end: &End) -> Finding {
    let message = end.message();
    let remedy = "Make it longer there, let it repeat, or shorten `travel`.";
    Finding { fails: false, ..failure(Some(&end.slot), message, remedy) }
}

/// A picture that repeats without its edges meeting.
fn seam(seam: &Seam) -> Finding {
    let remedy = "Shift it by half its width, so that what leaves on one side comes back on the other, and paint over the seam in its middle.";
    Finding { fails: false, ..failure(Some(&seam.slot), seam.message(), remedy) }
}

/// What a smaller frame shows otherwise.
fn change(change: &Change) -> Finding {
    Finding { fails: false, ..failure(Some(&change.slot), change.told(), change.remedy.as_str()) }
}

/// Outlines that keep their separation in the view and not in a smaller frame.
fn in_frame(frame: &FrameFigures, report: &Report) -> Vec<Finding> {
    let most = report.limits.below;
    let slots = frame.slots.iter().zip(&report.slots);
    let worse = slots.filter(|(here, slot)| {
        slot.wanted > 0.0 && here.points > 0 && here.after.below > most && slot.after.below <= most
    });
    let [width, height] = frame.frame;
    let finding = |(here, slot): (&FrameSlot, &SlotFigures)| {
        let message = format!(
            "at {width} x {height}, {} of its outline is below a separation of {:.1} L* (limit {}); in the view {}",
            percent(here.after.below),
            slot.wanted,
            percent(most),
            percent(slot.after.below),
        );
        let remedy = "The smaller frame moves it before other backgrounds. Lengthen `travel` to what that frame needs, so that rims are solved \
             there too, or lower its `separation`.";
        failure(Some(&slot.slot), message, remedy)
    };
    worse.map(finding).collect()
}

/// What shows of a sheet's making.
fn sheet(sheet: &SheetFigures) -> Vec<Finding> {
    let mut findings = Vec::new();
    if sheet.seam > SEAM {
        let message = format!("its sheet changes {:.1} times as much across its seam as inside", sheet.seam);
        findings.push(failure(Some(&sheet.slot), message, "Give it another `period`."));
    }
    if sheet.band > BAND {
        let message = format!("its sheet shows banding: tiles are off by {:.2} 8-bit steps", sheet.band);
        findings.push(failure(Some(&sheet.slot), message, "Render it with --bits 16."));
    }
    if sheet.variation < SEEN {
        let message = format!(
            "its fog is even: its opacity differs by at most {:.1} 8-bit steps along a row, so its bands can't be seen",
            sheet.variation
        );
        let remedy =
            "Raise `grade.thickness`, lower `air.visibility`, or blur it less, unless it is meant so.";
        findings.push(Finding { fails: false, ..failure(Some(&sheet.slot), message, remedy) });
    }
    if sheet.repeat < 1.0 {
        let message =
            format!("its sheet repeats after {:.2} views: the repeat shows within one frame", sheet.repeat);
        let remedy = format!("Leave `slot.{}.period` out, or make it longer than the view.", sheet.slot);
        findings.push(failure(Some(&sheet.slot), message, remedy));
    }
    findings
}

fn percent(share: f64) -> String {
    format!("{:.1} %", share * 100.0)
}

fn worst(slot: &SlotFigures) -> String {
    // Where only a corner of the outline is in view, its share says little.
    let weight = |place: &&super::PlaceFigures| place.after.below * place.points as f64;
    match slot.places.iter().max_by(|a, b| weight(a).total_cmp(&weight(b))) {
        Some(place) if slot.places.len() > 1 => {
            let Camera { right, down } = place.camera;
            format!(", most of it from camera place {}", Camera::new(right.0.round(), down.0.round()))
        }
        _ => String::new(),
    }
}

fn remedy(slot: &SlotFigures) -> String {
    let name = &slot.slot;
    match &slot.rim {
        None => format!("Give it a rim with `slot.{name}.separation`."),
        Some(rim) if (rim.attainable as f64) < ATTAINABLE * rim.lacking as f64 => format!(
            "The haze is hardly lighter than the art there: darken the art, lighten the haze, allow `rim.darken`, raise `rim.most`, \
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

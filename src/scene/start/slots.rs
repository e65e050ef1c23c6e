//! What a painting's layers become as slots: names, depths, and what repeats.

use crate::base::names::folded;
use crate::scene::is_slot_name;
use crate::scene::layered::AGAIN;
use crate::scene::start::painting::Painted;
use std::collections::{BTreeMap, BTreeSet};

/// A slot to be written.
pub(super) struct Slot<'a> {
    pub name: String,
    pub depth: Option<f64>,
    /// The layer with its picture; none for a slot that only has fog.
    pub layer: Option<&'a Painted>,
    /// Distance at which its art stands again, px.
    pub again: Option<f64>,
    pub fog: bool,
    /// The layer that is its sheet as it is.
    pub sheet: Option<&'a Painted>,
    /// Distance at which that stands again, px.
    pub sheet_again: Option<f64>,
    /// The layer whose strokes become its fog.
    pub strokes: Option<&'a Painted>,
    /// Whether its art gets a rim.
    pub rim: bool,
}

/// Takes the further places of what repeats out of the layers, since they are drawn again; gives the distance by layer.
pub(super) fn take_repeats(layers: &mut Vec<&Painted>) -> BTreeMap<String, f64> {
    let names: BTreeSet<&str> = layers.iter().map(|layer| layer.name.as_str()).collect();
    let mut again = BTreeMap::new();
    layers.retain(|layer| {
        let said =
            layer.name.as_str().rsplit_once(AGAIN).and_then(|(name, far)| Some((name, far.parse().ok()?)));
        let said = said.filter(|(name, far)| names.contains(name) && (1.0..=1e7).contains(far));
        said.is_none_or(|(name, far): (&str, f64)| {
            again.insert(name.to_owned(), far);
            false
        })
    });
    again
}

/// A name that files can be called after, like none before it.
pub(super) fn fitting(name: &str, taken: &mut BTreeSet<String>) -> String {
    let mut plain = name.to_owned();
    if !is_slot_name(&plain) {
        let bad = |c: char| c.is_control() || r#"/\<>:"|?*"#.contains(c);
        plain = name.chars().map(|c| if bad(c) { '-' } else { c }).take(40).collect();
        plain = plain.trim_matches(|c: char| c == '.' || c.is_whitespace()).replace('.', "-");
        if plain.is_empty() {
            plain = "layer".to_owned();
        }
        // It means a device on some system, or is still too long.
        if !is_slot_name(&plain) {
            plain = format!("{}-layer", plain.chars().take(20).collect::<String>());
        }
    }
    let mut fit = plain.clone();
    let mut count = 1;
    while !taken.insert(folded(&fit)) {
        count += 1;
        fit = format!("{plain}-{count}");
    }
    fit
}

/// A depth for every slot, far to near: as its layer says, else spaced evenly in pan rates between those that say it, the nearest on
/// the play plane, the farthest a share of one that none reaches.
pub(super) fn depths(slots: &[Slot<'_>], camera: f64, notes: &mut Vec<String>) -> Vec<f64> {
    let rate = |depth: f64| camera / (camera + depth);
    let mut rates: Vec<Option<f64>> = Vec::new();
    for slot in slots {
        let depth = slot.depth.filter(|depth| *depth > -camera && depth.abs() <= 1e9);
        if depth != slot.depth {
            notes.push(format!("{}: its depth is out of range and was ignored", slot.name));
        }
        rates.push(depth.map(rate));
    }
    let mut depths = Vec::with_capacity(slots.len());
    let mut at = 0;
    while at < slots.len() {
        if let (Some(_), Some(depth)) = (rates[at], slots[at].depth) {
            depths.push(depth);
            at += 1;
            continue;
        }
        let run = rates[at..].iter().take_while(|rate| rate.is_none()).count();
        let before = at.checked_sub(1).and_then(|at| rates[at]);
        let after = rates.get(at + run).copied().flatten();
        for step in 1..=run {
            let share = |parts: usize| step as f64 / parts as f64;
            let rate = match (before, after) {
                (None, None) => share(run),
                (None, Some(after)) => after * share(run + 1),
                (Some(before), Some(after)) => before + (after - before) * share(run + 1),
                (Some(before), None) if before < 1.0 => before + (1.0 - before) * share(run),
                (Some(before), None) => before * (1.0 + 0.15 * step as f64),
            };
            depths.push((camera * (1.0 / rate - 1.0) * 10.0).round() / 10.0);
        }
        at += run;
    }
    // Slots of one depth are told apart by name; the painter's order is kept.
    for at in 1..depths.len() {
        if depths[at] == depths[at - 1] {
            depths[at] -= 1e-3 * (1.0 + depths[at].abs() * 1e-3);
        } else if depths[at] > depths[at - 1] {
            notes.push(format!(
                "{}: its depth puts it behind {}, although it is painted over it; the depth is used",
                slots[at].name,
                slots[at - 1].name
            ));
        }
    }
    depths
}

#[cfg(test)]
mod tests {
    use super::*;

    fn slot(depth: Option<f64>) -> Slot<'static> {
        Slot {
            name: "s".into(),
            depth,
            layer: None,
            again: None,
            fog: true,
            sheet: None,
            sheet_again: None,
            strokes: None,
            rim: true,
        }
    }

    #[test]
    fn depths_are_spaced_between_those_given() {
        let mut notes = Vec::new();
        let all = depths(&[slot(None), slot(None), slot(None), slot(None)], 600.0, &mut notes);
        // Pan rates 1/4, 2/4, 3/4, 1.
        assert_eq!(all, [1800.0, 600.0, 200.0, 0.0]);
        let some =
            depths(&[slot(Some(1800.0)), slot(None), slot(Some(200.0)), slot(None)], 600.0, &mut notes);
        assert_eq!(some, [1800.0, 600.0, 200.0, 0.0]);
        let front = depths(&[slot(None), slot(Some(-100.0)), slot(None)], 600.0, &mut notes);
        assert!(front[0] > 0.0 && front[2] < -100.0 && front[2] > -600.0, "{front:?}");
        assert!(notes.is_empty());
        let same = depths(&[slot(Some(5.0)), slot(Some(5.0)), slot(Some(9.0))], 600.0, &mut notes);
        assert!(same[1] < same[0]);
        assert_eq!(notes.len(), 1);
    }

    #[test]
    fn names_become_fit_for_files() {
        let mut taken = BTreeSet::new();
        let mut fit = |name: &str| fitting(name, &mut taken);
        assert_eq!(fit("reeds"), "reeds");
        assert_eq!(fit("Reeds"), "Reeds-2");
        assert_eq!(fit("a/b:c"), "a-b-c");
        assert_eq!(fit("x.fog"), "x-fog");
        assert_eq!(fit(" . "), "layer");
        assert_eq!(fit("COM1"), "COM1-layer");
    }
}

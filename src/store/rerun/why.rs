//! Why an output is made again, in the words of the scene's keys.

use crate::scene::read::Reading;
use crate::scene::recipe::layers::{Layer, Resolved};
use std::collections::BTreeMap;

/// Settings as text, by the path of their key. Under `plan.` stands what follows from others, such as the length of air.
pub type Settings = BTreeMap<String, String>;

/// Marks what follows from other settings, which is named only where nothing else changed.
const DERIVED: &str = "plan.";

/// Marks a layer of the still.
pub(super) const LAYER: &str = "layer ";

/// The key of the picture's content.
pub(super) const PICTURE: &str = "plan.picture";

/// The length of air that a sheet stands for.
const GAP: &str = "plan.gap";

/// The key of the content of what is drawn into a sheet.
pub(super) const STROKES: &str = "plan.strokes";

/// The key of the content of a picture that is a sheet.
pub(super) const SHEET: &str = "plan.sheet";

/// Most changes that are named.
const MOST: usize = 3;

/// Everything that a scene sets, for naming what changed.
#[derive(Clone, Debug, Default)]
pub struct SceneSettings {
    /// The scene's and its air's.
    pub facts: Settings,
    /// Each slot's.
    pub slots: BTreeMap<String, Settings>,
}

impl SceneSettings {
    /// What `reading` sets.
    pub fn of(reading: &Reading) -> SceneSettings {
        // What nobody set follows from the rest.
        let key = |path: &str, who: &Layer| match who {
            Layer::Default => format!("{DERIVED}{path}"),
            _ => path.to_owned(),
        };
        let text = |resolved: &Resolved| -> Settings {
            let all = resolved.settings.iter();
            all.map(|(path, setting)| (key(path, &setting.layer), setting.value.to_string())).collect()
        };
        let names = reading.scene.slots.iter().map(|slot| slot.name.clone());
        SceneSettings {
            facts: text(&reading.facts),
            slots: names.zip(reading.slots.iter().map(text)).collect(),
        }
    }

    /// The settings that can change a slot's output, as far as `wanted` says of each key.
    pub(super) fn pick(&self, slot: &str, wanted: impl Fn(&str) -> bool) -> Settings {
        let own = self.slots.get(slot).into_iter().flatten();
        let all = self.facts.iter().chain(own);
        let all = all.filter(|(key, _)| wanted(key.strip_prefix(DERIVED).unwrap_or(key)));
        all.map(|(key, value)| (key.clone(), value.clone())).collect()
    }
}

/// What differs between two makings of an output: `smear.length 220 -> 260`.
pub fn why(old: &Settings, new: &Settings) -> String {
    if old.is_empty() {
        return "its inputs changed".to_owned();
    }
    match [old, new].map(|settings| settings.contains_key(SHEET)) {
        [false, true] => return "a picture is its sheet now".to_owned(),
        [true, false] => return "no picture is its sheet any more".to_owned(),
        _ => {}
    }
    let keys: std::collections::BTreeSet<&String> = old.keys().chain(new.keys()).collect();
    let changed: Vec<&String> = keys.into_iter().filter(|key| old.get(*key) != new.get(*key)).collect();
    let (derived, direct): (Vec<&String>, Vec<&String>) =
        changed.into_iter().partition(|key| key.starts_with(DERIVED));
    // Own numbers before the layers that something is made from.
    let (layers, own): (Vec<&String>, Vec<&String>) =
        direct.into_iter().partition(|key| key.starts_with(LAYER));
    let direct = [own, layers].concat();
    let contents = [
        (PICTURE, "its picture changed"),
        (STROKES, "its strokes changed"),
        (SHEET, "the picture that is its sheet changed"),
    ];
    let mut parts: Vec<String> = direct.iter().map(|key| change(key, old, new)).collect();
    // A preset brings many numbers along; it is the cause.
    if let Some(at) = direct.iter().position(|key| *key == "slot.preset") {
        let cause = parts.remove(at);
        parts.insert(0, cause);
    }
    for (_, text) in contents.iter().filter(|(content, _)| derived.iter().any(|key| key == content)) {
        parts.insert(0, (*text).to_owned());
    }
    if parts.is_empty() {
        parts = derived.iter().map(|key| change(key, old, new)).collect();
        // Depths of air follow from the gap's length.
        if let Some(at) = derived.iter().position(|key| *key == GAP) {
            parts[..=at].rotate_right(1);
        }
    }
    match parts.len() {
        0 => "its inputs changed".to_owned(),
        count if count > MOST + 1 => format!("{} and {} more", parts[..MOST].join(", "), count - MOST),
        _ => parts.join(", "),
    }
}

fn change(key: &str, old: &Settings, new: &Settings) -> String {
    if let Some(path) = key.strip_prefix(LAYER) {
        return match (old.get(key), new.get(key)) {
            (None, _) => format!("{path} is new"),
            (_, None) => format!("{path} is gone"),
            _ => format!("{path} changed"),
        };
    }
    let name = key.strip_prefix(DERIVED).unwrap_or(key);
    let derived = format!("{DERIVED}{name}");
    let text = |settings: &Settings| {
        let value = settings.get(name).or_else(|| settings.get(&derived));
        value.map_or_else(|| "default".to_owned(), Clone::clone)
    };
    format!("{name} {} -> {}", text(old), text(new))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn settings(pairs: &[(&str, &str)]) -> Settings {
        pairs.iter().map(|(key, value)| ((*key).to_owned(), (*value).to_owned())).collect()
    }

    #[test]
    fn the_number_that_changed_is_named() {
        let old = settings(&[("smear.length", "220"), ("plan.gap", "1"), ("air.light", "3")]);
        let new = settings(&[("smear.length", "260"), ("plan.gap", "2"), ("air.light", "3")]);
        assert_eq!(why(&old, &new), "smear.length 220 -> 260");
    }

    #[test]
    fn what_follows_is_named_where_nothing_else_is() {
        let (old, new) = (settings(&[("plan.gap", "1")]), settings(&[("plan.gap", "2")]));
        assert_eq!(why(&old, &new), "gap 1 -> 2");
        let old = settings(&[("plan.depth", "1"), ("plan.gap", "1")]);
        let new = settings(&[("plan.depth", "3"), ("plan.gap", "2")]);
        assert_eq!(why(&old, &new), "gap 1 -> 2, depth 1 -> 3");
        let (old, new) = (settings(&[("layer a.fog.png", "1")]), settings(&[("layer b.fog.png", "1")]));
        assert_eq!(why(&old, &new), "a.fog.png is gone, b.fog.png is new");
        let (old, new) = (settings(&[("plan.sky", "1")]), settings(&[("sky", "4")]));
        assert_eq!(why(&old, &new), "sky 1 -> 4");
        assert_eq!(why(&Settings::new(), &new), "its inputs changed");
    }

    #[test]
    fn a_preset_is_named_before_its_numbers() {
        let old = settings(&[
            ("bands.gain", "1"),
            ("bands.size", "1"),
            ("bands.warp", "1"),
            ("slot.preset", "\"a\""),
            ("smear.angle", "0"),
        ]);
        let new = settings(&[
            ("bands.gain", "2"),
            ("bands.size", "2"),
            ("bands.warp", "2"),
            ("slot.preset", "\"b\""),
            ("smear.angle", "1"),
        ]);
        assert_eq!(
            why(&old, &new),
            "slot.preset \"a\" -> \"b\", bands.gain 1 -> 2, bands.size 1 -> 2 and 2 more"
        );
    }
}

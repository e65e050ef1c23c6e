//! Every key that a scene or preset file may hold: kind, range, unit, default and meaning, in one table.
//!
//! Reading, overriding, near names and defaults all follow this table, so a new key is one new row.

mod entries;
mod syntax;
mod table;
mod value;
mod words;

pub(crate) use entries::{Base, Entries, Entry, Place, Reader, find_general};
pub use table::KEYS;
pub use value::Value;
pub(crate) use words::shown;

/// Names of the five step tables, in the order in which the steps work.
pub const STEPS: [&str; 5] = ["bands", "falloff", "smear", "soften", "grade"];

/// Names of the scene's own tables.
pub(crate) const TABLES: [(&str, Section); 5] = [
    ("air", Section::Air),
    ("rim", Section::Rim),
    ("check", Section::Check),
    ("texture", Section::Texture),
    ("light", Section::Light),
];

/// The word for a haze that is taken from the farthest picture.
pub(crate) const SAMPLED: &str = "sampled";

/// Where a key stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Section {
    /// At the top of a scene file.
    Scene,
    /// In a scene's `[air]`.
    Air,
    /// In a scene's `[texture]`.
    Texture,
    /// In a scene's `[rim]`.
    Rim,
    /// In a scene's `[check]`.
    Check,
    /// In the step table of this name: at the top of a scene or preset file, or in a slot.
    Step(&'static str),
    /// In a scene's `[light]`.
    Light,
    /// In a `[[slot]]`.
    Slot,
    /// In a `[[slot.place]]`.
    Place,
    /// In a `[[lamp]]`.
    Lamp,
    /// At the top of a preset file.
    Preset,
}

/// What a key takes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Kind {
    /// A number from `min` to `max`; also `inf` if `endless`.
    Number {
        /// The least.
        min: f64,
        /// The most.
        max: f64,
        /// Whether `inf` is taken too.
        endless: bool,
    },
    /// A whole number from `min` to `max`.
    Whole {
        /// The least.
        min: i64,
        /// The most.
        max: i64,
    },
    /// `true` or `false`.
    Flag,
    /// `true`, `false`, or a number from `min` to `max`.
    FlagOrNumber {
        /// The least.
        min: f64,
        /// The most.
        max: f64,
    },
    /// Two numbers, each from `min` to `max`.
    Pair {
        /// The least.
        min: f64,
        /// The most.
        max: f64,
    },
    /// A number for the first of two directions, the second being 0, or one for each; from `min` to `max`.
    NumberOrPair {
        /// The least.
        min: f64,
        /// The most.
        max: f64,
    },
    /// Points of a curve along the travel, each a place and a factor; the places rise.
    Points {
        /// Least and greatest place.
        place: [f64; 2],
        /// Greatest factor; the least is 0.
        most: f64,
    },
    /// A list of pairs of numbers, each from `min` to `max`; at most `most` pairs.
    Pairs {
        /// The least.
        min: f64,
        /// The most.
        max: f64,
        /// Most pairs.
        most: usize,
    },
    /// A line of text.
    Text,
    /// A name that outputs are called after; must be fit for a file.
    Name,
    /// The name of a preset.
    Preset,
    /// A picture's path, from the scene's folder.
    Path,
    /// An sRGB colour as `#rgb` or `#rrggbb`.
    Colour,
    /// A texture's size: a word, or `error:` and a number of 8-bit steps.
    Fit,
    /// An sRGB colour, or this word.
    ColourOr(&'static str),
    /// One of these words.
    Choice(&'static [&'static str]),
}

/// What holds where a key isn't given.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Fallback {
    /// The key must be given.
    Required,
    /// This value, as TOML.
    Literal(&'static str),
    /// What these words say.
    Words(&'static str),
    /// A share of the view's width (0) or height (1); in words.
    OfView(usize, f64, &'static str),
    /// A share of the view's height where the camera is lowest; in words.
    OfLowestView(f64, &'static str),
    /// What holds for the key at this path; in words.
    Like(&'static str, &'static str),
}

/// One key.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Key {
    /// Its path: `travel`, `air.haze`, `falloff.height`, `slot.depth`, `preset.title`.
    pub path: &'static str,
    /// What it takes.
    pub kind: Kind,
    /// Unit in words; empty for shares, names and the like.
    pub unit: &'static str,
    /// What holds where it isn't given.
    pub fallback: Fallback,
    /// What it does, in one line.
    pub about: &'static str,
}

impl Key {
    /// Where the key stands.
    pub fn section(&self) -> Section {
        match self.path.split_once('.') {
            None => Section::Scene,
            Some(("air", _)) => Section::Air,
            Some(("texture", _)) => Section::Texture,
            Some(("rim", _)) => Section::Rim,
            Some(("check", _)) => Section::Check,
            Some(("light", _)) => Section::Light,
            Some(("slot", _)) => Section::Slot,
            Some(("place", _)) => Section::Place,
            Some(("lamp", _)) => Section::Lamp,
            Some(("preset", _)) => Section::Preset,
            Some((step, _)) => Section::Step(step),
        }
    }

    /// The key's own name, without its table.
    pub fn name(&self) -> &'static str {
        self.path.rsplit_once('.').map_or(self.path, |(_, name)| name)
    }

    /// The default, if it is a fixed value.
    pub fn default(&self) -> Option<Value> {
        match self.fallback {
            Fallback::Literal(text) => self.parse(text).ok(),
            _ => None,
        }
    }

    /// The default of a key that follows the view, where that is given, and the travel.
    pub(crate) fn of_view(&self, view: Option<&Value>, travel: Option<&Value>) -> Option<Value> {
        let down = match travel {
            Some(Value::Pair([_, down])) => *down,
            _ => 0.0,
        };
        match (self.fallback, view?) {
            (Fallback::OfView(axis, share, _), Value::Pair(view)) => Some(Value::Number(share * view[axis])),
            (Fallback::OfLowestView(share, _), Value::Pair(view)) => {
                Some(Value::Number(share * view[1] + down))
            }
            _ => None,
        }
    }

    /// Whether the key is a number of one of the five steps.
    pub fn is_step(&self) -> bool {
        matches!(self.section(), Section::Step(_))
    }
}

/// The path of a key that the code names: one that the table hasn't doesn't compile.
macro_rules! key {
    ($path:literal) => {
        const { $crate::scene::keys::path($path) }
    };
}
pub(crate) use key;

/// `wanted`, which must be a path of the table.
pub(crate) const fn path(wanted: &str) -> &'static str {
    let (mut at, wanted) = (0, wanted.as_bytes());
    while at < KEYS.len() {
        let (path, mut same) = (KEYS[at].path.as_bytes(), 0);
        while same < path.len() && same < wanted.len() && path[same] == wanted[same] {
            same += 1;
        }
        if same == path.len() && same == wanted.len() {
            return KEYS[at].path;
        }
        at += 1;
    }
    panic!("no key of the table")
}

/// The key at `path`.
pub fn find(path: &str) -> Option<&'static Key> {
    KEYS.iter().find(|key| key.path == path)
}

/// The keys of a section, in the table's order.
pub fn of(section: Section) -> impl Iterator<Item = &'static Key> + Clone {
    KEYS.iter().filter(move |key| key.section() == section)
}

/// The candidate that `word` is most likely a slip of, if any comes close.
///
/// Distance is that of Damerau and Levenshtein without regard to case, `-` or `_`; up to a third of the
/// word may differ.
pub fn near<'a>(word: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    // No key or name in use is that long; the distance is quadratic.
    if word.len() > 120 {
        return None;
    }
    let plain = |text: &str| {
        text.to_lowercase().chars().filter(|c| !matches!(c, '-' | '_' | ' ')).collect::<String>()
    };
    let wanted = plain(word);
    let most = (wanted.chars().count() / 3).max(1);
    candidates
        .into_iter()
        .filter(|candidate| candidate.len() <= 160)
        .map(|candidate| (strsim::damerau_levenshtein(&wanted, &plain(candidate)), candidate))
        .filter(|(distance, candidate)| *distance <= most && *distance < candidate.chars().count())
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, candidate)| candidate)
}

/// What to do about a name that isn't among `names`: the one that was meant, else all there are (the first 40 of many).
pub fn instead<'a>(name: &str, names: impl Iterator<Item = &'a str> + Clone) -> String {
    const MOST: usize = 40;
    if let Some(near) = near(name, names.clone()) {
        return format!("Did you mean {}?", shown(near));
    }
    let mut some: Vec<String> = names.clone().take(MOST).map(shown).collect();
    match names.count().saturating_sub(MOST) {
        0 if some.is_empty() => return "There are none.".to_owned(),
        0 => {}
        more => some.push(format!("and {more} more")),
    }
    format!("There are: {}.", some.join(", "))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn paths_are_unique_and_belong_to_known_tables() {
        let mut seen = BTreeSet::new();
        for key in KEYS {
            assert!(seen.insert(key.path), "{} stands twice", key.path);
            if let Section::Step(step) = key.section() {
                assert!(STEPS.contains(&step), "{}", key.path);
            }
            assert!(key.about.ends_with('.') && key.about.len() < 140, "{}", key.path);
        }
    }

    #[test]
    fn every_fixed_default_lies_in_its_own_range() {
        for key in KEYS {
            if let Fallback::Literal(text) = key.fallback {
                assert!(key.parse(text).is_ok(), "{} = {text}", key.path);
            }
        }
    }

    #[test]
    fn every_step_number_has_a_fixed_default() {
        for key in KEYS.iter().filter(|key| key.is_step()) {
            assert!(key.default().is_some(), "{}", key.path);
        }
    }

    #[test]
    fn near_names_survive_slips_but_not_other_words() {
        assert_eq!(near("hieght", ["height", "beyond"]), Some("height"));
        assert_eq!(near("Radiation_Fog", ["radiation-fog", "steam-fog"]), Some("radiation-fog"));
        assert_eq!(near("elephant", ["height", "beyond"]), None);
        assert_eq!(near("x", ["y"]), None);
        assert_eq!(near(&"h".repeat(100_000), ["height"]), None);
    }

    #[test]
    fn an_unknown_name_is_told_what_there_is_instead() {
        assert_eq!(instead("resds", ["reeds", "mid"].into_iter()), "Did you mean \"reeds\"?");
        assert_eq!(instead("elephant", ["reeds", "mid"].into_iter()), "There are: \"reeds\", \"mid\".");
        assert_eq!(instead("elephant", std::iter::empty()), "There are none.");
        let many: Vec<String> = (0..50).map(|at| format!("slot-number-{at}")).collect();
        assert!(instead("elephant", many.iter().map(String::as_str)).ends_with(", and 10 more."));
    }
}

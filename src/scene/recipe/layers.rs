//! Layers of numbers: what wins, and who set each.

use crate::base::fault::{Class, Fault, Faults, Result};
use crate::base::units::Px;
use crate::scene::keys::{KEYS, Value};
use crate::steps::recipe::{Numbers, Recipe};
#[cfg(feature = "scene")]
use serde::de::DeserializeOwned;
use std::collections::BTreeMap;
use std::fmt;

/// Who set a number; a later one wins over all before it.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Layer {
    /// Nobody: the table of keys.
    Default,
    /// The preset of this name.
    Preset(String),
    /// A file that the scene builds on, for all slots or for the slot, by its path from the scene's folder; with its mood, where that gives it.
    Base(String),
    /// The scene, for all slots.
    Scene,
    /// The slot.
    Slot,
    /// The mood of this name, in the scene's or the slot's place.
    Mood(String),
    /// The command line.
    CommandLine,
}

impl fmt::Display for Layer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Layer::Default => f.write_str("default"),
            Layer::Preset(name) => write!(f, "preset {name}"),
            Layer::Base(path) => f.write_str(path),
            Layer::Scene => f.write_str("scene"),
            Layer::Slot => f.write_str("slot"),
            Layer::Mood(name) => write!(f, "mood {name}"),
            Layer::CommandLine => f.write_str("command line"),
        }
    }
}

/// A value and who set it.
#[derive(Clone, Debug, PartialEq)]
pub struct Setting {
    /// The value.
    pub value: Value,
    /// The layer that set it.
    pub layer: Layer,
}

/// Values by the path of their key, each with who set it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Resolved {
    /// The settings; for a recipe, every number of the five steps.
    pub settings: BTreeMap<&'static str, Setting>,
}

impl Resolved {
    /// Every number of the five steps at its default.
    pub fn defaults() -> Resolved {
        let mut resolved = Resolved::default();
        for key in KEYS.iter().filter(|key| key.is_step()) {
            if let Some(value) = key.default() {
                resolved.set(key.path, value, Layer::Default);
            }
        }
        resolved
    }

    /// Sets a value.
    pub fn set(&mut self, path: &'static str, value: Value, layer: Layer) {
        self.settings.insert(path, Setting { value, layer });
    }

    /// The value at `path`.
    pub fn value(&self, path: &str) -> Option<&Value> {
        self.settings.get(path).map(|setting| &setting.value)
    }

    /// The layer that set the value at `path`.
    pub fn layer(&self, path: &str) -> Option<&Layer> {
        self.settings.get(path).map(|setting| &setting.layer)
    }

    /// Sets a value that nobody has set.
    pub(crate) fn fill(&mut self, path: &'static str, value: Value, layer: Layer) {
        self.settings.entry(path).or_insert(Setting { value, layer });
    }

    /// The recipe that the numbers of the five steps make.
    ///
    /// # Errors
    /// If a number of the five steps is missing, which [`Resolved::defaults`] rules out.
    pub fn recipe(&self) -> Result<Recipe<Px>> {
        Recipe::read(self)
    }

    /// The value at `path`, as `take` has it.
    pub(crate) fn need<'a, T>(&'a self, path: &str, take: impl FnOnce(&'a Value) -> Option<T>) -> Result<T> {
        self.value(path).and_then(take).ok_or_else(|| {
            Fault::new(Class::Scene, format!("There is no value for `{path}`, or none of its kind")).into()
        })
    }

    /// The values as what `T` takes in, by the names of their keys: those of a slot, a place or a lamp, and of the scene itself, at the
    /// top, all others in the tables that they have in files.
    #[cfg(feature = "scene")]
    pub(crate) fn read<T: DeserializeOwned>(&self, what: &str) -> Result<T> {
        let mut tables = toml::Table::new();
        for (path, setting) in &self.settings {
            let (table, name) = path.split_once('.').unwrap_or(("", path));
            let own = match table {
                "" | "slot" | "place" | "lamp" => Some(&mut tables),
                table => tables.entry(table).or_insert_with(|| toml::Table::new().into()).as_table_mut(),
            };
            own.and_then(|own| own.insert(name.to_owned(), setting.value.plain()));
        }
        T::deserialize(tables).map_err(|error| {
            Fault::new(Class::Scene, format!("The {what} is incomplete: {}", error.message())).into()
        })
    }
}

impl Numbers for Resolved {
    type Missing = Faults;

    fn number(&self, path: &'static str) -> Result<f64> {
        self.need(path, |value| match value {
            Value::Number(number) => Some(*number),
            Value::Whole(number) => Some(*number as f64),
            _ => None,
        })
    }

    fn word(&self, path: &'static str) -> Result<&str> {
        self.need(path, Value::text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::steps::recipe::Noise;

    #[test]
    fn defaults_make_a_whole_recipe() {
        let recipe = Resolved::defaults().recipe().expect("defaults are complete");
        assert_eq!(recipe.bands.kind, Noise::Smooth);
        assert_eq!(recipe.bands.octaves, 5);
        assert_eq!(recipe.falloff.beyond, Px(f64::INFINITY));
    }

    #[test]
    fn a_missing_number_is_a_fault_and_no_panic() {
        let mut resolved = Resolved::defaults();
        resolved.settings.remove("smear.length");
        let faults = resolved.recipe().expect_err("a number is missing");
        assert!(faults.list[0].message.contains("length"), "{}", faults.list[0].message);
    }

    #[test]
    fn a_later_layer_wins_and_is_remembered() {
        let mut resolved = Resolved::defaults();
        resolved.set("smear.length", Value::Number(80.0), Layer::Scene);
        resolved.set("smear.length", Value::Number(90.0), Layer::Slot);
        assert_eq!(resolved.recipe().expect("complete").smear.length, Px(90.0));
        assert_eq!(resolved.layer("smear.length"), Some(&Layer::Slot));
        assert_eq!(resolved.layer("smear.angle"), Some(&Layer::Default));
        assert_eq!(Layer::Preset("mist".into()).to_string(), "preset mist");
    }
}

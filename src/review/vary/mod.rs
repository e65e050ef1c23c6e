//! Variations of one slot in its scene: other seeds, or one number along a range.

mod pick;

pub use pick::picked;

use crate::base::fault::{Class, Fault, Result};
use crate::base::units::{Camera, Px};
use crate::plan::{Plan, haze};
use crate::review::contact::{Contact, Mount};
use crate::scene::keys::{self, Key, Kind, Value, key, near, shown};
use crate::scene::pictures::Pictures;
use crate::scene::read::{self, Reading};
use crate::scene::{Slot, Source};
use crate::store::cache::Store;
use crate::store::maker::Maker;
use rayon::prelude::*;

/// Most bytes of layers that are held for the next variations: many tiles' worth; chosen by eye.
const SPARE: usize = 64 << 20;

/// What varies: a key of the slot and the values that it takes.
#[derive(Clone, Debug, PartialEq)]
pub struct Along {
    /// The key.
    pub key: &'static Key,
    /// Its values.
    pub values: Vec<Value>,
    /// The value that the scene gives now, if it gives one.
    pub now: Option<Value>,
}

impl Along {
    /// Other seeds: the slot's seed as it is, and the numbers after it.
    ///
    /// # Errors
    /// Class `Usage`: the scene has no such slot.
    pub fn seeds(reading: &Reading, slot: &str, count: u32) -> Result<Along> {
        let settings = &reading.slots[place(reading, slot)?];
        made(reading, slot)?;
        let now = settings.value(key!("slot.seed")).or_else(|| reading.facts.value(key!("seed")));
        let first = match now {
            Some(Value::Whole(seed)) => *seed,
            _ => 1,
        };
        let values =
            (0..i64::from(count)).map(|step| Value::Whole(first.wrapping_add(step) & i64::MAX)).collect();
        Ok(Along { key: known(key!("slot.seed"))?, values, now: Some(Value::Whole(first)) })
    }

    /// One number of the slot, as `KEY=FROM..TO`: both ends and even steps between.
    ///
    /// # Errors
    /// Class `Usage`: no such slot or number, or an end out of the number's range.
    pub fn numbers(reading: &Reading, slot: &str, text: &str, count: u32) -> Result<Along> {
        let argument = |message: String, remedy: String| {
            Fault::new(Class::Usage, message).in_file(format!("--along {text}")).remedy(remedy)
        };
        let form = "Write KEY=FROM..TO, as in soften.sigma=8..40.";
        let parts = text.split_once('=').and_then(|(key, range)| Some((key.trim(), range.split_once("..")?)));
        let Some((name, (from, to))) = parts else {
            return Err(argument("this is not a range of a number".into(), form.into()).into());
        };
        let settings = &reading.slots[place(reading, slot)?];
        let key = number_of_slot(name).ok_or_else(|| {
            let numbers = keys::KEYS.iter().filter(|key| is_number(key)).map(|key| key.path);
            let remedy =
                near(name, numbers).map_or(form.to_owned(), |near| format!("Did you mean `{near}`?"));
            argument(format!("a slot has no number {}", shown(name)), remedy)
        })?;
        if key.is_step() {
            made(reading, slot)?;
        }
        let end = |text: &str| {
            let value = key.parse(text).map_err(|wrong| argument(wrong.message, wrong.remedy))?;
            match value {
                Value::Number(number) if number.is_finite() => Ok(number),
                Value::Whole(whole) => Ok(whole as f64),
                _ => Err(argument(format!("`{}` can't be {text} here", key.path), form.into())),
            }
        };
        let (from, to) = (end(from)?, end(to)?);
        let step = |at: u32| from + (to - from) * f64::from(at) / f64::from(count - 1);
        let mut values: Vec<Value> = (0..count)
            .map(|at| match key.kind {
                Kind::Whole { .. } => Value::Whole(step(at).round() as i64),
                _ => Value::Number(rounded(step(at), (to - from).abs())),
            })
            .collect();
        values.dedup();
        Ok(Along { key, values, now: settings.value(key.path).cloned() })
    }

    /// The variation's number and value, as a label.
    pub fn label(&self, at: usize) -> (String, String) {
        let word = if self.now.as_ref() == Some(&self.values[at]) { "as it is" } else { "" };
        (format!("{}  {} {}", at + 1, self.name(), self.values[at]), word.to_owned())
    }

    /// The key as it stands in a slot.
    pub fn name(&self) -> &'static str {
        self.key.path.strip_prefix("slot.").unwrap_or(self.key.path)
    }
}

/// Whether a slot's sheet is made, so that its seed and its recipe change it.
fn made(reading: &Reading, slot: &str) -> Result<()> {
    let is_picture = |own: &Slot| own.name == slot && own.sheet.is_some();
    if !reading.scene.slots.iter().any(is_picture) {
        return Ok(());
    }
    let message =
        format!("the sheet of {} is a picture, which neither a seed nor the recipe changes", shown(slot));
    Err(Fault::new(Class::Usage, message).remedy("Vary another slot, or leave out its `sheet`.").into())
}

/// Draws the scene once for each variation of `slot`, at camera place `camera`, in tiles `width` texels wide.
///
/// # Errors
/// Faults of the scene under a variation, and limits.
pub fn draw(
    source: &Source,
    how: read::Options<'_>,
    slot: &str,
    along: &Along,
    (width, camera): (u32, Option<Camera>),
) -> Result<Contact> {
    let limits = how.limits;
    let plain = read::read(&source.file, &source.text, how)?;
    let pictures = Pictures::open(&plain.scene, limits)?;
    let [Px(across), Px(down)] = plain.scene.view;
    let scale = f64::from(width) / across;
    let tile = [width, (down * scale).round().max(1.0) as u32];
    let mount = Mount::new(along.values.len() as u32, tile);
    mount.check(limits)?;
    // Most layers are the same in all of them.
    let store = Store::in_memory(SPARE);
    let still = |value: &Value| -> Result<Vec<u8>> {
        let mut sets = how.sets.to_vec();
        sets.push(format!("slot.\"{slot}\".{}={value}", along.name()));
        let how = read::Options { sets: &sets, ..how };
        let scene = read::read(&source.file, &source.text, how)?.scene;
        let scene = haze::sampled(&scene, &pictures, limits)?;
        let plan = Plan::new(&scene, &pictures.naturals(), scale, limits)?;
        Ok(Maker::new(&store, limits)
            .stack(&plan, &pictures)?
            .still(camera.unwrap_or(plan.travel.middle()))
            .eight())
    };
    let stills: Vec<Result<Vec<u8>>> = along.values.par_iter().map(still).collect();
    let labels: Vec<(String, String)> = (0..along.values.len()).map(|at| along.label(at)).collect();
    mount.draw(labels.iter().map(|(name, word)| (name.as_str(), word.as_str())).zip(stills))
}

fn known(path: &str) -> Result<&'static Key> {
    keys::find(path).ok_or_else(|| Fault::new(Class::Usage, format!("there is no key {path}")).into())
}

/// The slot's place in the scene.
fn place(reading: &Reading, slot: &str) -> Result<usize> {
    let names = || reading.scene.slots.iter().map(|slot| slot.name.as_str());
    names().position(|name| name == slot).ok_or_else(|| {
        let fault = Fault::new(Class::Usage, format!("there is no slot {}", shown(slot)));
        fault.remedy(keys::instead(slot, names())).into()
    })
}

fn number_of_slot(name: &str) -> Option<&'static Key> {
    let of_slot = format!("slot.{}", name.strip_prefix("slot.").unwrap_or(name));
    keys::find(name)
        .filter(|key| is_number(key))
        .or_else(|| keys::find(&of_slot).filter(|key| is_number(key)))
}

/// Whether a slot can set the key, and it is a number.
fn is_number(key: &Key) -> bool {
    (key.is_step() || key.section() == keys::Section::Slot)
        && matches!(key.kind, Kind::Number { .. } | Kind::Whole { .. })
}

/// Rounded to a thousandth of the range's order, so that labels and the scene file stay readable.
fn rounded(value: f64, range: f64) -> f64 {
    let digits = (3.0 - libm::floor(libm::log10(range.max(1e-9)))).clamp(0.0, 12.0) as usize;
    format!("{value:.digits$}").parse().unwrap_or(value)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_are_readable_numbers() {
        assert_eq!(rounded(8.0 + 32.0 / 3.0, 32.0), 18.67);
        assert_eq!(rounded(0.1 + 0.2, 1.0), 0.3);
        assert_eq!(rounded(1234.5678, 4000.0), 1235.0);
        assert_eq!(rounded(5.0, 0.0), 5.0);
    }

    #[test]
    fn slots_have_numbers_of_their_own_and_of_the_steps() {
        assert_eq!(number_of_slot("soften.sigma").map(|key| key.path), Some("soften.sigma"));
        assert_eq!(number_of_slot("depth").map(|key| key.path), Some("slot.depth"));
        assert_eq!(number_of_slot("slot.depth").map(|key| key.path), Some("slot.depth"));
        assert_eq!(number_of_slot("travel"), None);
        assert_eq!(number_of_slot("bands.kind"), None);
    }
}

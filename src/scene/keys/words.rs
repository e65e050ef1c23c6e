//! What keys take and what is wrong with a value, in words for lists and messages.

use crate::scene::keys::value::Wrong;
use crate::scene::keys::{Fallback, Key, Kind};
use toml::de::DeValue;

impl Key {
    /// What the key takes, in a few words, with its range and unit.
    pub fn takes(&self) -> String {
        let unit = if self.unit.is_empty() { String::new() } else { format!(" {}", self.unit) };
        let range = |min: f64, max: f64| format!("{} to {}{unit}", amount(min), amount(max));
        match self.kind {
            Kind::Number { min, max, endless } => range(min, max) + if endless { ", or inf" } else { "" },
            Kind::Whole { min, max } if max == i64::MAX => format!("whole, {min} or more"),
            Kind::Whole { min, max } => format!("whole, {min} to {max}{unit}"),
            Kind::Flag => "true or false".into(),
            Kind::FlagOrNumber { min, max } => format!("true, false, or {}", range(min, max)),
            Kind::Pair { min, max } => format!("two numbers, {}", range(min, max)),
            Kind::NumberOrPair { min, max } => format!("one number or two, {}", range(min, max)),
            Kind::Pairs { min, max, most } => format!("up to {most} pairs of numbers, {}", range(min, max)),
            Kind::Points { place: [min, max], most } => {
                format!("points of [{}, 0 to {most}]", range(min, max))
            }
            Kind::Text => "text".into(),
            Kind::Name => "a name".into(),
            Kind::Preset => "a preset's name".into(),
            Kind::Path => "a path".into(),
            Kind::Colour => "a colour".into(),
            Kind::Fit => "\"full\", \"half\", \"power-of-two\" or \"error:N\", N from 0.05 to 16".into(),
            Kind::ColourOr(word) => format!("a colour, or \"{word}\""),
            Kind::Choice(words) => {
                let quoted: Vec<String> = words.iter().map(|word| format!("\"{word}\"")).collect();
                quoted.join(", ")
            }
        }
    }

    /// What the key takes, as a remedy.
    pub(crate) fn wanted(&self) -> String {
        let unit = if self.unit.is_empty() { String::new() } else { format!(" {}", self.unit) };
        match self.kind {
            Kind::Number { min, max, endless } => {
                let or_inf = if endless { ", or inf" } else { "" };
                format!("Give a number from {} to {}{unit}{or_inf}.", amount(min), amount(max))
            }
            Kind::Whole { min, max } if max == i64::MAX => format!("Give a whole number, {min} or more."),
            Kind::Whole { min, max } => format!("Give a whole number from {min} to {max}."),
            Kind::Flag => "Give true or false, without quotes.".into(),
            Kind::FlagOrNumber { min, max } => {
                format!("Give true, false, or a number from {} to {}{unit}.", amount(min), amount(max))
            }
            Kind::Pair { min, max } => format!(
                "Give two numbers from {} to {}{unit}, like `{} = [1920, 1080]`.",
                amount(min),
                amount(max),
                self.name()
            ),
            Kind::NumberOrPair { min, max } => format!(
                "Give a number from {} to {}{unit}, or two in brackets, like `{} = [3840, 900]`.",
                amount(min),
                amount(max),
                self.name()
            ),
            Kind::Pairs { min, max, .. } => format!(
                "Give pairs of numbers from {} to {}{unit}, like `{} = [[1440, 1080], [1920, 800]]`.",
                amount(min),
                amount(max),
                self.name()
            ),
            Kind::Points { most, .. } => format!(
                "Give points of [place, factor], places rising, factors from 0 to {most}, like `{} = [[0, 1], [4000, 3]]`.",
                self.name()
            ),
            Kind::Text | Kind::Name => format!("Give text in quotes, like `{} = \"...\"`.", self.name()),
            Kind::Preset => "Give a preset's name in quotes, like `preset = \"valley-fog\"`.".into(),
            Kind::Path => "Give a path in quotes, like `art = \"reeds.png\"`.".into(),
            Kind::Colour => format!("Write a colour as `{} = \"#c3ccd4\"` or \"#ccd\".", self.name()),
            Kind::Fit => {
                "Give \"full\", \"half\", \"power-of-two\", or \"error:0.5\" with a number from 0.05 to 16."
                    .into()
            }
            Kind::ColourOr(word) => {
                format!("Write a colour as `{} = \"#c3ccd4\"` or \"#ccd\", or \"{word}\".", self.name())
            }
            Kind::Choice(words) => {
                let quoted: Vec<String> = words.iter().map(|word| format!("\"{word}\"")).collect();
                format!("Give one of {}.", quoted.join(", "))
            }
        }
    }

    /// The value is of another type than the key takes.
    pub(crate) fn wrong_type(&self, found: &DeValue<'_>) -> Wrong {
        let found = match found {
            DeValue::String(text) if text.parse::<f64>().is_ok() => "a number in quotes",
            DeValue::String(_) => "text",
            DeValue::Integer(_) => "a number",
            DeValue::Float(_) if matches!(self.kind, Kind::Whole { .. }) => "a number with a fraction",
            DeValue::Float(_) => "a number",
            DeValue::Boolean(_) => "true or false",
            DeValue::Datetime(_) => "a date",
            DeValue::Array(items) if matches!(self.kind, Kind::Pair { .. }) => {
                return self.wrong(format!("`{}` must be two numbers, not {}", self.path, items.len()));
            }
            DeValue::Array(items) if matches!(self.kind, Kind::NumberOrPair { .. }) => {
                return self.wrong(format!("`{}` must be one number or two, not {}", self.path, items.len()));
            }
            DeValue::Array(_) => "a list",
            DeValue::Table(_) => "a table",
        };
        let wanted = match self.kind {
            Kind::Number { .. } => "a number",
            Kind::Whole { .. } => "a whole number",
            Kind::Flag => "true or false",
            Kind::FlagOrNumber { .. } => "true, false or a number",
            Kind::Pair { .. } => "a list of two numbers",
            Kind::NumberOrPair { .. } => "a number or a list of two",
            Kind::Pairs { .. } => "a list of pairs",
            Kind::Points { .. } => "a list of points",
            Kind::Text | Kind::Name | Kind::Preset | Kind::Path => "text",
            Kind::Colour | Kind::ColourOr(_) => "a colour",
            Kind::Fit | Kind::Choice(_) => "a word",
        };
        self.wrong(format!("`{}` must be {wanted}, not {found}", self.path))
    }

    /// What holds where the key isn't given, in words, for lists.
    pub fn fallback_words(&self) -> &'static str {
        match self.fallback {
            Fallback::Required => "required",
            Fallback::Literal(text) => text,
            Fallback::Words(words)
            | Fallback::OfView(.., words)
            | Fallback::OfLowestView(_, words)
            | Fallback::Like(_, words) => words,
        }
    }
}

/// A bound without needless zeros.
fn amount(value: f64) -> String {
    if value.abs() >= 1e9 { format!("{value:e}") } else { value.to_string() }
}

/// What the user wrote, in quotes, harmless and short.
pub(crate) fn shown(text: &str) -> String {
    let mut short: String = text.chars().take(60).flat_map(char::escape_debug).collect();
    if text.chars().nth(60).is_some() {
        short.push('…');
    }
    format!("\"{short}\"")
}

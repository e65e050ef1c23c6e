//! Values of keys: from TOML, checked against the table, and back to TOML.

use crate::base::colour::Srgb;
use crate::scene::keys::words::shown;
use crate::scene::keys::{Key, Kind, near};
use crate::scene::texture::Fit;
use std::fmt;
use toml::Spanned;
use toml::de::{DeArray, DeFloat, DeInteger, DeValue};
use toml_writer::ToTomlValue;

/// Most points of a curve.
const POINTS: usize = 256;

/// A checked value.
#[derive(Clone, Debug, PartialEq)]
pub enum Value {
    /// A number; never NaN.
    Number(f64),
    /// A whole number.
    Whole(i64),
    /// `true` or `false`.
    Flag(bool),
    /// Two numbers.
    Pair([f64; 2]),
    /// Points of a curve, place and factor, or other pairs.
    Points(Vec<[f64; 2]>),
    /// Text, a name or a path.
    Text(String),
    /// A colour.
    Colour(Srgb),
    /// One of the key's words.
    Choice(&'static str),
}

/// Why a value can't stand: what is wrong, and the remedy.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Wrong {
    /// One sentence: what is wrong.
    pub message: String,
    /// One sentence: what to do.
    pub remedy: String,
}

impl fmt::Display for Value {
    /// As TOML.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Value::Number(value) => write!(f, "{value}"),
            Value::Whole(value) => write!(f, "{value}"),
            Value::Flag(value) => write!(f, "{value}"),
            Value::Pair([a, b]) => write!(f, "[{a}, {b}]"),
            Value::Points(points) => {
                let all: Vec<String> =
                    points.iter().map(|[at, factor]| format!("[{at}, {factor}]")).collect();
                write!(f, "[{}]", all.join(", "))
            }
            Value::Text(text) => f.write_str(&text.to_toml_value()),
            Value::Colour(colour) => write!(f, "\"{}\"", colour.to_hex()),
            Value::Choice(word) => write!(f, "\"{word}\""),
        }
    }
}

impl Value {
    /// The number, if it is one.
    pub fn number(&self) -> Option<f64> {
        match self {
            Value::Number(value) => Some(*value),
            _ => None,
        }
    }

    /// The text or word, if it is one.
    pub fn text(&self) -> Option<&str> {
        match self {
            Value::Text(text) => Some(text),
            Value::Choice(word) => Some(word),
            _ => None,
        }
    }

    /// The colour, if it is one.
    pub fn colour(&self) -> Option<Srgb> {
        match self {
            Value::Colour(colour) => Some(*colour),
            _ => None,
        }
    }

    /// For serde.
    #[cfg(feature = "scene")]
    pub(crate) fn plain(&self) -> toml::Value {
        match self {
            Value::Number(value) => toml::Value::Float(*value),
            Value::Whole(value) => toml::Value::Integer(*value),
            Value::Flag(value) => toml::Value::Boolean(*value),
            Value::Pair(pair) => floats(pair),
            Value::Points(points) => toml::Value::Array(points.iter().map(floats).collect()),
            Value::Text(text) => toml::Value::String(text.clone()),
            Value::Colour(colour) => toml::Value::String(colour.to_hex()),
            Value::Choice(word) => toml::Value::String((*word).to_owned()),
        }
    }
}

#[cfg(feature = "scene")]
fn floats(pair: &[f64; 2]) -> toml::Value {
    toml::Value::Array(pair.iter().map(|number| toml::Value::Float(*number)).collect())
}

impl Key {
    /// Reads TOML text of one value; where text is wanted, quotes may be left out.
    pub(crate) fn parse(&self, text: &str) -> Result<Value, Wrong> {
        let bare = DeValue::String(text.trim().into());
        let wants_text = !matches!(
            self.kind,
            Kind::Number { .. }
                | Kind::Whole { .. }
                | Kind::Flag
                | Kind::FlagOrNumber { .. }
                | Kind::Pair { .. }
                | Kind::NumberOrPair { .. }
                | Kind::Points { .. }
                | Kind::Pairs { .. }
        );
        match DeValue::parse(text.trim()) {
            Ok(value) if value.get_ref().is_str() || !wants_text => self.check(value.get_ref()),
            _ => self.check(&bare),
        }
    }

    /// Checks a TOML value against the key's kind and range.
    pub(crate) fn check(&self, value: &DeValue<'_>) -> Result<Value, Wrong> {
        match (self.kind, value) {
            (Kind::Number { min, max, endless }, DeValue::Integer(_) | DeValue::Float(_)) => {
                self.number(value, min, max, endless).map(Value::Number)
            }
            (
                Kind::FlagOrNumber { min, max } | Kind::NumberOrPair { min, max },
                DeValue::Integer(_) | DeValue::Float(_),
            ) => self.number(value, min, max, false).map(Value::Number),
            (Kind::Flag | Kind::FlagOrNumber { .. }, DeValue::Boolean(flag)) => Ok(Value::Flag(*flag)),
            (Kind::Whole { min, max }, DeValue::Integer(integer)) => match whole(integer) {
                Some(value) if (min..=max).contains(&value) => Ok(Value::Whole(value)),
                _ => Err(self.wrong(format!("`{}` is {integer}, which is out of range", self.path))),
            },
            (Kind::Pair { min, max } | Kind::NumberOrPair { min, max }, DeValue::Array(array))
                if array.len() == 2 =>
            {
                self.pair(array, min, max).map(Value::Pair)
            }
            (Kind::Pairs { min, max, most }, DeValue::Array(array)) => {
                self.pairs(array, [min, max], most).map(Value::Points)
            }
            (Kind::Points { place, most }, DeValue::Array(array)) => {
                self.points(array, place, most).map(Value::Points)
            }
            (Kind::Text | Kind::Name | Kind::Preset | Kind::Path, DeValue::String(text)) => {
                Ok(Value::Text(text.clone().into_owned()))
            }
            (Kind::Colour, DeValue::String(text)) => match Srgb::parse_hex(text) {
                Some(colour) => Ok(Value::Colour(colour)),
                None => Err(self.wrong(format!("`{}` is {}, which is not a colour", self.path, shown(text)))),
            },
            (Kind::Fit, DeValue::String(text)) => match Fit::parse(text) {
                Some(_) => Ok(Value::Text(text.clone().into_owned())),
                None => Err(self.wrong(format!("`{}` can't be {}", self.path, shown(text)))),
            },
            (Kind::ColourOr(word), DeValue::String(text)) if text == word => Ok(Value::Choice(word)),
            (Kind::ColourOr(_), DeValue::String(text)) => match Srgb::parse_hex(text) {
                Some(colour) => Ok(Value::Colour(colour)),
                None => Err(self.wrong(format!("`{}` is {}, which is not a colour", self.path, shown(text)))),
            },
            (Kind::Choice(words), DeValue::String(text)) => match words.iter().find(|word| **word == *text) {
                Some(word) => Ok(Value::Choice(word)),
                None => {
                    let mut wrong = self.wrong(format!("`{}` can't be {}", self.path, shown(text)));
                    if let Some(near) = near(text, words.iter().copied()) {
                        wrong.remedy = format!("Did you mean \"{near}\"? {}", wrong.remedy);
                    }
                    Err(wrong)
                }
            },
            (_, other) => Err(self.wrong_type(other)),
        }
    }

    /// Two numbers.
    fn pair(&self, array: &DeArray<'_>, min: f64, max: f64) -> Result<[f64; 2], Wrong> {
        let mut pair = [0.0; 2];
        for (slot, item) in pair.iter_mut().zip(array.iter()) {
            match item.get_ref() {
                number @ (DeValue::Integer(_) | DeValue::Float(_)) => {
                    *slot = self.number(number, min, max, false)?;
                }
                other => return Err(self.wrong_type(other)),
            }
        }
        Ok(pair)
    }

    /// A list of pairs.
    fn pairs(&self, array: &DeArray<'_>, [min, max]: [f64; 2], most: usize) -> Result<Vec<[f64; 2]>, Wrong> {
        if array.len() > most {
            return Err(self.wrong(format!("`{}` has {} pairs, more than {most}", self.path, array.len())));
        }
        let one = |item: &Spanned<DeValue<'_>>| match item.get_ref() {
            DeValue::Array(pair) if pair.len() == 2 => self.pair(pair, min, max),
            DeValue::Array(pair) => {
                Err(self.wrong(format!("a pair of `{}` has {} numbers, not 2", self.path, pair.len())))
            }
            other => Err(self.wrong_type(other)),
        };
        array.iter().map(one).collect()
    }

    /// Points of a curve, whose places rise.
    fn points(&self, array: &DeArray<'_>, place: [f64; 2], most: f64) -> Result<Vec<[f64; 2]>, Wrong> {
        if array.is_empty() || array.len() > POINTS {
            return Err(self.wrong(format!("`{}` has {} points, not 1 to {POINTS}", self.path, array.len())));
        }
        let mut points: Vec<[f64; 2]> = Vec::with_capacity(array.len());
        for item in array.iter() {
            let DeValue::Array(pair) = item.get_ref() else { return Err(self.wrong_type(item.get_ref())) };
            let [at, factor] = pair.iter().collect::<Vec<_>>()[..] else {
                let message = format!("a point of `{}` has {} numbers, not 2", self.path, pair.len());
                return Err(self.wrong(message));
            };
            let at = self.number(at.get_ref(), place[0], place[1], false)?;
            let factor = self.number(factor.get_ref(), 0.0, most, false)?;
            if let Some(before) = points.last().filter(|before| before[0] >= at) {
                let message = format!("in `{}` the place {at} doesn't come after {}", self.path, before[0]);
                return Err(self.wrong(message));
            }
            points.push([at, factor]);
        }
        Ok(points)
    }

    /// A TOML number within a range.
    fn number(&self, value: &DeValue<'_>, min: f64, max: f64, endless: bool) -> Result<f64, Wrong> {
        let (number, written) = match value {
            DeValue::Integer(integer) => (integer_as_f64(integer), integer.to_string()),
            DeValue::Float(float) => (float_as_f64(float), float.to_string()),
            other => return Err(self.wrong_type(other)),
        };
        let written: String = written.chars().take(40).collect();
        let path = self.path;
        match number {
            Some(number) if number.is_nan() => {
                Err(self.wrong(format!("`{path}` is nan, which is not a number")))
            }
            Some(number) if number == f64::INFINITY && endless => Ok(number),
            Some(number) if number.is_infinite() => Err(self.wrong(format!("`{path}` can't be {written}"))),
            Some(number) if number < min => {
                Err(self.wrong(format!("`{path}` is {written}, which is too small")))
            }
            Some(number) if number > max => {
                Err(self.wrong(format!("`{path}` is {written}, which is too large")))
            }
            Some(number) => Ok(number),
            None => Err(self.wrong(format!("`{path}` is {written}, which is too large"))),
        }
    }

    pub(super) fn wrong(&self, message: String) -> Wrong {
        Wrong { message, remedy: self.wanted() }
    }
}

fn whole(integer: &DeInteger<'_>) -> Option<i64> {
    i64::from_str_radix(integer.as_str(), integer.radix()).ok()
}

/// An integer of any length as a number; none if it is beyond all ranges.
fn integer_as_f64(integer: &DeInteger<'_>) -> Option<f64> {
    match whole(integer) {
        Some(value) => Some(value as f64),
        None if integer.as_str().starts_with('-') => Some(f64::MIN),
        None => None,
    }
}

/// A float as a number; none if it is finite as written but too large to hold.
fn float_as_f64(float: &DeFloat<'_>) -> Option<f64> {
    let value: f64 = float.as_str().parse().ok()?;
    (value.is_finite() || !float.as_str().contains(|c: char| c.is_ascii_digit())).then_some(value)
}

#[cfg(test)]
mod tests {
    use crate::scene::keys::find;

    fn parse(path: &str, text: &str) -> Result<String, String> {
        let key = find(path).expect("a known key");
        key.parse(text).map(|value| value.to_string()).map_err(|wrong| wrong.message)
    }

    #[test]
    fn values_go_to_toml_and_back() {
        for (path, text) in [
            ("travel", "2000"),
            ("view", "[1920, 1080.5]"),
            ("falloff.height", "inf"),
            ("bands.octaves", "4"),
            ("slot.flip", "true"),
            ("slot.repeat", "512.25"),
            ("air.haze", "\"#ccddee\""),
            ("bands.kind", "\"ridged\""),
            ("name", "\"The \\\"old\\\" mill\""),
        ] {
            let first = parse(path, text).expect("a good value");
            assert_eq!(parse(path, &first).as_deref(), Ok(first.as_str()), "{path}");
        }
    }

    #[test]
    fn text_needs_no_quotes_where_only_text_can_stand() {
        assert_eq!(parse("air.haze", "#ccc").as_deref(), Ok("\"#cccccc\""));
        assert_eq!(parse("bands.kind", "ridged").as_deref(), Ok("\"ridged\""));
        assert_eq!(parse("slot.art", "12").as_deref(), Ok("\"12\""));
        assert_eq!(parse("name", "a = b # c").as_deref(), Ok("\"a = b # c\""));
    }

    #[test]
    fn what_is_no_number_or_out_of_range_is_refused() {
        for (path, text) in [
            ("travel", "nan"),
            ("travel", "-nan"),
            ("travel", "inf"),
            ("travel", "-1"),
            ("travel", "1e999"),
            ("travel", "999999999999999999999999999999"),
            ("travel", "-999999999999999999999999999999"),
            ("falloff.height", "-inf"),
            ("falloff.height", "0"),
            ("falloff.height", "1e999"),
            ("view", "[0, 0]"),
            ("view", "[1, nan]"),
            ("view", "[1]"),
            ("view", "[1, 2, 3]"),
            ("view", "[1, \"2\"]"),
            ("seed", "-1"),
            ("seed", "99999999999999999999"),
            ("bands.octaves", "2.5"),
            ("air.haze", "#cccc"),
            ("air.haze", "#ünd"),
            ("slot.flip", "1"),
        ] {
            assert!(parse(path, text).is_err(), "{path} = {text}");
        }
    }
}

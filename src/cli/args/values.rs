//! Values of options, as they are written on the command line.

use fogweft::base::units::Camera;
use fogweft::output::forms::Also;

pub(super) fn finite(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if value.is_finite() => Ok(value),
        _ => Err("expected a number".to_owned()),
    }
}

pub(super) fn camera(text: &str) -> Result<Camera, String> {
    let (right, down) = text.split_once(',').unwrap_or((text, "0"));
    match (finite(right.trim()), finite(down.trim())) {
        (Ok(right), Ok(down)) => Ok(Camera::new(right, down)),
        _ => Err("expected a number, or two with a comma between".to_owned()),
    }
}

pub(super) fn form(text: &str) -> Result<Also, String> {
    Also::ALL.into_iter().find(|also| also.word() == text).ok_or_else(|| {
        let words: Vec<&str> = Also::ALL.iter().map(|also| also.word()).collect();
        format!("expected one of: {}", words.join(", "))
    })
}

pub(super) fn share(text: &str) -> Result<f64, String> {
    match finite(text)? {
        value if (0.0..=1000.0).contains(&value) => Ok(value),
        _ => Err("expected a share from 0 to 1000".to_owned()),
    }
}

pub(super) fn scale(text: &str) -> Result<f64, String> {
    match finite(text)? {
        value if (0.01..=16.0).contains(&value) => Ok(value),
        _ => Err("expected a scale from 0.01 to 16".to_owned()),
    }
}

pub(super) fn thickness(text: &str) -> Result<f64, String> {
    match finite(text)? {
        value if value > 0.0 && value <= 1000.0 => Ok(value),
        _ => Err("expected a thickness above 0, at most 1000".to_owned()),
    }
}

pub(super) fn size(text: &str) -> Result<[u32; 2], String> {
    let wrong = || "expected WIDTHxHEIGHT, such as 2048x512".to_owned();
    let (width, height) = text.split_once('x').ok_or_else(wrong)?;
    let side = |text: &str| text.parse::<u32>().ok().filter(|side| *side > 0).ok_or_else(wrong);
    Ok([side(width)?, side(height)?])
}

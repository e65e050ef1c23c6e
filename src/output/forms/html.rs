//! The preview: one page that holds the whole stack and asks nothing of any network.
//!
//! The page allows itself no source of anything but its own text (Content Security Policy Level 3, W3C).

use crate::base::fault::Result;
use crate::base::picture::Picture;
use crate::base::placing::Kind;
use crate::base::raster::Raster;
use crate::base::words::Blending;
use crate::output::forms::escaped;
use crate::output::texture::repeats;
use crate::output::{Effort, encode};
use crate::stack::Stack;
use data_encoding::BASE64;
use rayon::prelude::*;
use serde_json::{Value, json};
use sha2::{Digest, Sha256};

/// Most width of the view in the page's own texels.
const WIDTH: f64 = 1280.0;

/// Fog is stored at this share of that: it is smooth.
const FOG: f64 = 0.5;

/// What the page says where the scene is blended in linear light.
const LINEAR: &str = "The scene is blended in linear light; a web page blends stored values, so fog looks different here than in the still.";
/// What it says where fog flows: frames of every sheet would make it many times as large.
const FLOW: &str = "Fog only drifts here. How it also flows is seen in the frames of a run with --frames, and in its --also pan.";

const PAGE: &str = include_str!("preview/page.html");
const STYLE: &str = include_str!("preview/page.css");
const SCRIPT: &str = concat!(include_str!("preview/paint.js"), include_str!("preview/page.js"));

/// The page.
pub fn bytes(stack: &Stack<'_>) -> Result<Vec<u8>> {
    let plan = stack.plan();
    let share = (WIDTH / f64::from(plan.texels[0])).min(1.0);
    let layers = (0..plan.files.len())
        .into_par_iter()
        .map(|index| layer(stack, index, share))
        .collect::<Result<Vec<Value>>>()?;
    let data = json!({
        "view": plan.view,
        "travel": plan.travel,
        "scale": share * plan.scale,
        "backdrop": plan.backdrop.to_hex(),
        "layers": layers
    });
    let mut notes = Vec::new();
    if plan.blending == Blending::Linear {
        notes.push(LINEAR);
    }
    if plan.ways().any(|way| way != [0.0; 2]) {
        notes.push(FLOW);
    }
    // In a script element only a closing tag could end the data early.
    let data = data.to_string().replace('<', "\\u003c");
    let hash = |text: &str| BASE64.encode(&Sha256::digest(text.as_bytes()));
    let filled = [
        ("title", escaped(&plan.name)),
        ("style-hash", hash(STYLE)),
        ("script-hash", hash(SCRIPT)),
        ("travel", plan.travel.right.to_string()),
        ("down", plan.travel.down.to_string()),
        ("level", if plan.travel.down.0 > 0.0 { "" } else { " hidden" }.to_owned()),
        ("note", notes.join(" ")),
        ("style", STYLE.to_owned()),
        ("script", SCRIPT.to_owned()),
        ("data", data),
    ];
    Ok(fill(PAGE, &filled).into_bytes())
}

/// One pass over the template, so that nothing filled in is filled again.
fn fill(template: &str, values: &[(&str, String)]) -> String {
    let mut text = String::new();
    let mut rest = template;
    while let Some(at) = rest.find('{') {
        text += &rest[..at];
        rest = &rest[at..];
        let found = values
            .iter()
            .find(|(name, _)| rest[1..].strip_prefix(name).is_some_and(|after| after.starts_with('}')));
        match found {
            Some((name, value)) => {
                text += value;
                rest = &rest[name.len() + 2..];
            }
            None => {
                text.push('{');
                rest = &rest[1..];
            }
        }
    }
    text + rest
}

fn layer(stack: &Stack<'_>, index: usize, share: f64) -> Result<Value> {
    let plan = stack.plan();
    let placing = stack.placing(index);
    let art = placing.kind == Kind::Art;
    let share = if art { share } else { share * FOG };
    let size = placing.texels.map(|side| (f64::from(side) * share).round().max(1.0) as u32);
    let texels = stack.sixteen(index).as_chunks::<4>().0.to_vec();
    let picture = Picture { size: placing.texels, deep: true, texels }.resized(
        size,
        repeats(placing),
        plan.blending,
    )?;
    let png = encode(Raster::Eight { size, samples: &picture.eight() }, Effort::Balanced);
    Ok(json!({
        "slot": placing.slot,
        "kind": placing.kind,
        "rate": placing.pan_rate,
        "rect": placing.rect,
        "period": placing.period,
        "drift": plan.drift_of(&plan.files[index]),
        "data": format!("data:image/png;base64,{}", BASE64.encode(&png))
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_filled_in_is_not_filled_again() {
        let values = [("a", "{b}".to_owned()), ("b", "x".to_owned())];
        assert_eq!(fill("{a} {b} {c} { a}", &values), "{b} x {c} { a}");
    }
}

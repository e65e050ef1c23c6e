//! Every recipe over a scene.

use super::Canvas;
use super::canvas::{DIM, LIGHT, MOUNT};
use super::scenes::{self, Show};
use fogweft::base::fault::Result;
use fogweft::base::limits::Limits;
use fogweft::scene::recipe::shelf::Preset;
use fogweft::scene::{Scene, Source};
use std::path::Path;
use toml_edit::{DocumentMut, Item, value};

const TILE: u32 = 320;
const COLUMNS: u32 = 3;
const GAP: u32 = 10;
const LABEL: u32 = 28;

/// What a scene tunes for all its slots or in one, by hand, in place of the recipe's numbers.
const TUNED: [&str; 9] =
    ["bands", "falloff", "smear", "soften", "grade", "preset", "anchor", "line", "haze_share"];

/// Every preset over a scene, in the scene's own light and colours. What its slots tune by hand is left out, so that the recipe
/// is all there is; a deck over a scene whose air lies on the ground takes the sky's tone; visibility is the scene's own times the
/// recipe's over the mean of the shelf, by their square roots, so that thick fog is thick and the picture can still be read.
pub fn over(root: &Path, name: &str) -> Result<Canvas> {
    let limits = Limits::default();
    let shelf = scenes::presets(root, &limits);
    let file = root.join("presets").join(name).join("scene.toml");
    let source = Source::load(&file, &limits)?;
    let mut tiles = vec![("bare".to_owned(), String::new(), None)];
    for preset in shelf.names() {
        let preset = shelf.get(preset)?;
        tiles.push((preset.name.clone(), preset.word.clone(), Some(preset)));
    }
    let rows = (tiles.len() as u32).div_ceil(COLUMNS);
    let height = TILE * 9 / 16;
    let size = [COLUMNS * (TILE + GAP) + GAP, rows * (height + LABEL + GAP) + GAP];
    let mut sheet = Canvas::new(size, MOUNT);
    for (at, (label, word, preset)) in tiles.iter().enumerate() {
        let (tile, _) = match preset {
            None => scenes::composed(&scenes::scene(root, name, None, &[])?, f64::from(TILE), Show::Bare)?,
            Some(preset) => {
                scenes::composed(&scene_of(root, &source, preset, &[])?, f64::from(TILE), Show::Sheets)?
            }
        };
        let left = GAP + at as u32 % COLUMNS * (TILE + GAP);
        let top = GAP + at as u32 / COLUMNS * (height + LABEL + GAP);
        sheet.lay(&tile, [left, top]);
        sheet.write(label, 18.0, [left, top + height + 4], LIGHT);
        let width = fogweft::review::lettering::width(word, 15.0) as u32;
        sheet.write(word, 15.0, [left + TILE - width, top + height + 6], DIM);
    }
    Ok(sheet)
}

/// A scene with a recipe in place of its own, what its slots tune by hand left out, and with overrides.
fn scene_of(root: &Path, source: &Source, preset: &Preset, sets: &[String]) -> Result<Scene> {
    let mut text: DocumentMut = source.text.parse().expect("a scene that was read before");
    untuned(&mut text, preset.anchor.to_string().as_str());
    text["preset"] = value(&preset.name);
    let own = text["air"]["visibility"].as_integer().expect("a whole visibility") as f64;
    let mut sets = sets.to_vec();
    sets.push(format!("air.visibility={}", own * libm::sqrt(preset.visibility / MIDDLE)));
    scenes::of_text(root, &source.file, &text.to_string(), None, &sets)
}

/// A scene with its own recipe and air, what its slots tune by hand left out.
pub fn alone(root: &Path, name: &str) -> Result<Scene> {
    let limits = Limits::default();
    let source = Source::load(&root.join("presets").join(name).join("scene.toml"), &limits)?;
    let mut text: DocumentMut = source.text.parse().expect("a scene that was read before");
    let own = text["preset"].as_str().expect("a preset").to_owned();
    let anchor = scenes::presets(root, &limits).get(&own)?.anchor;
    untuned(&mut text, anchor.to_string().as_str());
    scenes::of_text(root, &source.file, &text.to_string(), None, &[])
}

/// One recipe over a scene as a picture of this width, with overrides of the scene's numbers.
#[allow(dead_code, reason = "the tests look at them one by one")]
pub fn one(root: &Path, name: &str, preset: &Preset, width: f64, sets: &[String]) -> Result<Canvas> {
    let source = Source::load(&root.join("presets").join(name).join("scene.toml"), &Limits::default())?;
    Ok(scenes::composed(&scene_of(root, &source, preset, sets)?, width, Show::Sheets)?.0)
}

/// Visibility at which a recipe leaves the scene's own as it is, metres.
const MIDDLE: f64 = 900.0;

/// Takes out of a scene what stands in its slots in place of the recipe, and its moods.
fn untuned(text: &mut DocumentMut, anchor: &str) {
    text.remove("mood");
    for key in TUNED {
        text.remove(key);
    }
    let haze = text["air"]["haze"].clone();
    let air = &mut text["air"];
    let own = air.get("anchor").and_then(Item::as_str).unwrap_or("ground").to_owned();
    air["anchor"] = value(anchor);
    if (own.as_str(), anchor) == ("ground", "sky") {
        // The colours were chosen for fog on the ground: a deck takes the sky's tone where it hangs.
        air["haze"] = value("sampled");
        for key in ["aloft", "glow", "shade"] {
            air.as_table_like_mut().expect("a table").remove(key);
        }
        if text.get("backdrop").is_none() {
            text["backdrop"] = haze;
        }
    }
    // Where a scene has no line for that anchor, the others' share: an eighth of the view for the sky, five sixths for the ground.
    let height = 1080.0;
    for (key, share) in [("sky", 0.13), ("ground", 0.85)] {
        if text.get(key).is_none() {
            text[key] = value(share * height);
        }
    }
    if let Some(Item::ArrayOfTables(slots)) = text.get_mut("slot") {
        for slot in slots.iter_mut() {
            for key in TUNED {
                slot.remove(key);
            }
        }
    }
}

//! Every recipe over a scene.

use super::Canvas;
use super::canvas::{DIM, LIGHT, MOUNT};
use super::scenes::{self, Show};
use fogweft::fault::Result;
use fogweft::limits::Limits;
use fogweft::scene::Source;
use std::path::Path;
use toml_edit::{DocumentMut, Item, value};

const TILE: u32 = 320;
const COLUMNS: u32 = 3;
const GAP: u32 = 10;
const LABEL: u32 = 28;

/// What a scene tunes in its slots by hand, in place of the recipe's numbers.
const TUNED: [&str; 9] =
    ["bands", "falloff", "smear", "soften", "grade", "preset", "anchor", "line", "haze_share"];

/// Every preset over a scene, in the scene's own light and colours. What its slots tune by hand is left out, so that the recipe
/// is all there is; visibility is the scene's own times the recipe's over the mean of the shelf, by their square roots, so that
/// thick fog is thick and the picture can still be read.
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
        let mut text: DocumentMut = source.text.parse().expect("a scene that was read before");
        let mut show = Show::Bare;
        let mut sets = Vec::new();
        if let Some(preset) = preset {
            show = Show::Sheets;
            untuned(&mut text, preset.anchor.to_string().as_str());
            text["preset"] = value(&preset.name);
            let own = text["air"]["visibility"].as_integer().expect("a whole visibility") as f64;
            sets.push(format!("air.visibility={}", own * libm::sqrt(preset.visibility / MIDDLE)));
        }
        let scene = scenes::of_text(root, &file, &text.to_string(), None, &sets)?;
        let (tile, _) = scenes::composed(&scene, f64::from(TILE), show)?;
        let left = GAP + at as u32 % COLUMNS * (TILE + GAP);
        let top = GAP + at as u32 / COLUMNS * (height + LABEL + GAP);
        sheet.lay(&tile, [left, top]);
        sheet.write(label, 18.0, [left, top + height + 4], LIGHT);
        let width = fogweft::lettering::width(word, 15.0) as u32;
        sheet.write(word, 15.0, [left + TILE - width, top + height + 6], DIM);
    }
    Ok(sheet)
}

/// Visibility at which a recipe leaves the scene's own as it is, metres.
const MIDDLE: f64 = 900.0;

/// Takes out of a scene what stands in its slots in place of the recipe, and its moods.
fn untuned(text: &mut DocumentMut, anchor: &str) {
    text.remove("mood");
    text["air"]["anchor"] = value(anchor);
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

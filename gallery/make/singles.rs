//! Every recipe alone, as one sheet, over dark, middle and light.

use super::Canvas;
use super::canvas::{DIM, LIGHT, MOUNT};
use super::scenes;
use fogweft::base::colour::Srgb;
use fogweft::base::fault::Result;
use fogweft::base::limits::Limits;
use fogweft::base::units::{Scale, Texel};
use fogweft::base::words::Anchor;
use fogweft::scene::recipe::layers::Resolved;
use fogweft::scene::recipe::shelf::Preset;
use fogweft::steps::field::{FieldSpec, Sampling};
use fogweft::steps::sheet::{Sheet, SheetSpec};
use fogweft::steps::step5_grade::Tones;
use std::path::Path;

const TILE: [u32; 2] = [320, 180];
const GAP: u32 = 8;
const LABEL: u32 = 26;
/// Recipes side by side.
const ABREAST: u32 = 2;
/// What a sheet stands before.
const GROUNDS: [[u8; 3]; 3] = [[0x2e, 0x36, 0x48], [0x6f, 0x76, 0x78], [0xc8, 0xbf, 0xa8]];
const HAZE: &str = "#c3c9cf";

/// The sheet of a recipe as it fills a view: no override, light from the upper left.
fn sheet(preset: &Preset) -> Sheet {
    let recipe = Resolved::of_preset(preset).recipe().expect("a preset names all its numbers");
    let [width, height] = TILE.map(f64::from);
    let line = match preset.anchor {
        Anchor::Ground => 0.83 * height,
        Anchor::Sky => 0.0,
    };
    let unit = Scale(height / 1080.0);
    let period = (width * 32.0 / 15.0) as u32;
    let field = FieldSpec::new([period, TILE[1]], preset.anchor, Texel(line), unit, &recipe, 7);
    let haze = Srgb::parse_hex(HAZE).expect("a colour");
    let tones = Tones::new(haze, None, None, None, recipe.grade.lit);
    Sheet::new(
        SheetSpec { field, tau: 1.2 * recipe.grade.thickness, clear: 0.0, tones, light: 150.0 },
        Sampling::Reduced,
    )
}

/// All of them.
pub fn draw(root: &Path) -> Result<Canvas> {
    let shelf = scenes::presets(root, &Limits::default());
    let names = shelf.names();
    let group = GROUNDS.len() as u32 * (TILE[0] + 2) + GAP;
    let rows = (names.len() as u32).div_ceil(ABREAST);
    let size = [ABREAST * group + GAP, rows * (TILE[1] + LABEL + GAP) + GAP];
    let mut page = Canvas::new(size, MOUNT);
    for (at, name) in names.into_iter().enumerate() {
        let preset = shelf.get(name)?;
        let texels = sheet(&preset).eight(TILE[0]);
        let left = GAP + at as u32 % ABREAST * group;
        let top = GAP + at as u32 / ABREAST * (TILE[1] + LABEL + GAP);
        for (place, ground) in GROUNDS.into_iter().enumerate() {
            page.lay(&over(&texels, ground), [left + place as u32 * (TILE[0] + 2), top]);
        }
        page.write(name, 17.0, [left, top + TILE[1] + 4], LIGHT);
        let word = &preset.word;
        let width = fogweft::review::lettering::width(word, 15.0) as u32;
        page.write(word, 15.0, [left + group - GAP - width - 2, top + TILE[1] + 5], DIM);
    }
    Ok(page)
}

/// A sheet's texels over one colour.
fn over(texels: &[u8], ground: [u8; 3]) -> Canvas {
    let mut tile = Canvas::new(TILE, ground);
    for (under, fog) in tile.texels.chunks_exact_mut(4).zip(texels.chunks_exact(4)) {
        let share = f64::from(fog[3]) / 255.0;
        for (under, over) in under.iter_mut().zip(&fog[..3]) {
            *under = (f64::from(*under) + (f64::from(*over) - f64::from(*under)) * share + 0.5) as u8;
        }
    }
    tile
}

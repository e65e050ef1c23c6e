//! The contact sheet: every preset of a shelf over one plain evening, labelled, in one picture.
//!
//! Each tile is the still of an embedded scene, read, planned and composed as any other scene.

mod mount;

pub use mount::Contact;
pub(crate) use mount::Mount;

use crate::base::fault::{Class, Fault, Result};
use crate::base::limits::Limits;
use crate::base::units::Camera;
use crate::plan::Plan;
use crate::scene::pictures::{Pictures, Source};
use crate::scene::read::{self, Options};
use crate::scene::recipe::shelf::Shelf;
use crate::scene::start::{File, embedded};
use crate::stack::Stack;
use rayon::prelude::*;
use std::path::Path;

/// The plain scene. A depth unit is a metre, so that each preset shows its own visibility.
const SCENE: &str = include_str!("../../../presets/shelf/scene.toml");
/// Its pictures, named after their slots.
const ART: &[File] =
    embedded!("shelf": "sky.svg", "ridge.svg", "towers.svg", "house.svg", "posts.svg", "grass.svg");

/// Narrowest and widest tile, texels.
pub const TILES: std::ops::RangeInclusive<u32> = 160..=1920;
/// Width of a tile unless asked otherwise, texels.
pub const TILE: u32 = 480;

/// One tile: what it shows and what is written under it.
struct Tile {
    sets: Vec<String>,
    name: String,
    word: String,
}

/// Draws the contact sheet of `shelf`, with tiles `width` texels wide; the scene without fog comes first.
///
/// # Errors
/// Class `Usage`: `width` lies outside [`TILES`]. Class `Limit`: the sheet would be larger than `limits` allow. Else if a
/// preset of the shelf is faulty.
pub fn draw(shelf: &Shelf, width: u32, limits: &Limits) -> Result<Contact> {
    if !TILES.contains(&width) {
        let message = format!("a tile can't be {width} texels wide");
        let remedy = format!("Choose a width from {} to {}.", TILES.start(), TILES.end());
        return Err(Fault::new(Class::Usage, message).remedy(remedy).into());
    }
    let tiles = tiles(shelf)?;
    let mount = Mount::new(tiles.len() as u32, [width, (f64::from(width) * 9.0 / 16.0).round() as u32]);
    mount.check(limits)?;
    let stills: Vec<Result<Vec<u8>>> =
        tiles.par_iter().map(|tile| still(shelf, tile, width, limits)).collect();
    mount.draw(tiles.iter().map(|tile| (tile.name.as_str(), tile.word.as_str())).zip(stills))
}

fn tiles(shelf: &Shelf) -> Result<Vec<Tile>> {
    let bare = Tile {
        sets: vec!["air.visibility=1e9".to_owned(), "air.clear=inf".to_owned()],
        name: "no fog".to_owned(),
        word: "the scene alone".to_owned(),
    };
    let mut tiles = vec![bare];
    for name in shelf.names() {
        let preset = shelf.get(name)?;
        let visibility = preset.visibility.round();
        tiles.push(Tile {
            sets: vec![format!("preset={}", toml_edit::Value::from(name))],
            word: format!("{}, {visibility} m", preset.word),
            name: preset.name,
        });
    }
    Ok(tiles)
}

fn still(shelf: &Shelf, tile: &Tile, width: u32, limits: &Limits) -> Result<Vec<u8>> {
    let options = Options { sets: &tile.sets, limits, shelf, check_art: false, held: None };
    let scene = read::read(Path::new("presets/shelf/scene.toml"), SCENE, options)?.scene;
    let mut pictures = Pictures::default();
    for (name, svg) in ART {
        let source = Source::from_bytes(format!("presets/shelf/{name}"), svg.to_vec(), limits)?;
        pictures.add(name.trim_end_matches(".svg"), source);
    }
    let plan = Plan::new(&scene, &pictures.naturals(), f64::from(width) / scene.view[0].0, limits)?;
    Ok(Stack::new(&plan, &pictures, limits)?.still(Camera::default()).eight())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn widths_out_of_range_are_refused() {
        for width in [0, 159, 1921, u32::MAX] {
            let faults = draw(&Shelf::embedded(), width, &Limits::default()).expect_err("refused");
            assert_eq!(faults.list[0].class, Class::Usage);
        }
    }

    /// The texels of a tile's picture, row by row.
    fn tile(contact: &Contact, at: u32) -> Vec<u8> {
        let mount = Mount::new(2, [160, 90]);
        let [width, height] = mount.tile;
        let left = mount.gap + at * (width + mount.gap);
        let row = |y: u32| {
            let start = ((y * contact.size[0] + left) * 4) as usize;
            &contact.texels[start..start + width as usize * 4]
        };
        (mount.gap..mount.gap + height).flat_map(row).copied().collect()
    }

    #[test]
    fn the_bare_scene_comes_first_and_fog_is_seen_beside_it() {
        let sheet = |visibility: &str| {
            let mut shelf = Shelf::default();
            let text = Shelf::embedded().text("dust-haze").expect("a preset").to_owned();
            let thinned = text.replace("visibility = 2600", visibility);
            // Under the default preset's name, which a scene falls back on.
            shelf.put("radiation-fog", "haze.toml", thinned);
            let contact = draw(&shelf, 160, &Limits::default()).expect("a sheet");
            assert_eq!(contact.size, Mount::new(2, [160, 90]).size());
            (tile(&contact, 0), tile(&contact, 1))
        };
        let ((bare, thin), (again, thick)) = (sheet("visibility = 4900"), sheet("visibility = 400"));
        assert_eq!(bare, again, "the bare scene knows nothing of the preset's visibility");
        let off = |fog: &[u8]| {
            bare.iter().zip(fog).map(|(a, b)| u64::from(a.abs_diff(*b))).sum::<u64>() / bare.len() as u64
        };
        assert!(off(&thin) > 0 && off(&thick) > off(&thin), "{} and {}", off(&thin), off(&thick));
    }

    #[test]
    fn a_faulty_preset_is_named_and_nothing_is_drawn() {
        let mut shelf = Shelf::embedded();
        shelf.put("wrong", "wrong.toml", "title = \"Wrong\"\nfrom = \"mist\"\n[smear]\nlenght = 3\n");
        let faults = draw(&shelf, 160, &Limits::default()).expect_err("faulty");
        assert!(faults.to_string().contains("lenght"), "{faults}");
    }
}

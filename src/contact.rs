//! The contact sheet: every preset of a shelf over one plain evening, labelled, in one picture.
//!
//! Each tile is the still of an embedded scene, read, planned and composed as any other scene.

use crate::art::Source;
use crate::fault::{Class, Fault, Faults, Result};
use crate::lettering;
use crate::limits::Limits;
use crate::plan::Plan;
use crate::recipe::shelf::Shelf;
use crate::render::{Arts, Stack};
use crate::scene::read::{self, Options};
use crate::starter::{File, embedded};
use rayon::prelude::*;
use std::path::Path;

/// The plain scene. A depth unit is a metre, so that each preset shows its own visibility.
const SCENE: &str = include_str!("../presets/shelf/scene.toml");
/// Its pictures, named after their slots.
const ART: &[File] =
    embedded!("shelf": "sky.svg", "ridge.svg", "towers.svg", "house.svg", "posts.svg", "grass.svg");

/// Narrowest and widest tile, texels.
pub const TILES: std::ops::RangeInclusive<u32> = 160..=1920;
/// Width of a tile unless asked otherwise, texels.
pub const TILE: u32 = 480;

/// Colours of the mount and its lettering.
const MOUNT: [u8; 3] = [0x1b, 0x1c, 0x24];
const NAME: [u8; 3] = [0xec, 0xe5, 0xd8];
const WORD: [u8; 3] = [0x9d, 0x9b, 0xa8];

/// A picture: opaque RGBA, 8 bits, sRGB-encoded, rows from the top.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Contact {
    /// Width and height in texels.
    pub size: [u32; 2],
    /// The samples.
    pub texels: Vec<u8>,
}

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
        let remedy = format!("name a width from {} to {}", TILES.start(), TILES.end());
        return Err(Fault::new(Class::Usage, message).remedy(remedy).into());
    }
    let tiles = tiles(shelf)?;
    let mount = Mount::new(tiles.len() as u32, width);
    let size = mount.size();
    if limits.broken(size).is_some() {
        let message = format!("the contact sheet would be {} x {} texels, over the limits", size[0], size[1]);
        return Err(Fault::new(Class::Limit, message).remedy("ask for narrower tiles").into());
    }
    let stills: Vec<Result<Vec<u8>>> =
        tiles.par_iter().map(|tile| still(shelf, tile, width, limits)).collect();
    let mut texels = [MOUNT[0], MOUNT[1], MOUNT[2], 255].repeat(size[0] as usize * size[1] as usize);
    let mut faults = Faults::default();
    for (at, (tile, still)) in tiles.iter().zip(stills).enumerate() {
        match still {
            Ok(still) => mount.place(at as u32, tile, &still, &mut texels),
            Err(found) => {
                faults.list.extend(found.list);
                faults.sources.extend(found.sources);
            }
        }
    }
    faults.or(Contact { size, texels })
}

fn tiles(shelf: &Shelf) -> Result<Vec<Tile>> {
    let bare = Tile {
        sets: vec!["air.visibility=1e9".to_owned()],
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
    let options = Options { sets: &tile.sets, limits, shelf, check_art: false };
    let scene = read::read(Path::new("presets/shelf/scene.toml"), SCENE, options)?.scene;
    let mut arts = Arts::default();
    for (name, svg) in ART {
        let source = Source::from_bytes(format!("presets/shelf/{name}"), svg.to_vec(), limits)?;
        arts.add(name.trim_end_matches(".svg"), source);
    }
    let plan = Plan::new(&scene, &arts.naturals(), f64::from(width) / scene.view[0], limits)?;
    Ok(Stack::new(&plan, &arts, limits)?.still(0.0).eight())
}

/// Measures of the sheet, in texels.
struct Mount {
    tile: [u32; 2],
    columns: u32,
    rows: u32,
    gap: u32,
    label: u32,
}

impl Mount {
    /// About as many columns as rows: of the squarest sheet and the next wider one, the one that leaves fewer places blank.
    fn new(tiles: u32, width: u32) -> Mount {
        let square = (1..=tiles).find(|side| side * side >= tiles).unwrap_or(1);
        let blank = |columns: u32| tiles.div_ceil(columns) * columns - tiles;
        let columns = if blank(square + 1) < blank(square) { square + 1 } else { square };
        Mount {
            tile: [width, (f64::from(width) * 9.0 / 16.0).round() as u32],
            columns,
            rows: tiles.div_ceil(columns),
            gap: (width / 40).max(6),
            label: (width / 12).max(22),
        }
    }

    fn size(&self) -> [u32; 2] {
        let [width, height] = self.tile;
        [
            self.columns * (width + self.gap) + self.gap,
            self.rows * (height + self.label + self.gap) + self.gap,
        ]
    }

    fn place(&self, at: u32, tile: &Tile, still: &[u8], texels: &mut [u8]) {
        let [width, height] = self.tile;
        let across = self.size()[0];
        let left = self.gap + at % self.columns * (width + self.gap);
        let top = self.gap + at / self.columns * (height + self.label + self.gap);
        for (row, from) in still.chunks_exact(width as usize * 4).enumerate() {
            let to = ((top as usize + row) * across as usize + left as usize) * 4;
            texels[to..to + from.len()].copy_from_slice(from);
        }
        // The name on the left, its weather word on the right, on one baseline.
        let line = self.label as f32 * 0.62;
        let foot = i64::from(top + height) + (self.label as f32 * 0.24) as i64;
        let name = lettering::draw(&tile.name, line);
        name.stamp([i64::from(left), foot], NAME, texels, across);
        let word = lettering::draw(&tile.word, line * 0.8);
        let right = i64::from(left + width) - i64::from(word.size[0]);
        if right > i64::from(left + name.size[0]) {
            word.stamp([right, foot + (line * 0.2 * 0.74) as i64], WORD, texels, across);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sheet_holds_every_tile_apart() {
        for tiles in 1..40 {
            let mount = Mount::new(tiles, 320);
            assert!(mount.columns * mount.rows >= tiles && mount.columns * (mount.rows - 1) < tiles);
            assert!((mount.rows..=mount.rows + 3).contains(&mount.columns), "{tiles}");
        }
    }

    #[test]
    fn widths_out_of_range_are_refused() {
        for width in [0, 159, 1921, u32::MAX] {
            let faults = draw(&Shelf::embedded(), width, &Limits::default()).expect_err("refused");
            assert_eq!(faults.list[0].class, Class::Usage);
        }
    }

    /// The texels of a tile's picture, row by row.
    fn tile(contact: &Contact, at: u32) -> Vec<u8> {
        let mount = Mount::new(2, 160);
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
            assert_eq!(contact.size, Mount::new(2, 160).size());
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

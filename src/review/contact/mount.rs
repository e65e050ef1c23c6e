//! Tiles side by side, each with its label.

use crate::base::fault::{Class, Fault, Faults, Result};
use crate::base::limits::Limits;
use crate::review::lettering;

/// Colours of the mount and its lettering, sRGB codes. Chosen by eye, as are the measures below.
const MOUNT: [u8; 3] = [0x1b, 0x1c, 0x24];
const NAME: [u8; 3] = [0xec, 0xe5, 0xd8];
const WORD: [u8; 3] = [0x9d, 0x9b, 0xa8];

/// A gap is a `GAP_PART`th of a tile's width, a label's band a `LABEL_PART`th; neither less than so many texels.
const GAP_PART: u32 = 40;
const LEAST_GAP: u32 = 6;
const LABEL_PART: u32 = 12;
const LEAST_LABEL: u32 = 22;
/// Height of the name's line and its distance from the tile, in label bands.
const NAME_LINE: f32 = 0.62;
const NAME_TOP: f32 = 0.24;
/// Height of the word's line, in name lines.
const WORD_LINE: f32 = 0.8;
/// By how much it is lower than the name's.
const WORD_LOWER: f32 = 0.2;
/// From a line's top to its baseline, in line heights: what brings both texts onto one baseline.
const BASELINE: f32 = 0.74;

/// A picture: opaque RGBA, 8 bits, sRGB-encoded, rows from the top.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Contact {
    /// Width and height in texels.
    pub size: [u32; 2],
    /// The samples.
    pub texels: Vec<u8>,
}

/// Measures of the sheet, in texels.
pub(crate) struct Mount {
    pub tile: [u32; 2],
    columns: u32,
    rows: u32,
    pub gap: u32,
    label: u32,
}

impl Mount {
    /// About as many columns as rows: of the squarest sheet and the next wider one, the one that leaves fewer places blank.
    pub fn new(tiles: u32, tile: [u32; 2]) -> Mount {
        let width = tile[0];
        let square = (1..=tiles).find(|side| side * side >= tiles).unwrap_or(1);
        let blank = |columns: u32| tiles.div_ceil(columns) * columns - tiles;
        let columns = if blank(square + 1) < blank(square) { square + 1 } else { square };
        Mount {
            tile,
            columns,
            rows: tiles.div_ceil(columns),
            gap: (width / GAP_PART).max(LEAST_GAP),
            label: (width / LABEL_PART).max(LEAST_LABEL),
        }
    }

    pub fn size(&self) -> [u32; 2] {
        let [width, height] = self.tile;
        [
            self.columns * (width + self.gap) + self.gap,
            self.rows * (height + self.label + self.gap) + self.gap,
        ]
    }

    /// Refuses what is over a limit.
    pub fn check(&self, limits: &Limits) -> Result<()> {
        let [width, height] = self.size();
        if limits.broken([width, height]).is_some() {
            let message =
                format!("the contact sheet would be {width} x {height} texels, which exceeds the limits");
            return Err(Fault::new(Class::Limit, message).remedy("Use narrower tiles.").into());
        }
        Ok(())
    }

    /// Draws the tiles, each with its name and a word more about it; faults of all come at once.
    pub fn draw<'a>(
        &self,
        tiles: impl Iterator<Item = ((&'a str, &'a str), Result<Vec<u8>>)>,
    ) -> Result<Contact> {
        let size = self.size();
        let mut texels = [MOUNT[0], MOUNT[1], MOUNT[2], 255].repeat(size[0] as usize * size[1] as usize);
        let mut faults = Faults::default();
        for (at, (label, still)) in tiles.enumerate() {
            match still {
                Ok(still) => self.place(at as u32, label, &still, &mut texels),
                Err(found) => {
                    faults.list.extend(found.list);
                    faults.sources.extend(found.sources);
                }
            }
        }
        faults.or(Contact { size, texels })
    }

    fn place(&self, at: u32, (name, word): (&str, &str), still: &[u8], texels: &mut [u8]) {
        let [width, height] = self.tile;
        let across = self.size()[0];
        let left = self.gap + at % self.columns * (width + self.gap);
        let top = self.gap + at / self.columns * (height + self.label + self.gap);
        for (row, from) in still.chunks_exact(width as usize * 4).enumerate() {
            let to = ((top as usize + row) * across as usize + left as usize) * 4;
            texels[to..to + from.len()].copy_from_slice(from);
        }
        // The name on the left, its weather word on the right, on one baseline.
        let line = self.label as f32 * NAME_LINE;
        let foot = i64::from(top + height) + (self.label as f32 * NAME_TOP) as i64;
        let name = lettering::draw(name, line);
        name.stamp([i64::from(left), foot], NAME, texels, across);
        let word = lettering::draw(word, line * WORD_LINE);
        let right = i64::from(left + width) - i64::from(word.size[0]);
        if right > i64::from(left + name.size[0]) {
            word.stamp([right, foot + (line * WORD_LOWER * BASELINE) as i64], WORD, texels, across);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sheet_holds_every_tile_apart() {
        for tiles in 1..40 {
            let mount = Mount::new(tiles, [320, 180]);
            assert!(mount.columns * mount.rows >= tiles && mount.columns * (mount.rows - 1) < tiles);
            assert!((mount.rows..=mount.rows + 3).contains(&mount.columns), "{tiles}");
        }
    }
}

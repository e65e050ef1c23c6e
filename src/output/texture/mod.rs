//! From the pictures of a stack to textures: trimmed, fitted, cut into tiles, with a record of where each texel goes.

mod bands;
pub(crate) mod difference;
pub mod drawn;
pub mod fit;
mod image;
pub mod resample;
mod side;

use crate::base::placing::{Kind, Placing};
use crate::base::raster::Owned;
use crate::base::units::Rect;
use crate::base::words::{Alpha, Bits, Blending};
use crate::scene::{Fit, Texture};
use crate::stack::Stack;
use crate::steps::dither;
use difference::{Difference, enter, leave};
use image::{Image, View};
use rayon::prelude::*;
use resample::Ends;
use side::Side;
use std::borrow::Cow;
use std::ops::Range;
use std::sync::Arc;

/// What is stored of one picture: an area of it, in bands at sizes of their own, in tiles.
#[derive(Clone, Debug, PartialEq)]
pub struct Shape {
    /// The bands from the top, one below the other; one if all is stored at one size.
    pub bands: Vec<Band>,
    /// Whether the left and right edges of the area are neighbours.
    pub wraps: bool,
    /// What lies beyond edges that aren't, where fewer texels are stored.
    ends: Ends,
    /// The tiles; one if it isn't cut.
    pub tiles: Vec<Tile>,
    /// Width and height of the picture as drawn, texels.
    drawn: [u32; 2],
    /// Where it stands, scene px.
    at: Rect,
    /// Of each band, as far as the search for its size has left that: its texels at that size.
    found: Vec<Option<Arc<Image>>>,
}

/// Texels of a band for each that it is stored in, from which on these are kept from the search until they are written. Chosen by memory.
const KEPT: usize = 4;

/// A band of the stored area.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Band {
    /// Left, top, width and height in texels of the picture as drawn.
    pub area: [u32; 4],
    /// Width and height at which it is stored.
    pub stored: [u32; 2],
}

/// One texture.
#[derive(Clone, Debug, PartialEq)]
pub struct Tile {
    /// Its file.
    pub path: String,
    /// Where the whole texture stands.
    pub rect: Rect,
    /// Its band.
    pub band: usize,
    /// Left, top, width and height in texels of the band as stored; it may reach over the edge of one that wraps.
    pub cut: [i64; 4],
    /// Left, top, width, height of what is drawn of it, in its own texels; none: all.
    pub part: Option<[u32; 4]>,
    /// The rectangle of all that is drawn of the picture, where that isn't the tile's own.
    pub strip: Option<Rect>,
    /// Whether its left and right edges meet.
    pub repeat: bool,
}

impl Tile {
    /// Width and height in texels.
    pub fn texels(&self) -> [u32; 2] {
        [self.cut[2] as u32, self.cut[3] as u32]
    }
}

impl Shape {
    /// How a picture is stored, where that follows from its size alone; none if its texels have a say.
    pub fn plain(placing: &Placing, texture: &Texture) -> Option<Shape> {
        if texture.trim || is_fitted(placing, texture) {
            return None;
        }
        let [width, height] = placing.texels;
        let area = [0, 0, width, height];
        let stored = stored(area, placing.kind != Kind::Art, texture.fit);
        Some(Shape::from_bands(vec![Band { area, stored }], placing, texture))
    }

    /// Bands of a picture, and the tiles that they are cut into.
    pub fn from_bands(bands: Vec<Band>, placing: &Placing, texture: &Texture) -> Shape {
        let ends = if is_fitted(placing, texture) { Ends::Beyond } else { Ends::Inner };
        let (wraps, drawn, at) = (repeats(placing), placing.texels, placing.rect);
        let mut shape = Shape { bands, wraps, ends, tiles: Vec::new(), drawn, at, found: Vec::new() };
        shape.tiles = shape.cut(placing, texture.side);
        shape
    }

    /// Works out how the picture `index` of the stack is stored.
    pub fn new(stack: &Stack<'_>, index: usize, texture: &Texture, bits: Bits) -> Shape {
        let plan = stack.plan();
        let placing = stack.placing(index);
        if let Some(shape) = Shape::plain(placing, texture) {
            return shape;
        }
        let [width, height] = placing.texels;
        let smooth = placing.kind != Kind::Art;
        let image = drawn(stack, index, 0..height as usize);
        let mut area = [0, 0, width, height];
        if texture.trim {
            let blank = match (texture.fit, bits) {
                (Fit::Error(most), _) if smooth => 0.5 * most,
                // What dither never shows.
                (_, Bits::Eight) => 0.5 / (dither::SIDE * dither::SIDE) as f64,
                (_, Bits::Sixteen) => 0.5 / 257.0,
            };
            let difference = Difference::new(Alpha::Straight, plan.blending);
            area = trimmed(&image, blank as f32, difference, placing.period.is_some());
        }
        let (bands, found) = match texture.fit {
            Fit::Error(most) if smooth => {
                // Whole blocks, so that even ratios come out even.
                let up = (area[3].next_multiple_of(bands::BLOCK as u32) - area[3]).min(area[1]);
                (area[1], area[3]) = (area[1] - up, area[3] + up);
                let difference = Difference::new(texture.alpha, plan.blending);
                let image = Part::new(&image, area, texture.alpha);
                fitted(&image, area, repeats(placing), most, difference)
            }
            fit => (vec![Band { area, stored: stored(area, smooth, fit) }], Vec::new()),
        };
        Shape { found, ..Shape::from_bands(bands, placing, texture) }
    }

    /// The same for a picture of the same size that looks otherwise.
    pub fn of_another(&self) -> Shape {
        Shape { found: Vec::new(), ..self.clone() }
    }

    /// Whether the picture is stored just as it is drawn, in one piece.
    pub fn is_whole(&self) -> bool {
        let [width, height] = self.drawn;
        self.bands == [Band { area: [0, 0, width, height], stored: self.drawn }]
            && self.tiles.len() == 1
            && !self.rounds()
    }

    /// Whether 8 bits are rounded, though each texel be one of the view: dither alone strays by more than the error that is allowed.
    fn rounds(&self) -> bool {
        self.ends == Ends::Beyond
    }

    /// Texels of all tiles together.
    pub fn texels(&self) -> u64 {
        self.tiles.iter().flat_map(|tile| tile.texels().map(u64::from).into_iter().reduce(|a, b| a * b)).sum()
    }

    /// Whether it was cut for a picture that stands there.
    pub fn stands_at(&self, placing: &Placing) -> bool {
        self.drawn == placing.texels && self.at == placing.rect
    }

    /// How a band is stored along x (0) or y (1).
    fn side(&self, band: usize, axis: usize) -> Side {
        let Band { area, stored } = self.bands[band];
        let (from, to) = (area[2 + axis], stored[axis]);
        let place = f64::from(area[axis]);
        if to >= from {
            // A band that is stored row by row takes along the rows beside it.
            let before = u32::from(axis == 1 && band > 0);
            let after = u32::from(axis == 1 && band + 1 < self.bands.len());
            let step = f64::from(from) / f64::from(to);
            return Side { start: place - f64::from(before), step, before, inner: to, after };
        }
        let ends = if axis == 0 && self.wraps { Ends::Wrap } else { self.ends };
        Side::stretched(place, [from, to], ends)
    }

    /// Cuts the bands into tiles no side of which is over `most`.
    fn cut(&self, placing: &Placing, most: u32) -> Vec<Tile> {
        let Rect { x, y, width, height } = placing.rect;
        // The picture's own rectangle gives the size of its texels; where the scene gives the period they aren't square.
        let texel = [width / f64::from(placing.texels[0]), height / f64::from(placing.texels[1])];
        let scene = |left: f64, top: f64, wide: f64, tall: f64| Rect {
            x: x + left * texel[0],
            y: y + top * texel[1],
            width: wide * texel[0],
            height: tall * texel[1],
        };
        let (across, first) = (self.side(0, 0), self.side(0, 1));
        let last = self.side(self.bands.len() - 1, 1);
        let (left, wide) = across.drawn();
        let (top, foot) = (first.drawn().0, last.drawn().0 + last.drawn().1);
        let strip = scene(left, top, wide, foot - top);
        let mut tiles = Vec::new();
        for band in 0..self.bands.len() {
            let (across, down) = (self.side(band, 0), self.side(band, 1));
            for (v, h, t, b) in down.ranges(most, false) {
                for (u, w, l, r) in across.ranges(most, self.wraps) {
                    let cut = [u - l, v - t, l + w + r, t + h + b];
                    tiles.push(Tile {
                        path: String::new(),
                        rect: scene(
                            across.start + cut[0] as f64 * across.step,
                            down.start + cut[1] as f64 * down.step,
                            cut[2] as f64 * across.step,
                            cut[3] as f64 * down.step,
                        ),
                        band,
                        cut,
                        part: ([w, h] != [cut[2], cut[3]]).then(|| [l, t, w, h].map(|value| value as u32)),
                        strip: None,
                        repeat: self.wraps && w == i64::from(across.inner),
                    });
                }
            }
        }
        let (stem, end) = placing.path.rsplit_once('.').unwrap_or((&placing.path, "png"));
        let several = tiles.len() > 1;
        for (at, tile) in tiles.iter_mut().enumerate() {
            tile.path = if several { format!("{stem}.{}.{end}", at + 1) } else { placing.path.clone() };
            tile.strip = (several || tile.part.is_some()).then_some(strip);
        }
        tiles
    }

    /// The texels of all tiles.
    pub fn make(&self, stack: &Stack<'_>, index: usize, bits: Bits, alpha: Alpha) -> Vec<Owned> {
        let bands: Vec<Owned> =
            (0..self.bands.len()).map(|band| self.band(stack, index, band, bits, alpha)).collect();
        self.tiles
            .par_iter()
            .map(|tile| {
                let band = &bands[tile.band];
                if tile.cut == [0, 0, i64::from(band.size()[0]), i64::from(band.size()[1])] {
                    band.clone()
                } else {
                    band.cut(tile.cut, self.wraps)
                }
            })
            .collect()
    }

    /// The texels of a band, those beside it included.
    fn band(&self, stack: &Stack<'_>, index: usize, band: usize, bits: Bits, alpha: Alpha) -> Owned {
        let plan = stack.plan();
        let placing = stack.placing(index);
        let Band { area: [left, top, wide, tall], stored } = self.bands[band];
        let down = self.side(band, 1);
        // Rows beside it are only read where rows are stored as drawn.
        let by_rows = stored[1] == tall;
        let (before, after) = if by_rows { (down.before, down.after) } else { (0, 0) };
        let area = [left, top - before, wide, tall + before + after];
        let as_seen = stored == [wide, tall];
        let (deep, rounds) = (stack.is_deep(index, bits), self.rounds());
        if as_seen && alpha == Alpha::Straight && (deep || !rounds) {
            let texels = stack.texels(index, bits);
            return if area == [0, 0, placing.texels[0], placing.texels[1]] {
                texels
            } else {
                texels.cut(area.map(i64::from), false)
            };
        }
        let dithered = as_seen && placing.kind != Kind::Art && !rounds;
        if let Some(Some(image)) = self.found.get(band) {
            return quantised(image, deep, dithered, alpha, plan.blending);
        }
        let [left, top, wide, tall] = area;
        let image = drawn(stack, index, top as usize..(top + tall) as usize);
        let part = Part::new(&image, [left, 0, wide, tall], alpha);
        let image = part.rows(0, area[3]);
        let size = [stored[0], if by_rows { area[3] } else { stored[1] }].map(|side| side as usize);
        let image = if as_seen { image.to_image() } else { fit::store(image, size, self.wraps, self.ends) };
        quantised(&image, deep, dithered, alpha, plan.blending)
    }
}

/// Whether a picture is stored at the smallest size within an error.
fn is_fitted(placing: &Placing, texture: &Texture) -> bool {
    placing.kind != Kind::Art && matches!(texture.fit, Fit::Error(_))
}

/// The bands of an area, whose texels `part` holds, that take the fewest texels; and of each, where they are few, these.
fn fitted(
    part: &Part<'_>,
    area: [u32; 4],
    wraps: bool,
    most: f64,
    difference: Difference,
) -> (Vec<Band>, Vec<Option<Arc<Image>>>) {
    let [left, top, wide, tall] = area;
    let all = part.rows(0, tall);
    let columns = fit::some_columns(all);
    let cuts = bands::bands(all, columns.view(), wraps, most, difference);
    let ends = cuts.iter().skip(1).map(|cut| *cut as u32).chain([tall]);
    let band = |(from, to): (u32, u32)| {
        let area = [left, top + from, wide, to - from];
        let columns = (0..columns.size[1]).map(|x| &columns.row(x)[from as usize..to as usize]).collect();
        let rows = part.rows(from, to - from);
        let (stored, found) = fit::smallest(rows, columns, wraps, Ends::Beyond, most, difference);
        // Rows that are stored as they are drawn take along those beside them.
        let few = stored[1] < rows.size[1] && KEPT * stored[0] * stored[1] <= rows.size[0] * rows.size[1];
        let band = Band { area, stored: stored.map(|side| side as u32) };
        (band, found.filter(|_| few).map(Arc::new))
    };
    cuts.iter().map(|cut| *cut as u32).zip(ends).map(band).unzip()
}

/// An area without the empty margins of a picture, but for one texel that a linear filter fades into.
fn trimmed(image: &Image, blank: f32, difference: Difference, repeats: bool) -> [u32; 4] {
    let empty = |texel: &[f32; 4]| {
        texel[3] == 0.0 || difference.between(*texel, [texel[0], texel[1], texel[2], 0.0]) < blank
    };
    let [width, height] = image.size;
    let rows: Vec<bool> = (0..height).into_par_iter().map(|y| image.row(y).iter().all(empty)).collect();
    let held = |empty: &[bool]| {
        let first = empty.iter().position(|empty| !empty)?;
        let last = empty.iter().rposition(|empty| !empty)?;
        let from = first.saturating_sub(1);
        Some((from, (last + 2).min(empty.len()) - from))
    };
    // Of a wholly empty picture one texel's row is left.
    let (top, tall) = held(&rows).unwrap_or((0, 1));
    let (left, wide) = if repeats {
        (0, width)
    } else {
        let columns: Vec<bool> = (0..width)
            .into_par_iter()
            .map(|x| (top..top + tall).all(|y| empty(&image.data[y * width + x])))
            .collect();
        held(&columns).unwrap_or((0, 1))
    };
    [left, top, wide, tall].map(|value| value as u32)
}

/// An area of a picture, its colours as they are stored.
struct Part<'a> {
    image: Cow<'a, Image>,
    /// Its first row in `image`.
    top: u32,
}

impl<'a> Part<'a> {
    fn new(whole: &'a Image, [left, top, wide, tall]: [u32; 4], alpha: Alpha) -> Part<'a> {
        if [left, wide] == [0, whole.size[0] as u32] && alpha == Alpha::Straight {
            return Part { image: Cow::Borrowed(whole), top };
        }
        let [left, first, wide, tall] = [left, top, wide, tall].map(|value| value as usize);
        let rows = (first..first + tall).flat_map(|y| &whole.row(y)[left..left + wide]);
        let mut data: Vec<[f32; 4]> = rows.copied().collect();
        if alpha == Alpha::Premultiplied {
            data.par_iter_mut().for_each(|[r, g, b, alpha]| {
                for value in [r, g, b] {
                    *value *= *alpha;
                }
            });
        }
        Part { image: Cow::Owned(Image { size: [wide, tall], data }), top: 0 }
    }

    /// Rows of the area.
    fn rows(&self, first: u32, count: u32) -> View<'_> {
        self.image.rows((self.top + first) as usize, count as usize)
    }
}

/// Size at which an area is stored, where nothing is searched for.
fn stored([.., width, height]: [u32; 4], smooth: bool, fit: Fit) -> [u32; 2] {
    match fit {
        Fit::Half if smooth => [width.div_ceil(2), height.div_ceil(2)],
        Fit::PowerOfTwo => [width, height].map(u32::next_power_of_two),
        Fit::Full | Fit::Half | Fit::Error(_) => [width, height],
    }
}

/// Whether a picture repeats edge to edge.
pub fn repeats(placing: &Placing) -> bool {
    placing.period.is_some_and(|period| (period - placing.rect.width).0.abs() < 1e-9 * period.0)
}

/// Rows of the picture `index` of a stack as a renderer filters it.
fn drawn(stack: &Stack<'_>, index: usize, rows: Range<usize>) -> Image {
    let size = [stack.placing(index).texels[0] as usize, rows.len()];
    let (mut data, blending) = (stack.rounded(index, rows), stack.plan().blending);
    if blending == Blending::Linear {
        data.par_iter_mut().for_each(|texel| *texel = enter(*texel, blending));
    }
    Image { size, data }
}

/// To codes; at 8 bits the opacity of fog is dithered where each texel is one of the view. A stretched texture isn't: its dither would
/// show as blotches, and the filter blends its steps. Nor is what must stay within an error.
fn quantised(image: &Image, deep: bool, dithered: bool, alpha: Alpha, blending: Blending) -> Owned {
    let size = image.size.map(|side| side as u32);
    let width = image.size[0];
    if deep {
        let mut samples = vec![0_u16; image.data.len() * 4];
        samples.par_chunks_mut(4).zip(&image.data).for_each(|(out, texel)| {
            for (code, value) in out.iter_mut().zip(leave(*texel, blending)) {
                *code = (value * 65535.0 + 0.5) as u16;
            }
        });
        return Owned::Sixteen { size, samples };
    }
    let mut samples = vec![0_u8; image.data.len() * 4];
    samples.par_chunks_mut(width * 4).enumerate().for_each(|(y, out)| {
        let thresholds = dither::row(y);
        for (x, (out, texel)) in out.chunks_exact_mut(4).zip(image.row(y)).enumerate() {
            let threshold = if dithered { thresholds[x % dither::SIDE] } else { 0.5 };
            let opacity = dither::code(texel[3], threshold);
            let mut texel = *texel;
            if alpha == Alpha::Premultiplied && texel[3] > 0.0 {
                // Multiplied by the opacity that is stored, not by the exact one, so that the colour stays what it is.
                let share = f32::from(opacity) / 255.0 / texel[3];
                for value in &mut texel[..3] {
                    *value *= share;
                }
            }
            for (code, value) in out.iter_mut().zip(leave(texel, blending)) {
                *code = dither::code(value, 0.5);
            }
            out[3] = opacity;
        }
    });
    Owned::Eight { size, samples }
}

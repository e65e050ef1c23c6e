//! From the pictures of a stack to textures: trimmed, fitted, cut into tiles, with a record of where each texel goes.

pub mod fit;
pub mod resample;

use crate::out::Owned;
use crate::plan::{Kind, Placing};
use crate::render::Stack;
use crate::scene::{Alpha, Blending, Fit, Texture};
use crate::sheet::{Bits, dither};
use fit::Gauge;
use rayon::prelude::*;
use resample::Image;

/// What is stored of one picture: an area of it, at a size, in tiles.
#[derive(Clone, Debug, PartialEq)]
pub struct Shape {
    /// Left, top, width and height of the stored area, in texels of the picture as drawn.
    pub area: [u32; 4],
    /// Width and height at which the area is stored.
    pub stored: [u32; 2],
    /// Whether the left and right edges of the area are neighbours.
    pub wraps: bool,
    /// The tiles; one if it isn't cut.
    pub tiles: Vec<Tile>,
}

/// One texture.
#[derive(Clone, Debug, PartialEq)]
pub struct Tile {
    /// Its file.
    pub path: String,
    /// Left, top, width, height of the whole texture in scene px, with the camera at the start of the travel.
    pub rect: [f64; 4],
    /// Left, top, width and height in texels of the stored area; it may reach over the edge of one that wraps.
    pub cut: [i64; 4],
    /// Left, top, width, height of what is drawn of it, in its own texels; none: all.
    pub part: Option<[u32; 4]>,
    /// The rectangle of all tiles together, where there are several.
    pub strip: Option<[f64; 4]>,
}

impl Tile {
    /// Width and height in texels.
    pub fn texels(&self) -> [u32; 2] {
        [self.cut[2] as u32, self.cut[3] as u32]
    }
}

/// The texels of a texture.
pub struct Made {
    /// The texels.
    pub texels: Owned,
    /// Whether all are opaque.
    pub opaque: bool,
}

impl Shape {
    /// How a picture is stored, where that follows from its size alone; none if its texels have a say.
    pub fn plain(placing: &Placing, texture: &Texture) -> Option<Shape> {
        let smooth = placing.kind != Kind::Art;
        if texture.trim || (smooth && matches!(texture.fit, Fit::Error(_))) {
            return None;
        }
        let [width, height] = placing.texels;
        let area = [0, 0, width, height];
        Some(Shape::of(area, stored(area, smooth, texture.fit), placing, texture.side))
    }

    /// The stored area of a picture, its size, and the tiles that it is cut into, no side of which is over `side`.
    pub fn of(area: [u32; 4], stored: [u32; 2], placing: &Placing, side: u32) -> Shape {
        let mut shape = Shape { area, stored, wraps: repeats(placing), tiles: Vec::new() };
        shape.tiles = shape.cut(placing, side);
        shape
    }

    /// Works out how the picture `index` of the stack is stored.
    pub fn new(stack: &Stack<'_>, index: usize, texture: &Texture, bits: Bits) -> Shape {
        let plan = stack.plan();
        let placing = plan.files[index].placing();
        if let Some(shape) = Shape::plain(placing, texture) {
            return shape;
        }
        let [width, height] = placing.texels;
        let smooth = placing.kind != Kind::Art;
        let mut shape = Shape {
            area: [0, 0, width, height],
            stored: placing.texels,
            wraps: repeats(placing),
            tiles: Vec::new(),
        };
        let image = Image {
            size: [width as usize, height as usize],
            data: floats(&stack.sixteen(index), plan.blending),
        };
        if texture.trim {
            let blank = match (texture.fit, bits) {
                (Fit::Error(most), _) if smooth => 0.5 * most,
                // What dither never shows.
                (_, Bits::Eight) => 0.5 / (dither::SIDE * dither::SIDE) as f64,
                (_, Bits::Sixteen) => 0.5 / 257.0,
            };
            let gauge = Gauge::new(Alpha::Straight, plan.blending);
            shape.trim(&image, blank as f32, gauge, placing.period.is_some());
        }
        let size = match texture.fit {
            Fit::Error(most) if smooth => {
                let gauge = Gauge::new(texture.alpha, plan.blending);
                let image = shape.image(image, texture.alpha);
                fit::smallest(&image, shape.wraps, most, gauge).map(|side| side as u32)
            }
            fit => stored(shape.area, smooth, fit),
        };
        Shape::of(shape.area, size, placing, texture.side)
    }

    /// Whether the picture is stored just as it is drawn, in one piece.
    pub fn is_whole(&self, placing: &Placing) -> bool {
        let [width, height] = placing.texels;
        self.area == [0, 0, width, height] && self.stored == placing.texels && self.tiles.len() == 1
    }

    /// Leaves out empty margins, but for one texel that a linear filter fades into.
    fn trim(&mut self, image: &Image, blank: f32, gauge: Gauge, repeats: bool) {
        let empty = |texel: &[f32; 4]| {
            texel[3] == 0.0 || gauge.between(*texel, [texel[0], texel[1], texel[2], 0.0]) < blank
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
        self.area = [left, top, wide, tall].map(|value| value as u32);
        self.stored = [wide as u32, tall as u32];
    }

    /// The area of a picture, its colours as they are stored.
    fn image(&self, whole: Image, alpha: Alpha) -> Image {
        let [left, top, wide, tall] = self.area.map(|value| value as usize);
        let mut data = whole.data;
        if [wide, tall] != whole.size {
            data = (top..top + tall)
                .flat_map(|y| data[y * whole.size[0] + left..y * whole.size[0] + left + wide].iter().copied())
                .collect();
        }
        if alpha == Alpha::Premultiplied {
            data.par_iter_mut().for_each(|[r, g, b, alpha]| {
                for value in [r, g, b] {
                    *value *= *alpha;
                }
            });
        }
        Image { size: [wide, tall], data }
    }

    /// Cuts the stored area into tiles no side of which is over `side`.
    fn cut(&self, placing: &Placing, side: u32) -> Vec<Tile> {
        let [x, y, ..] = placing.rect;
        let along = |axis: usize, wraps: bool| {
            let (from, to) = (self.area[2 + axis], self.stored[axis]);
            let (start, length) = resample::reach(from as usize, to as usize, wraps);
            (f64::from(self.area[axis]) + start, length)
        };
        let ((left, wide), (top, tall)) = (along(0, self.wraps), along(1, false));
        // The picture's own rectangle gives the size of its texels; where the scene gives the period they aren't square.
        let texel =
            [placing.rect[2] / f64::from(placing.texels[0]), placing.rect[3] / f64::from(placing.texels[1])];
        let strip = [x + left * texel[0], y + top * texel[1], wide * texel[0], tall * texel[1]];
        let parts = self.stored.map(|stored| if stored <= side { 1 } else { stored.div_ceil(side - 2) });
        let step = [strip[2] / f64::from(self.stored[0]), strip[3] / f64::from(self.stored[1])];
        let (stem, end) = placing.path.rsplit_once('.').unwrap_or((&placing.path, "png"));
        let mut tiles = Vec::new();
        for down in 0..parts[1] {
            for across in 0..parts[0] {
                // From, to, and what is added before and after so that a linear filter finds its neighbours.
                let range = |at: u32, axis: usize, wraps: bool| {
                    let edge = |at: u32| {
                        (u64::from(self.stored[axis]) * u64::from(at) / u64::from(parts[axis])) as i64
                    };
                    let cut = parts[axis] > 1;
                    let before = i64::from(cut && (wraps || at > 0));
                    let after = i64::from(cut && (wraps || at + 1 < parts[axis]));
                    (edge(at) - before, edge(at + 1) - edge(at), before, after)
                };
                let (u, w, l, r) = range(across, 0, self.wraps);
                let (v, h, t, b) = range(down, 1, false);
                let cut = [u, v, l + w + r, t + h + b];
                let several = parts[0] * parts[1] > 1;
                tiles.push(Tile {
                    path: if several {
                        format!("{stem}.{}.{end}", down * parts[0] + across + 1)
                    } else {
                        placing.path.clone()
                    },
                    rect: [
                        strip[0] + u as f64 * step[0],
                        strip[1] + v as f64 * step[1],
                        cut[2] as f64 * step[0],
                        cut[3] as f64 * step[1],
                    ],
                    cut,
                    part: several.then(|| [l, t, w, h].map(|value| value as u32)),
                    strip: several.then_some(strip),
                });
            }
        }
        tiles
    }

    /// The texels of all tiles.
    pub fn make(&self, stack: &Stack<'_>, index: usize, bits: Bits, alpha: Alpha) -> Vec<Made> {
        let plan = stack.plan();
        let placing = plan.files[index].placing();
        let drawn = placing.texels;
        let whole = self.area == [0, 0, drawn[0], drawn[1]];
        let as_drawn = self.stored == [self.area[2], self.area[3]] && alpha == Alpha::Straight;
        let texels = if as_drawn && whole {
            stack.texels(index, bits)
        } else if as_drawn {
            let [left, top, wide, tall] = self.area.map(i64::from);
            stack.texels(index, bits).cut([left, top, wide, tall], false)
        } else {
            let image = Image {
                size: drawn.map(|side| side as usize),
                data: floats(&stack.sixteen(index), plan.blending),
            };
            let image = self.image(image, alpha);
            let size = self.stored.map(|side| side as usize);
            let as_seen = size == image.size;
            let image = if as_seen { image } else { fit::store(&image, size, self.wraps) };
            let deep = stack.is_deep(index, bits);
            quantised(&image, deep, as_seen && placing.kind != Kind::Art, alpha, plan.blending)
        };
        if let [tile] = self.tiles.as_slice()
            && tile.part.is_none()
        {
            return vec![Made { opaque: texels.opaque(), texels }];
        }
        self.tiles
            .par_iter()
            .map(|tile| {
                let texels = texels.cut(tile.cut, self.wraps);
                Made { opaque: texels.opaque(), texels }
            })
            .collect()
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
    placing.period.is_some_and(|period| (period - placing.rect[2]).abs() < 1e-9 * period)
}

fn floats(samples: &[u16], blending: Blending) -> Vec<[f32; 4]> {
    let texels = samples.as_chunks::<4>().0;
    texels.par_iter().map(|texel| fit::enter(texel.map(|code| f32::from(code) / 65535.0), blending)).collect()
}

/// To codes; at 8 bits the opacity of fog is dithered where each texel is one of the view. A stretched texture isn't: its dither would
/// show as blotches, and the filter blends its steps.
fn quantised(image: &Image, deep: bool, dithered: bool, alpha: Alpha, blending: Blending) -> Owned {
    let size = image.size.map(|side| side as u32);
    let width = image.size[0];
    if deep {
        let mut samples = vec![0_u16; image.data.len() * 4];
        samples.par_chunks_mut(4).zip(&image.data).for_each(|(out, texel)| {
            for (code, value) in out.iter_mut().zip(fit::leave(*texel, blending)) {
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
            for (code, value) in out.iter_mut().zip(fit::leave(texel, blending)) {
                *code = dither::code(value, 0.5);
            }
            out[3] = opacity;
        }
    });
    Owned::Eight { size, samples }
}

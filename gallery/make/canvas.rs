//! An opaque picture that is put together from others, with lettering.

use fogweft::base::raster::Raster;
use fogweft::output::{Effort, encode};
use fogweft::review::lettering;

/// The mount's colour.
pub const MOUNT: [u8; 3] = [0x1b, 0x1c, 0x24];
/// Lettering that is to be read first.
pub const LIGHT: [u8; 3] = [0xec, 0xe5, 0xd8];
/// Lettering that is to be read second.
pub const DIM: [u8; 3] = [0xa6, 0xa3, 0xb0];

/// Opaque RGBA, 8 bits, sRGB-encoded, rows from the top.
#[derive(Clone, Debug, PartialEq)]
pub struct Canvas {
    /// Width and height in texels.
    pub size: [u32; 2],
    /// The samples.
    pub texels: Vec<u8>,
}

impl Canvas {
    /// All of one colour.
    pub fn new(size: [u32; 2], [r, g, b]: [u8; 3]) -> Canvas {
        Canvas { size, texels: [r, g, b, 255].repeat(size[0] as usize * size[1] as usize) }
    }

    /// Of samples that are there already.
    pub fn of(size: [u32; 2], texels: Vec<u8>) -> Canvas {
        assert_eq!(texels.len(), size[0] as usize * size[1] as usize * 4);
        Canvas { size, texels }
    }

    /// From grey values.
    pub fn grey(size: [u32; 2], grey: impl Fn(u32, u32) -> u8) -> Canvas {
        let mut canvas = Canvas::new(size, [0; 3]);
        for (at, texel) in canvas.texels.chunks_exact_mut(4).enumerate() {
            texel[..3].fill(grey(at as u32 % size[0], at as u32 / size[0]));
        }
        canvas
    }

    /// Its PNG, as small as it gets.
    pub fn png(&self) -> Vec<u8> {
        encode(Raster::Eight { size: self.size, samples: &self.texels }, Effort::Small)
    }

    /// Lays another picture on it, its top left corner at `place`; what stands out is cut off.
    pub fn lay(&mut self, other: &Canvas, place: [u32; 2]) {
        let across = self.size[0].saturating_sub(place[0]).min(other.size[0]) as usize * 4;
        for row in 0..self.size[1].saturating_sub(place[1]).min(other.size[1]) {
            let from = (row * other.size[0]) as usize * 4;
            let to = ((place[1] + row) * self.size[0] + place[0]) as usize * 4;
            self.texels[to..to + across].copy_from_slice(&other.texels[from..from + across]);
        }
    }

    /// The rectangle `size` at `place`.
    pub fn cut(&self, place: [u32; 2], size: [u32; 2]) -> Canvas {
        let mut out = Canvas::new(size, MOUNT);
        for row in 0..size[1] {
            let from = ((place[1] + row) * self.size[0] + place[0]) as usize * 4;
            let to = (row * size[0]) as usize * 4;
            out.texels[to..to + size[0] as usize * 4]
                .copy_from_slice(&self.texels[from..from + size[0] as usize * 4]);
        }
        out
    }

    /// Mixes `colour` into a rectangle by `share`, 0..1.
    pub fn tint(&mut self, [left, top, width, height]: [i64; 4], colour: [u8; 3], share: f64) {
        let [across, down] = self.size.map(i64::from);
        for y in top.clamp(0, down)..(top + height).clamp(0, down) {
            for x in left.clamp(0, across)..(left + width).clamp(0, across) {
                let at = (y * across + x) as usize * 4;
                for (under, over) in self.texels[at..at + 3].iter_mut().zip(colour) {
                    let mixed = f64::from(*under) + (f64::from(over) - f64::from(*under)) * share;
                    *under = (mixed + 0.5) as u8;
                }
            }
        }
    }

    /// One line of text, its top left corner at `place`.
    pub fn write(&mut self, text: &str, size: f32, place: [u32; 2], colour: [u8; 3]) {
        let width = self.size[0];
        lettering::draw(text, size).stamp(place.map(i64::from), colour, &mut self.texels, width);
    }

    /// One line of text centred on a column; it stays within the picture's sides.
    pub fn centre(&mut self, text: &str, size: f32, column: f64, top: u32, colour: [u8; 3]) {
        let mask = lettering::draw(text, size);
        let most = i64::from(self.size[0]) - i64::from(mask.size[0]) - 4;
        let left = (column - f64::from(mask.size[0]) / 2.0).round() as i64;
        let width = self.size[0];
        mask.stamp([left.min(most).max(4), i64::from(top)], colour, &mut self.texels, width);
    }
}

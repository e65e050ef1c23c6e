//! From the textures of a picture back to the picture: as a linear filter draws them.

use crate::base::picture::Picture;
use crate::base::placing::Placing;
use crate::base::units::Rect;
use crate::base::words::Blending;
use crate::output::texture::difference::{enter, leave};
use rayon::prelude::*;

/// A texture of a picture, straight alpha, and where it stands.
pub struct Piece<'a> {
    /// Where the whole texture stands, scene px.
    pub rect: Rect,
    /// Left, top, width, height of what is drawn of it, in its own texels; none: all.
    pub part: Option<[u32; 4]>,
    /// Whether its left and right edges meet.
    pub repeat: bool,
    /// Its texels.
    pub picture: &'a Picture,
}

/// Two neighbouring texels along an axis, and the share of the second.
type Taps = ([usize; 2], f32);

/// The picture that stands at `placing`, drawn from its textures; empty where none of them is.
pub fn picture(placing: &Placing, blending: Blending, pieces: &[Piece<'_>]) -> Picture {
    let [width, height] = placing.texels.map(|side| side as usize);
    let Rect { x, y, width: wide, height: tall } = placing.rect;
    let period = placing.period.map_or(0.0, |period| period.0);
    let columns: Vec<Vec<Option<Taps>>> = pieces
        .iter()
        .map(|piece| {
            let taps = |col: usize| {
                let place = x.0 + (col as f64 + 0.5) * wide.0 / width as f64;
                // It may reach over the edge of the period.
                [0.0, period, -period].iter().find_map(|shift| piece.taps(0, place + shift))
            };
            (0..width).map(taps).collect()
        })
        .collect();
    let mut texels = vec![[0; 4]; width * height];
    texels.par_chunks_mut(width.max(1)).enumerate().for_each(|(row, out)| {
        let place = y.0 + (row as f64 + 0.5) * tall.0 / height as f64;
        for (piece, columns) in pieces.iter().zip(&columns) {
            let Some(down) = piece.taps(1, place) else { continue };
            for (texel, across) in out.iter_mut().zip(columns) {
                if let Some(across) = across {
                    *texel = piece.texel(*across, down, blending);
                }
            }
        }
    });
    Picture { size: placing.texels, deep: true, texels }
}

impl Piece<'_> {
    /// The texels beside a place along x (0) or y (1), scene px; none where nothing of it is drawn.
    fn taps(&self, axis: usize, place: f64) -> Option<Taps> {
        let texels = self.picture.size[axis];
        let (start, length) = [(self.rect.x.0, self.rect.width.0), (self.rect.y.0, self.rect.height.0)][axis];
        let (from, count) = self.part.map_or((0, texels), |part| (part[axis], part[axis + 2]));
        let at = (place - start) / length * f64::from(texels);
        let edge = 1e-6;
        if at < f64::from(from) - edge || at > f64::from(from + count) + edge {
            return None;
        }
        // On the middle of a texel it is that texel, whatever the division left.
        let at = ((at - 0.5) / edge).round() * edge;
        let first = at.floor();
        let tap = |index: i64| {
            let count = i64::from(texels);
            (if axis == 0 && self.repeat { index.rem_euclid(count) } else { index.clamp(0, count - 1) })
                as usize
        };
        Some(([tap(first as i64), tap(first as i64 + 1)], (at - first) as f32))
    }

    fn texel(&self, ([left, right], x): Taps, ([top, foot], y): Taps, blending: Blending) -> [u16; 4] {
        let width = self.picture.size[0] as usize;
        let at = |row: usize, col: usize| self.picture.texels[row * width + col];
        if x == 0.0 && y == 0.0 {
            return at(top, left);
        }
        let value = |codes: [u16; 4]| enter(codes.map(|code| f32::from(code) / 65535.0), blending);
        let mix = |a: [f32; 4], b: [f32; 4], share: f32| {
            [0, 1, 2, 3].map(|channel| a[channel] + (b[channel] - a[channel]) * share)
        };
        let upper = mix(value(at(top, left)), value(at(top, right)), x);
        let lower = mix(value(at(foot, left)), value(at(foot, right)), x);
        leave(mix(upper, lower, y), blending).map(|value| (value * 65535.0 + 0.5) as u16)
    }
}

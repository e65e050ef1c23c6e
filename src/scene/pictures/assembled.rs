//! The pictures that stand on one plane, as one.

use crate::base::fault::Result;
use crate::base::limits::Limits;
use crate::base::picture::Picture;
use crate::base::placing::Kind as Layer;
use crate::base::room;
use crate::base::space::Space;
use crate::base::words::Blending;
use crate::scene::pictures::{Pictures, check_size};
use std::collections::BTreeMap;
use std::collections::btree_map::Entry;

/// A picture among several.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// Which of the slot's pictures, in the order of [`crate::scene::Slot::pictures`].
    pub source: usize,
    /// Its left top on the whole, texels; nothing of it lies outside.
    pub corner: [u32; 2],
    /// Its width and height in texels.
    pub texels: [u32; 2],
    /// Mirrored left to right.
    pub flip: bool,
}

impl Part {
    /// The same on a smaller whole of `size` texels.
    pub(crate) fn shrunk(&self, factor: f64, size: [u32; 2]) -> Part {
        let scaled = |length: u32| (f64::from(length) * factor).round() as u32;
        let corner = [0, 1].map(|axis| scaled(self.corner[axis]).min(size[axis] - 1));
        let texels = [0, 1].map(|axis| scaled(self.texels[axis]).clamp(1, size[axis] - corner[axis]));
        Part { corner, texels, ..self.clone() }
    }
}

impl Pictures {
    /// Pictures of the slot drawn over each other, in the order of `parts`, onto a whole of `size` texels; its left and right edges are
    /// neighbours with `wraps`. One that stands at several places in the same size is drawn once.
    ///
    /// # Errors
    /// Those of reading and drawing them. Class `Limit`: the whole goes over `limits`, or there is no memory for it.
    pub fn assembled(
        &self,
        slot: &str,
        parts: &[Part],
        (size, wraps): ([u32; 2], bool),
        blending: Blending,
        limits: &Limits,
    ) -> Result<Picture> {
        check_size(size, &format!("the pictures of {slot} would be put together"), limits)?;
        let mut drawn: BTreeMap<(&str, [u32; 2]), Picture> = BTreeMap::new();
        let area = size.map(|side| side as usize).iter().product();
        let mut texels = Vec::new();
        room::reserve(&mut texels, area, "the pictures of a slot")?;
        texels.resize(area, [0; 4]);
        let mut whole = Picture { size, deep: false, texels };
        let space = Space::new(blending);
        for part in parts {
            let source = self.source(slot, Layer::Art, part.source, limits)?;
            let own = (self.content(slot, part.source), part.texels);
            let picture = match drawn.entry(own) {
                Entry::Occupied(known) => known.into_mut(),
                Entry::Vacant(empty) => {
                    empty.insert(source.draw(part.texels, false, false, blending, limits)?)
                }
            };
            whole.lay(picture, part, &space);
        }
        whole.bleed(wraps);
        Ok(whole)
    }
}

impl Picture {
    /// Draws a picture over this one.
    fn lay(&mut self, over: &Picture, part: &Part, space: &Space) {
        self.deep |= over.deep;
        let [left, top] = part.corner.map(|side| side as usize);
        let [width, own] = [self.size[0], over.size[0]].map(|side| side as usize);
        for (y, row) in over.texels.chunks_exact(own).enumerate() {
            let from = (top + y) * width + left;
            let under = &mut self.texels[from..from + own];
            if part.flip {
                under.iter_mut().zip(row.iter().rev()).for_each(|(under, over)| cover(under, *over, space));
            } else {
                under.iter_mut().zip(row).for_each(|(under, over)| cover(under, *over, space));
            }
        }
    }
}

/// Source-over of straight colours (Porter and Duff, Compositing Digital Images, 1984), in the space that the renderer mixes in. Where either
/// hides or holds nothing, no bit changes.
fn cover(under: &mut [u16; 4], over: [u16; 4], space: &Space) {
    if over[3] == 0 {
        return;
    }
    if over[3] == u16::MAX || under[3] == 0 {
        *under = over;
        return;
    }
    const FULL: f32 = 65535.0;
    let [colour, below] =
        [over, *under].map(|[r, g, b, _]| space.enter([r, g, b].map(|code| f32::from(code) / FULL)));
    let [alpha, left] = [over[3], under[3]].map(|alpha| f32::from(alpha) / FULL);
    let rest = left * (1.0 - alpha);
    let all = alpha + rest;
    let mixed = [0, 1, 2].map(|at| (colour[at] * alpha + below[at] * rest) / all);
    let code = |value: f32| (value * FULL + 0.5) as u16;
    let [r, g, b] = space.leave(mixed).map(code);
    *under = [r, g, b, code(all)];
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scene::pictures::{DRAWN, Source};

    fn mixed(under: [u16; 4], over: [u16; 4], blending: Blending) -> [u16; 4] {
        let mut texel = under;
        cover(&mut texel, over, &Space::new(blending));
        texel
    }

    #[test]
    fn what_hides_or_holds_nothing_changes_no_bit() {
        let (red, clear) = ([51_111, 7, 9, 30_000], [1, 2, 3, 0]);
        for blending in [Blending::Encoded, Blending::Linear] {
            assert_eq!(mixed(clear, red, blending), red);
            assert_eq!(mixed(red, clear, blending), red);
            assert_eq!(mixed(red, [4, 5, 6, u16::MAX], blending), [4, 5, 6, u16::MAX]);
        }
    }

    #[test]
    fn half_over_half_covers_three_quarters() {
        // Porter and Duff 1984: alpha = a + b (1 - a); of the colour, premultiplied, two thirds are the upper one's.
        let (black, white) = ([0, 0, 0, 32_768], [65_535, 65_535, 65_535, 32_768]);
        let [r, g, b, alpha] = mixed(black, white, Blending::Encoded);
        assert!(alpha.abs_diff(49_152) <= 2, "{alpha}");
        assert!([r, g, b].iter().all(|code| code.abs_diff(43_690) <= 2), "{r} {g} {b}");
        // IEC 61966-2-1: two thirds of linear light are 0.8325 encoded (1.055 x^(1/2.4) - 0.055 with x = 2/3).
        let [r, ..] = mixed(black, white, Blending::Linear);
        let code = (1.055 * libm::pow(2.0 / 3.0, 1.0 / 2.4) - 0.055) * 65_535.0;
        assert!((f64::from(r) - code).abs() < 40.0, "{r} {code}");
    }

    /// Four places of one file in two sizes, and one of a copy of it under another name.
    #[test]
    fn a_picture_is_drawn_once_at_each_size_however_often_it_stands_there() {
        let texels: Vec<u8> = (0..12_u8).flat_map(|at| [at, 2 * at, 90, 255]).collect();
        let mut file = Vec::new();
        image::ImageEncoder::write_image(
            image::codecs::png::PngEncoder::new(&mut file),
            &texels,
            4,
            3,
            image::ExtendedColorType::Rgba8,
        )
        .expect("a PNG");
        let (mut pictures, limits) = (Pictures::default(), Limits::default());
        for name in ["post.png", "copy.png"] {
            pictures.add("posts", Source::from_bytes(name, file.clone(), &limits).expect("a picture"));
        }
        let part = |source, left, texels, flip| Part { source, corner: [left, 0], texels, flip };
        let (own, half) = ([4, 3], [2, 2]);
        let parts = [
            part(0, 0, own, false),
            part(0, 4, own, true),
            part(0, 8, half, false),
            part(1, 10, own, false),
            part(0, 14, half, true),
        ];
        let before = DRAWN.get();
        let whole = pictures.assembled("posts", &parts, ([16, 3], false), Blending::Encoded, &limits);
        let whole = whole.expect("a picture");
        assert_eq!(DRAWN.get() - before, 2);
        let row = |from: usize, to: usize| &whole.texels[16 + from..16 + to];
        assert_eq!(row(0, 4), row(10, 14));
        let mirrored: Vec<[u16; 4]> = row(4, 8).iter().rev().copied().collect();
        assert_eq!(row(0, 4), mirrored);
        assert_eq!(row(0, 1), [[4 * 257, 8 * 257, 90 * 257, u16::MAX]]);
    }
}

//! Lettering for labels: an alphabet of strokes, so that no font file is needed and labels look alike on every machine.
//!
//! Covers ASCII and a few signs; what it doesn't know is drawn as an empty box.

mod strokes;

use resvg::tiny_skia;
use strokes::Glyph;
use tiny_skia::{FillRule, LineCap, LineJoin, Path, PathBuilder, Rect, Stroke, Transform};

/// Units from the deepest descender to the tallest ascender, with half a stroke on both sides.
const LINE: f32 = 21.4;
/// Units from a line's top to its baseline.
const BASELINE: f32 = 15.8;
/// Units between two characters.
const GAP: f32 = 3.6;
/// Width of a space in units, without the gaps beside it.
const SPACE: f32 = 2.4;
/// Width of the stroke in units.
const WEIGHT: f32 = 1.55;

/// How much of each texel a text covers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mask {
    /// Width and height in texels; either is at least 1.
    pub size: [u32; 2],
    /// 0 (none) to 255 (all), rows from the top.
    pub coverage: Vec<u8>,
}

/// Longest side of a mask in texels; what would stand beyond it is cut off.
const LONGEST: f32 = 32_768.0;

/// Draws one line of text. `size` is the height of the line in texels, from the deepest descender to the tallest ascender.
///
/// The mask is as high as the line and as wide as the text; texts of one size share a baseline. Control characters
/// are left out.
pub fn draw(text: &str, size: f32) -> Mask {
    let scale = size.clamp(1.0, 1024.0) / LINE;
    let width = (width(text, size).ceil().clamp(1.0, LONGEST)) as u32;
    let height = (LINE * scale).ceil() as u32;
    let blank = Mask { size: [width, height], coverage: vec![0; width as usize * height as usize] };
    let stroke =
        Stroke { width: WEIGHT, line_cap: LineCap::Round, line_join: LineJoin::Round, ..Stroke::default() };
    let drawn = tiny_skia::Mask::new(width, height).zip(path(text)).and_then(|(mut mask, path)| {
        // A path of strokes becomes one of outlines, with curves fine enough for the size.
        let outline = path.stroke(&stroke, scale)?;
        let place =
            Transform::from_row(scale, 0.0, 0.0, -scale, 0.5 * WEIGHT * scale, (BASELINE * scale).round());
        mask.fill_path(&outline, FillRule::Winding, true, place);
        Some(mask.data().to_vec())
    });
    drawn.map_or(blank, |coverage| Mask { size: [width, height], coverage })
}

/// Width of a text in texels at this size of its line; 0 where it holds nothing.
pub fn width(text: &str, size: f32) -> f32 {
    let units: f32 = characters(text).map(|(_, width)| width + GAP).sum::<f32>() - GAP;
    if units <= 0.0 { 0.0 } else { (units + WEIGHT) * size.clamp(1.0, 1024.0) / LINE }
}

impl Mask {
    /// Lays `colour` through the mask onto opaque 8-bit RGBA texels, `width` to a row; the mask's top left corner stands at
    /// `place`, and what falls outside is cut off.
    pub fn stamp(&self, place: [i64; 2], colour: [u8; 3], texels: &mut [u8], width: u32) {
        let across = i64::from(width);
        for (at, &cover) in self.coverage.iter().enumerate() {
            let x = place[0] + (at % self.size[0] as usize) as i64;
            let y = place[1] + (at / self.size[0] as usize) as i64;
            if cover == 0 || !(0..across).contains(&x) || y < 0 {
                continue;
            }
            let Some(texel) =
                texels.get_mut((y * across + x) as usize * 4..).and_then(|rest| rest.get_mut(..3))
            else {
                continue;
            };
            for (under, over) in texel.iter_mut().zip(colour) {
                let (under_part, over_part) =
                    (u32::from(*under) * (255 - u32::from(cover)), u32::from(over) * u32::from(cover));
                *under = ((under_part + over_part + 127) / 255) as u8;
            }
        }
    }
}

/// The characters of a text with their widths in units; none: a space.
fn characters(text: &str) -> impl Iterator<Item = (Option<&'static Glyph>, f32)> {
    text.chars().filter(|c| !c.is_control()).map(|c| {
        if c.is_whitespace() {
            return (None, SPACE);
        }
        let glyph = strokes::find(c);
        (Some(glyph), glyph.width)
    })
}

/// The strokes of a text in units, y upward from the baseline.
fn path(text: &str) -> Option<Path> {
    let mut builder = PathBuilder::new();
    let mut left = 0.0;
    for (glyph, width) in characters(text) {
        if let Some(glyph) = glyph {
            trace(glyph.strokes, left, &mut builder);
        }
        left += width + GAP;
    }
    builder.finish()
}

/// Adds the strokes of one glyph: `M x y`, `L x y ...` and `C x1 y1 x2 y2 x y ...` as in SVG's path data, `O x y rx ry` for
/// an ellipse about (x, y).
fn trace(strokes: &str, left: f32, builder: &mut PathBuilder) {
    let mut words = strokes.split_ascii_whitespace().peekable();
    let mut command = "";
    while let Some(&word) = words.peek() {
        if word.parse::<f32>().is_err() {
            command = word;
            words.next();
        }
        let mut number = || words.next().and_then(|word| word.parse().ok()).unwrap_or(0.0_f32);
        match command {
            "M" => builder.move_to(number() + left, number()),
            "L" => builder.line_to(number() + left, number()),
            "C" => {
                let [a, b, c, d, x, y] = std::array::from_fn(|_| number());
                builder.cubic_to(a + left, b, c + left, d, x + left, y);
            }
            _ => {
                let [x, y, rx, ry] = std::array::from_fn(|_| number());
                if let Some(rect) = Rect::from_ltrb(x + left - rx, y - ry, x + left + rx, y + ry) {
                    builder.push_oval(rect);
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ink(mask: &Mask) -> u64 {
        mask.coverage.iter().map(|&cover| u64::from(cover)).sum()
    }

    #[test]
    fn every_ascii_character_has_strokes_inside_its_own_width() {
        for c in '!'..='~' {
            let glyph = strokes::find(c);
            assert_eq!(glyph.character, c, "{c} isn't drawn");
            let mut builder = PathBuilder::new();
            trace(glyph.strokes, 0.0, &mut builder);
            let bounds = builder.finish().and_then(|path| path.compute_tight_bounds()).expect("strokes");
            assert!(bounds.left() >= -0.01 && bounds.right() <= glyph.width + 0.01, "{c}: {bounds:?}");
            let over = bounds.bottom() <= BASELINE - 0.5 * WEIGHT;
            let under = -bounds.top() <= LINE - BASELINE - 0.5 * WEIGHT;
            assert!(over && under, "{c}: {bounds:?}");
        }
    }

    #[test]
    fn no_two_characters_look_alike() {
        let masks: Vec<(char, Mask)> = ('!'..='~').map(|c| (c, draw(&c.to_string(), 40.0))).collect();
        for (at, (a, mask)) in masks.iter().enumerate() {
            assert!(ink(mask) > 0, "{a} is blank");
            for (b, other) in &masks[at + 1..] {
                assert!(mask != other, "{a} and {b} look alike");
            }
        }
    }

    #[test]
    fn the_mask_holds_all_of_the_text() {
        // The middle of a wide enough canvas has as much ink: nothing is cut off at an edge.
        let alone = draw("jQ", 200.0);
        let framed = draw(".jQ.", 200.0);
        let dots = 2 * ink(&draw(".", 200.0));
        let (whole, parts) = (ink(&framed), ink(&alone) + dots);
        assert!(whole.abs_diff(parts) * 150 < whole, "{whole} against {parts}");
    }

    #[test]
    fn odd_texts_are_drawn_without_fuss() {
        assert_eq!(draw("", 20.0).size[0], 1);
        assert_eq!(ink(&draw(" \n\t", 20.0)), 0);
        assert!(ink(&draw("霧", 20.0)) > 0, "a box stands for what is unknown");
        assert_eq!(draw(&"m".repeat(100_000), 20.0).size[0], 32_768);
        assert!(draw("a", f32::INFINITY).size[1] <= 1025);
    }

    #[test]
    fn a_stamp_is_cut_off_at_the_edges() {
        let mask = Mask { size: [2, 2], coverage: vec![255, 255, 255, 128] };
        let mut texels = vec![0; 2 * 2 * 4];
        mask.stamp([1, 1], [200, 100, 50], &mut texels, 2);
        assert_eq!(&texels[12..15], &[200, 100, 50]);
        assert!(texels[..12].iter().all(|&code| code == 0));
        mask.stamp([-1, -1], [200, 100, 50], &mut texels, 2);
        assert_eq!(&texels[..3], &[100, 50, 25]);
    }
}

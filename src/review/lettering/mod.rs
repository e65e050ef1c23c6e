//! Lettering for labels: an alphabet of strokes, so that no font file is needed and labels look alike on every machine.
//!
//! Covers ASCII and a few signs; what it doesn't know is drawn as an empty box.
//!
//! What a font would take instead: five crates more (a rasteriser, `ab_glyph`, of 7,400 lines, and `epaint_default_fonts`), 300 to
//! 360 KB of the program for one face, and two licences more (OFL, UFL); this is 120 lines and 5.6 KB of strokes.

use resvg::tiny_skia;
use tiny_skia::{FillRule, LineCap, LineJoin, PathBuilder, Rect, Stroke, Transform};

/// One line for each character: it, its width in units, and its strokes (see [`trace`]). Capitals are 14 units high, small letters
/// 10, ascenders 14.6; y runs upward.
const ALPHABET: &str = include_str!("alphabet.txt");
/// The box that stands for any other character: width and strokes.
const UNKNOWN: &str = "7 M 0 0 L 0 14 L 7 14 L 7 0 L 0 0";

/// Units from the deepest descender to the tallest ascender, with half a stroke on both sides.
const LINE: f32 = 21.4;
/// Units from a line's top to its baseline.
const BASELINE: f32 = 15.8;
/// Units between two characters. Chosen by eye, as are the next two.
const GAP: f32 = 3.6;
/// Width of a space in units, without the gaps beside it.
const SPACE: f32 = 2.4;
/// Width of the stroke in units.
const WEIGHT: f32 = 1.55;

/// Heights of a line in texels that can be drawn.
const SIZES: [f32; 2] = [1.0, 1024.0];
/// Longest side of a mask in texels; what would stand beyond it is cut off.
const LONGEST: f32 = 32_768.0;

/// How much of each texel a text covers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mask {
    /// Width and height in texels; either is at least 1.
    pub size: [u32; 2],
    /// 0 (none) to 255 (all), rows from the top.
    pub coverage: Vec<u8>,
}

/// Draws one line of text. `size` is the height of the line in texels, from the deepest descender to the tallest ascender.
///
/// The mask is as high as the line and as wide as the text; texts of one size share a baseline. Control characters
/// are left out.
pub fn draw(text: &str, size: f32) -> Mask {
    let scale = scale(size);
    let width = (width(text, size).ceil().clamp(1.0, LONGEST)) as u32;
    let height = (LINE * scale).ceil() as u32;
    let mut path = PathBuilder::new();
    let mut left = 0.0;
    for (width, strokes) in glyphs(text) {
        trace(strokes, left, &mut path);
        left += width + GAP;
    }
    let stroke =
        Stroke { width: WEIGHT, line_cap: LineCap::Round, line_join: LineJoin::Round, ..Stroke::default() };
    let drawn = tiny_skia::Mask::new(width, height).zip(path.finish()).and_then(|(mut mask, path)| {
        // A path of strokes becomes one of outlines, with curves fine enough for the size.
        let outline = path.stroke(&stroke, scale)?;
        let place =
            Transform::from_row(scale, 0.0, 0.0, -scale, 0.5 * WEIGHT * scale, (BASELINE * scale).round());
        mask.fill_path(&outline, FillRule::Winding, true, place);
        Some(mask.data().to_vec())
    });
    let coverage = drawn.unwrap_or_else(|| vec![0; width as usize * height as usize]);
    Mask { size: [width, height], coverage }
}

/// Width of a text in texels at this size of its line; 0 where it holds nothing.
pub fn width(text: &str, size: f32) -> f32 {
    let units: f32 = glyphs(text).map(|(width, _)| width + GAP).sum::<f32>() - GAP;
    if units <= 0.0 { 0.0 } else { (units + WEIGHT) * size.clamp(SIZES[0], SIZES[1]) / LINE }
}

/// Texels per unit.
fn scale(size: f32) -> f32 {
    size.clamp(SIZES[0], SIZES[1]) / LINE
}

impl Mask {
    /// Lays `colour` through the mask onto opaque 8-bit RGBA texels, `width` to a row; the mask's top left corner stands at
    /// `place`, and what falls outside is cut off.
    pub fn stamp(&self, place: [i64; 2], colour: [u8; 3], texels: &mut [u8], width: u32) {
        let (texels, across) = (texels.as_chunks_mut::<4>().0, i64::from(width));
        for (at, &cover) in self.coverage.iter().enumerate().filter(|(_, cover)| **cover > 0) {
            let x = place[0] + (at % self.size[0] as usize) as i64;
            let y = place[1] + (at / self.size[0] as usize) as i64;
            let at = usize::try_from(y * across + x).ok().filter(|_| (0..across).contains(&x));
            let Some(texel) = at.and_then(|at| texels.get_mut(at)) else { continue };
            for (under, over) in texel.iter_mut().zip(colour) {
                let mixed = u32::from(*under) * (255 - u32::from(cover)) + u32::from(over) * u32::from(cover);
                *under = ((mixed + 127) / 255) as u8;
            }
        }
    }
}

/// The characters of a text: widths in units, and strokes.
fn glyphs(text: &str) -> impl Iterator<Item = (f32, &'static str)> {
    text.chars().filter(|c| !c.is_control()).map(|c| match c.is_whitespace() {
        true => (SPACE, ""),
        false => glyph(c),
    })
}

fn glyph(character: char) -> (f32, &'static str) {
    let row = ALPHABET.lines().find_map(|row| row.strip_prefix(character)?.strip_prefix(' '));
    let (width, strokes) = row.unwrap_or(UNKNOWN).split_once(' ').unwrap_or_default();
    (width.parse().unwrap_or(SPACE), strokes)
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
            let (width, strokes) = glyph(c);
            assert_ne!((width, strokes), glyph('\u{fffd}'), "{c} isn't drawn");
            let mut builder = PathBuilder::new();
            trace(strokes, 0.0, &mut builder);
            let bounds = builder.finish().and_then(|path| path.compute_tight_bounds()).expect("strokes");
            assert!(bounds.left() >= -0.01 && bounds.right() <= width + 0.01, "{c}: {bounds:?}");
            let over = bounds.bottom() <= BASELINE - 0.5 * WEIGHT;
            let under = -bounds.top() <= LINE - BASELINE - 0.5 * WEIGHT;
            assert!(over && under, "{c}: {bounds:?}");
        }
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

//! Strokes of a slot: read from their file, or held in memory while somebody draws.

use crate::base::fault::Result;
use crate::base::limits::Limits;
use crate::base::words::Blending;
use crate::scene::StrokesPlace;
use crate::scene::pictures::known::Facts;
use crate::scene::pictures::set::Art;
use crate::scene::pictures::{Kind, Source, check_size, vector};
use crate::steps::strokes::Drawing;
use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::{Arc, OnceLock};

/// Strokes of a slot.
#[derive(Clone, Debug)]
pub(super) struct Strokes {
    pub art: Arc<Art>,
    pub drawing: Arc<Drawing>,
    /// What they were drawn from: where they stand, what is held in place of their file, and how finely.
    from: (StrokesPlace, Option<HeldDrawing>, Detail),
    /// What of them lies under their last line, where that was drawn by itself.
    under: Option<Arc<Drawing>>,
}

/// How finely strokes are drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Detail {
    /// Many times quicker, for drafts.
    Draft,
    /// As a run draws them.
    Full,
}

impl Detail {
    /// Most texels that strokes are drawn at: what becomes of them is blurred. Those of drafts are chosen so that a texel of a draft's fog
    /// has some of them.
    fn most(self) -> f64 {
        match self {
            Detail::Draft => 98_304.0,
            Detail::Full => 2_097_152.0,
        }
    }
}

/// Drawings that aren't in their files yet, by file.
pub type Held = BTreeMap<PathBuf, HeldDrawing>;

/// A drawing that isn't in its file yet.
#[derive(Clone, Debug)]
pub struct HeldDrawing {
    /// The text of an SVG.
    pub text: Arc<str>,
    /// Its last line, where that is known: a draft then draws nothing else.
    pub last: Option<Arc<LastLine>>,
}

impl PartialEq for HeldDrawing {
    fn eq(&self, other: &HeldDrawing) -> bool {
        self.text == other.text
    }
}

impl<T: Into<Arc<str>>> From<T> for HeldDrawing {
    fn from(text: T) -> HeldDrawing {
        HeldDrawing { text: text.into(), last: None }
    }
}

/// The last line of a drawing.
#[derive(Debug)]
pub struct LastLine {
    /// The drawing before it; none: it is the first.
    pub before: Option<Arc<str>>,
    /// Width and height of the drawing, px.
    pub natural: [f64; 2],
    /// The line.
    pub line: Line,
}

/// A line drawn by a round nib, in px of the drawing.
#[derive(Debug)]
pub struct Line {
    /// Its corners; a single one is a dot.
    pub points: Vec<[f64; 2]>,
    /// Width of the nib.
    pub width: f64,
    /// How much it counts, 0 to 1.
    pub strength: f64,
    /// Whether it clears.
    pub clears: bool,
}

impl Strokes {
    /// Those that stand at `place`, drawn at least as finely as `detail` asks; `held` is what stands in place of the file's, and `earlier`
    /// were those of the slot.
    pub fn anew(
        earlier: Option<Strokes>,
        place: &StrokesPlace,
        held: Option<&HeldDrawing>,
        detail: Detail,
        limits: &Limits,
    ) -> Result<Strokes> {
        if let Some(same) = earlier.as_ref().filter(|earlier| earlier.serves(place, held, detail)) {
            return Ok(same.clone());
        }
        let last = held.and_then(|held| Some((held, held.last.as_deref()?)));
        if let Some((held, last)) = last.filter(|_| detail == Detail::Draft) {
            return Strokes::with_line(earlier, place, held, last, limits);
        }
        Strokes::open(place, held, detail, limits)
    }

    /// Reads and draws them all.
    fn open(
        place: &StrokesPlace,
        held: Option<&HeldDrawing>,
        detail: Detail,
        limits: &Limits,
    ) -> Result<Strokes> {
        let source = match (held, &place.layer) {
            (Some(held), _) => Source::from_bytes(&place.file, held.text.as_bytes().to_vec(), limits)?,
            (None, Some(layer)) => Source::open_layer(&place.file, layer, limits)?,
            (None, None) => Source::open(&place.file, limits)?,
        };
        Strokes::draw(place, source, held, detail, limits)
    }

    /// Those of a file that was read.
    pub fn draw(
        place: &StrokesPlace,
        source: Source,
        held: Option<&HeldDrawing>,
        detail: Detail,
        limits: &Limits,
    ) -> Result<Strokes> {
        let texels = texels(place, source.kind, source.natural, detail);
        let picture = source.draw(texels, false, false, Blending::Encoded, limits)?;
        let drawing = Drawing::new(&picture, blake3::Hash::from_bytes(source.hash).to_hex().to_string());
        let art = Art::read(place.file.clone(), place.layer.clone(), Vec::new(), source);
        let from = (place.clone(), held.cloned(), detail);
        Ok(Strokes { art: Arc::new(art), drawing: Arc::new(drawing), from, under: None })
    }

    /// As drafts show them while somebody draws: only the last line is drawn, over what lies under it, which is known from `earlier` but for
    /// the first line of a drawing that was read.
    fn with_line(
        earlier: Option<Strokes>,
        place: &StrokesPlace,
        held: &HeldDrawing,
        last: &LastLine,
        limits: &Limits,
    ) -> Result<Strokes> {
        let LastLine { before, natural, line } = last;
        let size = texels(place, Kind::Svg, *natural, Detail::Draft);
        check_size(size, "the strokes would be drawn", limits).map_err(|fault| fault.in_file(&place.file))?;
        let known = earlier.as_ref().and_then(|earlier| earlier.under(place, before.as_ref()));
        let (under, warnings) = match (known.filter(|under| under.size == size), before) {
            (Some(under), _) => (under, earlier.map(|earlier| earlier.art.facts.warnings.clone())),
            (None, None) => (Arc::new(Drawing::empty(size)), None),
            (None, Some(text)) => {
                let read = Strokes::open(place, Some(&Arc::clone(text).into()), Detail::Draft, limits)?;
                (read.drawing, Some(read.art.facts.warnings.clone()))
            }
        };
        let stretch = [0, 1].map(|axis| f64::from(under.size[axis]) / natural[axis]);
        let cover = vector::line(line, under.size, stretch).map_err(|fault| fault.in_file(&place.file))?;
        let hash = blake3::hash(held.text.as_bytes()).to_hex().to_string();
        let drawing = under.with_line(&cover, line.clears, hash.clone());
        let facts = Facts { hash, natural: *natural, warnings: warnings.unwrap_or_default() };
        let (file, keys, source) = (place.file.clone(), Vec::new(), OnceLock::new());
        Ok(Strokes {
            art: Arc::new(Art { file, layer: None, facts, keys, source }),
            drawing: Arc::new(drawing),
            from: (place.clone(), Some(held.clone()), Detail::Draft),
            under: Some(under),
        })
    }

    /// What of these, which are a draft, lies under the last line of a drawing of which `before` is the rest.
    fn under(&self, place: &StrokesPlace, before: Option<&Arc<str>>) -> Option<Arc<Drawing>> {
        let (own, held, detail) = &self.from;
        let held = held.as_ref().filter(|_| *detail == Detail::Draft && is_alike(own, place))?;
        if before == Some(&held.text) {
            return Some(Arc::clone(&self.drawing));
        }
        let last = held.last.as_ref().filter(|last| last.before.as_ref() == before);
        self.under.clone().filter(|_| last.is_some())
    }

    /// Whether they are what a drawing from these would be, or a finer one.
    fn serves(&self, place: &StrokesPlace, held: Option<&HeldDrawing>, detail: Detail) -> bool {
        let (own, from, drawn) = &self.from;
        is_alike(own, place) && from.as_ref() == held && *drawn >= detail
    }

    /// Whether they are coarser than a run draws them.
    pub fn is_draft(&self) -> bool {
        self.from.2 == Detail::Draft
    }
}

/// Whether the same would be drawn at both.
fn is_alike(one: &StrokesPlace, other: &StrokesPlace) -> bool {
    (&one.file, &one.layer, one.width) == (&other.file, &other.layer, other.width)
}

/// How many texels they are drawn at.
fn texels(place: &StrokesPlace, kind: Kind, [width, height]: [f64; 2], detail: Detail) -> [u32; 2] {
    let wanted = match kind {
        Kind::Png => 1.0,
        Kind::Svg => place.width.map_or(1.0, |wanted| wanted.0 / width),
    };
    let factor = wanted.min((detail.most() / (width * height)).sqrt());
    [width, height].map(|side| (side * factor).round().max(1.0) as u32)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::Path;

    const SIZE: [f64; 2] = [400.0, 300.0];

    /// A drawing of paths in px, of a box in units of half a px that begins elsewhere.
    fn drawing(paths: &str) -> String {
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"400\" height=\"300\" viewBox=\"-20 30 800 600\"><g transform=\"translate(-20 30) scale(2)\">{paths}</g></svg>"
        )
    }

    fn path(d: &str, colour: &str, opacity: f64, width: f64) -> String {
        format!(
            "<path d=\"{d}\" fill=\"none\" stroke=\"{colour}\" stroke-opacity=\"{opacity}\" stroke-width=\"{width}\" stroke-linecap=\"round\" stroke-linejoin=\"round\"/>"
        )
    }

    /// A line that is drawn by itself lies over the rest as the SVG library draws the whole: within its rounding to 8 bits, of a colour and an alpha
    /// for each of two lines. Widths go from under a texel to half the drawing; a corner stands outside.
    #[test]
    fn a_last_line_by_itself_is_as_in_the_whole_drawing() {
        let limits = Limits::default();
        let place = StrokesPlace { weight: 1.0, ..StrokesPlace::of(Path::new("s.svg")) };
        let under = path("M40 60L300 200", "#fff", 0.5, 30.0);
        for (points, d, width, strength, clears) in [
            (vec![[20.0, 20.0], [380.0, 280.0], [200.0, 290.0]], "M20 20L380 280L200 290", 24.0, 0.7, false),
            (vec![[60.0, 150.0], [500.0, 100.0]], "M60 150L500 100", 120.0, 1.0, true),
            (vec![[100.0, 100.0]], "M100 100h.01", 40.0, 0.35, true),
            (vec![[10.0, 200.0], [390.0, 210.0]], "M10 200L390 210", 0.4, 1.0, false),
        ] {
            let colour = if clears { "#000" } else { "#fff" };
            let before: Arc<str> = drawing(&under).into();
            let text: Arc<str> = drawing(&format!("{under}{}", path(d, colour, strength, width))).into();
            let line = Line { points, width, strength, clears };
            let last = Some(Arc::new(LastLine { before: Some(before), natural: SIZE, line }));
            let alone = HeldDrawing { text: Arc::clone(&text), last };
            let [alone, whole] = [alone, text.into()].map(|held| {
                Strokes::anew(None, &place, Some(&held), Detail::Draft, &limits).expect("drawn").drawing
            });
            assert_eq!((alone.size, &alone.content), (whole.size, &whole.content));
            let pairs = alone.marks.iter().flatten().zip(whole.marks.iter().flatten());
            let off = pairs.map(|(a, b)| 255.0 * (a - b).abs()).fold(0.0, f32::max);
            assert!(off < 3.0, "{d}: {off} codes");
            assert!(whole.marks.iter().any(|mark| mark[1] > 0.0));
        }
    }
}

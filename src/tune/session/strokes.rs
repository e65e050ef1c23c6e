//! Strokes that are drawn on the page: paths in a vector drawing beside the scene.

use super::{Session, Step};
use crate::base::fault::{Class, Fault, Result};
use crate::base::files::{self, Over, Placed};
use crate::base::law;
use crate::base::units::{Camera, Px};
use crate::scene::pictures::{self, Held, HeldDrawing, Kind, LastLine, Line, Source};
use crate::scene::{Slot, StrokesPlace};
use crate::tune::write;
use serde::Deserialize;
use std::fmt::Write;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Most points of a stroke.
const MOST: usize = 4000;
/// Begins the lines of a recovery file that hold drawings.
const DRAWING: &str = "# drawing ";

/// A stroke into the fog of a slot.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::tune) struct Stroke {
    slot: String,
    /// Places of the view, scene px.
    points: Vec<[f64; 2]>,
    /// Where the camera stands meanwhile, scene px of travel.
    camera: Camera,
    /// Width of the nib, scene px.
    width: f64,
    /// How much it counts, 0 to 1.
    strength: f64,
    /// Whether it clears.
    clear: bool,
    /// All that comes under one name is one stroke.
    gesture: String,
}

impl Stroke {
    fn is_sound(&self) -> bool {
        let numbers =
            self.points.iter().flatten().chain([&self.camera.right.0, &self.camera.down.0, &self.width]);
        !self.points.is_empty()
            && self.points.len() <= MOST
            && numbers.into_iter().all(|number| number.abs() <= 1e7)
            && self.width >= 1.0
            && (0.0..=1.0).contains(&self.strength)
    }
}

impl Session {
    /// Draws a stroke as far as it is known; what comes of the same gesture replaces it.
    ///
    /// # Errors
    /// Where nothing can be drawn there; nothing has changed then.
    pub fn stroke(&mut self, stroke: &Stroke) -> Result<()> {
        let refused = |message: String, remedy: &str| Fault::new(Class::Usage, message).remedy(remedy);
        if !stroke.is_sound() {
            return Err(refused("the page's stroke can't be read".into(), "Reload the page.").into());
        }
        let version = Arc::clone(&self.current);
        let scene = &version.reading.scene;
        let slot = scene.slots.iter().find(|slot| slot.name == stroke.slot && slot.fog);
        let slot = slot.ok_or_else(|| {
            refused(format!("{} has no fog to draw in", stroke.slot), "Choose a slot with fog.")
        })?;
        let rate = law::pan_rate(scene.camera, slot.depth);
        let mut step = self.history[self.at].clone();
        let place = match &slot.strokes {
            Some(place) => place.clone(),
            None => self.begin(slot, &mut step)?,
        };
        // As the strokes that are drawn already are, since reading a drawing takes long.
        let strip = law::strip(scene.view, scene.travel, rate).map(|side| side.0.ceil());
        let natural = version.pictures.strokes_size(&slot.name).unwrap_or(strip);
        // None where the stroke begins the drawing.
        let before = match step.drawn.get(&place.file) {
            _ if slot.strokes.is_none() => None,
            Some(held) => {
                let goes_on = self.at > 0 && self.gesture.as_ref() == Some(&stroke.gesture);
                let before = goes_on.then(|| self.history[self.at - 1].drawn.get(&place.file));
                before.unwrap_or(Some(held)).map(|held| Arc::clone(&held.text))
            }
            None => Some(self.take_up(&place)?),
        };
        let moved = [stroke.camera.right * rate, stroke.camera.down * rate];
        let unit = place.width.map_or(1.0, |Px(width)| width / natural[0]);
        let line = line(stroke, &place, moved, unit);
        let (svg, alone) = with_path(before.as_deref().unwrap_or(&empty(natural)), &place, &line, natural)?;
        let mut drawn = Held::clone(&self.history[self.at].drawn);
        let last = alone.then(|| Arc::new(LastLine { before, natural, line }));
        drawn.insert(place.file, HeldDrawing { text: svg.into(), last });
        step.drawn = Arc::new(drawn);
        self.apply_step(step, Some(stroke.gesture.clone()))
    }

    /// Names a new drawing in the text of `step`.
    fn begin(&self, slot: &Slot, step: &mut Step) -> Result<StrokesPlace> {
        let folder = self.file.parent().unwrap_or(Path::new(""));
        let name = |count: u32| match count {
            1 => format!("{}.strokes.svg", slot.name),
            _ => format!("{}.strokes-{count}.svg", slot.name),
        };
        let is_free = |name: &String| {
            let file = folder.join(name);
            !step.drawn.contains_key(&file) && std::fs::symlink_metadata(file).is_err()
        };
        let name = (1..1000).map(name).find(is_free).unwrap_or_else(|| name(1000));
        let value = toml_edit::Value::from(name.as_str()).to_string();
        let location = self.location(Some(&slot.name), "slot.strokes");
        step.text = write::set(&self.file, &step.text, &location, &value)?.into();
        Ok(StrokesPlace { weight: 1.0, ..StrokesPlace::of(&folder.join(name)) })
    }

    /// The drawing that a file holds; from here on the page's steps hold it.
    fn take_up(&mut self, place: &StrokesPlace) -> Result<Arc<str>> {
        let bytes = pictures::content(&place.file, &self.limits)?;
        let source = Source::from_bytes(&place.file, bytes, &self.limits)?;
        let text = String::from_utf8(source.bytes.to_vec()).ok();
        let Some(text) = text.filter(|_| place.layer.is_none() && source.kind == Kind::Svg) else {
            return Err(Fault::new(
                Class::Usage,
                "the page draws in SVG files only, and these strokes aren't one",
            )
            .in_file(&place.file)
            .remedy("Draw where they were made, or take `strokes` out of the slot.")
            .into());
        };
        let text: Arc<str> = text.into();
        self.drawn_on_disk.insert(place.file.clone(), Arc::clone(&text));
        for step in &mut self.history {
            let held = || Arc::clone(&text).into();
            Arc::make_mut(&mut step.drawn).entry(place.file.clone()).or_insert_with(held);
        }
        Ok(text)
    }

    /// The drawings that aren't in their files yet.
    pub(super) fn undrawn(&self) -> impl Iterator<Item = (&PathBuf, &Arc<str>)> {
        let used = |file: &PathBuf| {
            let slots = &self.current.reading.scene.slots;
            slots.iter().any(|slot| slot.strokes.as_ref().is_some_and(|place| place.file == *file))
        };
        let drawn = self.history[self.at].drawn.iter().map(|(file, held)| (file, &held.text));
        drawn.filter(move |(file, text)| used(file) && self.drawn_on_disk.get(*file) != Some(*text))
    }

    /// Writes the drawings into their files.
    pub(super) fn save_drawn(&mut self) -> Result<()> {
        let due: Vec<(PathBuf, Arc<str>)> =
            self.undrawn().map(|(file, text)| (file.clone(), Arc::clone(text))).collect();
        for (file, text) in due {
            let placed = match self.drawn_on_disk.get(&file) {
                Some(known) => files::save(&file, known.as_bytes(), text.as_bytes())?,
                None => files::put(&file, text.as_bytes(), Over::Nothing)?,
            };
            if placed == Placed::Stands {
                return Err(Fault::new(
                    Class::Output,
                    "somebody else saved over the strokes; nothing was saved",
                )
                .in_file(&file)
                .remedy("Move that file away and save again.")
                .into());
            }
            self.drawn_on_disk.insert(file, text);
        }
        Ok(())
    }

    /// Leaves drawings to their files where those were changed since they were saved.
    pub(super) fn leave_drawn(&mut self) {
        let step = &self.history[self.at].drawn;
        let is_saved = |file: &PathBuf, text: &Arc<str>| self.drawn_on_disk.get(file) == Some(text);
        let is_other = |file: &PathBuf, text: &Arc<str>| {
            pictures::content(file, &self.limits).is_ok_and(|bytes| bytes != text.as_bytes())
        };
        let changed =
            step.iter().filter(|(file, held)| is_saved(file, &held.text) && is_other(file, &held.text));
        let changed: Vec<PathBuf> = changed.map(|(file, _)| file.clone()).collect();
        for file in changed {
            self.drawn_on_disk.remove(&file);
            for step in &mut self.history {
                Arc::make_mut(&mut step.drawn).remove(&file);
            }
        }
    }

    /// The unsaved text, with a line for each drawing that isn't in its file.
    pub fn unsaved_text(&self) -> Arc<str> {
        let mut text = self.text().to_string();
        for (file, drawing) in self.undrawn() {
            let name = file.file_name().unwrap_or_default().to_string_lossy();
            // Plain text can always be written.
            let line = serde_json::to_string(&(name, &**drawing)).unwrap_or_default();
            let gap = if text.is_empty() || text.ends_with('\n') { "" } else { "\n" };
            text += &format!("{gap}{DRAWING}{line}\n");
        }
        text.into()
    }

    /// The step that [`Session::unsaved_text`] wrote down.
    pub(super) fn recovered(&mut self, text: &str) -> Step {
        let mut step = self.with_text(text.into());
        let Some(at) = text.find(&format!("\n{DRAWING}")) else { return step };
        let folder = self.file.parent().unwrap_or(Path::new("")).to_path_buf();
        for line in text[at + 1..].lines().filter_map(|line| line.strip_prefix(DRAWING)) {
            let Ok((name, drawing)) = serde_json::from_str::<(String, String)>(line) else { continue };
            if !crate::output::manifest::stays_inside(&name) {
                continue;
            }
            let file = folder.join(name);
            // What the file holds now is a step back.
            let there =
                pictures::content(&file, &self.limits).ok().and_then(|bytes| String::from_utf8(bytes).ok());
            if let Some(there) = there.map(Arc::<str>::from) {
                self.drawn_on_disk.insert(file.clone(), Arc::clone(&there));
                for step in &mut self.history {
                    let held = || Arc::clone(&there).into();
                    Arc::make_mut(&mut step.drawn).entry(file.clone()).or_insert_with(held);
                }
            }
            Arc::make_mut(&mut step.drawn).insert(file, drawing.into());
        }
        step.text = text[..=at].into();
        step
    }
}

/// A drawing without strokes.
fn empty([width, height]: [f64; 2]) -> String {
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height}\" viewBox=\"0 0 {width} {height}\">\n</svg>\n"
    )
}

/// A stroke as a line in px of its drawing, `unit` scene px each; `moved` is how far the slot has moved with the camera.
fn line(stroke: &Stroke, place: &StrokesPlace, moved: [Px; 2], unit: f64) -> Line {
    let own = |[x, y]: &[f64; 2]| [(x + (moved[0] - place.x).0) / unit, (y + (moved[1] - place.y).0) / unit];
    Line {
        points: stroke.points.iter().map(own).collect(),
        width: stroke.width / unit,
        strength: stroke.strength,
        clears: stroke.clear,
    }
}

/// The drawing, of the size `natural`, with one more line, and whether that is drawn as it stands, whatever else the drawing says.
fn with_path(svg: &str, place: &StrokesPlace, line: &Line, natural: [f64; 2]) -> Result<(String, bool)> {
    let odd = || {
        Fault::new(Class::Usage, "the page can't draw in this SVG file: its units or its form are unusual")
            .in_file(&place.file)
            .remedy("Draw in the program that made it.")
    };
    let Canvas { left_top: [left, top], scale, is_plain } = Canvas::of(svg, natural).ok_or_else(odd)?;
    let end = svg.rfind("</svg>").ok_or_else(odd)?;
    let mut d = String::new();
    for (at, [x, y]) in line.points.iter().enumerate() {
        let (x, y) = (left + x * scale, top + y * scale);
        // Writing to a text can't fail.
        let _ = write!(d, "{}{x:.2} {y:.2}", if at == 0 { "M" } else { "L" });
    }
    if line.points.len() == 1 {
        // A dot, by its round ends.
        d += "h.01";
    }
    let colour = if line.clears { "#000" } else { "#fff" };
    let (width, opacity) = (line.width * scale, line.strength);
    let path = format!(
        "<path d=\"{d}\" fill=\"none\" stroke=\"{colour}\" stroke-opacity=\"{opacity}\" stroke-width=\"{width:.2}\" stroke-linecap=\"round\" stroke-linejoin=\"round\"/>\n"
    );
    Ok((format!("{}{path}{}", &svg[..end], &svg[end..]), is_plain))
}

/// Attributes of a drawing's root that change nothing of how a path is drawn.
const PLAIN: [&str; 6] = ["width", "height", "viewBox", "preserveAspectRatio", "version", "id"];

/// What a path is drawn on.
struct Canvas {
    /// Left top of the drawing in its own units.
    left_top: [f64; 2],
    /// How many of its units a px is.
    scale: f64,
    /// Whether nothing in the drawing bears on a path at its end.
    is_plain: bool,
}

impl Canvas {
    /// That of a drawing; none where its units differ along x and y.
    fn of(svg: &str, natural: [f64; 2]) -> Option<Canvas> {
        use roxmltree::{Document, ParsingOptions};
        let options = ParsingOptions { allow_dtd: true, nodes_limit: 1 << 20, ..ParsingOptions::default() };
        let document = Document::parse_with_options(svg, options).ok()?;
        let root = document.root_element();
        let is_plain = root.attributes().all(|own| own.namespace().is_some() || PLAIN.contains(&own.name()))
            && !document.descendants().any(|node| node.tag_name().name() == "style");
        let Some(view) = root.attribute("viewBox") else {
            return Some(Canvas { left_top: [0.0, 0.0], scale: 1.0, is_plain });
        };
        let parts = view.split([' ', ',', '\t', '\n']).filter(|part| !part.is_empty());
        let parts: Vec<f64> = parts.map(|part| part.parse().ok()).collect::<Option<_>>()?;
        let [left, top, width, height] = parts.try_into().ok()?;
        let [across, down] = [width / natural[0], height / natural[1]];
        let is_even = (across - down).abs() <= 1e-3 * across;
        is_even.then_some(Canvas { left_top: [left, top], scale: across, is_plain })
    }
}

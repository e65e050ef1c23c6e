//! SVG files to texels. Nothing but the file itself is read, whatever it refers to.
//!
//! Source: Scalable Vector Graphics (SVG) 2 (W3C), as far as the library draws it.

use crate::base::fault::{Class, Fault};
use crate::base::room;
use crate::scene::pictures::bleeding::{Doubt, Doubtful, Row, Trust, bled, is_sure};
use crate::scene::pictures::{Line, contained, cost};
use resvg::tiny_skia::{
    IntSize, LineCap, LineJoin, Paint, PathBuilder, Pixmap, PremultipliedColorU8, Stroke, Transform,
};
use resvg::usvg::{self, ImageHrefResolver};
use roxmltree::{Document, Node};
use std::sync::Arc;
#[cfg(not(target_family = "wasm"))]
use std::{sync::mpsc, time::Duration};

/// Stack for the library, which recurses along the tree; only what is used is backed by memory.
#[cfg(not(target_family = "wasm"))]
const STACK: usize = 256 << 20;

/// Longest time that reading, or drawing, one SVG may take in a process that does more than that; honest drawings take far less.
#[cfg(not(target_family = "wasm"))]
const PATIENCE: Duration = Duration::from_secs(180);

/// In doubt under less than half alpha, where three steps of a premultiplied value are six of the colour. Faint shapes
/// of 8 bits trust their neighbours before they trust another shape far away.
const TRUST: Trust = Trust { known: 6 * 257, blind: 96 * 257 };

/// The library rounds a premultiplied value, after its own approximations, to within this many steps and a half.
const ERROR: u16 = 1;

pub(super) use resvg::usvg::Tree;

/// A parsed drawing.
pub(super) struct Drawing {
    /// Its own width and height, px.
    pub natural: [f64; 2],
    pub tree: Arc<Tree>,
    /// What of it isn't drawn.
    pub warnings: Vec<String>,
}

/// Parses the text and resolves everything in it.
pub(super) fn parse(bytes: &[u8]) -> Result<Drawing, Fault> {
    let text = std::str::from_utf8(bytes).map_err(|error| {
        Fault::new(Class::Picture, format!("the SVG is not in UTF-8 (byte {})", error.valid_up_to()))
            .remedy("Save it in UTF-8.")
    })?;
    cost::check_text(text)?;
    let text = text.to_owned();
    apart("read", move || {
        let options = roxmltree::ParsingOptions {
            allow_dtd: true,
            nodes_limit: cost::MOST_NODES,
            ..Default::default()
        };
        let document = Document::parse_with_options(&text, options).map_err(malformed)?;
        cost::check_references(&document)?;
        let warnings = warnings(&document);
        let tree = Tree::from_xmltree(&document, &options_without_files()).map_err(unusable)?;
        let natural = [tree.size().width(), tree.size().height()].map(f64::from);
        Ok(Drawing { natural, tree: Arc::new(tree), warnings })
    })
}

/// What isn't drawn: its name, its elements, the remedy.
const UNDRAWN: [(&str, &[&str], &str); 4] = [
    ("text", &["text"], "convert it to paths"),
    (
        "an embedded or linked picture",
        &["image", "feImage"],
        "put it in a slot of its own, or save the whole as PNG",
    ),
    ("a foreign object", &["foreignObject"], "convert it to paths"),
    (
        "an animation",
        &["animate", "animateTransform", "animateMotion", "set"],
        "the drawing is used without it",
    ),
];

/// What isn't drawn, each with the line where it first stands.
fn warnings(document: &Document) -> Vec<String> {
    let first = |wanted: &dyn Fn(&Node) -> bool| {
        let node = document.descendants().filter(Node::is_element).find(wanted)?;
        Some(document.text_pos_at(node.range().start).row)
    };
    let mut warnings = Vec::new();
    for (what, names, remedy) in UNDRAWN {
        let line = first(&|node| names.contains(&node.tag_name().name()) && says_something(*node));
        warnings.extend(line.map(|line| format!("{what} is not drawn (line {line}): {remedy}")));
    }
    let others = ["a", "image", "feImage", "script"];
    let line = first(&|node| !others.contains(&node.tag_name().name()) && !links_inside(*node));
    warnings.extend(
        line.map(|line| format!("content of another file is not drawn (line {line}): copy it into this one")),
    );
    warnings
}

/// Whether something would be seen of it: text that isn't blank; an feImage draws elements of the drawing itself.
fn says_something(node: Node) -> bool {
    match node.tag_name().name() {
        "text" => node
            .descendants()
            .filter(Node::is_text)
            .filter_map(|node| node.text())
            .any(|text| !text.trim().is_empty()),
        "feImage" => !links_inside(node),
        _ => true,
    }
}

/// Whether it has no link, or one to an element of the same file.
fn links_inside(node: Node) -> bool {
    let link = node.attributes().find(|attribute| attribute.name() == "href");
    link.is_none_or(|link| link.value().trim().starts_with('#'))
}

/// Draws the tree at exactly `size`, which is within the limits.
pub(super) fn draw(tree: &Arc<Tree>, size: [u32; 2]) -> Result<Drawn, Fault> {
    let tree = Arc::clone(tree);
    apart("drawn", move || {
        let own = tree.size();
        let stretch = Transform::from_scale(size[0] as f32 / own.width(), size[1] as f32 / own.height());
        cost::check_drawing(&tree, stretch, size)?;
        let bytes = 4 * size[0] as usize * size[1] as usize;
        let whole = IntSize::from_wh(size[0], size[1]);
        let pixmap = whole.zip(Some(room::zeroed(bytes, "a drawing")?));
        let mut pixmap =
            pixmap.and_then(|(whole, bytes)| Pixmap::from_vec(bytes, whole)).ok_or_else(|| {
                Fault::new(Class::Limit, "no drawing can be of this size").remedy("Make it smaller.")
            })?;
        resvg::render(&tree, stretch, &mut pixmap.as_mut());
        Ok(Drawn(pixmap))
    })
}

/// What was drawn: premultiplied colours of 8 bits.
pub(super) struct Drawn(Pixmap);

impl Drawn {
    /// Hands its rows to `take`, from the top, in straight colours with 16 bits per sample; those under low alpha are taken from around.
    pub fn rows(&self, wraps: bool, take: &mut dyn FnMut(&mut [[u16; 4]])) {
        bled(self, TRUST, wraps, &mut |_, row| take(row));
    }
}

/// Pixels that are looked at together: drawings are clear or opaque for the most part.
const TOGETHER: usize = 16;

impl Doubtful for Drawn {
    fn size(&self) -> [usize; 2] {
        [self.0.width() as usize, self.0.height() as usize]
    }

    fn row(&self, y: usize, row: &mut Row) {
        let width = self.0.width() as usize;
        row.texels.resize(width, [0; 4]);
        row.sure.resize(width, false);
        let mut last = None;
        let texels = row.texels.chunks_mut(TOGETHER).zip(row.sure.chunks_mut(TOGETHER));
        for (pixels, (texels, sure)) in self.0.pixels()[y * width..][..width].chunks(TOGETHER).zip(texels) {
            let some = pixels.iter().fold(0, |all, pixel| all | pixel.alpha());
            let full = pixels.iter().fold(u8::MAX, |all, pixel| all & pixel.alpha());
            if some == 0 {
                texels.fill([0; 4]);
                sure.fill(false);
                continue;
            }
            if full == u8::MAX {
                for (texel, pixel) in texels.iter_mut().zip(pixels) {
                    let codes = [pixel.red(), pixel.green(), pixel.blue(), u8::MAX];
                    *texel = codes.map(|code| u16::from(code) * 257);
                }
                sure.fill(true);
                continue;
            }
            for ((texel, sure), pixel) in texels.iter_mut().zip(sure).zip(pixels) {
                // Also what is translucent is flat for the most part.
                (*texel, *sure) = match last {
                    Some((same, known)) if same == *pixel => known,
                    _ => (straightened(*pixel), is_known(*pixel)),
                };
                last = Some((*pixel, (*texel, *sure)));
            }
        }
    }

    fn doubt(&self, at: usize) -> Doubt {
        doubt(self.0.pixels()[at])
    }
}

/// Alpha at each texel of a line over a drawing of `size` texels, `stretch` of them a px, as the library draws it in an SVG.
pub(super) fn line(line: &Line, size: [u32; 2], stretch: [f64; 2]) -> Result<Vec<u8>, Fault> {
    let mut path = PathBuilder::new();
    for (at, [x, y]) in line.points.iter().map(|point| point.map(|side| side as f32)).enumerate() {
        if at == 0 { path.move_to(x, y) } else { path.line_to(x, y) }
    }
    if let [[x, y]] = line.points[..] {
        // A dot, by its round ends.
        path.line_to(x as f32 + 0.01, y as f32);
    }
    let stroke = Stroke {
        width: line.width as f32,
        line_cap: LineCap::Round,
        line_join: LineJoin::Round,
        ..Stroke::default()
    };
    let mut paint = Paint::default();
    paint.set_color_rgba8(255, 255, 255, (line.strength * 255.0).round() as u8);
    let stretch = Transform::from_scale(stretch[0] as f32, stretch[1] as f32);
    contained(move || {
        let whole = IntSize::from_wh(size[0], size[1]);
        let bytes = room::zeroed(4 * size[0] as usize * size[1] as usize, "a line")?;
        let pixmap = whole.and_then(|whole| Pixmap::from_vec(bytes, whole));
        let (Some(mut pixmap), Some(path)) = (pixmap, path.finish()) else {
            // As the library leaves out what has no finite place.
            return Ok(vec![0; size[0] as usize * size[1] as usize]);
        };
        pixmap.stroke_path(&path, &paint, &stroke, stretch, None);
        Ok(pixmap.pixels().iter().map(|pixel| pixel.alpha()).collect())
    })
}

/// What a premultiplied value leaves in doubt.
fn doubt(pixel: PremultipliedColorU8) -> Doubt {
    let colour = [pixel.red(), pixel.green(), pixel.blue()].map(u16::from);
    Doubt::new(colour, u16::from(pixel.alpha()), ERROR)
}

/// Whether a pixel's colour is known to within [`TRUST`]: from half alpha on, each is.
fn is_known(pixel: PremultipliedColorU8) -> bool {
    pixel.alpha() >= 128 || is_sure(doubt(pixel), TRUST)
}

/// A premultiplied value as a straight colour of 16 bits.
fn straightened(pixel: PremultipliedColorU8) -> [u16; 4] {
    let colour = [pixel.red(), pixel.green(), pixel.blue()].map(u16::from);
    let alpha = u16::from(pixel.alpha());
    let straight = |value: u16| (value * 255 + alpha / 2).checked_div(alpha).map_or(0, |code| code * 257);
    let [r, g, b] = colour.map(straight);
    [r, g, b, alpha * 257]
}

/// Options under which no file is read and no picture inside the SVG is drawn.
fn options_without_files() -> usvg::Options<'static> {
    usvg::Options {
        image_href_resolver: ImageHrefResolver {
            resolve_data: Box::new(|_, _, _| None),
            resolve_string: Box::new(|_, _| None),
        },
        ..usvg::Options::default()
    }
}

/// Runs the library on the one thread that there is; the host bounds its stack and its time.
#[cfg(target_family = "wasm")]
fn apart<T>(_: &str, run: impl FnOnce() -> Result<T, Fault>) -> Result<T, Fault> {
    contained(run)
}

/// Runs the library on a thread with a large stack, with its panics contained and its time bounded. When the time
/// is up, the thread is left behind; it ends with the process at the latest.
#[cfg(not(target_family = "wasm"))]
fn apart<T: Send + 'static>(
    what: &str,
    run: impl FnOnce() -> Result<T, Fault> + Send + 'static,
) -> Result<T, Fault> {
    let (send, receive) = mpsc::channel();
    std::thread::Builder::new()
        .name("svg".into())
        .stack_size(STACK)
        .spawn(move || {
            // Nobody listens any more once the time is up.
            let _ = send.send(contained(run));
        })
        .map_err(|error| {
            Fault::new(Class::Limit, format!("there is not enough memory to read an SVG: {error}"))
                .remedy("Close other programs.")
        })?;
    receive.recv_timeout(PATIENCE).unwrap_or_else(|_| {
        Err(Fault::new(
            Class::Limit,
            format!("the SVG is not {what} after {} seconds; it is too complex", PATIENCE.as_secs()),
        )
        .remedy("Simplify it, or save it as PNG."))
    })
}

fn malformed(error: roxmltree::Error) -> Fault {
    use roxmltree::Error;
    match error {
        Error::NodesLimitReached => cost::too_many(),
        Error::EntityReferenceLoop(at) => cost::swelling_entities(&format!("line {}", at.row)),
        error => Fault::new(Class::Picture, format!("the SVG is malformed: {error}"))
            .remedy("Save it again as SVG."),
    }
}

fn unusable(error: usvg::Error) -> Fault {
    match error {
        usvg::Error::InvalidSize => Fault::new(Class::Picture, "the SVG has no size")
            .remedy("Give its root element a width and a height above 0, or a viewBox."),
        usvg::Error::ElementsLimitReached => cost::too_many(),
        usvg::Error::ParsingFailed(error) => malformed(error),
        error => Fault::new(Class::Picture, format!("the SVG can't be used: {error}"))
            .remedy("Save it again as plain SVG."),
    }
}

//! Memory that drawing a tree takes, counted before any of it is drawn, and shapes that no drawing survives.

use crate::base::fault::{Class, Fault};
use resvg::tiny_skia::Transform;
use resvg::usvg::{Group, Node, Paint, Path, Tree, filter};

/// Most bytes of layers besides the drawing itself, and as many times the drawing.
const MOST_MEMORY: f64 = 2e9;
const MOST_DRAWINGS: f64 = 16.0;

/// How far from the drawing's corner a shape may reach, texels: much beyond, the library's arithmetic fails, and its panic can't be
/// contained.
const FAR: f32 = 1e6;

/// How far the library lets layers reach, in sides of the drawing.
const LAYERS_REACH: f32 = 5.0;

/// Most groups, shapes and filters that are looked at, those of masks and patterns wherever they are used.
const MOST_LOOKS: u32 = 10_000_000;

/// Checks what drawing the tree would take, stretched by `transform`, on `size` texels.
pub(in crate::scene::pictures) fn check_drawing(
    tree: &Tree,
    transform: Transform,
    size: [u32; 2],
) -> Result<(), Fault> {
    let size = size.map(|side| side as f32);
    let area = f64::from(size[0]) * f64::from(size[1]);
    let mut memory = Memory { looks: 0, most: MOST_MEMORY + MOST_DRAWINGS * 4.0 * area };
    let canvas = Canvas { area, most: size.map(|side| LAYERS_REACH * side), held: 0.0 };
    memory.nodes(tree.root(), transform, canvas)
}

/// What is drawn on.
#[derive(Clone, Copy)]
struct Canvas {
    /// Texels.
    area: f64,
    /// Width and height that layers on it are cut to, texels.
    most: [f32; 2],
    /// Bytes of it and of all that it is drawn into.
    held: f64,
}

/// What may be held.
struct Memory {
    looks: u32,
    /// Most bytes at the same time.
    most: f64,
}

type Check = Result<(), Fault>;

impl Memory {
    fn look(&mut self) -> Check {
        self.looks += 1;
        if self.looks <= MOST_LOOKS {
            return Ok(());
        }
        Err(Fault::new(Class::Limit, "the SVG takes too long to draw at this size")
            .remedy("Simplify its filters, patterns and masks, or save it as PNG."))
    }

    /// A canvas of `area` texels of `bytes` each, besides what is held already.
    fn hold(&mut self, canvas: Canvas, area: f64, bytes: f64) -> Result<Canvas, Fault> {
        let held = canvas.held + area * bytes;
        // NaN is over the limit too.
        if held <= self.most {
            return Ok(Canvas { area, held, ..canvas });
        }
        Err(Fault::new(Class::Limit, "the SVG's layers take too much memory to draw at this size")
            .remedy("Simplify its filters, masks and nested groups, or save it as PNG."))
    }

    fn nodes(&mut self, group: &Group, transform: Transform, canvas: Canvas) -> Check {
        for node in group.children() {
            self.look()?;
            match node {
                Node::Group(group) => self.group(group, transform, canvas)?,
                Node::Path(path) => self.path(path, transform, canvas)?,
                // Neither is drawn: the tree has no fonts, and pictures were refused.
                Node::Image(_) | Node::Text(_) => {}
            }
        }
        Ok(())
    }

    fn group(&mut self, group: &Group, transform: Transform, mut canvas: Canvas) -> Check {
        let mut transform = transform.pre_concat(group.transform());
        if !group.should_isolate() {
            return self.nodes(group, transform, canvas);
        }
        // A filtered layer is upright in the filter's own space: the rotation and skew are applied after it.
        if !group.filters().is_empty() {
            let (sx, sy) = transform.get_scale();
            let Transform { sx: a, ky: b, kx: c, sy: d, .. } = transform;
            // The library draws nothing where this fails.
            let turn = Transform::from_row(a / sx, b / sx, c / sy, d / sy, 0.0, 0.0);
            let Some(back) = turn.invert() else { return Ok(()) };
            transform = back.pre_concat(transform);
            canvas.most = extent(back, canvas.most);
        }
        let bounds = group.layer_bounding_box();
        let [width, height] = extent(transform, [bounds.width(), bounds.height()]);
        let area = area(width.min(canvas.most[0]), height.min(canvas.most[1]));
        let layer = self.hold(canvas, area, 4.0)?;
        self.nodes(group, transform, layer)?;
        for filter in group.filters() {
            self.filter(filter, transform, layer)?;
        }
        // Clip paths and masks may have others of their own.
        let (mut below, mut clip) = (layer, group.clip_path());
        while let Some(here) = clip {
            below = self.part(here.root(), transform.pre_concat(here.transform()), below, (area, 5.0))?;
            clip = here.clip_path();
        }
        let (mut below, mut mask) = (layer, group.mask());
        while let Some(here) = mask {
            below = self.part(here.root(), transform, below, (area, 6.0))?;
            mask = here.mask();
        }
        Ok(())
    }

    /// What is drawn on a canvas of its own, of `bytes` for each of `area` texels; gives that canvas.
    fn part(
        &mut self,
        root: &Group,
        transform: Transform,
        canvas: Canvas,
        (area, bytes): (f64, f64),
    ) -> Result<Canvas, Fault> {
        let canvas = self.hold(canvas, area, bytes)?;
        self.nodes(root, transform, canvas)?;
        Ok(canvas)
    }

    fn path(&mut self, path: &Path, transform: Transform, canvas: Canvas) -> Check {
        let reach =
            path.stroke_bounding_box().transform(transform).or(path.bounding_box().transform(transform));
        let near = |edge: f32| edge.abs() <= FAR;
        if !reach.is_some_and(|r| [r.left(), r.top(), r.right(), r.bottom()].into_iter().all(near)) {
            return Err(Fault::new(Class::Limit, format!("a shape of the SVG extends beyond {FAR} texels"))
                .remedy("Look for a mistyped number, or move what lies outside the picture closer."));
        }
        let paints = [path.fill().map(|fill| fill.paint()), path.stroke().map(|stroke| stroke.paint())];
        for paint in paints.into_iter().flatten() {
            let Paint::Pattern(pattern) = paint else { continue };
            let (sx, sy) = transform.pre_concat(pattern.transform()).get_scale();
            let area = area(pattern.rect().width() * sx, pattern.rect().height() * sy);
            self.part(pattern.root(), Transform::from_scale(sx, sy), canvas, (area, 4.0))?;
        }
        Ok(())
    }

    fn filter(&mut self, filter: &filter::Filter, transform: Transform, canvas: Canvas) -> Check {
        let area = canvas.area;
        let (sx, sy) = transform.get_scale();
        let mut canvas = self.hold(canvas, area, 8.0)?;
        for primitive in filter.primitives() {
            self.look()?;
            // Every result is kept until the filter is done; blurs take three more on the way.
            canvas = self.hold(canvas, area, 4.0)?;
            self.hold(canvas, area, 12.0)?;
            if let filter::Kind::Image(fe) = primitive.kind() {
                self.nodes(fe.root(), Transform::from_scale(sx, sy), canvas)?;
            }
        }
        Ok(())
    }
}

/// Width and height of what a rectangle of this size becomes.
fn extent(by: Transform, [width, height]: [f32; 2]) -> [f32; 2] {
    [(by.sx * width).abs() + (by.kx * height).abs(), (by.ky * width).abs() + (by.sy * height).abs()]
}

/// Texels of a layer of this size, its edges included.
fn area(width: f32, height: f32) -> f64 {
    f64::from(width.ceil() + 4.0) * f64::from(height.ceil() + 4.0)
}

//! Memory and work that drawing a tree takes, bounded from above, before any of it is drawn.

use crate::base::fault::{Class, Fault};
use resvg::tiny_skia::{PathSegment, Point, Rect, Transform};
use resvg::usvg::{ClipPath, Group, Mask, Node, Paint, Path, Pattern, Tree, filter};

/// Most work, in nanoseconds on one core of 2020 or so: half a minute. The weights below are from drawing 2000 x 1000 texels.
const MOST_WORK: f64 = 3e10;

/// Most bytes of layers besides the drawing itself, and as many times the drawing.
const MOST_MEMORY: f64 = 2e9;
const MOST_DRAWINGS: f64 = 16.0;

/// How far from the drawing's corner a shape may reach, texels: much beyond, the library's arithmetic fails, and its panic can't be
/// contained.
const FAR: f32 = 1e6;

/// Work of drawing anything at all.
const CALL: f64 = 2000.0;

/// Checks what drawing the tree would take, stretched by `transform`, on `size` texels.
pub(in crate::scene::pictures) fn tree(
    tree: &Tree,
    transform: Transform,
    size: [u32; 2],
) -> Result<(), Fault> {
    let [width, height] = size.map(|side| side as f32);
    let mut meter =
        Meter { work: 0.0, memory: MOST_MEMORY + MOST_DRAWINGS * 4.0 * f64::from(width * height) };
    // As far as the library lets layers reach.
    let most = Rect::from_xywh(-2.0 * width, -2.0 * height, 5.0 * width, 5.0 * height)
        .ok_or_else(too_much_memory)?;
    let frame = Frame { area: f64::from(width) * f64::from(height), most };
    meter.nodes(tree.root(), transform, frame, 0.0)
}

/// What is drawn on.
#[derive(Clone, Copy)]
struct Frame {
    /// Texels.
    area: f64,
    /// The part of the plane that layers are cut to.
    most: Rect,
}

/// Counts up; `memory` is what may be taken.
struct Meter {
    work: f64,
    memory: f64,
}

type Check = Result<(), Fault>;

impl Meter {
    fn add(&mut self, work: f64) -> Check {
        self.work += CALL + work;
        // NaN is over the limit too.
        if self.work <= MOST_WORK {
            return Ok(());
        }
        Err(Fault::new(Class::Limit, "the SVG takes too long to draw at this size")
            .remedy("Simplify its filters, patterns and masks, or save it as PNG."))
    }

    /// Checks that `area` texels of `bytes` each fit besides what is `held`; gives what is held then.
    fn hold(&mut self, held: f64, area: f64, bytes: f64) -> Result<f64, Fault> {
        let held = held + area * bytes;
        self.add(area)?;
        if held <= self.memory { Ok(held) } else { Err(too_much_memory()) }
    }

    fn nodes(&mut self, group: &Group, transform: Transform, frame: Frame, held: f64) -> Check {
        for node in group.children() {
            match node {
                Node::Group(group) => self.group(group, transform, frame, held)?,
                Node::Path(path) => self.path(path, transform, frame, held)?,
                // Neither is drawn: the tree has no fonts, and pictures were refused.
                Node::Image(_) | Node::Text(_) => self.add(0.0)?,
            }
        }
        Ok(())
    }

    fn group(&mut self, group: &Group, transform: Transform, frame: Frame, held: f64) -> Check {
        let transform = transform.pre_concat(group.transform());
        self.add(0.0)?;
        if !group.should_isolate() {
            return self.nodes(group, transform, frame, held);
        }
        // A filtered layer is upright in the filter's own space: the rotation and skew are applied after it.
        let (mut inner, mut most) = (transform, frame.most);
        if !group.filters().is_empty() {
            let [sx, sy] = [length(transform.sx, transform.ky), length(transform.kx, transform.sy)];
            let rest = Transform::from_row(
                transform.sx / sx,
                transform.ky / sx,
                transform.kx / sy,
                transform.sy / sy,
                0.0,
                0.0,
            );
            // The library draws nothing where these fail.
            let Some(back) = rest.invert() else { return Ok(()) };
            let Some(turned) = most.transform(back) else { return Ok(()) };
            (inner, most) = (back.pre_concat(transform), turned);
        }
        let Some(bounds) = group.layer_bounding_box().to_rect().transform(inner) else { return Ok(()) };
        let area = overlap(bounds, most);
        let layer = Frame { area, most };
        let held = self.hold(held, area, 4.0)?;
        self.nodes(group, inner, layer, held)?;
        for filter in group.filters() {
            self.filter(filter, inner, layer, held)?;
        }
        if let Some(clip) = group.clip_path() {
            self.clip(clip, inner, layer, held)?;
        }
        if let Some(mask) = group.mask() {
            self.mask(mask, inner, layer, held)?;
        }
        // Drawing the layer.
        self.add(30.0 * area)
    }

    fn clip(&mut self, clip: &ClipPath, transform: Transform, frame: Frame, held: f64) -> Check {
        let held = self.hold(held, frame.area, 5.0)?;
        self.clip_nodes(clip.root(), transform.pre_concat(clip.transform()), frame, held)?;
        clip.clip_path().map_or(Ok(()), |clip| self.clip(clip, transform, frame, held))
    }

    fn clip_nodes(&mut self, group: &Group, transform: Transform, frame: Frame, held: f64) -> Check {
        for node in group.children() {
            match node {
                Node::Path(path) => self.path(path, transform, frame, held)?,
                Node::Group(group) => {
                    let transform = transform.pre_concat(group.transform());
                    let mut held = held;
                    if let Some(clip) = group.clip_path() {
                        held = self.hold(held, frame.area, 4.0)?;
                        self.clip(clip, transform, frame, held)?;
                    }
                    self.clip_nodes(group, transform, frame, held)?;
                }
                _ => {}
            }
        }
        Ok(())
    }

    fn mask(&mut self, mask: &Mask, transform: Transform, frame: Frame, held: f64) -> Check {
        let held = self.hold(held, frame.area, 6.0)?;
        self.nodes(mask.root(), transform, frame, held)?;
        mask.mask().map_or(Ok(()), |mask| self.mask(mask, transform, frame, held))
    }

    fn path(&mut self, path: &Path, transform: Transform, frame: Frame, held: f64) -> Check {
        let reach =
            path.stroke_bounding_box().transform(transform).or(path.bounding_box().transform(transform));
        if reach.is_none_or(|reach| {
            reach.left().abs().max(reach.top().abs()).max(reach.right().abs()).max(reach.bottom().abs()) > FAR
        }) {
            return Err(too_far());
        }
        let shaded = reach.map_or(frame.area, |reach| (area(reach) + 1.0).min(frame.area));
        self.add(4.0 * shaded + 50.0 * path.data().len() as f64)?;
        if let Some(dashes) = path.stroke().and_then(|stroke| stroke.dasharray()) {
            let period: f32 = dashes.iter().sum();
            let dashes = f64::from(outline(path)) / f64::from(period) * dashes.len() as f64;
            // The library gives up at a million.
            self.add(500.0 * dashes.clamp(0.0, 1e6))?;
        }
        let paints = [path.fill().map(|fill| fill.paint()), path.stroke().map(|stroke| stroke.paint())];
        for paint in paints.into_iter().flatten() {
            if let Paint::Pattern(pattern) = paint {
                self.pattern(pattern, transform, frame, held)?;
            }
        }
        Ok(())
    }

    fn pattern(&mut self, pattern: &Pattern, transform: Transform, frame: Frame, held: f64) -> Check {
        let (sx, sy) = transform.pre_concat(pattern.transform()).get_scale();
        let rect = pattern.rect();
        let area = f64::from((rect.width() * sx).ceil()) * f64::from((rect.height() * sy).ceil());
        let held = self.hold(held, area, 4.0)?;
        self.nodes(pattern.root(), Transform::from_scale(sx, sy), Frame { area, ..frame }, held)
    }

    fn filter(&mut self, filter: &filter::Filter, transform: Transform, frame: Frame, held: f64) -> Check {
        let area = frame.area;
        let (sx, sy) = transform.get_scale();
        let mut held = self.hold(held, area, 8.0)?;
        for primitive in filter.primitives() {
            // Every result is kept until the filter is done.
            held = self.hold(held, area, 4.0)?;
            let steps = match primitive.kind() {
                filter::Kind::GaussianBlur(_) | filter::Kind::DropShadow(_) => {
                    self.hold(held, area, 12.0)?;
                    350.0
                }
                filter::Kind::ConvolveMatrix(fe) => {
                    150.0 + 15.0 * f64::from(fe.matrix().columns() * fe.matrix().rows())
                }
                filter::Kind::Morphology(fe) => {
                    let [x, y] = [fe.radius_x().get() * sx, fe.radius_y().get() * sy].map(f64::from);
                    150.0 + 4.0 * ((2.0 * x + 2.0) * (2.0 * y + 2.0)).min(area)
                }
                filter::Kind::Turbulence(fe) => 200.0 * (1.0 + f64::from(fe.num_octaves())),
                filter::Kind::Image(fe) => {
                    let most = Rect::from_xywh(0.0, 0.0, frame.most.width(), frame.most.height());
                    let frame = Frame { area, most: most.unwrap_or(frame.most) };
                    self.nodes(fe.root(), Transform::from_scale(sx, sy), frame, held)?;
                    50.0
                }
                filter::Kind::Merge(fe) => 50.0 * (1.0 + fe.inputs().len() as f64),
                _ => 150.0,
            };
            self.add(area * steps)?;
        }
        Ok(())
    }
}

fn length(x: f32, y: f32) -> f32 {
    (x * x + y * y).sqrt()
}

fn area(rect: Rect) -> f64 {
    f64::from(rect.width().ceil() + 4.0) * f64::from(rect.height().ceil() + 4.0)
}

/// Texels of `rect` within `most`, at least those of a small layer.
fn overlap(rect: Rect, most: Rect) -> f64 {
    rect.intersect(&most).map_or(64.0, area)
}

/// Length of the control polygon: no less than that of the outline.
fn outline(path: &Path) -> f32 {
    let (mut length_so_far, mut start, mut last) = (0.0, Point::zero(), Point::zero());
    let mut to = |point: Point, last: &mut Point| {
        length_so_far += length(point.x - last.x, point.y - last.y);
        *last = point;
    };
    for segment in path.data().segments() {
        match segment {
            PathSegment::MoveTo(point) => (start, last) = (point, point),
            PathSegment::LineTo(point) => to(point, &mut last),
            PathSegment::QuadTo(a, b) => [a, b].into_iter().for_each(|point| to(point, &mut last)),
            PathSegment::CubicTo(a, b, c) => [a, b, c].into_iter().for_each(|point| to(point, &mut last)),
            PathSegment::Close => to(start, &mut last),
        }
    }
    length_so_far
}

fn too_far() -> Fault {
    Fault::new(Class::Limit, format!("a shape of the SVG extends beyond {FAR} texels"))
        .remedy("Look for a mistyped number, or move what lies outside the picture closer.")
}

fn too_much_memory() -> Fault {
    Fault::new(Class::Limit, "the SVG's layers take too much memory to draw at this size")
        .remedy("Simplify its filters, masks and nested groups, or save it as PNG.")
}

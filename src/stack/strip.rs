//! The whole travel as one long picture: every place as it is seen when the camera passes.
//!
//! Slots pan at rates of their own, so no picture of all of them is right everywhere. What stands alone keeps its shape and stands where
//! it is in mid-view; what repeats goes on repeating; what is wide is stretched, so that each column is the one that is seen in mid-view.
//! Before the camera sets off and after it has come to its end nothing moves: there all slots stand as they do in the view.

use crate::base::law;
use crate::base::picture::Picture;
use crate::base::placing::Placing;
use crate::base::raster::Owned;
use crate::base::units::{Camera, Px, Rect};
use crate::base::words::Bits;
use crate::plan::{Job, Plan};
use crate::stack::Stack;
use crate::stack::compositor::{Compositor, Source};
use crate::stack::still::Shown;
use rayon::prelude::*;

/// From this share of the view on a picture is stretched, not moved; chosen by eye.
const WIDE: f64 = 0.5;

/// Width and height of the strip in texels; saturates.
pub(crate) fn size(plan: &Plan) -> [u32; 2] {
    let width = ((plan.view[0] + plan.travel) * plan.scale).0.round().max(1.0) as u32;
    [width, plan.texels[1]]
}

/// How the places of a slot lie on the strip.
#[derive(Clone, Copy)]
struct Mapping {
    view: Px,
    travel: Px,
    rate: f64,
}

impl Mapping {
    /// Where a place of the slot is on the strip.
    fn to(self, x: Px) -> Px {
        let camera = ((x - self.view / 2.0) / self.rate).clamp(Px(0.0), self.travel);
        x - camera * self.rate + camera
    }

    /// The slot's place at a place of the strip.
    fn from(self, at: Px) -> Px {
        let camera = (at - self.view / 2.0).clamp(Px(0.0), self.travel);
        at - camera + camera * self.rate
    }
}

/// What becomes of a layer on the strip.
#[derive(Clone, Copy)]
enum Way {
    /// It keeps its shape and stands so much farther to the right.
    Moved(Px),
    /// Each of its columns is where it is seen in mid-view.
    Stretched,
}

/// A layer of the strip.
struct Laid<'a> {
    placing: Placing,
    source: Held<'a>,
}

enum Held<'a> {
    Own(Source<'a>),
    Drawn(Picture),
}

impl Stack<'_> {
    /// The strip, of the jobs that were needed; opaque, 8 bits, dithered.
    pub(crate) fn strip(&self) -> Owned {
        let plan = self.plan;
        let laid: Vec<Laid<'_>> = (0..plan.files.len()).filter_map(|at| self.laid(at)).collect();
        let strip = Plan {
            texels: size(plan),
            view: [plan.view[0] + plan.travel, plan.view[1]],
            travel: Px(0.0),
            files: Vec::new(),
            ..plan.clone()
        };
        let sources = laid.iter().map(|laid| {
            let source = match &laid.source {
                Held::Own(source) => *source,
                Held::Drawn(picture) => Source::Picture(picture),
            };
            (&laid.placing, source)
        });
        Shown::new(&Compositor::new(&strip, sources, Camera::default()), Bits::Eight).texels
    }

    fn mapping(&self, placing: &Placing) -> Mapping {
        Mapping { view: self.plan.view[0], travel: self.plan.travel, rate: placing.pan_rate }
    }

    /// The job `at` as it lies on the strip.
    fn laid(&self, at: usize) -> Option<Laid<'_>> {
        let made = self.made[at].as_ref()?;
        let placing = self.placing(at);
        match (self.way(at), made.source()) {
            (Way::Stretched, _) => self.stretched(at),
            // A rim stands where it was solved for.
            (Way::Moved(by), Source::Rim(_)) => {
                Some(Laid { placing: moved(placing, by), source: Held::Drawn(self.drawn(at)) })
            }
            (Way::Moved(by), source) => Some(Laid { placing: moved(placing, by), source: Held::Own(source) }),
        }
    }

    /// What becomes of the job `at`: what belongs to a picture goes with it.
    fn way(&self, at: usize) -> Way {
        let files = &self.plan.files;
        let same = |other: &&Job| other.placing().slot == files[at].placing().slot;
        let placing = match &files[at] {
            Job::Fog(job) if job.moves() => &job.placing,
            Job::Fog(_) => return Way::Stretched,
            Job::Art(job) => &job.placing,
            Job::Rim(_) | Job::Lamp(_) => {
                let art = files.iter().filter(|job| matches!(job, Job::Art(_))).find(same);
                art.unwrap_or(&files[at]).placing()
            }
        };
        let mapping = self.mapping(placing);
        let Rect { x, width, .. } = placing.rect;
        if placing.period.is_some() {
            // As it is seen from the middle of the travel.
            let middle = self.plan.view[0] / 2.0 + self.plan.travel * placing.pan_rate / 2.0;
            return Way::Moved(mapping.to(middle) - middle);
        }
        if width > self.plan.view[0] * WIDE {
            return Way::Stretched;
        }
        let middle = x + width / 2.0;
        Way::Moved(mapping.to(middle) - middle)
    }

    /// The texels of the job `at` as exactly as they are known.
    fn drawn(&self, at: usize) -> Picture {
        let size = self.placing(at).texels;
        let samples = self.sixteen(at);
        let (texels, _) = samples.as_chunks::<4>();
        Picture { size, deep: true, texels: texels.to_vec() }
    }

    /// The job `at`, each column where it is seen in mid-view.
    fn stretched(&self, at: usize) -> Option<Laid<'_>> {
        let (plan, placing) = (self.plan, self.placing(at));
        let (mapping, whole) = (self.mapping(placing), size(plan)[0]);
        // Of what comes round as much as is ever seen.
        let seen = law::strip_width(plan.view[0], plan.travel, placing.pan_rate);
        let right = if placing.period.is_some() { seen } else { placing.rect.x + placing.rect.width };
        let edge = |x: Px| ((mapping.to(x) * plan.scale).0.round().max(0.0) as u32).min(whole);
        let (from, to) = (edge(placing.rect.x), edge(right));
        if from >= to {
            return None;
        }
        let own = self.drawn(at);
        let per_px = f64::from(own.size[0]) / placing.rect.width.0;
        let place = |column: u32| {
            let at = Px((f64::from(column) + 0.5) / plan.scale.0);
            (mapping.from(at) - placing.rect.x).0 * per_px
        };
        let columns: Vec<[f64; 2]> =
            (from..to).map(|column| [place(column), place(column + 1) - place(column)]).collect();
        let rect = Rect {
            x: Px(f64::from(from) / plan.scale.0),
            width: Px(f64::from(to - from) / plan.scale.0),
            ..placing.rect
        };
        let picture = resampled(&own, &columns);
        let placing = Placing { rect, texels: picture.size, period: None, pan_rate: 0.0, ..placing.clone() };
        Some(Laid { placing, source: Held::Drawn(picture) })
    }
}

fn moved(placing: &Placing, by: Px) -> Placing {
    let rect = Rect { x: placing.rect.x + by, ..placing.rect };
    Placing { rect, pan_rate: 0.0, ..placing.clone() }
}

/// A picture of other columns: for each the place in `own` that it shows and how many columns of it it stands for. Between two columns
/// both count; where many fall on one, all of them. Colours count by their opacity.
fn resampled(own: &Picture, columns: &[[f64; 2]]) -> Picture {
    let width = own.size[0] as usize;
    let taps: Vec<Vec<(usize, f32)>> = columns.iter().map(|[at, over]| taps(*at, *over, width)).collect();
    let mut texels = vec![[0; 4]; columns.len() * own.size[1] as usize];
    let rows = texels.par_chunks_mut(columns.len()).zip(own.texels.par_chunks(width));
    rows.for_each(|(out, row)| {
        for (texel, taps) in out.iter_mut().zip(taps.iter()) {
            *texel = mean(row, taps);
        }
    });
    Picture { size: [columns.len() as u32, own.size[1]], deep: own.deep, texels }
}

/// Weights of the columns about a place, by a tent as wide as what one column stands for, at least two columns.
fn taps(at: f64, over: f64, width: usize) -> Vec<(usize, f32)> {
    let reach = over.max(1.0);
    let (first, last) = ((at - 0.5 - reach).ceil() as i64, (at - 0.5 + reach).floor() as i64);
    let weight = |column: i64| {
        let away = (column as f64 + 0.5 - at).abs() / reach;
        let inside = column.clamp(0, width as i64 - 1) as usize;
        (inside, (1.0 - away).max(0.0) as f32)
    };
    (first..=last).map(weight).filter(|(_, weight)| *weight > 0.0).collect()
}

fn mean(row: &[[u16; 4]], taps: &[(usize, f32)]) -> [u16; 4] {
    let (mut colour, mut plain, mut alpha, mut sum) = ([0.0_f32; 3], [0.0_f32; 3], 0.0, 0.0);
    for (column, weight) in taps {
        let [r, g, b, a] = row[*column].map(f32::from);
        for ((seen, any), part) in colour.iter_mut().zip(&mut plain).zip([r, g, b]) {
            *seen += weight * a * part;
            *any += weight * part;
        }
        alpha += weight * a;
        sum += weight;
    }
    let code = |value: f32| (value + 0.5) as u16;
    let [r, g, b] = if alpha > 0.0 { colour.map(|part| part / alpha) } else { plain.map(|part| part / sum) };
    [code(r), code(g), code(b), code(alpha / sum)]
}

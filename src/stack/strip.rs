//! The whole travel as one long picture: every place as it is seen when the camera passes.
//!
//! Slots pan at rates of their own, so no picture of all of them is right everywhere. What stands alone keeps its shape and stands where
//! it is in mid-view; what repeats goes on repeating; what is wide is stretched as far as the camera goes, its plain columns more than those in
//! which something stands, and fog so that each column is the one that is seen in mid-view.
//! Before the camera sets off and after it has come to its end nothing moves: there all slots stand as they do in the view.

use crate::base::law;
use crate::base::picture::Picture;
use crate::base::placing::Placing;
use crate::base::raster::Owned;
use crate::base::units::{Camera, Px, Rect, Travel};
use crate::base::words::Bits;
use crate::plan::{Job, Plan};
use crate::stack::compositor::{Compositor, Source};
use crate::stack::still::Shown;
use crate::stack::{Made, Stack};
use rayon::prelude::*;

/// From this share of the view on a picture is stretched, not moved; chosen by eye.
const WIDE: f64 = 0.5;

/// Width and height of the strip in texels; saturates.
pub(crate) fn size(plan: &Plan) -> [u32; 2] {
    let width = ((plan.view[0] + plan.travel.right) * plan.scale).0.round().max(1.0) as u32;
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

    /// Whether the camera is on its way while a place is in mid-view.
    fn passes(self, x: Px) -> bool {
        let way = (x - self.view / 2.0) / self.rate;
        way > Px(0.0) && way < self.travel
    }
}

/// Where the columns of a picture lie on the strip.
struct Warp {
    /// Left edge of the first column, and how wide one is.
    left: Px,
    step: Px,
    /// Where the edges of the columns lie, rising.
    to: Vec<f64>,
}

impl Warp {
    /// Of `count` columns of a slot.
    fn new(mapping: Mapping, left: Px, step: Px, count: usize) -> Warp {
        let to = (0..=count).map(|at| mapping.to(left + step * at as f64).0).collect();
        Warp { left, step, to }
    }

    /// The same way in all, but columns that are passed are stretched as `plain` says of each.
    fn uneven(mut self, mapping: Mapping, plain: &[f64]) -> Warp {
        let middle = |at: usize| self.left + self.step * (at as f64 + 0.5);
        let weights: Vec<f64> = plain
            .iter()
            .enumerate()
            .map(|(at, plain)| if mapping.passes(middle(at)) { *plain } else { 0.0 })
            .collect();
        let more = self.to[plain.len()] - self.to[0] - (self.step * plain.len() as f64).0;
        let sum: f64 = weights.iter().sum();
        // Nearer than the play plane columns are narrowed, all alike.
        if more <= 0.0 || sum <= 0.0 {
            return self;
        }
        let mut place = self.to[0];
        for (to, weight) in self.to[1..].iter_mut().zip(weights) {
            place += self.step.0 + more * weight / sum;
            *to = place;
        }
        self
    }

    /// Where a place of the slot is on the strip; beyond the picture by as much.
    fn to(&self, x: Px) -> Px {
        let place = (x - self.left) / self.step;
        let last = self.to.len() - 1;
        let at = (place.max(0.0) as usize).min(last - 1);
        let inside = (place - at as f64).clamp(0.0, 1.0);
        let beyond = place.min(0.0) + (place - last as f64).max(0.0);
        Px(self.to[at] + inside * (self.to[at + 1] - self.to[at])) + self.step * beyond
    }

    /// The slot's place at a place of the strip.
    fn from(&self, at: Px) -> Px {
        let last = self.to.len() - 1;
        let after = self.to.partition_point(|to| *to <= at.0).clamp(1, last);
        let (from, to) = (self.to[after - 1], self.to[after]);
        let inside = ((at.0 - from) / (to - from)).clamp(0.0, 1.0);
        let beyond = (at.0 - self.to[0]).min(0.0) + (at.0 - self.to[last]).max(0.0);
        self.left + self.step * ((after - 1) as f64 + inside) + Px(beyond)
    }
}

/// How little stands in each column: 1 where it is as the one beside it, next to 0 about edges. What stands reaches `about` columns.
fn plain(picture: &Picture, about: usize) -> Vec<f64> {
    let width = picture.size[0] as usize;
    let row = |texels: &[[u16; 4]]| -> Vec<u64> {
        let apart = |a: &[u16; 4], b: &[u16; 4]| {
            // By what is seen of both.
            let seen = u64::from(a[3].max(b[3]));
            (0..3).map(|at| (u64::from(a[at].abs_diff(b[at])) * seen) >> 16).sum::<u64>()
                + u64::from(a[3].abs_diff(b[3]))
        };
        texels.windows(2).map(|pair| apart(&pair[0], &pair[1])).chain([0]).collect()
    };
    // Whole numbers: their sum is the same in any order.
    let sums = picture
        .texels
        .par_chunks(width)
        .map(row)
        .reduce(|| vec![0; width], |a, b| a.iter().zip(&b).map(|(a, b)| a + b).collect());
    let near: Vec<f64> = (0..width)
        .map(|at| {
            let around = &sums[at.saturating_sub(about)..(at + about + 1).min(width)];
            around.iter().copied().max().unwrap_or_default() as f64
        })
        .collect();
    let mean = near.iter().sum::<f64>() / width as f64;
    let least = |near: &f64| libm::exp(-EDGES * near / mean.max(1.0)).max(LEAST);
    let rough: Vec<f64> = near.iter().map(least).collect();
    // No column much wider than the one beside it.
    (0..width)
        .map(|at| {
            let around = &rough[at.saturating_sub(about)..(at + about + 1).min(width)];
            around.iter().sum::<f64>() / around.len() as f64
        })
        .collect()
}

/// How much an edge as strong as most counts against stretching its column, and the least that a column is stretched by, in proportion. Chosen
/// by eye.
const EDGES: f64 = 2.5;
const LEAST: f64 = 0.01;
/// How far what stands reaches from an edge, in views. Chosen by eye.
const ABOUT: f64 = 0.012;

/// What becomes of a layer on the strip.
#[derive(Clone, Copy)]
enum Way {
    /// It keeps its shape and stands so much farther to the right.
    Moved(Px),
    /// Each of its columns is about where it is seen in mid-view.
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
            view: [plan.view[0] + plan.travel.right, plan.view[1]],
            travel: Travel::default(),
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
        Mapping { view: self.plan.view[0], travel: self.plan.travel.right, rate: placing.pan_rate }
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
            let middle = self.plan.view[0] / 2.0 + self.plan.travel.right * placing.pan_rate / 2.0;
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

    /// Where the columns of the job `at` lie, or of the picture that it belongs to.
    fn warp(&self, at: usize) -> Warp {
        let files = &self.plan.files;
        let same = |other: &usize| files[*other].placing().slot == files[at].placing().slot;
        let art = (0..files.len()).filter(|at| matches!(files[*at], Job::Art(_))).find(same);
        let picture =
            art.filter(|_| !matches!(files[at], Job::Fog(_))).and_then(|art| match &self.made[art] {
                Some(Made::Picture(picture)) => Some((art, picture)),
                _ => None,
            });
        let placing = self.placing(picture.map_or(at, |(art, _)| art));
        let (mapping, count) = (self.mapping(placing), placing.texels[0] as usize);
        let warp = Warp::new(mapping, placing.rect.x, placing.rect.width / count as f64, count);
        let Some((_, picture)) = picture else { return warp };
        let about = (self.plan.view[0] * ABOUT * self.plan.scale).0.round().max(1.0) as usize;
        warp.uneven(mapping, &plain(picture, about))
    }

    /// The job `at`, its columns where they lie on the strip.
    fn stretched(&self, at: usize) -> Option<Laid<'_>> {
        let (plan, placing) = (self.plan, self.placing(at));
        let (warp, whole) = (self.warp(at), size(plan)[0]);
        // Of what comes round as much as is ever seen.
        let seen = law::strip(plan.view, plan.travel, placing.pan_rate)[0];
        let right = if placing.period.is_some() { seen } else { placing.rect.x + placing.rect.width };
        let edge = |x: Px| ((warp.to(x) * plan.scale).0.round().max(0.0) as u32).min(whole);
        let (from, to) = (edge(placing.rect.x), edge(right));
        if from >= to {
            return None;
        }
        let own = self.drawn(at);
        let per_px = f64::from(own.size[0]) / placing.rect.width.0;
        let place = |at: f64| (warp.from(Px(at / plan.scale.0)) - placing.rect.x).0 * per_px;
        let columns: Vec<[f64; 2]> = (from..to)
            .map(f64::from)
            .map(|column| [place(column + 0.5), place(column + 1.0) - place(column)])
            .collect();
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

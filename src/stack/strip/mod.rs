//! The whole travel as one long picture: every place as it is seen when the camera passes.
//!
//! Slots pan at rates of their own, so no picture of all of them is right everywhere. What stands alone keeps its shape and stands where
//! it is in mid-view; what repeats goes on repeating; what is wide is stretched as far as the camera goes, its plain columns more than those in
//! which something stands, and fog so that each column is the one that is seen in mid-view. Where the camera pans down, too, the same is done
//! with what is high and its rows.
//! Before the camera sets off and after it has come to its end nothing moves: there all slots stand as they do in the view.

use crate::base::law;
use crate::base::picture::Picture;
use crate::base::placing::Placing;
use crate::base::raster::Owned;
use crate::base::units::{Camera, Px, Rect, Travel};
use crate::base::words::Bits;
use crate::plan::strip::Mapping;
use crate::plan::{ArtJob, Job, Plan};
use crate::stack::compositor::{Compositor, Source};
use crate::stack::still::Shown;
use crate::stack::{Made, Stack};
use resample::{resampled, transposed};
use warp::{Group, LEAST, Warp, plain};

mod resample;
mod warp;

/// From this share of the view on a picture is stretched, not moved; chosen by eye.
const WIDE: f64 = 0.5;

/// How far what stands reaches from an edge, in views. Chosen by eye.
const ABOUT: f64 = 0.012;

/// A side of the strip.
#[derive(Clone, Copy)]
enum Side {
    Across,
    Down,
}

/// What becomes of a layer on the strip.
#[derive(Clone, Copy)]
enum Way {
    /// It keeps its shape and stands so much farther to the right, or down.
    Moved(Px),
    /// Each of its columns, or rows, is about where it is seen in mid-view.
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

impl Laid<'_> {
    /// The same, so much farther down.
    fn lower(mut self, by: Px) -> Self {
        self.placing.rect.y += by;
        self
    }
}

impl Stack<'_> {
    /// The strip, of the jobs that were needed; opaque, 8 bits, dithered.
    pub(crate) fn strip(&self) -> Owned {
        let plan = self.plan;
        let laid: Vec<Laid<'_>> = (0..plan.files.len()).filter_map(|at| self.laid(at)).collect();
        let strip = Plan {
            texels: plan.strip_size(),
            view: plan.strip(),
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

    fn mapping(&self, placing: &Placing, side: Side) -> Mapping {
        let Plan { view, travel, .. } = self.plan;
        let (view, travel) = match side {
            Side::Across => (view[0], travel.right),
            Side::Down => (view[1], travel.down),
        };
        Mapping { view, travel, rate: placing.pan_rate }
    }

    /// The job `at` as it lies on the strip.
    fn laid(&self, at: usize) -> Option<Laid<'_>> {
        let across = self.across(at)?;
        if self.plan.travel.down <= Px(0.0) {
            return Some(across);
        }
        match (self.way(at, Side::Down), &across.source) {
            (Way::Moved(by), _) => Some(across.lower(by)),
            (Way::Stretched, Held::Own(_)) => self.stretched_down(at, &across.placing, &self.drawn(at)),
            (Way::Stretched, Held::Drawn(picture)) => self.stretched_down(at, &across.placing, picture),
        }
    }

    /// The job `at` as it lies along the strip.
    fn across(&self, at: usize) -> Option<Laid<'_>> {
        let made = self.made[at].as_ref()?;
        let placing = self.placing(at);
        match (self.way(at, Side::Across), made.source()) {
            (Way::Stretched, _) => self.stretched(at),
            // A rim stands where it was solved for.
            (Way::Moved(by), Source::Rim(_)) => {
                Some(Laid { placing: moved(placing, by), source: Held::Drawn(self.drawn(at)) })
            }
            (Way::Moved(by), source) => Some(Laid { placing: moved(placing, by), source: Held::Own(source) }),
        }
    }

    /// What becomes of the job `at`: what belongs to a picture goes with it.
    fn way(&self, at: usize, side: Side) -> Way {
        let files = &self.plan.files;
        let same = |other: &&Job| other.placing().slot == files[at].placing().slot;
        let placing = match &files[at] {
            Job::Fog(job) if job.moves() && matches!(side, Side::Across) => &job.placing,
            Job::Fog(_) => return Way::Stretched,
            // What is painted for its places isn't seen twice.
            Job::Own(job) if matches!(side, Side::Across) && self.is_for_places(&job.placing) => {
                return Way::Stretched;
            }
            Job::Art(job) | Job::Own(job) => &job.placing,
            Job::Rim(_) | Job::Lamp(_) => {
                let art = files.iter().filter(|job| matches!(job, Job::Art(_))).find(same);
                art.unwrap_or(&files[at]).placing()
            }
        };
        let mapping = self.mapping(placing, side);
        let Rect { x, y, width, height } = placing.rect;
        let (from, long) = match side {
            Side::Across => (x, width),
            Side::Down => (y, height),
        };
        if placing.period.is_some() && matches!(side, Side::Across) {
            // As it is seen from the middle of the travel.
            let middle = mapping.view / 2.0 + mapping.travel * placing.pan_rate / 2.0;
            return Way::Moved(mapping.to(middle) - middle);
        }
        if long > mapping.view * WIDE {
            return Way::Stretched;
        }
        let middle = from + long / 2.0;
        Way::Moved(mapping.to(middle) - middle)
    }

    /// Whether a sheet that repeats comes round nowhere in view.
    fn is_for_places(&self, placing: &Placing) -> bool {
        let [wide, _] = law::strip(self.plan.view, self.plan.travel, placing.pan_rate);
        placing.period.is_some_and(|period| period >= wide)
    }

    /// The texels of the job `at` as exactly as they are known.
    fn drawn(&self, at: usize) -> Picture {
        let size = self.placing(at).texels;
        let samples = self.sixteen(at);
        let (texels, _) = samples.as_chunks::<4>();
        Picture { size, deep: true, texels: texels.to_vec() }
    }

    /// Where the columns, or rows, of the job `at` lie, or of the picture that it belongs to.
    fn warp(&self, at: usize, side: Side) -> Warp {
        let files = &self.plan.files;
        let same = |other: &usize| files[*other].placing().slot == files[at].placing().slot;
        let art = (0..files.len()).filter(|at| matches!(files[*at], Job::Art(_))).find(same);
        let art = art.filter(|_| !matches!(files[at], Job::Fog(_) | Job::Own(_)));
        let picture = art.and_then(|art| match (&files[art], &self.made[art]) {
            (Job::Art(job), Some(Made::Picture(picture))) => Some((art, job, picture)),
            _ => None,
        });
        let placing = self.placing(picture.map_or(at, |(art, ..)| art));
        let Placing { rect, texels, .. } = placing;
        let (from, long, count, view) = match side {
            Side::Across => (rect.x, rect.width, texels[0] as usize, self.plan.view[0]),
            Side::Down => (rect.y, rect.height, texels[1] as usize, self.plan.view[1]),
        };
        let mapping = self.mapping(placing, side);
        let warp = Warp::new(mapping, from, long / count as f64, count);
        let Some((_, job, picture)) = picture else { return warp };
        let about = (view * ABOUT * self.plan.scale).0.round().max(1.0) as usize;
        match side {
            Side::Across => self.grouped(warp, mapping, job, plain(&picture.to_picture(), about)),
            Side::Down => warp.uneven(mapping, &plain(&transposed(&picture.to_picture()), about)),
        }
    }

    /// The columns of a slot's pictures, of which `plain` says how little stands in each: those of a picture that stands by itself, or on a
    /// wide one, keep their shape.
    fn grouped(&self, warp: Warp, mapping: Mapping, job: &ArtJob, mut plain: Vec<f64>) -> Warp {
        let Rect { x, width, .. } = job.placing.rect;
        let count = plain.len();
        let columns = |rect: &Rect| {
            let column = |at: Px| (((at - x) / width * count as f64).round().max(0.0) as usize).min(count);
            column(rect.x)..column(rect.x + rect.width)
        };
        let is_wide = |rect: &Rect| rect.width > self.plan.view[0] * WIDE;
        for place in job.places.iter().filter(|place| !is_wide(&place.rect)) {
            plain[columns(&place.rect)].fill(LEAST);
        }
        let runs = job.runs();
        let groups: Vec<Group> =
            runs.iter().map(|run| Group { columns: columns(&run.rect), wide: is_wide(&run.rect) }).collect();
        match &groups[..] {
            [] | [_] => warp.uneven(mapping, &plain),
            several => {
                warp.clone().grouped(mapping, several, &plain).unwrap_or_else(|| warp.uneven(mapping, &plain))
            }
        }
    }

    /// The job `at`, its columns where they lie on the strip.
    fn stretched(&self, at: usize) -> Option<Laid<'_>> {
        let (plan, placing) = (self.plan, self.placing(at));
        let warp = self.warp(at, Side::Across);
        // Of what comes round as much as is ever seen.
        let seen = law::strip(plan.view, plan.travel, placing.pan_rate)[0];
        let right = if placing.period.is_some() { seen } else { placing.rect.x + placing.rect.width };
        let (from, to) = self.inside(&warp, [placing.rect.x, right], plan.strip_size()[0])?;
        let own = self.drawn(at);
        let columns = self.places(&warp, placing.rect.x, own.size[0], placing.rect.width, from..to);
        let rect = Rect { x: self.px(from), width: self.px(to - from), ..placing.rect };
        let picture = resampled(&own, &columns);
        let placing = Placing { rect, texels: picture.size, period: None, pan_rate: 0.0, ..placing.clone() };
        Some(Laid { placing, source: Held::Drawn(picture) })
    }

    /// What already lies along the strip as `picture`, its rows where they lie down it.
    fn stretched_down(&self, at: usize, across: &Placing, picture: &Picture) -> Option<Laid<'_>> {
        let warp = self.warp(at, Side::Down);
        let Rect { y, height, .. } = across.rect;
        let (from, to) = self.inside(&warp, [y, y + height], self.plan.strip_size()[1])?;
        let rows = self.places(&warp, y, picture.size[1], height, from..to);
        let rect = Rect { y: self.px(from), height: self.px(to - from), ..across.rect };
        let picture = transposed(&resampled(&transposed(picture), &rows));
        let placing = Placing { rect, texels: picture.size, ..across.clone() };
        Some(Laid { placing, source: Held::Drawn(picture) })
    }

    fn px(&self, texels: u32) -> Px {
        Px(f64::from(texels) / self.plan.scale.0)
    }

    /// First and last texel on a side of the strip, `whole` texels long, of what lies between two places of a slot. `None`: there are none.
    fn inside(&self, warp: &Warp, ends: [Px; 2], whole: u32) -> Option<(u32, u32)> {
        let [from, to] =
            ends.map(|at| ((warp.to(at) * self.plan.scale).0.round().max(0.0) as u32).min(whole));
        (from < to).then_some((from, to))
    }

    /// For each of these texels of the strip the place in a picture that it shows, and how much of it; the picture begins at `first` and has
    /// `count` texels on `long` px.
    fn places(
        &self,
        warp: &Warp,
        first: Px,
        count: u32,
        long: Px,
        texels: std::ops::Range<u32>,
    ) -> Vec<[f64; 2]> {
        let per_px = f64::from(count) / long.0;
        let place = |at: f64| (warp.from(Px(at / self.plan.scale.0)) - first).0 * per_px;
        texels.map(f64::from).map(|at| [place(at + 0.5), place(at + 1.0) - place(at)]).collect()
    }
}

fn moved(placing: &Placing, by: Px) -> Placing {
    let rect = Rect { x: placing.rect.x + by, ..placing.rect };
    Placing { rect, pan_rate: 0.0, ..placing.clone() }
}

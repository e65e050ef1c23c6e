//! Bytes that a run of a plan takes, before it takes them.
//!
//! The shares of each part were counted from what allocates it, and held to what runs of random scenes took (`tests/trust/memory.rs`).

use crate::base::fault::{Class, Fault};
use crate::base::limits::Limits;
use crate::base::placing::{Kind, Placing};
use crate::base::room;
use crate::base::units::Px;
use crate::base::words::Alpha;
use crate::plan::{ArtJob, Job, Place, Plan};
use crate::scene::{Fit, Texture};

/// What is made of a plan besides one picture of each job and the still.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Demand {
    /// Frames of each sheet; 0 and 1 for fog at rest.
    pub frames: u32,
    /// Whether textures have 16 bits.
    pub deep: bool,
    /// Copies of the whole stack in other forms.
    pub forms: u32,
    /// Texels that are held unpacked besides: a moving picture's.
    pub texels: u64,
    /// Texels of the strip of the whole travel.
    pub strip: u64,
    /// Whether a page shows every picture at a smaller size, for which it is unpacked.
    pub page: bool,
    /// Whether all files are held until the end, rather than each written as it is made.
    pub held: bool,
}

/// Bytes of a texel in memory: 16 bits a channel.
const TEXEL: f64 = 8.0;

/// Bytes of a texel as a stack holds it, at most: a picture of noise of 8 bits, whatever the outputs have. Flat ones, as most are, are packed
/// to far less.
const HELD: f64 = 4.0;

/// Bytes that a picture of its own size takes for each texel while it is drawn: 16 bits a channel, and the colours that bleed to where
/// none are.
const BLEEDING: f64 = 18.0;

/// The same of one that is drawn afresh: its premultiplied values, too.
const DRAWING: f64 = 26.0;

/// Bytes that a picture's texel is packed to at most, at 8 bits: a picture of noise.
const PACKED: f64 = 4.0;

/// The same of fog, which is smooth.
const PACKED_FOG: f64 = 0.5;

/// Bytes for each texel of the view at 8 bits: the file of the still, the packed greys of its value view, rows on their way.
const VIEW: f64 = 5.0;

/// Bytes for each texel of the strip of the whole travel: its own, those of its parts, its rows on their way, its file.
const STRIP: f64 = 16.0;

/// Bytes for each texel of a picture that a page shows: at 16 bits, twice, and what makes it smaller.
const PAGE: f64 = 24.0;

/// Bytes of a place of an outline that is looked at, with what is kept of it.
const PROBE: f64 = 88.0;

/// Most places of one outline, over all copies and cameras; as the survey has it.
const PROBES: f64 = 2_097_152.0;

/// What no number tells: threads, tables, the allocator's own.
const BESIDES: f64 = 12_582_912.0;

/// What the work on jobs takes more than was counted, at most: readers of pictures give memory back late.
const LATE: f64 = 1.1;

/// Share of what earlier work took that isn't at hand again for later work.
const NOT_BACK: f64 = 0.25;

/// Share of that work that a moment of a loop takes besides.
const MOMENT: f64 = 0.25;

/// Bytes for each texel of the largest texture while a form draws it again.
const AGAIN: f64 = 12.0;

/// Bytes for each texel of a texture while it is packed at 16 bits, where that isn't done band by band.
const DEEP: f64 = 16.0;

/// Bytes of a job: what stays to the end of the run, what making it takes besides, and what each of its files is packed to.
struct Share {
    stays: f64,
    work: f64,
    packed: f64,
}

impl Demand {
    /// Bytes of a channel.
    fn depth(&self) -> f64 {
        if self.deep { 2.0 } else { 1.0 }
    }
}

/// The sum of the largest, as many as are worked on at once.
fn side_by_side(parts: impl Iterator<Item = f64>, at_once: usize) -> f64 {
    let mut parts: Vec<f64> = parts.collect();
    parts.sort_by(|a, b| b.total_cmp(a));
    parts.iter().take(at_once).sum()
}

impl Plan {
    /// Bytes that a run of all of it holds at once, about: every picture of the stack packed, the still, fields on their grids,
    /// what working out `jobs` of them at once takes, what drawing and encoding take beside them, and the files that are held.
    fn memory_of(&self, demand: &Demand, jobs: usize) -> u64 {
        let shares: Vec<Share> = self.files.iter().map(|job| self.share(job, demand)).collect();
        let at_once = LATE * side_by_side(shares.iter().map(|share| share.work), jobs);
        let own: f64 = shares.iter().map(|share| share.stays).sum();
        let strokes: f64 = self.drawn().map(|(_, strokes)| strokes.drawing.bytes()).sum();
        let packed: f64 = shares.iter().map(|share| share.packed).sum();
        let files =
            if demand.held { packed } else { side_by_side(shares.iter().map(|share| share.packed), jobs) };
        let areas = self.files.iter().map(|job| area(job.placing().texels));
        let largest = areas.fold(0.0, f64::max);
        // A form draws pictures again, one at a time, or stretches them along the strip.
        let again = if demand.forms > 0 { AGAIN * largest } else { 0.0 };
        let whole = self.files.iter().map(Job::placing).filter(|placing| !self.is_by_bands(placing));
        let whole = whole.map(|placing| area(placing.texels));
        let deep = if demand.deep { DEEP * side_by_side(whole, jobs) } else { 0.0 };
        let forms = f64::from(demand.forms) * 2.0 * packed
            + 6.0 * demand.texels as f64
            + again.max(self.stretched(demand));
        // Forms are made when all jobs are done; what those gave back isn't all at hand then.
        let in_turn = at_once.max(forms) + NOT_BACK * at_once.min(forms);
        // A moving picture of flowing fog holds all sheets of a moment besides.
        let moment = if demand.texels > 0 { own + 2.0 * at_once } else { MOMENT * at_once };
        let frames = if demand.frames > 1 { moment } else { 0.0 };
        let view = VIEW * demand.depth() * area(self.texels);
        let solving =
            self.solved_by.as_ref().map_or(0.0, |plan| plan.memory_of(&Demand::default(), jobs) as f64);
        let page = if demand.page { PAGE * largest + 2.0 * packed } else { 0.0 };
        let rest = view + page + own + strokes + in_turn + frames + files + deep;
        // Rims are solved before all else is there.
        let bytes = BESIDES + rest.max(solving) + NOT_BACK * rest.min(solving);
        // Saturates, and is then over any limit.
        bytes as u64
    }

    /// Whether a picture's file is made band by band, rather than from all of its texels.
    fn is_by_bands(&self, placing: &Placing) -> bool {
        let Texture { fit, alpha, side, trim } = &self.texture;
        let is_as_drawn = *fit == Fit::Full && !trim && placing.texels.iter().all(|texels| texels <= side);
        is_as_drawn && *alpha == Alpha::Straight
    }

    /// How many jobs are worked on at once: as many as there are threads, or fewer so that the run keeps within the limit.
    pub fn at_once(&self, demand: &Demand, limits: &Limits) -> usize {
        let fits = |jobs: &usize| self.memory_of(demand, *jobs) <= limits.memory;
        (2..=rayon::current_num_threads()).rev().find(fits).unwrap_or(1)
    }

    /// Bytes that a run holds which works on so many at once.
    pub fn memory(&self, demand: &Demand, limits: &Limits) -> u64 {
        self.memory_of(demand, self.at_once(demand, limits))
    }

    /// What the strip of the whole travel takes, with the pictures that are stretched for it: each at the size that it has and at that which
    /// it gets.
    fn stretched(&self, demand: &Demand) -> f64 {
        if demand.strip == 0 {
            return 0.0;
        }
        let wide = |job: &&Job| {
            let Placing { rect, period, .. } = job.placing();
            let high = self.travel.down > Px(0.0) && rect.height > self.view[1] / 2.0;
            match job {
                Job::Fog(job) => self.travel.down > Px(0.0) || !job.moves(),
                Job::Rim(_) => true,
                Job::Art(_) | Job::Own(_) | Job::Lamp(_) => {
                    high || period.is_none() && rect.width > self.view[0] / 2.0
                }
            }
        };
        let (mut held, mut work) = (0.0, 0.0_f64);
        for job in self.files.iter().filter(wide) {
            let (placing, size) = (job.placing(), self.stretched_size(job.placing()));
            let (own, laid) = (TEXEL * area(placing.texels), TEXEL * area(size));
            held += laid;
            // Its own samples and texels; on the way down what lies along the strip already, and both turned on their sides.
            let turned = TEXEL * area([size[0], placing.texels[1]]) + laid;
            work = work.max(2.0 * own + if self.travel.down > Px(0.0) { 2.0 * turned } else { 0.0 });
        }
        STRIP * demand.strip as f64 + held + work
    }

    /// Whether what is demanded of it is within the limit and what the system has left.
    ///
    /// # Errors
    /// Class `Limit`: it isn't.
    pub fn room(&self, demand: &Demand, limits: &Limits) -> Result<(), Fault> {
        let memory = self.memory(demand, limits);
        if memory <= limits.memory {
            return room::probe(memory, "the run");
        }
        let most = self.memory_of(demand, rayon::current_num_threads());
        let at_once = match most >> 20 {
            most if most > memory >> 20 => format!(" ({most} MB to keep all threads at work)"),
            _ => String::new(),
        };
        let message = format!(
            "the run would need about {} MB of memory{at_once}, over the limit of {} MB",
            memory >> 20,
            limits.memory >> 20
        );
        let less = if *demand == Demand::default() { "" } else { " with fewer frames or forms," };
        let remedy = format!("Render at a smaller scale,{less} or raise the limit: --limit memory={memory}.");
        Err(Fault::new(Class::Limit, message).remedy(remedy))
    }

    fn share(&self, job: &Job, demand: &Demand) -> Share {
        let own = area(job.placing().texels);
        let depth = demand.depth();
        match job {
            Job::Fog(job) => {
                let [stays, work] = job.spec.field.bytes();
                let frames = f64::from(demand.frames.max(1));
                Share { stays, work, packed: PACKED_FOG * frames * depth * own }
            }
            Job::Rim(job) => {
                let [stays, work] = job.spec.field.bytes();
                Share { stays: stays + own, work: work + 2.0 * own, packed: PACKED_FOG * depth * own }
            }
            Job::Lamp(job) => {
                let fog = job.spec.fog.as_ref().map_or(0.0, |fog| fog.field.bytes().iter().sum());
                Share { stays: TEXEL * own, work: fog + TEXEL * own, packed: PACKED_FOG * depth * own }
            }
            Job::Art(job) if !job.places.is_empty() => {
                let stays = HELD * own + PROBE * self.probes(job);
                let work = BLEEDING * own + parts(job);
                Share { stays, work, packed: PACKED * own }
            }
            Job::Art(job) | Job::Own(job) => {
                let looked_at = if job.placing.kind == Kind::Art { PROBE * self.probes(job) } else { 0.0 };
                let stays = HELD * own + looked_at;
                // Else its rows are held at the width that they are drawn at, before its colours are found.
                let rows = TEXEL * f64::from(job.placing.texels[0]) * job.natural[1];
                let fits = job.natural == job.placing.texels.map(f64::from);
                let work = if fits { BLEEDING * own } else { (rows + TEXEL * own).max(DRAWING * own) };
                Share { stays, work, packed: PACKED * own }
            }
        }
    }

    /// Places of an art's outline that are looked at, as long as it isn't more ragged than round.
    fn probes(&self, art: &ArtJob) -> f64 {
        let placing = &art.placing;
        let length = 2.0 * (f64::from(placing.texels[0]) + f64::from(placing.texels[1]));
        let seen = self.view[0].0;
        let copies = placing.period.map_or(1.0, |period| (seen / period.0).ceil() + 1.0);
        (length * copies * self.cameras().len() as f64).min(PROBES)
    }
}

/// What drawing the pictures takes that others are put together of: all that differ in size or file at once, at most; the largest while it
/// is drawn.
fn parts(job: &ArtJob) -> f64 {
    let own = |place: &Place| area(place.part.texels);
    let drawing = |place: &Place| {
        let rows = TEXEL * f64::from(place.part.texels[0]) * place.natural[1];
        (rows + TEXEL * own(place)).max(DRAWING * own(place))
    };
    let mut kinds: Vec<(&str, [u32; 2])> = Vec::new();
    let mut held = 0.0;
    for place in &job.places {
        let kind = (place.art.as_str(), place.part.texels);
        if !kinds.contains(&kind) {
            kinds.push(kind);
            held += TEXEL * own(place);
        }
    }
    held + job.places.iter().map(drawing).fold(0.0, f64::max)
}

fn area([width, height]: [u32; 2]) -> f64 {
    f64::from(width) * f64::from(height)
}

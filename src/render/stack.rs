//! A scene's sheets and pictures, worked out, and their bytes.

use crate::art::{self, Picture, Source};
use crate::arts::Arts;
use crate::fault::{Class, Fault, Faults, Result};
use crate::field::Sampling;
use crate::limits::Limits;
use crate::out::{self, Effort, Owned, Raster};
use crate::plan::{ArtJob, Job, Placing, Plan};
use crate::rerun::Fields;
use crate::rim::{self, Ready, Rim, Survey};
use crate::scene::Blending;
use crate::sheet::{Bits, Sheet};
use crate::still::{Layer, Shown, Still};
use crate::values;
use rayon::prelude::*;
use std::path::PathBuf;
use std::sync::Arc;

/// A job, worked out; whoever holds it shares it.
#[derive(Clone)]
pub enum Made {
    /// Fog.
    Sheet(Arc<Sheet>),
    /// A rim.
    Rim(Arc<Rim>),
    /// Treated art.
    Picture(Arc<Picture>),
}

impl Made {
    /// As a survey sees it.
    pub fn ready(&self) -> Ready<'_> {
        match self {
            Made::Sheet(sheet) => Ready::Sheet(sheet),
            Made::Rim(rim) => Ready::Rim(rim),
            Made::Picture(picture) => Ready::Picture(picture),
        }
    }

    /// As a still draws it, where the job's picture stands at `placing`.
    pub fn layer<'a>(&'a self, placing: &'a Placing) -> Layer<'a> {
        match self {
            Made::Sheet(sheet) => Layer::Sheet(placing, sheet),
            Made::Rim(rim) => Layer::Rim(rim),
            Made::Picture(picture) => Layer::Art(placing, picture),
        }
    }
}

/// A scene's sheets, rims and pictures, worked out and ready to become bytes.
pub struct Stack<'a> {
    plan: &'a Plan,
    made: Vec<Option<Made>>,
    /// Outlines as they were seen from the camera places that were asked for.
    pub survey: Survey,
}

/// What of a stack is to be worked out, and how.
pub struct Ask<'a> {
    /// Bounds.
    pub limits: &'a Limits,
    /// Bits of the outputs. Pictures stand in the stack as their files hold them.
    pub bits: Bits,
    /// The jobs that are needed, by their place in the plan; with a rim, its art and all that stands behind it.
    pub needed: &'a (dyn Fn(usize) -> bool + Sync),
    /// Told of each job that is worked out, with its texels.
    pub worked: &'a (dyn Fn(&str, u64) + Sync),
    /// Fields and rims that are kept between runs.
    pub fields: &'a Fields,
    /// What a job is made of, by which its rim is kept; none: it isn't kept.
    pub made_of: &'a (dyn Fn(usize) -> Option<String> + Sync),
    /// The file that holds a job's picture already, with its hash; reading is quicker than drawing.
    pub held: &'a (dyn Fn(usize) -> Option<(PathBuf, String)> + Sync),
    /// Camera places that the outlines are looked at from.
    pub cameras: &'a [f64],
}

impl<'a> Stack<'a> {
    /// Works out every job of the plan, for outputs of 16 bits; the outlines are looked at from [`rim::places`] along the travel.
    ///
    /// # Errors
    /// Those of drawing the pictures.
    pub fn new(plan: &'a Plan, arts: &Arts, limits: &Limits) -> Result<Stack<'a>> {
        let fields = Fields::default();
        let ask = Ask {
            limits,
            bits: Bits::Sixteen,
            needed: &|_| true,
            fields: &fields,
            made_of: &|_| None,
            held: &|_| None,
            worked: &|_, _| (),
            cameras: &rim::places(plan),
        };
        Stack::part(plan, arts, &ask)
    }

    /// Works out what is asked for.
    ///
    /// # Errors
    /// Those of drawing the pictures.
    pub fn part(plan: &'a Plan, arts: &Arts, ask: &Ask<'_>) -> Result<Stack<'a>> {
        let mut stack = Stack::empty(plan);
        stack.fill(arts, ask)?;
        Ok(stack)
    }

    /// A stack whose jobs are worked out as `made` holds them, in the plan's order, with its outlines as they were seen.
    pub fn of(plan: &'a Plan, made: Vec<Option<Made>>, survey: Survey) -> Stack<'a> {
        Stack { plan, made, survey }
    }

    /// Nothing is worked out yet.
    pub fn empty(plan: &'a Plan) -> Stack<'a> {
        Stack { plan, made: plan.files.iter().map(|_| None).collect(), survey: Survey::nothing() }
    }

    /// Whether the job `index` is worked out.
    pub fn has(&self, index: usize) -> bool {
        self.made[index].is_some()
    }

    /// Works out what is asked for and isn't worked out yet.
    ///
    /// # Errors
    /// With all pictures that can't be drawn.
    pub fn fill(&mut self, arts: &Arts, ask: &Ask<'_>) -> Result<()> {
        let plan = self.plan;
        let there: Vec<bool> = self.made.iter().map(Option::is_some).collect();
        let new = |(index, job): &(usize, &Job)| match job {
            Job::Fog(job) => !there[*index] && (ask.needed)(*index) && !ask.fields.has(&job.spec.field),
            Job::Rim(_) | Job::Art(_) => false,
        };
        let keep = ask.fields.room(plan, plan.files.iter().enumerate().filter(new).count());
        let work = |(index, job): (usize, &Job)| -> Result<Option<Made>> {
            if there[index] || !(ask.needed)(index) {
                return Ok(None);
            }
            let made = match job {
                Job::Fog(job) => Made::Sheet(Arc::new(ask.fields.sheet(&job.spec, keep))),
                // Solved in a second pass, when all behind it is there.
                Job::Rim(_) => return Ok(None),
                Job::Art(job) => Made::Picture(Arc::new(picture(index, job, plan, arts, ask)?)),
            };
            let placing = job.placing();
            (ask.worked)(&placing.path, work_of(placing));
            Ok(Some(made))
        };
        let results: Vec<_> = plan.files.par_iter().enumerate().map(work).collect();
        for (made, one) in self.made.iter_mut().zip(Faults::gather(results)?) {
            if one.is_some() {
                *made = one;
            }
        }
        self.survey = rims(plan, &mut self.made, ask);
        Ok(())
    }

    /// Of the job `index` alone, a sheet: as it is at place `time` (0 to 1) of its loop.
    pub fn moment(&self, index: usize, time: f64) -> Stack<'a> {
        let mut made: Vec<Option<Made>> = self.plan.files.iter().map(|_| None).collect();
        if let Job::Fog(job) = &self.plan.files[index] {
            let mut spec = job.spec.clone();
            spec.field.time = time;
            made[index] = Some(Made::Sheet(Arc::new(Sheet::new(spec, Sampling::Reduced))));
        }
        Stack { plan: self.plan, made, survey: Survey::nothing() }
    }

    /// The plan.
    pub fn plan(&self) -> &'a Plan {
        self.plan
    }

    /// The PNG of the job `index` as it is drawn, and whether all of it is opaque. A sheet is never whole in memory. Empty texels if
    /// it wasn't needed.
    pub fn png(&self, index: usize, bits: Bits, effort: Effort) -> (Vec<u8>, bool) {
        if let Some(Made::Sheet(sheet)) = &self.made[index] {
            return (out::stream::sheet(sheet, sheet.size()[0], bits), false);
        }
        let texels = self.texels(index, bits);
        (out::encode(texels.raster(), effort), texels.opaque())
    }

    /// Whether the picture of the job `index` is written with 16 bits where `bits` are asked for.
    pub fn is_deep(&self, index: usize, bits: Bits) -> bool {
        bits == Bits::Sixteen
            && match &self.made[index] {
                Some(Made::Picture(picture)) => picture.deep,
                Some(Made::Sheet(_) | Made::Rim(_)) => true,
                None => false,
            }
    }

    /// The texels of the job `index` as it is drawn: straight alpha, sRGB-encoded; fog's opacity is dithered at 8 bits. Empty ones
    /// if it wasn't needed.
    pub fn texels(&self, index: usize, bits: Bits) -> Owned {
        let size = self.placing(index).texels;
        if self.is_deep(index, bits) {
            return Owned::Sixteen { size, samples: self.sixteen(index) };
        }
        let samples = match &self.made[index] {
            Some(Made::Sheet(sheet)) => sheet.eight(size[0]),
            Some(Made::Rim(rim)) => rim.eight(),
            Some(Made::Picture(picture)) => picture.eight(),
            None => vec![0; size[0] as usize * size[1] as usize * 4],
        };
        Owned::Eight { size, samples }
    }

    /// The texels of the job `index` as exactly as they are known: straight alpha, sRGB-encoded, 16 bits.
    pub fn sixteen(&self, index: usize) -> Vec<u16> {
        let [width, height] = self.placing(index).texels;
        match &self.made[index] {
            Some(Made::Sheet(sheet)) => sheet.sixteen(width),
            Some(Made::Rim(rim)) => rim.sixteen(),
            Some(Made::Picture(picture)) => picture.texels.as_flattened().to_vec(),
            None => vec![0; width as usize * height as usize * 4],
        }
    }

    /// The stack at camera place `camera`, of the jobs that were needed.
    pub fn still(&self, camera: f64) -> Still {
        Still::new(self.plan, &self.layers(), camera)
    }

    /// The same as texels and steps of lightness.
    pub fn shown(&self, camera: f64, bits: Bits) -> Shown {
        Shown::new(self.plan, &self.layers(), camera, bits)
    }

    fn layers(&self) -> Vec<Layer<'_>> {
        let all = self.plan.files.iter().zip(&self.made);
        all.filter_map(|(job, made)| Some(made.as_ref()?.layer(job.placing()))).collect()
    }

    /// The PNG of the value view of what is shown from a camera place, which must be the last of those that the stack was looked at
    /// from.
    pub fn values(&self, shown: &Shown) -> Vec<u8> {
        let (size, place) = (self.plan.texels, self.survey.cameras.len().saturating_sub(1));
        let samples = values::hatched(size, &shown.greys, &self.survey, place);
        out::encode(Raster::Grey { size, samples: &samples }, Effort::Fast)
    }

    /// Where the job `index` of the plan stands; a rim takes no more room than it fills.
    pub fn placing(&self, index: usize) -> &Placing {
        match &self.made[index] {
            Some(Made::Rim(rim)) => &rim.placing,
            _ => self.plan.files[index].placing(),
        }
    }

    /// The rims, far to near.
    pub fn rims(&self) -> impl Iterator<Item = &Rim> {
        self.made.iter().filter_map(|made| match made {
            Some(Made::Rim(rim)) => Some(&**rim),
            _ => None,
        })
    }

    /// The sheets and their places in the plan, far to near.
    pub fn sheets(&self) -> impl Iterator<Item = (usize, &Sheet)> {
        self.made.iter().enumerate().filter_map(|(index, made)| match made {
            Some(Made::Sheet(sheet)) => Some((index, &**sheet)),
            _ => None,
        })
    }
}

/// The treated picture of an art, as its file holds it.
fn picture(index: usize, job: &ArtJob, plan: &Plan, arts: &Arts, ask: &Ask<'_>) -> Result<Picture> {
    if let Some(picture) = (ask.held)(index).and_then(|file| held(&file, job, ask)) {
        return Ok(picture);
    }
    let picture = drawn(job, plan.blending, arts, ask.limits)?;
    let mut picture = job.treatment.apply(picture, plan.blending);
    if picture.deep && ask.bits == Bits::Eight {
        picture.narrow();
    }
    Ok(picture)
}

/// The picture of an art before it is treated.
///
/// # Errors
/// Those of reading and drawing it.
pub(crate) fn drawn(job: &ArtJob, blending: Blending, arts: &Arts, limits: &Limits) -> Result<Picture> {
    let placing = &job.placing;
    let source = arts.source(&placing.slot, limits)?;
    let mut picture = source.draw(placing.texels, job.flip, job.wraps, blending, limits)?;
    if source.kind == art::Kind::Png && source.natural == placing.texels.map(f64::from) {
        // All others have been drawn afresh, with colours everywhere.
        picture.carry_on(job.wraps);
    }
    Ok(picture)
}

/// Reads or solves the rims that are needed, and looks at the outlines.
fn rims(plan: &Plan, made: &mut [Option<Made>], ask: &Ask<'_>) -> Survey {
    let mut due = Vec::new();
    for (index, job) in plan.files.iter().enumerate() {
        let Job::Rim(job) = job else { continue };
        if made[index].is_some() || !(ask.needed)(index) {
            continue;
        }
        let kept = match made.get(index + 1) {
            Some(Some(Made::Picture(picture))) => {
                (ask.made_of)(index).and_then(|made_of| ask.fields.rim(&made_of, job, picture, plan.scale))
            }
            _ => continue,
        };
        match kept {
            Some(rim) => {
                (ask.worked)(&job.placing.path, work_of(&job.placing));
                made[index] = Some(Made::Rim(Arc::new(rim)));
            }
            None => due.push(index),
        }
    }
    let ready: Vec<Ready<'_>> = made
        .iter()
        .enumerate()
        .map(|(index, made)| match made {
            Some(made) => made.ready(),
            None if due.contains(&index) => Ready::Due,
            None => Ready::Aside,
        })
        .collect();
    let solving = if due.is_empty() { Vec::new() } else { rim::places(plan) };
    let mut survey = Survey::part(plan, &ready, &solving, ask.cameras);
    for (index, rim) in survey.rims.drain(..) {
        if let Some(made_of) = (ask.made_of)(index) {
            ask.fields.keep_rim(&made_of, &rim);
        }
        let placing = plan.files[index].placing();
        (ask.worked)(&placing.path, work_of(placing));
        made[index] = Some(Made::Rim(Arc::new(rim)));
    }
    survey
}

/// The PNG of `count` moments of a sheet, one below the other; each `width` columns wide.
///
/// # Errors
/// Class `Limit`: the strip would be larger than `limits` allow.
pub fn frames_png(
    count: u32,
    width: u32,
    bits: Bits,
    effort: Effort,
    limits: &Limits,
    moment: impl Fn(u32) -> Sheet,
) -> Result<Vec<u8>> {
    let first = moment(0);
    let height = u64::from(first.size()[1]) * u64::from(count);
    // Saturates, and is then over any limit.
    let size = [width, u32::try_from(height).unwrap_or(u32::MAX)];
    if let Some((broken, raised)) = limits.told(size) {
        let message = format!("the strip would be {width} x {height} texels; {broken}");
        return Err(Fault::new(Class::Limit, message)
            .remedy(format!("Use fewer frames or numbered files, or raise the limit: --limit {raised}."))
            .into());
    }
    let rest = (1..count).map(moment);
    let sheets = std::iter::once(first).chain(rest);
    Ok(match bits {
        Bits::Eight => {
            let samples: Vec<u8> = sheets.flat_map(|sheet| sheet.eight(width)).collect();
            out::encode(Raster::Eight { size, samples: &samples }, effort)
        }
        Bits::Sixteen => {
            let samples: Vec<u16> = sheets.flat_map(|sheet| sheet.sixteen(width)).collect();
            out::encode(Raster::Sixteen { size, samples: &samples, keep_depth: true }, effort)
        }
    })
}

/// Texels of a job's picture, as a measure of the work.
pub(super) fn work_of(placing: &Placing) -> u64 {
    placing.texels.map(u64::from).iter().product()
}

/// The picture of a job as an earlier run left it in `file`; nothing if it isn't that any more.
fn held((file, hash): &(PathBuf, String), job: &ArtJob, ask: &Ask<'_>) -> Option<Picture> {
    let bytes = art::content(file, ask.limits).ok()?;
    if blake3::hash(&bytes).to_hex().as_str() != hash {
        return None;
    }
    let source = Source::from_bytes(file, bytes, ask.limits).ok()?;
    let texels = job.placing.texels;
    // At its own size a PNG is handed on bit by bit, with the colours under alpha 0.
    let picture = source.draw(texels, false, false, Blending::Encoded, ask.limits).ok()?;
    (source.natural == texels.map(f64::from)).then_some(picture)
}

/// The PNG of a rim.
pub fn rim_png(rim: &Rim, bits: Bits, effort: Effort) -> Vec<u8> {
    raster_png(rim.size(), bits, effort, || rim.eight(), || rim.sixteen())
}

/// The PNG of a still.
pub fn still_png(still: &Still, bits: Bits, effort: Effort) -> Vec<u8> {
    raster_png(still.size, bits, effort, || still.eight(), || still.sixteen())
}

/// The PNG of texels that come at either depth.
fn raster_png(
    size: [u32; 2],
    bits: Bits,
    effort: Effort,
    eight: impl FnOnce() -> Vec<u8>,
    sixteen: impl FnOnce() -> Vec<u16>,
) -> Vec<u8> {
    match bits {
        Bits::Eight => out::encode(Raster::Eight { size, samples: &eight() }, effort),
        Bits::Sixteen => out::encode(Raster::Sixteen { size, samples: &sixteen(), keep_depth: true }, effort),
    }
}

//! The maker: works out what is asked for of a stack.

use crate::base::fault::{Faults, Result};
use crate::base::limits::Limits;
use crate::base::picture::Picture;
use crate::base::placing::Placing;
use crate::base::units::Camera;
use crate::base::words::{Bits, Blending};
use crate::plan::{ArtJob, Job, Plan};
use crate::scene::pictures::{self, Arts, Source};
use crate::stack::survey::{Ready, Survey};
use crate::stack::{Made, Stack};
use crate::store::rerun::Fields;
use rayon::prelude::*;
use std::path::PathBuf;
use std::sync::Arc;

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
    pub cameras: &'a [Camera],
}

impl<'a> Stack<'a> {
    /// Works out every job of the plan, for outputs of 16 bits; the outlines are looked at from [`Plan::cameras`] along the travel.
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
            cameras: &plan.cameras(),
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
}

/// The treated picture of an art, as its file holds it.
fn picture(index: usize, job: &ArtJob, plan: &Plan, arts: &Arts, ask: &Ask<'_>) -> Result<Picture> {
    if let Some(picture) = (ask.held)(index).and_then(|file| held(&file, job, ask)) {
        return Ok(picture);
    }
    let picture = drawn(job, plan.blending, arts, ask.limits)?;
    let mut picture = job.treatment.apply(picture, plan.blending);
    if picture.deep && ask.bits == Bits::Eight {
        picture.quantize_to_8_bits();
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
    if source.kind == pictures::Kind::Png && source.natural == placing.texels.map(f64::from) {
        // All others have been drawn afresh, with colours everywhere.
        picture.bleed(job.wraps);
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
    let solving = if due.is_empty() { Vec::new() } else { plan.cameras() };
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

/// Texels of a job's picture, as a measure of the work.
pub(crate) fn work_of(placing: &Placing) -> u64 {
    placing.texels.map(u64::from).iter().product()
}

/// The picture of a job as an earlier run left it in `file`; nothing if it isn't that any more.
fn held((file, hash): &(PathBuf, String), job: &ArtJob, ask: &Ask<'_>) -> Option<Picture> {
    let bytes = pictures::content(file, ask.limits).ok()?;
    if blake3::hash(&bytes).to_hex().as_str() != hash {
        return None;
    }
    let source = Source::from_bytes(file, bytes, ask.limits).ok()?;
    let texels = job.placing.texels;
    // At its own size a PNG is handed on bit by bit, with the colours under alpha 0.
    let picture = source.draw(texels, false, false, Blending::Encoded, ask.limits).ok()?;
    (source.natural == texels.map(f64::from)).then_some(picture)
}

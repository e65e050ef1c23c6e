//! A scene's sheets and pictures, worked out, and their bytes.

use crate::art::{self, Picture, Source};
use crate::arts::Arts;
use crate::fault::{Class, Fault, Faults, Result};
use crate::field::Sampling;
use crate::limits::Limits;
use crate::out::{self, Effort, Owned, Raster};
use crate::plan::{ArtJob, Job, Placing, Plan};
use crate::rerun::Fields;
use crate::scene::Blending;
use crate::sheet::{Bits, Sheet};
use crate::still::{Layer, Still};
use rayon::prelude::*;
use std::path::PathBuf;

enum Made {
    Sheet(Box<Sheet>),
    Picture(Picture),
}

/// A scene's sheets and pictures, worked out and ready to become bytes.
pub struct Stack<'a> {
    plan: &'a Plan,
    made: Vec<Option<Made>>,
}

/// What of a stack is to be worked out, and how.
pub struct Ask<'a> {
    /// Bounds.
    pub limits: &'a Limits,
    /// Bits of the outputs. Pictures stand in the stack as their files hold them.
    pub bits: Bits,
    /// The jobs that are needed, by their place in the plan.
    pub needed: &'a (dyn Fn(usize) -> bool + Sync),
    /// Told of each job that is worked out, with its texels.
    pub worked: &'a (dyn Fn(&str, u64) + Sync),
    /// Fields that are kept between runs.
    pub fields: &'a Fields,
    /// The file that holds a job's picture already, with its hash; reading is quicker than drawing.
    pub held: &'a (dyn Fn(usize) -> Option<(PathBuf, String)> + Sync),
}

impl<'a> Stack<'a> {
    /// Works out every job of the plan, for outputs of 16 bits.
    pub fn new(plan: &'a Plan, arts: &Arts, limits: &Limits) -> Result<Stack<'a>> {
        let fields = Fields::default();
        let ask = Ask {
            limits,
            bits: Bits::Sixteen,
            needed: &|_| true,
            fields: &fields,
            held: &|_| None,
            worked: &|_, _| (),
        };
        Stack::part(plan, arts, &ask)
    }

    /// Works out what is asked for.
    pub fn part(plan: &'a Plan, arts: &Arts, ask: &Ask<'_>) -> Result<Stack<'a>> {
        let mut stack = Stack::empty(plan);
        stack.fill(arts, ask)?;
        Ok(stack)
    }

    /// Nothing is worked out yet.
    pub fn empty(plan: &'a Plan) -> Stack<'a> {
        Stack { plan, made: plan.files.iter().map(|_| None).collect() }
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
        let work = |(index, job): (usize, &Job)| -> Result<Option<Made>> {
            if there[index] || !(ask.needed)(index) {
                return Ok(None);
            }
            let made = match job {
                Job::Fog(job) => Made::Sheet(Box::new(ask.fields.sheet(&job.spec))),
                Job::Art(job) => {
                    Made::Picture(match (ask.held)(index).and_then(|file| held(&file, job, ask)) {
                        Some(picture) => picture,
                        None => {
                            let placing = &job.placing;
                            let source = arts.source(&placing.slot, ask.limits)?;
                            let mut picture = source.draw(
                                placing.texels,
                                job.flip,
                                job.wraps,
                                plan.blending,
                                ask.limits,
                            )?;
                            if source.kind == art::Kind::Png
                                && source.natural == placing.texels.map(f64::from)
                            {
                                // All others have been drawn afresh, with colours everywhere.
                                picture.carry_on(job.wraps);
                            }
                            if picture.deep && ask.bits == Bits::Eight {
                                picture.narrow();
                            }
                            picture
                        }
                    })
                }
            };
            let placing = job.placing();
            (ask.worked)(&placing.path, work_of(placing));
            Ok(Some(made))
        };
        let results: Vec<_> = plan.files.par_iter().enumerate().map(work).collect();
        let mut faults = Faults::default();
        for (made, result) in self.made.iter_mut().zip(results) {
            match result {
                Ok(Some(one)) => *made = Some(one),
                Ok(None) => {}
                Err(found) => faults.list.extend(found.list),
            }
        }
        faults.or(())
    }

    /// Of the job `index` alone, a sheet: as it is at place `time` (0 to 1) of its loop.
    pub fn moment(&self, index: usize, time: f64) -> Stack<'a> {
        let mut made: Vec<Option<Made>> = self.plan.files.iter().map(|_| None).collect();
        if let Job::Fog(job) = &self.plan.files[index] {
            let mut spec = job.spec.clone();
            spec.field.time = time;
            made[index] = Some(Made::Sheet(Box::new(Sheet::new(spec, Sampling::Reduced))));
        }
        Stack { plan: self.plan, made }
    }

    /// The plan.
    pub fn plan(&self) -> &'a Plan {
        self.plan
    }

    /// The PNG of the job `index` as it is drawn, and whether all of it is opaque. A sheet is never whole in memory.
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
                Some(Made::Sheet(_)) => true,
                None => false,
            }
    }

    /// The texels of the job `index` as it is drawn: straight alpha, sRGB-encoded; fog's opacity is dithered at 8 bits. Empty ones
    /// if it wasn't needed.
    pub fn texels(&self, index: usize, bits: Bits) -> Owned {
        let size = self.plan.files[index].placing().texels;
        if self.is_deep(index, bits) {
            return Owned::Sixteen { size, samples: self.sixteen(index) };
        }
        let samples = match &self.made[index] {
            Some(Made::Sheet(sheet)) => sheet.eight(size[0]),
            Some(Made::Picture(picture)) => picture.eight(),
            None => vec![0; size[0] as usize * size[1] as usize * 4],
        };
        Owned::Eight { size, samples }
    }

    /// The texels of the job `index` as exactly as they are known: straight alpha, sRGB-encoded, 16 bits.
    pub fn sixteen(&self, index: usize) -> Vec<u16> {
        let [width, height] = self.plan.files[index].placing().texels;
        match &self.made[index] {
            Some(Made::Sheet(sheet)) => sheet.sixteen(width),
            Some(Made::Picture(picture)) => picture.texels.as_flattened().to_vec(),
            None => vec![0; width as usize * height as usize * 4],
        }
    }

    /// The stack at camera place `camera`, of the jobs that were needed.
    pub fn still(&self, camera: f64) -> Still {
        let layers: Vec<Layer<'_>> = self
            .plan
            .files
            .iter()
            .zip(&self.made)
            .filter_map(|(job, made)| match made.as_ref()? {
                Made::Sheet(sheet) => Some(Layer::Sheet(job.placing(), sheet)),
                Made::Picture(picture) => Some(Layer::Art(job.placing(), picture)),
            })
            .collect();
        Still::new(self.plan, &layers, camera)
    }
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
    if height > u64::from(limits.side) || height * u64::from(width) > limits.texels {
        return Err(Fault::new(Class::Limit, format!("the strip would be {width} x {height} texels"))
            .remedy(format!(
                "its longer side may have {} texels: ask for fewer frames, or for numbered files",
                limits.side
            ))
            .into());
    }
    let size = [width, height as u32];
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

/// The PNG of a still.
pub fn still_png(still: &Still, bits: Bits, effort: Effort) -> Vec<u8> {
    match bits {
        Bits::Eight => out::encode(Raster::Eight { size: still.size, samples: &still.eight() }, effort),
        Bits::Sixteen => out::encode(
            Raster::Sixteen { size: still.size, samples: &still.sixteen(), keep_depth: true },
            effort,
        ),
    }
}

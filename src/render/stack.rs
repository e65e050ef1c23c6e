//! A scene's sheets and pictures, worked out, and their bytes.

use crate::art::{self, Picture, Source, nearest};
use crate::arts::Arts;
use crate::fault::{Faults, Result};
use crate::limits::Limits;
use crate::out::{self, Effort, Raster};
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
        let work = |(index, job): (usize, &Job)| -> Result<Option<Made>> {
            if !(ask.needed)(index) {
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
        let mut made = Vec::with_capacity(results.len());
        for result in results {
            match result {
                Ok(one) => made.push(one),
                Err(found) => faults.list.extend(found.list),
            }
        }
        faults.or(Stack { plan, made })
    }

    /// The PNG of the job `index` of the plan, and whether all of it is opaque; nothing if it wasn't needed.
    pub fn png(&self, index: usize, bits: Bits, effort: Effort) -> (Vec<u8>, bool) {
        match &self.made[index] {
            None => (Vec::new(), false),
            Some(Made::Sheet(sheet)) => (out::stream::sheet(sheet, sheet.size()[0], bits), false),
            Some(Made::Picture(picture)) => {
                let size = picture.size;
                let opaque = picture.texels.iter().all(|texel| texel[3] == u16::MAX);
                let bytes = if picture.deep && bits == Bits::Sixteen {
                    out::encode(
                        Raster::Sixteen { size, samples: picture.texels.as_flattened(), keep_depth: true },
                        effort,
                    )
                } else {
                    let rgba: Vec<u8> =
                        picture.texels.as_flattened().iter().map(|value| nearest(*value)).collect();
                    out::encode(Raster::Eight { size, samples: &rgba }, effort)
                };
                (bytes, opaque)
            }
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

//! A scene's sheets and pictures, worked out, and their bytes.

use crate::art::Picture;
use crate::arts::Arts;
use crate::colour::Srgb;
use crate::fault::{Faults, Result};
use crate::field::Sampling;
use crate::limits::Limits;
use crate::out::{self, Effort, Raster};
use crate::plan::{Job, Plan};
use crate::sheet::{Bits, Sheet};
use crate::still::{Layer, Still};
use rayon::prelude::*;

enum Made {
    Sheet(Box<Sheet>),
    Picture(Picture),
}

/// A scene's sheets and pictures, worked out and ready to become bytes.
pub struct Stack<'a> {
    plan: &'a Plan,
    made: Vec<Option<Made>>,
}

impl<'a> Stack<'a> {
    /// Works out every job of the plan.
    pub fn new(plan: &'a Plan, arts: &Arts, limits: &Limits) -> Result<Stack<'a>> {
        Stack::part(plan, arts, limits, |_| true)
    }

    /// Works out the jobs of the plan that `needed` asks for, by their place in it.
    pub fn part(
        plan: &'a Plan,
        arts: &Arts,
        limits: &Limits,
        needed: impl Fn(usize) -> bool + Sync,
    ) -> Result<Stack<'a>> {
        let work = |(index, job): (usize, &Job)| -> Result<Option<Made>> {
            if !needed(index) {
                return Ok(None);
            }
            Ok(Some(match job {
                Job::Fog(job) => Made::Sheet(Box::new(Sheet::new(job.spec.clone(), Sampling::Reduced))),
                Job::Art(job) => {
                    let placing = &job.placing;
                    let source = arts.source(&placing.slot, limits)?;
                    Made::Picture(source.draw(placing.texels, job.flip, job.wraps, plan.blending, limits)?)
                }
            }))
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
                    // The exact inverse of code * 257, and the nearest code for deep sources (W3C PNG, sample depth rescaling).
                    let nearest = |value: &u16| ((u32::from(*value) * 255 + 32767) / 65535) as u8;
                    let rgba: Vec<u8> = picture.texels.as_flattened().iter().map(nearest).collect();
                    out::encode(Raster::Eight { size, samples: &rgba }, effort)
                };
                (bytes, opaque)
            }
        }
    }

    /// The stack at camera place `camera`, of the jobs that were needed.
    pub fn still(&self, camera: f64) -> Still {
        let backdrop = Srgb::parse_hex(&self.plan.backdrop).unwrap_or(Srgb([0.0; 3]));
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
        Still::new(self.plan, backdrop, &layers, camera)
    }
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

//! A scene's sheets and pictures, worked out, and their bytes.

use crate::art::Picture;
use crate::arts::Arts;
use crate::colour::Srgb;
use crate::fault::{Class, Fault, Faults, Result};
use crate::field::Sampling;
use crate::limits::Limits;
use crate::out::{self, Effort, Owned, Raster};
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
        let mut stack = Stack { plan, made: plan.files.iter().map(|_| None).collect() };
        stack.fill(arts, limits, needed)?;
        Ok(stack)
    }

    /// Works out the jobs that `needed` asks for and that aren't worked out yet.
    ///
    /// # Errors
    /// With all pictures that can't be drawn.
    pub fn fill(
        &mut self,
        arts: &Arts,
        limits: &Limits,
        needed: impl Fn(usize) -> bool + Sync,
    ) -> Result<()> {
        let plan = self.plan;
        let there: Vec<bool> = self.made.iter().map(Option::is_some).collect();
        let work = |(index, job): (usize, &Job)| -> Result<Option<Made>> {
            if there[index] || !needed(index) {
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

    /// The PNG of the job `index` as it is drawn, if it is a sheet: such files are written without ever being whole in memory.
    pub fn sheet_png(&self, index: usize, bits: Bits) -> Option<Vec<u8>> {
        match &self.made[index] {
            Some(Made::Sheet(sheet)) => Some(out::stream::sheet(sheet, sheet.size()[0], bits)),
            _ => None,
        }
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

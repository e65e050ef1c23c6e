//! A scene's sheets and pictures, worked out, and their bytes.

pub(crate) mod compositor;
pub(crate) mod lamp;
pub mod seams;
pub mod still;
#[cfg(feature = "forms")]
pub(crate) mod strip;
pub mod survey;
pub(crate) mod treat;
pub mod values;

use crate::base::bitmap::Bitmap;
use crate::base::picture::Picture;
use crate::base::placing::Placing;
use crate::base::raster::Owned;
use crate::base::units::Camera;
use crate::base::words::Bits;
use crate::plan::{Job, Plan};
use crate::rim::Rim;
use crate::stack::compositor::{Compositor, Exact};
use crate::stack::still::{Shown, Still};
use crate::stack::survey::{Ready, Survey};
use crate::steps::field::Sampling;
use crate::steps::sheet::Sheet;
use rayon::prelude::*;
use std::ops::Range;
use std::sync::Arc;

pub use compositor::Source;

/// A job, worked out; whoever holds it shares it.
#[derive(Clone)]
pub enum Made {
    /// Fog.
    Sheet(Arc<Sheet>),
    /// A rim.
    Rim(Arc<Rim>),
    /// Treated art.
    Picture(Arc<Bitmap>),
    /// A glow of lamps.
    Lamp(Arc<Picture>),
}

impl Made {
    /// What its layer is drawn from.
    pub fn source(&self) -> Source<'_> {
        match self {
            Made::Sheet(sheet) => Source::Sheet(sheet),
            Made::Rim(rim) => Source::Rim(rim),
            Made::Picture(bitmap) => Source::Bitmap(bitmap),
            Made::Lamp(picture) => Source::Picture(picture),
        }
    }

    /// Whether both are the very same in memory.
    #[cfg(feature = "tune")]
    pub(crate) fn is(&self, other: &Made) -> bool {
        match (self, other) {
            (Made::Sheet(one), Made::Sheet(other)) => Arc::ptr_eq(one, other),
            (Made::Rim(one), Made::Rim(other)) => Arc::ptr_eq(one, other),
            (Made::Picture(one), Made::Picture(other)) => Arc::ptr_eq(one, other),
            (Made::Lamp(one), Made::Lamp(other)) => Arc::ptr_eq(one, other),
            _ => false,
        }
    }

    /// As a survey sees it.
    pub fn ready(&self) -> Ready<'_> {
        Ready::Known(self.source())
    }
}

/// A scene's sheets, rims and pictures, worked out and ready to become bytes.
pub struct Stack<'a> {
    pub(crate) plan: &'a Plan,
    pub(crate) made: Vec<Option<Made>>,
    /// Outlines as they were seen from the camera places that were asked for.
    pub survey: Survey,
}

impl<'a> Stack<'a> {
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

    /// Of the job `index` alone, a sheet: as it is at place `time` (0 to 1) of its loop.
    pub fn moment(&self, index: usize, time: f64) -> Stack<'a> {
        let mut made: Vec<Option<Made>> = self.plan.files.iter().map(|_| None).collect();
        if let Job::Fog(job) = &self.plan.files[index] {
            let mut spec = job.spec.clone();
            spec.field = spec.field.at(time, self.plan.loop_seconds);
            made[index] = Some(Made::Sheet(Arc::new(Sheet::new(spec, Sampling::Reduced))));
        }
        Stack { plan: self.plan, made, survey: Survey::nothing() }
    }

    /// The same stack at another moment of its loop: `plan` is that of [`Plan::at`]. Rims and pictures stay.
    pub fn flowing<'b>(&self, plan: &'b Plan) -> Stack<'b> {
        let made = plan.files.par_iter().zip(&self.made).map(|(job, made)| match (job, made) {
            (Job::Fog(job), Some(_)) => {
                Some(Made::Sheet(Arc::new(Sheet::new(job.spec.clone(), Sampling::Reduced))))
            }
            _ => made.clone(),
        });
        Stack { plan, made: made.collect(), survey: Survey::nothing() }
    }

    /// The same stack as a smaller frame shows it, whose plan is that of [`Plan::in_frame`], its outlines looked at from that one's camera
    /// places.
    pub fn in_frame<'b>(&self, plan: &'b Plan) -> Stack<'b> {
        let ready: Vec<Ready<'_>> =
            self.made.iter().map(|made| made.as_ref().map_or(Ready::Aside, Made::ready)).collect();
        let survey = Survey::part(plan, &ready, &[], &plan.cameras(), &|| false);
        Stack { plan, made: self.made.clone(), survey: survey.unwrap_or_else(Survey::nothing) }
    }

    /// The plan.
    pub fn plan(&self) -> &'a Plan {
        self.plan
    }

    /// Whether the picture of the job `index` is written with 16 bits where `bits` are asked for.
    pub fn is_deep(&self, index: usize, bits: Bits) -> bool {
        bits == Bits::Sixteen
            && match &self.made[index] {
                Some(Made::Picture(picture)) => picture.deep,
                Some(Made::Sheet(_) | Made::Rim(_) | Made::Lamp(_)) => true,
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
            Some(Made::Lamp(picture)) => lamp::eight(picture),
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
            Some(Made::Picture(bitmap)) => bitmap.to_picture().texels.into_flattened(),
            Some(Made::Lamp(picture)) => picture.texels.as_flattened().to_vec(),
            None => vec![0; width as usize * height as usize * 4],
        }
    }

    /// The same of some rows, each number 0..1.
    pub(crate) fn rounded(&self, index: usize, rows: Range<usize>) -> Vec<[f32; 4]> {
        let width = self.placing(index).texels[0] as usize;
        let (first, mut out) = (rows.start, vec![[0.0; 4]; width * rows.len()]);
        match &self.made[index] {
            Some(Made::Sheet(sheet)) => sheet.rounded(width as u32, first, &mut out),
            Some(Made::Rim(rim)) => rim.rounded(first, &mut out),
            Some(Made::Picture(bitmap)) => {
                let each = bitmap.band() / width;
                out.par_chunks_mut(bitmap.band()).enumerate().for_each(|(band, out)| {
                    let from = first + band * each;
                    units(&bitmap.rows(from..from + out.len() / width), out);
                });
            }
            Some(Made::Lamp(picture)) => units(&picture.texels[first * width..][..out.len()], &mut out),
            None => {}
        }
        out
    }

    /// The stack at camera place `camera`, of the jobs that were needed.
    pub fn still(&self, camera: Camera) -> Still {
        Still::new::<Exact>(&self.compositor(camera))
    }

    /// The same as texels and steps of lightness.
    pub fn shown(&self, camera: Camera, bits: Bits) -> Shown {
        Shown::new(&self.compositor(camera), bits)
    }

    pub(crate) fn compositor(&self, camera: Camera) -> Compositor<'_> {
        let jobs = self.plan.files.iter().zip(&self.made);
        let sources = jobs.filter_map(|(job, made)| Some((job.placing(), made.as_ref()?.source())));
        Compositor::new(self.plan, sources, camera)
    }

    /// Where the job `index` of the plan stands; a rim takes no more room than it fills.
    pub fn placing(&self, index: usize) -> &Placing {
        let placing = self.plan.files[index].placing();
        self.made[index].as_ref().map_or(placing, |made| made.source().placing(placing))
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

/// Codes of 16 bits as 0..1.
fn units(texels: &[[u16; 4]], out: &mut [[f32; 4]]) {
    for (out, texel) in out.iter_mut().zip(texels) {
        *out = texel.map(|code| f32::from(code) / 65535.0);
    }
}

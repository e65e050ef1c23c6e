//! The run: a scene and its pictures in, every matched sheet out.

use crate::art::{Picture, Source};
use crate::fault::{Class, Fault, Faults, Result};
use crate::field::Sampling;
use crate::keys;
use crate::limits::Limits;
use crate::out::{self, Effort, Entry, Manifest, Raster};
use crate::plan::{Job, Naturals, Placing, Plan};
use crate::rim;
use crate::rim::{Ready, Rim, Survey};
use crate::scene::{Blending, Scene};
use crate::sheet::{Bits, Sheet};
use crate::still::{Layer, Still};
use rayon::prelude::*;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// The pictures of a scene, read once; by slot name.
#[derive(Clone, Debug, Default)]
pub struct Arts {
    sources: BTreeMap<String, Source>,
}

impl Arts {
    /// Reads every slot's picture. All that can't be used is reported at once.
    pub fn open(scene: &Scene, limits: &Limits) -> Result<Arts> {
        let mut arts = Arts::default();
        let mut faults = Faults::default();
        for slot in &scene.slots {
            if let Some(place) = &slot.art {
                match Source::open(&place.file, limits) {
                    Ok(source) => arts.add(&slot.name, source),
                    Err(found) => faults.list.extend(found.list),
                }
            }
        }
        faults.or(arts)
    }

    /// Adds the picture of a slot.
    pub fn add(&mut self, slot: &str, source: Source) {
        self.sources.insert(slot.to_owned(), source);
    }

    /// Draws the picture of a slot at exactly `texels`.
    ///
    /// # Errors
    /// Class usage: the slot has no picture. Otherwise those of drawing it.
    pub fn draw(
        &self,
        slot: &str,
        texels: [u32; 2],
        flip: bool,
        wraps: bool,
        blending: Blending,
        limits: &Limits,
    ) -> Result<Picture> {
        let source = self
            .sources
            .get(slot)
            .ok_or_else(|| Fault::new(Class::Usage, format!("{slot}: the slot has no picture")))?;
        source.draw(texels, flip, wraps, blending, limits)
    }

    /// Natural sizes, for the plan.
    pub fn naturals(&self) -> Naturals {
        self.sources.iter().map(|(slot, source)| (slot.clone(), source.natural)).collect()
    }

    /// What of the pictures isn't drawn, or not as meant.
    pub fn warnings(&self) -> Vec<String> {
        let mut all: Vec<String> =
            self.sources.values().flat_map(|source| source.warnings.iter().cloned()).collect();
        all.sort();
        all.dedup();
        all
    }
}

enum Made {
    Sheet(Box<Sheet>),
    Rim(Box<Rim>),
    Picture(Picture),
}

/// A scene's sheets and pictures, worked out and ready to become bytes.
pub struct Stack<'a> {
    plan: &'a Plan,
    made: Vec<Made>,
    /// Outlines as they are seen; empty if the plan has no rims.
    pub survey: Survey,
}

impl<'a> Stack<'a> {
    /// Works out every job of the plan; the rims as the outlines are seen from [`rim::places`] along the travel.
    ///
    /// # Errors
    /// Those of drawing the pictures.
    pub fn new(plan: &'a Plan, arts: &Arts, limits: &Limits) -> Result<Stack<'a>> {
        Stack::seen_from(plan, arts, &[], limits)
    }

    /// As [`Stack::new`]; the survey looks at the outlines from the camera places `at` too.
    ///
    /// # Errors
    /// As for [`Stack::new`].
    pub fn seen_from(plan: &'a Plan, arts: &Arts, at: &[f64], limits: &Limits) -> Result<Stack<'a>> {
        let made: Vec<Result<Option<Made>>> = plan
            .files
            .par_iter()
            .map(|job| match job {
                Job::Fog(job) => {
                    Ok(Some(Made::Sheet(Box::new(Sheet::new(job.spec.clone(), Sampling::Reduced)))))
                }
                Job::Rim(_) => Ok(None),
                Job::Art(job) => {
                    let placing = &job.placing;
                    let blending = plan.blending;
                    arts.draw(&placing.slot, placing.texels, job.flip, job.wraps, blending, limits)
                        .map(|picture| Some(Made::Picture(job.treatment.apply(picture, blending))))
                }
            })
            .collect();
        let mut faults = Faults::default();
        let mut all = Vec::new();
        for result in made {
            match result {
                Ok(made) => all.push(made),
                Err(found) => faults.list.extend(found.list),
            }
        }
        faults.or(())?;
        let ready: Vec<Ready<'_>> = all
            .iter()
            .map(|made| match made {
                Some(Made::Sheet(sheet)) => Ready::Sheet(sheet),
                Some(Made::Picture(picture)) => Ready::Picture(picture),
                _ => Ready::Rim,
            })
            .collect();
        let solving = rim::places(plan);
        let cameras = [&solving, at].concat();
        let mut survey = Survey::new(plan, &ready, &cameras, solving.len());
        for (index, rim) in survey.rims.drain(..) {
            all[index] = Some(Made::Rim(Box::new(rim)));
        }
        Ok(Stack { plan, made: all.into_iter().flatten().collect(), survey })
    }

    /// The PNG of the job `index` of the plan, and whether all of it is opaque.
    pub fn png(&self, index: usize, bits: Bits, effort: Effort) -> (Vec<u8>, bool) {
        match &self.made[index] {
            Made::Sheet(sheet) => (out::stream::sheet(sheet, sheet.size()[0], bits), false),
            Made::Rim(rim) => (rim_png(rim, bits, effort), false),
            Made::Picture(picture) => {
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

    /// The PNG of a still's value view; the still's camera place must be the last of those that the stack was made with.
    pub fn values(&self, still: &Still) -> Vec<u8> {
        let place = self.survey.cameras.len().saturating_sub(1);
        let samples = crate::values::view(self.plan, still, &self.survey, place);
        out::encode(Raster::Eight { size: still.size, samples: &samples }, Effort::Fast)
    }

    /// Where the job `index` of the plan stands; a rim takes no more room than it fills.
    pub fn placing(&self, index: usize) -> &Placing {
        match &self.made[index] {
            Made::Rim(rim) => &rim.placing,
            _ => self.plan.files[index].placing(),
        }
    }

    /// How the rims came out, far to near.
    pub fn rims(&self) -> impl Iterator<Item = &Rim> {
        self.made.iter().filter_map(|made| match made {
            Made::Rim(rim) => Some(&**rim),
            _ => None,
        })
    }

    /// The sheets and their places in the plan, far to near.
    pub fn sheets(&self) -> impl Iterator<Item = (usize, &Sheet)> {
        self.made.iter().enumerate().filter_map(|(index, made)| match made {
            Made::Sheet(sheet) => Some((index, &**sheet)),
            _ => None,
        })
    }

    /// The stack at camera place `camera`.
    pub fn still(&self, camera: f64) -> Still {
        let layers: Vec<Layer<'_>> = self
            .plan
            .files
            .iter()
            .zip(&self.made)
            .map(|(job, made)| match made {
                Made::Sheet(sheet) => Layer::Sheet(job.placing(), sheet),
                Made::Rim(rim) => Layer::Rim(rim),
                Made::Picture(picture) => Layer::Art(job.placing(), picture),
            })
            .collect();
        Still::new(self.plan, &layers, camera)
    }
}

/// The PNG of a rim.
pub fn rim_png(rim: &Rim, bits: Bits, effort: Effort) -> Vec<u8> {
    let size = rim.size();
    match bits {
        Bits::Eight => out::encode(Raster::Eight { size, samples: &rim.eight() }, effort),
        Bits::Sixteen => {
            out::encode(Raster::Sixteen { size, samples: &rim.sixteen(), keep_depth: true }, effort)
        }
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

/// What a run is asked for.
#[derive(Clone, Debug)]
pub struct Options {
    /// Where the outputs go.
    pub out: PathBuf,
    /// Texels per scene px; several make several sizes, each in a folder of its own.
    pub scales: Vec<f64>,
    /// Only these slots' files are written; empty: all.
    pub only: Vec<String>,
    /// Bits of the sheets and the still.
    pub bits: Bits,
    /// Camera place of the still, scene px of travel; none: the middle.
    pub camera: Option<f64>,
    /// How hard to squeeze the files.
    pub effort: Effort,
    /// Bounds.
    pub limits: Limits,
}

impl Options {
    /// Everything at scale 1 into `out`, 8 bits, the camera at the middle of the travel, with the default limits.
    pub fn new(out: PathBuf) -> Options {
        Options {
            out,
            scales: vec![1.0],
            only: Vec::new(),
            bits: Bits::Eight,
            camera: None,
            effort: Effort::default(),
            limits: Limits::default(),
        }
    }
}

/// What one scale of a run has written.
#[derive(Clone, Debug)]
pub struct Report {
    /// The folder.
    pub folder: PathBuf,
    /// The manifest that stands in it.
    pub manifest: Manifest,
    /// Where the still is.
    pub still: PathBuf,
    /// The plan that was carried out.
    pub plan: Plan,
    /// Names of the files written, in drawing order; the still and the manifest last.
    pub written: Vec<String>,
}

/// Name of the still in the output folder.
pub const STILL: &str = "still.png";
/// Name of its value view.
pub const VALUES: &str = "still.values.png";

/// Renders `scene` as `options` say: one report for each scale. Nothing is written before everything at that scale is worked out.
///
/// Faults: pictures that can't be drawn, limits, an `only` that names no slot, a folder that can't be written to or that holds
/// a file of somebody else's under a name that the run needs.
pub fn render(scene: &Scene, arts: &Arts, options: &Options) -> Result<Vec<Report>> {
    check_only(scene, &options.only)?;
    let plans = options
        .scales
        .iter()
        .map(|scale| Plan::new(scene, &arts.naturals(), *scale, &options.limits))
        .collect::<Result<Vec<Plan>>>()?;
    let several = plans.len() > 1;
    plans
        .into_iter()
        .map(|plan| {
            let folder =
                if several { options.out.join(format!("scale-{}", plan.scale)) } else { options.out.clone() };
            render_one(plan, arts, options, folder)
        })
        .collect()
}

fn check_only(scene: &Scene, only: &[String]) -> Result<()> {
    let mut faults = Faults::default();
    for name in only {
        if scene.slots.iter().all(|slot| slot.name != *name) {
            let names = scene.slots.iter().map(|slot| slot.name.as_str());
            let remedy = match keys::near(name, names) {
                Some(near) => format!("did you mean `{near}`?"),
                None => {
                    let names: Vec<&str> = scene.slots.iter().map(|slot| slot.name.as_str()).collect();
                    format!("the slots are {}", names.join(", "))
                }
            };
            faults.list.push(
                Fault::new(Class::Usage, format!("--only {name}: the scene has no such slot")).remedy(remedy),
            );
        }
    }
    faults.or(())
}

fn render_one(plan: Plan, arts: &Arts, options: &Options, folder: PathBuf) -> Result<Report> {
    let camera = options.camera.unwrap_or(plan.travel / 2.0);
    let wanted = |slot: &str| options.only.is_empty() || options.only.iter().any(|name| name == slot);
    out::prepare_folder(&folder)?;
    let earlier = Manifest::read(&folder)?;
    let jobs: Vec<usize> =
        (0..plan.files.len()).filter(|&index| wanted(&plan.files[index].placing().slot)).collect();
    let mut names: Vec<String> = jobs.iter().map(|&index| plan.files[index].placing().path.clone()).collect();
    names.extend([STILL, VALUES].map(str::to_owned));
    names.push(out::manifest::NAME.to_owned());
    out::guard(&folder, &names, earlier.as_ref())?;

    let stack = Stack::seen_from(&plan, arts, &[camera], &options.limits)?;
    let (files, (still, values)) = rayon::join(
        || {
            jobs.par_iter()
                .map(|&index| (index, stack.png(index, options.bits, options.effort)))
                .collect::<Vec<_>>()
        },
        || {
            let still = stack.still(camera);
            let values = stack.values(&still);
            (still_png(&still, options.bits, options.effort), values)
        },
    );

    let mut fresh = BTreeMap::new();
    for (index, (bytes, opaque)) in &files {
        out::write_whole(folder.join(&plan.files[*index].placing().path), bytes)?;
        fresh.insert(*index, entry(&plan.files[*index], stack.placing(*index), bytes, *opaque));
    }
    out::write_whole(folder.join(STILL), &still)?;
    out::write_whole(folder.join(VALUES), &values)?;
    let manifest = Manifest {
        version: out::manifest::VERSION,
        generator: concat!("fogweft ", env!("CARGO_PKG_VERSION")).to_owned(),
        view: plan.view,
        travel: plan.travel,
        scale: plan.scale,
        blending: plan.blending,
        alpha: "straight".to_owned(),
        still: Some(still_entry(STILL, camera, &still)),
        values: Some(still_entry(VALUES, camera, &values)),
        files: entries(&plan, fresh, earlier.as_ref(), &folder),
    };
    out::write_whole(folder.join(out::manifest::NAME), manifest.text().as_bytes())?;
    Ok(Report { still: folder.join(STILL), folder, manifest, plan, written: names })
}

fn still_entry(name: &str, camera: f64, bytes: &[u8]) -> out::Still {
    let hash = blake3::hash(bytes).to_hex().to_string();
    out::Still { path: name.to_owned(), camera, hash, bytes: bytes.len() as u64 }
}

fn entry(job: &Job, placing: &Placing, bytes: &[u8], opaque: bool) -> Entry {
    Entry {
        slot: placing.slot.clone(),
        kind: placing.kind,
        path: placing.path.clone(),
        order: placing.order as u32,
        depth: placing.depth,
        pan_rate: placing.pan_rate,
        rect: placing.rect,
        texels: placing.texels,
        period: placing.period,
        optical_depth: match job {
            Job::Fog(job) => Some(job.optical_depth),
            Job::Rim(_) | Job::Art(_) => None,
        },
        opaque,
        hash: blake3::hash(bytes).to_hex().to_string(),
        bytes: bytes.len() as u64,
    }
}

/// The manifest's entries: what this run made, and, where it was held to some slots, what an earlier one left of the others.
fn entries(
    plan: &Plan,
    mut fresh: BTreeMap<usize, Entry>,
    earlier: Option<&Manifest>,
    folder: &Path,
) -> Vec<Entry> {
    plan.files
        .iter()
        .enumerate()
        .filter_map(|(index, job)| {
            fresh.remove(&index).or_else(|| {
                let placing = job.placing();
                let old = earlier?.files.iter().find(|entry| entry.path == placing.path)?;
                folder.join(&old.path).is_file().then(|| Entry { order: placing.order as u32, ..old.clone() })
            })
        })
        .collect()
}

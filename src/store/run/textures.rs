//! From the plan's jobs to the textures that are wanted of them.

use crate::base::fault::Result;
use crate::base::placing::{Kind, Placing};
use crate::base::progress::Progress;
use crate::base::words::Alpha;
use crate::output;
use crate::output::texture::{Band, Shape};
use crate::plan::{Job, Plan};
use crate::scene::Texture;
use crate::scene::pictures::Arts;
use crate::stack::Stack;
use crate::store::maker::{Ask, work_of};
use crate::store::rerun::made_of::of_texture;
use crate::store::rerun::{Fields, Records, Stands, Wanted, Written};
use crate::store::run::Options;
use rayon::prelude::*;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

/// What of textures only their texels tell.
pub(super) struct Searched {
    /// Shapes that were searched for, by the hash of what they were found for: area and stored size.
    pub shapes: BTreeMap<String, Vec<[u32; 6]>>,
    /// Where rims stand, by the hash of all that they are made of.
    pub stands: BTreeMap<String, Stands>,
}

/// The place of a texture among those of the plan.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Of {
    /// Its job's place in the plan.
    pub job: usize,
    /// Its moment in the loop; 0 is fog at rest.
    pub frame: u32,
    /// Its tile.
    pub tile: usize,
}

/// The shape of every job. What the record knows, or the plan alone tells, costs no texel; for the rest `stack` is filled.
pub(super) fn shapes(
    stack: &mut Stack<'_>,
    jobs: &[Wanted],
    (arts, fields): (&Arts, &Fields),
    options: &Options,
    records: &Records,
    asked: impl Fn(&str) -> bool + Sync,
    (folder, progress): (&Path, &dyn Progress),
) -> Result<(Vec<Shape>, Searched)> {
    let plan = stack.plan();
    let texture = &plan.texture;
    let all = 0..jobs.len();
    let is_rim = |job: usize| matches!(plan.files[job], Job::Rim(_));
    let found_for = |job: usize| of_texture(&jobs[job].made_of, &format!("{texture:?}"));
    let placed: Vec<Option<Placing>> =
        all.clone().map(|job| placed(plan, job, &jobs[job].made_of, records)).collect();
    let known = |job: usize| -> Option<Shape> {
        let placing = placed[job].as_ref()?;
        Shape::plain(placing, texture).or_else(|| {
            let bands = records.state.shapes.get(&found_for(job))?;
            sound(bands, placing.texels).map(|bands| Shape::from_bands(bands, placing, texture))
        })
    };
    let known: Vec<Option<Shape>> = all.clone().map(known).collect();
    let open = |job: usize| known[job].is_none() && asked(&jobs[job].slot);
    // A rim is measured on all that stands behind its art.
    let behind = all.clone().filter(|job| is_rim(*job) && open(*job)).max().map_or(0, |rim| rim + 2);
    let needed = |job: usize| job < behind || open(job);
    let work = |job: usize| {
        let drawn = if needed(job) { work_of(plan.files[job].placing()) } else { 0 };
        drawn + if open(job) { jobs[job].texels } else { 0 }
    };
    let work: u64 = all.clone().map(work).sum();
    if work > 0 {
        progress.begins(folder, 0, work);
    }
    let worked = |path: &str, texels| progress.worked(path, texels);
    // What an earlier run left of an art is looked at again by its hash before it is believed.
    let held = |job: usize| {
        let whole = known[job].as_ref().is_some_and(Shape::is_whole) && texture.alpha == Alpha::Straight;
        let made = |written: &Written| written.made_of == jobs[job].made_of;
        let written = records.of(&jobs[job].path).into_iter().find(made);
        written
            .filter(|_| whole && !options.rerun.again)
            .map(|written| (folder.join(&jobs[job].path), written.hash))
    };
    let ask = Ask {
        fields,
        limits: &options.limits,
        bits: options.bits,
        needed: &needed,
        worked: &worked,
        made_of: &|job| jobs.get(job).map(|job| job.made_of.clone()),
        held: &held,
        cameras: &[],
    };
    if work > 0 {
        stack.fill(arts, &ask)?;
    }
    let stack = &*stack;
    let placing = |job: usize| placed[job].as_ref().unwrap_or_else(|| stack.placing(job));
    let shapes: Vec<Shape> = all
        .clone()
        .into_par_iter()
        .map(|job| match &known[job] {
            Some(shape) => shape.clone(),
            None if open(job) && !progress.stopped() => {
                let shape = Shape::new(stack, job, texture, options.bits);
                worked(&jobs[job].path, jobs[job].texels);
                shape
            }
            // Nobody asks for it.
            None => whole(placing(job), texture),
        })
        .collect();
    let told = || all.clone().filter(|job| known[*job].is_some() || open(*job));
    let plain = |band: &Band| {
        let ([left, top, wide, tall], [width, height]) = (band.area, band.stored);
        [left, top, wide, tall, width, height]
    };
    let searched = Searched {
        shapes: told()
            .filter(|job| Shape::plain(placing(*job), texture).is_none())
            .map(|job| (found_for(job), shapes[job].bands.iter().map(plain).collect()))
            .collect(),
        stands: told()
            .filter(|job| is_rim(*job))
            .map(|job| {
                let Placing { rect, texels, .. } = *placing(job);
                (jobs[job].made_of.clone(), Stands { rect, texels })
            })
            .collect(),
    };
    Ok((shapes, searched))
}

/// Where a job's picture stands. What a rim takes up is known once it was solved, now or by an earlier run.
fn placed(plan: &Plan, job: usize, made_of: &str, records: &Records) -> Option<Placing> {
    let placing = plan.files[job].placing();
    if placing.kind != Kind::Rim {
        return Some(placing.clone());
    }
    let Stands { rect, texels } = *records.state.stands.get(made_of)?;
    let fits = texels.iter().zip(placing.texels).all(|(side, most)| *side <= most);
    fits.then(|| Placing { rect, texels, ..placing.clone() })
}

fn whole(placing: &Placing, texture: &Texture) -> Shape {
    let [width, height] = placing.texels;
    Shape::from_bands(vec![Band { area: [0, 0, width, height], stored: placing.texels }], placing, texture)
}

/// Recorded bands, if they can be those of a picture of this size.
fn sound(bands: &[[u32; 6]], [full_width, full_height]: [u32; 2]) -> Option<Vec<Band>> {
    let [left, mut top, wide, ..] = *bands.first()?;
    let mut all = Vec::new();
    for &[x, y, w, tall, width, height] in bands {
        let small =
            |side: u32, of: u32| side == of || (3..of).contains(&side) || side == of.next_power_of_two();
        let inside = w > 0
            && tall > 0
            && x.checked_add(w).is_some_and(|end| end <= full_width)
            && y.checked_add(tall).is_some_and(|end| end <= full_height);
        if !inside || [x, y, w] != [left, top, wide] || !small(width, w) || !small(height, tall) {
            return None;
        }
        top += tall;
        all.push(Band { area: [x, y, w, tall], stored: [width, height] });
    }
    Some(all)
}

/// The textures that are wanted of a job.
pub(super) fn wanted(
    plan: &Plan,
    job: usize,
    of_job: &Wanted,
    shape: &Shape,
    frames: u32,
) -> Vec<(Of, Wanted)> {
    let placing = plan.files[job].placing();
    let texture = &plan.texture;
    let frames = if placing.kind == Kind::Fog { frames.max(1) } else { 1 };
    let mut all = Vec::new();
    for (tile, cut) in shape.tiles.iter().enumerate() {
        // Stored as drawn, a texture is made of just what the job is.
        let own = if shape.is_whole() && texture.alpha == Alpha::Straight {
            of_job.made_of.clone()
        } else {
            let how = format!(
                "{:?}",
                (shape.bands[cut.band], shape.bands.len() > 1, cut.cut, texture.alpha, plan.blending)
            );
            of_texture(&of_job.made_of, &how)
        };
        let [width, height] = cut.texels();
        let mut settings = of_job.settings.clone();
        if shape.tiles.len() > 1 {
            settings.insert("tiles".into(), shape.tiles.len().to_string());
        }
        for frame in 0..frames {
            let (path, made_of) = match frame {
                0 => (cut.path.clone(), own.clone()),
                _ => {
                    settings.insert("frames".into(), frames.to_string());
                    (frame_path(&cut.path, frame), of_texture(&own, &format!("frame {frame} of {frames}")))
                }
            };
            all.push((
                Of { job, frame, tile },
                Wanted {
                    path,
                    slot: of_job.slot.clone(),
                    made_of,
                    settings: settings.clone(),
                    texels: u64::from(width) * u64::from(height),
                },
            ));
        }
    }
    all
}

/// Name of a frame's file: `reeds.fog.f003.png`.
pub fn frame_path(path: &str, frame: u32) -> String {
    match path.rsplit_once('.') {
        Some((stem, end)) => format!("{stem}.f{frame:03}.{end}"),
        None => format!("{path}.f{frame:03}"),
    }
}

/// A texture's file.
#[derive(Clone, Debug)]
pub(super) struct File {
    /// The PNG.
    pub bytes: Vec<u8>,
    /// Whether every texel is opaque.
    pub opaque: bool,
    /// Bits per channel.
    pub bits: u8,
    /// The hash of its bytes.
    pub hash: String,
}

impl File {
    /// With its hash, worked out once, where the bytes were made.
    pub fn new(bytes: Vec<u8>, opaque: bool, bits: u8) -> File {
        let hash = blake3::hash(&bytes).to_hex().to_string();
        File { bytes, opaque, bits, hash }
    }
}

/// The files of the tiles of one job at one moment, by tile; only those that are `due`.
pub(super) fn make(
    stack: &Stack<'_>,
    of: Of,
    shape: &Shape,
    options: &Options,
    due: &BTreeSet<usize>,
) -> BTreeMap<usize, File> {
    let plan = stack.plan();
    let alpha = plan.texture.alpha;
    let moment;
    let stack = match of.frame {
        0 => stack,
        frame => {
            moment = stack.moment(of.job, f64::from(frame) / f64::from(options.frames));
            &moment
        }
    };
    if shape.is_whole() && alpha == Alpha::Straight {
        let (bytes, opaque) = stack.png(of.job, options.bits, options.effort);
        let bits = if stack.is_deep(of.job, options.bits) { 16 } else { 8 };
        return BTreeMap::from([(0, File::new(bytes, opaque, bits))]);
    }
    let made = shape.make(stack, of.job, options.bits, alpha);
    made.into_par_iter()
        .enumerate()
        .filter(|(tile, _)| due.contains(tile))
        .map(|(tile, texels)| {
            let bytes = output::encode(texels.raster(), options.effort);
            (tile, File::new(bytes, texels.opaque(), texels.bits()))
        })
        .collect()
}

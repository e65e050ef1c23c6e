//! From the plan's jobs to the textures that are wanted of them.

use super::stack::Ask;
use super::{Options, Stack};
use crate::arts::Arts;
use crate::fault::Result;
use crate::out;
use crate::plan::{Kind, Placing, Plan};
use crate::progress::Progress;
use crate::rerun::made_of::of_texture;
use crate::rerun::{Fields, Records, Wanted};
use crate::scene::{Alpha, Texture};
use crate::texture::{Band, Shape};
use rayon::prelude::*;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

/// Shapes that were searched for, by the hash of what they were found for: area and stored size.
pub(super) type Searched = BTreeMap<String, Vec<[u32; 6]>>;

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
    let found_for = |job: usize| of_texture(&jobs[job].made_of, &format!("{texture:?}"));
    let known = |job: usize| -> Option<Shape> {
        let placing = plan.files[job].placing();
        Shape::plain(placing, texture).or_else(|| {
            let bands = records.state.shapes.get(&found_for(job))?;
            sound(bands, placing.texels).map(|bands| Shape::of(bands, placing, texture))
        })
    };
    let known: Vec<Option<Shape>> = (0..jobs.len()).map(known).collect();
    let open = |job: usize| known[job].is_none() && asked(&jobs[job].slot);
    let work: u64 = (0..jobs.len()).filter(|job| open(*job)).map(|job| 2 * jobs[job].texels).sum();
    if work > 0 {
        progress.begins(folder, 0, work);
    }
    let worked = |path: &str, texels| progress.worked(path, texels);
    let ask = Ask {
        fields,
        limits: &options.limits,
        bits: options.bits,
        needed: &open,
        worked: &worked,
        held: &|_| None,
    };
    stack.fill(arts, &ask)?;
    let stack = &*stack;
    let shapes: Vec<Shape> = (0..jobs.len())
        .into_par_iter()
        .map(|job| match &known[job] {
            Some(shape) => shape.clone(),
            None if open(job) && !progress.stopped() => {
                let shape = Shape::new(stack, job, texture, options.bits);
                worked(&jobs[job].path, jobs[job].texels);
                shape
            }
            // Nobody asks for it.
            None => whole(plan.files[job].placing(), texture),
        })
        .collect();
    let searched = (0..jobs.len())
        .filter(|job| Shape::plain(plan.files[*job].placing(), texture).is_none())
        .filter(|job| known[*job].is_some() || open(*job))
        .map(|job| {
            let plain = |band: &Band| {
                let ([left, top, wide, tall], [width, height]) = (band.area, band.stored);
                [left, top, wide, tall, width, height]
            };
            (found_for(job), shapes[job].bands.iter().map(plain).collect())
        })
        .collect();
    Ok((shapes, searched))
}

fn whole(placing: &Placing, texture: &Texture) -> Shape {
    let [width, height] = placing.texels;
    Shape::of(vec![Band { area: [0, 0, width, height], stored: placing.texels }], placing, texture)
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
        let own = if shape.is_whole(placing) && texture.alpha == Alpha::Straight {
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
    let placing = plan.files[of.job].placing();
    if shape.is_whole(placing) && alpha == Alpha::Straight {
        let (bytes, opaque) = stack.png(of.job, options.bits, options.effort);
        let bits = if stack.is_deep(of.job, options.bits) { 16 } else { 8 };
        return BTreeMap::from([(0, File { bytes, opaque, bits })]);
    }
    let made = shape.make(stack, of.job, options.bits, alpha);
    made.into_par_iter()
        .enumerate()
        .filter(|(tile, _)| due.contains(tile))
        .map(|(tile, made)| {
            let bytes = out::encode(made.texels.raster(), options.effort);
            (tile, File { bytes, opaque: made.opaque, bits: made.texels.bits() })
        })
        .collect()
}

//! From the plan's jobs to the textures that are wanted of them.

use crate::base::fault::Result;
use crate::base::key::{Key, KeyWriter};
use crate::base::placing::Placing;
use crate::base::words::Alpha;
use crate::output;
use crate::output::texture::{Band, Shape, Tile};
use crate::plan::{Job, Plan};
use crate::scene::Texture;
use crate::stack::Stack;
use crate::stack::survey::Survey;
use crate::store::cache::Entry;
use crate::store::maker::{Request, work_of};
use crate::store::rerun::Wanted;
use crate::store::run::Options;
use crate::store::run::folder::Run;
use rayon::prelude::*;
use std::collections::{BTreeMap, BTreeSet};

/// Kinds of the store's entries: shapes that were searched for, as areas and stored sizes, and where rims stand, as rectangle and texels.
const SHAPE: &str = "shape";
/// How shapes are searched for: whoever changes what a search finds raises it by one. What was stored at another size has another key, so
/// that reruns make that again, and nothing else.
const SEARCH: u32 = 3;
/// See [`SHAPE`].
const STAND: &str = "stand";

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

/// The search for the shapes of a run's textures.
struct Search<'a> {
    run: &'a Run<'a>,
    /// Where each job's picture stands, as far as that is known without a texel.
    placed: Vec<Option<Placing>>,
    /// The shapes that are known without a texel.
    known: Vec<Option<Shape>>,
}

impl Run<'_> {
    /// The shape of every job. What the store knows, or the plan alone tells, costs no texel; for the rest `stack` is filled.
    pub fn shapes(&self, stack: &mut Stack<'_>) -> Result<Vec<Shape>> {
        let mut search = Search { run: self, placed: Vec::new(), known: Vec::new() };
        for job in 0..self.jobs.len() {
            let placed = self.placed(job);
            search.known.push(placed.as_ref().and_then(|placing| self.known_shape(job, placing)));
            search.placed.push(placed);
        }
        search.fill(stack)?;
        let stack = &*stack;
        let shapes = (0..self.jobs.len()).into_par_iter().map(|job| search.shape(stack, job)).collect();
        if self.progress.stopped() { Err(self.stopped()) } else { Ok(shapes) }
    }

    fn shape_key(&self, job: usize) -> Key {
        KeyWriter::new("shape")
            .part("search", &SEARCH)
            .part("of", self.jobs[job].made_of.as_str())
            .part("blending", &self.plan.blending)
            .part("texture", &self.plan.texture)
            .key()
    }

    fn stand_key(&self, job: usize) -> Key {
        KeyWriter::new("stand").part("rim", &self.outputs.keys[job]).key()
    }

    pub fn is_rim(&self, job: usize) -> bool {
        matches!(self.plan.files[job], Job::Rim(_))
    }

    /// How many jobs, from the back, the rims among `jobs` need: a rim is measured on all that stands behind its art.
    pub fn behind_rims(&self, jobs: impl Iterator<Item = usize>) -> usize {
        jobs.filter(|job| self.is_rim(*job)).max().map_or(0, |rim| rim + 2)
    }

    /// Where a job's picture stands. What a rim takes up is known once it was solved, now or by an earlier run.
    fn placed(&self, job: usize) -> Option<Placing> {
        let placing = self.plan.files[job].placing();
        if !self.is_rim(job) {
            return Some(placing.clone());
        }
        let stand: [f64; 6] = self.store.read(STAND, self.stand_key(job))?.try_into().ok()?;
        let [x, y, width, height, across, down] = stand;
        let texels = [across as u32, down as u32];
        let fits = texels.iter().zip(placing.texels).all(|(side, most)| (1..=most).contains(side))
            && [x, y].iter().all(|place| place.abs() <= 1e9)
            && [width, height].iter().all(|side| *side > 0.0 && *side <= 1e9);
        fits.then(|| Placing { rect: [x, y, width, height].into(), texels, ..placing.clone() })
    }

    fn known_shape(&self, job: usize, placing: &Placing) -> Option<Shape> {
        let texture = &self.plan.texture;
        Shape::plain(placing, texture).or_else(|| {
            let content: Vec<u32> = self.store.read(SHAPE, self.shape_key(job))?;
            let bands = sound(content.as_chunks().0, placing.texels)?;
            Some(Shape::from_bands(bands, placing, texture))
        })
    }
}

impl Search<'_> {
    /// Whether a job's shape has to be searched for.
    fn is_open(&self, job: usize) -> bool {
        self.known[job].is_none() && self.run.asks(&self.run.jobs[job].slot)
    }

    /// Brings into the stack what the search looks at.
    fn fill(&self, stack: &mut Stack<'_>) -> Result<()> {
        let Run { plan, jobs, progress, folder, .. } = self.run;
        let all = 0..jobs.len();
        let behind = self.run.behind_rims(all.clone().filter(|job| self.is_open(*job)));
        // Whoever looks at the stack wants all of it, and its outlines, which are looked at for the rims anyway.
        let (open, whole) = (all.clone().any(|job| self.is_open(job)), self.run.options.inspector.is_there());
        let needed: Vec<bool> =
            all.clone().map(|job| job < behind || self.is_open(job) || (whole && open)).collect();
        let cameras = match whole {
            true => plan.cameras(),
            // Once rims are solved the still is due: its outlines are looked at along with theirs.
            false if needed.iter().all(|needed| *needed) && Survey::sees_beside(plan, self.run.camera) => {
                vec![self.run.camera]
            }
            false => Vec::new(),
        };
        let drawn = |job: usize| if needed[job] { work_of(plan.files[job].placing()) } else { 0 };
        let searched = |job: usize| if self.is_open(job) { jobs[job].texels } else { 0 };
        let work: u64 = all.map(|job| drawn(job) + searched(job)).sum();
        if work == 0 {
            return Ok(());
        }
        progress.begins(folder, 0, work);
        let request = Request {
            pictures: self.run.pictures,
            bits: self.run.options.bits,
            needed,
            // What an earlier run left of an art is looked at again by its hash before it is believed.
            files: self.run.picture_files(|job| self.known[job].as_ref()),
            cameras: &cameras,
        };
        if self.run.maker().fill(stack, &request)? { Ok(()) } else { Err(self.run.stopped()) }
    }

    /// The shape of a job; what was searched for goes into the store.
    fn shape(&self, stack: &Stack<'_>, job: usize) -> Shape {
        let (run, texture) = (self.run, &self.run.plan.texture);
        if let Some(shape) = &self.known[job] {
            return shape.clone();
        }
        if !self.is_open(job) || run.progress.stopped() {
            // Nobody asks for it.
            return whole(self.placed[job].as_ref().unwrap_or_else(|| stack.placing(job)), texture);
        }
        let shape = Shape::new(stack, job, texture, run.options.bits);
        run.progress.worked(&run.jobs[job].path, run.jobs[job].texels);
        let placing = stack.placing(job);
        if Shape::plain(placing, texture).is_none() {
            let flat = |band: &Band| {
                let ([left, top, wide, tall], [width, height]) = (band.area, band.stored);
                [left, top, wide, tall, width, height]
            };
            let bands: Vec<[u32; 6]> = shape.bands.iter().map(flat).collect();
            run.store.write(SHAPE, run.shape_key(job), &[bands.as_flattened()]);
        }
        if run.is_rim(job) {
            let ([x, y, width, height], [across, down]) =
                (placing.rect.into(), placing.texels.map(f64::from));
            run.store.write(STAND, run.stand_key(job), &[&[x, y, width, height, across, down]]);
        }
        shape
    }
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

/// What a tile is made of, as a key in hexadecimal.
fn made_of(plan: &Plan, of_job: &Wanted, shape: &Shape, cut: &Tile) -> String {
    let texture = &plan.texture;
    // Stored as drawn, a texture is made of just what the job is.
    if shape.is_whole() && texture.alpha == Alpha::Straight {
        return of_job.made_of.clone();
    }
    let Band { area, stored } = shape.bands[cut.band];
    KeyWriter::new("texture")
        .part("of", of_job.made_of.as_str())
        .part("area", &area)
        .part("stored", &stored)
        .part("several", &(shape.bands.len() > 1))
        .part("cut", &cut.cut)
        .part("alpha", &texture.alpha)
        .part("blending", &plan.blending)
        .key()
        .hex()
}

/// The textures that are wanted of a job.
pub(super) fn wanted(
    plan: &Plan,
    job: usize,
    of_job: &Wanted,
    shape: &Shape,
    frames: u32,
) -> Vec<(Of, Wanted)> {
    let (frames, way) = match &plan.files[job] {
        Job::Fog(job) => (frames.max(1), job.spec.field.recipe.bands.way(plan.loop_seconds)),
        Job::Own(_) | Job::Rim(_) | Job::Art(_) | Job::Lamp(_) => (1, [0.0; 2]),
    };
    let mut all = Vec::new();
    for (tile, cut) in shape.tiles.iter().enumerate() {
        let own = made_of(plan, of_job, shape, cut);
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
                    settings.insert("air.loop_seconds".into(), plan.loop_seconds.to_string());
                    let key = KeyWriter::new("frame").part("of", own.as_str()).part("frame", &frame);
                    (frame_path(&cut.path, frame), key.part("frames", &frames).part("way", &way).key().hex())
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
    /// What it holds; nothing once it was handed over.
    pub bytes: Vec<u8>,
    /// How long that is.
    pub length: u64,
    /// Whether every texel is opaque.
    pub opaque: bool,
    /// Bits per channel.
    pub bits: u8,
    /// The hash of its bytes.
    pub hash: String,
}

impl Entry for File {
    fn bytes(&self) -> usize {
        self.bytes.len()
    }
}

impl File {
    /// With its hash, worked out once, where the bytes were made.
    pub fn new(bytes: Vec<u8>, opaque: bool, bits: u8) -> File {
        let hash = blake3::hash(&bytes).to_hex().to_string();
        File { length: bytes.len() as u64, bytes, opaque, bits, hash }
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
    let (moment, other);
    let (stack, shape) = match of.frame {
        0 => (stack, shape),
        frame => {
            moment = stack.moment(of.job, f64::from(frame) / f64::from(options.frames));
            other = shape.of_another();
            (&moment, &other)
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
            let bytes = output::encode_texture(texels.raster(), options.effort);
            (tile, File::new(bytes, texels.opaque(), texels.bits()))
        })
        .collect()
}

//! The run: a scene and its pictures in, every matched sheet out.

mod fades;
mod folder;
mod give;
mod inspector;
mod make;
mod manifest;
mod output;
mod painted;
mod sibling;
mod sink;
mod textures;
mod write;

pub use fades::Other;
pub use inspector::Inspector;
pub use sibling::folder_of;
pub use sink::{Collected, NamedFile, Sink};
pub use textures::frame_path;

use crate::base::fault::{Class, Fault, Faults, Result};
use crate::base::gate::Pass;
use crate::base::limits::Limits;
use crate::base::progress::{Progress, Silent};
use crate::base::units::Camera;
use crate::base::words::Bits;
use crate::output::forms::{self, Also, Pan};
use crate::output::{Effort, Manifest};
use crate::plan::{Demand, Plan, haze};
use crate::scene::pictures::Pictures;
use crate::scene::{Scene, keys};
use crate::store::cache::{Shared, Store};
use crate::store::rerun::{Gone, Rerun, SceneSettings};
use std::path::{Path, PathBuf};

/// What a run is asked for.
#[derive(Clone, Debug)]
pub struct Options {
    /// Where the outputs go.
    pub out: PathBuf,
    /// The folder that was asked for, `out` or above it: links are followed down to it, and none below.
    pub root: PathBuf,
    /// Files that are read for the run besides the scene's pictures; none of them is ever written over.
    pub inputs: Vec<PathBuf>,
    /// Texels per scene px; several make several sizes, each in a folder of its own.
    pub scales: Vec<f64>,
    /// Only these slots' files are written; empty: all.
    pub only: Vec<String>,
    /// Bits of the sheets and the still.
    pub bits: Bits,
    /// Camera place of the still, scene px of travel; none: the middle.
    pub camera: Option<Camera>,
    /// How hard to squeeze the files.
    pub effort: Effort,
    /// Frames of a closed loop in which fog lives; 1 for fog at rest.
    pub frames: u32,
    /// What else is written of the stack.
    pub also: Vec<Also>,
    /// Bounds of the moving picture.
    pub pan: Pan,
    /// Bounds.
    pub limits: Limits,
    /// How far the run may go with what earlier ones left.
    pub rerun: Rerun,
    /// What the scene sets, for saying why something is made again.
    pub settings: SceneSettings,
    /// The scene in its other moods, for saying which files may be faded into which.
    pub others: Vec<Other>,
    /// The moods whose files are named where they are the same, rather than written again; none stands for the scene without one. Their
    /// folders are `root` and those of [`folder_of`] in it.
    pub lenders: Vec<Option<String>>,
    /// What it has in common with other runs.
    pub shared: Shared,
    /// Who looks at the stack besides.
    pub inspector: Inspector,
    /// Whether nothing is kept on disk for the next run.
    pub no_cache: bool,
    /// Most bytes that are, as a share of those of the outputs.
    pub cache_share: f64,
}

/// The usual share of what is kept on disk for the next run.
pub const CACHE_SHARE: f64 = 0.25;

impl Options {
    /// A run into `out` as it is if nothing else is said.
    pub fn new(out: impl Into<PathBuf>) -> Options {
        let out = out.into();
        Options {
            root: out.clone(),
            out,
            inputs: Vec::new(),
            scales: vec![1.0],
            only: Vec::new(),
            bits: Bits::Eight,
            camera: None,
            effort: Effort::default(),
            frames: 1,
            also: Vec::new(),
            pan: Pan::default(),
            limits: Limits::default(),
            rerun: Rerun::default(),
            settings: SceneSettings::default(),
            others: Vec::new(),
            lenders: Vec::new(),
            shared: Shared::default(),
            inspector: Inspector::default(),
            no_cache: false,
            cache_share: CACHE_SHARE,
        }
    }

    /// What the run makes of `plan` besides a picture of each job; whether its files are `held` until the end.
    pub(super) fn demand(&self, plan: &Plan, held: bool) -> Demand {
        let pan = self.also.contains(&Also::Pan);
        Demand {
            frames: self.frames,
            deep: self.bits == Bits::Sixteen,
            forms: self.also.len() as u32,
            texels: if pan { self.pan.texels(plan, &self.limits) } else { 0 },
            page: self.also.contains(&Also::Preview),
            strip: if self.also.contains(&Also::Strip) { forms::strip_texels(plan) } else { 0 },
            held,
        }
    }

    /// Waits until there is memory for the largest of these plans beside other runs.
    fn pass(&self, plans: &[Plan], held: bool) -> Option<Pass<'_>> {
        let most = plans.iter().map(|plan| plan.memory(&self.demand(plan, held), &self.limits)).max();
        self.shared.pass(most.unwrap_or_default())
    }

    /// The store of a run in `folder`.
    pub fn store(&self, folder: &Path) -> Store {
        let store = if self.no_cache { Store::default() } else { Store::in_folder(folder) };
        store.sharing(&self.shared)
    }

    /// The folders that the run writes in, one for each scale.
    pub fn folders(&self) -> Vec<PathBuf> {
        let folder = |scale: &f64| match self.scales.len() {
            0 | 1 => self.out.clone(),
            _ => self.out.join(format!("scale-{scale}")),
        };
        self.scales.iter().map(folder).collect()
    }
}

/// An output and what became of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Change {
    /// Its name in the output folder.
    pub path: String,
    /// The name under which the new version stands, if that isn't its own.
    pub beside: Option<String>,
    /// Why, in a few words.
    pub why: String,
    /// Whether somebody painted on it, and the still and the other forms show that.
    pub shown: bool,
}

/// What one scale of a run has left.
#[derive(Clone, Debug)]
pub struct Report {
    /// The folder.
    pub folder: PathBuf,
    /// The manifest of what stands in it.
    pub manifest: Manifest,
    /// Where the still is.
    pub still: PathBuf,
    /// The plan that was carried out.
    pub plan: Plan,
    /// What was made, in drawing order, the still last.
    pub made: Vec<Change>,
    /// What somebody painted on, which is why it was kept.
    pub kept: Vec<Change>,
    /// What no slot asks for any more.
    pub gone: Vec<Gone>,
    /// How many files were deleted because another mood's folder has the same.
    pub given_up: usize,
    /// How many outputs were what they should be.
    pub unchanged: usize,
    /// What else is to be told.
    pub notes: Vec<String>,
}

/// Name of the still in the output folder.
pub const STILL: &str = "still.png";
/// Name of its value view.
pub const VALUES: &str = "still.values.png";

/// Renders `scene` as `options` say: one report for each scale. What is what it should be already is left alone. The
/// still is written first, all else when everything at that scale is worked out.
///
/// Faults: pictures that can't be drawn, limits, an `only` that names no slot, a folder that can't be written to, in which another
/// run is at work, or that holds a file of somebody else's under a name that the run needs.
pub fn render(scene: &Scene, pictures: &Pictures, options: &Options) -> Result<Vec<Report>> {
    render_with(scene, pictures, options, &Silent)
}

/// As [`render`], telling `progress`.
///
/// # Errors
/// As for [`render`]; and where `progress` stopped the run, a fault that says so.
pub fn render_with(
    scene: &Scene,
    pictures: &Pictures,
    options: &Options,
    progress: &dyn Progress,
) -> Result<Vec<Report>> {
    let plans = plans(scene, pictures, options, false)?;
    let _pass = options.pass(&plans, false);
    let run = |(plan, folder): (Plan, PathBuf)| {
        let report = folder::run(&plan, pictures, options, folder, progress);
        progress.ends();
        report
    };
    plans.into_iter().zip(options.folders()).map(run).collect()
}

/// Renders `scene` as `options` say, but writes nothing: every file that a run in an empty folder would hold is handed to `sink` as soon
/// as it is made, the still first and the manifest last. At several scales the files of each are named below a folder of its own, as in
/// `scale-2/still.png`. What `options` say of folders and of earlier runs has no say.
///
/// # Errors
/// Pictures that can't be drawn, limits, an `only` that names no slot, what `sink` refuses; and where `progress` stopped the run, a fault
/// that says so.
pub fn render_into(
    scene: &Scene,
    pictures: &Pictures,
    options: &Options,
    sink: &dyn Sink,
    progress: &dyn Progress,
) -> Result<Vec<Report>> {
    let options = &Options { out: PathBuf::new(), rerun: Rerun::default(), ..options.clone() };
    let plans = plans(scene, pictures, options, true)?;
    let _pass = options.pass(&plans, true);
    let run = |(plan, folder): (Plan, PathBuf)| {
        let report = sink::run(&plan, pictures, options, folder, sink, progress);
        progress.ends();
        report
    };
    plans.into_iter().zip(options.folders()).map(run).collect()
}

/// The plans of a run, one for each scale, within the limits; whether its files are `held` until the end.
fn plans(scene: &Scene, pictures: &Pictures, options: &Options, held: bool) -> Result<Vec<Plan>> {
    check_only(scene, &options.only)?;
    let scene = &*haze::sampled(scene, pictures, &options.limits)?;
    let plans = options
        .scales
        .iter()
        .map(|scale| {
            let plan = Plan::new(scene, &pictures.naturals(), *scale, &options.limits)?;
            Ok(plan.with_frames(options.frames))
        })
        .collect::<Result<Vec<Plan>>>()?;
    forms::check(&options.also)?;
    for plan in &plans {
        if options.also.contains(&Also::Pan) {
            options.pan.check(plan, &options.limits)?;
        }
        plan.room(&options.demand(plan, held), &options.limits)?;
    }
    Ok(plans)
}

fn check_only(scene: &Scene, only: &[String]) -> Result<()> {
    let mut faults = Faults::default();
    for name in only {
        if scene.slots.iter().all(|slot| slot.name != *name) {
            let remedy = keys::instead(name, scene.slots.iter().map(|slot| slot.name.as_str()));
            let message = format!("--only {name}: the scene has no such slot");
            faults.list.push(Fault::new(Class::Usage, message).remedy(remedy));
        }
    }
    faults.or(())
}

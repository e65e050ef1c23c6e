//! The check: whether a scene reads. Separation along every outline, lightness over depth, tones, texture memory, overdraw, and
//! the figures of every sheet, held against the scene's own limits.

mod figures;
mod frames;
mod verdict;

pub use figures::{SheetFigures, sheet};
pub use frames::{FrameFigures, FrameSlot};

use crate::base::fault::Result;
use crate::base::limits::Limits;
use crate::base::space::Space;
use crate::base::units::Camera;
use crate::base::words::Bits;
use crate::output::texture::Shape;
use crate::plan::{Demand, Job, Plan, haze};
use crate::rim::Outcome;
use crate::scene::pictures::Pictures;
use crate::scene::{CheckLimits, Scene};
use crate::stack::Stack;
use crate::stack::survey::Mark;
use crate::stack::values::lacks;
use crate::store::cache::Store;
use crate::store::maker::{Maker, Request};
use serde::Serialize;

/// Separation along an outline: steps of CIE L*.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Separation {
    /// The least.
    pub least: f64,
    /// The median.
    pub median: f64,
    /// Share of the outline below what is wanted, 0 to 1.
    pub below: f64,
}

/// What is seen of an outline from one camera place.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PlaceFigures {
    /// The camera place.
    pub camera: Camera,
    /// Points of the outline in view.
    pub points: usize,
    /// Without any rims.
    pub before: Separation,
    /// With the rims.
    pub after: Separation,
}

/// What is found of a slot. Its outline counts where no nearer art hides it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SlotFigures {
    /// Its name.
    pub slot: String,
    /// Its depth.
    pub depth: f64,
    /// Separation that it wants, CIE L*.
    pub wanted: f64,
    /// Points of its outline times the camera places that see them.
    pub points: usize,
    /// Without any rims, over all camera places.
    pub before: Separation,
    /// With the rims, over all camera places.
    pub after: Separation,
    /// The same for each camera place from which any of it is seen.
    pub places: Vec<PlaceFigures>,
    /// Median CIE L* just inside its outline, through all fog in front of it; none where it has no outline.
    pub tone: Option<f64>,
    /// How its rim came out; none where it has none.
    pub rim: Option<Outcome>,
    /// Texture memory of its files, bytes, four to a texel, without mip levels.
    pub memory: u64,
    /// Texels of its files blended per texel of the view, mean over the camera places.
    pub overdraw: f64,
}

/// Something that a painter would want to know.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Finding {
    /// Whether it breaks one of the scene's limits.
    pub fails: bool,
    /// The slot that it is about; none: the scene.
    pub slot: Option<String>,
    /// What is the matter.
    pub message: String,
    /// What to do.
    pub remedy: String,
}

/// What a check has found.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Report {
    /// The scene's name.
    pub scene: String,
    /// The camera places looked from.
    pub cameras: Vec<Camera>,
    /// Moments of the fog's loop looked at: 1 at rest.
    pub moments: usize,
    /// What the scene is held to.
    pub limits: CheckLimits,
    /// The slots, far to near.
    pub slots: Vec<SlotFigures>,
    /// Whether lightness runs one way from far to near.
    pub steady: bool,
    /// Least CIE L* of the frames.
    pub darkest: f64,
    /// Most CIE L* of the frames.
    pub lightest: f64,
    /// Texture memory of all files, bytes.
    pub memory: u64,
    /// Texels blended per texel of the view.
    pub overdraw: f64,
    /// The sheets, far to near.
    pub sheets: Vec<SheetFigures>,
    /// The scene in each of the smaller frames that the game shows too.
    pub frames: Vec<FrameFigures>,
    /// What was found.
    pub findings: Vec<Finding>,
    /// Whether the scene keeps its limits.
    pub passes: bool,
}

/// Checks `scene` at `scale` texels per scene px.
///
/// # Errors
/// Those of planning and drawing it.
pub fn check(scene: &Scene, pictures: &Pictures, scale: f64, limits: &Limits) -> Result<Report> {
    let scene = &*haze::sampled(scene, pictures, limits)?;
    let plan = Plan::new(scene, &pictures.naturals(), scale, limits)?;
    let stack = Stack::new(&plan, pictures, limits)?;
    Ok(check_stack(scene, &stack))
}

/// As [`check`], of a scene whose fog flows over so many frames: outlines and tones are looked at over the loop and the suggested drift.
///
/// # Errors
/// Those of planning and drawing it.
pub fn check_loop(
    scene: &Scene,
    pictures: &Pictures,
    scale: f64,
    frames: u32,
    limits: &Limits,
) -> Result<Report> {
    let scene = &*haze::sampled(scene, pictures, limits)?;
    let plan = Plan::new(scene, &pictures.naturals(), scale, limits)?.with_frames(frames);
    // All sheets of a moment are held besides, as for a moving picture.
    plan.room(&Demand { frames, texels: 1, ..Demand::default() }, limits)?;
    let mut stack = Stack::new(&plan, pictures, limits)?;
    let (cameras, space) = (plan.cameras(), Space::new(plan.blending));
    let moments = plan.moments(frames);
    let mut tones = tones(&stack, &space);
    for [time, drifted] in &moments {
        let at = plan.at(*time, *drifted);
        let mut moment = stack.flowing(&at);
        let (store, request) = (Store::default(), Request::all(&at, pictures, &cameras));
        Maker::new(&store, limits).fill(&mut moment, &request)?;
        for (job, marks) in std::mem::take(&mut moment.survey.marks) {
            match stack.survey.marks.iter_mut().find(|(known, _)| *known == job) {
                Some((_, all)) => all.extend(marks),
                None => stack.survey.marks.push((job, marks)),
            }
        }
        let [darkest, lightest] = self::tones(&moment, &space);
        tones = [tones[0].min(darkest), tones[1].max(lightest)];
    }
    Ok(report(scene, &stack, tones, moments.len() + 1))
}

/// Least and most CIE L* of a stack from the corners of the travel and its middle.
fn tones(stack: &Stack<'_>, space: &Space) -> [f64; 2] {
    let travel = stack.plan().travel;
    let mut places: Vec<Camera> = vec![travel.middle()];
    for corner in [[0.0, 0.0], [1.0, 0.0], [0.0, 1.0], [1.0, 1.0]].map(|shares| travel.at(shares)) {
        if !places.contains(&corner) {
            places.push(corner);
        }
    }
    let (mut darkest, mut lightest) = (100.0_f64, 0.0_f64);
    for camera in places {
        for colour in &stack.still(camera).colours {
            let tone = f64::from(space.lightness(*colour));
            (darkest, lightest) = (darkest.min(tone), lightest.max(tone));
        }
    }
    [darkest, lightest]
}

/// Checks `scene` by a stack that is worked out whole, its outlines looked at from [`Plan::cameras`].
pub fn check_stack(scene: &Scene, stack: &Stack<'_>) -> Report {
    let plan = stack.plan();
    report(scene, stack, tones(stack, &Space::new(plan.blending)), 1)
}

/// What a plan can't know of a scene's pictures: those that repeat although their edges don't meet, one line each.
///
/// # Errors
/// Those of drawing them.
pub fn seams(plan: &Plan, pictures: &Pictures, limits: &Limits) -> Result<Vec<String>> {
    let mut stack = Stack::empty(plan);
    let request = Request { needed: plan.repeating(), ..Request::all(plan, pictures, &[]) };
    Maker::new(&Store::default(), limits).fill(&mut stack, &request)?;
    Ok(stack.seams().iter().map(|seam| format!("{}: {}", seam.slot, seam.message())).collect())
}

fn report(scene: &Scene, stack: &Stack<'_>, [darkest, lightest]: [f64; 2], moments: usize) -> Report {
    let plan = stack.plan();
    let cameras = plan.cameras();
    let slots: Vec<SlotFigures> = scene
        .slots
        .iter()
        .map(|slot| slot_figures(plan, stack, &cameras, &slot.name, slot.depth, slot.separation))
        .collect();
    let sheets =
        stack.sheets().map(|(index, found)| sheet(plan.files[index].placing(), plan, found)).collect();
    let mut report = Report {
        scene: plan.name.clone(),
        memory: slots.iter().map(|slot| slot.memory).sum(),
        overdraw: slots.iter().map(|slot| slot.overdraw).sum(),
        cameras,
        moments,
        limits: scene.check,
        steady: true,
        slots,
        darkest,
        lightest,
        sheets,
        frames: frames::figures(scene, stack),
        findings: Vec::new(),
        passes: true,
    };
    let ends = plan.ends();
    verdict::judge(&mut report, &ends, &plan.frame_changes(&ends), &stack.seams());
    report
}

fn slot_figures(
    plan: &Plan,
    stack: &Stack<'_>,
    cameras: &[Camera],
    name: &str,
    depth: f64,
    wanted: f64,
) -> SlotFigures {
    let mine = |at: &usize| plan.files[*at].placing().slot == name;
    let files: Vec<usize> = (0..plan.files.len()).filter(mine).collect();
    let marks = marks(stack, name);
    let places = cameras
        .iter()
        .enumerate()
        .filter_map(|(place, camera)| {
            let here: Vec<&Mark> =
                marks.iter().copied().filter(|mark| usize::from(mark.place) == place).collect();
            (!here.is_empty()).then(|| PlaceFigures {
                camera: *camera,
                points: here.len(),
                before: separation(here.iter().map(|mark| mark.before), wanted),
                after: separation(here.iter().map(|mark| mark.after), wanted),
            })
        })
        .collect();
    let mut tones: Vec<f32> = marks.iter().map(|mark| mark.tone).collect();
    SlotFigures {
        slot: name.to_owned(),
        depth,
        wanted,
        points: marks.len(),
        before: separation(marks.iter().map(|mark| mark.before), wanted),
        after: separation(marks.iter().map(|mark| mark.after), wanted),
        places,
        tone: (!tones.is_empty()).then(|| f64::from(median(&mut tones))),
        rim: stack.rims().find(|rim| rim.placing.slot == name).map(|rim| rim.outcome),
        memory: files.iter().map(|at| Shape::new(stack, *at, &plan.texture, Bits::Eight).texels() * 4).sum(),
        overdraw: files.iter().map(|at| figures::overdraw(stack.placing(*at), plan, cameras)).sum(),
    }
}

/// What is seen of a slot's outline, where no nearer art hides it.
fn marks<'a>(stack: &'a Stack<'_>, slot: &str) -> Vec<&'a Mark> {
    let is_it = |job: &Job| matches!(job, Job::Art(_)) && job.placing().slot == slot;
    let art = stack.plan().files.iter().position(is_it);
    let marks = stack.survey.marks.iter().filter(|(job, _)| Some(*job) == art);
    marks.flat_map(|(_, marks)| marks).filter(|mark| mark.seen()).collect()
}

fn separation(steps: impl Iterator<Item = f32>, wanted: f64) -> Separation {
    let mut steps: Vec<f32> = steps.collect();
    if steps.is_empty() {
        return Separation::default();
    }
    let below = steps.iter().filter(|step| lacks(**step, wanted)).count() as f64 / steps.len() as f64;
    let median = f64::from(median(&mut steps));
    Separation { least: f64::from(steps.iter().copied().fold(f32::INFINITY, f32::min)), median, below }
}

fn median(values: &mut [f32]) -> f32 {
    let at = values.len() / 2;
    *values.select_nth_unstable_by(at, f32::total_cmp).1
}

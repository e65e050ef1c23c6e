//! The plan: every job with its sizes, periods and optical depth; no pixels.

mod along;
mod ends;
mod frames;
pub mod haze;
mod jobs;
mod key;
mod lamps;
mod memory;
mod moments;
mod own;
pub mod period;
mod places;
pub mod rims;
mod slot;
pub(crate) mod strip;
mod strokes;
mod tint;
pub mod treatment;

pub use ends::End;
pub use frames::Change;
pub use jobs::{ArtJob, FogJob, Job, RimJob, RimSpec};
pub(crate) use lamps::{LEAST_SEEN, MOST_BY_FOG};
pub use lamps::{LampAir, LampJob, LampSpec, Light};
pub use memory::Demand;
pub use places::Place;

use crate::base::colour::Srgb;
use crate::base::colour::floor::floored;
use crate::base::fault::{Class, Fault, Faults, Result};
use crate::base::law;
use crate::base::limits::Limits;
use crate::base::placing::{Kind, Placing};
use crate::base::units::{Camera, Px, Rect, Scale, Texel, Travel};
use crate::base::words::Blending;
use crate::plan::period::Periods;
use crate::plan::slot::{SlotPlan, texels};
use crate::scene::pictures::Naturals;
use crate::scene::{Scene, Slot, Texture};
use crate::steps::strokes::Strokes;
use serde::{Serialize, Serializer};

/// Every job of a scene at one scale, far to near.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Plan {
    /// The scene's name.
    pub name: String,
    /// The camera's frame, scene px.
    pub view: [Px; 2],
    /// The camera's frame, texels.
    pub texels: [u32; 2],
    /// Smaller frames that the game shows too, scene px.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub also_view: Vec<[Px; 2]>,
    /// How far the camera pans on the play plane, to the right and down, scene px.
    pub travel: Travel,
    /// Texels per scene px.
    pub scale: Scale,
    /// How the renderer mixes colours.
    pub blending: Blending,
    /// Extinction per depth unit along the line of the fog.
    pub extinction: f64,
    /// Extinction per depth unit outside the fog.
    pub clear_extinction: f64,
    /// What the still is drawn on, `#rrggbb`.
    #[serde(serialize_with = "hex")]
    pub backdrop: Srgb,
    /// The eye's distance from the play plane, depth units.
    pub camera: f64,
    /// Suggested drift of fog, scene px per second at pan rate 1.
    pub drift: f64,
    /// Duration of the loop that frames of fog make, seconds.
    pub loop_seconds: f64,
    /// Frames of that loop that are made; 1 for fog at rest.
    pub frames: u32,
    /// How textures are stored.
    #[serde(skip)]
    pub texture: Texture,
    /// The jobs in drawing order.
    pub files: Vec<Job>,
    /// What a careful painter would want to know.
    pub notes: Vec<String>,
    /// The plan that rims are solved by, where that isn't this one; it has the same rims.
    #[serde(skip)]
    pub solved_by: Option<Box<Plan>>,
}

impl Plan {
    /// Plans `scene` at `scale` texels per scene px. Every slot with art must have its natural size in `naturals`.
    ///
    /// Fails (class limit) where a picture would be larger than `limits` allow.
    pub fn new(scene: &Scene, naturals: &Naturals, scale: f64, limits: &Limits) -> Result<Plan> {
        let plan = Plan::of(scene, naturals, Scale(scale));
        plan.over(scene, limits).or(plan)
    }

    /// The same, whatever the limits.
    fn of(scene: &Scene, naturals: &Naturals, scale: Scale) -> Plan {
        let mut plan = Plan::empty(scene, scale);
        if scale.0 > rims::SCALE_MAX {
            plan.solved_by = Some(Box::new(Plan::of(scene, naturals, Scale(rims::SCALE_MAX))));
        }
        let (airs, notes) = tint::optical_depths(scene, plan.sky(scene, naturals));
        plan.notes = notes;
        let sheets: Vec<bool> = airs.iter().map(|air| air.sheet.sum() > 0.0).collect();
        let Periods { slots: periods, comes_round } = period::pick(scene, &sheets);
        plan.notes.extend((0..scene.slots.len()).filter_map(|at| along::note_tint(scene, at)));
        for ((slot, air), period) in scene.slots.iter().zip(airs).zip(periods) {
            let own = SlotPlan::new(scene, slot, air, plan.scale, plan.texels);
            let drawn = naturals.strokes.get(&slot.name);
            let replaced = naturals.sheets.contains_key(&slot.name) && slot.fog;
            let fog = if replaced { None } else { own.fog(period, plan.files.len(), drawn) };
            let spec = fog.as_ref().map(|job| job.spec.clone());
            if let Some(job) = own.own_sheet(naturals.sheets.get(&slot.name), period, plan.files.len()) {
                plan.notes.extend(slot.sheet.as_ref().and_then(|place| own::note(&job, place, scale)));
                plan.files.push(Job::Own(Box::new(job)));
            } else if let Some(job) = fog {
                plan.notes.extend(strokes::note(&job));
                plan.notes.extend(along::note(&job));
                plan.notes.extend(slope_note(&job, scene));
                plan.files.push(Job::Fog(Box::new(job)));
            } else if slot.fog {
                plan.notes.push(format!("{}: there is no air behind it, so it has no sheet", slot.name));
            }
            if let Some(mut job) = own.art(naturals.of(slot), plan.files.len()) {
                plan.notes.extend(own.left_out(&job));
                let solved = plan.solved_by.as_ref().map(|solved| solved.rim(&slot.name));
                if let Some(rim) = own.rim(&job, plan.files.len(), solved) {
                    job.placing.order += 1;
                    plan.files.push(Job::Rim(Box::new(rim)));
                }
                plan.files.push(Job::Art(Box::new(job)));
            }
            let lamps = own.lamps(spec.as_ref(), plan.files.len());
            plan.files.extend(lamps.map(|job| Job::Lamp(Box::new(job))));
        }
        plan.note_anchors(scene);
        let ends = plan.ends();
        plan.notes.extend(ends.iter().map(|end| format!("{}: {}", end.slot, end.message())));
        let changes = plan.frame_changes(&ends);
        plan.notes.extend(changes.iter().map(Change::line));
        let repeats = |job: &Job| !matches!(job, Job::Own(job) if job.placing.period.is_none());
        if let Some(way) = comes_round.filter(|_| plan.files.iter().all(repeats)) {
            plan.notes.push(format!(
                "after {way:.0} px of travel all sheets repeat together; if that shows, give a slot a longer period"
            ));
        }
        plan
    }

    /// The rim of the slot `name`.
    fn rim(&self, name: &str) -> Option<&RimJob> {
        self.files.iter().find_map(|job| match job {
            Job::Rim(job) if job.placing.slot == name => Some(&**job),
            _ => None,
        })
    }

    /// Whether the farthest picture fills the view above the horizon wherever the camera goes: it shows what is seen of it, its air too.
    fn sky(&self, scene: &Scene, naturals: &Naturals) -> bool {
        let Some(slot) = scene.slots.first() else { return false };
        let own = SlotPlan::new(scene, slot, Default::default(), self.scale, self.texels);
        let Some(job) = own.art(naturals.of(slot), 0) else { return false };
        let Placing { period, pan_rate, .. } = job.placing;
        let [wide, _] = law::strip(self.view, self.travel, pan_rate);
        let fills = |rect: Rect| {
            let wide = rect.x <= Px(0.0) && rect.x + rect.width >= wide;
            // The horizon stands still in the view, while the picture goes up.
            let foot = Camera { right: Px(0.0), down: self.travel.down }.top(rect.y + rect.height, pan_rate);
            let half_a_texel = Texel(0.5) / self.scale;
            (period.is_some() || wide) && rect.y <= half_a_texel && foot >= scene.horizon
        };
        job.runs().iter().any(|run| fills(run.rect))
    }

    /// The plan of a scene without slots.
    fn empty(scene: &Scene, scale: Scale) -> Plan {
        Plan {
            name: scene.name.clone(),
            view: scene.view,
            texels: scene.view.map(|side| texels(side, scale)),
            also_view: scene.also_view.clone(),
            travel: scene.travel,
            scale,
            blending: scene.air.blending,
            extinction: law::extinction(scene.air.visibility),
            clear_extinction: law::extinction(scene.air.clear),
            backdrop: floored(scene.backdrop, scene.floor),
            camera: scene.camera,
            drift: scene.air.drift,
            loop_seconds: scene.air.loop_seconds,
            frames: 1,
            texture: scene.texture,
            files: Vec::new(),
            notes: Vec::new(),
            solved_by: None,
        }
    }

    /// What is drawn into sheets, by slot.
    fn drawn(&self) -> impl Iterator<Item = (&str, &Strokes)> {
        self.files.iter().filter_map(|job| match job {
            Job::Fog(job) => Some((job.placing.slot.as_str(), job.spec.field.strokes.as_ref()?)),
            Job::Own(_) | Job::Rim(_) | Job::Art(_) | Job::Lamp(_) => None,
        })
    }

    /// What of it is over the limits.
    fn over(&self, scene: &Scene, limits: &Limits) -> Faults {
        let mut faults = Faults::default();
        for slot in &scene.slots {
            faults.list.extend(period::too_short(scene, slot));
        }
        check("the view", self.texels, limits, &mut faults);
        for placing in self.files.iter().map(Job::placing) {
            check(&placing.path, placing.texels, limits, &mut faults);
        }
        for (name, strokes) in self.drawn() {
            let size = [strokes.rect[2], strokes.rect[3]].map(|side| side.ceil() as u32);
            check(&format!("the strokes of {name}"), size, limits, &mut faults);
        }
        for slot in &scene.slots {
            let octaves = slot.recipe.bands.octaves;
            if octaves > limits.octaves {
                let message =
                    format!("{} asks for {octaves} octaves, over the limit of {}", slot.name, limits.octaves);
                faults.list.push(Fault::new(Class::Limit, message).remedy(format!(
                    "Use fewer: each is half as large as the one before, and soon finer than a texel. Or raise the limit: --limit octaves={octaves}."
                )));
            }
        }
        for job in &self.files {
            faults.list.extend(crowded(job));
            if let Job::Art(job) = job {
                faults.list.extend(places::crowded(job));
            }
        }
        faults.list.extend(self.room(&Demand::default(), limits).err());
        faults
    }

    /// Camera places over the whole area of the travel from which outlines are looked at: the ends of either way, and as many between
    /// that every outline that comes into view is seen about twice each way; 3 to 17 to the right and 3 to 9 down, or the one where
    /// there is no travel.
    pub fn cameras(&self) -> Vec<Camera> {
        let fastest = self.files.iter().map(|job| job.placing().pan_rate).fold(1.0, f64::max);
        let shares = |travel: Px, view: Px, most: usize| -> Vec<f64> {
            if travel <= Px(0.0) {
                return vec![0.0];
            }
            let count = (2.0 * travel * fastest / view).ceil() as usize + 1;
            // Odd, so that the middle is among them.
            let last = (count | 1).clamp(3, most) - 1;
            (0..=last).map(|at| at as f64 / last as f64).collect()
        };
        let across = shares(self.travel.right, self.view[0], 17);
        let down = shares(self.travel.down, self.view[1], 9);
        down.iter().flat_map(|down| across.iter().map(|right| self.travel.at([*right, *down]))).collect()
    }

    /// Suggested drift of a job's picture, scene px per second. A sheet that is meant for its places stays.
    pub fn drift_of(&self, job: &Job) -> f64 {
        match job {
            Job::Fog(job) => self.drift_of_fog(job),
            Job::Own(_) | Job::Rim(_) | Job::Art(_) | Job::Lamp(_) => 0.0,
        }
    }

    fn drift_of_fog(&self, job: &FogJob) -> f64 {
        if job.moves() { self.drift * job.placing.pan_rate } else { 0.0 }
    }

    fn note_anchors(&mut self, scene: &Scene) {
        let fogged: Vec<&Slot> = scene.slots.iter().filter(|slot| slot.fog).collect();
        if let Some(first) = fogged.first()
            && let Some(other) = fogged.iter().find(|slot| slot.anchor != first.anchor)
        {
            self.notes.push(format!(
                "{} and {}: the fog of one lies on the ground, that of the other under the sky; a scene looks calmer with one anchor",
                first.name, other.name
            ));
        }
    }
}

/// What becomes of a sheet whose line runs at a slope.
fn slope_note(job: &FogJob, scene: &Scene) -> Option<String> {
    job.spec.field.slope?;
    let Placing { slot, rect, pan_rate, .. } = &job.placing;
    let [whole, _] = law::strip(scene.view, scene.travel, *pan_rate);
    Some(if rect.width > whole {
        format!(
            "{slot}: its fog lies along a slope; the sheet covers the whole travel, falls back over the last {:.0} px and doesn't drift",
            rect.width - whole
        )
    } else {
        format!(
            "{slot}: its fog lies along a slope, and its period is shorter than the travel: it falls back within view"
        )
    })
}

/// Most copies of a picture that lie over each other where it repeats; chosen by eye. What lies below is hidden or solid long before.
const OVERLAPPING: f64 = 64.0;

/// A picture that repeats so closely that drawing it would take the time of hundreds.
fn crowded(job: &Job) -> Option<Fault> {
    let (Job::Art(job) | Job::Own(job)) = job else { return None };
    let Placing { slot, kind, rect, period, .. } = &job.placing;
    let period = (*period)?;
    let copies = (rect.width / period).ceil();
    (copies > OVERLAPPING).then(|| {
        let what = if *kind == Kind::Fog { "own sheet" } else { "picture" };
        let message = format!(
            "slot {slot}: {copies} copies of its {what} would lie over each other; the limit is {OVERLAPPING}"
        );
        let least = (rect.width.0 / OVERLAPPING).ceil();
        Fault::new(Class::Limit, message)
            .remedy(format!("Repeat it at {least} px or more, or make it narrower."))
    })
}

fn hex<S: Serializer>(colour: &Srgb, serializer: S) -> std::result::Result<S::Ok, S::Error> {
    serializer.serialize_str(&colour.to_hex())
}

fn check(what: &str, size: [u32; 2], limits: &Limits, faults: &mut Faults) {
    let [width, height] = size;
    let Some((broken, raised)) = limits.told(size) else { return };
    faults.list.push(
        Fault::new(Class::Limit, format!("{what} would be {width} x {height} texels; {broken}")).remedy(format!(
            "Render at a smaller scale, shorten the view, the travel or the period, or raise the limit: --limit {raised}."
        )),
    );
}

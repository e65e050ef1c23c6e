//! The plan: every job with its sizes, periods and optical depth; no pixels.

pub mod haze;
mod key;
pub mod period;
pub mod rims;
mod tint;
pub mod treatment;

pub use rims::{RimJob, RimSpec};

use crate::base::colour::Srgb;
use crate::base::colour::floor::floored;
use crate::base::fault::{Class, Fault, Faults, Result};
use crate::base::limits::Limits;
use crate::base::placing::{Kind, Placing};
use crate::base::words::{Anchor, Blending};
use crate::base::{law, seed};
use crate::plan::treatment::{Fade, Tint, Treatment};
use crate::scene::pictures::Naturals;
use crate::scene::{ArtPlace, Repeat, Scene, Slot, Texture};
use crate::steps::field::FieldSpec;
use crate::steps::sheet::SheetSpec;
use crate::steps::step5_grade::Tones;
use serde::{Serialize, Serializer};
use std::collections::BTreeMap;

/// A sheet to be made.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FogJob {
    /// Where it stands.
    #[serde(flatten)]
    pub placing: Placing,
    /// Length of air that it stands for, in depth units.
    pub gap: f64,
    /// Optical depth along its line.
    pub optical_depth: f64,
    /// Opacity along its line where density is 1.
    pub opacity: f64,
    /// Height of its anchor line, scene px.
    pub line: f64,
    /// Where its fog lies.
    pub anchor: Anchor,
    /// Name of the preset it starts from.
    pub preset: String,
    /// Its haze.
    pub haze: String,
    /// All that the sheet is made from.
    #[serde(skip)]
    pub spec: SheetSpec,
}

/// An art to be drawn.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ArtJob {
    /// Where it stands.
    #[serde(flatten)]
    pub placing: Placing,
    /// Mirrored left to right.
    pub flip: bool,
    /// Its edges meet when it repeats.
    pub wraps: bool,
    /// What is done to the copy that is drawn.
    #[serde(skip)]
    pub treatment: Treatment,
}

/// One job.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(untagged)]
pub enum Job {
    /// A sheet.
    Fog(Box<FogJob>),
    /// A rim; the art that it serves follows it.
    Rim(Box<RimJob>),
    /// An art.
    Art(Box<ArtJob>),
}

impl Job {
    /// Where the job's picture stands.
    pub fn placing(&self) -> &Placing {
        match self {
            Job::Fog(job) => &job.placing,
            Job::Rim(job) => &job.placing,
            Job::Art(job) => &job.placing,
        }
    }
}

/// Every job of a scene at one scale, far to near.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Plan {
    /// The scene's name.
    pub name: String,
    /// The camera's frame, scene px.
    pub view: [f64; 2],
    /// The camera's frame, texels.
    pub texels: [u32; 2],
    /// How far the camera pans on the play plane, scene px.
    pub travel: f64,
    /// Texels per scene px.
    pub scale: f64,
    /// How the renderer mixes colours.
    pub blending: Blending,
    /// Extinction per depth unit.
    pub extinction: f64,
    /// What the still is drawn on, `#rrggbb`.
    #[serde(serialize_with = "hex")]
    pub backdrop: Srgb,
    /// The eye's distance from the play plane, depth units.
    pub camera: f64,
    /// Suggested drift of fog, scene px per second at pan rate 1.
    pub drift: f64,
    /// How textures are stored.
    #[serde(skip)]
    pub texture: Texture,
    /// The jobs in drawing order.
    pub files: Vec<Job>,
    /// What a careful painter would want to know.
    pub notes: Vec<String>,
}

impl Plan {
    /// Plans `scene` at `scale` texels per scene px. Every slot with art must have its natural size in `naturals`.
    ///
    /// Fails (class limit) where a picture would be larger than `limits` allow.
    pub fn new(scene: &Scene, naturals: &Naturals, scale: f64, limits: &Limits) -> Result<Plan> {
        let mut faults = Faults::default();
        let mut plan = Plan {
            name: scene.name.clone(),
            view: scene.view,
            texels: scene.view.map(|side| texels(side, scale)),
            travel: scene.travel,
            scale,
            blending: scene.air.blending,
            extinction: law::extinction(scene.air.visibility),
            backdrop: floored(scene.backdrop, scene.floor),
            camera: scene.camera,
            drift: scene.air.drift,
            texture: scene.texture,
            files: Vec::new(),
            notes: Vec::new(),
        };
        check("the view", plan.texels, limits, &mut faults);
        let (airs, notes) = tint::share_out(scene);
        plan.notes = notes;
        let fogged: BTreeMap<&str, bool> =
            scene.slots.iter().zip(&airs).map(|(slot, air)| (slot.name.as_str(), air.sheet > 0.0)).collect();
        let period::Picked { periods, comes_round } = period::pick(scene, |slot| fogged[slot.name.as_str()]);
        for (slot, air) in scene.slots.iter().zip(airs) {
            let tones = plan.tones(scene, slot);
            if air.sheet > 0.0 {
                let job = plan.fog(scene, slot, air, periods[&slot.name], tones);
                check(&job.placing.path, job.placing.texels, limits, &mut faults);
                plan.files.push(Job::Fog(Box::new(job)));
            } else if slot.fog {
                plan.notes.push(format!("{}: no air lies behind it, so it gets no sheet", slot.name));
            }
            if let (Some(place), Some(natural)) = (&slot.art, naturals.get(&slot.name)) {
                let mut job = plan.art(scene, slot, place, *natural);
                job.treatment = plan.treatment(scene, slot, &job.placing, air.tint, tones);
                if let Some(rim) = plan.rim(scene, slot, place.repeat, &job, tones) {
                    check(&rim.placing.path, rim.placing.texels, limits, &mut faults);
                    job.placing.order += 1;
                    plan.files.push(Job::Rim(Box::new(rim)));
                }
                check(&job.placing.path, job.placing.texels, limits, &mut faults);
                plan.files.push(Job::Art(Box::new(job)));
            }
        }
        for slot in &scene.slots {
            let octaves = slot.recipe.bands.octaves;
            if octaves > limits.octaves {
                let message =
                    format!("{} asks for {octaves} octaves, over the limit of {}", slot.name, limits.octaves);
                faults.list.push(Fault::new(Class::Limit, message).remedy(format!(
                    "each is half as large as the one before, and soon finer than a texel; or: --limit octaves={octaves}"
                )));
            }
        }
        let memory = plan.memory();
        if memory > limits.memory {
            let message = format!(
                "the run would hold about {} MB at once, over the limit of {} MB",
                memory >> 20,
                limits.memory >> 20
            );
            faults.list.push(
                Fault::new(Class::Limit, message).remedy(format!(
                    "render at a smaller scale, or raise the limit: --limit memory={memory}"
                )),
            );
        }
        plan.note_anchors(scene);
        if let Some(way) = comes_round {
            plan.notes.push(format!(
                "after {way:.0} px of travel every sheet stands as at its start; if that shows, give a slot a longer period"
            ));
        }
        faults.or(plan)
    }

    /// Bytes that a run of all of it holds at once, about: every picture of the stack at 16 bits, the still, fields on their grids,
    /// and what drawing and encoding take beside them.
    pub fn memory(&self) -> u64 {
        let texels = |[width, height]: [u32; 2]| u64::from(width) * u64::from(height);
        let of = |job: &Job| {
            let placing = job.placing();
            texels(placing.texels)
                * match job {
                    Job::Art(_) => 8,
                    Job::Rim(_) => 8,
                    Job::Fog(_) => 1,
                }
        };
        let largest = self.files.iter().map(|job| texels(job.placing().texels)).max().unwrap_or(0);
        self.files.iter().map(of).sum::<u64>() + 24 * texels(self.texels) + 16 * largest
    }

    /// Colours of a slot's fog.
    fn tones(&self, scene: &Scene, slot: &Slot) -> Tones {
        let air = &scene.air;
        let own = slot.haze.unwrap_or(air.haze);
        // What the air between it and the play plane leaves of its own colour.
        let share =
            slot.haze_share.unwrap_or_else(|| law::transmittance(self.extinction * slot.depth.max(0.0)));
        let haze = air.haze.mix(own, share);
        let lift = |colour| floored(colour, scene.floor);
        let [aloft, glow, shade] = [air.aloft, air.glow, air.shade].map(|colour| colour.map(lift));
        let tones = Tones::new(lift(haze), aloft, glow, shade, slot.recipe.grade.lit);
        Tones { glow: lift(tones.glow), shade: lift(tones.shade), ..tones }
    }

    /// What is done to a slot's picture.
    fn treatment(&self, scene: &Scene, slot: &Slot, placing: &Placing, tint: f64, tones: Tones) -> Treatment {
        let unit = slot.shrink.unwrap_or(rate_of(scene, slot)) * self.scale;
        let top = placing.rect[1] * self.scale;
        let tint = (tint > 0.0).then(|| {
            let field = FieldSpec::new(
                placing.texels,
                slot.anchor,
                line_of(scene, slot) * self.scale - top,
                unit,
                &slot.recipe,
                0,
            );
            Tint { depth: tint, haze: tones.haze, falloff: field }
        });
        let fade = slot.fade.map(|fade| Fade::new(&fade, &placing.rect, self.scale));
        Treatment { tint, fade, floor: scene.floor }
    }

    fn fog(&self, scene: &Scene, slot: &Slot, own: tint::Air, period: f64, tones: Tones) -> FogJob {
        let (rate, line) = (rate_of(scene, slot), line_of(scene, slot));
        let size = [texels(period, self.scale), self.texels[1]];
        let unit = slot.shrink.unwrap_or(rate) * self.scale;
        let recipe = &slot.recipe;
        let optical_depth = own.sheet;
        FogJob {
            placing: Placing {
                slot: slot.name.clone(),
                kind: Kind::Fog,
                path: format!("{}.fog.png", slot.name),
                order: self.files.len(),
                depth: slot.depth,
                pan_rate: rate,
                rect: [0.0, 0.0, period, f64::from(size[1]) / self.scale],
                texels: size,
                period: Some(period),
            },
            gap: own.gap,
            optical_depth,
            opacity: law::opacity(optical_depth),
            line,
            anchor: slot.anchor,
            preset: slot.preset.clone(),
            haze: tones.haze.to_hex(),
            spec: SheetSpec {
                field: FieldSpec::new(
                    size,
                    slot.anchor,
                    line * self.scale,
                    unit,
                    recipe,
                    seed::of(slot.seed, "fog"),
                ),
                tau: optical_depth,
                tones,
                light: scene.air.light,
            },
        }
    }

    fn art(&self, scene: &Scene, slot: &Slot, place: &ArtPlace, natural: [f64; 2]) -> ArtJob {
        let width = place.width.unwrap_or(natural[0]);
        let size = [width, width * natural[1] / natural[0]].map(|side| texels(side, self.scale));
        let drawn = size.map(|side| f64::from(side) / self.scale);
        // Without a place of its own the foot stands on the ground that the slot stands on.
        let ground = law::line_at(scene.horizon, scene.ground, rate_of(scene, slot));
        ArtJob {
            placing: Placing {
                slot: slot.name.clone(),
                kind: Kind::Art,
                path: format!("{}.art.png", slot.name),
                order: self.files.len(),
                depth: slot.depth,
                pan_rate: rate_of(scene, slot),
                rect: [place.x, place.y.unwrap_or(ground - drawn[1]), drawn[0], drawn[1]],
                texels: size,
                period: match place.repeat {
                    Repeat::No => None,
                    Repeat::Edge => Some(drawn[0]),
                    Repeat::Every(period) => Some(period),
                },
            },
            flip: place.flip,
            wraps: place.repeat == Repeat::Edge,
            treatment: Treatment::default(),
        }
    }

    fn note_anchors(&mut self, scene: &Scene) {
        let fogged: Vec<&Slot> = scene.slots.iter().filter(|slot| slot.fog).collect();
        if let Some(first) = fogged.first()
            && let Some(other) = fogged.iter().find(|slot| slot.anchor != first.anchor)
        {
            self.notes.push(format!(
                "{} and {}: one lies on the ground, the other under the sky; a scene reads calmer with one of the two",
                first.name, other.name
            ));
        }
    }
}

fn hex<S: Serializer>(colour: &Srgb, serializer: S) -> std::result::Result<S::Ok, S::Error> {
    serializer.serialize_str(&colour.to_hex())
}

/// Pan rate of a slot.
fn rate_of(scene: &Scene, slot: &Slot) -> f64 {
    law::pan_rate(scene.camera, slot.depth)
}

/// Height of a slot's anchor line, scene px.
fn line_of(scene: &Scene, slot: &Slot) -> f64 {
    slot.line.unwrap_or_else(|| {
        let near = match slot.anchor {
            Anchor::Ground => scene.ground,
            Anchor::Sky => scene.sky,
        };
        law::line_at(scene.horizon, near, rate_of(scene, slot))
    })
}

/// A length in whole texels; at least one. Saturates, and is then over any limit.
fn texels(length: f64, scale: f64) -> u32 {
    (length * scale).round().max(1.0) as u32
}

fn check(what: &str, size: [u32; 2], limits: &Limits, faults: &mut Faults) {
    let [width, height] = size;
    let Some((broken, raised)) = limits.told(size) else { return };
    faults.list.push(
        Fault::new(Class::Limit, format!("{what} would be {width} x {height} texels; {broken}")).remedy(format!(
            "render at a smaller scale, shorten the view, the travel or the period, or raise the limit: --limit {raised}"
        )),
    );
}

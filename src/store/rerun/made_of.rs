//! What each output is made of, as one hash: two equal ones mean the same bytes.

use crate::base::placing::Placing;
use crate::base::units::Camera;
use crate::base::words::Bits;
use crate::output::Effort;
use crate::output::forms::{Also, Pan};
use crate::plan::{ArtJob, FogJob, Job, Plan, RimJob};
use crate::scene::pictures::Arts;
use crate::store::rerun::why::{self, Settings, Settled};
use std::path::Path;

/// Version of the outputs' bytes: raise it with every change of the program that changes any byte of any output, be it texels or
/// how they are packed. Else reruns would keep what an older program made.
pub const OUTPUT_VERSION: u32 = 7;

/// An output that a run is to leave in its folder.
#[derive(Clone, Debug, PartialEq)]
pub struct Wanted {
    /// Name in the output folder.
    pub path: String,
    /// The slot it belongs to; empty where it belongs to all.
    pub slot: String,
    /// Hash of all that makes it, in hexadecimal.
    pub made_of: String,
    /// The settings behind that, for naming what changed.
    pub settings: Settings,
    /// Texels to be made, as a measure of the work.
    pub texels: u64,
}

/// How texels become files.
#[derive(Clone, Copy, Debug)]
pub struct Packing {
    /// Bits of the sheets and the still.
    pub bits: Bits,
    /// How hard the files are squeezed.
    pub effort: Effort,
}

/// Gathers parts into a hash; each is told from its neighbours.
struct Parts(blake3::Hasher);

impl Parts {
    fn new(kind: &str) -> Parts {
        let parts = Parts(blake3::Hasher::new_derive_key("fogweft: what an output is made of"));
        parts.add(kind).add(&OUTPUT_VERSION.to_string())
    }

    fn add(mut self, part: &str) -> Parts {
        self.0.update(&(part.len() as u64).to_le_bytes());
        self.0.update(part.as_bytes());
        self
    }

    fn hash(self) -> String {
        self.0.finalize().to_hex().to_string()
    }
}

/// The outputs of the plan's jobs, in its order. A rim is made of all that stands behind its art, the rims there among it.
pub fn of_jobs(plan: &Plan, arts: &Arts, packing: Packing, settled: &Settled) -> Vec<Wanted> {
    let mut all: Vec<Wanted> = Vec::with_capacity(plan.files.len());
    for (at, job) in plan.files.iter().enumerate() {
        let placing = job.placing();
        let (made_of, mut settings) = match job {
            Job::Fog(job) => (of_fog(job, packing), settings_of_fog(job, settled)),
            Job::Rim(job) => {
                let art = match plan.files.get(at + 1) {
                    Some(Job::Art(art)) => stands(&art.placing, &of_art(art, plan, arts, packing)),
                    _ => String::new(),
                };
                (of_rim(job, plan, &all, &art, packing), settings_of_rim(job, plan, &all, &art, settled))
            }
            Job::Art(job) => (of_art(job, plan, arts, packing), settings_of_art(job, arts, settled)),
        };
        let [width, height] = placing.texels;
        settings.insert("plan.texels".into(), format!("{width} x {height}"));
        run_settings(plan, packing, &mut settings);
        all.push(Wanted {
            path: placing.path.clone(),
            slot: placing.slot.clone(),
            made_of,
            settings,
            texels: u64::from(width) * u64::from(height),
        });
    }
    all
}

/// Hash of a job as it stands in the stack.
fn stands(placing: &Placing, made_of: &str) -> String {
    let stands = format!("{:?}", (placing.rect, placing.texels, placing.pan_rate, placing.period));
    Parts::new("layer").add(made_of).add(&stands).hash()
}

/// The value view at `camera`: made of what the still is made of, and of the separations that it is held to.
pub fn of_values(path: &str, plan: &Plan, jobs: &[Wanted], camera: Camera, packing: Packing) -> Wanted {
    let still = of_still(path, plan, jobs, camera, packing);
    Wanted { made_of: Parts::new("values").add(&still.made_of).hash(), ..still }
}

/// The still at `camera`: made of every job as it stands in the stack.
pub fn of_still(path: &str, plan: &Plan, jobs: &[Wanted], camera: Camera, packing: Packing) -> Wanted {
    let mut settings = Settings::from([("at".to_owned(), camera.to_string())]);
    settings.insert("backdrop".into(), plan.backdrop.to_hex());
    settings.insert("air.blending".into(), format!("{:?}", plan.blending).to_lowercase());
    settings.insert("view".into(), format!("{:?}", plan.view));
    run_settings(plan, packing, &mut settings);
    let mut parts = Parts::new("still")
        .add(&format!("{:?}", (plan.texels, plan.scale, plan.blending, &plan.backdrop, camera)))
        .add(&format!("{packing:?}"));
    for (job, wanted) in plan.files.iter().zip(jobs) {
        let hash = stands(job.placing(), &wanted.made_of);
        parts = parts.add(&hash);
        settings.insert(format!("{}{}", why::LAYER, wanted.path), hash[..16].to_owned());
    }
    let [width, height] = plan.texels;
    let texels = u64::from(width) * u64::from(height);
    Wanted { path: path.to_owned(), slot: String::new(), made_of: parts.hash(), settings, texels }
}

/// The stack in another form: made of every job as it stands in the stack, with its name and depth.
pub fn of_export(form: Also, pan: &Pan, plan: &Plan, jobs: &[Wanted], packing: Packing) -> Wanted {
    let mut whole = of_still(form.file(), plan, jobs, Camera::default(), packing);
    for key in ["at", "backdrop"] {
        whole.settings.remove(key);
    }
    whole.settings.insert("air.drift".into(), plan.drift.to_string());
    let facts = (&plan.name, plan.view, plan.travel, plan.camera, plan.drift, plan.texture);
    let mut parts = Parts::new("export").add(form.word()).add(&whole.made_of).add(&format!("{facts:?}"));
    for placing in plan.files.iter().map(Job::placing) {
        parts = parts.add(&format!("{:?}", (&placing.slot, placing.kind, placing.depth)));
    }
    if form == Also::Pan {
        parts = parts.add(&format!("{pan:?}"));
        whole.settings.insert("pan".into(), format!("{} x {} frames", pan.width, pan.frames));
    }
    whole.made_of = parts.hash();
    whole
}

/// A texture of a job: its hash follows from the job's and from how it is shaped.
pub fn of_texture(made_of: &str, shape: &str) -> String {
    Parts::new("texture").add(made_of).add(shape).hash()
}

fn run_settings(plan: &Plan, packing: Packing, settings: &mut Settings) {
    let bits = if packing.bits == Bits::Sixteen { 16 } else { 8 };
    settings.insert("bits".into(), bits.to_string());
    settings.insert("scale".into(), plan.scale.to_string());
    settings.insert("effort".into(), format!("{:?}", packing.effort).to_lowercase());
    settings.insert("output version".into(), OUTPUT_VERSION.to_string());
}

/// `Debug` of plain numbers is exact (the shortest text that reads back as the same number), and takes in every field there is.
fn of_fog(job: &FogJob, packing: Packing) -> String {
    Parts::new("fog").add(&format!("{:?}", job.spec)).add(&format!("{packing:?}")).hash()
}

/// The rim `job` before an art that stands as `art` says, over the jobs `behind` it.
fn of_rim(job: &RimJob, plan: &Plan, behind: &[Wanted], art: &str, packing: Packing) -> String {
    let place = (job.placing.rect, job.placing.pan_rate, job.placing.period);
    let frame = (plan.texels, plan.scale, plan.travel, plan.view, plan.blending, &plan.backdrop);
    let mut parts = Parts::new("rim")
        .add(&format!("{:?}", (&job.spec, place)))
        .add(&format!("{:?}", (frame, plan.cameras())))
        .add(&format!("{packing:?}"))
        .add(art);
    for (job, wanted) in plan.files.iter().zip(behind) {
        parts = parts.add(&stands(job.placing(), &wanted.made_of));
    }
    parts.hash()
}

fn of_art(job: &ArtJob, plan: &Plan, arts: &Arts, packing: Packing) -> String {
    let mut job: ArtJob = job.clone();
    let picture = arts.hash(&job.placing.slot);
    let placing = &mut job.placing;
    // Where it stands changes none of its texels.
    (placing.slot, placing.path, placing.order) = (String::new(), String::new(), 0);
    (placing.depth, placing.pan_rate, placing.rect, placing.period) = (0.0, 0.0, [0.0; 4].into(), None);
    Parts::new("art")
        .add(&picture)
        .add(&format!("{job:?}"))
        .add(&format!("{:?}", plan.blending))
        .add(&format!("{packing:?}"))
        .hash()
}

fn settings_of_fog(job: &FogJob, settled: &Settled) -> Settings {
    const OTHERS: [&str; 9] = [
        "name",
        "backdrop",
        "preset",
        "air.anchor",
        "slot.art",
        "slot.x",
        "slot.y",
        "slot.width",
        "slot.flip",
    ];
    let others = |key: &str| {
        OTHERS.contains(&key)
            || ["slot.repeat", "slot.name", "slot.separation"].contains(&key)
            || ["rim.", "check.", "slot.fade"].iter().any(|other| key.starts_with(other))
    };
    let wanted = |key: &str| !others(key);
    let mut settings = settled.pick(&job.placing.slot, wanted);
    for (key, value) in [
        ("plan.gap", job.gap.to_string()),
        ("plan.optical_depth", job.optical_depth.to_string()),
        ("plan.line", job.line.to_string()),
        ("plan.haze", job.haze.clone()),
        ("plan.pan_rate", job.placing.pan_rate.to_string()),
    ] {
        settings.insert(key.to_owned(), value);
    }
    settings
}

/// Keys of a rim's own; what changed behind it is named by its file.
fn settings_of_rim(job: &RimJob, plan: &Plan, behind: &[Wanted], art: &str, settled: &Settled) -> Settings {
    const OWN: [&str; 6] =
        ["travel", "air.light", "slot.separation", "slot.anchor", "slot.line", "slot.shrink"];
    let step = |key: &str| crate::scene::keys::find(key).is_some_and(|key| key.is_step());
    let wanted =
        |key: &str| OWN.contains(&key) || (key.starts_with("rim.") && key != "rim.separation") || step(key);
    let mut settings = settled.pick(&job.placing.slot, wanted);
    settings.insert("backdrop".into(), plan.backdrop.to_hex());
    settings.insert("plan.haze".into(), job.spec.tones.haze.to_hex());
    for (job, wanted) in plan.files.iter().zip(behind) {
        let hash = stands(job.placing(), &wanted.made_of);
        settings.insert(format!("{}{}", why::LAYER, wanted.path), hash[..16].to_owned());
    }
    if let Some(short) = art.get(..16) {
        settings.insert(format!("{}{}.art.png", why::LAYER, job.placing.slot), short.to_owned());
    }
    settings
}

fn settings_of_art(job: &ArtJob, arts: &Arts, settled: &Settled) -> Settings {
    const OTHERS: [&str; 11] = [
        "slot.name",
        "slot.separation",
        "slot.x",
        "slot.y",
        "slot.depth",
        "slot.period",
        "slot.line",
        "slot.shrink",
        "slot.seed",
        "slot.preset",
        "slot.anchor",
    ];
    let wanted = |key: &str| {
        (["slot.", "air.", "texture."].iter().any(|table| key.starts_with(table)) || key == "floor")
            && key != "slot.fog"
            && !OTHERS.contains(&key)
    };
    let mut settings = settled.pick(&job.placing.slot, wanted);
    settings.insert(why::PICTURE.to_owned(), arts.hash(&job.placing.slot));
    settings
}

/// Hash for what is made of plain text, such as the manifest.
pub(crate) fn of_text(kind: &str, text: &str) -> String {
    Parts::new(kind).add(text).hash()
}

/// Name of the output beside `path` that holds its new version, the `count`th that is tried: `reeds.fog.new.png`,
/// `reeds.fog.new-2.png`.
pub fn beside(path: &str, count: u32) -> String {
    let mark = if count < 2 { "new".to_owned() } else { format!("new-{count}") };
    match Path::new(path).extension().and_then(|ending| ending.to_str()) {
        Some(ending) => format!("{}.{mark}.{ending}", &path[..path.len() - ending.len() - 1]),
        None => format!("{path}.{mark}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn new_versions_stand_beside() {
        assert_eq!(beside("reeds.fog.png", 1), "reeds.fog.new.png");
        assert_eq!(beside("reeds.fog.png", 3), "reeds.fog.new-3.png");
        assert_eq!(beside("a/b.c/scene", 1), "a/b.c/scene.new");
    }

    #[test]
    fn parts_are_told_from_their_neighbours() {
        assert_ne!(Parts::new("x").add("ab").add("c").hash(), Parts::new("x").add("a").add("bc").hash());
    }
}

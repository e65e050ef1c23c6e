//! The outputs that a run is to leave, each with the key of all that makes it: two equal keys mean the same bytes.

use crate::base::key::{Key, KeyPart, KeyWriter, OUTPUT_VERSION};
use crate::base::placing::Placing;
use crate::base::units::Camera;
use crate::base::words::Bits;
use crate::output::Effort;
use crate::output::forms::{Also, Pan};
use crate::plan::{ArtJob, FogJob, Job, LampJob, Plan, RimJob};
use crate::scene::pictures::Pictures;
use crate::scene::{Fit, Texture};
use crate::store::rerun::why::{self, SceneSettings, Settings};
use std::path::Path;

/// An output that a run is to leave in its folder.
#[derive(Clone, Debug, PartialEq)]
pub struct Wanted {
    /// Name in the output folder.
    pub path: String,
    /// The slot it belongs to; empty where it belongs to all.
    pub slot: String,
    /// Key of all that makes it, in hexadecimal.
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

impl Packing {
    fn effort(self) -> &'static str {
        match self.effort {
            Effort::Fast => "fast",
            Effort::Balanced => "balanced",
            Effort::Small => "small",
        }
    }

    fn parts(self, key: KeyWriter) -> KeyWriter {
        key.part("bits", &self.bits).part("effort", self.effort())
    }
}

impl KeyPart for Texture {
    fn write(&self, to: &mut KeyWriter) {
        let Texture { fit, alpha, side, trim } = self;
        let (word, most) = match fit {
            Fit::Full => ("full", None),
            Fit::Half => ("half", None),
            Fit::PowerOfTwo => ("power of two", None),
            Fit::Error(most) => ("error", Some(*most)),
        };
        word.write(to);
        most.write(to);
        alpha.write(to);
        side.write(to);
        trim.write(to);
    }
}

/// What the outputs of a run follow from.
pub struct Outputs<'a> {
    /// The plan.
    pub plan: &'a Plan,
    /// The scene's pictures.
    pub pictures: &'a Pictures,
    /// How texels become files.
    pub packing: Packing,
    /// What the scene sets.
    pub scene_settings: &'a SceneSettings,
    /// Keys of the jobs' texels.
    pub keys: Vec<Key>,
    /// The same as they stand in the stack, what was painted on their files included.
    pub stands: Vec<Key>,
}

impl Outputs<'_> {
    /// Those of `plan`.
    pub fn new<'a>(
        plan: &'a Plan,
        pictures: &'a Pictures,
        packing: Packing,
        scene_settings: &'a SceneSettings,
    ) -> Outputs<'a> {
        let keys = plan.keys(pictures, packing.bits);
        let stands = plan.files.iter().zip(&keys).map(|(job, key)| job.placing().stand_key(*key)).collect();
        Outputs { plan, pictures, packing, scene_settings, keys, stands }
    }

    /// The outputs of the plan's jobs, in its order.
    pub fn jobs(&self) -> Vec<Wanted> {
        (0..self.plan.files.len()).map(|at| self.job(at)).collect()
    }

    fn job(&self, at: usize) -> Wanted {
        let job = &self.plan.files[at];
        let placing = job.placing();
        let mut settings = match job {
            Job::Fog(job) => self.settings_of_fog(job),
            Job::Rim(job) => self.settings_of_rim(at, job),
            Job::Own(job) => self.settings_of_own(job),
            Job::Art(job) => self.settings_of_art(job),
            Job::Lamp(job) => self.settings_of_lamps(job),
        };
        let [width, height] = placing.texels;
        settings.insert("plan.texels".into(), format!("{width} x {height}"));
        self.run_settings(&mut settings);
        Wanted {
            path: placing.path.clone(),
            slot: placing.slot.clone(),
            made_of: self.packing.parts(KeyWriter::new("file").part("texels", &self.keys[at])).key().hex(),
            settings,
            texels: u64::from(width) * u64::from(height),
        }
    }

    /// The still at `camera`: made of every job as it stands in the stack.
    pub fn still(&self, path: &str, camera: Camera) -> Wanted {
        let plan = self.plan;
        let mut settings = Settings::from([("at".to_owned(), camera.to_string())]);
        settings.insert("backdrop".into(), plan.backdrop.to_hex());
        settings.insert("air.blending".into(), plan.blending.to_string());
        settings.insert("view".into(), format!("{:?}", plan.view));
        self.run_settings(&mut settings);
        self.layer_settings(self.stands.len(), &mut settings);
        let key = KeyWriter::new("still")
            .part("frame", &plan.frame_key())
            .part("camera", &camera)
            .part("layers", self.stands.as_slice());
        let [width, height] = plan.texels;
        let texels = u64::from(width) * u64::from(height);
        let made_of = self.packing.parts(key).key().hex();
        Wanted { path: path.to_owned(), slot: String::new(), made_of, settings, texels }
    }

    /// The value view at `camera`: made of what the still is made of, and of the separations that it is held to, which are part of the
    /// rims.
    pub fn values(&self, path: &str, camera: Camera) -> Wanted {
        let still = self.still(path, camera);
        Wanted {
            made_of: KeyWriter::new("values").part("still", still.made_of.as_str()).key().hex(),
            ..still
        }
    }

    /// The stack in another form: made of every job as it stands in the stack, with its name and depth.
    pub fn form(&self, form: Also, pan: &Pan) -> Wanted {
        let plan = self.plan;
        let mut whole = self.still(form.file(), Camera::default());
        for key in ["at", "backdrop"] {
            whole.settings.remove(key);
        }
        whole.settings.insert("air.drift".into(), plan.drift.to_string());
        let mut key = KeyWriter::new("form")
            .part("form", form.word())
            .part("still", whole.made_of.as_str())
            .part("name", plan.name.as_str())
            .part("view", &plan.view)
            .part("travel", &plan.travel)
            .part("eye", &plan.camera)
            .part("drift", &plan.drift)
            .part("texture", &plan.texture);
        for placing in plan.files.iter().map(Job::placing) {
            // Names of files say what they hold.
            key = key
                .part("slot", placing.slot.as_str())
                .part("file", placing.path.as_str())
                .part("depth", &placing.depth);
        }
        if form == Also::Ora {
            key = key.part("layers", "named with fingerprints");
        }
        if form == Also::Pan {
            key = key.part("width", &pan.width).part("frames", &pan.frames).part("delay", &pan.delay);
            if pan.flows {
                key = key.part("loop", &plan.loop_seconds);
                key = plan.ways().fold(key, |key, way| key.part("way", &way));
                whole.settings.insert("air.loop_seconds".into(), plan.loop_seconds.to_string());
            }
            whole.settings.insert("pan".into(), format!("{} x {} frames", pan.width, pan.frames));
        }
        Wanted { made_of: key.key().hex(), ..whole }
    }

    fn run_settings(&self, settings: &mut Settings) {
        let bits = if self.packing.bits == Bits::Sixteen { 16 } else { 8 };
        settings.insert("bits".into(), bits.to_string());
        settings.insert("scale".into(), self.plan.scale.to_string());
        settings.insert("effort".into(), self.packing.effort().to_owned());
        settings.insert("output version".into(), OUTPUT_VERSION.to_string());
    }

    /// The first `count` layers of the stack, each by its file.
    fn layer_settings(&self, count: usize, settings: &mut Settings) {
        for (job, key) in self.plan.files.iter().zip(&self.stands).take(count) {
            settings.insert(format!("{}{}", why::LAYER, job.placing().path), short(key));
        }
    }

    fn settings_of_fog(&self, job: &FogJob) -> Settings {
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
        let mut settings = self.scene_settings.pick(&job.placing.slot, wanted);
        for (key, value) in [
            ("plan.gap", job.gap.to_string()),
            ("plan.optical_depth", job.optical_depth.to_string()),
            ("plan.clear_depth", job.clear_depth.to_string()),
            ("plan.line", job.line.to_string()),
            ("plan.haze", job.haze.clone()),
            ("plan.pan_rate", job.placing.pan_rate.to_string()),
        ] {
            settings.insert(key.to_owned(), value);
        }
        if let Some(strokes) = &job.spec.field.strokes {
            settings.insert(why::STROKES.to_owned(), strokes.drawing.content.clone());
        }
        settings
    }

    /// Keys of a rim's own; what changed behind it, or its picture, is named by its file.
    fn settings_of_rim(&self, at: usize, job: &RimJob) -> Settings {
        const OWN: [&str; 6] =
            ["travel", "air.light", "slot.separation", "slot.anchor", "slot.line", "slot.shrink"];
        let step = |key: &str| crate::scene::keys::find(key).is_some_and(|key| key.is_step());
        let wanted = |key: &str| {
            OWN.contains(&key) || (key.starts_with("rim.") && key != "rim.separation") || step(key)
        };
        let mut settings = self.scene_settings.pick(&job.placing.slot, wanted);
        settings.insert("backdrop".into(), self.plan.backdrop.to_hex());
        settings.insert("plan.haze".into(), job.spec.tones.haze.to_hex());
        if self.plan.frames > 1 {
            settings.insert("frames".into(), self.plan.frames.to_string());
        }
        self.layer_settings(at, &mut settings);
        if let Some(Job::Art(art)) = self.plan.files.get(at + 1) {
            settings.insert(format!("{}{}", why::LAYER, art.placing.path), short(&self.stands[at + 1]));
        }
        settings
    }

    fn settings_of_lamps(&self, job: &LampJob) -> Settings {
        let step = |key: &str| crate::scene::keys::find(key).is_some_and(|key| key.is_step());
        const OWN: [&str; 6] =
            ["camera", "air.visibility", "air.clear", "air.along", "slot.along", "slot.depth"];
        let wanted = |key: &str| OWN.contains(&key) || step(key);
        let mut settings = self.scene_settings.pick(&job.placing.slot, wanted);
        for light in &job.spec.lights {
            let [x, y] = light.at.map(|at| at / self.plan.scale);
            for (key, value) in [
                ("x", (job.placing.rect.x + x).to_string()),
                ("y", (job.placing.rect.y + y).to_string()),
                ("colour", light.colour.to_hex()),
                ("strength", light.strength.to_string()),
                ("core", light.core.to_string()),
            ] {
                settings.insert(format!("lamp.{}.{key}", light.name), value);
            }
        }
        settings
    }

    /// Those of a sheet that is a picture.
    fn settings_of_own(&self, job: &ArtJob) -> Settings {
        let Placing { slot, kind, .. } = &job.placing;
        let wanted =
            |key: &str| key.starts_with("slot.sheet") || key.starts_with("texture.") || key == "air.blending";
        let mut settings = self.scene_settings.pick(slot, wanted);
        settings.insert(why::SHEET.to_owned(), self.pictures.hash(slot, *kind));
        settings
    }

    fn settings_of_art(&self, job: &ArtJob) -> Settings {
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
                && key != "slot.along"
                && !key.starts_with("slot.strokes")
                && !key.starts_with("slot.sheet")
                && !OTHERS.contains(&key)
        };
        let mut settings = self.scene_settings.pick(&job.placing.slot, wanted);
        settings.insert(why::PICTURE.to_owned(), self.pictures.hash(&job.placing.slot, job.placing.kind));
        for place in &job.places {
            let ([x, y], [width, height]) = (place.part.corner, place.part.texels);
            let mirrored = if place.flip { " mirrored" } else { "" };
            settings.insert(
                format!("place {}", place.number),
                format!("{} {width} x {height} texels at {x}, {y}{mirrored}", place.art),
            );
        }
        settings
    }
}

/// Enough of a key to tell it from another.
fn short(key: &Key) -> String {
    key.hex()[..16].to_owned()
}

/// Key of what is made of plain text, such as the manifest.
pub(crate) fn text_key(kind: &str, text: &str) -> Key {
    KeyWriter::new("text").part("kind", kind).part("text", text).key()
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
}

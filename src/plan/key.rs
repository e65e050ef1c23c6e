//! Keys of a plan's layers: what each job's texels are made from, and where they stand.

use crate::base::key::{Key, KeyPart, KeyWriter};
use crate::base::placing::Placing;
use crate::base::words::{Bits, Blending};
use crate::plan::treatment::{Fade, Relight, Tint, Treatment};
use crate::plan::{ArtJob, Job, Plan, RimJob, RimSpec};
use crate::scene::Curve;
use crate::scene::pictures::Part;
use crate::scene::pictures::Pictures;

impl KeyPart for Curve {
    fn write(&self, to: &mut KeyWriter) {
        let word = match self {
            Curve::Smooth => "smooth",
            Curve::Straight => "straight",
            Curve::Early => "early",
            Curve::Late => "late",
        };
        word.write(to);
    }
}

impl Relight {
    /// Key of the light.
    fn key(&self) -> Key {
        let Relight { gain: [red, green, blue], keep } = self;
        KeyWriter::new("light")
            .part("red", red)
            .part("green", green)
            .part("blue", blue)
            .part("keep", keep)
            .key()
    }
}

impl Tint {
    /// Key of the tint.
    fn key(&self) -> Key {
        let falloff = &self.falloff.recipe.falloff;
        let key = KeyWriter::new("tint")
            .part("depth", &self.depth)
            .part("clear", &self.clear)
            .part("haze", &self.haze)
            .part("line", &self.falloff.line)
            .part("open", &self.falloff.open)
            .part(
                "slope",
                &self.falloff.slope.map(|slope| KeyWriter::new("slope").part("line", &slope).key()),
            )
            .part("height", &falloff.height)
            .part("beyond", &falloff.beyond);
        match &self.along {
            Some(along) => key.part("along", &along.key()).key(),
            None => key.key(),
        }
    }
}

impl Fade {
    /// Key of the fade.
    fn key(&self) -> Key {
        let Fade { from, over, curve } = self;
        KeyWriter::new("fade").part("from", from).part("over", over).part("curve", curve).key()
    }
}

impl Treatment {
    /// Key of what is done to a picture.
    pub fn key(&self) -> Key {
        KeyWriter::new("treatment")
            .part("light", &self.light.as_ref().map(Relight::key))
            .part("tint", &self.tint.as_ref().map(Tint::key))
            .part("fade", &self.fade.as_ref().map(Fade::key))
            .part("floor", &self.floor)
            .key()
    }
}

impl ArtJob {
    /// Key of the picture as it is drawn, before it is treated; `content` is the hash of its file, or those of all the slot's pictures with a
    /// blank between.
    pub fn untreated_key(&self, content: &str, blending: Blending) -> Key {
        if self.places.is_empty() {
            return KeyWriter::new("drawn picture")
                .part("content", content)
                .part("size", &self.placing.texels)
                .part("flip", &self.flip)
                .part("wraps", &self.wraps)
                .part("blending", &blending)
                .key();
        }
        let contents: Vec<&str> = content.split(' ').collect();
        let key = KeyWriter::new("drawn pictures")
            .part("size", &self.placing.texels)
            .part("wraps", &self.wraps)
            .part("blending", &blending);
        let parts = self.places.iter().map(|place| &place.part);
        let part = |key: KeyWriter, Part { source, corner, texels, flip }: &Part| {
            key.part("content", contents.get(*source).copied().unwrap_or_default())
                .part("corner", corner)
                .part("size", texels)
                .part("flip", flip)
        };
        parts.fold(key, part).key()
    }

    /// Key of the treated picture, of as many bits as its file will have.
    pub fn key(&self, content: &str, blending: Blending, bits: Bits) -> Key {
        KeyWriter::new("picture")
            .part("drawn", &self.untreated_key(content, blending))
            .part("treatment", &self.treatment.key())
            .part("bits", &bits)
            .key()
    }
}

impl RimSpec {
    /// Key of all that a rim is made from, but for what stands behind it.
    fn key(&self) -> Key {
        let RimSpec { field, tones, dark, light, corner, wraps, periodic, spread, separation, most } = self;
        let key = KeyWriter::new("rim's own")
            .part("field", &field.key())
            .part("dark", dark)
            .part("light", light)
            .part("corner", corner)
            .part("wraps", wraps)
            .part("periodic", periodic)
            .part("spread", spread)
            .part("separation", separation)
            .part("most", most);
        tones.parts(field.recipe.grade.aloft, key).key()
    }
}

impl RimJob {
    /// Key of the rim's place in the view: the newest rim that was solved for it may stand in for one that isn't solved yet.
    pub fn place_key(&self) -> Key {
        let Placing { slot, rect, texels, pan_rate, .. } = &self.placing;
        KeyWriter::new("rim's place")
            .part("slot", slot.as_str())
            .part("rect", rect)
            .part("texels", texels)
            .part("rate", pan_rate)
            .key()
    }

    /// Key of the rim before a picture that stands as `art` says, over the layers `behind` it.
    fn key(&self, plan: &Plan, behind: &[Key], art: Option<Key>) -> Key {
        let Placing { rect, pan_rate, period, .. } = &self.placing;
        let key = KeyWriter::new("rim");
        let moments = plan.solving_moments().into_iter();
        let key = moments.fold(key, |key, moment| key.part("moment", &moment));
        let ways = plan.ways().filter(|_| plan.frames > 1);
        let key = ways.fold(key, |key, way| key.part("way", &way));
        key.part("own", &self.spec.key())
            .part("rect", rect)
            .part("rate", pan_rate)
            .part("period", period)
            .part("frame", &plan.frame_key())
            .part("view", &plan.view)
            .part("travel", &plan.travel)
            .part("cameras", plan.cameras().as_slice())
            .part("art", &art)
            .part("behind", behind)
            .key()
    }

    /// Key of the rim that is drawn from the one of key `solved`, before a picture that stands as `art` says.
    fn larger_key(&self, solved: Key, art: Option<Key>) -> Key {
        KeyWriter::new("larger rim")
            .part("solved", &solved)
            .part("own", &self.spec.key())
            .part("rect", &self.placing.rect)
            .part("art", &art)
            .key()
    }
}

impl Placing {
    /// Key of a picture as it stands in the stack, whose texels have the key `texels`.
    pub fn stand_key(&self, texels: Key) -> Key {
        KeyWriter::new("layer")
            .part("made of", &texels)
            .part("rect", &self.rect)
            .part("texels", &self.texels)
            .part("rate", &self.pan_rate)
            .part("period", &self.period)
            .key()
    }
}

impl Plan {
    /// Key of what all layers are drawn onto.
    pub fn frame_key(&self) -> Key {
        KeyWriter::new("frame")
            .part("texels", &self.texels)
            .part("scale", &self.scale)
            .part("blending", &self.blending)
            .part("backdrop", &self.backdrop)
            .key()
    }

    /// Keys of its rims, in the plan's order.
    fn rim_keys(&self, pictures: &Pictures, bits: Bits) -> Vec<Key> {
        let keys = self.keys(pictures, bits).into_iter().zip(&self.files);
        keys.filter(|(_, job)| matches!(job, Job::Rim(_))).map(|(key, _)| key).collect()
    }

    /// Keys of the texels of every job, in the plan's order. A rim is made of all that stands behind its art, the rims there among it;
    /// `bits` are those of the files, which pictures are rounded to.
    pub fn keys(&self, pictures: &Pictures, bits: Bits) -> Vec<Key> {
        let art_key = |job: &ArtJob| {
            let Placing { slot, kind, .. } = &job.placing;
            job.key(&pictures.hash(slot, *kind), self.blending, bits)
        };
        let (mut keys, mut behind) = (Vec::new(), Vec::new());
        let mut solved = self.solved_by.iter().flat_map(|plan| plan.rim_keys(pictures, bits));
        for (at, job) in self.files.iter().enumerate() {
            let key = match job {
                Job::Fog(job) => job.spec.key(),
                Job::Art(job) | Job::Own(job) => art_key(job),
                Job::Lamp(job) => job.spec.key(),
                Job::Rim(job) => {
                    let art = match self.files.get(at + 1) {
                        Some(Job::Art(art)) => Some(art.placing.stand_key(art_key(art))),
                        _ => None,
                    };
                    match solved.next() {
                        Some(solved) => job.larger_key(solved, art),
                        None => job.key(self, &behind, art),
                    }
                }
            };
            behind.push(job.placing().stand_key(key));
            keys.push(key);
        }
        keys
    }
}

//! Lamps in the plan: the one picture of a slot's lamps, and where its glow ends.

use crate::base::colour::Srgb;
use crate::base::key::{Key, KeyPart, KeyWriter};
use crate::base::law;
use crate::base::placing::Placing;
use crate::base::units::{Px, Rect, Scale, Texel};
use crate::plan::along;
use crate::scene::{Lamp, Scene, Slot};
use crate::steps::scattering;
use crate::steps::sheet::SheetSpec;
use serde::Serialize;

/// Intensity of a light of strength 1, in squares of the eye's distance from the play plane, so that the unit of depths doesn't count. By
/// eye: a street lamp whose light is full at its rim in fog, and a faint bloom in haze.
const INTENSITY: f64 = 0.1;
/// Most that fog's shapes raise a glow.
pub(crate) const MOST_BY_FOG: f64 = 1.5;
/// Opacity at which a glow ends: a code of 8 bits. It is taken from all of the glow, so that the end is no step.
pub(crate) const LEAST_SEEN: f64 = 1.0 / 255.0;

/// Least extinction around a lamp, per depth unit: that of air in which one sees as far as a scene may say.
const LEAST_EXTINCTION: f64 = law::DEPTH_OF_VISIBILITY / 1e9;

/// The glow of a slot's lamps, to be made.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LampJob {
    /// Where it stands.
    #[serde(flatten)]
    pub placing: Placing,
    /// How many lamps it shows.
    pub lamps: usize,
    /// All that it is made from.
    #[serde(skip)]
    pub spec: LampSpec,
}

/// All that a glow is made from.
#[derive(Clone, Debug, PartialEq)]
pub struct LampSpec {
    /// Width and height in texels.
    pub size: [u32; 2],
    /// The lamps.
    pub lights: Vec<Light>,
    /// The air around them.
    pub air: LampAir,
    /// The slot's own fog, whose shapes show in the light.
    pub fog: Option<SheetSpec>,
    /// The sheet's texel at the picture's left top, before it comes round.
    pub corner: [i64; 2],
}

/// A lamp on its picture.
#[derive(Clone, Debug, PartialEq)]
pub struct Light {
    /// Its name, or its number in the scene, for naming what changed.
    pub name: String,
    /// Its middle, texels from the picture's left top.
    pub at: [Texel; 2],
    /// Colour of its light.
    pub colour: Srgb,
    /// How strongly it shines.
    pub strength: f64,
    /// Radius of the lamp itself.
    pub core: Px,
    /// Extinction per depth unit of the air around it along the fog's line, of clear air and fog.
    pub extinction: f64,
}

/// The air around a slot's lamps, and where the eye is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LampAir {
    /// The eye's distance from the play plane, depth units.
    pub camera: f64,
    /// The eye's distance from the lamps.
    pub distance: f64,
    /// Texels per scene px.
    pub scale: Scale,
}

impl LampAir {
    /// Optical depth of the glow of a light in air of that `extinction` at `away` from its middle.
    pub fn glow(&self, extinction: f64, strength: f64, core: Px, away: Px) -> f64 {
        // A scene px is 1 / camera of the eye's distance from the play plane. The lamp's own disc has no tip.
        let off = libm::sqrt(away.0 * away.0 + core.0 * core.0) / self.camera;
        let intensity = strength * INTENSITY * self.camera * self.camera;
        intensity * scattering::glow(extinction, self.distance, libm::atan(off))
    }

    /// How far from its middle a light falls under what is seen even where fog raises it; at most `most`.
    fn reach(&self, lamp: &Lamp, extinction: f64, most: f64) -> f64 {
        let seen =
            |away: f64| MOST_BY_FOG * self.glow(extinction, lamp.strength, lamp.core, Px(away)) > LEAST_SEEN;
        let (mut low, mut high) = (0.0, most);
        if seen(high) {
            return high;
        }
        for _ in 0..24 {
            let middle = 0.5 * (low + high);
            if seen(middle) { low = middle } else { high = middle }
        }
        high
    }
}

impl LampSpec {
    /// Key of its texels.
    pub fn key(&self) -> Key {
        let LampSpec { size, lights, air, fog, corner } = self;
        let LampAir { camera, distance, scale } = air;
        KeyWriter::new("lamp")
            .part("size", size)
            .part("lights", lights.as_slice())
            .part("camera", camera)
            .part("distance", distance)
            .part("scale", scale)
            .part("fog", &fog.as_ref().map(SheetSpec::opacity_key))
            .part("corner", corner)
            .key()
    }
}

impl KeyPart for Light {
    fn write(&self, to: &mut KeyWriter) {
        let Light { name: _, at, colour, strength, core, extinction } = self;
        at.write(to);
        colour.write(to);
        strength.write(to);
        core.write(to);
        extinction.write(to);
    }
}

/// What the glow of a slot's lamps needs to know of it.
pub(super) struct Around<'a> {
    pub scene: &'a Scene,
    pub slot: &'a Slot,
    pub rate: f64,
    pub scale: Scale,
    /// Height of the slot's strip, texels.
    pub tall: u32,
    pub fog: Option<&'a SheetSpec>,
}

/// Left, top, right and bottom in texels.
type Frame = [i64; 4];

impl Around<'_> {
    /// The glow of all lamps of the slot: where it stands, and what it is made from; none where none is seen.
    pub fn glow(&self) -> Option<(Rect, LampSpec)> {
        let air = LampAir {
            camera: self.scene.camera,
            distance: self.scene.camera + self.slot.depth,
            scale: self.scale,
        };
        let own = self.scene.lamps.iter().enumerate().filter(|(_, lamp)| lamp.slot == self.slot.name);
        let seen: Vec<(Frame, (usize, &Lamp))> =
            own.filter_map(|(at, lamp)| Some((self.frame(&air, lamp)?, (at, lamp)))).collect();
        let frame = seen.iter().map(|(frame, _)| *frame).reduce(|a, b| around(&a, &b))?;
        let lamps: Vec<(usize, &Lamp)> = seen.into_iter().map(|(_, lamp)| lamp).collect();
        Some(self.of_frame(air, frame, &lamps))
    }

    /// Extinction of the air around a lamp.
    fn extinction(&self, lamp: &Lamp) -> f64 {
        let air = &self.scene.air;
        let [clear, fog] = law::parts(air.visibility, air.clear);
        if along::curves(self.scene, self.slot).next().is_none() {
            return law::extinction(air.visibility);
        }
        let camera = (lamp.x - self.scene.view[0] / 2.0) / self.rate;
        // No air, no light: what is least is far under what is seen.
        (clear + fog * along::at(self.scene, self.slot, camera)).max(LEAST_EXTINCTION)
    }

    /// What of the strip that is ever seen a lamp's glow fills.
    fn frame(&self, air: &LampAir, lamp: &Lamp) -> Option<Frame> {
        let strip = [
            law::strip(self.scene.view, self.scene.travel, self.rate)[0] * self.scale,
            Texel(f64::from(self.tall)),
        ]
        .map(|side| side.0.ceil());
        let most = (strip[0] + strip[1]) / self.scale.0;
        let reach = (Px(air.reach(lamp, self.extinction(lamp), most)) * self.scale).0;
        let [x, y] = [lamp.x, lamp.y].map(|at| (at * self.scale).0);
        let inside = |at: f64, side: f64| at.clamp(0.0, side) as i64;
        let frame = [
            inside((x - reach).floor(), strip[0]),
            inside((y - reach).floor(), strip[1]),
            inside((x + reach).ceil(), strip[0]),
            inside((y + reach).ceil(), strip[1]),
        ];
        (lamp.strength > 0.0 && frame[0] < frame[2] && frame[1] < frame[3]).then_some(frame)
    }

    fn of_frame(&self, air: LampAir, frame: Frame, lamps: &[(usize, &Lamp)]) -> (Rect, LampSpec) {
        let [left, top, right, bottom] = frame;
        let px = |texels: i64| Texel(texels as f64) / self.scale;
        let rect = Rect { x: px(left), y: px(top), width: px(right - left), height: px(bottom - top) };
        let light = |(at, lamp): &(usize, &Lamp)| Light {
            name: lamp.name.clone().unwrap_or_else(|| (at + 1).to_string()),
            at: [(lamp.x - rect.x) * self.scale, (lamp.y - rect.y) * self.scale],
            colour: lamp.colour,
            strength: lamp.strength,
            core: lamp.core,
            extinction: self.extinction(lamp),
        };
        let spec = LampSpec {
            size: [(right - left) as u32, (bottom - top) as u32],
            lights: lamps.iter().map(light).collect(),
            air,
            fog: self.fog.cloned(),
            corner: [left, top],
        };
        (rect, spec)
    }
}

fn around(a: &Frame, b: &Frame) -> Frame {
    [a[0].min(b[0]), a[1].min(b[1]), a[2].max(b[2]), a[3].max(b[3])]
}

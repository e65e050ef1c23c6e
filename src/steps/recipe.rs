//! Recipes: the numbers of the five steps. Lengths are scene px at pan rate 1 as files give them ([`Px`]), texels as the steps read
//! them ([`Texel`]).

use crate::base::key::{KeyPart, KeyWriter};
use crate::base::units::{Px, Scale, Texel};

/// The kind of layered noise.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Noise {
    /// Plain gradient noise: soft drifts.
    #[default]
    Smooth,
    /// Folded upward: heaped tops with narrow gaps between.
    Billowed,
    /// Folded downward: thin crests, for steam and wisps.
    Ridged,
    /// Distance to scattered points: rounded cells, for broken decks.
    Cellular,
}

/// Step 1: layered noise.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Bands<L> {
    /// Kind of noise.
    pub kind: Noise,
    /// Share of the density that is bands, 0 (even fog) to 1.
    pub amount: f64,
    /// Height of the largest features.
    pub size: L,
    /// Width of a feature over its height; below 1 it stands upright.
    pub stretch: f64,
    /// Layers of noise, 1 to 10.
    pub octaves: u32,
    /// Amplitude of each layer over that of the one before, 0 to 1.
    pub gain: f64,
    /// Frequency of each layer over that of the one before, 1.2 to 4.
    pub lacunarity: f64,
    /// Share of the area that fog covers, 0.02 to 0.98.
    pub coverage: f64,
    /// How hard the edge between fog and gap is, 0 (no edge) to 1 (nearly cut out).
    pub contrast: f64,
    /// Displacement of features by a slow noise, as a share of a feature's size.
    pub warp: f64,
    /// Factor on all structure: amount, breath, sway, firm, heaps, strands and torn; 0 is an even sheet with a straight line, 1 the recipe as it is, 2 bold. Of a recipe
    /// in texels it is in those numbers already.
    pub shape: f64,
    /// How far the fog flows in a second of its loop.
    pub flow: L,
    /// Where it flows to, degrees; 0 is along the drift, 90 upward.
    pub flow_angle: f64,
}

impl Noise {
    const ALL: [Noise; 4] = [Noise::Smooth, Noise::Billowed, Noise::Ridged, Noise::Cellular];

    /// As files write it.
    fn word(self) -> &'static str {
        match self {
            Noise::Smooth => "smooth",
            Noise::Billowed => "billowed",
            Noise::Ridged => "ridged",
            Noise::Cellular => "cellular",
        }
    }
}

impl Bands<Texel> {
    /// How far the fog flows in so many seconds, right and down, where the drift is to the right.
    pub fn way(&self, seconds: f64) -> [f64; 2] {
        let turn = self.flow_angle.to_radians();
        [libm::cos(turn), -libm::sin(turn)].map(|side| side * self.flow.0 * seconds)
    }
}

/// Most share of the scale height that a breath may take.
const BREATH_MAX: f64 = 0.95;

/// Step 2: shape over height.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Falloff<L> {
    /// Scale height on the open side of the anchor line: over the ground line, or under the sky line; `inf` for no falloff.
    pub height: L,
    /// Scale height on the far side of the line; `inf` to fill it.
    pub beyond: L,
    /// Distance of the fog's own line from the anchor line, toward the open side.
    pub lift: L,
    /// How much the scale height varies along x, as a share of it, 0 to 0.95.
    pub breath: f64,
    /// How far the line itself rises and falls along x.
    pub sway: L,
    /// How much of the fog is a body with a top of its own, the rest thins evenly upward; 0 to 1.
    pub firm: f64,
    /// How far heaps and bays displace the top of the body, in scale heights.
    pub heaps: f64,
    /// Density of the strands over the top of the body, where they are whole; 0 to 1.
    pub strands: f64,
    /// Length along x over which breath and sway vary.
    pub wave: L,
    /// How steeply the line rises to the right, degrees.
    pub slope: f64,
}

/// Step 3: directional blur.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Smear<L> {
    /// Length of the smear.
    pub length: L,
    /// Direction in degrees; 0 is level, positive turns the right end upward.
    pub angle: f64,
}

/// Step 4: separable Gaussian.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Soften<L> {
    /// Standard deviation along y.
    pub sigma: L,
    /// Standard deviation along x over that along y.
    pub stretch: f64,
    /// How far the fog's ends over its line are torn after the blurs, 0 to 1.
    pub torn: f64,
}

/// Step 5: from density to texels.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Grade<L> {
    /// Factor on the optical depth that the law gives; 1 keeps the law.
    pub thickness: f64,
    /// How much the side toward the light is brightened, 0 to 1.
    pub lit: f64,
    /// Height over the line (or under it) at which the haze has turned into the air's `aloft` colour.
    pub aloft: L,
}

/// A recipe: the five steps with their numbers, all resolved.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Recipe<L> {
    /// Step 1.
    pub bands: Bands<L>,
    /// Step 2.
    pub falloff: Falloff<L>,
    /// Step 3.
    pub smear: Smear<L>,
    /// Step 4.
    pub soften: Soften<L>,
    /// Step 5.
    pub grade: Grade<L>,
}

/// What a recipe is read from: values by the paths of their keys.
pub trait Numbers {
    /// What is told of a value that isn't there.
    type Missing;

    /// A number.
    fn number(&self, path: &'static str) -> Result<f64, Self::Missing>;

    /// A word.
    fn word(&self, path: &'static str) -> Result<&str, Self::Missing>;
}

impl Recipe<Px> {
    /// The recipe that these numbers make. An unknown word for a kind of noise, which no table of keys lets through, is the first kind.
    ///
    /// # Errors
    /// If one is missing.
    pub fn read<N: Numbers>(from: &N) -> Result<Recipe<Px>, N::Missing> {
        let number = |path| from.number(path);
        let length = |path| from.number(path).map(Px);
        let kind = from.word("bands.kind")?;
        Ok(Recipe {
            bands: Bands {
                kind: Noise::ALL.into_iter().find(|noise| noise.word() == kind).unwrap_or_default(),
                amount: number("bands.amount")?,
                size: length("bands.size")?,
                stretch: number("bands.stretch")?,
                octaves: number("bands.octaves")? as u32,
                gain: number("bands.gain")?,
                lacunarity: number("bands.lacunarity")?,
                coverage: number("bands.coverage")?,
                contrast: number("bands.contrast")?,
                warp: number("bands.warp")?,
                shape: number("bands.shape")?,
                flow: length("bands.flow")?,
                flow_angle: number("bands.flow_angle")?,
            },
            falloff: Falloff {
                height: length("falloff.height")?,
                beyond: length("falloff.beyond")?,
                lift: length("falloff.lift")?,
                breath: number("falloff.breath")?,
                sway: length("falloff.sway")?,
                firm: number("falloff.firm")?,
                heaps: number("falloff.heaps")?,
                strands: number("falloff.strands")?,
                wave: length("falloff.wave")?,
                slope: number("falloff.slope")?,
            },
            smear: Smear { length: length("smear.length")?, angle: number("smear.angle")? },
            soften: Soften {
                sigma: length("soften.sigma")?,
                stretch: number("soften.stretch")?,
                torn: number("soften.torn")?,
            },
            grade: Grade {
                thickness: number("grade.thickness")?,
                lit: number("grade.lit")?,
                aloft: length("grade.aloft")?,
            },
        })
    }

    /// The recipe at `scale` texels for each of its px. Here alone it is said which of its numbers are lengths.
    pub fn texels(&self, scale: Scale) -> Recipe<Texel> {
        let Recipe { bands, falloff, smear, soften, grade } = self.clone();
        Recipe {
            bands: Bands {
                kind: bands.kind,
                amount: (bands.amount * bands.shape).min(1.0),
                size: bands.size * scale,
                stretch: bands.stretch,
                octaves: bands.octaves,
                gain: bands.gain,
                lacunarity: bands.lacunarity,
                coverage: bands.coverage,
                contrast: bands.contrast,
                warp: bands.warp,
                shape: bands.shape,
                flow: bands.flow * scale,
                flow_angle: bands.flow_angle,
            },
            falloff: Falloff {
                height: falloff.height * scale,
                beyond: falloff.beyond * scale,
                lift: falloff.lift * scale,
                breath: (falloff.breath * bands.shape).min(BREATH_MAX),
                sway: falloff.sway * bands.shape * scale,
                firm: (falloff.firm * bands.shape).min(1.0),
                heaps: falloff.heaps * bands.shape,
                strands: (falloff.strands * bands.shape).min(1.0),
                wave: falloff.wave * scale,
                slope: falloff.slope,
            },
            smear: Smear { length: smear.length * scale, angle: smear.angle },
            soften: Soften {
                sigma: soften.sigma * scale,
                stretch: soften.stretch,
                torn: (soften.torn * bands.shape).min(1.0),
            },
            grade: Grade { thickness: grade.thickness, lit: grade.lit, aloft: grade.aloft * scale },
        }
    }
}

// Parts of keys. Each struct is taken apart whole: a number that is not listed does not compile.

impl KeyPart for Noise {
    fn write(&self, to: &mut KeyWriter) {
        self.word().write(to);
    }
}

impl KeyPart for Bands<Texel> {
    fn write(&self, to: &mut KeyWriter) {
        let Bands {
            kind,
            amount,
            size,
            stretch,
            octaves,
            gain,
            lacunarity,
            coverage,
            contrast,
            warp,
            shape: _,
            // Part of what a moment of the loop is made from.
            flow: _,
            flow_angle: _,
        } = self;
        to.add("kind", kind)
            .add("amount", amount)
            .add("size", size)
            .add("stretch", stretch)
            .add("octaves", octaves)
            .add("gain", gain)
            .add("lacunarity", lacunarity)
            .add("coverage", coverage)
            .add("contrast", contrast)
            .add("warp", warp);
    }
}

impl KeyPart for Falloff<Texel> {
    /// Lift and slope are part of the fog's line, which a field's key lists.
    fn write(&self, to: &mut KeyWriter) {
        let Falloff { height, beyond, lift: _, breath, sway, firm, heaps, strands, wave, slope: _ } = self;
        to.add("height", height)
            .add("beyond", beyond)
            .add("breath", breath)
            .add("sway", sway)
            .add("firm", firm)
            .add("heaps", heaps)
            .add("strands", strands)
            .add("wave", wave);
    }
}

impl KeyPart for Smear<Texel> {
    fn write(&self, to: &mut KeyWriter) {
        let Smear { length, angle } = self;
        to.add("length", length).add("angle", angle);
    }
}

impl KeyPart for Soften<Texel> {
    fn write(&self, to: &mut KeyWriter) {
        let Soften { sigma, stretch, torn } = self;
        to.add("sigma", sigma).add("stretch", stretch).add("torn", torn);
    }
}

impl KeyPart for Recipe<Texel> {
    /// What shapes the density: the grade comes after it.
    fn write(&self, to: &mut KeyWriter) {
        let Recipe { bands, falloff, smear, soften, grade: _ } = self;
        to.add("bands", bands).add("falloff", falloff).add("smear", smear).add("soften", soften);
    }
}

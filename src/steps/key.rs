//! What each stage of a sheet reads, as keys.
//!
//! A stage's key lists the numbers that it reads and the key of the stage before it, no more: a change of `grade` leaves the field
//! alone, a change of a colour the opacities.

use crate::base::key::{Key, KeyPart, KeyWriter};
use crate::base::units::Texel;
use crate::steps::field::{BandsSpec, FieldSpec};
use crate::steps::recipe::{Bands, Noise, Recipe};
use crate::steps::sheet::SheetSpec;
use crate::steps::step5_grade::Tones;

impl KeyPart for Noise {
    fn write(&self, to: &mut KeyWriter) {
        let word = match self {
            Noise::Smooth => "smooth",
            Noise::Billowed => "billowed",
            Noise::Ridged => "ridged",
            Noise::Cellular => "cellular",
        };
        word.write(to);
    }
}

impl Bands<Texel> {
    fn parts(&self, key: KeyWriter) -> KeyWriter {
        let Bands { kind, amount, size, stretch, octaves, gain, lacunarity, coverage, contrast, warp } = self;
        key.part("kind", kind)
            .part("amount", amount)
            .part("size", size)
            .part("stretch", stretch)
            .part("octaves", octaves)
            .part("gain", gain)
            .part("lacunarity", lacunarity)
            .part("coverage", coverage)
            .part("contrast", contrast)
            .part("warp", warp)
    }
}

impl BandsSpec {
    /// Key of the bands.
    pub fn key(&self) -> Key {
        let BandsSpec { bands, seed, time, line, sigma, grid } = self;
        bands
            .parts(KeyWriter::new("bands"))
            .part("seed", seed)
            .part("time", time)
            .part("line", line)
            .part("sigma", sigma)
            .part("columns", &grid.cols)
            .part("rows", &grid.rows)
            .part("step", &grid.step)
            .part("top", &grid.top)
            .key()
    }
}

impl FieldSpec {
    /// Key of the density field, sampled as the blurs allow: its grid follows from what is listed.
    pub fn key(&self) -> Key {
        let Recipe { bands, falloff, smear, soften, .. } = &self.recipe;
        bands
            .parts(KeyWriter::new("field"))
            .part("cols", &self.cols)
            .part("texel rows", &self.rows)
            .part("line", &self.line)
            .part("open", &self.open)
            .part("seed", &self.seed)
            .part("time", &self.time)
            .part("height", &falloff.height)
            .part("beyond", &falloff.beyond)
            .part("breath", &falloff.breath)
            .part("sway", &falloff.sway)
            .part("wave", &falloff.wave)
            .part("smear", &smear.length)
            .part("angle", &smear.angle)
            .part("sigma", &soften.sigma)
            .part("softer along x", &soften.stretch)
            .key()
    }
}

impl Tones {
    /// Adds the colours; `turning` is the height over which a haze turns into its colour aloft, of use only where it has one.
    pub(crate) fn parts(&self, turning: Texel, key: KeyWriter) -> KeyWriter {
        let aloft = self
            .aloft
            .map(|colour| KeyWriter::new("aloft").part("colour", &colour).part("over", &turning).key());
        let sides = (self.lit > 0.0).then(|| {
            KeyWriter::new("sides")
                .part("glow", &self.glow)
                .part("shade", &self.shade)
                .part("lit", &self.lit)
                .key()
        });
        key.part("haze", &self.haze).part("aloft", &aloft).part("sides", &sides)
    }
}

impl SheetSpec {
    /// Key of the plane of opacities.
    pub fn opacity_key(&self) -> Key {
        KeyWriter::new("opacity").part("field", &self.field.key()).part("depth", &self.tau).key()
    }

    /// Key of the plane that says how each place faces the light; none where nothing goes by that.
    pub fn facing_key(&self) -> Option<Key> {
        let key = || KeyWriter::new("facing").part("field", &self.field.key()).part("depth", &self.tau);
        (self.tones.lit > 0.0).then(|| key().part("light", &self.light).key())
    }

    /// Key of the texels.
    pub fn key(&self) -> Key {
        let planes =
            KeyWriter::new("sheet").part("opacity", &self.opacity_key()).part("facing", &self.facing_key());
        self.tones.parts(self.field.recipe.grade.aloft, planes).key()
    }
}

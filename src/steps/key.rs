//! What each stage of a sheet reads, as keys.
//!
//! A stage's key lists the numbers that it reads and the key of the stage before it, no more: a change of `grade` leaves the field
//! alone, a change of a colour the opacities.

use crate::base::key::{Key, KeyPart, KeyWriter};
use crate::base::units::Texel;
use crate::steps::field::{BandsSpec, FieldSpec};
use crate::steps::moment::Moment;
use crate::steps::sheet::SheetSpec;
use crate::steps::step5_grade::Tones;

impl KeyPart for Moment {
    /// At rest nobody reads the way.
    fn write(&self, to: &mut KeyWriter) {
        let Moment { time, way } = self;
        time.write(to);
        if !self.is_rest() {
            to.add("way", way);
        }
    }
}

impl BandsSpec {
    /// Key of the bands.
    pub fn key(&self) -> Key {
        let BandsSpec { bands, seed, moment, line, sigma, grid } = self;
        KeyWriter::new("bands")
            .part("bands", bands)
            .part("seed", seed)
            .part("time", moment)
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
        let FieldSpec { cols, rows, line, open, slope, recipe, seed, moment, strokes, along } = self;
        let key = KeyWriter::new("field")
            .part("columns", cols)
            .part("rows", rows)
            .part("line", line)
            .part("open", open)
            .part("slope", &slope.map(|slope| KeyWriter::new("slope").part("line", &slope).key()))
            .part("seed", seed)
            .part("time", moment)
            .part("recipe", recipe);
        let key = match strokes {
            Some(strokes) => key.part("strokes", &strokes.key()),
            None => key,
        };
        match along {
            Some(along) => key.part("along", &along.key()).key(),
            None => key.key(),
        }
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
        KeyWriter::new("opacity")
            .part("field", &self.field.key())
            .part("depth", &self.tau)
            .part("clear", &self.clear)
            .key()
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

//! A sheet of fog on its own: numbers in, texels or densities out.

use super::numbers::{check, gather};
use crate::base::colour::Srgb;
use crate::base::fault::{Class, Fault, Faults, Result};
use crate::base::limits::Limits;
use crate::base::units::{Px, Scale, Texel};
use crate::base::words::Anchor;
use crate::base::{room, seed};
use crate::scene::keys::{self, KEYS, Key};
use crate::scene::recipe::layers::{Layer, Resolved};
use crate::scene::recipe::shelf::{Preset, Shelf};
use crate::steps::density::Density;
use crate::steps::field::{Field, FieldSpec, Sampling};
use crate::steps::recipe::Recipe;
use crate::steps::sheet::{Sheet, SheetSpec};
use crate::steps::step5_grade::Tones;
use std::fmt;
use std::sync::OnceLock;

/// Farthest place of a line, texels.
const FAR: f64 = 1e6;
/// Most optical depth: what lies behind 100 of it is gone at any depth of texels.
const DEEPEST: f64 = 1e3;
/// Bytes of a texel while a sheet is read as floats, with its row on the way.
const TEXEL: f64 = 32.0;

/// A sheet of fog as it is asked for. Nothing is worked out before [`Fog::build`], which tells all that is wrong at once.
///
/// Lengths of the recipe are texels, times [`Fog::scale`]. The sheet is periodic in x: its left and right edges meet.
#[derive(Clone, Debug)]
#[must_use = "nothing is worked out before `build`"]
pub struct Fog {
    preset: String,
    shelf: Shelf,
    size: [u32; 2],
    line: Option<f64>,
    anchor: Option<Anchor>,
    seed: u64,
    scale: f64,
    depth: f64,
    clear: f64,
    light: f64,
    haze: Srgb,
    aloft: Option<Srgb>,
    glow: Option<Srgb>,
    shade: Option<Srgb>,
    time: f64,
    loop_seconds: f64,
    sets: Vec<(String, String)>,
    limits: Limits,
}

impl Fog {
    /// By the recipe of a preset that comes with the library: `mist`, `radiation-fog` and so on ([`Fog::presets`]).
    ///
    /// Unless something else is set: 1024 x 512 texels; the line at 0.83 of the height for fog on the ground, at 0 for fog under the sky
    /// line; an optical depth of 1 along it; no clear air; haze `#c3ccd4`; light from 135 degrees; seed 1; scale 1; at rest.
    pub fn preset(name: impl Into<String>) -> Fog {
        Fog {
            preset: name.into(),
            shelf: Shelf::embedded(),
            size: [1024, 512],
            line: None,
            anchor: None,
            seed: 1,
            scale: 1.0,
            depth: 1.0,
            clear: 0.0,
            light: 135.0,
            haze: Srgb::from_codes([0xc3, 0xcc, 0xd4]),
            aloft: None,
            glow: None,
            shade: None,
            time: 0.0,
            loop_seconds: 16.0,
            sets: Vec::new(),
            limits: Limits::default(),
        }
    }

    /// By the recipe in the text of a preset file; it may be built on a preset that comes with the library.
    pub fn from_text(text: impl Into<String>) -> Fog {
        /// What messages and other presets call it.
        const NAME: &str = "preset";
        let mut fog = Fog::preset(NAME);
        fog.shelf.put(NAME, "preset.toml", text);
        fog
    }

    /// Names of the presets that come with the library, sorted.
    pub fn presets() -> Vec<String> {
        Shelf::embedded().names().into_iter().map(str::to_owned).collect()
    }

    /// Width (one period) and height in texels; 1 or more each, within [`Fog::limits`].
    pub fn size(self, width: u32, height: u32) -> Fog {
        Fog { size: [width, height], ..self }
    }

    /// Height of the anchor line, texels from the sheet's top; -1,000,000 to 1,000,000. It may lie outside the sheet.
    pub fn line(self, line: f64) -> Fog {
        Fog { line: Some(line), ..self }
    }

    /// Where the fog lies, if not where its preset says: on the ground, or under the sky line.
    pub fn anchor(self, anchor: Anchor) -> Fog {
        Fog { anchor: Some(anchor), ..self }
    }

    /// Seed of its noise; any number.
    pub fn seed(self, seed: u64) -> Fog {
        Fog { seed, ..self }
    }

    /// Texels for each px of the recipe's lengths, 0.001 to 1000.
    pub fn scale(self, scale: f64) -> Fog {
        Fog { scale, ..self }
    }

    /// Optical depth of the fog along its line, 0 to 1000: where the density is d, exp(-depth d) of what is behind comes through. The
    /// recipe's `grade.thickness`, which is 1 unless it says otherwise, is a factor on it.
    pub fn optical_depth(self, depth: f64) -> Fog {
        Fog { depth, ..self }
    }

    /// Optical depth of the clear air, the same at every height, 0 to 1000.
    pub fn clear_depth(self, depth: f64) -> Fog {
        Fog { clear: depth, ..self }
    }

    /// Where the light comes from, degrees, -360 to 360: 0 right, 90 above, 180 left.
    pub fn light(self, degrees: f64) -> Fog {
        Fog { light: degrees, ..self }
    }

    /// Colour of the fog, sRGB codes of 8 bits.
    pub fn haze(self, codes: [u8; 3]) -> Fog {
        Fog { haze: Srgb::from_codes(codes), ..self }
    }

    /// Colour that the haze turns into away from the line, sRGB codes of 8 bits; at first it doesn't.
    pub fn aloft(self, codes: [u8; 3]) -> Fog {
        Fog { aloft: Some(Srgb::from_codes(codes)), ..self }
    }

    /// Colour that the lit side leans to, sRGB codes of 8 bits; at first the haze, lightened.
    pub fn glow(self, codes: [u8; 3]) -> Fog {
        Fog { glow: Some(Srgb::from_codes(codes)), ..self }
    }

    /// Colour that the unlit side leans to, sRGB codes of 8 bits; at first the haze, darkened.
    pub fn shade(self, codes: [u8; 3]) -> Fog {
        Fog { shade: Some(Srgb::from_codes(codes)), ..self }
    }

    /// Place in the loop of flowing fog, 0 to 1, where both ends are the fog at rest; how far it flows in a loop of 16 seconds is the
    /// recipe's `bands.flow`.
    pub fn time(self, time: f64) -> Fog {
        Fog { time, ..self }
    }

    /// Duration of the loop that [`Fog::time`] is a place in, 1 to 3600 seconds.
    pub fn loop_seconds(self, seconds: f64) -> Fog {
        Fog { loop_seconds: seconds, ..self }
    }

    /// Sets a number of the recipe over the preset's, by its key as scene files have it: `set("bands.size", 90)`. Of two for one key the
    /// later one holds.
    pub fn set(mut self, key: impl Into<String>, value: impl fmt::Display) -> Fog {
        self.sets.push((key.into(), value.to_string()));
        self
    }

    /// Bounds; without them, [`Limits::default`].
    pub fn limits(self, limits: Limits) -> Fog {
        Fog { limits, ..self }
    }

    /// Works the fog out.
    ///
    /// # Errors
    /// With all that is wrong at once. Class `Usage`: a number out of its range, a key or a preset that there isn't. Class `Scene`: a
    /// faulty text of a preset. Class `Limit`: larger than the limits allow, or than there is memory for.
    pub fn build(self) -> Result<FogSheet> {
        let mut faults = Faults::default();
        self.check(&mut faults);
        let preset = gather(self.shelf.get(&self.preset), &mut faults);
        let recipe = preset.as_ref().and_then(|preset| self.recipe(preset, &mut faults));
        let (Some(preset), Some(recipe)) = (preset, recipe) else { return Err(faults) };
        faults.or(())?;
        let spec = self.spec(&preset, &recipe);
        self.check_memory(&spec)?;
        let field = Field::new(&spec.field, Sampling::Reduced);
        Ok(FogSheet { spec, field, sheet: OnceLock::new(), density: OnceLock::new() })
    }

    /// Tells what of the numbers is out of range.
    fn check(&self, faults: &mut Faults) {
        let [width, height] = self.size;
        if width == 0 || height == 0 {
            let message = format!("the sheet would be {width} x {height} texels, which is empty");
            faults.list.push(Fault::new(Class::Usage, message).remedy("Give it a width and a height."));
        } else if let Some((broken, _)) = self.limits.told(self.size) {
            let message = format!("the sheet would be {width} x {height} texels; {broken}");
            faults
                .list
                .push(Fault::new(Class::Limit, message).remedy("Make it smaller, or raise the limit."));
        }
        check("line", self.line.unwrap_or_default(), -FAR..=FAR, faults);
        check("scale", self.scale, 1e-3..=1e3, faults);
        check("optical_depth", self.depth, 0.0..=DEEPEST, faults);
        check("clear_depth", self.clear, 0.0..=DEEPEST, faults);
        check("light", self.light, -360.0..=360.0, faults);
        check("time", self.time, 0.0..=1.0, faults);
        check("loop_seconds", self.loop_seconds, 1.0..=3600.0, faults);
    }

    /// The preset's recipe with what is set over it.
    fn recipe(&self, preset: &Preset, faults: &mut Faults) -> Option<Recipe<Px>> {
        let mut resolved = Resolved::of_preset(preset);
        for (path, text) in &self.sets {
            match of_recipe(path).and_then(|key| Ok((key.path, value(key, text)?))) {
                Ok((path, value)) => resolved.set(path, value, Layer::CommandLine),
                Err(fault) => faults.list.push(fault),
            }
        }
        let recipe = gather(resolved.recipe(), faults)?;
        let (octaves, most) = (recipe.bands.octaves, self.limits.octaves);
        if octaves > most {
            let message = format!("the recipe asks for {octaves} octaves, over the limit of {most}");
            faults.list.push(Fault::new(Class::Limit, message).remedy("Use fewer, or raise the limit."));
        }
        Some(recipe)
    }

    fn spec(&self, preset: &Preset, recipe: &Recipe<Px>) -> SheetSpec {
        let anchor = self.anchor.unwrap_or(preset.anchor);
        // As scenes have it.
        let usual = match anchor {
            Anchor::Ground => 0.83 * f64::from(self.size[1]),
            Anchor::Sky => 0.0,
        };
        let (line, unit) = (Texel(self.line.unwrap_or(usual)), Scale(self.scale));
        let rest = FieldSpec::new(self.size, anchor, line, unit, recipe, seed::derive(self.seed, "fog"));
        let field = if self.time.fract() == 0.0 { rest } else { rest.at(self.time, self.loop_seconds) };
        let tones = Tones::new(self.haze, self.aloft, self.glow, self.shade, recipe.grade.lit);
        // The thickness of a recipe is a factor on what the law gives.
        let tau = self.depth * recipe.grade.thickness;
        SheetSpec { field, tau, clear: self.clear, tones, light: self.light }
    }

    /// Refuses what needs more memory than is allowed, or there.
    fn check_memory(&self, spec: &SheetSpec) -> Result<()> {
        let texels = f64::from(self.size[0]) * f64::from(self.size[1]);
        // Saturates, and is then over any limit.
        let bytes = (spec.field.bytes().iter().sum::<f64>() + TEXEL * texels) as u64;
        if bytes <= self.limits.memory {
            return Ok(room::probe(bytes, "the sheet")?);
        }
        let (needed, most) = (bytes >> 20, self.limits.memory >> 20);
        let message =
            format!("the sheet would need about {needed} MB of memory, over the limit of {most} MB");
        Err(Fault::new(Class::Limit, message).remedy("Make it smaller, or raise the limit.").into())
    }
}

/// The key of a recipe's number.
fn of_recipe(path: &str) -> std::result::Result<&'static Key, Fault> {
    let known = KEYS.iter().filter(|key| key.is_step());
    known.clone().find(|key| key.path == path).ok_or_else(|| {
        Fault::new(Class::Usage, format!("recipes have no key {}", keys::shown(path)))
            .remedy(keys::instead(path, known.map(|key| key.path)))
    })
}

/// A value for a key, from text.
fn value(key: &Key, text: &str) -> std::result::Result<keys::Value, Fault> {
    key.parse(text).map_err(|wrong| Fault::new(Class::Usage, wrong.message).remedy(wrong.remedy))
}

/// A sheet of fog, worked out. Its texels are straight alpha, colours encoded in sRGB, row by row from the top; colour stands also where
/// alpha is 0.
pub struct FogSheet {
    spec: SheetSpec,
    field: Field,
    sheet: OnceLock<Sheet>,
    density: OnceLock<Density>,
}

impl FogSheet {
    /// Width (one period) and height in texels.
    pub fn size(&self) -> [u32; 2] {
        [self.spec.field.cols, self.spec.field.rows]
    }

    /// Its texels as RGBA of 8 bits, width x height x 4 numbers; alpha is dithered, so that no band shows.
    pub fn rgba8(&self) -> Vec<u8> {
        self.sheet().eight(self.size()[0])
    }

    /// Its texels as RGBA of 16 bits, width x height x 4 numbers.
    pub fn rgba16(&self) -> Vec<u16> {
        self.sheet().sixteen(self.size()[0])
    }

    /// Its texels as RGBA of 32-bit floats, width x height x 4 numbers, all 0 to 1.
    pub fn rgba32f(&self) -> Vec<f32> {
        self.sheet().floats(self.size()[0])
    }

    /// The density of every texel, width x height numbers: 0 or more, mean 1 along the fog's own line. Neither colours nor the optical
    /// depths have a say in it.
    pub fn density(&self) -> Vec<f32> {
        self.at_texels().texels()
    }

    /// The density of the texels at these columns and rows; columns wrap, and rows beyond the last are the last.
    pub fn density_at(&self, texels: &[[u32; 2]]) -> Vec<f32> {
        let density = self.at_texels();
        texels.iter().map(|texel| density.at(*texel)).collect()
    }

    fn sheet(&self) -> &Sheet {
        self.sheet.get_or_init(|| Sheet::of_field(self.spec.clone(), self.field.clone()))
    }

    fn at_texels(&self) -> &Density {
        self.density.get_or_init(|| Density::new(&self.spec.field, &self.field))
    }
}

impl fmt::Debug for FogSheet {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("FogSheet").field("spec", &self.spec).finish_non_exhaustive()
    }
}

//! The stages that the store caches: what each works out, by which key, and as what it lies on disk.

use crate::base::bitmap::Bitmap;
use crate::base::key::Key;
use crate::base::picture::Picture;
use crate::base::units::Scale;
use crate::plan::RimJob;
use crate::rim::Rim;
use crate::scene::pictures::known::Facts;
use crate::steps::coefficients::{Coefficients, Rounded};
use crate::steps::field::{BandsSpec, Field, FieldSpec, Sampling};
use crate::steps::grid::{Grid, Plane};
use crate::steps::sheet::{Opacity, Sheet, SheetSpec};
use crate::store::cache::{Entry, Stage, Store};
use std::sync::Arc;

impl Entry for Plane {
    fn bytes(&self) -> usize {
        size_of_val(&*self.data)
    }
}

impl Entry for Coefficients {
    fn bytes(&self) -> usize {
        Coefficients::bytes(self)
    }
}

impl Entry for Field {
    fn bytes(&self) -> usize {
        self.density.bytes()
    }
}

/// What brings a field's mean to 1.
pub(super) struct Factor(pub f32);

impl Entry for Factor {
    fn bytes(&self) -> usize {
        size_of::<Factor>()
    }
}

impl Entry for Opacity {
    fn bytes(&self) -> usize {
        self.plane.bytes()
    }
}

impl Entry for Sheet {
    /// With its planes: they stay for as long as it does.
    fn bytes(&self) -> usize {
        self.planes().map(Entry::bytes).sum()
    }
}

impl Entry for Picture {
    fn bytes(&self) -> usize {
        size_of_val(&*self.texels)
    }
}

impl Entry for Bitmap {
    fn bytes(&self) -> usize {
        Bitmap::bytes(self)
    }
}

impl Entry for Facts {
    fn bytes(&self) -> usize {
        size_of::<Facts>() + self.hash.len() + self.warnings.iter().map(String::len).sum::<usize>()
    }
}

impl Entry for Rim {
    fn bytes(&self) -> usize {
        Rim::bytes(self)
    }
}

/// Kind of the facts of picture files.
const FACTS: &str = "facts";

impl Store {
    /// Facts of a picture file.
    pub fn facts(&self, key: Key) -> Option<Facts> {
        let held = self.get::<Facts>(key).map(|facts| Facts::clone(&facts));
        held.or_else(|| Facts::decode(&self.read::<u8>(FACTS, key)?))
    }

    /// Puts facts of a picture file into memory, and on disk, if they aren't there.
    pub fn put_facts(&self, key: Key, facts: &Facts) {
        self.put(key, &Arc::new(facts.clone()));
        if !self.has_file(FACTS, key) {
            self.write(FACTS, key, &[&facts.encode()]);
        }
    }
}

/// The bands of a field.
pub(super) struct BandsStage<'a>(pub &'a BandsSpec);

impl Stage for BandsStage<'_> {
    type Value = Plane;
    type Item = f32;
    const KIND: &'static str = "bands";

    fn key(&self) -> Key {
        self.0.key()
    }

    fn encode(&self, value: &Plane, write: impl FnOnce(&[&[f32]])) {
        write(&[&value.data]);
    }

    fn decode(&self, data: Vec<f32>) -> Option<Plane> {
        let [cols, rows] = self.0.size();
        (data.len() == cols * rows).then_some(Plane { cols, data })
    }
}

/// A density field.
pub(super) struct FieldStage<'a>(pub &'a FieldSpec);

impl Stage for FieldStage<'_> {
    type Value = Field;
    type Item = u8;
    const KIND: &'static str = "field";

    fn key(&self) -> Key {
        self.0.key()
    }

    fn encode(&self, value: &Field, write: impl FnOnce(&[&[u8]])) {
        write(&[&value.pack()]);
    }

    fn decode(&self, content: Vec<u8>) -> Option<Field> {
        Field::unpack(&content, self.0.sampled(Sampling::Reduced))
    }
}

/// What the coefficients of a field's grid lie on disk as.
fn items(plane: &Coefficients) -> &[u8] {
    match plane {
        Coefficients::Exact(plane) => bytemuck::cast_slice(&plane.data),
        Coefficients::Rounded(rounded) => bytemuck::cast_slice(&rounded.codes),
    }
}

/// Coefficients on `grid`, of a field like this one, of all their items; `least` is what 0 stands for where they are rounded.
fn coefficients(field: &FieldSpec, grid: Grid, items: &[u8], least: f32) -> Option<(Coefficients, Grid)> {
    let count = grid.cols * grid.rows;
    let plane = if field.is_rounded() {
        let codes: Vec<u16> = items.as_chunks().0.iter().map(|two| u16::from_ne_bytes(*two)).collect();
        (items.len() == 2 * count).then_some(Coefficients::Rounded(Rounded { cols: grid.cols, codes, least }))
    } else {
        let data: Vec<f32> = items.as_chunks().0.iter().map(|four| f32::from_ne_bytes(*four)).collect();
        (items.len() == 4 * count).then_some(Coefficients::Exact(Plane { cols: grid.cols, data }))
    };
    Some((plane?, grid))
}

/// The opacities of a sheet.
pub(super) struct OpacityStage<'a>(pub &'a SheetSpec);

impl Stage for OpacityStage<'_> {
    type Value = Opacity;
    type Item = u8;
    const KIND: &'static str = "opacity";

    fn key(&self) -> Key {
        self.0.opacity_key()
    }

    fn encode(&self, value: &Opacity, write: impl FnOnce(&[&[u8]])) {
        write(&[items(&value.plane), &value.steepest.to_ne_bytes()]);
    }

    fn decode(&self, data: Vec<u8>) -> Option<Opacity> {
        let (items, steepest) = data.split_last_chunk()?;
        let grid = self.0.field.sampled(Sampling::Reduced);
        let (plane, grid) = coefficients(&self.0.field, grid, items, Rounded::WITHIN_1)?;
        Some(Opacity { plane, grid, steepest: f32::from_ne_bytes(*steepest) })
    }
}

/// How a sheet faces the light: of use only where its colours go by that.
pub(super) struct FacingStage<'a> {
    pub key: Key,
    pub spec: &'a SheetSpec,
}

impl Stage for FacingStage<'_> {
    type Value = Coefficients;
    type Item = u8;
    const KIND: &'static str = "facing";

    fn key(&self) -> Key {
        self.key
    }

    fn encode(&self, value: &Coefficients, write: impl FnOnce(&[&[u8]])) {
        write(&[items(value)]);
    }

    fn decode(&self, data: Vec<u8>) -> Option<Coefficients> {
        let field = &self.spec.field;
        let grid = self.spec.facing_grid(&field.sampled(Sampling::Reduced));
        Some(coefficients(field, grid, &data, Rounded::SIGNED)?.0)
    }
}

/// A solved rim.
pub(super) struct RimStage<'a> {
    pub key: Key,
    pub job: &'a RimJob,
    /// The treated picture that it stands behind.
    pub picture: &'a Bitmap,
    pub scale: Scale,
}

impl Stage for RimStage<'_> {
    type Value = Rim;
    type Item = u8;
    const KIND: &'static str = "rim";

    fn key(&self) -> Key {
        self.key
    }

    fn encode(&self, value: &Rim, write: impl FnOnce(&[&[u8]])) {
        write(&[&value.encode()]);
    }

    fn decode(&self, content: Vec<u8>) -> Option<Rim> {
        Rim::decode(&content, self.job, self.picture, self.scale)
    }
}

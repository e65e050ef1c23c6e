//! A slot in the plan: its sheet, its picture and its rim.

use crate::base::colour::floor::floored;
use crate::base::placing::{Kind, Placing};
use crate::base::units::{Px, Rect, Scale, Texel};
use crate::base::words::Anchor;
use crate::base::{law, seed};
use crate::plan::along::{self, Across};
use crate::plan::jobs::{ArtJob, FogJob, RimJob, RimSpec};
use crate::plan::lamps::{Around, LampJob};
use crate::plan::own::{self, Replaced, Stand};
use crate::plan::places::{self, Ground};
use crate::plan::rims::{self, aspect};
use crate::plan::strokes::{self, Drawn};
use crate::plan::tint;
use crate::plan::treatment::{Fade, Relight, Tint, Treatment};
use crate::scene::{ArtPlace, Repeat, Scene, Slot};
use crate::steps::field::FieldSpec;
use crate::steps::sheet::SheetSpec;
use crate::steps::slope::Slope;
use crate::steps::step5_grade::Tones;

/// What all jobs of a slot share.
pub(super) struct SlotPlan<'a> {
    scene: &'a Scene,
    slot: &'a Slot,
    /// The next nearer slot.
    front: Option<&'a Slot>,
    scale: Scale,
    /// The view.
    view: [u32; 2],
    /// Pan rate.
    rate: f64,
    /// Height of its anchor line.
    line: Px,
    /// Texels for each px of its recipe.
    unit: Scale,
    /// Colours of its fog.
    tones: Tones,
    air: tint::Air,
}

/// Rows of the strip and columns around a picture that its rim may take.
struct Canvas {
    /// Rows of the strip above it.
    first: i64,
    size: [u32; 2],
    /// The picture's left top on it.
    corner: [i64; 2],
}

impl<'a> SlotPlan<'a> {
    /// The slot in a view of `view` texels.
    pub fn new(
        scene: &'a Scene,
        slot: &'a Slot,
        air: tint::Air,
        scale: Scale,
        view: [u32; 2],
    ) -> SlotPlan<'a> {
        let rate = law::pan_rate(scene.camera, slot.depth);
        let near = match slot.anchor {
            Anchor::Ground => scene.ground,
            Anchor::Sky => scene.sky,
        };
        let line = slot.line.unwrap_or_else(|| law::line_at(scene.horizon, near, rate));
        let unit = slot.shrink.unwrap_or(rate) * scale;
        let place = scene.slots.iter().position(|other| other.name == slot.name);
        let front = place.and_then(|place| scene.slots.get(place + 1));
        SlotPlan { scene, slot, front, scale, view, rate, line, unit, tones: tones(scene, slot), air }
    }

    /// Where a picture of the slot stands.
    fn placing(&self, kind: Kind, order: usize, rect: Rect, texels: [u32; 2], period: Option<Px>) -> Placing {
        let ending = match kind {
            Kind::Fog => "fog",
            Kind::Rim => "rim",
            Kind::Art => "art",
            Kind::Lamp => "lamp",
        };
        Placing {
            slot: self.slot.name.clone(),
            kind,
            path: format!("{}.{ending}.png", self.slot.name),
            order,
            depth: self.slot.depth,
            pan_rate: self.rate,
            rect,
            texels,
            period,
        }
    }

    /// Texels of its strip's height: those of the view, and as far as the slot moves up in it over the travel, no farther.
    fn tall(&self) -> u32 {
        // Rounding of what is whole but for its last bits doesn't add a row.
        let more = (self.scene.travel.down * self.rate * self.scale).0;
        self.view[1].saturating_add((more - 1e-6).max(0.0).ceil() as u32)
    }

    /// The field of its fog on a picture whose top lies at `top`.
    fn field(&self, size: [u32; 2], top: Texel, seed: u64) -> FieldSpec {
        let line = self.line * self.scale - top;
        let mut field = FieldSpec::new(size, self.slot.anchor, line, self.unit, &self.slot.recipe, seed);
        if self.scene.air.drift < 0.0 {
            // It flows along the drift, which is to the left.
            field.recipe.bands.flow_angle = 180.0 - field.recipe.bands.flow_angle;
        }
        field
    }

    /// The field with the line as it runs past a picture with its left edge at `left`; copies of one stand at many heights, and have it level.
    fn beside(&self, field: FieldSpec, left: Px, repeats: bool) -> FieldSpec {
        let [whole, _] = law::strip(self.scene.view, self.scene.travel, self.rate);
        let middle = ((0.5 * whole - left) * self.scale).0;
        let slope = field.slope.filter(|_| !repeats);
        FieldSpec { slope: slope.map(|slope| Slope { middle, back: 0.0, ..slope }), ..field }
    }

    /// Its sheet; none where no air lies behind it.
    pub fn fog(&self, period: Px, order: usize, drawn: Option<&Drawn>) -> Option<FogJob> {
        if self.air.sheet.sum() <= 0.0 {
            return None;
        }
        let size = [texels(period, self.scale), self.tall()];
        let height = Texel(f64::from(size[1])) / self.scale;
        let rect = Rect { width: period, height, ..Rect::default() };
        let tau = self.air.sheet.sum();
        let mut field = self.field(size, Texel(0.0), seed::derive(self.slot.seed, "fog"));
        if let Some(slope) = &mut field.slope {
            let whole = law::strip(self.scene.view, self.scene.travel, self.rate)[0] * self.scale;
            let beyond = f64::from(size[0]) - whole.0;
            slope.back = if beyond > 0.0 { beyond } else { slope.back };
            slope.middle = 0.5 * whole.0;
        }
        field.strokes = self
            .slot
            .strokes
            .as_ref()
            .zip(drawn)
            .map(|(place, drawn)| strokes::on_sheet(place, drawn, self.slot.period, self.scale));
        let seen = law::strip(self.scene.view, self.scene.travel, self.rate)[0] * self.scale;
        field.along = self.across(Px(0.0)).of(self.slot, seen.0, f64::from(size[0]));
        Some(FogJob {
            along: along::told(self.scene, self.slot),
            placing: self.placing(Kind::Fog, order, rect, size, Some(period)),
            gap: self.air.gap,
            optical_depth: tau,
            clear_depth: self.air.sheet.clear,
            opacity: law::opacity(tau),
            line: self.line,
            anchor: self.slot.anchor,
            preset: self.slot.preset.clone(),
            haze: self.tones.haze.to_hex(),
            spec: SheetSpec {
                field,
                tau: self.air.sheet.fog,
                clear: self.air.sheet.clear,
                tones: self.tones,
                light: self.scene.air.light,
            },
        })
    }

    /// Its sheet, where that is a picture of `natural` px; `period` is that of the sheet which it replaces.
    pub fn own_sheet(&self, natural: Option<&[f64; 2]>, period: Px, order: usize) -> Option<ArtJob> {
        let place = self.slot.sheet.as_ref().filter(|_| self.slot.fog)?;
        let natural = *natural?;
        let [_, tall] = law::strip(self.scene.view, self.scene.travel, self.rate);
        let replaced = Replaced { size: [period, tall], texels: [texels(period, self.scale), self.tall()] };
        let Stand { rect, texels, period, wraps } =
            own::stand(place, natural, &replaced, self.slot.period, self.scale);
        Some(ArtJob {
            placing: self.placing(Kind::Fog, order, rect, texels, period),
            flip: false,
            wraps,
            natural,
            places: Vec::new(),
            treatment: Treatment::default(),
        })
    }

    /// Factors on a picture of the slot that begins at `left`.
    fn across(&self, left: Px) -> Across<'_> {
        Across { scene: self.scene, rate: self.rate, scale: self.scale, left }
    }

    /// Its picture, which is `naturals` px large, or all of its pictures as one; none where it has none or their sizes aren't known.
    pub fn art(&self, naturals: &[[f64; 2]], order: usize) -> Option<ArtJob> {
        let pictures: Vec<&ArtPlace> = self.slot.pictures().collect();
        let (first, natural) = (*pictures.first()?, *naturals.first()?);
        let ground = Ground { scene: self.scene, scale: self.scale, rate: self.rate };
        let (places, (rect, size)) = match pictures.len() {
            1 => (Vec::new(), ground.stand(first, natural)),
            _ => {
                let (places, rect) = ground.together(&pictures, naturals);
                (places, (rect, [rect.width, rect.height].map(|side| texels(side, self.scale))))
            }
        };
        let period = match first.repeat {
            Repeat::No => None,
            Repeat::Edge => Some(rect.width),
            Repeat::Every(period) => Some(period),
        };
        Some(ArtJob {
            treatment: self.treatment(&rect, size, period.is_some()),
            placing: self.placing(Kind::Art, order, rect, size, period),
            flip: first.flip && places.is_empty(),
            wraps: first.repeat == Repeat::Edge,
            natural,
            places,
        })
    }

    /// What of its pictures is left out of `job`.
    pub fn left_out(&self, job: &ArtJob) -> Option<String> {
        let pictures: Vec<&ArtPlace> = self.slot.pictures().collect();
        if pictures.len() > 1 { places::note(job, &pictures) } else { None }
    }

    /// The glow of its lamps on its sheet's `fog`.
    pub fn lamps(&self, fog: Option<&SheetSpec>, order: usize) -> Option<LampJob> {
        let SlotPlan { scene, slot, rate, scale, .. } = *self;
        let (rect, spec) = Around { scene, slot, rate, scale, tall: self.tall(), fog }.glow()?;
        let placing = self.placing(Kind::Lamp, order, rect, spec.size, None);
        Some(LampJob { placing, lamps: spec.lights.len(), spec })
    }

    /// What is done to its picture, which `repeats` or not.
    fn treatment(&self, rect: &Rect, size: [u32; 2], repeats: bool) -> Treatment {
        let tint::Depth { clear, fog: depth } = self.air.tint;
        let tint = (clear + depth > 0.0).then(|| Tint {
            depth,
            clear,
            haze: self.tones.haze,
            falloff: self.beside(self.field(size, rect.y * self.scale, 0), rect.x, repeats),
            along: self
                .front
                .filter(|_| !repeats)
                .and_then(|front| self.across(rect.x).of(front, f64::INFINITY, f64::from(size[0]))),
        });
        let fade = self.slot.fade.map(|fade| Fade::new(&fade, rect, self.scale));
        let light = Relight::new(&self.scene.light, self.slot);
        Treatment { light, tint, fade, floor: self.scene.floor }
    }

    /// The rim of its picture; none where it wants none, or where the picture never comes into view. `solved`: the rim at the scale
    /// that it is solved at, if that is another.
    pub fn rim(&self, art: &ArtJob, order: usize, solved: Option<Option<&RimJob>>) -> Option<RimJob> {
        if self.slot.separation <= 0.0 {
            return None;
        }
        let (own, seed) = (&art.placing, seed::derive(self.slot.seed, "rim"));
        let least = (self.scene.rims.spread * self.unit).0.max(1.5);
        let widest = rims::WIDEST * least;
        let aspect = aspect(&self.field([1, 1], Texel(0.0), seed));
        let margin = [aspect * widest, widest].map(|deviation| (rims::ROOM * deviation).ceil() as i64);
        let Canvas { first, size, corner } = match solved {
            Some(solved) => self.larger_canvas(own, &solved?.placing),
            None => self.canvas(own, margin)?,
        };
        let rect = Rect {
            x: own.rect.x - Texel(corner[0] as f64) / self.scale,
            y: own.rect.y - Texel(corner[1] as f64) / self.scale,
            width: own.period.unwrap_or(Texel(f64::from(size[0])) / self.scale),
            height: Texel(f64::from(size[1])) / self.scale,
        };
        let field = self.beside(self.field(size, Texel(first as f64), seed), rect.x, own.period.is_some());
        Some(RimJob {
            placing: self.placing(Kind::Rim, order, rect, size, own.period),
            separation: self.slot.separation,
            spec: RimSpec {
                field,
                tones: self.tones,
                dark: self.scene.rims.dark,
                light: self.scene.air.light,
                corner,
                wraps: art.wraps,
                periodic: own.period.is_some(),
                spread: [least, widest],
                separation: self.slot.separation,
                most: self.scene.rims.most,
            },
        })
    }

    /// The canvas of a rim with a margin around its picture; whole texels of the strip, as rows beyond it are never seen.
    fn canvas(&self, art: &Placing, margin: [i64; 2]) -> Option<Canvas> {
        let top = (art.rect.y * self.scale).0.round() as i64;
        let first = (top - margin[1]).max(0);
        let last = (top + i64::from(art.texels[1]) + margin[1]).min(i64::from(self.tall()));
        if last <= first {
            return None;
        }
        let (left, width) = match art.period {
            Some(period) => (0, texels(period, self.scale)),
            None => (margin[0], art.texels[0].saturating_add(2 * margin[0] as u32)),
        };
        Some(Canvas { first, size: [width, (last - first) as u32], corner: [left, top - first] })
    }

    /// The canvas of a rim that is solved on that of `solved`: the same area.
    fn larger_canvas(&self, art: &Placing, solved: &Placing) -> Canvas {
        let texel = |at: Px| (at * self.scale).0.round() as i64;
        let (first, left) = (texel(solved.rect.y), texel(art.rect.x - solved.rect.x));
        let size = [solved.rect.width, solved.rect.height].map(|side| texels(side, self.scale));
        Canvas { first, size, corner: [left, texel(art.rect.y) - first] }
    }
}

/// Colours of a slot's fog.
fn tones(scene: &Scene, slot: &Slot) -> Tones {
    let air = &scene.air;
    // What the air between it and the play plane leaves of its own colour.
    let left = || law::transmittance(law::extinction(air.visibility) * slot.depth.max(0.0));
    let haze = air.haze.mix(slot.haze.unwrap_or(air.haze), slot.haze_share.unwrap_or_else(left));
    let lift = |colour| floored(colour, scene.floor);
    let [aloft, glow, shade] = [air.aloft, air.glow, air.shade].map(|colour| colour.map(lift));
    let tones = Tones::new(lift(haze), aloft, glow, shade, slot.recipe.grade.lit);
    Tones { glow: lift(tones.glow), shade: lift(tones.shade), ..tones }
}

/// A length in whole texels; at least one. Saturates, and is then over any limit.
pub(super) fn texels(length: Px, scale: Scale) -> u32 {
    (length * scale).0.round().max(1.0) as u32
}

//! Facts of the air that are taken from the scene's pictures.

use crate::base::colour::Srgb;
use crate::base::fault::{Class, Fault, Result};
use crate::base::limits::Limits;
use crate::base::picture::Picture;
use crate::base::placing::Kind;
use crate::base::units::Rect;
use crate::base::words::Anchor;
use crate::plan::treatment::Relight;
use crate::plan::{Job, Plan};
use crate::scene::pictures::{Part, Pictures};
use crate::scene::{Scene, Slot, read};
use std::borrow::Cow;

/// Height of the band that is looked at, as a share of the view's. It lies where the farthest slot's fog does: around the horizon, or
/// around the sky line, where a deck is to have the sky's own tone there, by day and by night.
const BAND: f64 = 0.08;
/// Least share of the band that must be painted; else the lowest such band of the picture counts.
const PAINTED: f64 = 0.25;
/// Widest that a picture is drawn for this.
const WIDE: f64 = 512.0;

/// Where the haze is to be sampled, takes it from the farthest picture's texels near the horizon, or near the sky line where that
/// slot's fog lies under the sky; else does nothing.
///
/// # Errors
/// Class scene: no slot has a picture. Otherwise those of drawing the picture.
pub fn sample(scene: &mut Scene, pictures: &Pictures, limits: &Limits) -> Result<()> {
    if !scene.sampled.haze {
        return Ok(());
    }
    let Some(farthest) = scene.slots.iter().find(|slot| slot.art.is_some()) else {
        return Err(Fault::new(Class::Scene, "`air.haze` is \"sampled\", but no slot has a picture")
            .remedy("Give the farthest slot an `art`, or `air.haze` a colour.")
            .into());
    };
    let Some(haze) = of_picture(scene, farthest, pictures, limits)? else { return Ok(()) };
    scene.air.haze = haze;
    if scene.sampled.backdrop {
        scene.backdrop = haze;
    }
    if scene.sampled.dark {
        scene.rims.dark = scene.rims.dark.map(|_| haze.darkened(read::DARK));
    }
    scene.sampled = Default::default();
    Ok(())
}

/// The scene with its haze sampled; itself where there is nothing to sample.
///
/// # Errors
/// As for [`sample`].
pub fn sampled<'a>(scene: &'a Scene, pictures: &Pictures, limits: &Limits) -> Result<Cow<'a, Scene>> {
    let mut scene = Cow::Borrowed(scene);
    if scene.sampled.haze {
        sample(scene.to_mut(), pictures, limits)?;
    }
    Ok(scene)
}

/// The haze of a slot's picture where its fog lies; none if the picture isn't in the plan.
fn of_picture(scene: &Scene, slot: &Slot, pictures: &Pictures, limits: &Limits) -> Result<Option<Srgb>> {
    let plan = Plan::new(scene, &pictures.naturals(), 1.0, limits)?;
    let art = plan.files.iter().find_map(|job| match job {
        Job::Art(art) if art.placing.slot == slot.name => Some(art),
        _ => None,
    });
    let Some(art) = art else { return Ok(None) };
    let Rect { y: top, width, height, .. } = art.placing.rect;
    let shrink = (WIDE / width.0).min(1.0);
    let size = [width, height].map(|side| (side * shrink).0.round().max(1.0) as u32);
    let blending = scene.air.blending;
    let picture = if art.places.is_empty() {
        pictures.source(&slot.name, Kind::Art, 0, limits)?.draw(size, false, false, blending, limits)?
    } else {
        let parts: Vec<Part> = art.places.iter().map(|place| place.part.shrunk(shrink, size)).collect();
        pictures.assembled(&slot.name, &parts, (size, false), blending, limits)?
    };
    let rows = f64::from(size[1]);
    let per_px = rows / height.0;
    let half = (0.5 * BAND * scene.view[1].0 * per_px).max(0.5);
    let level = match slot.anchor {
        Anchor::Ground => scene.horizon,
        Anchor::Sky => scene.sky,
    };
    let middle = ((level - top).0 * per_px).clamp(half, (rows - half).max(half));
    let light = Relight::new(&scene.light, slot);
    match of_band(&picture, middle, half) {
        Some(haze) => Ok(Some(light.map_or(haze, |light| light.on(haze)))),
        None => {
            let message = format!("{}: its picture holds nothing solid to sample the haze from", slot.name);
            Err(Fault::new(Class::Picture, message).remedy("Give `air.haze` a colour.").into())
        }
    }
}

/// The median colour of the band of rows around `middle`, or of the next one above it that is painted well enough, of the uppermost
/// if it is painted at all.
fn of_band(picture: &Picture, mut middle: f64, half: f64) -> Option<Srgb> {
    let [across, rows] = picture.size.map(|side| side as usize);
    loop {
        let band = (middle - half).max(0.0) as usize..((middle + half).ceil() as usize).min(rows);
        let texels = &picture.texels[band.start * across..band.end * across];
        let solid: Vec<Srgb> = texels
            .iter()
            .filter(|texel| texel[3] >= 32_768)
            .map(|[r, g, b, _]| Srgb([r, g, b].map(|code| f32::from(*code) / 65535.0)))
            .collect();
        let (last, enough) = (middle <= half, solid.len() as f64 >= PAINTED * texels.len() as f64);
        if !solid.is_empty() && (enough || last) {
            return Some(median(&solid));
        }
        if last {
            return None;
        }
        middle = (middle - half).max(half);
    }
}

/// The median of each Oklab coordinate: a bird or a mast in the band doesn't sway it.
fn median(colours: &[Srgb]) -> Srgb {
    let lab: Vec<[f64; 3]> = colours.iter().map(|colour| colour.oklab()).collect();
    Srgb::from_oklab(std::array::from_fn(|axis| {
        let mut values: Vec<f64> = lab.iter().map(|lab| lab[axis]).collect();
        let at = values.len() / 2;
        *values.select_nth_unstable_by(at, f64::total_cmp).1
    }))
}

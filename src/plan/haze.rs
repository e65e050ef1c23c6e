//! Facts of the air that are taken from the scene's pictures.

use crate::base::colour::Srgb;
use crate::base::fault::{Class, Fault, Result};
use crate::base::limits::Limits;
use crate::base::words::Anchor;
use crate::plan::Plan;
use crate::scene::pictures::Arts;
use crate::scene::{Scene, read};
use std::borrow::Cow;

/// Height of the band that is looked at, as a share of the view's. It lies where the farthest slot's fog does: around the horizon, or
/// around the sky line, where a deck is to have the sky's own tone there, by day and by night.
const BAND: f64 = 0.08;
/// Least share of the band that must be painted; else the lowest such band of the picture counts.
const PAINTED: f64 = 0.25;
/// Widest that a picture is drawn for this.
const WIDE: f64 = 512.0;

/// Where the haze is to be sampled, takes it from the farthest art's pixels near the horizon, or near the sky line where
/// that slot's fog lies under the sky; else does nothing.
///
/// # Errors
/// Class scene: no slot has a picture. Otherwise those of drawing the picture.
pub fn settle(scene: &mut Scene, arts: &Arts, limits: &Limits) -> Result<()> {
    if !scene.sampled.haze {
        return Ok(());
    }
    let farthest = scene.slots.iter().find(|slot| slot.art.is_some());
    let Some((far, anchor)) = farthest.map(|slot| (slot.name.clone(), slot.anchor)) else {
        return Err(Fault::new(Class::Scene, "`air.haze` is \"sampled\", but no slot has a picture")
            .remedy("Give the farthest slot an `art`, or `air.haze` a colour.")
            .into());
    };
    let plan = Plan::new(scene, &arts.naturals(), 1.0, limits)?;
    let Some(placing) = plan
        .files
        .iter()
        .map(|job| job.placing())
        .find(|placing| placing.slot == far && placing.kind == crate::base::placing::Kind::Art)
    else {
        return Ok(());
    };
    let [_, top, width, height] = placing.rect.into();
    let shrink = (WIDE / width).min(1.0);
    let size = [width * shrink, height * shrink].map(|side| side.round().max(1.0) as u32);
    let picture = arts.source(&far, limits)?.draw(size, false, false, scene.air.blending, limits)?;
    let rows = f64::from(size[1]);
    let per_px = rows / height;
    let half = (0.5 * BAND * scene.view[1].0 * per_px).max(0.5);
    let level = match anchor {
        Anchor::Ground => scene.horizon,
        Anchor::Sky => scene.sky,
    };
    let mut middle = ((level.0 - top) * per_px).clamp(half, (rows - half).max(half));
    loop {
        let band = (middle - half).max(0.0) as usize..((middle + half).ceil() as usize).min(size[1] as usize);
        let across = size[0] as usize;
        let texels = &picture.texels[band.start * across..band.end * across];
        let solid: Vec<Srgb> = texels
            .iter()
            .filter(|texel| texel[3] >= 32_768)
            .map(|[r, g, b, _]| Srgb([r, g, b].map(|code| f32::from(*code) / 65535.0)))
            .collect();
        let enough = solid.len() as f64 >= PAINTED * texels.len() as f64;
        if (enough && !solid.is_empty()) || (middle <= half && !solid.is_empty()) {
            let haze = median(&solid);
            scene.air.haze = haze;
            if scene.sampled.backdrop {
                scene.backdrop = haze;
            }
            if scene.sampled.dark {
                scene.rims.dark = scene.rims.dark.map(|_| haze.darkened(read::DARK));
            }
            scene.sampled = Default::default();
            return Ok(());
        }
        if middle <= half {
            return Err(Fault::new(
                Class::Picture,
                format!("{far}: its picture has no opaque part to sample the haze from"),
            )
            .remedy("Give `air.haze` a colour.")
            .into());
        }
        middle = (middle - half).max(half);
    }
}

/// The scene with its haze settled; itself where there is nothing to settle.
///
/// # Errors
/// As for [`settle`].
pub fn settled<'a>(scene: &'a Scene, arts: &Arts, limits: &Limits) -> Result<Cow<'a, Scene>> {
    let mut scene = Cow::Borrowed(scene);
    if scene.sampled.haze {
        settle(scene.to_mut(), arts, limits)?;
    }
    Ok(scene)
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

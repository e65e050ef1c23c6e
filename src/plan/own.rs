//! A sheet that is a picture of the scene's: where it stands, and what of the strip it covers.

use crate::base::placing::Placing;
use crate::base::units::{Px, Rect, Scale, Texel};
use crate::plan::ArtJob;
use crate::plan::slot::texels;
use crate::scene::SheetPlace;

/// By how many px the height of a picture may miss that of the sheet which it replaces.
const SAME_WITHIN: f64 = 1.0;

/// By how many px a picture's width may miss the period at which its edges meet.
const MEETS_WITHIN: f64 = 0.5;

/// How much larger than its file a picture may be drawn before it is told.
const ENLARGED: f64 = 1.005;

/// Where a picture stands that is a sheet.
pub(super) struct Stand {
    pub rect: Rect,
    pub texels: [u32; 2],
    pub period: Option<Px>,
    /// Whether its edges meet.
    pub wraps: bool,
}

/// The sheet that a picture replaces: its width, which is its period, and its height in scene px, and its texels.
pub(super) struct Replaced {
    pub size: [Px; 2],
    pub texels: [u32; 2],
}

/// A picture of `natural` px instead of `replaced`. One that nothing is said of and that has its shape covers just what it covers and repeats
/// as it does. Any other stands where it is said, or at its left top, and repeats at the `period` that the scene gives, if it gives one.
pub(super) fn stand(
    place: &SheetPlace,
    natural: [f64; 2],
    replaced: &Replaced,
    period: Option<Px>,
    scale: Scale,
) -> Stand {
    let [wide, tall] = replaced.size;
    let alike = (natural[0] * (tall / wide) - natural[1]).abs() <= SAME_WITHIN;
    if place.is_open() && alike {
        let rect = Rect { width: wide, height: tall, ..Rect::default() };
        return Stand { rect, texels: replaced.texels, period: Some(wide), wraps: true };
    }
    let width = place.width.unwrap_or(Px(natural[0]));
    let meets = period.filter(|period| (*period - width).0.abs() < MEETS_WITHIN);
    let size = [width, width * natural[1] / natural[0]].map(|side| texels(side, scale));
    let [across, height] = size.map(|side| Texel(f64::from(side)) / scale);
    let (x, y) = (place.x.unwrap_or(Px(0.0)), place.y.unwrap_or(Px(0.0)));
    let rect = Rect { x, y, width: meets.unwrap_or(across), height };
    Stand { rect, texels: size, period, wraps: meets.is_some() }
}

/// That a picture is drawn larger than its file, which is no drawing of vectors.
pub(super) fn note(job: &ArtJob, place: &SheetPlace, scale: Scale) -> Option<String> {
    let Placing { slot, texels, .. } = &job.placing;
    let larger = f64::from(texels[0]) / job.natural[0];
    let is_vector = place.file.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("svg"));
    (larger > ENLARGED && !is_vector).then(|| {
        format!(
            "{slot}: its own sheet is drawn {larger:.2} times as large as its file at scale {scale}; a larger file would be sharper"
        )
    })
}

//! Figures of single files: seam, band and repeat of a sheet, and overdraw.

use crate::base::placing::Placing;
use crate::base::units::{Camera, Px, Rect};
use crate::plan::Plan;
use crate::steps::dither;
use crate::steps::sheet::{Row, Sheet};
use serde::Serialize;

/// Figures of one sheet.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SheetFigures {
    /// The slot.
    pub slot: String,
    /// Largest step of opacity from the last column to the first, over the largest between neighbouring columns inside; a seam
    /// would show well over 1.
    pub seam: f64,
    /// Largest error of the mean opacity of 8 by 8 texels after rounding to 8 bits, in steps; bands would show toward 0.5.
    pub band: f64,
    /// Most that its opacity differs along a row, 8-bit steps.
    pub variation: f64,
    /// Its period in views; under 1 its repeat shows twice in one frame.
    pub repeat: f64,
    /// How often it comes round over the whole travel.
    pub turns: f64,
}

/// Measures a sheet that stands at `placing`.
pub fn sheet(placing: &Placing, plan: &Plan, sheet: &Sheet) -> SheetFigures {
    let [cols, rows] = sheet.size().map(|side| side as usize);
    let mut row = Row::default();
    let (mut seam, mut inside, mut band) = (0.0_f32, 0.0_f32, 0.0_f64);
    let mut variation = 0.0_f32;
    for tile in (0..rows / dither::SIDE).step_by(3) {
        let across = cols / dither::SIDE;
        let mut errors = vec![0.0_f64; across];
        for y in tile * dither::SIDE..(tile + 1) * dither::SIDE {
            sheet.row(y, 0, cols, &mut row);
            let alpha = &row.alpha;
            seam = seam.max((alpha[0] - alpha[cols - 1]).abs());
            inside = alpha.windows(2).fold(inside, |most, pair| most.max((pair[1] - pair[0]).abs()));
            let (low, high) =
                alpha.iter().fold((1.0_f32, 0.0_f32), |(low, high), a| (low.min(*a), high.max(*a)));
            variation = variation.max(high - low);
            let thresholds = dither::row(y);
            for (x, value) in alpha[..across * dither::SIDE].iter().enumerate() {
                let code = dither::code(*value, thresholds[x % dither::SIDE]);
                errors[x / dither::SIDE] += f64::from(code) - f64::from(*value) * 255.0;
            }
        }
        band = errors.iter().fold(band, |most, error| most.max(error.abs() / 64.0));
    }
    let period = placing.period.unwrap_or(placing.rect.width);
    SheetFigures {
        slot: placing.slot.clone(),
        seam: if seam > 0.0 { f64::from(seam / inside.max(1e-9)) } else { 0.0 },
        band,
        variation: 255.0 * f64::from(variation),
        repeat: period / plan.view[0],
        turns: plan.travel.right * placing.pan_rate / period,
    }
}

/// Texels of a picture blended per texel of the view, mean over the camera places.
pub(super) fn overdraw(placing: &Placing, plan: &Plan, cameras: &[Camera]) -> f64 {
    let Rect { width: Px(width), height: Px(height), .. } = placing.rect;
    let [Px(view_x), Px(view_y)] = plan.view;
    let tall = |camera: Camera| {
        let Px(top) = placing.top(camera);
        ((top + height).min(view_y) - top.max(0.0)).max(0.0) / view_y
    };
    let wide = |camera: Camera| {
        let Px(left) = placing.left(camera);
        let seen = |left: f64| ((left + width).min(view_x) - left.max(0.0)).max(0.0);
        match placing.period {
            None => seen(left),
            Some(Px(period)) => {
                let first = ((-width - left) / period).floor() as i64;
                let last = ((view_x - left) / period).ceil() as i64;
                (first..=last).map(|turn| seen(left + turn as f64 * period)).sum()
            }
        }
    };
    let seen: f64 = cameras.iter().map(|camera| wide(*camera) * tall(*camera)).sum();
    seen / (view_x * cameras.len() as f64)
}

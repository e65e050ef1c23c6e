//! Fog worked out coarser than the view, for drafts.

use super::{Lanes, Space, corner, over_lanes};
use crate::plan::Placing;
use crate::sheet::grade::blend;
use crate::sheet::{Row, Sheet};

/// Opacity that no draft shows.
const UNSEEN: f32 = 0.000_5;

/// A strip of rows from `y` on, of a sheet that is coarser than the view; linear between its texels.
#[inline(always)]
pub(super) fn draw_coarse(
    placing: &Placing,
    sheet: &Sheet,
    (scale, camera, width): (f64, f64, usize),
    y: usize,
    space: &Space,
    out: &mut [Lanes],
) {
    let [cols, rows] = sheet.size();
    let stretch = [placing.rect[2] * scale / f64::from(cols), placing.rect[3] * scale / f64::from(rows)];
    let [left, top] = corner(placing, scale, camera);
    let place = |at: i64, stretch: f64| (at as f64 + 0.5) / stretch - 0.5;
    // Two texels to one but for what rounding takes of a whole period: as good as exactly two, which is quickest.
    let double = (stretch[0] - 2.0).abs() * f64::from(cols) < 2.0;
    let first = place(-left, if double { 2.0 } else { stretch[0] }).floor();
    let across: Vec<(u32, f32)> = (0..if double { 0 } else { width as i64 })
        .map(|x| {
            let place = place(x - left, stretch[0]) - first;
            (place as u32, (place - place.floor()) as f32)
        })
        .collect();
    let count = if double { width / 2 } else { across.last().map_or(0, |(at, _)| *at as usize) } + 3;
    let first = (first as i64).rem_euclid(i64::from(cols)) as usize;
    let lone = usize::from(left.rem_euclid(2) == 0);
    // Rows of the sheet, each drawn once: opacity and colour.
    let mut drawn: Vec<(i64, Vec<Lanes>, bool)> = Vec::new();
    let mut mixed: Vec<Lanes> = vec![[0.0; 4]; count];
    let mut line = Row::default();
    for (at, out) in out.chunks_mut(width).enumerate() {
        let place = place((y + at) as i64 - top, stretch[1]);
        if place < -0.5 || place > f64::from(rows) - 0.5 {
            continue;
        }
        let low = (place.floor() as i64).clamp(0, i64::from(rows) - 1);
        let high = (low + 1).min(i64::from(rows) - 1);
        let share = (place - low as f64).clamp(0.0, 1.0) as f32;
        for wanted in [low, high] {
            if !drawn.iter().any(|(row, ..)| *row == wanted) {
                sheet.row(wanted as usize, first, count, &mut line);
                let lanes = line.colour.iter().zip(&line.alpha).map(|(colour, alpha)| {
                    let [r, g, b, _] = space.enter_lanes(*colour);
                    [r, g, b, *alpha]
                });
                let empty = line.alpha.iter().copied().fold(0.0, f32::max) < UNSEEN;
                drawn.push((wanted, lanes.collect(), empty));
            }
        }
        let row = |wanted: i64| drawn.iter().find(|(row, ..)| *row == wanted);
        let (Some((_, low, nothing)), Some((_, high, neither))) = (row(low), row(high)) else { continue };
        if *nothing && *neither {
            continue;
        }
        // The lane to spare takes the opacity.
        for ((mixed, a), b) in mixed.iter_mut().zip(low).zip(high) {
            *mixed = blend(*a, *b, share);
        }
        if double {
            twice(&mixed, lone, out);
            continue;
        }
        for (under, (at, share)) in out.iter_mut().zip(&across) {
            let at = *at as usize;
            let mix = blend(mixed[at], mixed[at + 1], *share);
            over_lanes(under, mix, mix[3]);
        }
    }
}

/// Draws a row of colours and opacities over `out`, two texels between each two of it; `lone` is 1 where the first of the two is left
/// of the view.
#[inline(always)]
fn twice(mixed: &[Lanes], lone: usize, out: &mut [Lanes]) {
    let put = |under: &mut Lanes, a: Lanes, b: Lanes, share: f32| {
        let mix = blend(a, b, share);
        over_lanes(under, mix, mix[3]);
    };
    let (head, body) = out.split_at_mut(lone.min(out.len()));
    if let [under] = head {
        put(under, mixed[0], mixed[1], 0.75);
    }
    let (pairs, rest) = body.as_chunks_mut::<2>();
    let mut between = mixed[lone..].windows(2);
    for ([one, two], ab) in pairs.iter_mut().zip(between.by_ref()) {
        put(one, ab[0], ab[1], 0.25);
        put(two, ab[0], ab[1], 0.75);
    }
    if let ([under], Some(ab)) = (rest, between.next()) {
        put(under, ab[0], ab[1], 0.25);
    }
}

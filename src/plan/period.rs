//! Periods of the sheets: no sheet's repeat shows twice in one view, and within the travel the stack never repeats as a whole.

use crate::law;
use crate::scene::Scene;
use crate::seed;
use std::collections::BTreeMap;

/// Picked periods are whole multiples of this many scene px, so that they stay whole texels at halves and quarters.
const GRAIN: f64 = 16.0;

/// A strip no longer than this many views covers the whole travel instead of repeating.
const LONGEST: f64 = 2.0;

/// Two places in a period closer than this share of it look the same.
const NEAR: f64 = 0.04;

/// A period in scene px for every slot's sheet. Those that the scene gives are kept.
pub fn pick(scene: &Scene) -> BTreeMap<String, f64> {
    let view = scene.view[0];
    let mut periods = BTreeMap::new();
    // (period, pan rate) of the sheets so far, far to near.
    let mut stack: Vec<(f64, f64)> = Vec::new();
    for slot in &scene.slots {
        let rate = law::pan_rate(scene.camera, slot.depth);
        let needed = law::strip_width(view, scene.travel, rate);
        let period = slot.period.unwrap_or_else(|| {
            if needed <= LONGEST * view {
                return up(needed);
            }
            // Between 1.25 and 1.9 views, by the slot's dice; lengthened until the stack so far doesn't come round.
            let mut period = up(view * (1.25 + 0.65 * seed::unit(seed::of(slot.seed, "period"))));
            while period < LONGEST * view && comes_round(&stack, (period, rate), scene.travel) {
                period += GRAIN;
            }
            period
        });
        periods.insert(slot.name.clone(), period);
        stack.push((period, rate));
    }
    periods
}

fn up(length: f64) -> f64 {
    (length / GRAIN).ceil() * GRAIN
}

/// Whether at some camera place within the travel every sheet of the stack and `new` stand again as at the start.
fn comes_round(stack: &[(f64, f64)], new: (f64, f64), travel: f64) -> bool {
    let cycle = new.0 / new.1;
    let turns = (travel / cycle).floor().min(10_000.0) as u32;
    (1..=turns).any(|turn| {
        let camera = cycle * f64::from(turn);
        stack.iter().all(|(period, rate)| {
            let phase = camera * rate / period;
            (phase - phase.round()).abs() < NEAR
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_lone_repeating_sheet_comes_round() {
        assert!(comes_round(&[], (1000.0, 1.0), 2000.0));
        assert!(!comes_round(&[], (1000.0, 1.0), 900.0));
        assert!(!comes_round(&[(700.0, 0.5)], (1000.0, 1.0), 2000.0));
        assert!(comes_round(&[(500.0, 0.5)], (1000.0, 1.0), 2000.0));
    }
}

//! Periods of the sheets: no sheet's repeat shows twice in one view, and within the travel the stack never repeats as a whole.

use crate::base::fault::{Class, Fault};
use crate::base::units::Px;
use crate::base::{law, seed};
use crate::plan::along;
use crate::scene::{Scene, Slot};

/// Picked periods are whole multiples of this many scene px, so that they stay whole texels at halves and quarters.
const GRAIN: Px = Px(16.0);

/// A strip no longer than this many views covers the whole travel instead of repeating.
const LONGEST: f64 = 2.0;

/// Views over which a sloping strip falls back to where it began; chosen by eye.
const FALLS_BACK: f64 = 0.5;

/// Nor is a strip longer than this many views made for the sake of a stack that comes round: the plan notes it then.
pub const LONGEST_WHOLE: f64 = 8.0;

/// Two places in a period closer than this share of it look the same.
const NEAR: f64 = 0.04;

/// One sheet's strip.
#[derive(Clone, Debug)]
struct Strip {
    /// Its place in the scene.
    slot: usize,
    period: Px,
    rate: f64,
    /// Its width if it is never to repeat within the travel; none where the scene gives the period.
    whole: Option<Px>,
}

/// Periods of the slots, and the camera's way after which the whole stack stands again as before.
pub struct Periods {
    /// A period for every slot, in the scene's order.
    pub slots: Vec<Px>,
    /// The camera's way until all sheets come round together, if that lies within the travel.
    pub comes_round: Option<Px>,
}

/// Picks a period for every slot's sheet; `sheets` tells which slots have one. Periods that the scene gives are kept.
pub fn pick(scene: &Scene, sheets: &[bool]) -> Periods {
    let mut slots = Vec::with_capacity(scene.slots.len());
    // The sheets so far, far to near.
    let mut stack: Vec<Strip> = Vec::new();
    for (at, (slot, sheet)) in scene.slots.iter().zip(sheets).enumerate() {
        let strip = strip(scene, slot, at, &stack);
        slots.push(strip.period);
        if *sheet {
            stack.push(strip);
        }
    }
    if whole_stack(&stack, scene.travel.right).is_some()
        && let Some((at, longer)) = lengthened(&stack, scene)
    {
        slots[longer[at].slot] = longer[at].period;
        stack = longer;
    }
    Periods { slots, comes_round: whole_stack(&stack, scene.travel.right) }
}

/// The strip of a slot over the `stack` of the sheets so far.
fn strip(scene: &Scene, slot: &Slot, at: usize, stack: &[Strip]) -> Strip {
    let view = scene.view[0];
    let rate = law::pan_rate(scene.camera, slot.depth);
    let [needed, _] = law::strip(scene.view, scene.travel, rate);
    let mut strip = Strip { slot: at, period: up(needed), rate, whole: Some(up(needed)) };
    if slot.period.is_none() && slot.recipe.falloff.slope != 0.0 {
        // Nothing of where it falls back comes into view.
        strip.period = up(needed + FALLS_BACK * view);
        strip.whole = Some(strip.period);
    } else if along::varies(scene, slot) {
        let whole = least(scene, slot);
        (strip.period, strip.whole) = (slot.period.unwrap_or(whole), None);
    } else if let Some(period) = slot.period {
        (strip.period, strip.whole) = (period, None);
    } else if needed > LONGEST * view && slot.strokes.is_none() {
        // Between 1.25 and 1.9 views, by the slot's seed; lengthened until the stack so far doesn't come round.
        strip.period = up(view * (1.25 + 0.65 * seed::uniform(seed::derive(slot.seed, "period"))));
        while strip.period < LONGEST * view && comes_round(stack, &strip, scene.travel.right).is_some() {
            strip.period += GRAIN;
        }
    }
    strip
}

/// The shortest period of a sheet on which the factor along the travel varies.
fn least(scene: &Scene, slot: &Slot) -> Px {
    let rate = law::pan_rate(scene.camera, slot.depth);
    up(law::strip(scene.view, scene.travel, rate)[0] + along::back(scene.view[0]))
}

/// A period within which the factor along the travel would come round.
pub(super) fn too_short(scene: &Scene, slot: &Slot) -> Option<Fault> {
    let (period, least) = (slot.period?, least(scene, slot));
    (along::varies(scene, slot) && period < least).then(|| {
        let name = &slot.name;
        let message = format!(
            "slot {name}: its fog varies along the travel, but its sheet would repeat every {period} px, before the travel ends"
        );
        let remedy = format!("Leave out its `period`, give at least {least}, or leave out `along`.");
        Fault::new(Class::Scene, message).remedy(remedy)
    })
}

/// The stack with one strip that covers the whole travel, which parts all repeats of the others: the shortest that does, and its place.
fn lengthened(stack: &[Strip], scene: &Scene) -> Option<(usize, Vec<Strip>)> {
    let needed = |at: usize| stack[at].whole.map_or(0.0, |whole| whole.0);
    let mut order: Vec<usize> = (0..stack.len()).collect();
    order.sort_by(|a, b| needed(*a).total_cmp(&needed(*b)));
    order.into_iter().find_map(|at| {
        let whole = stack[at].whole.filter(|whole| *whole <= LONGEST_WHOLE * scene.view[0])?;
        let mut longer = stack.to_vec();
        longer[at].period = whole;
        whole_stack(&longer, scene.travel.right).is_none().then_some((at, longer))
    })
}

/// The first camera place within the travel at which the whole stack stands again as at the start.
fn whole_stack(stack: &[Strip], travel: Px) -> Option<Px> {
    let (near, far) = stack.split_last()?;
    comes_round(far, near, travel)
}

fn up(length: Px) -> Px {
    (length / GRAIN).ceil() * GRAIN
}

/// The first camera place within the travel at which `near` and every sheet of the stack stand again as at the start.
fn comes_round(stack: &[Strip], near: &Strip, travel: Px) -> Option<Px> {
    let cycle = near.period / near.rate;
    // A turn that the travel all but completes counts.
    let turns = (travel / cycle + NEAR).floor().min(10_000.0) as u32;
    (1..=turns).map(|turn| cycle * f64::from(turn)).find(|camera| {
        stack.iter().all(|strip| {
            let phase = *camera * strip.rate / strip.period;
            (phase - phase.round()).abs() < NEAR
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn strip(period: Px, rate: f64) -> Strip {
        Strip { slot: 0, period, rate, whole: None }
    }

    #[test]
    fn a_lone_repeating_sheet_comes_round() {
        assert_eq!(comes_round(&[], &strip(Px(1000.0), 1.0), Px(2000.0)), Some(Px(1000.0)));
        assert_eq!(comes_round(&[], &strip(Px(1000.0), 1.0), Px(900.0)), None);
        assert_eq!(comes_round(&[strip(Px(700.0), 0.5)], &strip(Px(1000.0), 1.0), Px(2000.0)), None);
        assert_eq!(
            comes_round(&[strip(Px(500.0), 0.5)], &strip(Px(1000.0), 1.0), Px(2000.0)),
            Some(Px(1000.0))
        );
    }
}

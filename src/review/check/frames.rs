//! The scene in the smaller frames that the game shows too.

use crate::base::units::Travel;
use crate::plan::{Job, Plan};
use crate::review::check::{Separation, marks, separation};
use crate::scene::Scene;
use crate::stack::Stack;
use serde::Serialize;

/// What is found of one slot in a smaller frame.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FrameSlot {
    /// Its name.
    pub slot: String,
    /// Points of its outline times the camera places that see them.
    pub points: usize,
    /// Separation along its outline, with the rims.
    pub after: Separation,
    /// Period of its sheet in widths of the frame; none where it has no sheet.
    pub repeat: Option<f64>,
    /// How often its sheet comes round over the frame's travel.
    pub turns: Option<f64>,
}

/// The scene in a smaller frame.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FrameFigures {
    /// Its width and height, scene px.
    pub frame: [f64; 2],
    /// How far the camera goes with it.
    pub travel: Travel,
    /// The slots, far to near.
    pub slots: Vec<FrameSlot>,
}

/// The figures of every smaller frame, in the scene's order.
pub(super) fn figures(scene: &Scene, stack: &Stack<'_>) -> Vec<FrameFigures> {
    let one = |frame: &[crate::base::units::Px; 2]| {
        let plan = stack.plan().in_frame(*frame);
        let seen = stack.in_frame(&plan);
        let slots = scene.slots.iter().map(|slot| of_slot(&plan, &seen, &slot.name, slot.separation));
        FrameFigures { frame: frame.map(|side| side.0), travel: plan.travel, slots: slots.collect() }
    };
    stack.plan().also_view.iter().map(one).collect()
}

fn of_slot(plan: &Plan, stack: &Stack<'_>, name: &str, wanted: f64) -> FrameSlot {
    let marks = marks(stack, name);
    let sheet = plan.files.iter().find_map(|job| match job {
        Job::Fog(job) if job.placing.slot == name => Some(&job.placing),
        _ => None,
    });
    let period = sheet.and_then(|placing| Some((placing.period?, placing.pan_rate)));
    FrameSlot {
        slot: name.to_owned(),
        points: marks.len(),
        after: separation(marks.iter().map(|mark| mark.after), wanted),
        repeat: period.map(|(period, _)| period / plan.view[0]),
        turns: period.map(|(period, rate)| plan.travel.right * rate / period),
    }
}

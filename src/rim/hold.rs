//! From the solved depth to the drawn one and back: held under a limit without a corner, and drawn to nothing at its outer end.

/// Optical depth by which the outer end of a rim is drawn toward nothing, so that it fades in the second order.
const FADING: f32 = 0.004;
/// Share of the limit up to which depth is drawn as it is solved.
pub(super) const KNEE: f32 = 0.85;

/// The drawn depth of a solved one.
#[inline]
pub(super) fn finished(depth: f32, limit: f32) -> f32 {
    let depth = depth.max(0.0);
    let knee = KNEE * limit;
    let held = if depth <= knee {
        depth
    } else {
        let over = depth - knee;
        let room = limit - knee;
        knee + room * over / (room + over)
    };
    held * held / (held + FADING)
}

/// The solved depth whose drawn depth is `depth`, far from the limit.
pub(super) fn undone(depth: f32) -> f32 {
    if depth <= 0.0 { 0.0 } else { 0.5 * (depth + (depth * (depth + 4.0 * FADING)).sqrt()) }
}

/// The solved depth whose drawn depth is `depth`.
pub(super) fn unfinished(depth: f32, limit: f32) -> f32 {
    let held = undone(depth);
    let knee = KNEE * limit;
    if held <= knee {
        return held;
    }
    let (room, over) = (limit - knee, held - knee);
    if over >= room { f32::INFINITY } else { knee + room * over / (room - over) }
}

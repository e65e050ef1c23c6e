//! Optical depth: of an opacity; and from the solved depth to the drawn one and back: under a limit without a corner, and fading to
//! nothing at its outer end.

/// Optical depth by which the outer end of a rim is drawn toward nothing, so that it fades in the second order. Chosen by eye: a step
/// of 8 bits.
const FADING: f32 = 0.004;
/// Share of the limit up to which depth is drawn as it is solved: a soft knee. Chosen by eye.
pub(super) const KNEE: f32 = 0.85;

/// Optical depth of an opacity below 1.
pub(super) fn optical_depth(opacity: f32) -> f32 {
    -libm::log1pf(-opacity)
}

/// The drawn depth of a solved one.
#[inline(always)]
pub(super) fn drawn_depth(solved: f32, limit: f32) -> f32 {
    let solved = solved.max(0.0);
    let knee = KNEE * limit;
    let depth = if solved <= knee {
        solved
    } else {
        let over = solved - knee;
        let room = limit - knee;
        knee + room * over / (room + over)
    };
    depth * depth / (depth + FADING)
}

/// The solved depth whose drawn depth is `drawn`, below the knee.
pub(super) fn solved_depth_below_knee(drawn: f32) -> f32 {
    if drawn <= 0.0 { 0.0 } else { 0.5 * (drawn + (drawn * (drawn + 4.0 * FADING)).sqrt()) }
}

/// The solved depth whose drawn depth is `drawn`; infinite where that is beyond the limit.
pub(super) fn solved_depth(drawn: f32, limit: f32) -> f32 {
    let depth = solved_depth_below_knee(drawn);
    let knee = KNEE * limit;
    if depth <= knee {
        return depth;
    }
    let (room, over) = (limit - knee, depth - knee);
    if over >= room { f32::INFINITY } else { knee + room * over / (room - over) }
}

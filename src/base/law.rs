//! The law that makes sheets match: extinction, optical depth, airlight, and the pinhole's pan rates.
//!
//! Airlight after Koschmieder (1924): what is seen through optical depth tau keeps exp(-tau) of its own colour and gains the
//! rest in haze. The law is consistent grading, not photometric truth: it is known to fail in dense fog.

use crate::base::units::{Px, Travel};

/// Contrast left at the visibility, by the definition of the meteorological optical range (CIE e-ILV 17-31-018).
pub const CONTRAST_AT_VISIBILITY: f64 = 0.05;

/// Optical depth of a path as long as the visibility: -ln(0.05).
pub const DEPTH_OF_VISIBILITY: f64 = 2.995_732_273_553_991;

/// Extinction coefficient for a visibility; per unit of the visibility's own length.
pub fn extinction(visibility: f64) -> f64 {
    DEPTH_OF_VISIBILITY / visibility
}

/// Extinction coefficients of air in two parts: the clear part, which is even in height, and what the fog adds to it at its line, where
/// both together are as thick as `visibility` says. `clear` is the visibility outside the fog, not below that within it; may be infinite.
pub fn parts(visibility: f64, clear: f64) -> [f64; 2] {
    let even = extinction(clear);
    [even, (extinction(visibility) - even).max(0.0)]
}

/// Opacity of a layer of optical depth `tau`: 1 - exp(-tau), exact near 0.
pub fn opacity(tau: f64) -> f64 {
    -libm::expm1(-tau)
}

/// Share of colour and contrast left behind optical depth `tau`.
pub fn transmittance(tau: f64) -> f64 {
    libm::exp(-tau)
}

/// What is seen of `colour` through `tau` of air of colour `haze`, in whichever space the two are given.
pub fn airlight(colour: f64, haze: f64, tau: f64) -> f64 {
    colour * transmittance(tau) + haze * opacity(tau)
}

/// How far a slot moves in the view for one unit of camera travel: 1 on the play plane, towards 0 far away, over 1 in front.
/// `depth` must be greater than `-camera`.
pub fn pan_rate(camera: f64, depth: f64) -> f64 {
    camera / (camera + depth)
}

/// Least width and height of a strip that fills the view over the whole travel.
pub fn strip(view: [Px; 2], travel: Travel, rate: f64) -> [Px; 2] {
    [view[0] + travel.right * rate, view[1] + travel.down * rate]
}

/// Height of the line on which a slot's fog lies: the play plane's line drawn toward the horizon by the pan rate.
pub fn line_at(horizon: Px, line_on_play_plane: Px, rate: f64) -> Px {
    horizon + (line_on_play_plane - horizon) * rate
}

//! What octaves there are, and how much of each the blurs and the grid leave.

use crate::base::units::Texel;
use crate::steps::recipe::{Bands, Noise};
use crate::steps::step1_bands::edge::{Edge, half_width};
use crate::steps::step1_bands::octave::FOLDED;

/// An octave of which the blurs leave less than this share of the density's mean is lost: a fortieth of a step of 8 bits (1 / 255).
const UNSEEN: f64 = 0.0003;

/// Gradient noise is a sum of bumps times a slope: its spectrum is f^2 exp(-(2 pi s f)^2), near enough, with s in cells. This is s^2
/// for the quintic bump, fitted by eye.
const GRADIENT_VARIANCE: f64 = 0.14;
/// The same for folded noise and cells, whose spectrum is exp(-(2 pi s f)^2): from 0 up, and finer. Fitted by eye.
const FOLDED_VARIANCE: f64 = 0.05;

/// Root mean square slope along an axis, per cell, of gradient noise of deviation 1: by the second moment of its spectrum,
/// 1 / sqrt([`GRADIENT_VARIANCE`]).
const GRADIENT_SLOPE: f64 = 2.67;
/// The same of the distance to a point: its slope is 1 along its own line, sqrt(1/2) along an axis, for a deviation of
/// 0.19 cells (`cells::MOMENTS`).
const CELL_SLOPE: f64 = 0.707 / 0.19;

/// Samples to a cell that hold its noise, by the sampling theorem 2; less what rounding takes.
const SAMPLES_PER_CELL: f64 = 1.99;

/// The most that [`sharpness`] refines a grid by: five times; finer ones cost more than the edge shows. Chosen by eye.
const SHARPNESS_MIN: f64 = 0.2;

/// One octave's weight (squares sum to 1 over all of them) and its cell in texels.
pub(super) struct Part {
    pub amplitude: f64,
    pub cell: [f64; 2],
    /// Cells over the period.
    pub across: f64,
}

/// Width and height of a feature in texels: no wider than the period.
pub(super) fn feature(bands: &Bands<Texel>, period: f64) -> [f64; 2] {
    [(bands.size.0 * bands.stretch).min(period), bands.size.0]
}

/// The octaves of `bands`, from the coarsest to the finest.
pub(super) fn parts(bands: &Bands<Texel>, period: f64) -> Vec<Part> {
    let [width, height] = feature(bands, period);
    let total = (0..bands.octaves).map(|k| libm::pow(bands.gain, 2.0 * f64::from(k))).sum::<f64>();
    (0..bands.octaves)
        .map(|k| {
            let shrink = libm::pow(bands.lacunarity, f64::from(k));
            let across = (period / (width / shrink)).round().max(1.0);
            Part {
                amplitude: libm::pow(bands.gain, f64::from(k)) / libm::sqrt(total),
                cell: [period / across, height / shrink],
                across,
            }
        })
        .collect()
}

impl Part {
    /// What blurs with the variances `[xx, yy, xy]` of `blur`, texels squared, leave of the noise's deviation: its spectrum integrated
    /// over a Gaussian, which is elementary.
    fn blurred(&self, kind: Noise, blur: [f64; 3]) -> f64 {
        let own = if kind == Noise::Smooth { GRADIENT_VARIANCE } else { FOLDED_VARIANCE };
        let [x, y] = [0, 1].map(|axis| own + blur[axis] / (self.cell[axis] * self.cell[axis]));
        let both = blur[2] / (self.cell[0] * self.cell[1]);
        let area = (x * y - both * both).max(own * own);
        let flat = own / libm::sqrt(area);
        libm::sqrt(if kind == Noise::Smooth { flat * own * (x + y) / (2.0 * area) } else { flat })
    }

    /// Mean square of how much the octave changes from sample to sample, `step` texels apart, beyond what it changes from texel to
    /// texel: samples a texel apart are the reference, their edges stay as they are.
    pub fn change(&self, kind: Noise, step: [f64; 2]) -> f64 {
        let slope = match kind {
            Noise::Smooth => GRADIENT_SLOPE,
            // As much of folded noise before it is brought to deviation 1.
            Noise::Billowed | Noise::Ridged => GRADIENT_SLOPE / FOLDED.1,
            Noise::Cellular => CELL_SLOPE,
        };
        let [x, y] = [0, 1].map(|axis| {
            let per_texel = slope * self.amplitude / self.cell[axis];
            per_texel * per_texel * (step[axis] * step[axis] - 1.0)
        });
        x + y
    }

    /// Whether its cells are lower or narrower than a texel.
    pub fn is_finer_than_a_texel(&self) -> bool {
        self.cell.iter().any(|cell| *cell < 1.0)
    }

    /// Whether samples `step` texels apart resolve it.
    pub fn is_resolved(&self, step: [f64; 2]) -> bool {
        self.cell.iter().zip(step).all(|(cell, step)| *cell >= SAMPLES_PER_CELL * step)
    }
}

/// The smallest cell along x and y, in texels, of the octaves that the blurs (variances `[xx, yy, xy]` in
/// texels squared) don't take away.
pub fn finest(bands: &Bands<Texel>, period: f64, blur: [f64; 3]) -> [f64; 2] {
    let mut least = [f64::INFINITY; 2];
    if bands.amount > 0.0 {
        let unseen = UNSEEN / (bands.amount * Edge::new(bands.coverage, bands.contrast, 0.0, 0.0).slope());
        for part in parts(bands, period) {
            if part.amplitude * part.blurred(bands.kind, blur) >= unseen {
                least = [least[0].min(part.cell[0]), least[1].min(part.cell[1])];
            }
        }
    }
    least
}

/// How much finer a grid with steps of `step` texels should be so that the edge doesn't fall between samples: 0.2 to 1.
pub fn sharpness(bands: &Bands<Texel>, period: f64, step: [f64; 2]) -> f64 {
    let change = parts(bands, period)
        .into_iter()
        .filter(|part| part.is_resolved(step))
        .map(|part| part.change(bands.kind, step))
        .sum::<f64>();
    (half_width(bands.contrast) / libm::sqrt(change).max(1e-9)).clamp(SHARPNESS_MIN, 1.0)
}

//! A slow noise over the sheet that is carried along over the loop: what heaves a body's top and tears its ends.

use crate::base::seed;
use crate::steps::moment::Moment;
use crate::steps::slow_noise::{self, SlowNoise};

/// A noise over the sheet.
pub(super) struct TurningNoise {
    /// Its noises, two where it flows, with their weights and the places of the line among their cells.
    parts: Vec<(SlowNoise, f32, f64)>,
    height: f64,
    amplitude: f32,
}

/// What is kept of a noise from row to row: buffers.
#[derive(Default)]
pub(super) struct Kept {
    parts: Vec<slow_noise::Kept>,
    own: Vec<f32>,
}

impl TurningNoise {
    /// Variance of a noise of amplitude 1 over the sheet; measured over 4 million samples.
    pub const VARIANCE: f64 = 0.1845;

    /// Noise with cells of `cell` texels; heights of the way of `moment` are over the line.
    pub fn new(seed: u64, cell: [f64; 2], period: f64, moment: &Moment, amplitude: f64) -> TurningNoise {
        let across = (period / cell[0]).round().max(1.0);
        let seed_of = seed::derive(seed, "own");
        let parts = moment.phases().map(|phase| {
            let offset = seed::uniform(seed) * 64.0 - phase.shift[1] / cell[1];
            let noise = SlowNoise::new(seed_of, across as usize);
            let noise = noise.carried((phase.shift[0] / period + phase.apart) * across);
            (noise, (amplitude * phase.weight) as f32, offset)
        });
        TurningNoise { parts: parts.collect(), height: cell[1], amplitude: amplitude as f32 }
    }

    /// Adds the noise along the row `over` texels over the line.
    #[cfg_attr(feature = "simd", inline(always))]
    pub fn add(&self, over: f64, kept: &mut Kept, sum: &mut [f32]) {
        let all: f32 = self.parts.iter().map(|(_, share, _)| share).sum();
        let Kept { parts, own } = kept;
        parts.resize_with(self.parts.len(), slow_noise::Kept::default);
        own.resize(sum.len(), 0.0);
        for ((noise, share, offset), kept) in self.parts.iter().zip(parts) {
            noise.row(over / self.height + offset, kept, own);
            // What the noises have in common, their mean, isn't to be counted by more than all.
            let common = if all == self.amplitude { 0.0 } else { mean(own) * (self.amplitude / all - 1.0) };
            sum.iter_mut().zip(&*own).for_each(|(sum, own)| *sum += share * (own + common));
        }
    }
}

/// Adds noises along the row `over` texels over the line; what is kept of each is in `kept`.
#[cfg_attr(feature = "simd", inline(always))]
pub(super) fn add_all(noises: &[TurningNoise], over: f64, kept: &mut Vec<Kept>, sum: &mut [f32]) {
    kept.resize_with(noises.len(), Kept::default);
    for (noise, kept) in noises.iter().zip(kept) {
        noise.add(over, kept, sum);
    }
}

fn mean(values: &[f32]) -> f32 {
    (values.iter().copied().map(f64::from).sum::<f64>() / values.len() as f64) as f32
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_variance_is_as_stated() {
        let noise = TurningNoise::new(5, [8.0, 8.0], 8192.0, &Moment::REST, 1.0);
        // At every place within the cells.
        let (mut kept, mut squares, mut count) = (Kept::default(), 0.0_f64, 0.0);
        for row in 0..2048 {
            let mut sum = vec![0.0; 1999];
            noise.add(3.97 * row as f64 + 1.3, &mut kept, &mut sum);
            squares += sum.iter().map(|number| f64::from(number * number)).sum::<f64>();
            count += sum.len() as f64;
        }
        assert!((squares / count - TurningNoise::VARIANCE).abs() < 0.002, "{}", squares / count);
    }
}

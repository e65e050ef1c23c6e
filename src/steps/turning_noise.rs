//! A slow noise over the sheet that goes round with a second one over the loop: what heaves a body's top and tears its ends.

use crate::base::seed;
use crate::steps::periodic_noise::PeriodicNoise2d;

/// A noise over the sheet, and where it lies.
pub(super) struct TurningNoise {
    /// The noise, and the one that it goes round with over the loop.
    noises: [Option<PeriodicNoise2d>; 2],
    turn: [f32; 2],
    height: f64,
    offset: f64,
    amplitude: f32,
}

impl TurningNoise {
    /// Noise with cells of `cell` texels; `rows` are the first and the last place that is sampled, over the line.
    pub fn new(
        seed: u64,
        cell: [f64; 2],
        period: f64,
        rows: [f64; 2],
        time: f64,
        amplitude: f64,
    ) -> TurningNoise {
        let across = (period / cell[0]).round().max(1.0) as usize;
        let offset = seed::uniform(seed) * 64.0;
        let [from, to] = rows.map(|row| row / cell[1] + offset);
        let angle = std::f64::consts::TAU * time;
        let turn = [libm::cos(angle), libm::sin(angle)];
        let noises = [("own", turn[0]), ("turned", turn[1])].map(|(label, share)| {
            (share != 0.0).then(|| PeriodicNoise2d::new(seed::derive(seed, label), across, from, to))
        });
        TurningNoise {
            noises,
            turn: turn.map(|share| share as f32),
            height: cell[1],
            offset,
            amplitude: amplitude as f32,
        }
    }

    /// Bytes that [`TurningNoise::new`] takes for it over `height` texels.
    pub fn bytes(cell: [f64; 2], period: f64, height: f64, time: f64) -> f64 {
        let across = (period / cell[0]).round().max(1.0);
        let turns = if time == 0.0 { 1.0 } else { 2.0 };
        turns * PeriodicNoise2d::bytes(across, height / cell[1])
    }

    /// Adds the noise along the row `over` texels over the line.
    #[inline(always)]
    pub fn add(&self, over: f64, own: &mut [f32], sum: &mut [f32]) {
        for (noise, turn) in self.noises.iter().zip(self.turn) {
            let Some(noise) = noise else { continue };
            noise.row(over / self.height + self.offset, own);
            let share = self.amplitude * turn;
            sum.iter_mut().zip(&*own).for_each(|(sum, own)| *sum += share * own);
        }
    }
}

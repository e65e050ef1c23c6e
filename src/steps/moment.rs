//! Moments of a loop: where its noises have been carried by then, and how much of each there is.
//!
//! Fog flows along a straight way, and a loop has to end where it began. So every noise is there twice, half a period apart: there it shares
//! nothing with itself, and it holds just as much fog. Each is carried along the whole way over the loop, its weight rising from nothing to
//! all and falling again, and starts anew while the other one has all of it. The squares of both weights sum to 1, so that the variance of
//! their sum stays: contrast doesn't pulse. A common way of letting textures flow without end (as in Perlin & Neyret, "Flow noise", 2001,
//! after Max & Becker 1995); the weights are our own.

use std::f64::consts::PI;

/// Of a noise that is carried along, how far its gradients turn over a cycle, in turns: it changes as it goes. Chosen by eye.
pub(super) const TURNS: f64 = 0.3;
/// Weights under this aren't seen.
const WEIGHT_MIN: f64 = 1e-6;

/// A moment of a sheet's loop.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Moment {
    /// Place in the loop, 0 to 1; at 0 and 1 the sheet is at rest.
    pub time: f64,
    /// How far the fog flows over the loop, right and down. One unit of length with all else; not read at rest.
    pub way: [f64; 2],
}

/// One of the two noises at a moment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Phase {
    /// How much of it there is; the squares of all weights sum to 1.
    pub weight: f64,
    /// Where it is in its cycle, -0.5 to 0.5; at 0 it is where it would be at rest.
    pub age: f64,
    /// How far it stands to the right of where it is at rest, in periods.
    pub apart: f64,
    /// How far it has been carried besides, right and down.
    pub shift: [f64; 2],
}

impl Phase {
    /// A noise that stays as it is.
    pub const REST: Phase = Phase { weight: 1.0, age: 0.0, apart: 0.0, shift: [0.0; 2] };
}

impl Moment {
    /// The plain sheet.
    pub const REST: Moment = Moment { time: 0.0, way: [0.0; 2] };

    /// Whether it is the plain sheet.
    pub fn is_rest(&self) -> bool {
        self.time.fract() == 0.0
    }

    /// With heights toward the open side of a line (-1: upward) instead of down.
    pub(super) fn upright(&self, open: f64) -> Moment {
        Moment { way: [self.way[0], self.way[1] * open], ..*self }
    }

    /// The noises that there are, at most two.
    pub(super) fn phases(&self) -> impl Iterator<Item = Phase> {
        let place = self.time.rem_euclid(1.0);
        let (own, other) = (libm::cos(PI * place).abs(), libm::sin(PI * place).abs());
        let ages = [place - place.round(), place - 0.5];
        let way = self.way;
        let all = [(0.0, own), (0.5, other)].into_iter().zip(ages).map(move |((apart, weight), age)| Phase {
            weight,
            age,
            apart,
            shift: way.map(|side| side * age),
        });
        let rest = self.is_rest().then_some(Phase::REST);
        rest.into_iter().chain(all.filter(move |phase| rest.is_none() && phase.weight > WEIGHT_MIN))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn variance_stays_and_every_noise_starts_unseen() {
        for at in 0..=240 {
            let moment = Moment { time: f64::from(at) / 240.0, way: [30.0, -6.0] };
            let all: Vec<Phase> = moment.phases().collect();
            let sum: f64 = all.iter().map(|phase| phase.weight * phase.weight).sum();
            assert!((sum - 1.0).abs() < 1e-9, "{sum}");
            for phase in &all {
                assert!(phase.age.abs() <= 0.5);
                // What starts anew has no weight.
                assert!(phase.weight <= PI * (0.5 - phase.age.abs()) + 1e-9, "{phase:?}");
                assert!((phase.shift[0] - 30.0 * phase.age).abs() < 1e-9);
            }
        }
    }

    #[test]
    fn a_loop_closes() {
        for time in [0.0, 1.0] {
            let all: Vec<_> = Moment { time, way: [9.0, 9.0] }.phases().collect();
            assert_eq!(all, [Phase::REST]);
        }
    }
}

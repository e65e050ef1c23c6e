//! How large drafts are: as large as this machine draws them soon enough.

use crate::tune::hub::locked;
use std::sync::Mutex;
use std::time::Duration;

/// Scales of drafts over that of the largest; chosen by eye.
const SHARES: [f64; 3] = [1.0, 0.8, 0.64];
/// Half of the drafts that take longer: smaller ones then. While one is drawn the next waits, and a browser wants its time, too: twice that, and
/// what the browser takes, is within the 50 ms in which a move ought to be seen.
const LONG: Duration = Duration::from_millis(10);
/// Half of them sooner: larger ones, which take less than `LONG` as well.
const SHORT: Duration = Duration::from_millis(4);
/// By how many drafts that is found.
const COUNT: usize = 15;

/// See the module.
#[derive(Default)]
pub(in crate::tune) struct Pace {
    state: Mutex<State>,
}

#[derive(Default)]
struct State {
    /// Which of the scales drafts have.
    size: usize,
    /// How long the last of that size took, oldest first.
    times: Vec<Duration>,
}

impl Pace {
    /// The scale of drafts over that of the largest.
    pub fn share(&self) -> f64 {
        SHARES[locked(&self.state).size]
    }

    /// A draft was worked out and composed in this time.
    pub fn took(&self, time: Duration) {
        let times = &mut locked(&self.state).times;
        if times.len() == COUNT {
            times.remove(0);
        }
        times.push(time);
    }

    /// The scale that drafts ought to have, over that of the largest, by how long they took.
    pub fn wanted(&self) -> f64 {
        SHARES[locked(&self.state).wanted()]
    }

    /// What drafts of the wanted scale are made of is there: they have it from now on.
    pub fn keep(&self, share: f64) {
        let state = &mut *locked(&self.state);
        if let Some(size) = SHARES.iter().position(|own| *own == share).filter(|size| *size != state.size) {
            *state = State { size, times: Vec::new() };
        }
    }
}

impl State {
    fn wanted(&self) -> usize {
        if self.times.len() < COUNT {
            return self.size;
        }
        let mut times = self.times.clone();
        times.sort();
        let half = times[COUNT / 2];
        if half > LONG {
            (self.size + 1).min(SHARES.len() - 1)
        } else if half < SHORT {
            self.size.saturating_sub(1)
        } else {
            self.size
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn took(pace: &Pace, times: &[u64]) -> f64 {
        times.iter().for_each(|time| pace.took(Duration::from_millis(*time)));
        pace.wanted()
    }

    #[test]
    fn drafts_shrink_where_half_of_them_take_long_and_grow_where_they_are_quick() {
        let pace = Pace::default();
        assert_eq!(took(&pace, &[400; 14]), 1.0, "too few to say");
        assert_eq!(took(&pace, &[3; 8]), 1.0, "half of the last are quick");
        assert_eq!(took(&pace, &[30; 8]), SHARES[1]);
        assert_eq!(pace.share(), 1.0, "not before their pictures are there");
        pace.keep(SHARES[1]);
        assert_eq!(
            (pace.share(), pace.wanted()),
            (SHARES[1], SHARES[1]),
            "times of another size say nothing"
        );
        assert_eq!(took(&pace, &[30; 15]), SHARES[2]);
        pace.keep(SHARES[2]);
        assert_eq!(took(&pace, &[90; 15]), SHARES[2], "there is no smaller one");
        assert_eq!(took(&pace, &[2; 15]), SHARES[1]);
        pace.keep(SHARES[1]);
        assert_eq!(took(&pace, &[6; 15]), SHARES[1]);
    }

    #[test]
    fn a_size_that_is_quick_enough_to_grow_stays_within_its_time_when_larger() {
        for pair in SHARES.windows(2) {
            let larger = SHORT.mul_f64((pair[0] / pair[1]).powi(2));
            assert!(larger < LONG, "{larger:?}");
        }
    }
}

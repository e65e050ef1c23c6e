//! How a picture is stored along one axis, and the tiles along it.

use crate::output::texture::resample::{self, Ends};

/// How a band is stored along one axis, in texels of the picture as drawn.
#[derive(Clone, Copy, Debug)]
pub(super) struct Side {
    /// Where the first stored texel begins.
    pub start: f64,
    /// What a stored texel covers.
    pub step: f64,
    /// Stored texels that aren't drawn, before those that are.
    pub before: u32,
    /// Stored texels that are drawn.
    pub inner: u32,
    /// Stored texels that aren't drawn, after those that are.
    pub after: u32,
}

impl Side {
    /// Of `from` texels from `place` on, of which `to` are stored, fewer than drawn.
    pub fn stretched(place: f64, [from, to]: [u32; 2], ends: Ends) -> Side {
        let (start, length) = resample::reach(from as usize, to as usize, ends);
        let beyond = u32::from(ends == Ends::Beyond);
        let step = length / f64::from(to);
        Side { start: place + start, step, before: beyond, inner: to - 2 * beyond, after: beyond }
    }

    /// Start and length of what is drawn.
    pub fn drawn(&self) -> (f64, f64) {
        (self.start + f64::from(self.before) * self.step, f64::from(self.inner) * self.step)
    }

    /// The tiles along the axis, none over `most` texels: the first that is drawn, how many are, and how many are added before and
    /// after so that a linear filter finds its neighbours.
    pub fn ranges(&self, most: u32, wraps: bool) -> Vec<(i64, i64, i64, i64)> {
        let whole = self.before + self.inner + self.after;
        let parts = if whole <= most { 1 } else { self.inner.div_ceil(most - 2) };
        let edge = |at: u32| (u64::from(self.inner) * u64::from(at) / u64::from(parts)) as i64;
        let range = |at: u32| {
            let before = if at > 0 || (wraps && parts > 1) { 1 } else { self.before };
            let after = if at + 1 < parts || (wraps && parts > 1) { 1 } else { self.after };
            let first = i64::from(self.before) + edge(at);
            (first, edge(at + 1) - edge(at), i64::from(before), i64::from(after))
        };
        (0..parts).map(range).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_drawn_is_the_area() {
        // With texels beyond the ends, what is drawn begins and ends with the area, in tiles without gap or overlap.
        for (most, parts) in [(4096, 1), (20, 3)] {
            let side = Side::stretched(3.0, [100, 52], Ends::Beyond);
            assert_eq!((side.step, side.before, side.inner, side.after), (2.0, 1, 50, 1));
            assert_eq!(side.drawn(), (3.0, 100.0));
            let ranges = side.ranges(most, false);
            assert_eq!(ranges.len(), parts);
            let mut next = 1;
            for (first, count, before, after) in ranges {
                assert_eq!((first, before, after), (next, 1, 1));
                assert!(count + before + after <= i64::from(most));
                next += count;
            }
            assert_eq!(next, 51);
        }
        // Held ends: the first and last stored texels stand in the middle of the first and last that are drawn.
        let side = Side::stretched(0.0, [101, 51], Ends::Inner);
        assert_eq!((side.start + 0.5 * side.step, side.step, side.before), (0.5, 2.0, 0));
        // What wraps has a neighbour at each end only once it is cut.
        let side = Side::stretched(0.0, [100, 50], Ends::Wrap);
        assert_eq!(side.ranges(64, true), [(0, 50, 0, 0)]);
        assert!(side.ranges(30, true).iter().all(|(.., before, after)| (*before, *after) == (1, 1)));
    }
}

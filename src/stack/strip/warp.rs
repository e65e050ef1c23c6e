//! Where the places of a slot lie on the strip, along one side of it.

use crate::base::picture::Picture;
use crate::base::units::Px;
use crate::plan::strip::Mapping;
use rayon::prelude::*;
use std::ops::Range;

/// Columns of what belongs together.
pub(super) struct Group {
    pub columns: Range<usize>,
    /// Whether it is too wide to keep its shape.
    pub wide: bool,
}

/// Where the columns of a picture lie on the strip.
#[derive(Clone)]
pub(super) struct Warp {
    /// Left edge of the first column, and how wide one is.
    left: Px,
    step: Px,
    /// Where the edges of the columns lie, rising.
    to: Vec<f64>,
}

impl Warp {
    /// Of `count` columns of a slot.
    pub fn new(mapping: Mapping, left: Px, step: Px, count: usize) -> Warp {
        let to = (0..=count).map(|at| mapping.to(left + step * at as f64).0).collect();
        Warp { left, step, to }
    }

    /// The same way in all, but columns that are passed are stretched as `plain` says of each.
    pub fn uneven(mut self, mapping: Mapping, plain: &[f64]) -> Warp {
        self.stretch(mapping, 0..plain.len(), plain);
        self
    }

    /// The same for some columns; those around them stay.
    fn stretch(&mut self, mapping: Mapping, columns: Range<usize>, plain: &[f64]) {
        let (first, count) = (columns.start, columns.len());
        let middle = |at: usize| self.left + self.step * (at as f64 + 0.5);
        let weight = |at: usize| if mapping.passes(middle(at)) { plain[at] } else { 0.0 };
        let weights: Vec<f64> = columns.clone().map(weight).collect();
        let more = self.to[columns.end] - self.to[first] - (self.step * count as f64).0;
        let sum: f64 = weights.iter().sum();
        // Nearer than the play plane columns are narrowed, all alike.
        if more <= 0.0 || sum <= 0.0 {
            return;
        }
        let mut place = self.to[first];
        for (to, weight) in self.to[first + 1..].iter_mut().zip(weights) {
            place += self.step.0 + more * weight / sum;
            *to = place;
        }
    }

    /// Of columns that belong together in `groups`, from the left: those of what is narrow keep their shape, where its middle is in mid-view;
    /// those of what is wide are stretched as `plain` says of each; what lies between is stretched evenly. None where groups would meet.
    pub fn grouped(mut self, mapping: Mapping, groups: &[Group], plain: &[f64]) -> Option<Warp> {
        let mut last: Option<usize> = None;
        for Group { columns, wide } in groups {
            if *wide {
                self.stretch(mapping, columns.clone(), plain);
            } else {
                let count = columns.len() as f64;
                let middle = self.left + self.step * (columns.start as f64 + 0.5 * count);
                let first = mapping.to(middle) - self.step * (0.5 * count);
                for at in columns.start..=columns.end {
                    self.to[at] = (first + self.step * (at - columns.start) as f64).0;
                }
            }
            if let Some(last) = last {
                self.bridge(last, columns.start)?;
            }
            last = Some(columns.end);
        }
        Some(self)
    }

    /// Spreads the columns between two edges evenly. None where they would have no width.
    fn bridge(&mut self, from: usize, to: usize) -> Option<()> {
        let (start, end) = (self.to[from], self.to[to]);
        if from == to {
            return (start == end).then_some(());
        }
        let step = (end - start) / (to - from) as f64;
        (from + 1..to).for_each(|at| self.to[at] = start + step * (at - from) as f64);
        (step > 0.0).then_some(())
    }

    /// Where a place of the slot is on the strip; beyond the picture by as much.
    pub fn to(&self, x: Px) -> Px {
        let place = (x - self.left) / self.step;
        let last = self.to.len() - 1;
        let at = (place.max(0.0) as usize).min(last - 1);
        let inside = (place - at as f64).clamp(0.0, 1.0);
        let beyond = place.min(0.0) + (place - last as f64).max(0.0);
        Px(self.to[at] + inside * (self.to[at + 1] - self.to[at])) + self.step * beyond
    }

    /// The slot's place at a place of the strip.
    pub fn from(&self, at: Px) -> Px {
        let last = self.to.len() - 1;
        let after = self.to.partition_point(|to| *to <= at.0).clamp(1, last);
        let (from, to) = (self.to[after - 1], self.to[after]);
        let inside = ((at.0 - from) / (to - from)).clamp(0.0, 1.0);
        let beyond = (at.0 - self.to[0]).min(0.0) + (at.0 - self.to[last]).max(0.0);
        self.left + self.step * ((after - 1) as f64 + inside) + Px(beyond)
    }
}

/// How little stands in each column: 1 where it is as the one beside it, next to 0 about edges. What stands reaches `about` columns.
pub(super) fn plain(picture: &Picture, about: usize) -> Vec<f64> {
    let width = picture.size[0] as usize;
    let row = |texels: &[[u16; 4]]| -> Vec<u64> {
        let apart = |a: &[u16; 4], b: &[u16; 4]| {
            // By what is seen of both.
            let seen = u64::from(a[3].max(b[3]));
            (0..3).map(|at| (u64::from(a[at].abs_diff(b[at])) * seen) >> 16).sum::<u64>()
                + u64::from(a[3].abs_diff(b[3]))
        };
        texels.windows(2).map(|pair| apart(&pair[0], &pair[1])).chain([0]).collect()
    };
    // Whole numbers: their sum is the same in any order.
    let sums = picture
        .texels
        .par_chunks(width)
        .map(row)
        .reduce(|| vec![0; width], |a, b| a.iter().zip(&b).map(|(a, b)| a + b).collect());
    let near: Vec<f64> = (0..width)
        .map(|at| {
            let around = &sums[at.saturating_sub(about)..(at + about + 1).min(width)];
            around.iter().copied().max().unwrap_or_default() as f64
        })
        .collect();
    let mean = near.iter().sum::<f64>() / width as f64;
    let least = |near: &f64| libm::exp(-EDGES * near / mean.max(1.0)).max(LEAST);
    let rough: Vec<f64> = near.iter().map(least).collect();
    // No column much wider than the one beside it.
    (0..width)
        .map(|at| {
            let around = &rough[at.saturating_sub(about)..(at + about + 1).min(width)];
            around.iter().sum::<f64>() / around.len() as f64
        })
        .collect()
}

/// How much an edge as strong as most counts against stretching its column, and the least that a column is stretched by, in proportion. Chosen
/// by eye.
const EDGES: f64 = 2.5;
pub(super) const LEAST: f64 = 0.01;

//! Where a layer is seen in a view: pan rates, periods and rounding, for all that is composed.

use crate::base::placing::Placing;
use crate::base::units::{Camera, Rect, Scale};
use std::ops::{Range, RangeInclusive};

/// A layer's place in a view, in texels of the view. Copies of a picture stand on the nearest whole texel each.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Place {
    /// Left edge, before it is rounded and after; the first in the whole view, whatever part of it is drawn.
    start: f64,
    pub(super) left: i64,
    top: i64,
    /// The column of the whole view that the part begins with.
    origin: i64,
    /// Columns and rows of the layer's texels.
    pub(super) size: [i64; 2],
    /// Distance from one copy to the next along x; 0 where there is one alone.
    period: f64,
    /// Width and height of one of its texels: not always 1, where the scene gives a period of its own or a sheet is coarser.
    pub(super) stretch: [f64; 2],
}

/// Where the middle of a texel of the view stands among those of a layer, whole at their middles.
#[inline(always)]
pub(super) fn middle(at: i64, stretch: f64) -> f64 {
    (at as f64 + 0.5) / stretch - 0.5
}

impl Place {
    /// Of `size` texels that stand at `placing`, in a view of `scale` texels a scene px, at camera place `camera` (scene px).
    pub fn new(placing: &Placing, size: [u32; 2], scale: Scale, camera: Camera) -> Place {
        let Rect { width, height, .. } = placing.rect;
        let start = (placing.left(camera) * scale).0;
        Place {
            start,
            left: start.round() as i64,
            top: (placing.top(camera) * scale).0.round() as i64,
            origin: 0,
            size: size.map(i64::from),
            period: placing.period.map_or(0.0, |period| (period * scale).0),
            stretch: [(width * scale).0 / f64::from(size[0]), (height * scale).0 / f64::from(size[1])],
        }
    }

    /// Of `size` texels whose first is that of the view at `left` and `top`.
    pub fn at([left, top]: [i64; 2], size: [u32; 2]) -> Place {
        let size = size.map(i64::from);
        Place { start: left as f64, left, top, origin: 0, size, period: 0.0, stretch: [1.0; 2] }
    }

    /// The same so many texels farther to the right.
    #[cfg(feature = "tune")]
    pub fn moved(self, by: f64) -> Place {
        let start = self.start + by;
        Place { start, left: start.round() as i64 - self.origin, ..self }
    }

    /// The same in a part of the view that begins with the texel at `left` and `top`, to the same whole texels.
    #[cfg(feature = "tune")]
    pub fn within(self, [left, top]: [i64; 2]) -> Place {
        Place { left: self.left - left, top: self.top - top, origin: self.origin + left, ..self }
    }

    /// The upper edge.
    pub fn top(&self) -> i64 {
        self.top
    }

    /// Left edge of a copy; the first one is 0.
    pub fn left(&self, copy: i64) -> i64 {
        (self.start + copy as f64 * self.period).round() as i64 - self.origin
    }

    /// The copies that reach into the first `width` columns of the view, before they are rounded; from left to right.
    pub fn copies(&self, width: usize) -> RangeInclusive<i64> {
        if self.period <= 0.0 {
            return 0..=0;
        }
        let start = self.start - self.origin as f64;
        let first = ((-(self.size[0] as f64) - start) / self.period).floor() as i64 + 1;
        first..=((width as f64 - start) / self.period).ceil() as i64 - 1
    }

    /// As [`Place::copies`], with the next on either side: points just outside their outlines may be seen.
    pub fn copies_and_next(&self, width: usize) -> RangeInclusive<i64> {
        let copies = self.copies(width);
        if self.period <= 0.0 { copies } else { *copies.start() - 1..=*copies.end() + 1 }
    }

    /// The layer's row in row `y` of the view.
    #[inline(always)]
    pub fn row(&self, y: usize) -> Option<usize> {
        let row = y as i64 - self.top;
        (0..self.size[1]).contains(&row).then_some(row as usize)
    }

    /// Row `row` of the layer's texels.
    #[inline(always)]
    pub fn texels<'a, T>(&self, texels: &'a [T], row: usize) -> &'a [T] {
        let width = self.size[0] as usize;
        &texels[row * width..][..width]
    }

    /// Of a coarser one: the two rows whose middles the middle of row `y` of the view lies between, and how far it is on the way from the
    /// first to the second; the first and the last row reach to the edges.
    #[cfg(feature = "tune")]
    #[inline(always)]
    pub fn rows(&self, y: usize) -> Option<([usize; 2], f32)> {
        let (position, last) = (middle(y as i64 - self.top, self.stretch[1]), self.size[1] - 1);
        let inside = position >= -0.5 && position <= last as f64 + 0.5;
        let low = (position.floor().max(0.0) as i64).min(last);
        let share = (position - low as f64).clamp(0.0, 1.0) as f32;
        inside.then_some(([low as usize, (low + 1).min(last) as usize], share))
    }

    /// Where copies are seen: columns of the view, each run with the layer's column that it begins with.
    #[inline(always)]
    pub fn spans(&self, width: usize) -> impl Iterator<Item = (Range<usize>, usize)> {
        let place = *self;
        place.copies(width).filter_map(move |copy| {
            let left = place.left(copy);
            let (from, to) = (left.max(0), (left + place.size[0]).min(width as i64));
            (from < to).then(|| (from as usize..to as usize, (from - left) as usize))
        })
    }

    /// Whether the texels of one that comes round are as wide as those of the view.
    #[inline(always)]
    pub fn is_even(&self) -> bool {
        (self.stretch[0] - 1.0).abs() * (self.size[0] as f64) < 1e-6
    }

    /// Of one that comes round with its own width: the column in the view's first one, where texels are as wide as the view's.
    #[inline(always)]
    pub fn first(&self) -> usize {
        (-self.left).rem_euclid(self.size[0]) as usize
    }

    /// The column seen in the view's column `x`; of one with a period, which must be its width, the one that `x` lies in.
    #[inline(always)]
    pub fn column(&self, x: usize) -> Option<usize> {
        let away = x as i64 - self.left;
        let column = if self.period <= 0.0 {
            away
        } else if self.is_even() {
            // Most lie in the first one, and a division takes long.
            if (0..self.size[0]).contains(&away) { away } else { away.rem_euclid(self.size[0]) }
        } else {
            (((away as f64 + 0.5) / self.stretch[0]).floor() as i64).rem_euclid(self.size[0])
        };
        (0..self.size[0]).contains(&column).then_some(column as usize)
    }

    /// Of one that comes round: the two columns whose middles the middle of the view's column `x` lies between, and how far it is on
    /// the way from the first to the second.
    #[inline(always)]
    pub fn between(&self, x: usize) -> ([usize; 2], f32) {
        let position = middle(x as i64 - self.left, self.stretch[0]);
        let base = position.floor();
        let first = (base as i64).rem_euclid(self.size[0]) as usize;
        let second = if first + 1 == self.size[0] as usize { 0 } else { first + 1 };
        ([first, second], (position - base) as f32)
    }
}

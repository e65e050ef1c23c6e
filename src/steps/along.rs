//! A factor on the density, along the travel: smooth between points, level beyond them.

use crate::base::interpolate::smoothstep;
use crate::base::key::{Key, KeyPart, KeyWriter};
use crate::steps::field::{Field, FieldSpec, Sampling};
use crate::steps::grid::Grid;

/// Samples of a field between two points, at least: the spline through them then leaves a thousandth of what the factor changes.
const SAMPLES: f64 = 12.0;

/// A factor by place: points of place and factor, in the order of their places.
#[derive(Clone, Debug, PartialEq)]
#[cfg_attr(feature = "scene", derive(serde::Deserialize), serde(transparent))]
pub struct Along(Vec<[f64; 2]>);

impl Along {
    /// Through `points`, whose places rise.
    pub fn new(points: Vec<[f64; 2]>) -> Along {
        Along(points)
    }

    /// The points.
    pub fn points(&self) -> &[[f64; 2]] {
        &self.0
    }

    /// The same factors where `place` puts the places, in the same order.
    pub fn moved(&self, place: impl Fn(f64) -> f64) -> Along {
        Along(self.0.iter().map(|[at, factor]| [place(*at), *factor]).collect())
    }

    /// Whether it isn't the same everywhere.
    pub fn varies(&self) -> bool {
        self.0.windows(2).any(|pair| pair[0][1] != pair[1][1])
    }

    /// The factor at a place. Between two points it never leaves what they say: M. Steffen, A simple method for monotonic interpolation
    /// in one dimension, Astronomy and Astrophysics 239 (1990), 443-450; level at both ends, as it goes on.
    pub fn at(&self, place: f64) -> f64 {
        let next = self.0.partition_point(|point| point[0] <= place);
        let (Some(from), Some(to)) = (next.checked_sub(1).and_then(|at| self.0.get(at)), self.0.get(next))
        else {
            // Before the first, or from the last on.
            let end = if next == 0 { self.0.first() } else { self.0.last() };
            return end.map_or(1.0, |point| point[1]);
        };
        let length = to[0] - from[0];
        let t = (place - from[0]) / length;
        let [a, b] = [self.slope(next - 1) * length, self.slope(next) * length];
        let step = to[1] - from[1];
        from[1] + t * (a + t * (3.0 * step - 2.0 * a - b + t * (a + b - 2.0 * step)))
    }

    /// The slope at a point.
    fn slope(&self, at: usize) -> f64 {
        let Some(points) = at.checked_sub(1).and_then(|before| self.0.get(before..before + 3)) else {
            return 0.0;
        };
        let lengths = [0, 1].map(|side| points[side + 1][0] - points[side][0]);
        let slopes = [0, 1].map(|side| (points[side + 1][1] - points[side][1]) / lengths[side]);
        if slopes[0] * slopes[1] <= 0.0 {
            return 0.0;
        }
        let parabola = (slopes[0] * lengths[1] + slopes[1] * lengths[0]) / (lengths[0] + lengths[1]);
        let most = slopes[0].abs().min(slopes[1].abs()).min(0.5 * parabola.abs());
        2.0 * most.copysign(slopes[0])
    }
}

impl KeyPart for Along {
    fn write(&self, to: &mut KeyWriter) {
        self.0.as_slice().write(to);
    }
}

/// The factors along a sheet or a picture, by column.
#[derive(Clone, Debug, PartialEq)]
pub struct AlongSheet {
    /// The curves that are multiplied; their places are texels from its left edge.
    pub curves: Vec<Along>,
    /// Texels from its left edge that are ever seen; over what is left of the period it leads back to the beginning.
    pub seen: f64,
    /// Texels of a period.
    pub period: f64,
}

impl AlongSheet {
    /// The factor at a place of the period.
    pub fn at(&self, x: f64) -> f64 {
        let of = |x: f64| self.curves.iter().map(|curve| curve.at(x)).product::<f64>();
        if x <= self.seen {
            return of(x);
        }
        let (last, first) = (of(self.seen), of(0.0));
        let share = ((x - self.seen) / (self.period - self.seen)).clamp(0.0, 1.0);
        last + (first - last) * smoothstep(share)
    }

    /// The factors of `count` columns that lie over the period.
    pub fn columns(&self, count: usize) -> Vec<f32> {
        let side = self.period / count as f64;
        (0..count).map(|col| self.at((col as f64 + 0.5) * side) as f32).collect()
    }

    /// Distance between samples that it allows.
    pub fn finest(&self) -> f64 {
        let between = self.curves.iter().flat_map(|curve| curve.0.windows(2));
        let least = between.map(|pair| pair[1][0] - pair[0][0]).fold(f64::INFINITY, f64::min);
        let back = self.period - self.seen;
        least.min(if back > 0.0 { back } else { f64::INFINITY }) / SAMPLES
    }

    /// Key of all that it is made from.
    pub fn key(&self) -> Key {
        let AlongSheet { curves, seen, period } = self;
        KeyWriter::new("along")
            .part("curves", curves.as_slice())
            .part("seen", seen)
            .part("period", period)
            .key()
    }
}

impl FieldSpec {
    /// Key of its field as it is without the factor, on the same grids. None where there is no factor, where the line slopes, or where
    /// something is drawn into it.
    pub fn even_key(&self) -> Option<Key> {
        self.along.as_ref().filter(|_| self.slope.is_none() && self.strokes.is_none())?;
        let even = FieldSpec { along: None, ..self.clone() };
        let mut key = KeyWriter::new("even field").part("field", &even.key());
        let whole = self.own_grid(Sampling::Reduced);
        for Grid { cols, rows, step: [across, down], top } in [whole, self.sampled(Sampling::Reduced)] {
            for number in [cols as f64, rows as f64, across, down, top] {
                key.add("grid", &number);
            }
        }
        Some(key.key())
    }
}

impl Field {
    /// Makes it thicker and thinner along the travel.
    pub fn times_along(&mut self, along: &AlongSheet) {
        let factors = along.columns(self.grid.cols);
        self.density.each_row(
            #[inline(always)]
            |_, numbers| numbers.iter_mut().zip(&factors).for_each(|(number, factor)| *number *= factor),
        );
    }
}

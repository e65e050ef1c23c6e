//! Between a sheet as drawn and a smaller texture of it, for renderers that stretch with a linear filter.
//!
//! A linear filter draws a sum of tents, one for each stored texel. The texture holds the weights of the tents that come
//! nearest to the sheet in the sense of least squares: the normal equations are tridiagonal, cyclic where the sheet repeats.

use crate::steps::upsample::catmull_rom;
use rayon::prelude::*;

/// Four numbers a texel, row by row.
#[derive(Clone, Debug, PartialEq)]
pub struct Image {
    /// Width and height.
    pub size: [usize; 2],
    /// The texels.
    pub data: Vec<[f32; 4]>,
}

impl Image {
    /// One row.
    pub fn row(&self, y: usize) -> &[[f32; 4]] {
        &self.data[y * self.size[0]..(y + 1) * self.size[0]]
    }

    /// Rows become columns.
    pub fn transposed(&self) -> Image {
        let [width, height] = self.size;
        let mut data = vec![[0.0; 4]; self.data.len()];
        data.par_chunks_mut(height).enumerate().for_each(|(x, column)| {
            for (y, texel) in column.iter_mut().enumerate() {
                *texel = self.data[y * width + x];
            }
        });
        Image { size: [height, width], data }
    }

    /// Every `step`th row.
    pub fn every_nth_row(&self, step: usize) -> Image {
        let rows: Vec<usize> = (0..self.size[1]).step_by(step.max(1)).collect();
        let data = rows.iter().flat_map(|&y| self.row(y).iter().copied()).collect();
        Image { size: [self.size[0], rows.len()], data }
    }

    fn each_row(&self, width: usize, work: impl Fn(&[[f32; 4]], &mut [[f32; 4]]) + Sync) -> Image {
        let mut data = vec![[0.0; 4]; width * self.size[1]];
        data.par_chunks_mut(width)
            .zip(self.data.par_chunks(self.size[0]))
            .for_each(|(out, row)| work(row, out));
        Image { size: [width, self.size[1]], data }
    }

    /// The largest of what `look` says of each row as a linear filter draws it; the first error ends it.
    pub fn each_drawn(
        &self,
        axis: &Axis,
        look: impl Fn(usize, &[[f32; 4]]) -> Result<f32, f32> + Sync,
    ) -> Result<f32, f32> {
        let rows = self.data.par_chunks(self.size[0]).enumerate();
        rows.map_init(Vec::new, |drawn, (y, row)| {
            drawn.resize(axis.from, [0.0; 4]);
            axis.draw(row, drawn);
            look(y, drawn)
        })
        .try_reduce(|| 0.0, |a, b| Ok(a.max(b)))
    }

    /// The same of each row stored by `axis` and drawn again.
    pub fn each_again(
        &self,
        axis: &Axis,
        look: impl Fn(usize, &[[f32; 4]]) -> Result<f32, f32> + Sync,
    ) -> Result<f32, f32> {
        let rows = self.data.par_chunks(self.size[0]).enumerate();
        rows.map_init(Default::default, |(stored, drawn): &mut (Vec<_>, Vec<_>), (y, row)| {
            stored.resize(axis.to, [0.0; 4]);
            drawn.resize(axis.from, [0.0; 4]);
            axis.store(row, stored);
            axis.draw(stored, drawn);
            look(y, drawn)
        })
        .try_reduce(|| 0.0, |a, b| Ok(a.max(b)))
    }

    /// Each row stored by `axis`.
    pub fn stored(&self, axis: &Axis) -> Image {
        self.each_row(axis.to, |row, out| axis.store(row, out))
    }

    /// Each row as a linear filter draws it.
    pub fn drawn(&self, axis: &Axis) -> Image {
        self.each_row(axis.from, |row, out| axis.draw(row, out))
    }
}

/// Largest share of its texels at which a line is stored by least squares; nearer to 1 the tents are too alike.
const LEAST_SQUARES: f64 = 0.8;

/// What lies beyond the ends of an axis.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ends {
    /// The other end.
    Wrap,
    /// Nothing: the last texels stand in the middle of the last that are drawn.
    Inner,
    /// A stored texel more on each side, which isn't drawn itself.
    Beyond,
}

/// One axis: `from` texels as drawn, `to` texels as stored.
pub struct Axis {
    /// Texels as drawn.
    pub from: usize,
    /// Texels as stored.
    pub to: usize,
    ends: Ends,
    /// For each drawn texel the two stored ones beside it and the share of the second.
    taps: Vec<(u32, u32, f32)>,
    solver: Option<Solver>,
}

impl Axis {
    /// An axis with these ends, which only matter where fewer texels are stored than drawn: see [`reach`]. `from` and `to` are at
    /// least 1; with ends beyond `to` is `from` or at least 3.
    pub fn new(from: usize, to: usize, ends: Ends) -> Axis {
        let wraps = ends == Ends::Wrap;
        let at = |place: i64| {
            let last = to as i64 - 1;
            (if wraps { place.rem_euclid(to as i64) } else { place.clamp(0, last) }) as u32
        };
        let taps: Vec<(u32, u32, f32)> = (0..from)
            .map(|texel| {
                let (start, length) = reach(from, to, ends);
                let place = (texel as f64 + 0.5 - start) * to as f64 / length - 0.5;
                // The ends may miss whole numbers by a rounding.
                let place = if wraps { place } else { place.clamp(0.0, (to - 1) as f64) };
                let base = place.floor();
                (at(base as i64), at(base as i64 + 1), (place - base) as f32)
            })
            .collect();
        let few = to as f64 <= LEAST_SQUARES * from as f64 && (!wraps || to >= 3);
        let solver = few.then(|| Solver::new(&taps, to, wraps));
        Axis { from, to, ends, taps, solver }
    }

    fn draw(&self, stored: &[[f32; 4]], out: &mut [[f32; 4]]) {
        for (texel, &(a, b, share)) in out.iter_mut().zip(&self.taps) {
            let (a, b) = (stored[a as usize], stored[b as usize]);
            *texel = std::array::from_fn(|i| a[i] + (b[i] - a[i]) * share);
        }
    }

    fn store(&self, line: &[[f32; 4]], out: &mut [[f32; 4]]) {
        match &self.solver {
            Some(solver) => {
                let mut sums = vec![[0.0_f64; 4]; self.to];
                for (texel, &(a, b, share)) in line.iter().zip(&self.taps) {
                    for i in 0..4 {
                        sums[a as usize][i] += f64::from((1.0 - share) * texel[i]);
                        sums[b as usize][i] += f64::from(share * texel[i]);
                    }
                }
                solver.solve(&mut sums);
                for (texel, sum) in out.iter_mut().zip(&sums) {
                    *texel = sum.map(|value| value.clamp(0.0, 1.0) as f32);
                }
            }
            None if self.to == self.from => out.copy_from_slice(line),
            // A cubic through the drawn texels (Catmull & Rom 1974).
            None => {
                for (texel, stored) in out.iter_mut().enumerate() {
                    let (start, length) = reach(self.from, self.to, self.ends);
                    let place = start + (texel as f64 + 0.5) * length / self.to as f64 - 0.5;
                    let base = place.floor();
                    let mut sum = [0.0_f32; 4];
                    for (tap, weight) in catmull_rom(place - base).into_iter().enumerate() {
                        let at = base as i64 + tap as i64 - 1;
                        let last = self.from as i64 - 1;
                        let at = if self.ends == Ends::Wrap {
                            at.rem_euclid(self.from as i64)
                        } else {
                            at.clamp(0, last)
                        };
                        for i in 0..4 {
                            sum[i] += weight * line[at as usize][i];
                        }
                    }
                    *stored = sum.map(|value| value.clamp(0.0, 1.0));
                }
            }
        }
    }
}

/// Start and length of what `to` stored texels cover, in drawn ones, of which there are `from`.
pub fn reach(from: usize, to: usize, ends: Ends) -> (f64, f64) {
    if to >= from {
        return (0.0, from as f64);
    }
    match ends {
        Ends::Inner if to >= 2 => {
            let step = (from - 1) as f64 / (to - 1) as f64;
            (0.5 - 0.5 * step, step * to as f64)
        }
        Ends::Beyond => {
            let step = from as f64 / (to - 2) as f64;
            (-step, step * to as f64)
        }
        Ends::Wrap | Ends::Inner => (0.0, from as f64),
    }
}

/// The normal equations of the tents: symmetric, tridiagonal, cyclic if the line repeats; solved by elimination, the corner by the
/// Sherman-Morrison formula (1950).
struct Solver {
    /// Off the diagonal: between each unknown and the next; the last is the corner.
    next: Vec<f64>,
    /// Of the elimination: the inverse pivots.
    inverse: Vec<f64>,
    /// The correction for the corner, if there is one: the solved vector, its last factor, the divisor.
    corner: Option<(Vec<f64>, f64, f64)>,
}

impl Solver {
    fn new(taps: &[(u32, u32, f32)], to: usize, wraps: bool) -> Solver {
        let (mut diagonal, mut next) = (vec![0.0; to], vec![0.0; to]);
        for &(a, b, share) in taps {
            let (a, b, share) = (a as usize, b as usize, f64::from(share));
            if a == b {
                diagonal[a] += 1.0;
            } else {
                diagonal[a] += (1.0 - share) * (1.0 - share);
                diagonal[b] += share * share;
                next[a] += share * (1.0 - share);
            }
        }
        let corner = if wraps { next[to - 1] } else { 0.0 };
        let pivot = -diagonal[0];
        if corner != 0.0 {
            diagonal[0] -= pivot;
            diagonal[to - 1] -= corner * corner / pivot;
        }
        let mut inverse = vec![0.0; to];
        for at in 0..to {
            let before = if at == 0 { 0.0 } else { next[at - 1] * next[at - 1] * inverse[at - 1] };
            inverse[at] = 1.0 / (diagonal[at] - before);
        }
        let mut solver = Solver { next, inverse, corner: None };
        if corner != 0.0 {
            let mut column = vec![[0.0; 4]; to];
            column[0][0] = pivot;
            column[to - 1][0] = corner;
            solver.eliminate(&mut column);
            let column: Vec<f64> = column.iter().map(|values| values[0]).collect();
            let factor = corner / pivot;
            let divisor = 1.0 + column[0] + factor * column[to - 1];
            solver.corner = Some((column, factor, divisor));
        }
        solver
    }

    fn eliminate(&self, sums: &mut [[f64; 4]]) {
        for at in 1..sums.len() {
            let factor = self.next[at - 1] * self.inverse[at - 1];
            let before = sums[at - 1];
            for (sum, before) in sums[at].iter_mut().zip(before) {
                *sum -= factor * before;
            }
        }
        let mut after = [0.0; 4];
        for at in (0..sums.len()).rev() {
            let next = if at + 1 < sums.len() { self.next[at] } else { 0.0 };
            for (sum, after) in sums[at].iter_mut().zip(after) {
                *sum = (*sum - next * after) * self.inverse[at];
            }
            after = sums[at];
        }
    }

    fn solve(&self, sums: &mut [[f64; 4]]) {
        self.eliminate(sums);
        if let Some((column, factor, divisor)) = &self.corner {
            let (first, last) = (sums[0], sums[sums.len() - 1]);
            let share: [f64; 4] = std::array::from_fn(|i| (first[i] + factor * last[i]) / divisor);
            for (sum, value) in sums.iter_mut().zip(column) {
                for i in 0..4 {
                    sum[i] -= share[i] * value;
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_tents_can_draw_comes_back_exactly() {
        // The least squares of what lies in the span of the tents is that itself.
        use Ends::{Beyond, Inner, Wrap};
        for (from, to, ends) in [
            (100, 17, Wrap),
            (100, 17, Inner),
            (100, 17, Beyond),
            (64, 34, Beyond),
            (64, 3, Wrap),
            (64, 3, Beyond),
            (64, 1, Inner),
            (90, 70, Wrap),
        ] {
            let axis = Axis::new(from, to, ends);
            let stored = Image {
                size: [to, 1],
                data: (0..to).map(|at| [0.1 + 0.8 * ((at * 7 % 5) as f32) / 4.0; 4]).collect(),
            };
            let again = stored.drawn(&axis).stored(&axis);
            for (a, b) in stored.data.iter().zip(&again.data) {
                assert!((a[0] - b[0]).abs() < 1e-4, "{from} {to} {ends:?}: {a:?} {b:?}");
            }
        }
    }

    #[test]
    fn no_nudge_draws_nearer() {
        let axis = Axis::new(120, 20, Ends::Wrap);
        let wave = |at: usize| 0.5 + 0.4 * libm::sin(at as f64 * std::f64::consts::TAU / 60.0) as f32;
        let line = Image { size: [120, 1], data: (0..120).map(|at| [wave(at); 4]).collect() };
        let stored = line.stored(&axis);
        let far = |stored: &Image| -> f64 {
            let drawn = stored.drawn(&axis);
            drawn.data.iter().zip(&line.data).map(|(a, b)| f64::from(a[0] - b[0]).powi(2)).sum()
        };
        let least = far(&stored);
        for at in [0, 7, 19] {
            for by in [-0.01, 0.01] {
                let mut nudged = stored.clone();
                nudged.data[at] = nudged.data[at].map(|value| value + by);
                assert!(far(&nudged) > least);
            }
        }
    }
}

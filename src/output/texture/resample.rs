//! Between a sheet as drawn and a smaller texture of it, for renderers that stretch with a linear filter.
//!
//! A linear filter draws a sum of tents, one for each stored texel. The texture holds the weights of the tents that come
//! nearest to the sheet in the sense of least squares: the normal equations are tridiagonal, cyclic where the sheet repeats.

use crate::output::texture::difference::{Gap, steps};
use crate::steps::upsample::catmull_rom;
use ::wide::f32x4;
use std::ops::Range;

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

/// Numbers that are kept from line to line.
#[derive(Default)]
pub struct Scratch {
    sums: Vec<[f64; 4]>,
    stored: Vec<[f32; 4]>,
    drawn: Vec<[f32; 4]>,
}

/// Drawn texels that lie between the same two stored ones.
struct Run {
    cells: [usize; 2],
    texels: Range<usize>,
}

/// One axis: `from` texels as drawn, `to` texels as stored.
pub struct Axis {
    /// Texels as drawn.
    pub from: usize,
    /// Texels as stored.
    pub to: usize,
    ends: Ends,
    runs: Vec<Run>,
    /// For each drawn texel the share of the second stored one beside it.
    shares: Vec<f32>,
    solver: Option<Solver>,
}

impl Axis {
    /// An axis with these ends, which only matter where fewer texels are stored than drawn: see [`reach`]. `from` and `to` are at
    /// least 1; with ends beyond `to` is `from` or at least 3.
    pub fn new(from: usize, to: usize, ends: Ends) -> Axis {
        let wraps = ends == Ends::Wrap;
        let at = |place: i64| {
            let last = to as i64 - 1;
            (if wraps { place.rem_euclid(to as i64) } else { place.clamp(0, last) }) as usize
        };
        let (mut runs, mut shares): (Vec<Run>, Vec<f32>) = (Vec::new(), Vec::with_capacity(from));
        let (start, length) = reach(from, to, ends);
        for texel in 0..from {
            let place = (texel as f64 + 0.5 - start) * to as f64 / length - 0.5;
            // The ends may miss whole numbers by a rounding.
            let place = if wraps { place } else { place.clamp(0.0, (to - 1) as f64) };
            let base = place.floor();
            let cells = [at(base as i64), at(base as i64 + 1)];
            shares.push((place - base) as f32);
            match runs.last_mut() {
                Some(run) if run.cells == cells => run.texels.end = texel + 1,
                _ => runs.push(Run { cells, texels: texel..texel + 1 }),
            }
        }
        let few = to as f64 <= LEAST_SQUARES * from as f64 && (!wraps || to >= 3);
        let solver = few.then(|| Solver::new(&runs, &shares, to, wraps));
        Axis { from, to, ends, runs, shares, solver }
    }

    /// A line as a linear filter draws it.
    #[inline(always)]
    pub fn draw(&self, stored: &[[f32; 4]], out: &mut [[f32; 4]]) {
        for Run { cells, texels } in &self.runs {
            let [a, b] = cells.map(|cell| f32x4::from(stored[cell]));
            let gap = b - a;
            let shares = &self.shares[texels.clone()];
            for (texel, share) in out[texels.clone()].iter_mut().zip(shares) {
                *texel = (a + gap * f32x4::splat(*share)).to_array();
            }
        }
    }

    /// The row `y` of columns as a linear filter draws them, which are stored as `stored`: rows of `out.len()` texels.
    #[inline(always)]
    pub(super) fn draw_row(&self, stored: &[[f32; 4]], y: usize, out: &mut [[f32; 4]]) {
        let width = out.len();
        let run = &self.runs[self.runs.partition_point(|run| run.texels.end <= y)];
        let [above, below] = run.cells.map(|cell| &stored[cell * width..(cell + 1) * width]);
        let share = f32x4::splat(self.shares[y]);
        for (texel, (a, b)) in out.iter_mut().zip(above.iter().zip(below)) {
            let [a, b] = [a, b].map(|texel| f32x4::from(*texel));
            *texel = (a + (b - a) * share).to_array();
        }
    }

    /// How far `line` is from what is drawn of `stored`; if that is over `most`, how far at the first place where it is.
    #[inline(always)]
    pub(super) fn farthest(&self, stored: &[[f32; 4]], line: &[[f32; 4]], gap: &impl Gap, most: f32) -> f32 {
        let (mut farthest, mut looked) = (f32x4::splat(0.0), 0);
        for Run { cells, texels } in &self.runs {
            let [a, b] = cells.map(|cell| f32x4::from(stored[cell]));
            let across = b - a;
            let shares = &self.shares[texels.clone()];
            for (texel, share) in line[texels.clone()].iter().zip(shares) {
                let drawn = a + across * f32x4::splat(*share);
                farthest = farthest.fast_max(gap(drawn, f32x4::from(*texel)));
            }
            if texels.end >= looked + STRETCH {
                if steps(farthest) > most {
                    break;
                }
                looked = texels.end;
            }
        }
        steps(farthest)
    }

    /// The same of `line` stored by this axis.
    #[inline(always)]
    pub(super) fn astray(&self, line: &[[f32; 4]], scratch: &mut Scratch, gap: &impl Gap, most: f32) -> f32 {
        let mut stored = std::mem::take(&mut scratch.stored);
        stored.resize(self.to, [0.0; 4]);
        self.store(line, scratch, &mut stored);
        let far = self.farthest(&stored, line, gap, most);
        scratch.stored = stored;
        far
    }

    /// A line stored by this axis, as a linear filter draws it.
    #[inline(always)]
    pub(super) fn again<'s>(&self, line: &[[f32; 4]], scratch: &'s mut Scratch) -> &'s [[f32; 4]] {
        let mut stored = std::mem::take(&mut scratch.stored);
        stored.resize(self.to, [0.0; 4]);
        self.store(line, scratch, &mut stored);
        scratch.drawn.resize(self.from, [0.0; 4]);
        self.draw(&stored, &mut scratch.drawn);
        scratch.stored = stored;
        &scratch.drawn
    }

    /// Stores a line.
    #[inline(always)]
    pub fn store(&self, line: &[[f32; 4]], scratch: &mut Scratch, out: &mut [[f32; 4]]) {
        match &self.solver {
            Some(solver) => {
                let sums = &mut scratch.sums;
                sums.clear();
                sums.resize(self.to, [0.0; 4]);
                self.sum(line, sums);
                solver.solve(sums);
                for (texel, sum) in out.iter_mut().zip(sums) {
                    *texel = sum.map(|value| value.clamp(0.0, 1.0) as f32);
                }
            }
            None if self.to == self.from => out.copy_from_slice(line),
            None => self.interpolate(line, out),
        }
    }

    /// Whether columns can be stored side by side: [`Axis::store_columns`].
    pub(super) fn is_solved(&self) -> bool {
        self.solver.as_ref().is_some_and(|solver| solver.corner.is_none())
    }

    /// Stores columns, whose rows `rows` hands out, all of one width.
    #[inline(always)]
    pub(super) fn store_columns<'a>(
        &self,
        width: usize,
        row: impl Fn(usize) -> &'a [[f32; 4]],
    ) -> Vec<[f32; 4]> {
        let mut sums = vec![[0.0_f64; 4]; self.to * width];
        for Run { cells, texels } in &self.runs {
            for y in texels.clone() {
                let share = self.shares[y];
                for (cell, weight) in cells.iter().zip([1.0 - share, share]) {
                    let sums = &mut sums[cell * width..(cell + 1) * width];
                    for (sum, texel) in sums.iter_mut().zip(row(y)) {
                        for at in 0..4 {
                            sum[at] += f64::from(weight * texel[at]);
                        }
                    }
                }
            }
        }
        if let Some(solver) = &self.solver {
            solver.eliminate_rows(&mut sums, width);
        }
        sums.into_iter().map(|sum| sum.map(|value| value.clamp(0.0, 1.0) as f32)).collect()
    }

    /// What each stored texel has of the drawn ones: the right side of the normal equations.
    #[inline(always)]
    fn sum(&self, line: &[[f32; 4]], sums: &mut [[f64; 4]]) {
        for Run { cells: [a, b], texels } in &self.runs {
            let (mut first, mut second) = (sums[*a], sums[*b]);
            let shares = &self.shares[texels.clone()];
            for (texel, share) in line[texels.clone()].iter().zip(shares) {
                for at in 0..4 {
                    first[at] += f64::from((1.0 - share) * texel[at]);
                }
                if a == b {
                    second = first;
                }
                for at in 0..4 {
                    second[at] += f64::from(share * texel[at]);
                }
                if a == b {
                    first = second;
                }
            }
            (sums[*a], sums[*b]) = (first, second);
        }
    }

    /// A cubic through the drawn texels (Catmull & Rom 1974).
    fn interpolate(&self, line: &[[f32; 4]], out: &mut [[f32; 4]]) {
        let (start, length) = reach(self.from, self.to, self.ends);
        for (texel, stored) in out.iter_mut().enumerate() {
            let place = start + (texel as f64 + 0.5) * length / self.to as f64 - 0.5;
            let base = place.floor();
            let mut sum = [0.0_f32; 4];
            for (tap, weight) in catmull_rom(place - base).into_iter().enumerate() {
                let at = base as i64 + tap as i64 - 1;
                let last = self.from as i64 - 1;
                let at =
                    if self.ends == Ends::Wrap { at.rem_euclid(self.from as i64) } else { at.clamp(0, last) };
                for i in 0..4 {
                    sum[i] += weight * line[at as usize][i];
                }
            }
            *stored = sum.map(|value| value.clamp(0.0, 1.0));
        }
    }
}

/// Texels of a line after which it is looked whether that is far enough.
const STRETCH: usize = 64;

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
    fn new(runs: &[Run], shares: &[f32], to: usize, wraps: bool) -> Solver {
        let (mut diagonal, mut next) = (vec![0.0; to], vec![0.0; to]);
        for Run { cells: [a, b], texels } in runs {
            for share in &shares[texels.clone()] {
                let share = f64::from(*share);
                if a == b {
                    diagonal[*a] += 1.0;
                } else {
                    diagonal[*a] += (1.0 - share) * (1.0 - share);
                    diagonal[*b] += share * share;
                    next[*a] += share * (1.0 - share);
                }
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

    #[inline(always)]
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

    /// The same of lines that lie side by side, `width` of them.
    #[inline(always)]
    fn eliminate_rows(&self, sums: &mut [[f64; 4]], width: usize) {
        let rows = self.inverse.len();
        for at in 1..rows {
            let factor = self.next[at - 1] * self.inverse[at - 1];
            let (before, own) = sums[(at - 1) * width..(at + 1) * width].split_at_mut(width);
            for (sum, before) in own.as_flattened_mut().iter_mut().zip(before.as_flattened()) {
                *sum -= factor * before;
            }
        }
        for at in (0..rows).rev() {
            let (own, after) = sums[at * width..].split_at_mut(width);
            if at + 1 < rows {
                let next = self.next[at];
                for (sum, after) in own.as_flattened_mut().iter_mut().zip(after.as_flattened()) {
                    *sum = (*sum - next * after) * self.inverse[at];
                }
            } else {
                own.as_flattened_mut().iter_mut().for_each(|sum| *sum *= self.inverse[at]);
            }
        }
    }

    #[inline(always)]
    fn solve(&self, sums: &mut [[f64; 4]]) {
        self.eliminate(sums);
        if let Some((column, factor, divisor)) = &self.corner {
            let (first, last) = (sums[0], sums[sums.len() - 1]);
            let share: [f64; 4] = std::array::from_fn(|i| (first[i] + factor * last[i]) / divisor);
            for (sum, value) in sums.iter_mut().zip(column) {
                for at in 0..4 {
                    sum[at] -= share[at] * value;
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::output::texture::image::Image;

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
            let again = stored.view().drawn(&axis).view().stored(&axis);
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
        let stored = line.view().stored(&axis);
        let far = |stored: &Image| -> f64 {
            let drawn = stored.view().drawn(&axis);
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

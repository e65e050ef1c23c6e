//! Rows of a coarser sheet brought to the columns of the view: linear between its columns, in codes of 16 bits.

use super::draft::part;
use super::place::middle;
use super::{Place, code};

/// Most doublings: 4 columns of the view to one of the sheet.
const DOUBLINGS: usize = 2;

/// Which columns of a sheet are seen in a view, and how they are brought to its columns.
pub(super) struct Columns {
    /// The first column, and how many are seen from it on, wrapping.
    pub first: usize,
    pub count: usize,
    /// Where 2 or 4 columns of the view stand for one of the sheet: the rows on the way from the one to the other, from the view on, each
    /// by its left and its length; each is the next at twice the length.
    doublings: [(i64, usize); DOUBLINGS],
    doubled: usize,
    /// Left of the sheet in the view, that of the first column in the sheet, and columns of the view to one of the sheet.
    left: i64,
    start: f64,
    stretch: f64,
}

impl Columns {
    pub fn new(place: &Place, width: usize) -> Columns {
        let (cols, stretch) = (place.size[0] as f64, place.stretch[0]);
        // But for what rounding takes of a whole period: as good as exactly 2 or 4, which is quickest.
        let times = [2.0_f64, 4.0].iter().position(|times| (stretch - times).abs() * cols < *times);
        let doubled = times.map_or(0, |at| at + 1);
        let (mut left, mut count) = (place.left, width);
        let mut doublings = [(0, 0); DOUBLINGS];
        for doubling in &mut doublings[..doubled] {
            *doubling = (left, count);
            let first = middle(-left, 2.0).floor();
            count = (middle(count as i64 - 1 - left, 2.0) - first) as usize + 3;
            left = -(first as i64);
        }
        let mut start = -left as f64;
        if doubled == 0 {
            start = middle(-left, stretch).floor();
            count = (middle(width as i64 - 1 - left, stretch) - start) as usize + 3;
        }
        let first = start.rem_euclid(cols) as usize;
        Columns { first, count, doublings, doubled, left: place.left, start, stretch }
    }

    /// Brings a row of the columns that are seen to those of the view, `width` of them; `spare` is overwritten.
    #[inline(always)]
    pub fn upsample(&self, row: &mut Vec<u16>, spare: &mut Vec<u16>, width: usize) {
        for (left, width) in self.doublings[..self.doubled].iter().rev() {
            spare.resize(*width, 0);
            double(row, left.rem_euclid(2) == 0, spare);
            std::mem::swap(row, spare);
        }
        if self.doubled == 0 {
            spare.resize(width, 0);
            for (x, out) in spare.iter_mut().enumerate() {
                let position = middle(x as i64 - self.left, self.stretch) - self.start;
                let (at, share) = (position as usize, code((position - position.floor()) as f32));
                *out = part(row[at], u16::MAX - share) + part(row[at + 1], share);
            }
            std::mem::swap(row, spare);
        }
    }
}

/// Writes two columns between each two of `row`; `lone`: the first of the two is left of the view.
#[inline(always)]
fn double(row: &[u16], lone: bool, out: &mut [u16]) {
    let (head, body) = out.split_at_mut(usize::from(lone).min(out.len()));
    if let [out] = head {
        *out = near(row[1], row[0]);
    }
    let row = &row[head.len()..];
    let (pairs, rest) = body.as_chunks_mut::<2>();
    for (out, (a, b)) in pairs.iter_mut().zip(row.iter().zip(&row[1..])) {
        *out = [near(*a, *b), near(*b, *a)];
    }
    if let [out] = rest {
        *out = near(row[pairs.len()], row[pairs.len() + 1]);
    }
}

/// A quarter of the way from `a` to `b`.
#[inline(always)]
fn near(a: u16, b: u16) -> u16 {
    mean(a, mean(a, b))
}

#[inline(always)]
fn mean(a: u16, b: u16) -> u16 {
    ((u32::from(a) + u32::from(b) + 1) >> 1) as u16
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_row_of_twice_the_length_runs_straight_between_its_columns() {
        let ramp: Vec<u16> = (0..40).map(|at| at * 400).collect();
        for (lone, first) in [(true, 300.0), (false, 100.0)] {
            for length in [1, 2, 7, 64] {
                let mut out = vec![0; length];
                double(&ramp, lone, &mut out);
                for (at, found) in out.iter().enumerate() {
                    let exact = first + 200.0 * at as f64;
                    assert!((f64::from(*found) - exact).abs() <= 1.0, "{lone} {at}: {found}, {exact}");
                }
            }
        }
    }
}

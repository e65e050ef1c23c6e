//! Where the layers of a draft stand, and how they are drawn there.

use crate::base::placing::Placing;
use crate::base::units::{Camera, Scale};
use crate::stack::still;
use crate::tune::board::layer::{Four, LIGHT, Pieced, Poured, between, of, over, sixteen};

/// Where a draft is looked at from.
pub(super) struct View {
    pub(super) scale: Scale,
    pub(super) camera: Camera,
    pub(super) width: usize,
    pub(super) linear: bool,
}

/// What is seen of a sheet.
pub(super) struct Seen {
    /// Texels of the view to one of the sheet.
    stretch: [f64; 2],
    /// Left and top in the view.
    corner: [i64; 2],
    /// Where 2 or 4 texels of the view stand for one of the sheet: the rows on the way from the one to the other, from the view on, each
    /// by its left and its length; each is the next drawn twice as long.
    twice: Vec<(i64, usize)>,
    /// The column that the view begins in, in the sheet's texels from `corner` on and as a column of the sheet, and how many are seen.
    first: f64,
    pub(super) start: usize,
    pub(super) count: usize,
}

/// Where the middle of a texel of the view stands among those of a sheet, whole at their middles.
fn place(at: i64, stretch: f64) -> f64 {
    (at as f64 + 0.5) / stretch - 0.5
}

impl View {
    pub(super) fn seen(&self, placing: &Placing, [cols, rows]: [u32; 2]) -> Seen {
        let [cols, rows] = [cols, rows].map(f64::from);
        let stretch =
            [(placing.rect.width * self.scale).0 / cols, (placing.rect.height * self.scale).0 / rows];
        let corner = still::corner(placing, self.scale, self.camera);
        // But for what rounding takes of a whole period: as good as exactly 2 or 4, which is quickest.
        let times = [2.0_f64, 4.0].iter().position(|times| (stretch[0] - times).abs() * cols < *times);
        let (mut left, mut width, mut twice) = (corner[0], self.width, Vec::new());
        for _ in 0..times.map_or(0, |at| at + 1) {
            twice.push((left, width));
            let first = place(-left, 2.0).floor();
            width = (place(width as i64 - 1 - left, 2.0) - first) as usize + 3;
            left = -(first as i64);
        }
        let (first, count) = if twice.is_empty() {
            let first = place(-left, stretch[0]).floor();
            (first, (place(width as i64 - 1 - left, stretch[0]) - first) as usize + 3)
        } else {
            (-left as f64, width)
        };
        Seen { stretch, corner, twice, first, start: first.rem_euclid(cols) as usize, count }
    }

    /// A strip of rows from `y` on, of a sheet; linear between its texels. `seen` is its own.
    #[inline(always)]
    pub(super) fn fog(
        &self,
        seen: &Seen,
        poured: &Poured,
        y: usize,
        [mixed, full]: &mut [Four; 2],
        out: &mut [&mut [u16]; 3],
    ) {
        let width = self.width;
        let Some(start) = poured.holds([seen.start, seen.count]) else { return };
        let (rows, cols) = (poured.empty.len(), poured.count);
        for at in 0..out[0].len() / width {
            let place = place((y + at) as i64 - seen.corner[1], seen.stretch[1]);
            if place < -0.5 || place > rows as f64 - 0.5 {
                continue;
            }
            let low = (place.floor().max(0.0) as usize).min(rows - 1);
            let high = (low + 1).min(rows - 1);
            if poured.empty[low] && poured.empty[high] {
                continue;
            }
            let share = sixteen((place - low as f64) as f32);
            for (plane, (mixed, full)) in poured.planes.iter().zip(mixed.iter_mut().zip(full.iter_mut())) {
                let (low, high) = (&plane[low * cols..][..cols], &plane[high * cols..][..cols]);
                mixed.resize(seen.count, 0);
                let (mut from, mut rest) = (start, &mut mixed[..]);
                while !rest.is_empty() {
                    let (part, after) = rest.split_at_mut(rest.len().min(cols - from));
                    for (mixed, (low, high)) in part.iter_mut().zip(low[from..].iter().zip(&high[from..])) {
                        *mixed = of(*low, u16::MAX - share) + of(*high, share);
                    }
                    (from, rest) = (0, after);
                }
                for (left, width) in seen.twice.iter().rev() {
                    full.resize(*width, 0);
                    twice(mixed, left.rem_euclid(2) == 0, full);
                    std::mem::swap(mixed, full);
                }
                if seen.twice.is_empty() {
                    full.resize(width, 0);
                    for (x, full) in full.iter_mut().enumerate() {
                        let place = self::place(x as i64 - seen.corner[0], seen.stretch[0]) - seen.first;
                        let (at, share) = (place as usize, sixteen((place - place.floor()) as f32));
                        *full = of(mixed[at], u16::MAX - share) + of(mixed[at + 1], share);
                    }
                    std::mem::swap(mixed, full);
                }
            }
            let [red, green, blue, alpha] = &*mixed;
            for (out, colour) in out.iter_mut().zip([red, green, blue]) {
                let out = &mut out[at * width..][..width];
                for (out, (colour, alpha)) in out.iter_mut().zip(colour.iter().zip(alpha)) {
                    over(out, *colour, *alpha);
                }
            }
        }
    }

    /// A strip of rows from `y` on, of a picture.
    #[inline(always)]
    pub(super) fn picture(&self, placing: &Placing, pieced: &Pieced, y: usize, out: &mut [&mut [u16]; 3]) {
        let width = self.width;
        let picture = &*pieced.picture;
        let (wide, high) = (picture.size[0] as usize, i64::from(picture.size[1]));
        let top = still::corner(placing, self.scale, self.camera)[1];
        for at in 0..out[0].len() / width {
            let row = (y + at) as i64 - top;
            if row < 0 || row >= high {
                continue;
            }
            let row = row as usize;
            let texels = &picture.texels[row * wide..][..wide];
            for (to, from) in still::parts(placing, self.scale, self.camera, wide, width) {
                let (mut from, end) = (from, from + to.len());
                let mut to = at * width + to.start;
                while from < end {
                    let (filled, next) = pieced.filled(row, from);
                    let count = next.min(end) - from;
                    if filled {
                        let [red, green, blue] = out;
                        let range = to..to + count;
                        let out = [&mut red[range.clone()], &mut green[range.clone()], &mut blue[range]];
                        self.piece(&texels[from..from + count], out);
                    }
                    (from, to) = (from + count, to + count);
                }
            }
        }
    }

    #[inline(always)]
    fn piece(&self, texels: &[[u16; 4]], out: [&mut [u16]; 3]) {
        for (at, out) in out.into_iter().enumerate() {
            if self.linear {
                for (out, texel) in out.iter_mut().zip(texels) {
                    over(out, of(LIGHT[0][texel[at] as usize], texel[3]), texel[3]);
                }
            } else {
                for (out, texel) in out.iter_mut().zip(texels) {
                    over(out, of(texel[at], texel[3]), texel[3]);
                }
            }
        }
    }
}

/// Writes two texels between each two of `mixed`; `lone`: the first of the two is left of the view.
#[inline(always)]
fn twice(mixed: &[u16], lone: bool, out: &mut [u16]) {
    let near = |a: u16, b: u16| between(a, between(a, b));
    let (head, body) = out.split_at_mut(usize::from(lone).min(out.len()));
    if let [out] = head {
        *out = near(mixed[1], mixed[0]);
    }
    let mixed = &mixed[head.len()..];
    let (pairs, rest) = body.as_chunks_mut::<2>();
    for (out, (a, b)) in pairs.iter_mut().zip(mixed.iter().zip(&mixed[1..])) {
        *out = [near(*a, *b), near(*b, *a)];
    }
    if let [out] = rest {
        *out = near(mixed[pairs.len()], mixed[pairs.len() + 1]);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_row_twice_as_long_runs_straight_between_its_texels() {
        let ramp: Vec<u16> = (0..40).map(|at| at * 400).collect();
        for (lone, first) in [(true, 300.0), (false, 100.0)] {
            for length in [1, 2, 7, 64] {
                let mut out = vec![0; length];
                twice(&ramp, lone, &mut out);
                for (at, found) in out.iter().enumerate() {
                    let exact = first + 200.0 * at as f64;
                    assert!((f64::from(*found) - exact).abs() <= 1.0, "{lone} {at}: {found}, {exact}");
                }
            }
        }
    }
}

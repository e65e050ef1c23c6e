//! What lies at a place of a draft, and the outline of a slot's picture in it.

use crate::base::bitmap::Unpacked;
use crate::base::units::Camera;
use crate::stack::compositor::Place;
use crate::tune::draw::layers::Draft;
use crate::tune::view::View;

/// Least opacity of a texel that is clicked on, of 65535.
const OPAQUE: u16 = 1 << 15;
/// How far from a picture its outline runs, texels of a draft: gaps that are narrower close. Chosen by eye.
const REACH: usize = 3;
/// Most texels of an outline's row, and most of them for one of the draft: what is shown larger than it is drawn still has a thin one.
const FINE: [usize; 2] = [1280, 8];

/// The slots whose pictures are opaque at a place of the view (shares of its width and height), the nearest first.
pub(super) fn slots_at(draft: &Draft, camera: Camera, at: [f64; 2]) -> Vec<String> {
    let camera = camera.within(draft.plan.travel);
    let [width, height] = draft.plan.texels.map(|side| side as usize);
    let place = |share: f64, side: usize| ((share * side as f64).max(0.0) as usize).min(side - 1);
    let (x, y) = (place(at[0], width), place(at[1], height));
    let mut slots = Vec::new();
    for (placing, picture) in draft.arts().rev() {
        let place = Place::new(placing, picture.size, draft.plan.scale, camera);
        let Some(row) = place.row(y) else { continue };
        let mut unpacked = Unpacked::default();
        let texels = picture.row(row, &mut unpacked);
        let hit = |(to, first): (std::ops::Range<usize>, usize)| {
            to.contains(&x) && texels[first + x - to.start][3] >= OPAQUE
        };
        if place.spans(width).any(hit) && !slots.contains(&placing.slot) {
            slots.push(placing.slot.clone());
        }
    }
    slots
}

/// A soft line around the picture of the chosen slot: its opacity, in texels of the draft, over the view or its part; none where it has no picture.
pub(super) fn outline(draft: &Draft, view: &View) -> Option<(Vec<u8>, [u32; 2])> {
    let (placing, picture) = draft.arts().find(|(placing, _)| Some(&placing.slot) == view.chosen.as_ref())?;
    let camera = view.camera.within(draft.plan.travel);
    let texels = |px: u32| (f64::from(px) * draft.plan.scale.0).round() as i64;
    let [left, top, width, height] = match view.part {
        Some(part) => part.map(texels),
        None => [0, 0, i64::from(draft.plan.texels[0]), i64::from(draft.plan.texels[1])],
    };
    let size = [width.max(1) as usize, height.max(1) as usize];
    let place = Place::new(placing, picture.size, draft.plan.scale, camera).within([left, top]);
    let mut covered = vec![0_u8; size[0] * size[1]];
    let mut unpacked = Unpacked::default();
    for (y, row) in covered.chunks_mut(size[0]).enumerate() {
        let Some(from) = place.row(y) else { continue };
        let texels = picture.row(from, &mut unpacked);
        for (to, first) in place.spans(size[0]) {
            let count = to.len();
            for (out, texel) in row[to].iter_mut().zip(&texels[first..first + count]) {
                *out |= u8::from(texel[3] >= OPAQUE);
            }
        }
    }
    let (covered, size) = finer(covered, size);
    let near = spread(&covered, size, REACH);
    let mut soft: Vec<u8> = near.iter().map(|inside| inside * 255).collect();
    for _ in 0..2 {
        soft = blurred(&soft, size);
    }
    // Most where it is half covered.
    let ring = |soft: &u8| 255 - (2 * i32::from(*soft) - 255).unsigned_abs() as u8;
    Some((soft.iter().map(ring).collect(), size.map(|side| side as u32)))
}

/// The same at several texels for one, as far as there is room; between texels the edge is straight.
fn finer(covered: Vec<u8>, size: [usize; 2]) -> (Vec<u8>, [usize; 2]) {
    let times = (FINE[0] / size[0]).min(FINE[1]);
    if times < 2 {
        return (covered, size);
    }
    let fine = size.map(|side| side * times);
    // The two texels that a place lies between, and how far it is on the way from the first to the second, in units of 2 `times`.
    let between = |at: usize, side: usize| {
        let place = (2 * at + 1) as isize - times as isize;
        let (low, part) = (place.div_euclid(2 * times as isize), place.rem_euclid(2 * times as isize));
        let inside = |at: isize| at.clamp(0, side as isize - 1) as usize;
        (inside(low), inside(low + 1), part as usize)
    };
    let whole = 2 * times;
    let columns: Vec<_> = (0..fine[0]).map(|x| between(x, size[0])).collect();
    let mut out = Vec::with_capacity(fine[0] * fine[1]);
    for y in 0..fine[1] {
        let (above, below, down) = between(y, size[1]);
        let [above, below] = [above, below].map(|row| &covered[row * size[0]..][..size[0]]);
        out.extend(columns.iter().map(|(left, right, across)| {
            let mix =
                |row: &[u8]| usize::from(row[*left]) * (whole - across) + usize::from(row[*right]) * across;
            let sum = mix(above) * (whole - down) + mix(below) * down;
            u8::from(2 * sum >= whole * whole)
        }));
    }
    (out, fine)
}

/// What is within `reach` texels of a covered one, along x and along y.
fn spread(covered: &[u8], [width, height]: [usize; 2], reach: usize) -> Vec<u8> {
    let mut wide = covered.to_vec();
    for (out, row) in wide.chunks_mut(width).zip(covered.chunks(width)) {
        for away in 1..=reach.min(width - 1) {
            for (at, value) in row[away..].iter().enumerate() {
                out[at] |= value;
            }
            for (at, value) in row[..width - away].iter().enumerate() {
                out[at + away] |= value;
            }
        }
    }
    let mut all = wide.clone();
    for away in 1..=reach.min(height - 1) {
        let offset = away * width;
        for (at, value) in wide[offset..].iter().enumerate() {
            all[at] |= value;
        }
        for (at, value) in wide[..wide.len() - offset].iter().enumerate() {
            all[at + offset] |= value;
        }
    }
    all
}

/// Binomial weights of three along x and along y; edges go on.
fn blurred(plane: &[u8], [width, height]: [usize; 2]) -> Vec<u8> {
    let mix = |a: u8, b: u8, c: u8| ((u16::from(a) + 2 * u16::from(b) + u16::from(c) + 2) / 4) as u8;
    let mut wide = Vec::with_capacity(plane.len());
    for row in plane.chunks(width) {
        wide.extend((0..width).map(|x| mix(row[x.saturating_sub(1)], row[x], row[(x + 1).min(width - 1)])));
    }
    let mut all = Vec::with_capacity(plane.len());
    for y in 0..height {
        let row = |y: usize| &wide[y * width..][..width];
        let (above, here, below) = (row(y.saturating_sub(1)), row(y), row((y + 1).min(height - 1)));
        all.extend((0..width).map(|x| mix(above[x], here[x], below[x])));
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_finer_outline_covers_what_it_covered() {
        // Half of a plane, and a single texel.
        let (fine, size) = finer(vec![0, 0, 1, 1, 0, 0, 1, 1], [4, 2]);
        assert_eq!(size, [32, 16]);
        for row in fine.chunks(32) {
            assert_eq!(row.iter().position(|covered| *covered == 1), Some(16));
            assert!(row[16..].iter().all(|covered| *covered == 1));
        }
        let (dot, _) = finer(vec![0, 0, 0, 0, 1, 0, 0, 0, 0], [3, 3]);
        let count = dot.iter().filter(|covered| **covered == 1).count();
        // Where the product of two tents is half or more.
        assert!((30..64).contains(&count) && dot[12 * 24 + 12] == 1, "{count}");
        assert_eq!(finer(vec![1; 641], [641, 1]), (vec![1; 641], [641, 1]));
    }
}

//! What of a draft is another than in the draft before: while somebody draws, that is a small part, and all else needn't be sent again.

use super::layers::Draft;
use super::merged::{Drawing, Merged};
use crate::base::placing::Placing;
use crate::plan::Job;
use crate::stack::Made;
use crate::steps::coefficients::Coefficients;
use crate::steps::dither;
use crate::steps::field::{FieldSpec, Sampling};
use crate::steps::sheet::{Sheet, SheetSpec};
use crate::tune::hub::Look;
use std::ops::Range;

/// Smallest change of an opacity that is drawn anew: a step of the draft's pixels.
const STEP: f32 = 1.0 / 65_536.0;
/// How far a sample reaches, in samples: the spline is cubic.
const REACH: usize = 2;
/// Most of a draft that is sent as a part; of more, all.
const MOST: f64 = 0.5;

/// A draft as a page has it.
pub(super) struct Shown {
    pub drawing: Drawing,
    /// Its number among the pictures of its kind.
    pub number: u64,
    /// The jobs whose layers were others than in the draft before.
    pub changed: Option<Range<usize>>,
    /// Layers of it that were merged.
    pub merged: Option<Merged>,
}

/// The first and the last of something along x and along y.
type Box2 = [Range<f64>; 2];

impl Shown {
    /// What of another drawing of the same view is another: the left top and the size, texels of the draft. None: so much that all is to be
    /// sent.
    pub fn part_changed(&self, drawing: &Drawing, look: &Look) -> Option<([u32; 2], [u32; 2])> {
        let (draft, before) = (&drawing.draft, &self.drawing.draft);
        if !look.view.is_plain()
            || self.drawing.drafted != drawing.drafted
            || !before.is_laid_out_as(draft)
            || !(0..drawing.rims.len()).all(|at| drawing.has_rim_of(&self.drawing, at))
        {
            return None;
        }
        let mut all: Option<Box2> = None;
        for at in 0..draft.plan.files.len() {
            let own = Changed { at, before, draft }.within(look)?;
            for own in own {
                all = Some(match all {
                    None => own,
                    Some([x, y]) => {
                        let [a, b] = own;
                        [x.start.min(a.start)..x.end.max(a.end), y.start.min(b.start)..y.end.max(b.end)]
                    }
                });
            }
        }
        aligned(all?, draft.plan.texels)
    }
}

/// A box within a draft, out to where the dither's pattern begins; none where it is most of the draft, or nothing.
fn aligned(all: Box2, texels: [u32; 2]) -> Option<([u32; 2], [u32; 2])> {
    let side = dither::SIDE as f64;
    let [mut at, mut size] = [[0; 2]; 2];
    for axis in 0..2 {
        let most = f64::from(texels[axis]);
        let [start, end] = [all[axis].start, all[axis].end].map(|place| place.clamp(0.0, most));
        if start >= end {
            return None;
        }
        let from = (start / side).floor() * side;
        let to = ((end / side).ceil() * side).min(most);
        (at[axis], size[axis]) = (from as u32, (to - from) as u32);
    }
    let area = |size: [u32; 2]| f64::from(size[0]) * f64::from(size[1]);
    (area(size) < MOST * area(texels)).then_some((at, size))
}

/// The layer of a job in two drafts that are laid out alike.
struct Changed<'a> {
    at: usize,
    before: &'a Draft,
    draft: &'a Draft,
}

impl Changed<'_> {
    /// Where it is another in the view, in texels of the draft; none: everywhere.
    fn within(&self, look: &Look) -> Option<Vec<Box2>> {
        if self.draft.draws_as(self.before, self.at) {
            return Some(Vec::new());
        }
        let [job, before] = [self.draft, self.before].map(|draft| &draft.plan.files[self.at]);
        let (size, own) = match (self.before.made(self.at), self.draft.made(self.at)) {
            (Some(Made::Sheet(one)), Some(Made::Sheet(other))) => {
                let (Job::Fog(before), Job::Fog(job)) = (before, job) else { return None };
                (other.size(), sheets([&before.spec, &job.spec], [one, other])?)
            }
            (Some(Made::Picture(one)), Some(Made::Picture(other))) => {
                let rows = [one, other].map(|bitmap| bitmap.rows(0..bitmap.size[1] as usize));
                (other.size, pictures([one.size, other.size], [&rows[0], &rows[1]])?)
            }
            (Some(Made::Lamp(one)), Some(Made::Lamp(other))) => {
                (other.size, pictures([one.size, other.size], [&one.texels, &other.texels])?)
            }
            _ => return None,
        };
        Some(own.map(|own| self.seen(job.placing(), size, own, look)).unwrap_or_default())
    }

    /// Where a box of a layer of `size` texels is seen: once in each of its copies.
    fn seen(&self, placing: &Placing, size: [u32; 2], own: Box2, look: &Look) -> Vec<Box2> {
        let plan = &self.draft.plan;
        let camera = look.view.camera.within(plan.travel);
        let [left, top] = [(placing.left(camera) * plan.scale).0, (placing.top(camera) * plan.scale).0];
        let stretch = [placing.rect.width, placing.rect.height].map(|side| (side * plan.scale).0);
        let stretch = [0, 1].map(|axis| stretch[axis] / f64::from(size[axis]));
        // Copies stand on whole texels.
        let along = |from: f64, axis: usize| {
            from + own[axis].start * stretch[axis] - 2.0..from + own[axis].end * stretch[axis] + 2.0
        };
        let wide = f64::from(plan.texels[0]);
        let copies = match placing.period.map(|period| (period * plan.scale).0) {
            Some(period) if period > 0.0 => {
                let first = (-(left + own[0].end * stretch[0]) / period).floor() - 1.0;
                let count = (wide / period).ceil() as usize + 4;
                (0..count).map(|at| left + (first + at as f64) * period).collect()
            }
            _ => vec![left],
        };
        let boxes = copies.into_iter().map(|left| [along(left, 0), along(top, 1)]);
        boxes.filter(|[x, _]| x.end > 0.0 && x.start < wide).collect()
    }
}

/// Where two sheets differ whose strokes alone may do so, in their texels: the outer none where more does, the inner where nothing does.
fn sheets(specs: [&SheetSpec; 2], made: [&Sheet; 2]) -> Option<Option<Box2>> {
    let undrawn = |spec: &SheetSpec| {
        let field = FieldSpec { strokes: None, ..spec.field.clone() };
        SheetSpec { field, ..spec.clone() }
    };
    let [before, now] = specs.map(undrawn);
    if before != now {
        return None;
    }
    let grid = now.field.sampled(Sampling::Reduced);
    let [one, other] = made.map(|sheet| sheet.planes().collect::<Vec<&Coefficients>>());
    if one.len() != other.len()
        || one.iter().zip(&other).any(|(one, other)| one.rows() != other.rows() || one.cols() != other.cols())
    {
        return None;
    }
    let mut columns = vec![false; grid.cols];
    let mut rows: Option<Range<usize>> = None;
    for (one, other) in one.into_iter().zip(other) {
        // How a sheet faces the light is held by half as many columns.
        let each = grid.cols / one.cols();
        for row in 0..one.rows() {
            let mut any = false;
            let pairs = one.row(row).into_iter().zip(other.row(row));
            for (columns, (a, b)) in columns.chunks_mut(each).zip(pairs) {
                if (a - b).abs() > STEP {
                    columns.fill(true);
                    any = true;
                }
            }
            if any {
                rows = Some(rows.map_or(row..row + 1, |rows| rows.start.min(row)..rows.end.max(row + 1)));
            }
        }
    }
    let Some(rows) = rows else { return Some(None) };
    let reach = REACH as f64;
    let x = run(&columns);
    let across = (x.start as f64 - reach) * grid.step[0]..(x.end as f64 + reach) * grid.step[0];
    let down = grid.y(rows.start) - (reach + 0.5) * grid.step[1]..grid.y(rows.end) + reach * grid.step[1];
    Some(Some([across, down]))
}

/// The shortest run of places, on round a circle, that holds all that are set; it may end beyond the last.
fn run(set: &[bool]) -> Range<usize> {
    let places: Vec<usize> = (0..set.len()).filter(|at| set[*at]).collect();
    let (Some(first), Some(last)) = (places.first(), places.last()) else { return 0..0 };
    // The longest gap is left out; the first is the one from the last place round to the first.
    let mut found = *first..last + 1;
    for pair in places.windows(2) {
        let round = pair[1]..pair[0] + 1 + set.len();
        if round.len() < found.len() {
            found = round;
        }
    }
    found
}

/// Where the texels of two pictures of these sizes differ: the outer none where they have another size, the inner where nothing does.
fn pictures(sizes: [[u32; 2]; 2], [one, other]: [&[[u16; 4]]; 2]) -> Option<Option<Box2>> {
    if sizes[0] != sizes[1] {
        return None;
    }
    let width = sizes[0][0] as usize;
    let rows = one.chunks(width).zip(other.chunks(width)).enumerate();
    let mut all: Option<[Range<usize>; 2]> = None;
    for (y, (one, other)) in rows.filter(|(_, (one, other))| one != other) {
        let differs = |at: &usize| one[*at] != other[*at];
        let (Some(first), Some(last)) = ((0..width).find(differs), (0..width).rev().find(differs)) else {
            continue;
        };
        all = Some(match all {
            None => [first..last + 1, y..y + 1],
            Some([x, down]) => [x.start.min(first)..x.end.max(last + 1), down.start..y + 1],
        });
    }
    Some(all.map(|all| all.map(|range| range.start as f64..range.end as f64)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shortest_run_goes_round_where_that_is_shorter() {
        let set = |places: &[usize]| (0..10).map(|at| places.contains(&at)).collect::<Vec<_>>();
        assert_eq!(run(&set(&[])), 0..0);
        assert_eq!(run(&set(&[3])), 3..4);
        assert_eq!(run(&set(&[2, 5])), 2..6);
        assert_eq!(run(&set(&[0, 9])), 9..11);
        assert_eq!(run(&set(&[1, 2, 8])), 8..13);
    }

    #[test]
    fn a_part_begins_where_the_pattern_of_the_dither_does() {
        assert_eq!(aligned([9.5..20.0, 3.0..4.0], [100, 50]), Some(([8, 0], [16, 8])));
        assert_eq!(aligned([-30.0..3.0, 45.0..90.0], [100, 50]), Some(([0, 40], [8, 10])));
        assert_eq!(aligned([0.0..90.0, 0.0..50.0], [100, 50]), None, "most of it");
        assert_eq!(aligned([120.0..130.0, 0.0..8.0], [100, 50]), None, "nothing in view");
    }
}

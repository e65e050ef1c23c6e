//! The smallest texture of a sheet that still draws within a stated error.

use crate::base::simd::vectorize;
use crate::output::texture::difference::{Difference, Gap, Measuring};
use crate::output::texture::image::{Image, View};
use crate::output::texture::resample::{Axis, Ends, Scratch};
use rayon::prelude::*;
use std::collections::BTreeMap;

/// Rows and columns that are looked at in a search, about; the outcome is measured on all. Chosen by eye.
const ROWS: usize = 160;
const COLUMNS: usize = 160;

/// How many lines are looked at in a search at most: so many of those that are farthest off at each of these ratios. Chosen by time.
const HARDEST: usize = 16;
const RATIOS: [usize; 2] = [4, 16];

/// How often a size that draws too far off grows, by a `GROWTH`th of each side. Chosen by eye.
const GROWTHS: usize = 6;
const GROWTH: usize = 24;

/// Shares of the error that are tried for the width; the height has the rest. Chosen by eye.
const SHARES: [f32; 5] = [0.3, 0.45, 0.6, 0.75, 0.9];

/// How far apart texels are drawn, in texels of the view, that are tried first. With even ratios no drawn texel stands on a stored
/// one, where tents miss most.
pub(super) const EVEN: [usize; 10] = [64, 48, 32, 24, 16, 12, 8, 6, 4, 2];

/// The ends of a picture's width, where those of its height are `tall`.
pub(super) fn ends(wraps: bool, tall: Ends) -> Ends {
    if wraps { Ends::Wrap } else { tall }
}

/// The size, not over that of `image`, with the fewest texels of those tried that draws within `most` steps; `tall` are the ends of
/// its height, and of its width where it doesn't wrap.
///
/// Each axis is searched by itself on every few lines, since tents draw the axes one after the other; the outcome is then
/// measured whole and grown until it holds. `columns` are some of its columns: [`some_columns`]. With the size comes the image
/// as it is stored at that; none if that is the image.
pub fn smallest(
    image: View<'_>,
    columns: Vec<&[[f32; 4]]>,
    wraps: bool,
    tall: Ends,
    most: f64,
    difference: Difference,
) -> ([usize; 2], Option<Image>) {
    let most = most as f32;
    let [width, height] = image.size;
    let rows = (0..height).step_by((height / ROWS).max(1)).map(|y| image.row(y)).collect();
    let mut rows = Lines::new(rows, ends(wraps, tall), difference);
    let mut columns = Lines::new(columns, tall, difference);
    let mut found = vec![[rows.fewest(most), height], [width, columns.fewest(most)]];
    for share in SHARES {
        let down = columns.fewest(most * (1.0 - share));
        found.push([rows.fewest(most * share), down]);
    }
    found.sort_by_key(|size| size[0] * size[1]);
    found.dedup();
    for mut size in found {
        // What a few lines don't show costs a few per cent.
        for _ in 0..GROWTHS {
            if size[0] * size[1] >= width * height {
                break;
            }
            if let Some(stored) = stored_within(image, size, wraps, tall, most, difference) {
                return (size, Some(stored));
            }
            let grown = |side: usize, full: usize| (side + side / GROWTH + 1).min(full);
            size = [grown(size[0], width), grown(size[1], height)];
        }
    }
    (image.size, None)
}

/// Every so manieth column of an image, as rows: those that [`smallest`] looks at.
pub fn some_columns(image: View<'_>) -> Image {
    image.every_nth_column((image.size[0] / COLUMNS).max(1))
}

/// `image` stored at `size`, if it is drawn within `most` steps of itself.
fn stored_within(
    image: View<'_>,
    size: [usize; 2],
    wraps: bool,
    tall: Ends,
    most: f32,
    difference: Difference,
) -> Option<Image> {
    let stored = store(image, size, wraps, tall);
    let across = Axis::new(image.size[0], size[0], ends(wraps, tall));
    let down = Axis::new(image.size[1], size[1], tall);
    let within = |row: &mut Vec<[f32; 4]>, y: usize| {
        row.resize(size[0], [0.0; 4]);
        vectorize(
            #[inline(always)]
            || down.draw_row(&stored.data, y, row),
        );
        let drawn = Drawn { axis: &across, stored: row, line: image.row(y), most };
        difference.measure(drawn) <= most
    };
    (0..image.size[1]).into_par_iter().map_init(Vec::new, within).all(|within| within).then_some(stored)
}

/// `image` at `size`.
pub fn store(image: View<'_>, size: [usize; 2], wraps: bool, tall: Ends) -> Image {
    let across = Axis::new(image.size[0], size[0], ends(wraps, tall));
    let down = Axis::new(image.size[1], size[1], tall);
    image.stored(&across).view().columns_stored(&down)
}

/// How far a line is from what is drawn of `stored`, or at one place, if that is over `most`.
struct Drawn<'a> {
    axis: &'a Axis,
    stored: &'a [[f32; 4]],
    line: &'a [[f32; 4]],
    most: f32,
}

impl Measuring for Drawn<'_> {
    type Outcome = f32;

    #[inline(always)]
    fn run(self, gap: impl Gap) -> f32 {
        vectorize(
            #[inline(always)]
            || self.axis.farthest(self.stored, self.line, &gap, self.most),
        )
    }
}

/// The same of a line that is stored by the axis.
pub(super) struct Again<'a> {
    pub axis: &'a Axis,
    pub line: &'a [[f32; 4]],
    pub scratch: &'a mut Scratch,
    pub most: f32,
}

impl Measuring for Again<'_> {
    type Outcome = f32;

    #[inline(always)]
    fn run(self, gap: impl Gap) -> f32 {
        vectorize(
            #[inline(always)]
            || self.axis.astray(self.line, self.scratch, &gap, self.most),
        )
    }
}

/// Whether all texels of a line are the same.
pub(super) fn is_even(line: &[[f32; 4]]) -> bool {
    line.iter().all(|texel| *texel == line[0])
}

/// Those of `lines` that are farthest off where few texels are stored.
fn hardest<'a>(lines: &[&'a [[f32; 4]]], ends: Ends, difference: Difference) -> Vec<&'a [[f32; 4]]> {
    let full = lines[0].len();
    let mut kept = vec![false; lines.len()];
    for to in RATIOS.map(|ratio| full / ratio).into_iter().filter(|to| *to >= 3) {
        let axis = Axis::new(full, to, ends);
        let far = |scratch: &mut Scratch, line: &&[[f32; 4]]| {
            difference.measure(Again { axis: &axis, line, scratch, most: f32::INFINITY })
        };
        let errors: Vec<f32> = lines.par_iter().map_init(Scratch::default, far).collect();
        let mut order: Vec<usize> = (0..lines.len()).collect();
        order.sort_by(|a, b| errors[*b].total_cmp(&errors[*a]));
        order.iter().take(HARDEST).for_each(|at| kept[*at] = true);
    }
    let kept: Vec<&[[f32; 4]]> =
        lines.iter().zip(&kept).filter(|(_, kept)| **kept).map(|(line, _)| *line).collect();
    if kept.is_empty() { lines.to_vec() } else { kept }
}

/// How far lines are drawn from themselves that are stored in so many texels.
#[derive(Clone, Copy)]
enum Known {
    /// By so much at most.
    Exactly(f32),
    /// By more than so much somewhere: whoever looked went no farther.
    Over(f32),
}

/// Lines that are stored in ever fewer texels, and what is known of that.
struct Lines<'a> {
    lines: Vec<&'a [[f32; 4]]>,
    ends: Ends,
    difference: Difference,
    /// The line that was farthest off the last time: it is looked at first.
    worst: usize,
    /// By texels of a line.
    known: BTreeMap<usize, Known>,
}

impl<'a> Lines<'a> {
    fn new(mut lines: Vec<&'a [[f32; 4]]>, ends: Ends, difference: Difference) -> Lines<'a> {
        // A line of one colour is drawn as itself, however it is stored; one is left, lest there be none.
        let last = lines[lines.len() - 1];
        lines.retain(|line| !is_even(line));
        if lines.is_empty() {
            lines.push(last);
        }
        if lines.len() > HARDEST * RATIOS.len() {
            lines = hardest(&lines, ends, difference);
        }
        Lines { lines, ends, difference, worst: 0, known: BTreeMap::new() }
    }

    /// Fewest texels at which the lines are drawn within `most`; those that they have if no fewer do.
    fn fewest(&mut self, most: f32) -> usize {
        let full = self.lines[0].len();
        let least = if self.ends == Ends::Inner { 1 } else { 3 };
        let (mut fails, mut works) = (least, full);
        if fails >= full {
            return full;
        }
        if self.holds(fails, most) {
            return fails;
        }
        while works - fails > 1 + works / 64 {
            // Halving the ratio, not the difference: the error goes with the square of the stretch.
            let middle = ((fails as f64 * works as f64).sqrt() as usize).clamp(fails + 1, works - 1);
            if self.holds(middle, most) { works = middle } else { fails = middle }
        }
        let beyond = if self.ends == Ends::Beyond { 2 } else { 0 };
        let even =
            EVEN.into_iter().filter(|ratio| full.is_multiple_of(*ratio)).map(|ratio| full / ratio + beyond);
        even.filter(|to| (least..works).contains(to)).find(|to| self.holds(*to, most)).unwrap_or(works)
    }

    /// Whether the lines, stored in `to` texels, are drawn within `most`.
    fn holds(&mut self, to: usize, most: f32) -> bool {
        match self.known.get(&to) {
            Some(Known::Exactly(error)) => return *error <= most,
            Some(Known::Over(error)) if *error >= most => return false,
            _ => {}
        }
        let axis = Axis::new(self.lines[0].len(), to, self.ends);
        let (far, worst) = self.farthest(&axis, most);
        self.worst = worst;
        self.known.insert(to, if far <= most { Known::Exactly(far) } else { Known::Over(far) });
        far <= most
    }

    /// How far the lines are drawn from themselves, and which is farthest; if some are over `most`, the same of one of them.
    fn farthest(&self, axis: &Axis, most: f32) -> (f32, usize) {
        let far = |scratch: &mut Scratch, at: usize| {
            self.difference.measure(Again { axis, line: self.lines[at], scratch, most })
        };
        let first = far(&mut Scratch::default(), self.worst);
        if first > most {
            return (first, self.worst);
        }
        let look = |scratch: &mut Scratch, at: usize| {
            let found = (far(scratch, at), at);
            if found.0 > most { Err(found) } else { Ok(found) }
        };
        let farther = |a: (f32, usize), b: (f32, usize)| Ok(if b.0 > a.0 { b } else { a });
        let all = (0..self.lines.len()).into_par_iter().map_init(Scratch::default, look);
        all.try_reduce(|| (0.0, 0), farther).unwrap_or_else(|over| over)
    }
}

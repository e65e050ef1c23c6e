//! The composite at single places of a view, from several camera places: what outlines are measured by.

use super::exact::over;
use super::{Place, Source, Texel};
use crate::base::bitmap::Unpacked;
use crate::base::simd::vectorize;
use crate::base::space::{Lanes, Space};
use crate::steps::sheet::Row;
use rayon::prelude::*;
use std::collections::BTreeSet;
use std::ops::Range;

/// A place of an art's outline, seen from one camera place. There are half a million of them in a scene of eight slots: no number takes
/// more room than it needs.
pub(crate) struct Probe {
    /// The art's place in the drawing order.
    pub job: u32,
    /// Which point of its outline.
    pub point: u16,
    /// Which camera place.
    pub place: u16,
    /// Column of the view.
    pub x: u32,
    /// The composite without rims and with them, in the blending's own space.
    pub without: [f32; 3],
    pub with: [f32; 3],
    /// Steps of CIE L* across the outline without rims and with them; 0 until its art's turn has come.
    pub before: f32,
    pub after: f32,
    /// What nearer pictures leave of it, 0 to 1.
    pub open: f32,
}

impl Probe {
    fn over(&mut self, colour: Lanes, alpha: f32) {
        over_three(&mut self.without, colour, alpha);
        over_three(&mut self.with, colour, alpha);
    }
}

/// Source-over of a straight colour.
#[inline(always)]
fn over_three(under: &mut [f32; 3], colour: Lanes, alpha: f32) {
    let mut lanes = [under[0], under[1], under[2], 0.0];
    over(&mut lanes, colour, alpha);
    *under = [lanes[0], lanes[1], lanes[2]];
}

/// One layer as it is drawn at probes.
pub(crate) struct Gather<'a> {
    pub source: Source<'a>,
    /// Its place in the drawing order.
    pub index: usize,
    /// Whether it is fog, through which outlines are seen.
    pub fog: bool,
    /// Where it stands from each camera place.
    pub places: &'a [Place],
    /// The camera places from which it is seen: elsewhere it is another moment.
    pub seen: Range<usize>,
    pub space: &'a Space,
    /// Columns of the view.
    pub width: usize,
}

impl Gather<'_> {
    /// Draws the layer at the probes of each row of the view. A rim counts at the outlines before it alone; an art isn't drawn on its
    /// own outline, and hides those behind it.
    pub fn draw(&self, rows: &mut [Vec<Probe>]) {
        let spans: Vec<Vec<(Range<usize>, usize)>> = match self.source {
            Source::Bitmap(_) | Source::Picture(_) | Source::Codes(..) => {
                self.places.iter().map(|place| place.spans(self.width).collect()).collect()
            }
            Source::Sheet(_) | Source::Rim(_) => Vec::new(),
        };
        // Camera places at one height see the same row.
        let tops: BTreeSet<i64> = self.places.iter().map(Place::top).collect();
        let scratch = <(Row, Unpacked)>::default;
        rows.par_iter_mut().enumerate().for_each_init(scratch, |(row, unpacked), (y, probes)| {
            for top in &tops {
                let Some(place) = self.places.iter().find(|place| place.top() == *top) else { continue };
                let Some(from) = place.row(y) else { continue };
                match self.source {
                    Source::Sheet(_) | Source::Rim(_) => self.window(from, *top, row, probes),
                    Source::Bitmap(bitmap) if probes.iter().any(|probe| self.is_over(probe, *top)) => {
                        self.picture(bitmap.row(from, unpacked), *top, &spans, probes);
                    }
                    Source::Bitmap(_) => {}
                    Source::Picture(picture) => {
                        self.picture(place.texels(&picture.texels, from), *top, &spans, probes);
                    }
                    Source::Codes(texels, _) => {
                        self.picture(place.texels(texels, from), *top, &spans, probes);
                    }
                }
            }
        });
    }

    /// Whether a sheet or a rim is drawn at a probe from where its upper edge stands at `top`, and its column there.
    fn column(&self, probe: &Probe, top: i64) -> Option<usize> {
        let counts = matches!(self.source, Source::Sheet(_)) || probe.job as usize > self.index;
        let at = usize::from(probe.place);
        let place = &self.places[at];
        let counts = counts && place.top() == top && self.seen.contains(&at);
        if counts { place.column(probe.x as usize) } else { None }
    }

    /// Row `from` of a sheet or a rim whose upper edge stands at `top`, no more of it than probes look at.
    fn window(&self, from: usize, top: i64, row: &mut Row, probes: &mut [Probe]) {
        let (mut first, mut end) = (usize::MAX, 0);
        for column in probes.iter().filter_map(|probe| self.column(probe, top)) {
            (first, end) = (first.min(column), end.max(column + 1));
        }
        if end == 0 {
            return;
        }
        match self.source {
            Source::Sheet(sheet) => vectorize(
                #[inline(always)]
                || sheet.row(from, first, end - first, row),
            ),
            Source::Rim(rim) => {
                rim.row(from, row);
                first = 0;
            }
            Source::Bitmap(_) | Source::Picture(_) | Source::Codes(..) => return,
        }
        for probe in probes {
            let Some(at) = self.column(probe, top).map(|column| column - first) else { continue };
            let (colour, alpha) = (self.space.enter_lanes(row.colour[at]), row.alpha[at]);
            match self.source {
                Source::Rim(_) => over_three(&mut probe.with, colour, alpha),
                _ => probe.over(colour, alpha),
            }
        }
    }

    /// Whether a picture whose upper edge stands at `top` may be drawn at a probe.
    fn is_over(&self, probe: &Probe, top: i64) -> bool {
        probe.job as usize != self.index && self.places[usize::from(probe.place)].top() == top
    }

    /// A row of a picture that is seen in `spans` from each camera place, from those where its upper edge stands at `top`.
    fn picture<T: Texel>(
        &self,
        texels: &[T],
        top: i64,
        spans: &[Vec<(Range<usize>, usize)>],
        probes: &mut [Probe],
    ) {
        for probe in probes.iter_mut().filter(|probe| self.is_over(probe, top)) {
            let x = probe.x as usize;
            for (range, first) in
                spans[usize::from(probe.place)].iter().filter(|(range, _)| range.contains(&x))
            {
                let (colour, alpha) = texels[x - range.start + first].parts();
                if (probe.job as usize) < self.index && !self.fog {
                    probe.open *= 1.0 - alpha;
                } else {
                    probe.over(self.space.enter_lanes(colour), alpha);
                }
            }
        }
    }
}

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

/// A place of an art's outline, seen from one camera place, as rims are solved by it. There are half a million of them in a scene of eight
/// slots: no number takes more room than it needs.
pub(crate) struct Probe {
    /// The art's place in the drawing order.
    pub job: u32,
    /// Which point of its outline.
    pub point: u16,
    /// Which camera place.
    pub place: u16,
    /// Column of the view.
    pub x: u32,
    /// The composite with rims, in the blending's own space.
    pub with: [f32; 3],
}

/// The same with what somebody asks of it who looks at the stack from there.
pub(crate) struct Asked {
    pub probe: Probe,
    /// The composite without rims.
    pub without: [f32; 3],
    /// Steps of CIE L* across the outline without rims and with them; 0 until its art's turn has come.
    pub before: f32,
    pub after: f32,
    /// What nearer pictures leave of it, 0 to 1.
    pub open: f32,
}

/// Column of a probe that a layer isn't drawn at.
const NOWHERE: u32 = u32::MAX;

/// What lies in a row of the view, each in the order of the arts, and of one art's in that of the camera places.
#[derive(Default)]
pub(crate) struct Probes {
    pub solving: Vec<Probe>,
    pub asked: Vec<Asked>,
}

/// What layers are drawn at.
trait Drawn {
    fn probe(&self) -> &Probe;
    /// A layer comes over it.
    fn over(&mut self, colour: Lanes, alpha: f32);
    /// The same of a rim.
    fn rim_over(&mut self, colour: Lanes, alpha: f32);
    /// A nearer picture hides it.
    fn hide(&mut self, alpha: f32);
}

impl Drawn for Probe {
    fn probe(&self) -> &Probe {
        self
    }

    fn over(&mut self, colour: Lanes, alpha: f32) {
        over_three(&mut self.with, colour, alpha);
    }

    fn rim_over(&mut self, colour: Lanes, alpha: f32) {
        over_three(&mut self.with, colour, alpha);
    }

    fn hide(&mut self, _: f32) {}
}

impl Drawn for Asked {
    fn probe(&self) -> &Probe {
        &self.probe
    }

    fn over(&mut self, colour: Lanes, alpha: f32) {
        over_three(&mut self.without, colour, alpha);
        over_three(&mut self.probe.with, colour, alpha);
    }

    fn rim_over(&mut self, colour: Lanes, alpha: f32) {
        over_three(&mut self.probe.with, colour, alpha);
    }

    fn hide(&mut self, alpha: f32) {
        self.open *= 1.0 - alpha;
    }
}

impl Probes {
    fn all(&self) -> impl Iterator<Item = &Probe> {
        self.solving.iter().chain(self.asked.iter().map(|asked| &asked.probe))
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
    pub fn draw(&self, rows: &mut [Probes]) {
        let spans: Vec<Vec<(Range<usize>, usize)>> = match self.source {
            Source::Bitmap(_) | Source::Picture(_) | Source::Codes(..) => {
                self.places.iter().map(|place| place.spans(self.width).collect()).collect()
            }
            Source::Sheet(_) | Source::Rim(_) => Vec::new(),
        };
        // Camera places at one height see the same row.
        let tops: BTreeSet<i64> = self.places.iter().map(Place::top).collect();
        let scratch = <(Row, Unpacked, Vec<u32>)>::default;
        rows.par_iter_mut().enumerate().for_each_init(scratch, |(row, unpacked, columns), (y, probes)| {
            for top in &tops {
                let Some(place) = self.places.iter().find(|place| place.top() == *top) else { continue };
                let Some(from) = place.row(y) else { continue };
                match self.source {
                    Source::Sheet(_) | Source::Rim(_) => self.window(from, *top, (row, columns), probes),
                    Source::Bitmap(bitmap) if probes.all().any(|probe| self.is_over(probe, *top)) => {
                        self.picture_at_all(bitmap.row(from, unpacked), *top, &spans, probes);
                    }
                    Source::Bitmap(_) => {}
                    Source::Picture(picture) => {
                        self.picture_at_all(place.texels(&picture.texels, from), *top, &spans, probes);
                    }
                    Source::Codes(texels, _) => {
                        self.picture_at_all(place.texels(texels, from), *top, &spans, probes);
                    }
                }
            }
        });
    }

    /// Where a sheet or a rim is drawn at a probe from where its upper edge stands at `top`, and its column there.
    fn column(&self, probe: &Probe, top: i64) -> Option<usize> {
        let at = usize::from(probe.place);
        let place = &self.places[at];
        let counts = place.top() == top && self.seen.contains(&at);
        if counts { place.column(probe.x as usize) } else { None }
    }

    /// Row `from` of a sheet or a rim whose upper edge stands at `top`, no more of it than probes look at.
    fn window(&self, from: usize, top: i64, (row, columns): (&mut Row, &mut Vec<u32>), probes: &mut Probes) {
        // A rim counts for later arts alone, and probes lie in their order.
        let mut skipped = [0, 0];
        if let Source::Rim(_) = self.source {
            let solving = probes.solving.partition_point(|probe| probe.job as usize <= self.index);
            let asked = probes.asked.partition_point(|asked| asked.probe.job as usize <= self.index);
            skipped = [solving, asked];
        }
        let (solving, asked) = (&mut probes.solving[skipped[0]..], &mut probes.asked[skipped[1]..]);
        let (mut first, mut end) = (NOWHERE, 0);
        columns.clear();
        for probe in solving.iter().chain(asked.iter().map(|asked| &asked.probe)) {
            let column = self.column(probe, top).map_or(NOWHERE, |column| column as u32);
            first = first.min(column);
            end = end.max(column.wrapping_add(1));
            columns.push(column);
        }
        if end == 0 {
            return;
        }
        let (first, count) = (first as usize, (end - first) as usize);
        match self.source {
            Source::Sheet(sheet) => vectorize(
                #[inline(always)]
                || sheet.row(from, first, count, row),
            ),
            Source::Rim(rim) => rim.columns(from, [first, count], row),
            Source::Bitmap(_) | Source::Picture(_) | Source::Codes(..) => return,
        }
        let (of_solving, of_asked) = columns.split_at(solving.len());
        self.fog_at(row, first, of_solving, solving);
        self.fog_at(row, first, of_asked, asked);
    }

    /// A row of a sheet or a rim from column `first` on, at probes that look at these `columns` of it.
    fn fog_at(&self, row: &Row, first: usize, columns: &[u32], probes: &mut [impl Drawn]) {
        for (probe, column) in probes.iter_mut().zip(columns).filter(|(_, column)| **column != NOWHERE) {
            let at = *column as usize - first;
            let (colour, alpha) = (self.space.enter_lanes(row.colour[at]), row.alpha[at]);
            match self.source {
                Source::Rim(_) => probe.rim_over(colour, alpha),
                _ => probe.over(colour, alpha),
            }
        }
    }

    /// Whether a picture whose upper edge stands at `top` may be drawn at a probe.
    fn is_over(&self, probe: &Probe, top: i64) -> bool {
        probe.job as usize != self.index && self.places[usize::from(probe.place)].top() == top
    }

    fn picture_at_all<T: Texel>(
        &self,
        texels: &[T],
        top: i64,
        spans: &[Vec<(Range<usize>, usize)>],
        probes: &mut Probes,
    ) {
        self.picture(texels, top, spans, &mut probes.solving);
        self.picture(texels, top, spans, &mut probes.asked);
    }

    /// A row of a picture that is seen in `spans` from each camera place, from those where its upper edge stands at `top`.
    fn picture<T: Texel>(
        &self,
        texels: &[T],
        top: i64,
        spans: &[Vec<(Range<usize>, usize)>],
        probes: &mut [impl Drawn],
    ) {
        for drawn in probes.iter_mut().filter(|drawn| self.is_over(drawn.probe(), top)) {
            let Probe { job, place, x, .. } = *drawn.probe();
            let x = x as usize;
            for (range, first) in spans[usize::from(place)].iter().filter(|(range, _)| range.contains(&x)) {
                let (colour, alpha) = texels[x - range.start + first].parts();
                if (job as usize) < self.index && !self.fog {
                    drawn.hide(alpha);
                } else {
                    drawn.over(self.space.enter_lanes(colour), alpha);
                }
            }
        }
    }
}

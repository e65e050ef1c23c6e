//! The survey: what stands behind and around every outline of the stack at several camera places, and the rims that follow.
//!
//! The stack is drawn far to near, but only at the places where outlines lie. When a slot's turn comes, everything behind its
//! outline is known, its own rims' farther neighbours among it.

use crate::base::picture::Picture;
use crate::base::placing::Placing;
use crate::base::simd::wide;
use crate::base::space::{Space, over};
use crate::plan::{Job, Plan};
use crate::rim::Rim;
use crate::rim::need::Step;
use crate::rim::outline::{self, Point};
use crate::rim::solve::{Case, Sight};
use crate::stack::still::corner;
use crate::steps::sheet::{Row, Sheet};
use rayon::prelude::*;
use std::collections::BTreeMap;

/// Most outline points of one art that are looked at; the others lie between them.
const POINTS: usize = 30_000;

/// A job's picture, as far as it is made before the rims.
#[derive(Clone, Copy)]
pub enum Ready<'a> {
    /// Fog.
    Sheet(&'a Sheet),
    /// Art.
    Picture(&'a Picture),
    /// A rim that is solved already.
    Rim(&'a Rim),
    /// A rim, which the survey solves.
    Due,
    /// Nothing that anybody needs.
    Aside,
}

/// One place of an outline as seen from one camera place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mark {
    /// Texel of the view just outside the outline.
    pub at: [u32; 2],
    /// Which camera place.
    pub place: u16,
    /// Step of CIE L* across the outline without any rims.
    pub before: f32,
    /// The same with the rims.
    pub after: f32,
    /// CIE L* just inside, through all the fog in front.
    pub tone: f32,
    /// How much of it nearer arts leave to be seen, 0 to 1.
    pub open: f32,
}

struct Probe {
    /// The art's place in the plan.
    job: u32,
    point: u32,
    place: u16,
    x: u32,
    /// The composite without rims and with them; once its art is drawn, what is seen just inside stands in `with`.
    without: [f32; 3],
    with: [f32; 3],
    before: f32,
    after: f32,
    /// What nearer arts leave of it.
    open: f32,
}

/// What the survey has found.
pub struct Survey {
    /// The camera places.
    pub cameras: Vec<f64>,
    /// Rims by their place in the plan.
    pub rims: Vec<(usize, Rim)>,
    /// For each art's place in the plan, its outline as seen.
    pub marks: Vec<(usize, Vec<Mark>)>,
    /// Wanted steps of CIE L* by the art's place in the plan; only of those that have a rim.
    pub wanted: BTreeMap<usize, f64>,
}

impl Mark {
    /// Whether it is seen, not hidden by nearer arts.
    pub fn seen(&self) -> bool {
        self.open >= 0.5
    }
}

impl Survey {
    /// Nobody has looked yet.
    pub fn nothing() -> Survey {
        Survey { cameras: Vec::new(), rims: Vec::new(), marks: Vec::new(), wanted: BTreeMap::new() }
    }

    /// Looks at the plan's outlines from `cameras`; the first `solving` of these count for the rims. `ready` holds the plan's jobs
    /// in their order; what of them isn't there is left out.
    pub fn new(plan: &Plan, ready: &[Ready<'_>], cameras: &[f64], solving: usize) -> Survey {
        Survey::unless(plan, ready, cameras, solving, &|| false).unwrap_or_else(Survey::nothing)
    }

    /// As [`Survey::new`]; but `stale` is asked before each job, and where it says that nobody needs the survey any more, there is none.
    pub fn unless(
        plan: &Plan,
        ready: &[Ready<'_>],
        cameras: &[f64],
        solving: usize,
        stale: &dyn Fn() -> bool,
    ) -> Option<Survey> {
        Survey::look(plan, ready, (cameras, solving), &|_, _| true, stale)
    }

    /// Solves the rims that are due, from the camera places `solving`, and looks at all outlines from `cameras`, no others: what is
    /// seen from elsewhere of an outline whose rim is there is nobody's concern. `stale` as for [`Survey::unless`].
    pub(crate) fn part(
        plan: &Plan,
        ready: &[Ready<'_>],
        solving: &[f64],
        cameras: &[f64],
        stale: &dyn Fn() -> bool,
    ) -> Option<Survey> {
        let mut all = solving.to_vec();
        all.extend(cameras.iter().filter(|camera| !solving.contains(camera)));
        let asked: Vec<bool> = all.iter().map(|camera| cameras.contains(camera)).collect();
        let due = |art: usize| art > 0 && matches!(ready[art - 1], Ready::Due);
        let looked_at = |art: usize, place: usize| asked[place] || (place < solving.len() && due(art));
        let mut survey = Survey::look(plan, ready, (&all, solving.len()), &looked_at, stale)?;
        survey.only(cameras);
        Some(survey)
    }

    /// `looked_at` says of an art's place in the plan and a camera place whether that outline is looked at from there.
    fn look(
        plan: &Plan,
        ready: &[Ready<'_>],
        (cameras, solving): (&[f64], usize),
        looked_at: &(dyn Fn(usize, usize) -> bool + Sync),
        stale: &dyn Fn() -> bool,
    ) -> Option<Survey> {
        let space = Space::new(plan.blending);
        let ground = space.enter(plan.backdrop.0);
        let outlines: Vec<Vec<Point>> = plan
            .files
            .par_iter()
            .zip(ready)
            .enumerate()
            .map(|(index, (job, ready))| match (job, ready) {
                (Job::Art(job), Ready::Picture(picture))
                    if (0..cameras.len()).any(|place| looked_at(index, place)) =>
                {
                    outline::trace(picture, job.wraps, POINTS)
                }
                _ => Vec::new(),
            })
            .collect();
        let mut rows: Vec<Vec<Probe>> = (0..plan.texels[1]).map(|_| Vec::new()).collect();
        for (job, points) in outlines.iter().enumerate() {
            let placing = plan.files[job].placing();
            for (place, camera) in cameras.iter().enumerate().filter(|(place, _)| looked_at(job, *place)) {
                scatter(plan, placing, points, *camera, |point, x, y| {
                    rows[y].push(Probe {
                        job: job as u32,
                        point,
                        place: place as u16,
                        x,
                        without: ground,
                        with: ground,
                        before: 0.0,
                        after: 0.0,
                        open: 1.0,
                    });
                });
            }
        }
        let mut work = Work {
            plan,
            space: &space,
            cameras,
            rows,
            rims: Vec::new(),
            steepest: None,
            slot: String::new(),
        };
        for (index, job) in plan.files.iter().enumerate() {
            if stale() {
                return None;
            }
            match (job, &ready[index]) {
                (_, Ready::Sheet(sheet)) => {
                    work.sheet(job.placing(), sheet);
                    work.steepest = Some(sheet.steepest());
                    work.slot = job.placing().slot.clone();
                }
                (_, Ready::Rim(rim)) => work.rim(index, rim),
                (Job::Rim(job), Ready::Due) => {
                    let art = index + 1;
                    if let Some(Ready::Picture(picture)) = ready.get(art) {
                        let own = work.slot == job.placing.slot;
                        let case = Case {
                            job,
                            scale: plan.scale,
                            picture,
                            points: &outlines[art],
                            sights: &work.sights(art, solving),
                            space: &space,
                            sheet_steepest: work.steepest.filter(|_| own),
                        };
                        let rim = case.solve();
                        work.rim(index, &rim);
                        work.rims.push((index, rim));
                    }
                }
                (_, Ready::Picture(picture)) => {
                    work.steps(index, &outlines[index]);
                    work.art(index, job.placing(), picture);
                }
                _ => {}
            }
        }
        let rims = plan.files.iter().enumerate();
        let wanted = rims
            .filter_map(|(index, job)| match job {
                Job::Rim(job) => Some((index + 1, job.separation)),
                _ => None,
            })
            .collect();
        let mut marks: Vec<(usize, Vec<Mark>)> = Vec::new();
        for (index, points) in outlines.iter().enumerate() {
            if !points.is_empty() {
                marks.push((index, Vec::new()));
            }
        }
        for (y, row) in work.rows.iter().enumerate() {
            for probe in row {
                let tone = space.lightness(probe.with);
                if let Ok(at) = marks.binary_search_by_key(&(probe.job as usize), |(job, _)| *job) {
                    marks[at].1.push(Mark {
                        at: [probe.x, y as u32],
                        place: probe.place,
                        before: probe.before,
                        after: probe.after,
                        tone,
                        open: probe.open,
                    });
                }
            }
        }
        Some(Survey { cameras: cameras.to_vec(), rims: work.rims, marks, wanted })
    }
}

impl Survey {
    /// Keeps what was seen from the camera places `cameras` alone, in their order.
    fn only(&mut self, cameras: &[f64]) {
        let to: Vec<Option<usize>> =
            self.cameras.iter().map(|camera| cameras.iter().position(|other| other == camera)).collect();
        for (_, marks) in &mut self.marks {
            marks.retain_mut(|mark| match to[usize::from(mark.place)] {
                Some(place) => {
                    mark.place = place as u16;
                    true
                }
                None => false,
            });
        }
        self.cameras = cameras.to_vec();
    }
}

/// Hands out each point's number and its texel in the view at a camera place, for every copy of the art.
fn scatter(
    plan: &Plan,
    placing: &Placing,
    points: &[Point],
    camera: f64,
    mut put: impl FnMut(u32, u32, usize),
) {
    let [width, height] = plan.texels.map(i64::from);
    let [_, top] = corner(placing, plan.scale, camera);
    for left in lefts(plan, placing, camera) {
        for (at, point) in points.iter().enumerate() {
            let (x, y) = (left + i64::from(point.at[0]), top + i64::from(point.at[1]));
            if x >= 0 && x < width && y >= 0 && y < height {
                put(at as u32, x as u32, y as usize);
            }
        }
    }
}

/// Left edges, in texels of the view, of the copies of a picture that reach into it.
fn lefts(plan: &Plan, placing: &Placing, camera: f64) -> Vec<i64> {
    let start = (placing.rect[0] - camera * placing.pan_rate) * plan.scale;
    let Some(period) = placing.period.map(|period| period * plan.scale) else {
        return vec![start.round() as i64];
    };
    let width = f64::from(placing.texels[0]);
    let first = ((-width - start) / period).ceil() as i64 - 1;
    let last = ((f64::from(plan.texels[0]) - start) / period).floor() as i64 + 1;
    (first..=last).map(|repeat| (start + repeat as f64 * period).round() as i64).collect()
}

struct Work<'a> {
    plan: &'a Plan,
    space: &'a Space,
    cameras: &'a [f64],
    rows: Vec<Vec<Probe>>,
    rims: Vec<(usize, Rim)>,
    /// Of the sheet drawn last, and the slot that it belongs to.
    steepest: Option<f64>,
    slot: String,
}

impl Work<'_> {
    /// Draws rows as far as they are looked at: `draw` writes row `y` of a picture `size` texels large, at least from one column on
    /// as many as it is told, and says which column it began with.
    fn strips(
        &mut self,
        placing: &Placing,
        size: [u32; 2],
        draw: impl Fn(usize, [usize; 2], &mut Row) -> usize + Sync,
        put: impl Fn(&mut Probe, [f32; 3], f32) + Sync,
        wanted: impl Fn(&Probe) -> bool + Sync,
    ) {
        let corners: Vec<[i64; 2]> =
            self.cameras.iter().map(|camera| corner(placing, self.plan.scale, *camera)).collect();
        let top = corners.first().map_or(0, |corner| corner[1]);
        let (cols, scale) = (i64::from(size[0]), self.plan.scale);
        let stretch = placing.rect[2] * scale / cols as f64;
        let space = self.space;
        let col = |probe: &Probe| {
            let away = i64::from(probe.x) - corners[usize::from(probe.place)][0];
            let col = match placing.period {
                Some(_) if (stretch - 1.0).abs() * (cols as f64) < 1e-6 => away.rem_euclid(cols),
                Some(_) => (((away as f64 + 0.5) / stretch).floor() as i64).rem_euclid(cols),
                None => away,
            };
            (0..cols).contains(&col).then_some(col as usize)
        };
        self.rows.par_iter_mut().enumerate().for_each_init(Row::default, |row, (y, probes)| {
            let Ok(from) = usize::try_from(y as i64 - top) else { return };
            if from >= size[1] as usize {
                return;
            }
            let ends = probes.iter().filter(|probe| wanted(probe)).filter_map(col).fold(None, |ends, col| {
                let (least, most) = ends.unwrap_or((col, col));
                Some((least.min(col), most.max(col)))
            });
            let Some((least, most)) = ends else { return };
            let first = draw(from, [least, most + 1 - least], row);
            for probe in probes.iter_mut().filter(|probe| wanted(probe)) {
                if let Some(at) = col(probe).map(|col| col - first) {
                    let [r, g, b, _] = row.colour[at];
                    put(probe, space.enter([r, g, b]), row.alpha[at]);
                }
            }
        });
    }

    fn sheet(&mut self, placing: &Placing, sheet: &Sheet) {
        self.strips(
            placing,
            sheet.size(),
            |y, [first, count], row| {
                wide(
                    #[inline(always)]
                    || sheet.row(y, first, count, row),
                );
                first
            },
            |probe, colour, alpha| {
                over(&mut probe.without, colour, alpha);
                over(&mut probe.with, colour, alpha);
            },
            |_| true,
        );
    }

    fn rim(&mut self, index: usize, rim: &Rim) {
        self.strips(
            &rim.placing,
            rim.size(),
            |y, _, row| {
                rim.row(y, row);
                0
            },
            |probe, colour, alpha| over(&mut probe.with, colour, alpha),
            |probe| probe.job as usize > index,
        );
    }

    fn art(&mut self, index: usize, placing: &Placing, picture: &Picture) {
        let copies: Vec<Vec<i64>> =
            self.cameras.iter().map(|camera| lefts(self.plan, placing, *camera)).collect();
        let top = (placing.rect[1] * self.plan.scale).round() as i64;
        let [width, height] = picture.size.map(i64::from);
        let space = self.space;
        self.rows.par_iter_mut().enumerate().for_each(|(y, probes)| {
            let from = y as i64 - top;
            if from < 0 || from >= height {
                return;
            }
            let texels = &picture.texels[(from * width) as usize..((from + 1) * width) as usize];
            for probe in probes.iter_mut().filter(|probe| probe.job as usize != index) {
                let behind = (probe.job as usize) < index;
                for left in &copies[usize::from(probe.place)] {
                    let x = i64::from(probe.x) - left;
                    if x >= 0 && x < width {
                        let [r, g, b, alpha] = texels[x as usize];
                        let alpha = f32::from(alpha) / 65535.0;
                        if behind {
                            probe.open *= 1.0 - alpha;
                            continue;
                        }
                        let colour = space.enter([r, g, b].map(|code| f32::from(code) / 65535.0));
                        over(&mut probe.without, colour, alpha);
                        over(&mut probe.with, colour, alpha);
                    }
                }
            }
        });
    }

    /// What stands behind the outline of the art `index`.
    fn sights(&self, index: usize, solving: usize) -> Vec<Sight> {
        self.rows
            .iter()
            .flatten()
            .filter(|probe| probe.job as usize == index && usize::from(probe.place) < solving)
            .map(|probe| Sight { point: probe.point, place: probe.place, behind: probe.with })
            .collect()
    }

    /// Measures the steps of the art `index`, behind whose outline all is drawn; then draws it there.
    fn steps(&mut self, index: usize, points: &[Point]) {
        let space = self.space;
        self.rows.par_iter_mut().flatten().filter(|probe| probe.job as usize == index).for_each(|probe| {
            let point = &points[probe.point as usize];
            let step = |behind| Step::new(space, point, behind, behind);
            probe.before = step(probe.without).signed(0.0).abs();
            let seen = step(probe.with);
            probe.after = seen.signed(0.0).abs();
            probe.with = seen.inside(0.0);
        });
    }
}

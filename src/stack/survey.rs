//! The survey: what stands behind and around every outline of the stack at several camera places, and the rims that follow.
//!
//! The stack is drawn far to near, but only at the places where outlines lie. When a slot's turn comes, everything behind its
//! outline is known, its own rims' farther neighbours among it.

use crate::base::bitmap::Bitmap;
use crate::base::placing::{Kind, Placing};
use crate::base::space::Space;
use crate::base::units::Camera;
use crate::plan::{Job, Plan, RimJob};
use crate::rim::Rim;
use crate::rim::lightness_step::{LightnessStep, Sides};
use crate::rim::outline::{self, Point};
use crate::rim::problem::{Observation, Problem};
use crate::stack::compositor::{Asked, Gather, Place, Probe, Probes, Source};
use crate::steps::field::Sampling;
use crate::steps::sheet::Sheet;
use rayon::prelude::*;
use std::collections::BTreeMap;
use std::ops::Range;

/// Most outline points of one art that are looked at; the others lie between them. A probe counts them by 16 bits.
const POINTS: usize = 30_000;

/// Most places of one art's outline, over all its copies and camera places: an art that repeats more often is looked at through fewer of
/// its points.
const PROBES: usize = 1 << 21;

/// A job's picture, as far as it is made before the rims.
#[derive(Clone, Copy)]
pub enum Ready<'a> {
    /// It is made.
    Known(Source<'a>),
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
    /// How much of it nearer pictures leave to be seen, 0 to 1.
    pub open: f32,
}

/// What the survey has found.
pub struct Survey {
    /// The camera places.
    pub cameras: Vec<Camera>,
    /// Rims by their place in the plan.
    pub rims: Vec<(usize, Rim)>,
    /// For each art's place in the plan, its outline as seen.
    pub marks: Vec<(usize, Vec<Mark>)>,
    /// Wanted steps of CIE L* by the art's place in the plan; only of those that have a rim.
    pub wanted: BTreeMap<usize, f64>,
}

impl Mark {
    /// Whether it is seen, not hidden by nearer pictures.
    pub fn seen(&self) -> bool {
        self.open >= 0.5
    }
}

impl Survey {
    /// Nobody has looked yet.
    pub fn nothing() -> Survey {
        Survey { cameras: Vec::new(), rims: Vec::new(), marks: Vec::new(), wanted: BTreeMap::new() }
    }

    /// Solves the rims that are due, from the camera places `solving`, and looks at all outlines from `cameras`, no others: what is
    /// seen from elsewhere of an outline whose rim is there is nobody's concern. `ready` holds the plan's jobs in their order; what of
    /// them isn't there is left out. `stale` is asked before each job; where it says that nobody needs the survey any more, there is none.
    pub(crate) fn part(
        plan: &Plan,
        ready: &[Ready<'_>],
        solving: &[Camera],
        cameras: &[Camera],
        stale: &dyn Fn() -> bool,
    ) -> Option<Survey> {
        let mut all = solving.to_vec();
        all.extend(cameras.iter().filter(|camera| !solving.contains(camera)));
        let mut asked: Vec<bool> = all.iter().map(|camera| cameras.contains(camera)).collect();
        // Then the same places at other moments, for the rims alone.
        let at_rest = all.len();
        let moments = if solving.is_empty() { Vec::new() } else { plan.solving_moments() };
        moments.iter().for_each(|_| all.extend(solving));
        asked.resize(all.len(), false);
        let due = |art: usize| art > 0 && matches!(ready[art - 1], Ready::Due);
        let solves = |place: usize| place < solving.len() || place >= at_rest;
        let looked_at = |art: usize, place: usize| asked[place] || (solves(place) && due(art));
        let look = Look {
            plan,
            ready,
            cameras: &all,
            at_rest,
            moments,
            solves: &solves,
            asked: &asked,
            looked_at: &looked_at,
        };
        let mut survey = look.survey(stale)?;
        survey.only(at_rest, cameras);
        Some(survey)
    }

    /// Whether what is seen from `camera` while rims are solved is what a survey from there alone sees: it is one of the places that
    /// they are solved from, and no outline is thinned for their number.
    pub(crate) fn sees_beside(plan: &Plan, camera: Camera) -> bool {
        let (solving, moments) = (plan.cameras(), 1 + plan.solving_moments().len());
        let whole = |job: &Job| match job {
            Job::Art(job) => moments * copies(plan, &job.placing, &solving) <= PROBES / POINTS,
            _ => true,
        };
        solving.contains(&camera) && plan.files.iter().all(whole)
    }

    /// Keeps what was seen from the camera places `cameras` alone, in their order, of the first `at_rest` places.
    fn only(&mut self, at_rest: usize, cameras: &[Camera]) {
        let to =
            |(at, camera): (usize, &Camera)| cameras.iter().position(|other| at < at_rest && other == camera);
        let to: Vec<Option<usize>> = self.cameras.iter().enumerate().map(to).collect();
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

/// What is looked at.
struct Look<'a> {
    plan: &'a Plan,
    ready: &'a [Ready<'a>],
    cameras: &'a [Camera],
    /// How many of the camera places see the fog at rest; as many for each of the moments follow.
    at_rest: usize,
    /// Moments that rims are solved for besides.
    moments: Vec<[f64; 2]>,
    /// Of a camera place: whether it counts for the rims.
    solves: &'a (dyn Fn(usize) -> bool + Sync),
    /// Of each camera place: whether somebody asks what is seen from there.
    asked: &'a [bool],
    /// Of an art's place in the plan and a camera place: whether that outline is looked at from there.
    looked_at: &'a (dyn Fn(usize, usize) -> bool + Sync),
}

impl Look<'_> {
    fn survey(&self, stale: &dyn Fn() -> bool) -> Option<Survey> {
        let space = Space::new(self.plan.blending);
        let outlines = self.outlines();
        let rows = self.probes(&outlines, &space);
        let mut work =
            Work { look: self, space: &space, outlines, rows, rims: Vec::new(), steepest: None, slot: "" };
        for index in 0..self.plan.files.len() {
            if stale() {
                return None;
            }
            work.job(index);
        }
        let wanted = self.plan.files.iter().enumerate().filter_map(|(index, job)| match job {
            Job::Rim(job) => Some((index + 1, job.separation)),
            _ => None,
        });
        let (wanted, marks) = (wanted.collect(), work.marks());
        Some(Survey { cameras: self.cameras.to_vec(), rims: work.rims, marks, wanted })
    }

    /// The outlines that are looked at, by the pictures' places in the plan.
    fn outlines(&self) -> Vec<Vec<Point>> {
        let trace = |(index, (job, ready)): (usize, (&Job, &Ready<'_>))| match (job, ready) {
            (Job::Art(job), Ready::Known(Source::Bitmap(picture)))
                if (0..self.cameras.len()).any(|place| (self.looked_at)(index, place)) =>
            {
                let copies = copies(self.plan, &job.placing, self.cameras);
                outline::trace(picture, job.wraps, POINTS.min(PROBES / copies.max(1)))
            }
            _ => Vec::new(),
        };
        // One after the other, each side by side: of its points most are dropped again.
        self.plan.files.iter().zip(self.ready).enumerate().map(trace).collect()
    }

    /// Probes at every outline, for every copy of its art and every camera place, by the view's rows.
    fn probes(&self, outlines: &[Vec<Point>], space: &Space) -> Vec<Probes> {
        let ground = space.enter(self.plan.backdrop.0);
        // There are many: a row that grew would take twice its room.
        let mut counts = vec![[0, 0]; self.plan.texels[1] as usize];
        self.each_place(outlines, |y, seen| counts[y][usize::from(self.asked[seen.place])] += 1);
        let row = |[solving, asked]: [usize; 2]| Probes {
            solving: Vec::with_capacity(solving),
            asked: Vec::with_capacity(asked),
        };
        let mut rows: Vec<Probes> = counts.into_iter().map(row).collect();
        self.each_place(outlines, |y, Seen { job, point, place, x }| {
            let asked = self.asked[place];
            let probe = Probe { job: job as u32, point: point as u16, place: place as u16, x, with: ground };
            if asked {
                rows[y].asked.push(Asked { probe, without: ground, before: 0.0, after: 0.0, open: 1.0 });
            } else {
                rows[y].solving.push(probe);
            }
        });
        rows
    }

    /// Hands out every place of an outline that is in view, with its row there.
    fn each_place(&self, outlines: &[Vec<Point>], mut put: impl FnMut(usize, Seen)) {
        let [width, height] = self.plan.texels.map(i64::from);
        for (job, points) in outlines.iter().enumerate().filter(|(_, points)| !points.is_empty()) {
            let placing = self.plan.files[job].placing();
            for (place, camera) in self.cameras.iter().enumerate() {
                if !(self.looked_at)(job, place) {
                    continue;
                }
                let stand = Place::new(placing, placing.texels, self.plan.scale, *camera);
                for copy in stand.copies_and_next(width as usize) {
                    for (at, point) in points.iter().enumerate() {
                        let x = stand.left(copy) + i64::from(point.at[0]);
                        let y = stand.top() + i64::from(point.at[1]);
                        if (0..width).contains(&x) && (0..height).contains(&y) {
                            put(y as usize, Seen { job, point: at, place, x: x as u32 });
                        }
                    }
                }
            }
        }
    }
}

/// How many copies of the art at `placing` are looked at, from all camera places together.
fn copies(plan: &Plan, placing: &Placing, cameras: &[Camera]) -> usize {
    let each = |camera: &Camera| {
        let stand = Place::new(placing, placing.texels, plan.scale, *camera);
        stand.copies_and_next(plan.texels[0] as usize).count()
    };
    cameras.iter().map(each).sum()
}

/// A place of an outline in a row of the view: its art, the point of the outline, the camera place, the column.
struct Seen {
    job: usize,
    point: usize,
    place: usize,
    x: u32,
}

/// A survey under way.
struct Work<'a> {
    look: &'a Look<'a>,
    space: &'a Space,
    outlines: Vec<Vec<Point>>,
    rows: Vec<Probes>,
    rims: Vec<(usize, Rim)>,
    /// Of the sheet drawn last, and the slot that it belongs to.
    steepest: Option<f64>,
    slot: &'a str,
}

impl<'a> Work<'a> {
    /// Draws the job `index`, behind which all is drawn; solves it if it is a rim that is due, measures the steps of its outline if it
    /// is an art.
    fn job(&mut self, index: usize) {
        let Look { plan, ready, .. } = self.look;
        match (&plan.files[index], ready[index]) {
            (job, Ready::Known(source)) => {
                match source {
                    Source::Sheet(sheet) => {
                        self.steepest = Some(sheet.steepest());
                        self.slot = &job.placing().slot;
                    }
                    Source::Bitmap(_) | Source::Picture(_) => {
                        self.forget(index);
                        self.steps(index);
                    }
                    Source::Rim(_) | Source::Codes(..) => {}
                }
                self.draw(index, source);
            }
            (Job::Rim(job), Ready::Due) => {
                if let Some(Ready::Known(Source::Bitmap(picture))) = ready.get(index + 1) {
                    let rim = self.solve(job, index + 1, picture);
                    self.draw(index, Source::Rim(&rim));
                    self.rims.push((index, rim));
                }
            }
            _ => {}
        }
    }

    fn draw(&mut self, index: usize, source: Source<'_>) {
        let Look { plan, cameras, at_rest, moments, .. } = self.look;
        let placing = source.placing(plan.files[index].placing());
        let (Source::Sheet(_), Job::Fog(job), [_, ..]) = (source, &plan.files[index], &moments[..]) else {
            return self.gather(index, source, placing, 0..cameras.len());
        };
        self.gather(index, source, placing, 0..*at_rest);
        let each = (cameras.len() - at_rest) / moments.len();
        for (at, [time, drifted]) in moments.iter().enumerate() {
            let (spec, placing) = plan.sheet_at(job, *time, *drifted);
            let (sheet, first) = (Sheet::new(spec, Sampling::Reduced), at_rest + at * each);
            self.gather(index, Source::Sheet(&sheet), &placing, first..first + each);
        }
    }

    /// Draws a layer where it is `seen` from.
    fn gather(&mut self, index: usize, source: Source<'_>, placing: &Placing, seen: Range<usize>) {
        let Look { plan, cameras, .. } = self.look;
        let place = |camera: &Camera| Place::new(placing, source.size(), plan.scale, *camera);
        let places: Vec<Place> = cameras.iter().map(place).collect();
        let width = plan.texels[0] as usize;
        let fog = placing.kind == Kind::Fog;
        Gather { source, index, fog, places: &places, seen, space: self.space, width }.draw(&mut self.rows);
    }

    /// Solves the rim of the art `art`.
    fn solve(&self, job: &RimJob, art: usize, picture: &Bitmap) -> Rim {
        let observations = self.observations(art);
        let problem = Problem {
            job,
            scale: self.look.plan.scale,
            picture,
            points: &self.outlines[art],
            observations: &observations,
            space: self.space,
            sheet_steepest: self.steepest.filter(|_| self.slot == job.placing.slot),
        };
        problem.solve()
    }

    /// What stands behind the outline of the art `art`, from the places that count, row by row.
    fn observations(&self, art: usize) -> Vec<Observation> {
        let counts = |place: u16| (self.look.solves)(usize::from(place));
        let own = |row: &Probes| {
            [of_art(&row.solving, |probe| probe, art), of_art(&row.asked, |asked| &asked.probe, art)]
        };
        let most = self.rows.iter().flat_map(own).map(|own| own.len()).sum();
        let mut all = Vec::with_capacity(most);
        for row in &self.rows {
            let (from, [solving, asked]) = (all.len(), own(row));
            let asked = row.asked[asked].iter().map(|asked| &asked.probe);
            let probes = row.solving[solving].iter().chain(asked);
            all.extend(probes.filter(|probe| counts(probe.place)).map(|probe| Observation {
                point: u32::from(probe.point),
                camera: probe.place,
                behind: probe.with,
            }));
            // In the order of the camera places, whoever asked.
            all[from..].sort_by_key(|observation| observation.camera);
        }
        all
    }

    /// Drops the probes of the art `index`, whose rim is solved, where nobody asks what else is seen: nearer layers needn't be drawn there.
    fn forget(&mut self, index: usize) {
        if self.outlines[index].is_empty() || !self.look.asked.contains(&false) {
            return;
        }
        self.rows.par_iter_mut().for_each(|row| {
            row.solving.retain(|probe| probe.job as usize != index);
            row.solving.shrink_to_fit();
        });
    }

    /// Measures the steps of the art `index`, behind whose outline all is drawn; then draws it there.
    fn steps(&mut self, index: usize) {
        let (space, points) = (self.space, &self.outlines[index]);
        self.rows.par_iter_mut().for_each(|row| {
            let own = of_art(&row.asked, |asked| &asked.probe, index);
            for asked in &mut row.asked[own] {
                let point = &points[usize::from(asked.probe.point)];
                let sides = Sides::new(space, point);
                let step = |behind| LightnessStep::new(space, &sides, behind, behind);
                asked.before = step(asked.without).signed(0.0).abs();
                let seen = step(asked.probe.with);
                asked.after = seen.signed(0.0).abs();
                asked.probe.with = seen.inside(0.0);
            }
        });
    }

    /// What was seen, by the pictures' places in the plan.
    fn marks(&self) -> Vec<(usize, Vec<Mark>)> {
        let seen = self.outlines.iter().enumerate().filter(|(_, points)| !points.is_empty());
        let mut marks: Vec<(usize, Vec<Mark>)> = seen.map(|(index, _)| (index, Vec::new())).collect();
        for (y, row) in self.rows.iter().enumerate() {
            for Asked { probe, before, after, open, .. } in &row.asked {
                if let Ok(at) = marks.binary_search_by_key(&(probe.job as usize), |(job, _)| *job) {
                    marks[at].1.push(Mark {
                        at: [probe.x, y as u32],
                        place: probe.place,
                        before: *before,
                        after: *after,
                        tone: self.space.lightness(probe.with),
                        open: *open,
                    });
                }
            }
        }
        marks
    }
}

/// The probes of an art among those of a row, which stand in the order of their arts.
fn of_art<T>(row: &[T], probe: impl Fn(&T) -> &Probe, art: usize) -> Range<usize> {
    row.partition_point(|own| (probe(own).job as usize) < art)
        ..row.partition_point(|own| probe(own).job as usize <= art)
}

//! The solve: from the art and what stands behind its outline to the rim.

use super::kernel::{sample, splat};
use super::need::{Step, depth};
use super::outline::{self, Point};
use super::spread::Spread;
use super::{Air, FADING, Outcome, Rim, RimSpec, SHARE, TOLERANCE, finished, nothing, ramp};
use crate::art::Picture;
use crate::exp::exp_neg;
use crate::field::grid::Plane;
use crate::field::stretch::Stretch;
use crate::plan::Placing;
use crate::still::Space;
use rayon::prelude::*;

/// Corrections of the quotients, and how far one may go.
const CORRECTIONS: usize = 8;
const STRIDE: f32 = 1.4;
/// Share of the densest stretch of outline below which a place counts as far from it: there quotients stay as they are.
const FAR: f32 = 4e-3;
/// Share of what is seen nearby that must lack its separation too, lest a place is left as a speck: a mast that passes behind.
const STRETCH: f32 = 0.3;
/// Most of the attainable outline that may be left as specks.
const SPECKS: f64 = 0.03;
/// How much more a place that lacks fog weighs in a correction than one that has enough.
const LACKING: f32 = 5.0;
/// How much a place weighs that needs none.
const CONTENT: f32 = 0.3;
/// Most that the field as a whole is thickened in the end.
const THICKEST: f32 = 2.5;
/// Most of the attainable outline that may lose its step to a rim before it is taken through, and how often that is tried.
const SPOILED: f64 = 0.01;
const ROUNDS: usize = 4;
/// Spreads that are tried.
const TRIES: usize = 5;
/// How much gentler than the sheet's steepest change the rim's stays: texels change a little faster than samples show.
const GENTLE: f64 = 0.85;

/// What stands behind a point of the outline at one camera place, in the blending's own space.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Sight {
    /// Which point.
    pub point: u32,
    /// From which camera place.
    pub place: u16,
    /// The composite of everything behind.
    pub behind: [f32; 3],
}

/// All that a solve reads.
pub(crate) struct Case<'a> {
    pub spec: &'a RimSpec,
    pub placing: &'a Placing,
    pub scale: f64,
    pub picture: &'a Picture,
    pub points: &'a [Point],
    pub sights: &'a [Sight],
    pub space: &'a Space,
    /// Fastest change of the slot's own sheet's opacity, per texel.
    pub sheet_steepest: Option<f64>,
}

/// Optical depth that one sight asks for, by one air; infinite where that air can't give it.
#[derive(Clone, Copy)]
struct Need {
    point: u32,
    /// For the wanted separation, and for what counts as it.
    full: f32,
    enough: f32,
}

/// Airs solved at one spread.
struct Solved {
    outcome: Outcome,
    airs: Vec<Air>,
    spread: Spread,
}

impl Case<'_> {
    pub(super) fn place(&self, point: &Point) -> [f64; 2] {
        let [x, y] = point.at;
        let [left, top] = self.spec.corner;
        [(i64::from(x) + left) as f64 + 0.5, (i64::from(y) + top) as f64 + 0.5]
    }

    /// The haze's colour at each point, in the blending's own space.
    fn colours(&self, spread: &Spread) -> Vec<[f32; 3]> {
        self.points
            .par_iter()
            .map(|point| {
                let place = self.place(point);
                let facing = sample(&spread.facing, &spread.grid, place).clamp(-1.0, 1.0);
                self.space.enter(ramp(self.spec, place[1]).at(facing))
            })
            .collect()
    }

    fn needs(&self, colours: &[[f32; 3]], limit: f32) -> Vec<Need> {
        let most = 1.0 - exp_neg(limit);
        let wanted = self.spec.separation as f32;
        let enough = (wanted - TOLERANCE as f32).max(0.0);
        self.sights
            .par_iter()
            .map(|sight| {
                let at = sight.point as usize;
                let step = Step::new(self.space, &self.points[at], sight.behind, colours[at]);
                let to_depth = |opacity: Option<f32>| opacity.map_or(f32::INFINITY, depth);
                let full = to_depth(step.least(wanted, most));
                let enough = if full.is_finite() { to_depth(step.least(enough, most)) } else { full };
                Need { point: sight.point, full, enough }
            })
            .collect()
    }

    /// Solves for the rim.
    pub fn solve(&self) -> Rim {
        let spec = self.spec;
        let outcome = Outcome {
            places: self.sights.len(),
            lacking: 0,
            attainable: 0,
            reached: 0,
            spoiled: 0,
            spread: spec.spread[0],
            steepest: 0.0,
            sheet_steepest: self.sheet_steepest,
        };
        if self.sights.is_empty() || spec.separation <= 0.0 {
            return self.empty(outcome);
        }
        let limit = depth(spec.most as f32);
        let gentle = self.sheet_steepest.map_or(f64::INFINITY, |sheet| GENTLE * sheet);
        // Which sights are served is told at the least spread, so that a wider one serves the same.
        let mut served = [None, None];
        let [least, most] = spec.spread;
        let (mut deviation, mut too_steep) = (least, least);
        let mut kept: Option<Solved> = None;
        for _ in 0..TRIES {
            let solved = self.at(deviation, limit, &mut served, outcome);
            if solved.outcome.reached == 0 {
                return self.empty(solved.outcome);
            }
            let steep = solved.outcome.steepest;
            let better = kept.as_ref().is_none_or(|kept| {
                let (own, other) = (steep, kept.outcome.steepest);
                if own <= gentle && other <= gentle { deviation < kept.outcome.spread } else { own < other }
            });
            if better {
                kept = Some(solved);
            }
            deviation = if steep > gentle {
                too_steep = too_steep.max(deviation);
                // As the spread widens, its slopes fall at least as fast.
                (deviation * (1.03 * steep / gentle).max(1.1)).min(most)
            } else if deviation > 1.15 * too_steep && steep < 0.75 * gentle {
                libm::sqrt(deviation * too_steep)
            } else {
                break;
            };
            if too_steep >= most {
                break;
            }
        }
        match kept {
            Some(solved) => self.finish(solved, limit),
            None => self.empty(outcome),
        }
    }

    /// The airs that meet the needs at this spread.
    fn at(
        &self,
        deviation: f64,
        limit: f32,
        served: &mut [Option<Vec<bool>>; 2],
        mut outcome: Outcome,
    ) -> Solved {
        let spread = Spread::new(self, deviation);
        let colours = self.colours(&spread);
        let mut needs = self.needs(&colours, 0.85 * limit);
        let [bright, dark] = served;
        let own = bright.get_or_insert_with(|| self.served(&spread, &needs));
        let (depth, mut reached) = self.mended(&spread, &mut needs, own, &colours, limit, &mut outcome);
        outcome.lacking = needs.iter().filter(|need| need.full > 0.0).count();
        outcome.attainable = count(&needs);
        let mut airs = vec![Air { depth, colour: None }];
        if let Some(colour) = self.spec.dark {
            let mut dark_needs =
                self.needs(&vec![self.space.enter(colour.0); self.points.len()], 0.85 * limit);
            for (need, bright) in dark_needs.iter_mut().zip(&needs) {
                if bright.full.is_finite() {
                    (need.full, need.enough) = (0.0, 0.0);
                }
            }
            let own = dark.get_or_insert_with(|| self.served(&spread, &dark_needs));
            let (depth, more) = self.air(&spread, &dark_needs, own, limit);
            if more > 0 {
                outcome.attainable += count(&dark_needs);
                reached += more;
                airs.push(Air { depth, colour: Some(colour.0) });
            }
        }
        outcome.reached = reached;
        outcome.spread = deviation;
        outcome.steepest = spread.steepest(&airs, limit);
        Solved { outcome, airs, spread }
    }

    /// As [`Case::air`]; but where fog that others need would cost places the step that they have, an art lighter than what is behind
    /// it, these are taken through to the other side, as long as that mends more than it costs.
    fn mended(
        &self,
        spread: &Spread,
        needs: &mut [Need],
        served: &mut [bool],
        colours: &[[f32; 3]],
        limit: f32,
        outcome: &mut Outcome,
    ) -> (Plane, usize) {
        let attainable = needs.iter().filter(|need| need.full.is_finite()).count();
        // Those that an earlier spread has taken through.
        for at in 0..needs.len() {
            if served[at] && needs[at].full <= 0.0 {
                needs[at] = self.beyond(at, colours, limit).unwrap_or(needs[at]);
            }
        }
        let mut best: Option<(Plane, usize, Vec<bool>, usize)> = None;
        for _ in 0..ROUNDS {
            let (depth, reached) = self.air(spread, needs, served, limit);
            let spoiled = self.spoiled(&depth, spread, needs, colours, limit);
            let score = |reached: usize, spoiled: usize| reached as i64 - spoiled as i64;
            let mends = best
                .as_ref()
                .is_none_or(|(_, other, _, lost)| score(reached, spoiled.len()) > score(*other, *lost));
            if mends {
                best = Some((depth, reached, served.to_vec(), spoiled.len()));
            } else {
                break;
            }
            if spoiled.len() as f64 <= SPOILED * attainable as f64 {
                break;
            }
            let mut more = false;
            for at in spoiled {
                if let Some(need) = self.beyond(at, colours, limit) {
                    (needs[at], served[at], more) = (need, true, true);
                }
            }
            if !more {
                break;
            }
        }
        let (depth, reached, kept, spoiled) = best.unwrap_or_else(|| {
            let (depth, reached) = self.air(spread, needs, served, limit);
            (depth, reached, served.to_vec(), 0)
        });
        served.copy_from_slice(&kept);
        outcome.spoiled = spoiled;
        (depth, reached)
    }

    /// What the sight `at` needs to have its step on the fog's side.
    fn beyond(&self, at: usize, colours: &[[f32; 3]], limit: f32) -> Option<Need> {
        let sight = &self.sights[at];
        let point = sight.point as usize;
        let step = Step::new(self.space, &self.points[point], sight.behind, colours[point]);
        let (wanted, most) = (self.spec.separation as f32, 1.0 - exp_neg(0.85 * limit));
        let full = depth(step.beyond(wanted, most)?);
        let enough = step.beyond((wanted - TOLERANCE as f32).max(0.0), most).map_or(full, depth);
        Some(Need { point: sight.point, full, enough })
    }

    /// Sights that have their step without fog, and lose it to this one.
    fn spoiled(
        &self,
        field: &Plane,
        spread: &Spread,
        needs: &[Need],
        colours: &[[f32; 3]],
        limit: f32,
    ) -> Vec<usize> {
        let enough = (self.spec.separation - TOLERANCE).max(0.0) as f32;
        let drawn: Vec<f32> = self
            .points
            .par_iter()
            .map(|point| {
                let solved = sample(field, &spread.grid, self.place(point));
                1.0 - exp_neg(finished(solved, limit))
            })
            .collect();
        (0..needs.len())
            .into_par_iter()
            .filter(|at| needs[*at].full <= 0.0)
            .filter(|at| {
                let sight = &self.sights[*at];
                let point = sight.point as usize;
                let step = Step::new(self.space, &self.points[point], sight.behind, colours[point]);
                drawn[point] > 0.0 && step.signed(drawn[point]).abs() < enough
            })
            .collect()
    }

    /// The sights that a rim serves: those that lack the separation, can have it, and stand in a stretch that lacks it. What is left
    /// are specks, and few of them.
    fn served(&self, spread: &Spread, needs: &[Need]) -> Vec<bool> {
        let lacking = |need: &Need| need.full > 0.0 && need.full.is_finite();
        let (grid, kernel) = (&spread.grid, &spread.kernel);
        let mut nearby = vec![1.0_f32; needs.len()];
        let most = self.sights.iter().map(|sight| sight.place).max().unwrap_or(0);
        for place in 0..=most {
            let here: Vec<usize> = (0..needs.len()).filter(|at| self.sights[*at].place == place).collect();
            if !here.iter().any(|at| lacking(&needs[*at])) {
                continue;
            }
            let (mut all, mut short) = (Plane::new(grid.cols, grid.rows), Plane::new(grid.cols, grid.rows));
            for at in &here {
                let place = self.place(&self.points[needs[*at].point as usize]);
                splat(&mut all, grid, place, 1.0);
                if needs[*at].full > 0.0 {
                    splat(&mut short, grid, place, 1.0);
                }
            }
            let (all, short) = (kernel.near(all, grid), kernel.near(short, grid));
            for at in here {
                let place = self.place(&self.points[needs[at].point as usize]);
                nearby[at] = sample(&short, grid, place) / sample(&all, grid, place).max(1e-6);
            }
        }
        let attainable = needs.iter().filter(|need| need.full.is_finite()).count();
        let mut loose: Vec<f32> = (0..needs.len())
            .filter(|at| lacking(&needs[*at]) && nearby[*at] < STRETCH)
            .map(|at| nearby[at])
            .collect();
        loose.sort_by(f32::total_cmp);
        let spared = (SPECKS * attainable as f64) as usize;
        let bound = loose.get(spared).copied().unwrap_or(STRETCH);
        needs.iter().zip(&nearby).map(|(need, nearby)| lacking(need) && *nearby >= bound).collect()
    }

    /// The depth of one air that meets `needs`, and how many of the attainable it meets.
    fn air(&self, spread: &Spread, needs: &[Need], served: &[bool], limit: f32) -> (Plane, usize) {
        let (grid, kernel) = (&spread.grid, &spread.kernel);
        let served: Vec<bool> = needs
            .iter()
            .zip(served)
            .map(|(need, served)| *served && need.full > 0.0 && need.full.is_finite())
            .collect();
        let mut wanted = vec![0.0_f32; self.points.len()];
        let mut seen = vec![false; self.points.len()];
        for (need, served) in needs.iter().zip(&served) {
            let at = need.point as usize;
            seen[at] = true;
            if *served {
                wanted[at] = wanted[at].max(undone(need.full));
            }
        }
        let mut depth = Plane::new(grid.cols, grid.rows);
        if wanted.iter().all(|wanted| *wanted <= 0.0) {
            return (depth, 0);
        }
        let places: Vec<[f64; 2]> = self.points.iter().map(|point| self.place(point)).collect();
        let own: Vec<f32> =
            places.par_iter().map(|place| sample(&spread.spread, grid, *place).max(1e-6)).collect();
        let blurred = |value: &dyn Fn(usize) -> f32| {
            let mut plane = Plane::new(grid.cols, grid.rows);
            for at in (0..places.len()).filter(|at| seen[*at]) {
                splat(&mut plane, grid, places[at], value(at));
            }
            kernel.apply(&plane, grid)
        };
        let over = |above: &Plane, below: &Plane, floor: f32| {
            let least = floor * below.data.iter().copied().fold(0.0, f32::max);
            let quotient =
                |(above, below): (&f32, &f32)| (above.max(0.0) + 1e-12) / (below.max(0.0) + least + 1e-12);
            above.data.iter().zip(&below.data).map(quotient).collect::<Vec<f32>>()
        };
        let mut quotient = over(&blurred(&|at| wanted[at]), &blurred(&|at| own[at]), FAR);
        let write = |depth: &mut Plane, quotient: &[f32]| {
            for ((depth, spread), quotient) in depth.data.iter_mut().zip(&spread.spread.data).zip(quotient) {
                *depth = spread.max(0.0) * quotient;
            }
        };
        for _ in 0..CORRECTIONS {
            write(&mut depth, &quotient);
            let have: Vec<f32> =
                places.par_iter().map(|place| sample(&depth, grid, *place).max(1e-6)).collect();
            let weight = |at: usize| {
                if wanted[at] <= 0.0 {
                    CONTENT
                } else if have[at] < wanted[at] {
                    LACKING
                } else {
                    1.0
                }
            };
            let above = blurred(&|at| weight(at) * wanted[at]);
            let below = blurred(&|at| weight(at) * have[at]);
            // Where no outline is near, the quotient stays as it is.
            let most = below.data.iter().copied().fold(0.0, f32::max);
            for (quotient, (above, below)) in quotient.iter_mut().zip(above.data.iter().zip(&below.data)) {
                let still = FAR * most + 1e-12;
                *quotient *=
                    ((above.max(0.0) + still) / (below.max(0.0) + still)).clamp(1.0 / STRIDE, STRIDE);
            }
        }
        write(&mut depth, &quotient);
        // The least of it that serves enough of the outline.
        let have: Vec<f32> = places.par_iter().map(|place| sample(&depth, grid, *place).max(1e-6)).collect();
        let factor_of = |need: &Need| unfinished(need.enough, limit) / have[need.point as usize];
        let mut factors: Vec<f32> = needs
            .iter()
            .zip(&served)
            .filter(|(_, served)| **served)
            .map(|(need, _)| factor_of(need))
            .collect();
        factors.sort_by(f32::total_cmp);
        let attainable = needs.iter().filter(|need| need.full.is_finite()).count();
        let specks = count(needs) - factors.len();
        // Of what is served, and of all that is attainable.
        let missed = (((1.0 - SHARE) * factors.len() as f64) as usize)
            .min((((1.0 - SHARE) * attainable as f64) as usize).saturating_sub(specks));
        let factor = (factors[factors.len() - 1 - missed.min(factors.len() - 1)] * 1.0005).min(THICKEST);
        depth.data.iter_mut().for_each(|depth| *depth *= factor);
        let met = needs.iter().filter(|need| need.full > 0.0 && factor_of(need) <= factor).count();
        (depth, met)
    }

    fn finish(&self, solved: Solved, limit: f32) -> Rim {
        let Solved { outcome, airs, spread } = solved;
        let spec = self.spec;
        let grid = spread.grid;
        // Rows and columns of the grid that hold anything to see.
        let seen = |value: f32| finished(value, limit) > 2e-4;
        let mut frame = [grid.cols, grid.rows, 0, 0];
        for air in &airs {
            for (at, value) in air.depth.data.iter().enumerate() {
                if seen(*value) {
                    let (x, y) = (at % grid.cols, at / grid.cols);
                    frame = [frame[0].min(x), frame[1].min(y), frame[2].max(x + 1), frame[3].max(y + 1)];
                }
            }
        }
        if frame[2] == 0 {
            return self.empty(outcome);
        }
        let texel =
            |cell: f64, axis: usize, most: u32| ((cell * grid.step[axis]).clamp(0.0, f64::from(most))) as u32;
        let size = [spec.field.cols, spec.field.rows];
        let [mut left, mut right] =
            [texel(frame[0] as f64 - 2.0, 0, size[0]), texel(frame[2] as f64 + 2.0, 0, size[0])];
        if spec.periodic {
            [left, right] = [0, size[0]];
        }
        let [top, foot] =
            [texel(frame[1] as f64 - 2.0, 1, size[1]), texel(frame[3] as f64 + 2.0, 1, size[1])];
        let mut placing = self.placing.clone();
        let [x, y, ..] = placing.rect;
        if !spec.periodic {
            placing.rect[0] = x + f64::from(left) / self.scale;
            placing.rect[2] = f64::from(right - left) / self.scale;
        }
        placing.rect[1] = y + f64::from(top) / self.scale;
        placing.rect[3] = f64::from(foot - top) / self.scale;
        placing.texels = [right - left, foot - top];
        Rim {
            placing,
            outcome,
            airs,
            facing: spread.facing,
            stretch: Stretch::new(grid, size[0] as usize),
            limit,
            beneath: outline::beneath(self.picture, spec.wraps),
            art: self.picture.size,
            crop: [left, top],
            plain: spec.tones.plain(),
            spec: spec.clone(),
        }
    }

    /// A rim of one empty texel.
    fn empty(&self, outcome: Outcome) -> Rim {
        let mut placing = self.placing.clone();
        let [x, y] = [placing.rect[0], placing.rect[1]];
        let side = 1.0 / self.scale;
        placing.rect = if self.spec.periodic { [x, y, placing.rect[2], side] } else { [x, y, side, side] };
        placing.texels = [1, 1];
        Rim {
            placing,
            outcome,
            spec: self.spec.clone(),
            airs: Vec::new(),
            facing: Plane::new(1, 1),
            stretch: Stretch::new(nothing(), 1),
            limit: 0.0,
            beneath: Vec::new(),
            art: [0, 0],
            crop: [0, 0],
            plain: true,
        }
    }
}

/// Sights that lack the separation and can have it.
fn count(needs: &[Need]) -> usize {
    needs.iter().filter(|need| need.full > 0.0 && need.full.is_finite()).count()
}

/// The solved depth whose drawn depth is `depth`, far from the limit.
fn undone(depth: f32) -> f32 {
    if depth <= 0.0 { 0.0 } else { 0.5 * (depth + (depth * (depth + 4.0 * FADING)).sqrt()) }
}

/// The solved depth whose drawn depth is `depth`.
fn unfinished(depth: f32, limit: f32) -> f32 {
    let held = undone(depth);
    let knee = 0.85 * limit;
    if held <= knee {
        return held;
    }
    let (room, over) = (limit - knee, held - knee);
    if over >= room { f32::INFINITY } else { knee + room * over / (room - over) }
}

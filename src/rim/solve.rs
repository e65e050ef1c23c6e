//! The solve: from the art and what stands behind its outline to the rim, at the minimum spread that shows no edge.

use crate::rim::ceiling::Limits;
use crate::rim::depth::optical_depth;
use crate::rim::draw::Rim;
use crate::rim::gain::solve_air;
use crate::rim::part::{Known, Part, Region};
use crate::rim::problem::{Air, Outcome, Problem};
use crate::rim::requirement::{Requirement, count_open};
use crate::rim::selection::{Mended, select, solve_mended};
use crate::rim::spread::Spread;
use crate::steps::grid::{Grid, Plane};

/// Spreads that are tried; chosen by their time.
const TRIES: usize = 5;
/// Share of the steepest change allowed that is near enough to it; chosen by eye.
const NEAR: f64 = 0.88;
/// How much gentler than the sheet's steepest change the rim's stays: texels change a little faster than samples show. Chosen by eye.
const GENTLE: f64 = 0.85;
/// How much wider than its excess of slope a spread is made, since slopes fall a little slower; and by how much at least.
const WIDENING: [f64; 2] = [1.03, 1.1];
/// A spread this many times a too narrow one is near enough to it.
const NARROWEST: f64 = 1.1;
/// Bounds on where between two spreads the next one is tried, by powers.
const BETWEEN: [f64; 2] = [0.2, 0.9];

/// Airs solved at one spread.
pub(super) struct Solution {
    pub outcome: Outcome,
    /// On the region of the grid.
    pub airs: Vec<Air>,
    pub facing: Plane,
    pub region: Region,
    pub grid: Grid,
}

impl Problem<'_> {
    /// Solves for the rim.
    pub fn solve(&self) -> Rim {
        let spec = &self.job.spec;
        let outcome = Outcome {
            places: self.observations.len(),
            spread: spec.spread[0],
            sheet_steepest: self.sheet_steepest,
            ..Outcome::default()
        };
        if self.observations.is_empty() || spec.separation <= 0.0 {
            return Rim::empty(self.job, self.scale, outcome);
        }
        let limit = optical_depth(spec.most as f32);
        let known = self.known(limit);
        let outcome = Outcome { lacking: known.lacking, ..outcome };
        let gentle = self.sheet_steepest.map_or(f64::INFINITY, |sheet| GENTLE * sheet);
        let mut search = Search { gentle, widest: spec.spread[1], too_steep: None };
        let mut solver =
            Solver { problem: self, known: &known, limit, outcome, selected: None, selected_dark: None };
        let mut deviation = spec.spread[0];
        let mut best: Option<Solution> = None;
        for _ in 0..TRIES {
            let Some(solution) = solver.solve_at(deviation) else { break };
            let Outcome { reached, spoiled, steepest, .. } = solution.outcome;
            // A rim that costs no fewer steps than it makes is none.
            if reached <= spoiled {
                return Rim::empty(self.job, self.scale, solution.outcome);
            }
            if best.as_ref().is_none_or(|best| search.prefers(&solution.outcome, &best.outcome)) {
                best = Some(solution);
            }
            match search.next(deviation, steepest) {
                Some(next) => deviation = next,
                None => break,
            }
        }
        match best {
            Some(solution) => solution.crop(self, limit),
            None => Rim::empty(self.job, self.scale, outcome),
        }
    }
}

/// The search for the minimum spread that is gentle enough.
struct Search {
    /// The steepest change that is allowed, per texel.
    gentle: f64,
    /// The largest deviation that is allowed, texels.
    widest: f64,
    /// The widest spread that is too steep, and its steepest change.
    too_steep: Option<(f64, f64)>,
}

impl Search {
    /// Whether one outcome is better than another: the narrower of two that are gentle enough, else the gentler.
    fn prefers(&self, own: &Outcome, other: &Outcome) -> bool {
        if own.steepest <= self.gentle && other.steepest <= self.gentle {
            own.spread < other.spread
        } else {
            own.steepest < other.steepest
        }
    }

    /// The deviation that is tried after one whose steepest change is `steepest`; none where that is near enough.
    fn next(&mut self, deviation: f64, steepest: f64) -> Option<f64> {
        let gentle = self.gentle;
        if steepest > gentle {
            if deviation >= self.widest {
                return None;
            }
            self.too_steep = Some((deviation, steepest));
            // As the spread widens, its slopes fall about as fast.
            return Some((deviation * (WIDENING[0] * steepest / gentle).max(WIDENING[1])).min(self.widest));
        }
        let (narrow, steeper) = self.too_steep?;
        if steepest >= NEAR * gentle || deviation <= NARROWEST * narrow {
            return None;
        }
        // Between the two, by powers.
        let share = libm::log(steeper / (0.5 * (1.0 + NEAR) * gentle)) / libm::log(steeper / steepest);
        Some(narrow * libm::pow(deviation / narrow, share.clamp(BETWEEN[0], BETWEEN[1])))
    }
}

/// Solves at one spread after the other. Which observations are served is told at the first, the narrowest, so that a wider one serves
/// the same.
struct Solver<'a> {
    problem: &'a Problem<'a>,
    known: &'a Known,
    /// Most optical depth.
    limit: f32,
    /// What is known of the outcome beforehand.
    outcome: Outcome,
    /// Of the problem's observations: by the haze, and by the fog that darkens.
    selected: Option<Vec<bool>>,
    selected_dark: Option<Vec<bool>>,
}

impl<'a> Solver<'a> {
    /// The airs that meet the requirements at this spread; none where nothing can be met.
    fn solve_at(&mut self, deviation: f64) -> Option<Solution> {
        let limit = self.limit;
        let part = Part::new(self.problem, self.known, deviation)?;
        let spread = Spread::new(&part);
        let colours = self.problem.haze(&part.points, |at| spread.samples.places[at].sample(&spread.facing));
        let limits = part.limits(&spread, &colours, limit);
        let mut requirements = part.requirements(&colours, &limits.own);
        let mut selected = match &self.selected {
            Some(selected) => part.here(selected),
            None => select(&part, &spread, &requirements),
        };
        let Mended { air, spoiled } =
            solve_mended(&part, &spread, &mut requirements, &mut selected, &colours, &limits);
        self.selected = Some(part.everywhere(&selected));
        let mut outcome = Outcome {
            lacking: part.lacking_elsewhere
                + requirements.iter().filter(|requirement| requirement.is_lacking()).count(),
            attainable: count_open(&requirements),
            reached: air.reached,
            spoiled,
            spread: deviation,
            ..self.outcome
        };
        let mut airs = vec![Air { depth: air.depth, colour: None }];
        airs.extend(self.dark_air(&part, &spread, &requirements, &mut outcome));
        outcome.steepest = spread.steepest(&airs, limit);
        let Part { region, whole, .. } = part;
        Some(Solution { outcome, airs, facing: spread.facing, region, grid: whole })
    }

    /// The air that darkens where the haze can't meet the requirements; none where none is wanted, or none helps.
    fn dark_air(
        &mut self,
        part: &Part<'a>,
        spread: &Spread,
        bright: &[Requirement],
        outcome: &mut Outcome,
    ) -> Option<Air> {
        let (problem, limit) = (self.problem, self.limit);
        let colour = problem.job.spec.dark?;
        let colours = vec![problem.space.enter(colour.0); part.points.len()];
        // It is there to darken.
        let limits = Limits { most: limit, own: vec![limit; part.points.len()] };
        let mut requirements = part.requirements(&colours, &limits.own);
        for (requirement, bright) in requirements.iter_mut().zip(bright) {
            if bright.is_attainable() {
                (requirement.full, requirement.enough) = (0.0, 0.0);
            }
        }
        let selected = match &self.selected_dark {
            Some(selected) => part.here(selected),
            None => select(part, spread, &requirements),
        };
        self.selected_dark = Some(part.everywhere(&selected));
        let air = solve_air(part, spread, &requirements, &selected, &limits);
        if air.reached == 0 {
            return None;
        }
        outcome.attainable += count_open(&requirements);
        outcome.reached += air.reached;
        Some(Air { depth: air.depth, colour: Some(colour.0) })
    }
}

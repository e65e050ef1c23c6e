//! Which places of an outline a rim serves, and which it takes through to the fog's side.

use crate::base::exp::opacity;
use crate::rim::ceiling::Limits;
use crate::rim::depth::drawn_depth;
use crate::rim::gain::{SolvedAir, solve_air};
use crate::rim::part::Part;
use crate::rim::requirement::Requirement;
use crate::rim::spread::Spread;
use crate::steps::grid::Plane;
use rayon::prelude::*;
use std::collections::BTreeMap;

/// Share of what is seen nearby that must lack its separation too, lest a place is left as a speck: a mast that passes behind. Chosen
/// by eye.
const NEARBY_MIN: f32 = 0.3;
/// Most of the attainable outline that may be left as specks; chosen by eye.
const SPECKS_MAX: f64 = 0.03;
/// Most of the attainable outline that may lose its step to a rim before it is taken through; chosen by eye.
const SPOILED_MAX: f64 = 0.01;
/// How often places are taken through; chosen by its time.
const ROUNDS: usize = 4;

/// An air with what it costs.
pub(super) struct Mended {
    pub air: SolvedAir,
    /// Places that lose the step that they have.
    pub spoiled: usize,
}

/// As [`solve_air`]; but where fog that others need would cost places the step that they have, an art lighter than what is behind it,
/// these are taken through to the other side, as long as that mends more than it costs: their requirements and `selected` change.
pub(super) fn solve_mended(
    part: &Part<'_>,
    spread: &Spread,
    requirements: &mut [Requirement],
    selected: &mut [bool],
    colours: &[[f32; 3]],
    limits: &Limits,
) -> Mended {
    let attainable = part.count_attainable(requirements);
    // Those that an earlier spread has taken through.
    for at in 0..requirements.len() {
        if selected[at] && !requirements[at].is_lacking() {
            take_through(part, requirements, at, colours, limits);
        }
    }
    let mut best: Option<(Mended, Vec<bool>)> = None;
    for _ in 0..ROUNDS {
        let air = solve_air(part, spread, requirements, selected, limits);
        let spoiled = part.spoiled(&opacities(spread, &air.depth, limits.most), requirements, colours);
        let mended = Mended { air, spoiled: spoiled.len() };
        if best.as_ref().is_some_and(|(best, _)| mended.score() <= best.score()) {
            break;
        }
        best = Some((mended, selected.to_vec()));
        if spoiled.len() as f64 <= SPOILED_MAX * attainable as f64 {
            break;
        }
        let mut more = false;
        for at in spoiled {
            if take_through(part, requirements, at, colours, limits) {
                (selected[at], more) = (true, true);
            }
        }
        if !more {
            break;
        }
    }
    match best {
        Some((mended, of_best)) => {
            selected.copy_from_slice(&of_best);
            mended
        }
        None => Mended { air: solve_air(part, spread, requirements, selected, limits), spoiled: 0 },
    }
}

impl Mended {
    fn score(&self) -> i64 {
        self.air.reached as i64 - self.spoiled as i64
    }
}

/// Has the observation `at` ask for its step on the fog's side, if fog can give it there.
fn take_through(
    part: &Part<'_>,
    requirements: &mut [Requirement],
    at: usize,
    colours: &[[f32; 3]],
    limits: &Limits,
) -> bool {
    if !part.is_core(part.seen[at].point) {
        return false;
    }
    let found = part.requirement_on_fog_side(at, colours, &limits.own);
    if let Some(requirement) = found {
        requirements[at] = requirement;
    }
    found.is_some()
}

/// The opacity of a solved depth at each point of the outline, as it is drawn.
fn opacities(spread: &Spread, depth: &Plane, limit: f32) -> Vec<f32> {
    spread.samples.places.par_iter().map(|place| opacity(drawn_depth(place.sample(depth), limit))).collect()
}

/// The observations that a rim serves: those that lack the separation, can have it, and stand where others nearby lack it too. What is
/// left are specks, and few of them.
pub(super) fn select(part: &Part<'_>, spread: &Spread, requirements: &[Requirement]) -> Vec<bool> {
    let nearby = shares_nearby(part, spread, requirements);
    let mut loose: Vec<f32> = requirements
        .iter()
        .zip(&nearby)
        .filter(|(requirement, nearby)| requirement.is_open() && **nearby < NEARBY_MIN)
        .map(|(_, nearby)| *nearby)
        .collect();
    loose.sort_by(f32::total_cmp);
    let specks = (SPECKS_MAX * part.count_attainable(requirements) as f64) as usize;
    let bound = loose.get(specks).copied().unwrap_or(NEARBY_MIN);
    requirements
        .iter()
        .zip(&nearby)
        .map(|(requirement, nearby)| requirement.is_open() && *nearby >= bound)
        .collect()
}

/// For each observation that is open: the share of what is seen nearby, from the same camera place, that lacks its separation. 1 for the
/// others.
fn shares_nearby(part: &Part<'_>, spread: &Spread, requirements: &[Requirement]) -> Vec<f32> {
    let mut by_camera: BTreeMap<u16, Vec<usize>> = BTreeMap::new();
    for (at, seen) in part.seen.iter().enumerate() {
        by_camera.entry(seen.camera).or_default().push(at);
    }
    let blurred = &spread.blurred;
    let place = |at: usize| &blurred.places[requirements[at].point as usize];
    let shares = |here: &Vec<usize>| -> Vec<(usize, f32)> {
        if !here.iter().any(|at| requirements[*at].is_open()) {
            return Vec::new();
        }
        let mut planes = [0, 1].map(|_| Plane::new(blurred.grid.cols, blurred.grid.rows));
        for at in here {
            place(*at).scatter(&mut planes[0], 1.0);
            if requirements[*at].is_lacking() {
                place(*at).scatter(&mut planes[1], 1.0);
            }
        }
        let [all, lacking] = planes.map(|plane| blurred.near(plane));
        let open = here.iter().filter(|at| requirements[**at].is_open());
        let share = |at: usize| place(at).sample(&lacking) / place(at).sample(&all).max(1e-6);
        open.map(|at| (*at, share(*at))).collect()
    };
    let shares: Vec<Vec<(usize, f32)>> = by_camera.par_iter().map(|(_, here)| shares(here)).collect();
    let mut nearby = vec![1.0_f32; requirements.len()];
    for (at, share) in shares.into_iter().flatten() {
        nearby[at] = share;
    }
    nearby
}

//! The solve: from the art and what stands behind its outline to the rim.

use super::kernel::{Kernel, sample, splat};
use super::need::{Step, depth};
use super::outline::{self, Point};
use super::{Air, FADING, Outcome, Rim, RimSpec, SHARE, TOLERANCE, finished, nothing, ramp};
use crate::art::Picture;
use crate::exp::exp_neg;
use crate::field::bands::{self, Passes};
use crate::field::falloff;
use crate::field::grid::{Grid, Plane};
use crate::field::stretch::Stretch;
use crate::plan::Placing;
use crate::seed;
use crate::still::Space;

/// How far the spread sinks toward the anchor, as a share of its deviation.
const SINK: f64 = 0.4;
/// Share of the spread that the bands, and the falloff, leave alone: in their gaps a rim thins, but doesn't tear.
const EVEN: [f32; 2] = [0.4, 0.35];
/// Corrections of the quotients.
const CORRECTIONS: usize = 6;
/// How much more a place that lacks fog weighs in a correction than one that has enough.
const LACKING: f32 = 5.0;
/// How much a place weighs that needs none.
const CONTENT: f32 = 0.3;
/// Most that the field as a whole is thickened in the end.
const THICKEST: f32 = 2.5;
/// How much gentler than the sheet's steepest change the rim's stays: texels change a little faster than samples show.
const GENTLE: f64 = 0.85;

/// What stands behind a point of the outline at one camera place, in the blending's own space.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Sight {
    /// Which point.
    pub point: u32,
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

/// The spread on its grid.
struct Spread {
    kernel: Kernel,
    grid: Grid,
    coverage: Plane,
    spread: Plane,
    facing: Plane,
}

impl Case<'_> {
    fn place(&self, point: &Point) -> [f64; 2] {
        let [x, y] = point.at;
        let [left, top] = self.spec.corner;
        [(i64::from(x) + left) as f64 + 0.5, (i64::from(y) + top) as f64 + 0.5]
    }

    fn spread(&self, deviation: f64) -> Spread {
        let spec = self.spec;
        let field = &spec.field;
        let kernel = Kernel::new(field, deviation);
        let grid = kernel.grid([field.cols, field.rows]);
        let (cols, rows) = (i64::from(field.cols), i64::from(field.rows));
        let coverage = Plane {
            cols: grid.cols,
            data: outline::coverage(
                self.picture,
                [grid.cols, grid.rows],
                |x| {
                    let at = x + spec.corner[0];
                    let at = if spec.periodic { at.rem_euclid(cols) } else { at };
                    (at >= 0 && at < cols)
                        .then(|| ((at as f64 + 0.5) / grid.step[0]) as usize)
                        .map(|col| col.min(grid.cols - 1))
                },
                |y| {
                    let at = y + spec.corner[1];
                    (at >= 0 && at < rows)
                        .then(|| ((at as f64 + 0.5) / grid.step[1]) as usize)
                        .map(|row| row.min(grid.rows - 1))
                },
                grid.step[0] * grid.step[1],
            ),
        };
        let mut shape = Plane::new(grid.cols, grid.rows);
        let passes = Passes { sigma: kernel.deviation, smear: [0.0; 2] };
        bands::fill(
            &field.recipe.bands,
            seed::of(field.seed, "bands"),
            field.line,
            &passes,
            &grid,
            &mut shape,
        );
        let mut fall = Plane::new(grid.cols, grid.rows);
        fall.data.fill(1.0);
        let dice = seed::of(field.seed, "falloff");
        falloff::apply(&field.recipe.falloff, dice, field.line, field.open, &grid, &mut fall);
        // Drawn from rows farther from the anchor, so that the fog has sunk toward it.
        let sink = (SINK * deviation / grid.step[1]).round() as i64 * field.open as i64;
        shape.each_row(|row, numbers| {
            let from = (row as i64 + sink).clamp(0, grid.rows as i64 - 1) as usize;
            for ((number, covered), fall) in
                numbers.iter_mut().zip(coverage.row(from)).zip(fall.row(row))
            {
                let bands = EVEN[0] + (1.0 - EVEN[0]) * number.clamp(0.0, 2.0);
                *number = covered * bands * (EVEN[1] + (1.0 - EVEN[1]) * fall.min(1.0));
            }
        });
        let spread = kernel.apply(&shape, &grid);
        let facing = facing(&spread, &grid, spec, &kernel);
        Spread { kernel, grid, coverage, spread, facing }
    }

    /// The haze's colour at each point, in the blending's own space.
    fn colours(&self, spread: &Spread) -> Vec<[f32; 3]> {
        self.points
            .iter()
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
            .iter()
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
        let mut outcome = Outcome {
            places: self.sights.len(),
            lacking: 0,
            attainable: 0,
            reached: 0,
            spread: spec.spread[0],
            steepest: 0.0,
            sheet_steepest: self.sheet_steepest,
        };
        if self.sights.is_empty() || spec.separation <= 0.0 {
            return self.empty(outcome);
        }
        // The limit lies under `most` by as much as the drawn depth may still come near it.
        let limit = depth(spec.most as f32);
        let mut deviation = spec.spread[0];
        for last in [false, false, true] {
            let spread = self.spread(deviation);
            let needs = self.needs(&self.colours(&spread), 0.85 * limit);
            outcome.lacking = needs.iter().filter(|need| need.full > 0.0).count();
            let mut airs = Vec::new();
            let bright = self.air(&spread, &needs, limit);
            let mut met = bright.1;
            outcome.attainable = count(&needs);
            airs.push(Air { depth: bright.0, colour: None });
            if let Some(dark) = spec.dark {
                let hazeless: Vec<bool> = needs.iter().map(|need| need.full.is_infinite()).collect();
                let colour = self.space.enter(dark.0);
                let mut dark_needs = self.needs(&vec![colour; self.points.len()], 0.85 * limit);
                for (need, hazeless) in dark_needs.iter_mut().zip(hazeless) {
                    if !hazeless {
                        need.full = 0.0;
                        need.enough = 0.0;
                    }
                }
                let more = count(&dark_needs);
                if more > 0 {
                    let air = self.air(&spread, &dark_needs, limit);
                    outcome.attainable += more;
                    met += air.1;
                    airs.push(Air { depth: air.0, colour: Some(dark.0) });
                }
            }
            outcome.reached = met;
            outcome.spread = deviation;
            if outcome.attainable == 0 {
                return self.empty(outcome);
            }
            outcome.steepest = steepest(&airs, &spread, limit);
            let room = spec.spread[1] / deviation;
            let wider = self
                .sheet_steepest
                .map_or(1.0, |sheet| outcome.steepest / (GENTLE * sheet).max(1e-6))
                .min(room);
            if last || wider <= 1.02 {
                return self.finish(outcome, airs, spread, limit);
            }
            deviation *= wider * 1.03_f64.min(room / wider);
        }
        self.empty(outcome)
    }

    /// The depth of one air that meets `needs`, and how many of the attainable it meets.
    fn air(&self, spread: &Spread, needs: &[Need], limit: f32) -> (Plane, usize) {
        let (grid, kernel) = (&spread.grid, &spread.kernel);
        let mut wanted = vec![0.0_f32; self.points.len()];
        let mut seen = vec![false; self.points.len()];
        for need in needs {
            let at = need.point as usize;
            seen[at] = true;
            if need.full.is_finite() {
                wanted[at] = wanted[at].max(undone(need.full));
            }
        }
        let mut depth = Plane::new(grid.cols, grid.rows);
        if wanted.iter().all(|wanted| *wanted <= 0.0) {
            return (depth, 0);
        }
        let places: Vec<[f64; 2]> = self.points.iter().map(|point| self.place(point)).collect();
        let own: Vec<f32> =
            places.iter().map(|place| sample(&spread.spread, grid, *place).max(1e-6)).collect();
        let blurred = |value: &dyn Fn(usize) -> f32| {
            let mut plane = Plane::new(grid.cols, grid.rows);
            for at in (0..places.len()).filter(|at| seen[*at]) {
                splat(&mut plane, grid, places[at], value(at));
            }
            kernel.apply(&plane, grid)
        };
        let over = |above: &Plane, below: &Plane, floor: f32| {
            let least = floor * below.data.iter().copied().fold(0.0, f32::max);
            let quotient = |(above, below): (&f32, &f32)| (above.max(0.0) + 1e-12) / (below.max(0.0) + least + 1e-12);
            above.data.iter().zip(&below.data).map(quotient).collect::<Vec<f32>>()
        };
        let mut quotient = over(&blurred(&|at| wanted[at]), &blurred(&|at| own[at]), 1e-5);
        let write = |depth: &mut Plane, quotient: &[f32]| {
            for ((depth, spread), quotient) in depth.data.iter_mut().zip(&spread.spread.data).zip(quotient) {
                *depth = spread.max(0.0) * quotient;
            }
        };
        for _ in 0..CORRECTIONS {
            write(&mut depth, &quotient);
            let have: Vec<f32> = places.iter().map(|place| sample(&depth, grid, *place).max(1e-6)).collect();
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
                let still = 1e-5 * most + 1e-12;
                *quotient *= ((above.max(0.0) + still) / (below.max(0.0) + still)).clamp(0.2, 5.0);
            }
        }
        write(&mut depth, &quotient);
        // The least of it that serves enough of the outline.
        let have: Vec<f32> = places.iter().map(|place| sample(&depth, grid, *place).max(1e-6)).collect();
        let mut factors: Vec<f32> = needs
            .iter()
            .filter(|need| need.full > 0.0 && need.full.is_finite())
            .map(|need| unfinished(need.enough, limit) / have[need.point as usize])
            .collect();
        factors.sort_by(f32::total_cmp);
        let at = ((factors.len() as f64 * SHARE).ceil() as usize).clamp(1, factors.len()) - 1;
        let factor = (factors[at] * 1.0005).min(THICKEST);
        depth.data.iter_mut().for_each(|depth| *depth *= factor);
        let met = factors.iter().filter(|own| **own <= factor).count();
        (depth, met)
    }

    fn finish(&self, outcome: Outcome, airs: Vec<Air>, spread: Spread, limit: f32) -> Rim {
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
        let texel = |cell: f64, axis: usize, most: u32| ((cell * grid.step[axis]).clamp(0.0, f64::from(most))) as u32;
        let size = [spec.field.cols, spec.field.rows];
        let [mut left, mut right] = [
            texel(frame[0] as f64 - 2.0, 0, size[0]),
            texel(frame[2] as f64 + 2.0, 0, size[0]),
        ];
        if spec.periodic {
            [left, right] = [0, size[0]];
        }
        let [top, foot] = [
            texel(frame[1] as f64 - 2.0, 1, size[1]),
            texel(frame[3] as f64 + 2.0, 1, size[1]),
        ];
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

/// How much each place of the spread faces the light.
fn facing(spread: &Plane, grid: &Grid, spec: &RimSpec, kernel: &Kernel) -> Plane {
    let turn = spec.light.to_radians();
    let reach = kernel.deviation.map(|deviation| 0.5 * deviation);
    let dx = (libm::cos(turn) * reach[0] / grid.step[0]).round() as i64;
    let dy = (-libm::sin(turn) * reach[1] / grid.step[1]).round() as i64;
    let rows = grid.rows as i64;
    let wrap = |at: i64| at.rem_euclid(grid.cols as i64) as usize;
    let mut out = Plane::new(grid.cols, grid.rows);
    out.each_row(|row, numbers| {
        let toward = spread.row((row as i64 + dy).clamp(0, rows - 1) as usize);
        let away = spread.row((row as i64 - dy).clamp(0, rows - 1) as usize);
        for (col, number) in numbers.iter_mut().enumerate() {
            let slope = 2.5 * (away[wrap(col as i64 - dx)] - toward[wrap(col as i64 + dx)]);
            *number = slope / (1.0 + slope * slope).sqrt();
        }
    });
    out
}

/// Fastest change of opacity per texel between neighbouring samples, where the art doesn't cover both.
fn steepest(airs: &[Air], spread: &Spread, limit: f32) -> f64 {
    let grid = &spread.grid;
    let opacity = |at: usize| {
        let sum: f32 = airs.iter().map(|air| air.depth.data[at].max(0.0)).sum();
        f64::from(1.0 - exp_neg(finished(sum, limit)))
    };
    let mut most = 0.0_f64;
    for at in 0..grid.cols * grid.rows {
        if spread.coverage.data[at] > 0.9 {
            continue;
        }
        let own = opacity(at);
        let mut slope = [0.0; 2];
        if at % grid.cols + 1 < grid.cols {
            slope[0] = (opacity(at + 1) - own) / grid.step[0];
        }
        if at / grid.cols + 1 < grid.rows {
            slope[1] = (opacity(at + grid.cols) - own) / grid.step[1];
        }
        most = most.max(libm::hypot(slope[0], slope[1]));
    }
    most
}

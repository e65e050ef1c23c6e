//! Step 1: bands. Layered noise, periodic in x, cut to a coverage.

pub mod cells;
mod edge;
pub mod lattice;
pub mod octave;
mod spectrum;

pub use spectrum::{finest, sharpness};

use crate::base::seed;
use crate::base::threads;
use crate::base::units::Texel;
use crate::steps::grid::{Grid, Plane};
use crate::steps::moment::{Moment, Phase, TURNS};
use crate::steps::recipe::{Bands, Noise};
use crate::steps::slow_noise::SlowNoise;
use cells::Cells;
use edge::Edge;
use lattice::Lattice;
use octave::{BEYOND, COARSEST, Flowing, Octave, SampledOctave, Scratch, Source, Warp};
use spectrum::{Part, feature, parts};
use std::f64::consts::FRAC_1_SQRT_2;

/// Noises of one lattice are taken from places up to so many cells apart, so that they share nothing; chosen by eye.
const OFFSET: f64 = 64.0;
/// How far the points of cells wander over a loop, as a share of their way to and fro; chosen by eye.
const WANDER: f64 = 0.15;
/// Most by which the mean of a row is held; chosen by eye.
const HELD: f64 = 2.0;
/// The same of its contrast.
const HELD_CONTRAST: f64 = 1.25;
/// Cells of the warp over a feature's size: features bend and don't curdle. Chosen by eye.
const WARP_CELL: f64 = 2.0;
/// Least height of a feature that is warped, texels: of finer ones nothing is seen, bent or not, and their tables would be vast.
const WARPED_MIN: f64 = 0.25;

/// Writes the bands into `plane`: mean about 1 where `amount` is above 0, exactly 1 where it is 0. Lengths of the recipe and
/// `line` in texels. With a `sigma` (the Gaussian's deviation along x and y, texels) octaves are worked out as coarsely as it
/// allows; without, at every sample.
pub fn fill(
    bands: &Bands<Texel>,
    seed: u64,
    moment: &Moment,
    line: f64,
    sigma: Option<[f64; 2]>,
    grid: &Grid,
    plane: &mut Plane,
) {
    if bands.amount <= 0.0 {
        plane.data.fill(1.0);
        return;
    }
    draw(bands, seed, moment, line, sigma, grid, plane);
    if !moment.is_rest() {
        let mut rest = Plane::new(grid.cols, grid.rows);
        draw(bands, seed, &Moment::REST, line, sigma, grid, &mut rest);
        hold(plane, &rest);
    }
}

/// Holds the mean and the contrast of each row to those at rest: few features strike no mean, and the fog of a loop neither grows nor
/// shrinks.
fn hold(plane: &mut Plane, rest: &Plane) {
    plane.each_row(
        #[inline(always)]
        |row, numbers| {
            let [(want, wanted), (got, found)] = [rest.row(row), &*numbers].map(mean_and_deviation);
            let factor = (want / got.max(f64::MIN_POSITIVE)).clamp(1.0 / HELD, HELD);
            let contrast =
                (wanted / (factor * found).max(f64::MIN_POSITIVE)).clamp(1.0 / HELD_CONTRAST, HELD_CONTRAST);
            let [factor, middle, contrast] = [factor, factor * got, contrast].map(|number| number as f32);
            // Density is never below 0.
            numbers
                .iter_mut()
                .for_each(|number| *number = (middle + contrast * (factor * *number - middle)).max(0.0));
        },
    );
}

fn mean_and_deviation(numbers: &[f32]) -> (f64, f64) {
    let count = numbers.len() as f64;
    let mean = numbers.iter().copied().map(f64::from).sum::<f64>() / count;
    let squares = numbers.iter().map(|number| (f64::from(*number) - mean).powi(2)).sum::<f64>();
    (mean, (squares / count).sqrt())
}

/// The bands of a moment as its noises make them.
fn draw(
    bands: &Bands<Texel>,
    seed: u64,
    moment: &Moment,
    line: f64,
    sigma: Option<[f64; 2]>,
    grid: &Grid,
    plane: &mut Plane,
) {
    let noise = LayeredNoise::new(bands, seed, moment, line, grid);
    let Kept { parts, lost, change } = noise.kept();
    let warp = if parts.is_empty() { None } else { noise.warp() };
    let warp = warp.as_ref();
    let sample =
        |(k, part): (usize, Part)| SampledOctave::new(noise.octave(k, &part), warp, line, grid, sigma);
    let octaves: Vec<SampledOctave> = threads::each(parts, sample);
    let edge = Edge::new(bands.coverage, bands.contrast, lost, change);
    let amount = bands.amount as f32;
    plane.each_row_with(
        #[inline(always)]
        |scratch: &mut Scratch, row, numbers| {
            let y = grid.y(row) - line;
            scratch.displace(warp, y, numbers.len());
            numbers.fill(0.0);
            for octave in &octaves {
                octave.add(bands.kind, warp, (row, y), grid.step[0], scratch, numbers);
            }
            edge.cut(numbers);
            for number in numbers.iter_mut() {
                *number = 1.0 - amount + amount * *number;
            }
        },
    );
}

/// Bytes that [`fill`] holds besides the plane: the gradients or points of every octave.
pub fn bytes(bands: &Bands<Texel>, line: f64, grid: &Grid) -> f64 {
    if bands.amount <= 0.0 {
        return 0.0;
    }
    let noise = LayeredNoise::new(bands, 0, &Moment::REST, line, grid);
    let parts = noise.kept().parts;
    if parts.is_empty() {
        return 0.0;
    }
    let each = if bands.kind == Noise::Cellular { cells::POINT } else { lattice::GRADIENT };
    let octaves: f64 = parts
        .iter()
        .map(|(_, part)| {
            let Reach { margin, from, to } = noise.reach_of(part, 0.0);
            // A cell or two more on every side, as both kinds round.
            each as f64 * (part.across + 2.0 * margin + 5.0) * (to - from + 6.0)
        })
        .sum();
    octaves * lattices(bands.kind).len() as f64
}

/// A lattice that an octave's noise is taken from.
struct OctaveLattice {
    /// What its seed is derived by; none for the octave's own.
    label: &'static str,
    /// How far it stands from the first, in cells, along x and y.
    apart: f64,
    /// How much of it there is; the squares of all weights sum to 1.
    weight: f64,
}

/// The one lattice of most kinds.
const LATTICE: [OctaveLattice; 1] = [OctaveLattice { label: "", apart: 0.0, weight: 1.0 }];
/// Gradient noise is 0 at every point of its lattice, so that creases of folded noise run from point to point and show its axes. The sum of
/// two lattices half a cell apart is 0 at no point of either.
const LATTICES_FOLDED: [OctaveLattice; 2] = [
    OctaveLattice { label: "", apart: 0.0, weight: FRAC_1_SQRT_2 },
    OctaveLattice { label: "between", apart: 0.5, weight: FRAC_1_SQRT_2 },
];

fn lattices(kind: Noise) -> &'static [OctaveLattice] {
    match kind {
        Noise::Smooth | Noise::Cellular => &LATTICE,
        Noise::Billowed | Noise::Ridged => &LATTICES_FOLDED,
    }
}

/// The cells of an octave that are looked up: so many beyond the period on either side, and from one height to another.
struct Reach {
    margin: f64,
    from: f64,
    to: f64,
}

/// Layered noise on a grid: what its octaves share. Lengths in texels.
struct LayeredNoise<'a> {
    bands: &'a Bands<Texel>,
    seed: u64,
    moment: Moment,
    grid: &'a Grid,
    period: f64,
    /// Width and height of the largest features.
    feature: [f64; 2],
    /// The first and the last place that is sampled, below the line.
    rows: [f64; 2],
    /// How far the warp displaces places.
    reach: [f64; 2],
}

/// The octaves that a grid resolves, by their number, and what becomes of the others.
struct Kept {
    parts: Vec<(usize, Part)>,
    /// Variance of the octaves that are left out.
    lost: f64,
    /// Mean square of how much the others change from sample to sample.
    change: f64,
}

impl<'a> LayeredNoise<'a> {
    fn new(
        bands: &'a Bands<Texel>,
        seed: u64,
        moment: &Moment,
        line: f64,
        grid: &'a Grid,
    ) -> LayeredNoise<'a> {
        let period = grid.cols as f64 * grid.step[0];
        let feature = feature(bands, period);
        // Coarse grids of octaves reach a little farther.
        let beyond = ((BEYOND + 1) * COARSEST) as f64 * grid.step[1];
        let rows = [grid.y(0) - line - beyond, grid.y(grid.rows.max(1) - 1) - line + beyond];
        let reach = feature.map(|side| bands.warp.abs() * side);
        LayeredNoise { bands, seed, moment: *moment, grid, period, feature, rows, reach }
    }

    fn is_warped(&self) -> bool {
        self.bands.warp > 0.0 && self.feature[1] >= WARPED_MIN
    }

    /// Cells of the warp over the period.
    fn warp_across(&self) -> f64 {
        (self.period / (WARP_CELL * self.feature[0])).round().max(1.0)
    }

    fn warp(&self) -> Option<Warp> {
        let height = self.feature[1];
        if !self.is_warped() {
            return None;
        }
        let across = self.warp_across() as usize;
        let height = WARP_CELL * height;
        let seeds = ["warp x", "warp y"].map(|label| seed::derive(self.seed, label));
        let offsets = seeds.map(|seed| seed::uniform(seed) * OFFSET);
        let noises = seeds.map(|seed| SlowNoise::new(seed, across));
        Some(Warp { noises, offsets, height, reach: self.reach })
    }

    fn kept(&self) -> Kept {
        let mut kept = Kept { parts: Vec::new(), lost: 0.0, change: 0.0 };
        for (k, part) in parts(self.bands, self.period).into_iter().enumerate() {
            // The blurs, which the grid is chosen by, leave nothing of it but a wider edge. The largest features are drawn as long as
            // a texel holds no more than one.
            let unseen = if k > 0 { !part.is_resolved(self.grid.step) } else { part.is_finer_than_a_texel() };
            if unseen {
                kept.lost += part.amplitude * part.amplitude;
            } else {
                kept.change += part.change(self.bands.kind, self.grid.step);
                kept.parts.push((k, part));
            }
        }
        kept
    }

    /// What is looked up of an octave whose place among the cells is `offset`.
    fn reach_of(&self, part: &Part, offset: f64) -> Reach {
        // The warp's noise stays within +-1.
        Reach {
            margin: self.reach[0] / part.cell[0] + 1.0,
            from: (self.rows[0] - self.reach[1]) / part.cell[1] + offset - 1.0,
            to: (self.rows[1] + self.reach[1]) / part.cell[1] + offset + 1.0,
        }
    }

    /// The octave `k`.
    fn octave(&self, k: usize, part: &Part) -> Octave {
        let seed = seed::derive(self.seed, &format!("octave {k}"));
        let mut parts = Vec::new();
        for phase in self.moment.phases() {
            for lattice in lattices(self.bands.kind) {
                parts.push(self.flowing(seed, part, &phase, lattice));
            }
        }
        Octave {
            parts,
            amplitude: part.amplitude as f32,
            per_texel: [part.across / self.period, 1.0 / part.cell[1]],
        }
    }

    /// The noise of an octave on one of its lattices, in one of its phases.
    fn flowing(&self, seed: u64, part: &Part, phase: &Phase, lattice: &OctaveLattice) -> Flowing {
        let across = part.across as usize;
        let offset = seed::uniform(seed) * OFFSET + lattice.apart - phase.shift[1] / part.cell[1];
        let own = seed::uniform(seed ^ 1) + lattice.apart;
        let carried = own - (phase.shift[0] / self.period + phase.apart) * part.across;
        let seed = if lattice.label.is_empty() { seed } else { seed::derive(seed, lattice.label) };
        let shift = carried.rem_euclid(part.across);
        // It has come round the period: its cells are looked up from there on.
        let Reach { margin, from, to } = self.reach_of(part, offset);
        let margin = margin + shift.floor();
        let source = match self.bands.kind {
            Noise::Cellular => Source::Cells(Cells::new(seed, across, margin, from, to, WANDER * phase.age)),
            Noise::Smooth | Noise::Billowed | Noise::Ridged => {
                Source::Gradient(Lattice::turned(seed, across, margin, [from, to], TURNS * phase.age))
            }
        };
        Flowing { source, weight: (phase.weight * lattice.weight) as f32, offset, shift }
    }
}

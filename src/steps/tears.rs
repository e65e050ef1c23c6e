//! Torn ends: after the blurs, fine noise takes from a fog where it ends over its line, and gathers a little beside. What is thick stays
//! whole, and a thin veil too: it would look like camouflage.

use crate::base::seed;
use crate::base::units::Texel;
use crate::steps::grid::{Grid, Plane};
use crate::steps::moment::Moment;
use crate::steps::recipe::Recipe;
use crate::steps::step2_falloff::Line;
use crate::steps::turning_noise::{self, Kept, TurningNoise};

// All chosen by eye.

/// Width and height of the largest tears, as shares of a feature's.
const CELL: [f64; 2] = [0.75, 0.2];
/// Octaves of the noise, and the amplitude of each over the one before; cells halve.
const OCTAVES: u32 = 2;
const GAIN: f64 = 0.62;
/// Noise from which a tear begins, and at which it is whole.
const EDGE: [f32; 2] = [-0.1, 0.85];
/// What gathers where nothing is torn, as a share of what is torn.
const GATHERED: f32 = 0.6;
/// Height over the line at which ends are torn wholly, as a share of the scale height.
const FROM: f64 = 0.35;
/// Least side of a cell, texels: finer ones aren't drawn, but thin the ends evenly.
const CELL_MIN: f64 = 1.0;
/// Samples to a cell that draw its edges.
const PER_CELL: f64 = 10.0;

/// The cells of the octaves that are drawn, and their amplitudes.
fn cells(recipe: &Recipe<Texel>, period: f64) -> impl Iterator<Item = ([f64; 2], f64)> {
    octaves(recipe, period).filter(|(cell, _)| is_seen(*cell))
}

/// Whether cells are large enough for texels.
fn is_seen(cell: [f64; 2]) -> bool {
    cell[0].min(cell[1]) >= CELL_MIN
}

/// The same of all octaves.
fn octaves(recipe: &Recipe<Texel>, period: f64) -> impl Iterator<Item = ([f64; 2], f64)> {
    let bands = &recipe.bands;
    let width = (bands.size.0 * bands.stretch).min(period);
    (0..OCTAVES).map(move |k| {
        let shrink = f64::from(1_u32 << k);
        let cell = [CELL[0] * width / shrink, CELL[1] * bands.size.0 / shrink];
        (cell, libm::pow(GAIN, f64::from(k)) * 1.2)
    })
}

/// The least step between samples that draws the tears; none where nothing is torn.
pub(super) fn finest(recipe: &Recipe<Texel>, period: f64) -> Option<[f64; 2]> {
    let least = cells(recipe, period).last().filter(|_| recipe.soften.torn > 0.0)?;
    Some(least.0.map(|side| side / PER_CELL))
}

/// Tears the ends of a density of mean 1 along its line. `seed` and `moment` are the field's.
pub fn tear(recipe: &Recipe<Texel>, seed: u64, moment: &Moment, line: &Line, grid: &Grid, plane: &mut Plane) {
    let torn = recipe.soften.torn as f32;
    let period = grid.cols as f64 * grid.step[0];
    if torn <= 0.0 || grid.rows == 0 {
        return;
    }
    let moment = line.upright(moment);
    let noises: Vec<TurningNoise> = cells(recipe, period)
        .enumerate()
        .map(|(k, (cell, amplitude))| {
            TurningNoise::new(seed::derive(seed, &format!("tears {k}")), cell, period, &moment, amplitude)
        })
        .collect();
    let unseen: f64 = octaves(recipe, period)
        .filter(|(cell, _)| !is_seen(*cell))
        .map(|(_, amplitude)| amplitude * amplitude * TurningNoise::VARIANCE)
        .sum();
    let change = Change::new(unseen);
    let rises = line.rises(grid.cols);
    let from = match recipe.falloff.height.0 {
        height if height.is_finite() => (FROM * height) as f32,
        _ => 1.0,
    };
    let lowest = rises.iter().copied().fold(f32::INFINITY, f32::min);
    plane.each_row_with(
        #[inline(always)]
        |(kept, sums): &mut (Vec<Kept>, Vec<f32>), row, numbers| {
            let over = line.over(grid.y(row));
            // Nothing is torn under the line, nor where there is no end.
            if over as f32 <= lowest || !numbers.iter().any(|number| has_end(*number)) {
                return;
            }
            sums.clear();
            sums.resize(numbers.len(), 0.0);
            turning_noise::add_all(&noises, over, kept, sums);
            for ((number, noise), rise) in numbers.iter_mut().zip(&*sums).zip(&rises) {
                let up = smooth((over as f32 - rise) / from);
                let end = (4.0 * *number * (1.0 - *number)).max(0.0) * up * torn;
                *number *= 1.0 + end * change.at(*noise);
            }
        },
    );
}

/// Whether a place of this density is neither empty nor thick.
#[inline(always)]
fn has_end(density: f32) -> bool {
    density > 0.0 && density < 1.0
}

/// What a noise does to an end: what gathers less what is taken, as a share of it.
struct Change {
    /// Half the widths over which it is taken and gathers, widened by what of the noise isn't seen.
    from: f32,
    per_width: f32,
}

impl Change {
    /// With noise of the variance `unseen` besides.
    fn new(unseen: f64) -> Change {
        let middle = 0.5 * (EDGE[0] + EDGE[1]);
        // As a distribution, a smoothstep's slope has a twentieth of its squared width as its variance.
        let half = (0.25 * (EDGE[1] - EDGE[0]) * (EDGE[1] - EDGE[0]) + 5.0 * unseen as f32).sqrt();
        Change { from: middle - half, per_width: 0.5 / half }
    }

    #[inline(always)]
    fn at(&self, noise: f32) -> f32 {
        let share = |noise: f32| smooth((noise - self.from) * self.per_width);
        GATHERED * share(-noise) - share(noise)
    }
}

#[inline(always)]
fn smooth(t: f32) -> f32 {
    let t = t.clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

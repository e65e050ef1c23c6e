//! A line that runs at a slope. The fog is worked out along a level line, its bands, top, smear and torn ends too; then each column is
//! displaced. A strip can't rise for ever and repeat: after its last place that comes into view it falls back to where it began.

use crate::base::interpolate::smoothstep;
use crate::base::key::{KeyPart, KeyWriter};
use crate::steps::grid::{Grid, Plane};
use crate::steps::upsample::catmull_rom;

/// How a line runs over a sheet, in texels.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Slope {
    /// How far it rises from column to column, upward to the right.
    pub rise: f64,
    /// The column at which it has the height that the scene says.
    pub middle: f64,
    /// Columns before the sheet's end over which it falls back.
    pub back: f64,
}

impl Slope {
    /// A slope of `degrees`, over a sheet of `cols` columns of which an eighth falls back; none where it is level.
    pub fn new(degrees: f64, cols: u32) -> Option<Slope> {
        let back = f64::from(cols) / 8.0;
        let rise = libm::tan(degrees.to_radians());
        (degrees != 0.0).then(|| Slope { rise, middle: 0.5 * (f64::from(cols) - back), back })
    }

    /// How far up the line lies at column `x` of `cols`.
    pub fn up(&self, x: f64, cols: f64) -> f64 {
        let run = cols - self.back;
        let at = if x <= run { x } else { run * (1.0 - smoothstep(((x - run) / self.back).clamp(0.0, 1.0))) };
        self.rise * (at - self.middle)
    }

    /// The lowest and the highest that it comes over `cols` columns.
    pub fn range(&self, cols: f64) -> [f64; 2] {
        let ends = [0.0, cols - self.back].map(|x| self.rise * (x - self.middle));
        [ends[0].min(ends[1]), ends[0].max(ends[1])]
    }

    /// How many columns are needed for each of a level field of these steps, so that none lies far over the next.
    pub fn columns_per_step(&self, [across, down]: [f64; 2]) -> usize {
        let whole = (across * self.rise.abs() / down).ceil();
        whole.clamp(1.0, across.floor().max(1.0)) as usize
    }

    /// The field on `grid` from the `level` one, on `own`: it has `over` more texels before the first row.
    pub fn displace(&self, level: &Plane, own: &Grid, grid: &Grid, over: f64) -> Plane {
        let period = grid.cols as f64 * grid.step[0];
        // Of each column: the column before it in the level field, the weights of four around, and how far up.
        let columns: Vec<(i64, [f32; 4], f64)> = (0..grid.cols)
            .map(|col| {
                let x = (col as f64 + 0.5) * grid.step[0];
                let place = x / own.step[0] - 0.5;
                (place.floor() as i64, catmull_rom(place - place.floor()), self.up(x, period))
            })
            .collect();
        let last = level.rows() as i64 - 1;
        let mut out = Plane::new(grid.cols, grid.rows);
        out.each_row(|row, numbers| {
            for (number, (col, across, up)) in numbers.iter_mut().zip(&columns) {
                let place = (grid.y(row) + up + over - own.top) / own.step[1] - 0.5;
                let down = catmull_rom(place - place.floor());
                let mut sum = 0.0;
                for (tap, share) in down.iter().enumerate() {
                    let line = level.row((place.floor() as i64 + tap as i64 - 1).clamp(0, last) as usize);
                    let along: f32 = (-1..=2)
                        .zip(across)
                        .map(|(tap, weight)| weight * line[(col + tap).rem_euclid(own.cols as i64) as usize])
                        .sum();
                    sum += share * along;
                }
                *number = sum.max(0.0);
            }
        });
        out
    }
}

impl KeyPart for Slope {
    fn write(&self, to: &mut KeyWriter) {
        let Slope { rise, middle, back } = self;
        to.add("rise", rise).add("middle", middle).add("back", back);
    }
}

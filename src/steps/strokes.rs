//! Drawn density, laid in between falloff and smear: white is wanted fog, black none, alpha how much that counts.

use crate::base::key::{Key, KeyWriter};
use crate::base::picture::Picture;
use crate::steps::grid::{Grid, Plane};
use crate::steps::slope::Slope;
use std::fmt;
use std::sync::Arc;

/// Share of the bands that drawn fog is multiplied by, so that no trace of a nib is left; chosen by eye.
const BANDS: f32 = 0.25;

/// A picture of strokes.
pub struct Drawing {
    /// Width and height in its own texels.
    pub size: [u32; 2],
    /// Of each texel the wanted density (0 to 1) times alpha, and alpha.
    pub marks: Vec<[f32; 2]>,
    /// Hash of the file's content.
    pub content: String,
}

impl Drawing {
    /// From a picture: its lightness is the density, as stored (black 0, white 1).
    pub fn new(picture: &Picture, content: String) -> Drawing {
        let mark = |[r, g, b, alpha]: &[u16; 4]| {
            let [r, g, b, alpha] = [r, g, b, alpha].map(|code| f32::from(*code) / 65535.0);
            // Luma of ITU-R BT.709: grey of code 128 is half.
            [alpha * (0.2126 * r + 0.7152 * g + 0.0722 * b).min(1.0), alpha]
        };
        Drawing { size: picture.size, marks: picture.texels.iter().map(mark).collect(), content }
    }

    /// Nothing drawn yet, on `size` texels.
    pub fn empty(size: [u32; 2]) -> Drawing {
        let area = size.map(|side| side as usize).iter().product();
        Drawing { size, marks: vec![[0.0; 2]; area], content: String::new() }
    }

    /// The same with one more line over it, which adds fog, or clears it; `cover` is its alpha at each texel.
    pub fn with_line(&self, cover: &[u8], clears: bool, content: String) -> Drawing {
        let light = if clears { 0.0 } else { 1.0 };
        let over = |([wanted, alpha], cover): (&[f32; 2], &u8)| {
            let cover = f32::from(*cover) / 255.0;
            [wanted * (1.0 - cover) + cover * light, alpha * (1.0 - cover) + cover]
        };
        Drawing { size: self.size, marks: self.marks.iter().zip(cover).map(over).collect(), content }
    }

    /// Bytes that it takes.
    pub fn bytes(&self) -> f64 {
        (self.marks.len() * size_of::<[f32; 2]>()) as f64
    }
}

impl PartialEq for Drawing {
    fn eq(&self, other: &Drawing) -> bool {
        self.size == other.size && self.content == other.content
    }
}

impl fmt::Debug for Drawing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Drawing")
            .field("size", &self.size)
            .field("content", &self.content)
            .finish_non_exhaustive()
    }
}

/// Strokes on a sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Strokes {
    /// The picture.
    pub drawing: Arc<Drawing>,
    /// Left, top, width and height on the sheet, in texels; along x they wrap as the sheet does.
    pub rect: [f64; 4],
    /// How often they stand side by side.
    pub copies: u32,
    /// Density of what is white.
    pub weight: f64,
    /// Whether nothing else is fog.
    pub only: bool,
}

impl Strokes {
    /// Key of all that they are made from.
    pub fn key(&self) -> Key {
        let Strokes { drawing, rect, copies, weight, only } = self;
        let key = KeyWriter::new("strokes")
            .part("content", drawing.content.as_str())
            .part("size", &drawing.size)
            .part("rect", rect.as_slice())
            .part("weight", weight)
            .part("only", only);
        if *copies > 1 { key.part("copies", copies).key() } else { key.key() }
    }

    /// As they lie along a level line, which a `slope` then displaces to where they were drawn; `over` as for [`Slope::displace`].
    pub fn level(&self, slope: &Slope, cols: f64, over: f64) -> Strokes {
        let [width, height] = self.drawing.size.map(|side| side as usize);
        let [left, top, wide, high] = self.rect;
        let side = high / height as f64;
        // Each copy lies at heights of its own.
        let all = width * self.copies as usize;
        let down: Vec<f64> = (0..all)
            .map(|col| {
                let x = left + (col as f64 + 0.5) * wide / width as f64;
                ((slope.up(x.rem_euclid(cols), cols) + over) / side).max(0.0)
            })
            .collect();
        let more = down.iter().copied().fold(0.0, f64::max) as usize + 2;
        let mut marks = vec![[0.0; 2]; all * (height + more)];
        for at in 0..all * height {
            let (row, col) = (at / all, at % all);
            let mark = self.drawing.marks[row * width + col % width];
            let whole = down[col] as usize;
            let past = (down[col] - whole as f64) as f32;
            for (below, share) in [(0, 1.0 - past), (1, past)] {
                let to = &mut marks[at + (whole + below) * all];
                *to = [to[0] + share * mark[0], to[1] + share * mark[1]];
            }
        }
        let size = [all as u32, (height + more) as u32];
        let drawing = Drawing { size, marks, content: self.drawing.content.clone() };
        let rect = [left, top, wide * f64::from(self.copies), side * f64::from(size[1])];
        Strokes { drawing: Arc::new(drawing), rect, copies: 1, ..*self }
    }

    /// Lays them into `plane`, the density before the blurs; `bands` are what the falloff shaped it from. Where nothing is drawn the
    /// density keeps its bits.
    pub fn lay(&self, grid: &Grid, bands: &Plane, plane: &mut Plane) {
        let columns = self.columns(grid);
        let weight = self.weight as f32;
        plane.each_row_with(|sums: &mut Vec<[f32; 2]>, row, numbers| {
            if self.only {
                numbers.fill(0.0);
            }
            if !self.gather(grid, row, &columns, sums) {
                return;
            }
            let parts = numbers.iter_mut().zip(bands.row(row)).zip(sums.iter());
            for ((number, bands), [light, cover]) in parts.filter(|(_, sum)| sum[1] > 0.0) {
                // More than whole where the picture overlaps its own repeat.
                let whole = cover.max(1.0);
                let (light, cover) = (light / whole, cover / whole);
                *number = *number * (1.0 - cover) + weight * light * (1.0 - BANDS + BANDS * bands);
            }
        });
    }

    /// Sums over the cells of a row; false where the picture doesn't reach it.
    fn gather(&self, grid: &Grid, row: usize, columns: &[Vec<(u32, f32)>], sums: &mut Vec<[f32; 2]>) -> bool {
        let [width, height] = self.drawing.size.map(|side| side as usize);
        let top = grid.top + row as f64 * grid.step[1];
        let side = self.rect[3] / height as f64;
        let shares = cells((top - self.rect[1]) / side, grid.step[1] / side, height);
        if shares.is_empty() {
            return false;
        }
        sums.clear();
        sums.resize(grid.cols, [0.0; 2]);
        for (line, share) in shares {
            // A share of the picture's row; wanted is one of the cell.
            let share = share * (side / grid.step[1]) as f32;
            let marks = &self.drawing.marks[line * width..(line + 1) * width];
            for (mark, cells) in marks.iter().zip(columns).filter(|(mark, _)| mark[1] > 0.0) {
                for (col, part) in cells {
                    let sum = &mut sums[*col as usize];
                    sum[0] += mark[0] * part * share;
                    sum[1] += mark[1] * part * share;
                }
            }
        }
        true
    }

    /// For each column of the picture the columns of the grid that it lies on, and how much of each it covers.
    fn columns(&self, grid: &Grid) -> Vec<Vec<(u32, f32)>> {
        let width = self.drawing.size[0];
        let side = self.rect[2] / f64::from(width) / grid.step[0];
        let left = self.rect[0] / grid.step[0];
        let column = |at: u32| {
            let (from, to) = (left + f64::from(at) * side, left + f64::from(at + 1) * side);
            let (first, last) = (from.floor(), to.ceil());
            let count = (last - first) as u32;
            let part = |index: u32| {
                let cell = first + f64::from(index);
                let covered = (to.min(cell + 1.0) - from.max(cell)).max(0.0);
                (cell.rem_euclid(grid.cols as f64) as u32, covered as f32)
            };
            (0..count).map(part).collect::<Vec<_>>()
        };
        let copies = |at: u32| (0..self.copies).flat_map(|copy| column(at + copy * width)).collect();
        (0..width).map(copies).collect()
    }
}

/// Which of `count` cells of length 1 lie under `length` from `from` on, and how much of each.
fn cells(from: f64, length: f64, count: usize) -> Vec<(usize, f32)> {
    let to = from + length;
    let (first, last) = (from.max(0.0), to.min(count as f64));
    if first >= last {
        return Vec::new();
    }
    let part = |cell: usize| {
        let covered = last.min(cell as f64 + 1.0) - first.max(cell as f64);
        (covered > 0.0).then_some((cell, covered as f32))
    };
    (first as usize..(last.ceil() as usize).min(count)).filter_map(part).collect()
}

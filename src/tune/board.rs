//! Drafts mixed in whole numbers of 16 bits, red, green and blue apart: one instruction takes sixteen texels.
//!
//! A draft so drawn is within a code or two of the still; settled pictures are drawn exactly.

use crate::art::Picture;
use crate::colour::Srgb;
use crate::plan::{Placing, Plan};
use crate::scene::Blending;
use crate::sheet::{Row, Sheet, dither};
use crate::still::{self, Still};
use crate::wide::{whole, wide};
use rayon::prelude::*;
use std::sync::{Arc, LazyLock};

/// Rows that are drawn together: few enough to stay near the processor.
const STRIP: usize = 10;
/// Opacity that no draft shows, of 65535.
const UNSEEN: u16 = 32;
/// Columns of a picture that are drawn together, or not at all: much of it is empty.
const PIECE: usize = 32;

/// A layer of a draft, and where it stands.
#[derive(Clone)]
pub(super) struct Laid {
    pub what: What,
    pub placing: Placing,
}

/// What a draft is drawn of.
#[derive(Clone)]
pub(super) enum What {
    /// Fog, coarser than the view or as fine.
    Fog(Arc<Sheet>),
    /// Art, or a rim as a picture.
    Picture(Arc<Picture>),
}

/// A composed draft: red, green and blue in the blending's own space, 0..65535, row by row.
pub(super) struct Board {
    /// Width and height in texels.
    pub size: [u32; 2],
    planes: [Vec<u16>; 3],
    blending: Blending,
}

/// To linear light, and back, by codes of 16 bits.
static LIGHT: LazyLock<[Vec<u16>; 2]> = LazyLock::new(|| {
    let space = still::Space::new(Blending::Linear);
    let table = |turn: &dyn Fn([f32; 3]) -> [f32; 3]| -> Vec<u16> {
        (0..=u16::MAX).map(|code| sixteen(turn([f32::from(code) / 65535.0; 3])[0])).collect()
    };
    [table(&|colour| space.enter(colour)), table(&|colour| space.leave(colour))]
});

#[inline(always)]
fn sixteen(value: f32) -> u16 {
    whole(value.clamp(0.0, 1.0) * 65535.0 + 0.5) as u16
}

/// The upper half of a product: a 65536th of it.
#[inline(always)]
fn of(value: u16, share: u16) -> u16 {
    ((u32::from(value) * u32::from(share)) >> 16) as u16
}

#[inline(always)]
fn between(a: u16, b: u16) -> u16 {
    ((u32::from(a) + u32::from(b) + 1) >> 1) as u16
}

/// Source-over (Porter & Duff 1984) of a colour that was multiplied by its opacity.
#[inline(always)]
fn over(under: &mut u16, colour: u16, alpha: u16) {
    *under = (*under - of(*under, alpha)).saturating_add(colour);
}

/// Planes of red, green, blue, each times opacity, and of opacity.
type Four = [Vec<u16>; 4];

/// Columns of a sheet in whole numbers.
struct Poured {
    sheet: Arc<Sheet>,
    linear: bool,
    /// The first column, and how many, wrapping.
    first: usize,
    count: usize,
    planes: Four,
    /// Rows of which nothing is to be seen.
    empty: Vec<bool>,
}

impl Poured {
    fn new(sheet: &Arc<Sheet>, linear: bool, [first, count]: [usize; 2]) -> Poured {
        let rows = sheet.size()[1] as usize;
        let mut planes: Four = std::array::from_fn(|_| vec![0; count * rows]);
        let [red, green, blue, alpha] = &mut planes;
        let mut empty = vec![false; rows];
        let all = red
            .par_chunks_mut(count)
            .zip(green.par_chunks_mut(count).zip(blue.par_chunks_mut(count)))
            .zip(alpha.par_chunks_mut(count).zip(&mut empty))
            .enumerate();
        all.for_each_init(Row::default, |row, (y, ((red, (green, blue)), (alpha, empty)))| {
            wide(
                #[inline(always)]
                || {
                    sheet.row(y, first, count, row);
                    for (to, from) in alpha.iter_mut().zip(&row.alpha) {
                        *to = sixteen(*from);
                    }
                    *empty = alpha.iter().copied().fold(0, u16::max) < UNSEEN;
                    if !*empty {
                        pour(&row.colour, alpha, linear, [red, green, blue]);
                    }
                },
            );
        });
        Poured { sheet: Arc::clone(sheet), linear, first, count, planes, empty }
    }

    /// Where column `first` of the sheet stands, if so many from it on are here.
    fn holds(&self, [first, count]: [usize; 2]) -> Option<usize> {
        let cols = self.sheet.size()[0] as usize;
        let from = (first + cols - self.first) % cols;
        (self.count == cols || from + count <= self.count).then_some(from)
    }
}

/// Colours times opacity, plane by plane.
#[inline(always)]
fn pour(colours: &[[f32; 4]], alpha: &[u16], linear: bool, planes: [&mut [u16]; 3]) {
    for (at, plane) in planes.into_iter().enumerate() {
        let all = plane.iter_mut().zip(colours.iter().zip(alpha));
        // Two loops: only the one without a table takes many at once.
        if linear {
            for (to, (colour, alpha)) in all {
                *to = of(LIGHT[0][sixteen(colour[at]) as usize], *alpha);
            }
        } else {
            for (to, (colour, alpha)) in all {
                *to = of(sixteen(colour[at]), *alpha);
            }
        }
    }
}

/// A picture, and where there is something of it.
struct Pieced {
    picture: Arc<Picture>,
    /// By rows, of each piece.
    filled: Vec<bool>,
}

impl Pieced {
    fn new(picture: &Arc<Picture>) -> Pieced {
        let width = picture.size[0] as usize;
        let filled = picture.texels.par_chunks(width).flat_map_iter(|row| {
            row.chunks(PIECE).map(|piece| piece.iter().fold(0, |all, texel| all | texel[3]) > 0)
        });
        Pieced { picture: Arc::clone(picture), filled: filled.collect() }
    }

    /// Whether there is something in row `y` around column `x`, and the first column that this doesn't say of.
    #[inline(always)]
    fn filled(&self, y: usize, x: usize) -> (bool, usize) {
        let pieces = (self.picture.size[0] as usize).div_ceil(PIECE);
        (self.filled[y * pieces + x / PIECE], (x / PIECE + 1) * PIECE)
    }
}

/// What a layer is drawn from.
#[derive(Clone)]
enum Ready {
    Fog(Arc<Poured>),
    Picture(Arc<Pieced>),
}

/// What is kept from one draft to the next: layers that stay.
#[derive(Default)]
pub(super) struct Easel {
    kept: Vec<Ready>,
}

impl Easel {
    /// Layers as they are drawn. Of a sheet that is new no more than is seen: it may be another in the next draft.
    fn ready(&mut self, layers: &[Laid], view: &View) -> Vec<Ready> {
        let kept = std::mem::take(&mut self.kept);
        let fog = |placing: &Placing, sheet: &Arc<Sheet>| {
            let cols = sheet.size()[0] as usize;
            let seen = view.seen(placing, sheet.size());
            let window = [seen.start, seen.count];
            let one = kept.iter().find_map(|one| match one {
                Ready::Fog(one) if Arc::ptr_eq(&one.sheet, sheet) && one.linear == view.linear => Some(one),
                _ => None,
            });
            if let Some(one) = one.filter(|one| one.holds(window).is_some()) {
                return Arc::clone(one);
            }
            let window = if one.is_some() || seen.count >= cols { [0, cols] } else { window };
            Arc::new(Poured::new(sheet, view.linear, window))
        };
        let picture = |picture: &Arc<Picture>| {
            let one = kept.iter().find_map(|one| match one {
                Ready::Picture(one) if Arc::ptr_eq(&one.picture, picture) => Some(Arc::clone(one)),
                _ => None,
            });
            one.unwrap_or_else(|| Arc::new(Pieced::new(picture)))
        };
        let ready = layers.iter().map(|layer| match &layer.what {
            What::Fog(sheet) => Ready::Fog(fog(&layer.placing, sheet)),
            What::Picture(one) => Ready::Picture(picture(one)),
        });
        let ready: Vec<Ready> = ready.collect();
        self.kept.clone_from(&ready);
        ready
    }

    /// Draws `layers`, far to near, at `camera` (scene px of travel).
    pub fn draw(&mut self, plan: &Plan, layers: &[Laid], camera: f64) -> Board {
        let [width, height] = plan.texels.map(|side| side as usize);
        let linear = plan.blending == Blending::Linear;
        let Srgb(ground) = plan.backdrop;
        let ground =
            ground.map(|value| if linear { LIGHT[0][sixteen(value) as usize] } else { sixteen(value) });
        let mut planes = ground.map(|value| vec![value; width * height]);
        let [red, green, blue] = &mut planes;
        let strips = red
            .par_chunks_mut(width * STRIP)
            .zip(green.par_chunks_mut(width * STRIP))
            .zip(blue.par_chunks_mut(width * STRIP))
            .enumerate();
        let view = View { scale: plan.scale, camera, width, linear };
        let ready = self.ready(layers, &view);
        strips.for_each_init(Default::default, |tools, (strip, ((red, green), blue))| {
            let out = &mut [red, green, blue];
            for (layer, ready) in layers.iter().zip(&ready) {
                wide(
                    #[inline(always)]
                    || match ready {
                        Ready::Fog(poured) => view.fog(&layer.placing, poured, strip * STRIP, tools, out),
                        Ready::Picture(picture) => view.picture(&layer.placing, picture, strip * STRIP, out),
                    },
                );
            }
        });
        Board { size: plan.texels, planes, blending: plan.blending }
    }
}

impl Board {
    /// As exact values.
    pub fn still(&self) -> Still {
        let [red, green, blue] = &self.planes;
        let unit = |code: &u16| f32::from(*code) / 65535.0;
        let colours = red.par_iter().zip(green).zip(blue).map(|((r, g), b)| [unit(r), unit(g), unit(b)]);
        Still::of(self.size, colours.collect(), self.blending)
    }

    /// As 12 bits a texel. First the green of every texel, 8 bits, dithered; then, of every two by two, how much more red than green
    /// there is, halved, from 128 on; then the same of blue. Greys stay exact.
    pub fn lean(mut self) -> Vec<u8> {
        let [width, height] = self.size.map(|side| side as usize);
        if self.blending == Blending::Linear {
            let encode = &LIGHT[1];
            let turn = |code: &mut u16| *code = encode[*code as usize];
            self.planes.iter_mut().for_each(|plane| plane.par_iter_mut().with_min_len(4096).for_each(turn));
        }
        let [across, down] = [width.div_ceil(2), height.div_ceil(2)];
        let mut out = vec![0; width * height + 2 * across * down];
        let (green, rest) = out.split_at_mut(width * height);
        let (red, blue) = rest.split_at_mut(across * down);
        let rows = green
            .par_chunks_mut(2 * width)
            .zip(red.par_chunks_mut(across).zip(blue.par_chunks_mut(across)))
            .zip(self.planes[0].par_chunks(2 * width).zip(self.planes[2].par_chunks(2 * width)))
            .zip(self.planes[1].par_chunks(2 * width))
            .enumerate();
        rows.for_each(|(pair, (((codes, (more, bluer)), (red, blue)), green))| {
            wide(
                #[inline(always)]
                || {
                    for (at, (codes, green)) in codes.chunks_mut(width).zip(green.chunks(width)).enumerate() {
                        let thresholds =
                            dither::row(2 * pair + at).map(|threshold| (threshold * 256.0) as u16);
                        for (codes, green) in codes.chunks_mut(dither::SIDE).zip(green.chunks(dither::SIDE)) {
                            for ((code, green), threshold) in codes.iter_mut().zip(green).zip(&thresholds) {
                                // 255 codes in 255 times 256 parts.
                                *code = ((green - (green >> 8) + threshold) >> 8) as u8;
                            }
                        }
                    }
                    differences(width, red, green, more);
                    differences(width, blue, green, bluer);
                },
            );
        });
        out
    }
}

/// How much more there is in one plane than in another, of two rows by twos: halved, from 128 on.
#[inline(always)]
fn differences(width: usize, more: &[u16], less: &[u16], out: &mut [u8]) {
    // Where there is one row or column alone it stands for the missing one.
    let last = |plane: &[u16]| plane.len().saturating_sub(width);
    let (above, below) = ((&more[..width], &less[..width]), (&more[last(more)..], &less[last(less)..]));
    // Of four, in 257ths of a code, halved: an eighth of a 257th.
    let mean = |sum: i32| (((sum * 255 + (1 << 18)) >> 19) + 128).clamp(0, 255) as u8;
    let whole = width / 2;
    let [a, b, c, d] =
        [above.0, above.1, below.0, below.1].map(|row: &[u16]| -> &[[u16; 2]] { row.as_chunks::<2>().0 });
    for ((out, (a, b)), (c, d)) in out.iter_mut().zip(a.iter().zip(b)).zip(c.iter().zip(d)) {
        let gain = |x: &[u16; 2], y: &[u16; 2]| {
            i32::from(x[0]) - i32::from(y[0]) + i32::from(x[1]) - i32::from(y[1])
        };
        *out = mean(gain(a, b) + gain(c, d));
    }
    if whole < out.len() {
        let gain = |row: (&[u16], &[u16])| 2 * (i32::from(row.0[width - 1]) - i32::from(row.1[width - 1]));
        out[whole] = mean(gain(above) + gain(below));
    }
}

/// Where a draft is looked at from.
struct View {
    scale: f64,
    camera: f64,
    width: usize,
    linear: bool,
}

/// What is seen of a sheet.
struct Seen {
    /// Texels of the view to one of the sheet.
    stretch: [f64; 2],
    /// Left and top in the view.
    corner: [i64; 2],
    /// Where 2 or 4 texels of the view stand for one of the sheet: the rows on the way from the one to the other, from the view on, each
    /// by its left and its length; each is the next drawn twice as long.
    twice: Vec<(i64, usize)>,
    /// The column that the view begins in, in the sheet's texels from `corner` on and as a column of the sheet, and how many are seen.
    first: f64,
    start: usize,
    count: usize,
}

/// Where the middle of a texel of the view stands among those of a sheet, whole at their middles.
fn place(at: i64, stretch: f64) -> f64 {
    (at as f64 + 0.5) / stretch - 0.5
}

impl View {
    fn seen(&self, placing: &Placing, [cols, rows]: [u32; 2]) -> Seen {
        let [cols, rows] = [cols, rows].map(f64::from);
        let stretch = [placing.rect[2] * self.scale / cols, placing.rect[3] * self.scale / rows];
        let corner = still::corner(placing, self.scale, self.camera);
        // But for what rounding takes of a whole period: as good as exactly 2 or 4, which is quickest.
        let times = [2.0_f64, 4.0].iter().position(|times| (stretch[0] - times).abs() * cols < *times);
        let (mut left, mut width, mut twice) = (corner[0], self.width, Vec::new());
        for _ in 0..times.map_or(0, |at| at + 1) {
            twice.push((left, width));
            let first = place(-left, 2.0).floor();
            width = (place(width as i64 - 1 - left, 2.0) - first) as usize + 3;
            left = -(first as i64);
        }
        let (first, count) = if twice.is_empty() {
            let first = place(-left, stretch[0]).floor();
            (first, (place(width as i64 - 1 - left, stretch[0]) - first) as usize + 3)
        } else {
            (-left as f64, width)
        };
        Seen { stretch, corner, twice, first, start: first.rem_euclid(cols) as usize, count }
    }

    /// A strip of rows from `y` on, of a sheet; linear between its texels.
    #[inline(always)]
    fn fog(
        &self,
        placing: &Placing,
        poured: &Poured,
        y: usize,
        [mixed, full]: &mut [Four; 2],
        out: &mut [&mut [u16]; 3],
    ) {
        let width = self.width;
        let seen = self.seen(placing, poured.sheet.size());
        let Some(start) = poured.holds([seen.start, seen.count]) else { return };
        let (rows, cols) = (poured.empty.len(), poured.count);
        for at in 0..out[0].len() / width {
            let place = place((y + at) as i64 - seen.corner[1], seen.stretch[1]);
            if place < -0.5 || place > rows as f64 - 0.5 {
                continue;
            }
            let low = (place.floor().max(0.0) as usize).min(rows - 1);
            let high = (low + 1).min(rows - 1);
            if poured.empty[low] && poured.empty[high] {
                continue;
            }
            let share = sixteen((place - low as f64) as f32);
            for (plane, (mixed, full)) in poured.planes.iter().zip(mixed.iter_mut().zip(full.iter_mut())) {
                let (low, high) = (&plane[low * cols..][..cols], &plane[high * cols..][..cols]);
                mixed.resize(seen.count, 0);
                let (mut from, mut rest) = (start, &mut mixed[..]);
                while !rest.is_empty() {
                    let (part, after) = rest.split_at_mut(rest.len().min(cols - from));
                    for (mixed, (low, high)) in part.iter_mut().zip(low[from..].iter().zip(&high[from..])) {
                        *mixed = of(*low, u16::MAX - share) + of(*high, share);
                    }
                    (from, rest) = (0, after);
                }
                for (left, width) in seen.twice.iter().rev() {
                    full.resize(*width, 0);
                    twice(mixed, left.rem_euclid(2) == 0, full);
                    std::mem::swap(mixed, full);
                }
                if !seen.twice.is_empty() {
                    std::mem::swap(mixed, full);
                    continue;
                }
                full.resize(width, 0);
                for (x, full) in full.iter_mut().enumerate() {
                    let place = self::place(x as i64 - seen.corner[0], seen.stretch[0]) - seen.first;
                    let (at, share) = (place as usize, sixteen((place - place.floor()) as f32));
                    *full = of(mixed[at], u16::MAX - share) + of(mixed[at + 1], share);
                }
            }
            let [red, green, blue, alpha] = &*full;
            for (out, colour) in out.iter_mut().zip([red, green, blue]) {
                let out = &mut out[at * width..][..width];
                for (out, (colour, alpha)) in out.iter_mut().zip(colour.iter().zip(alpha)) {
                    over(out, *colour, *alpha);
                }
            }
        }
    }

    /// A strip of rows from `y` on, of a picture.
    #[inline(always)]
    fn picture(&self, placing: &Placing, pieced: &Pieced, y: usize, out: &mut [&mut [u16]; 3]) {
        let width = self.width;
        let picture = &*pieced.picture;
        let (wide, high) = (picture.size[0] as usize, i64::from(picture.size[1]));
        let top = still::corner(placing, self.scale, self.camera)[1];
        for at in 0..out[0].len() / width {
            let row = (y + at) as i64 - top;
            if row < 0 || row >= high {
                continue;
            }
            let row = row as usize;
            let texels = &picture.texels[row * wide..][..wide];
            for (to, from) in still::parts(placing, self.scale, self.camera, wide, width) {
                let (mut from, end) = (from, from + to.len());
                let mut to = at * width + to.start;
                while from < end {
                    let (filled, next) = pieced.filled(row, from);
                    let count = next.min(end) - from;
                    if filled {
                        let [red, green, blue] = out;
                        let range = to..to + count;
                        let out = [&mut red[range.clone()], &mut green[range.clone()], &mut blue[range]];
                        self.piece(&texels[from..from + count], out);
                    }
                    (from, to) = (from + count, to + count);
                }
            }
        }
    }

    #[inline(always)]
    fn piece(&self, texels: &[[u16; 4]], out: [&mut [u16]; 3]) {
        for (at, out) in out.into_iter().enumerate() {
            if self.linear {
                for (out, texel) in out.iter_mut().zip(texels) {
                    over(out, of(LIGHT[0][texel[at] as usize], texel[3]), texel[3]);
                }
            } else {
                for (out, texel) in out.iter_mut().zip(texels) {
                    over(out, of(texel[at], texel[3]), texel[3]);
                }
            }
        }
    }
}

/// Writes two texels between each two of `mixed`; `lone`: the first of the two is left of the view.
#[inline(always)]
fn twice(mixed: &[u16], lone: bool, out: &mut [u16]) {
    let near = |a: u16, b: u16| between(a, between(a, b));
    let (head, body) = out.split_at_mut(usize::from(lone).min(out.len()));
    if let [out] = head {
        *out = near(mixed[1], mixed[0]);
    }
    let mixed = &mixed[head.len()..];
    let (pairs, rest) = body.as_chunks_mut::<2>();
    for (out, (a, b)) in pairs.iter_mut().zip(mixed.iter().zip(&mixed[1..])) {
        *out = [near(*a, *b), near(*b, *a)];
    }
    if let [out] = rest {
        *out = near(mixed[pairs.len()], mixed[pairs.len() + 1]);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// As the page does it.
    fn unpacked([width, height]: [usize; 2], lean: &[u8]) -> Vec<[u8; 3]> {
        let [across, down] = [width.div_ceil(2), height.div_ceil(2)];
        let more = |plane: usize, x: usize, y: usize| {
            2 * (i32::from(lean[width * height + plane * across * down + y / 2 * across + x / 2]) - 128)
        };
        let texel = |at: usize| {
            let (x, y) = (at % width, at / width);
            let green = i32::from(lean[at]);
            let near = |plane: usize| (green + more(plane, x, y)).clamp(0, 255) as u8;
            [near(0), green as u8, near(1)]
        };
        (0..width * height).map(texel).collect()
    }

    fn board(size: [u32; 2], texel: impl Fn(usize) -> [u8; 3]) -> Board {
        let count = size.map(|side| side as usize).iter().product();
        let plane = |channel: usize| (0..count).map(|at| u16::from(texel(at)[channel]) * 257).collect();
        Board { size, planes: [0, 1, 2].map(plane), blending: Blending::Encoded }
    }

    #[test]
    fn greys_stay_exact_and_even_colours_within_a_code() {
        for size in [[1_u32, 1], [2, 2], [5, 3], [16, 9]] {
            for colour in [
                [0, 0, 0],
                [255, 255, 255],
                [97, 97, 97],
                [255, 0, 0],
                [0, 0, 255],
                [12, 250, 3],
                [201, 180, 140],
            ] {
                let lean = board(size, |_| colour).lean();
                for found in unpacked(size.map(|side| side as usize), &lean) {
                    let off = (0..3).map(|at| found[at].abs_diff(colour[at])).max().unwrap();
                    let grey = colour[0] == colour[1] && colour[1] == colour[2];
                    assert!(off <= u8::from(!grey), "{colour:?} {found:?}");
                }
            }
        }
    }

    #[test]
    fn light_keeps_its_detail() {
        // A checkerboard of texels: the green, most of what is seen, is that of each.
        let texel = |at: usize| if (at % 8 + at / 8) % 2 == 0 { [200, 190, 180] } else { [60, 50, 40] };
        for (at, found) in unpacked([8, 8], &board([8, 8], texel).lean()).into_iter().enumerate() {
            let texel = texel(at);
            assert_eq!(found[1], texel[1]);
            assert!(found[0].abs_diff(texel[0]) <= 1 && found[2].abs_diff(texel[2]) <= 1);
        }
    }

    #[test]
    fn a_row_twice_as_long_runs_straight_between_its_texels() {
        let ramp: Vec<u16> = (0..40).map(|at| at * 400).collect();
        for (lone, first) in [(true, 300.0), (false, 100.0)] {
            for length in [1, 2, 7, 64] {
                let mut out = vec![0; length];
                twice(&ramp, lone, &mut out);
                for (at, found) in out.iter().enumerate() {
                    let exact = first + 200.0 * at as f64;
                    assert!((f64::from(*found) - exact).abs() <= 1.0, "{lone} {at}: {found}, {exact}");
                }
            }
        }
    }

    #[test]
    fn nothing_over_a_colour_leaves_it_and_full_cover_hides_it() {
        for under in [0, 1, 257, 30_000, u16::MAX] {
            let (mut left, mut hidden) = (under, under);
            over(&mut left, 0, 0);
            over(&mut hidden, of(20_000, u16::MAX), u16::MAX);
            assert_eq!(left, under);
            assert!(hidden.abs_diff(20_000) <= 1);
        }
    }
}

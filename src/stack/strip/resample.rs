//! Pictures of other columns or rows.

use crate::base::picture::Picture;
use rayon::prelude::*;

/// A picture of other columns: for each the place in `own` that it shows and how many columns of it it stands for. Between two columns
/// both count; where many fall on one, all of them. Colours count by their opacity.
pub(super) fn resampled(own: &Picture, columns: &[[f64; 2]]) -> Picture {
    let width = own.size[0] as usize;
    let taps: Vec<Vec<(usize, f32)>> = columns.iter().map(|[at, over]| taps(*at, *over, width)).collect();
    let mut texels = vec![[0; 4]; columns.len() * own.size[1] as usize];
    let rows = texels.par_chunks_mut(columns.len()).zip(own.texels.par_chunks(width));
    rows.for_each(|(out, row)| {
        for (texel, taps) in out.iter_mut().zip(taps.iter()) {
            *texel = mean(row, taps);
        }
    });
    Picture { size: [columns.len() as u32, own.size[1]], deep: own.deep, texels }
}

/// Weights of the columns about a place, by a tent as wide as what one column stands for, at least two columns.
fn taps(at: f64, over: f64, width: usize) -> Vec<(usize, f32)> {
    let reach = over.max(1.0);
    let (first, last) = ((at - 0.5 - reach).ceil() as i64, (at - 0.5 + reach).floor() as i64);
    let weight = |column: i64| {
        let away = (column as f64 + 0.5 - at).abs() / reach;
        let inside = column.clamp(0, width as i64 - 1) as usize;
        (inside, (1.0 - away).max(0.0) as f32)
    };
    (first..=last).map(weight).filter(|(_, weight)| *weight > 0.0).collect()
}

fn mean(row: &[[u16; 4]], taps: &[(usize, f32)]) -> [u16; 4] {
    let (mut colour, mut plain, mut alpha, mut sum) = ([0.0_f32; 3], [0.0_f32; 3], 0.0, 0.0);
    for (column, weight) in taps {
        let [r, g, b, a] = row[*column].map(f32::from);
        for ((seen, any), part) in colour.iter_mut().zip(&mut plain).zip([r, g, b]) {
            *seen += weight * a * part;
            *any += weight * part;
        }
        alpha += weight * a;
        sum += weight;
    }
    let code = |value: f32| (value + 0.5) as u16;
    let [r, g, b] = if alpha > 0.0 { colour.map(|part| part / alpha) } else { plain.map(|part| part / sum) };
    [code(r), code(g), code(b), code(alpha / sum)]
}

/// A picture whose rows are the other's columns.
pub(super) fn transposed(own: &Picture) -> Picture {
    let [width, height] = own.size.map(|side| side as usize);
    let mut texels = vec![[0; 4]; width * height];
    texels.par_chunks_mut(height.max(1)).enumerate().for_each(|(x, out)| {
        for (y, texel) in out.iter_mut().enumerate() {
            *texel = own.texels[y * width + x];
        }
    });
    Picture { size: [own.size[1], own.size[0]], deep: own.deep, texels }
}

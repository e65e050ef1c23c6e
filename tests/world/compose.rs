//! Composes the still from the manifest alone, in code that shares nothing with the renderer, and measures how far it is off.

use crate::outside::decoded;
use serde_json::Value;
use std::path::Path;

/// Source-over of what the manifest lists, as README says, in f64; encoded values, 0 to 1.
pub fn compose(folder: &Path, manifest: &Value, camera: [f64; 2]) -> ([usize; 2], Vec<[f64; 3]>) {
    let number = |value: &Value| value.as_f64().unwrap();
    let scale = number(&manifest["scale"]);
    let size = [0, 1].map(|axis| (number(&manifest["view"][axis]) * scale).round() as usize);
    let linear = manifest["blending"] == "linear";
    let enter = |value: f64| if linear { decode(value) } else { value };
    let hex = manifest["still"]["backdrop"].as_str().unwrap();
    let ground =
        [1, 3, 5].map(|at| enter(f64::from(u8::from_str_radix(&hex[at..at + 2], 16).unwrap()) / 255.0));
    let mut frame = vec![ground; size[0] * size[1]];
    let mut files: Vec<&Value> = manifest["files"].as_array().unwrap().iter().collect();
    files.sort_by_key(|file| file["order"].as_u64());
    for file in files {
        let (texels_size, texels) =
            decoded(&std::fs::read(folder.join(file["path"].as_str().unwrap())).unwrap());
        let texels: Vec<[f64; 4]> =
            texels.iter().map(|[r, g, b, a]| [enter(*r), enter(*g), enter(*b), *a]).collect();
        assert_eq!(file["texels"], serde_json::json!(texels_size), "{}", file["path"]);
        let list =
            |key: &str| -> Option<Vec<f64>> { Some(file.get(key)?.as_array()?.iter().map(number).collect()) };
        let rect = list("rect").unwrap();
        let stretch = list("stretch").unwrap();
        for axis in 0..2 {
            let by_size = rect[2 + axis] / f64::from(texels_size[axis]);
            assert!((by_size - stretch[axis]).abs() < 1e-9, "{}", file["path"]);
        }
        let part =
            list("part").unwrap_or(vec![0.0, 0.0, f64::from(texels_size[0]), f64::from(texels_size[1])]);
        let strip = list("strip").unwrap_or(rect.clone());
        let repeat = file["repeat"].as_bool().unwrap();
        let premultiplied = file["alpha"] == "premultiplied";
        // The still sets strips on whole texels of the view.
        let snapped = |from: f64| (from * scale).round();
        let start = strip[0] - camera[0] * number(&file["pan_rate"]);
        // Along y only those whose texels are the view's; all move by whole ones.
        let as_seen = (stretch[1] * scale - 1.0).abs() < 1e-9;
        let place = snapped(strip[1] - camera[1] * number(&file["pan_rate"]));
        let from = if as_seen { strip[1] * scale } else { snapped(strip[1]) };
        let top = place + rect[1] * scale - from;
        let period = file["period"].as_f64();
        let turns: Vec<f64> = match period {
            None => vec![start],
            Some(period) => {
                let first = ((-start - strip[2]) / period).floor() as i64 - 1;
                let last = ((size[0] as f64 / scale - start) / period).ceil() as i64 + 1;
                // A picture that repeats edge to edge is snapped once.
                let base = if repeat || strip[2] == period { snapped(start) / scale } else { start };
                (first..=last).map(|turn| base + turn as f64 * period).collect()
            }
        };
        let [wide, tall] = [0, 1].map(|axis| texels_size[axis] as i64);
        let texel = |x: i64, y: i64| {
            let x = if repeat { x.rem_euclid(wide) } else { x.clamp(0, wide - 1) };
            texels[(y.clamp(0, tall - 1) * wide + x) as usize]
        };
        let step = [stretch[0] * scale, stretch[1] * scale];
        for turn in turns {
            let left = snapped(turn) + (rect[0] - strip[0]) * scale;
            for y in 0..size[1] {
                let v = (y as f64 + 0.5 - top) / step[1];
                if v < part[1] || v >= part[1] + part[3] {
                    continue;
                }
                for x in 0..size[0] {
                    let u = (x as f64 + 0.5 - left) / step[0];
                    if u < part[0] || u >= part[0] + part[2] {
                        continue;
                    }
                    // Linear filter, as every renderer has it.
                    let (a, b) = (u - 0.5, v - 0.5);
                    let (i, j) = (a.floor(), b.floor());
                    let (s, t) = (a - i, b - j);
                    let (i, j) = (i as i64, j as i64);
                    let corners = [texel(i, j), texel(i + 1, j), texel(i, j + 1), texel(i + 1, j + 1)];
                    let weights = [(1.0 - s) * (1.0 - t), s * (1.0 - t), (1.0 - s) * t, s * t];
                    let mixed: [f64; 4] = std::array::from_fn(|at| {
                        (0..4).map(|corner| weights[corner] * corners[corner][at]).sum()
                    });
                    let alpha = mixed[3];
                    for (under, over) in frame[y * size[0] + x].iter_mut().zip(mixed) {
                        let over = if premultiplied { over } else { over * alpha };
                        *under = over + *under * (1.0 - alpha);
                    }
                }
            }
        }
    }
    let leave = |value: f64| if linear { encode(value) } else { value };
    (size, frame.iter().map(|colour| colour.map(leave)).collect())
}

/// IEC 61966-2-1.
fn decode(value: f64) -> f64 {
    if value <= 0.04045 { value / 12.92 } else { libm::pow((value + 0.055) / 1.055, 2.4) }
}

fn encode(value: f64) -> f64 {
    if value <= 0.003_130_8 { value * 12.92 } else { 1.055 * libm::pow(value, 1.0 / 2.4) - 0.055 }
}

/// Largest and mean distance of two frames in 8-bit codes.
pub fn distance(frame: &[[f64; 3]], still: &[[f64; 4]]) -> (f64, f64) {
    let all = frame.iter().flatten().zip(still.iter().flat_map(|texel| &texel[..3]));
    let gaps: Vec<f64> = all.map(|(a, b)| (a - b).abs() * 255.0).collect();
    (gaps.iter().copied().fold(0.0, f64::max), gaps.iter().sum::<f64>() / gaps.len() as f64)
}

/// Largest distance of two frames where both are shown in 8 bits.
pub fn codes_apart(frame: &[[f64; 3]], still: &[[f64; 4]]) -> i32 {
    let shown = |value: f64| (value * 255.0).round() as i32;
    let all = frame.iter().flatten().zip(still.iter().flat_map(|texel| &texel[..3]));
    all.map(|(a, b)| (shown(*a) - shown(*b)).abs()).max().unwrap_or(0)
}

/// Share of the channels that are more than so many 8-bit codes apart.
pub fn beyond(frame: &[[f64; 3]], still: &[[f64; 4]], codes: f64) -> f64 {
    let all = frame.iter().flatten().zip(still.iter().flat_map(|texel| &texel[..3]));
    let (mut count, mut over) = (0, 0);
    for (a, b) in all {
        count += 1;
        over += usize::from((a - b).abs() * 255.0 > codes);
    }
    over as f64 / count as f64
}

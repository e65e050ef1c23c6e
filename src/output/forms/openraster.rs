//! OpenRaster: the stack at the start of the travel, each picture a layer, for painters.
//!
//! Source: OpenRaster file layout and layer stack specification, draft 0.0.5. Layers mix on the stored sRGB values, as readers
//! of the format do; so does the merged picture, also where the scene's own blending is linear.

use crate::base::fault::{Class, Fault, Result};
use crate::base::picture::Picture;
use crate::base::placing::{Kind, Placing};
use crate::base::raster::{Owned, Raster};
use crate::base::units::{Camera, Scale};
use crate::base::words::{Bits, Blending};
use crate::output::forms::escaped;
use crate::output::{Effort, encode_channels};
use crate::scene::layered::{AGAIN, BACKDROP, BY_HAND, MADE, fingerprint};
use crate::stack::compositor::{self, Compositor, Exact, Pixels, Place};
use crate::stack::{Made, Source, Stack};
use rayon::prelude::*;
use std::io::{Cursor, Write};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

/// Longest side of the thumbnail, px.
const THUMBNAIL: u32 = 256;

struct Layer {
    name: String,
    src: String,
    at: [i64; 2],
    size: [u32; 2],
    samples: Vec<u8>,
}

/// The archive.
pub fn bytes(stack: &Stack<'_>, effort: Effort) -> Result<Vec<u8>> {
    let plan = stack.plan();
    let canvas = plan.texels;
    let layers: Vec<Layer> = (0..plan.files.len())
        .into_par_iter()
        .flat_map_iter(|index| {
            let placing = stack.placing(index);
            let by_hand = matches!(stack.made[index], Some(Made::Picture(_)));
            layers(stack.texels(index, Bits::Eight), (placing, by_hand), canvas, plan.scale, index)
        })
        .collect();
    let backdrop = plan.backdrop.to_codes();
    let merged = merge(canvas, backdrop, &layers);
    let small = thumbnail(canvas, &merged)?;

    let ground: Vec<u8> = [backdrop[0], backdrop[1], backdrop[2], u8::MAX].repeat(merged.len() / 4);
    let mut files = vec![
        ("mimetype".to_owned(), b"image/openraster".to_vec()),
        ("stack.xml".to_owned(), xml(canvas, &layers).into_bytes()),
        ("Thumbnails/thumbnail.png".to_owned(), small),
        ("mergedimage.png".to_owned(), rgba(canvas, &merged, effort)),
        ("data/backdrop.png".to_owned(), rgba(canvas, &ground, effort)),
    ];
    let pictures: Vec<Vec<u8>> =
        layers.par_iter().map(|layer| rgba(layer.size, &layer.samples, effort)).collect();
    files.extend(layers.into_iter().map(|layer| layer.src).zip(pictures));
    pack(&files)
}

fn rgba(size: [u32; 2], samples: &[u8], effort: Effort) -> Vec<u8> {
    encode_channels(Raster::Eight { size, samples }, true, effort)
}

/// What a layer's name says of its kind, after the slot's name.
fn ending(kind: Kind) -> &'static str {
    match kind {
        Kind::Fog => ".fog",
        Kind::Rim => ".rim",
        Kind::Art => "",
        Kind::Lamp => ".lamp",
    }
}

/// The layer of a picture, which somebody painted or not; and where it repeats, one of its places to the left and one of those to the right, as far as in view.
///
/// Art that repeats has one of them even if none is in view: its name says the distance.
fn layers(
    texels: Owned,
    (placing, by_hand): (&Placing, bool),
    canvas: [u32; 2],
    scale: Scale,
    index: usize,
) -> Vec<Layer> {
    let samples = match texels {
        Owned::Eight { samples, .. } => samples,
        Owned::Sixteen { samples, .. } => samples.iter().map(|code| (code >> 8) as u8).collect(),
    };
    let place = Place::new(placing, placing.texels, scale, Camera::default());
    let made = match placing.kind {
        Kind::Fog | Kind::Rim if by_hand => format!("{MADE}{BY_HAND}"),
        Kind::Fog | Kind::Rim => format!("{MADE}{}", fingerprint(placing.texels[0], &samples)),
        Kind::Art | Kind::Lamp => String::new(),
    };
    let own = Layer {
        name: format!("{}{} depth {}{made}", placing.slot, ending(placing.kind), placing.depth),
        src: format!("data/layer{index:03}.png"),
        at: [place.left(0), place.top()],
        size: placing.texels,
        samples,
    };
    let Some(period) = placing.period else { return vec![own] };
    let distance = (period * scale).0;
    let copies = place.copies(canvas[0] as usize);
    let first = *copies.start();
    let (mut left, mut right): (Vec<i64>, Vec<i64>) =
        copies.filter(|copy| *copy != 0).partition(|copy| *copy < 0);
    if left.is_empty() && right.is_empty() && placing.kind == Kind::Art {
        if first < 0 { left.push(first) } else { right.push(first.max(1)) }
    }
    // As in the still, each place lies over those to its left.
    let again = |copies: &[i64], side: &str| {
        let start = place.left(*copies.first()?);
        Some(Layer {
            name: format!(
                "{}{}{AGAIN}{distance} depth {}",
                placing.slot,
                ending(placing.kind),
                placing.depth
            ),
            src: format!("data/layer{index:03}-{side}.png"),
            at: [start, own.at[1]],
            ..strip(&own, copies.iter().map(|copy| place.left(*copy) - start))
        })
    };
    let (left, right) = (again(&left, "left"), again(&right, "right"));
    [left, Some(own), right].into_iter().flatten().collect()
}

/// The picture of `own` at several places, one over the other from the left.
fn strip(own: &Layer, places: impl Iterator<Item = i64> + Clone) -> Layer {
    let [width, height] = own.size.map(|side| side as usize);
    let wide = places.clone().max().unwrap_or(0) as usize + width;
    let mut samples = vec![0; wide * height * 4];
    for place in places {
        let rows = samples.chunks_exact_mut(wide * 4).zip(own.samples.chunks_exact(width * 4));
        for (out, row) in rows {
            let out = &mut out[place as usize * 4..][..width * 4];
            for (under, over) in out.chunks_exact_mut(4).zip(row.chunks_exact(4)) {
                let (below, above) = (f32::from(under[3]) / 255.0, f32::from(over[3]) / 255.0);
                let alpha = above + below * (1.0 - above);
                // Straight colours over one another (Porter & Duff 1984); where nothing shows, the upper one's colour.
                let share = if alpha > 0.0 { above / alpha } else { 1.0 };
                for (under, over) in under.iter_mut().zip(&over[..3]) {
                    let mixed = f32::from(*under) + (f32::from(*over) - f32::from(*under)) * share;
                    *under = (mixed + 0.5) as u8;
                }
                under[3] = (alpha * 255.0 + 0.5) as u8;
            }
        }
    }
    Layer { name: String::new(), src: String::new(), at: [0, 0], size: [wide as u32, own.size[1]], samples }
}

/// The composite of the stored values (W3C Compositing and Blending Level 1), each layer as it stands.
fn merge(canvas: [u32; 2], backdrop: [u8; 3], layers: &[Layer]) -> Vec<u8> {
    let [r, g, b] = backdrop.map(f32::from);
    let placed = layers.iter().map(|layer| compositor::Layer {
        source: Source::Codes(layer.samples.as_chunks().0, layer.size),
        place: Place::at(layer.at, layer.size),
    });
    let compositor = Compositor::plain(canvas, [r, g, b, 255.0], placed.collect());
    let [width, height] = canvas.map(|side| side as usize);
    let mut merged = vec![0; width * height * 4];
    compositor.strips(merged.par_chunks_mut(width * Exact::ROWS * 4), |_, pixels: &mut Exact, codes| {
        for (code, value) in codes.iter_mut().zip(pixels.lanes.as_flattened()) {
            *code = (value + 0.5) as u8;
        }
    });
    merged
}

/// As large as fits into 256 by 256 without growing.
fn thumbnail(size: [u32; 2], merged: &[u8]) -> Result<Vec<u8>> {
    let longest = size[0].max(size[1]);
    let small = if longest <= THUMBNAIL {
        size
    } else {
        size.map(|side| {
            let scaled = u64::from(side) * u64::from(THUMBNAIL) * 2 + u64::from(longest);
            ((scaled / (2 * u64::from(longest))) as u32).max(1)
        })
    };
    let texels =
        merged.as_chunks::<4>().0.iter().map(|texel| texel.map(|code| u16::from(code) * 257)).collect();
    let picture = Picture { size, deep: false, texels }.resized(small, false, Blending::Encoded)?;
    Ok(encode_channels(Raster::Eight { size: small, samples: &picture.eight() }, false, Effort::Balanced))
}

/// The stack: the topmost layer first.
fn xml([width, height]: [u32; 2], layers: &[Layer]) -> String {
    let mut text = format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<image version=\"0.0.5\" w=\"{width}\" h=\"{height}\">\n  <stack>\n"
    );
    let mut line = |name: &str, src: &str, [x, y]: [i64; 2]| {
        text += &format!(
            "    <layer name=\"{}\" src=\"{src}\" x=\"{x}\" y=\"{y}\" opacity=\"1.0\" visibility=\"visible\" composite-op=\"svg:src-over\"/>\n",
            escaped(name)
        );
    };
    for layer in layers.iter().rev() {
        line(&layer.name, &layer.src, layer.at);
    }
    line(BACKDROP, "data/backdrop.png", [0, 0]);
    text + "  </stack>\n</image>\n"
}

/// Stored entries with fixed times: the same stack gives the same bytes. `mimetype` comes first.
fn pack(files: &[(String, Vec<u8>)]) -> Result<Vec<u8>> {
    let total: u64 = files.iter().map(|(name, bytes)| (bytes.len() + 2 * name.len() + 200) as u64).sum();
    if total > u64::from(u32::MAX) {
        return Err(Fault::new(Class::Limit, "the layered file would be over 4 GB")
            .remedy("Render at a smaller scale.")
            .into());
    }
    let options = SimpleFileOptions::default()
        .compression_method(CompressionMethod::Stored)
        .last_modified_time(zip::DateTime::default())
        // The same bytes on every system.
        .system(zip::System::Unix)
        .unix_permissions(0o644);
    let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
    let packed = files
        .iter()
        .try_for_each(|(name, bytes)| {
            archive.start_file(name.as_str(), options)?;
            Ok(archive.write_all(bytes)?)
        })
        .and_then(|()| archive.finish());
    packed.map(Cursor::into_inner).map_err(|error: zip::result::ZipError| {
        Fault::new(Class::Output, format!("the layered file can't be packed: {error}")).into()
    })
}

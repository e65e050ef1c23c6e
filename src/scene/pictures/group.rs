//! A group of layers as one picture.

use crate::base::fault::{Class, Fault, Result};
use crate::base::limits::Limits;
use crate::base::room;
use crate::base::words::Blending;
use crate::scene::apart;
use crate::scene::layered::Part;
use crate::scene::pictures::{DRAWING, Source, TEXEL, check_size};
use image::codecs::png::{CompressionType, FilterType, PngEncoder};
use image::{DynamicImage, ImageBuffer, ImageEncoder, Rgba};
use std::io::Cursor;
use std::path::Path;

/// The PNG of `parts`, topmost first, drawn over each other on the stored values as OpenRaster's readers do; as large as all of them
/// together. With 8 bits where every part has 8.
///
/// # Errors
/// Class `Picture`: one can't be used. Class `Limit`: together they are too large.
pub(super) fn flatten(
    file: &Path,
    parts: &[Part],
    pictures: Vec<Vec<u8>>,
    limits: &Limits,
) -> Result<Vec<u8>> {
    let mut sources = Vec::new();
    for (part, bytes) in parts.iter().zip(pictures) {
        sources.push((part, Source::from_bytes(file, bytes, limits)?));
    }
    let [left, top] =
        [|part: &Part| part.x, |part: &Part| part.y].map(|at| parts.iter().map(at).min().unwrap_or_default());
    let far = |axis: usize| {
        let ends = sources.iter().map(|(part, source)| {
            let start = if axis == 0 { part.x - left } else { part.y - top };
            start.saturating_add(source.natural[axis] as i64)
        });
        ends.max().unwrap_or_default().clamp(1, i64::from(u32::MAX)) as u32
    };
    let size = [far(0), far(1)];
    check_size(size, "the group", limits).map_err(|fault| fault.in_file(file))?;
    let areas = sources.iter().map(|(_, source)| source.natural[0] * source.natural[1]);
    let needed = bytes(f64::from(size[0]) * f64::from(size[1]), areas.fold(0.0, f64::max));
    if needed > limits.memory {
        let message = format!(
            "the group takes about {} MB to put together, over the limit of {} MB",
            needed >> 20,
            limits.memory >> 20
        );
        let remedy = format!("Merge its layers, or raise the limit: --limit memory={needed}.");
        return Err(Fault::new(Class::Limit, message).in_file(file).remedy(remedy).into());
    }
    room::probe(needed, "the group").map_err(|fault| fault.in_file(file))?;
    apart::allow(needed);
    let mut all: ImageBuffer<Rgba<u16>, Vec<u16>> = ImageBuffer::new(size[0], size[1]);
    let mut deep = false;
    for (part, source) in sources.iter().rev() {
        let own = source.natural.map(|side| side as u32);
        let picture = source.draw(own, false, false, Blending::Encoded, limits)?;
        deep |= picture.deep;
        let samples = picture
            .texels
            .iter()
            .flat_map(|[r, g, b, a]| [*r, *g, *b, (f64::from(*a) * part.opacity).round() as u16]);
        let over = ImageBuffer::<Rgba<u16>, Vec<u16>>::from_raw(own[0], own[1], samples.collect())
            .unwrap_or_default();
        image::imageops::overlay(&mut all, &over, part.x - left, part.y - top);
    }
    let whole = DynamicImage::ImageRgba16(all);
    let whole = if deep { whole } else { DynamicImage::ImageRgba8(whole.into_rgba8()) };
    let mut bytes = Cursor::new(Vec::new());
    PngEncoder::new_with_quality(&mut bytes, CompressionType::Fast, FilterType::Up)
        .write_image(whole.as_bytes(), size[0], size[1], whole.color().into())
        .map_err(|error| {
            Fault::new(Class::Picture, format!("the group can't be put together: {error}")).in_file(file)
        })?;
    Ok(bytes.into_inner())
}

/// Bytes that putting a group of so many texels together takes, the largest of whose layers has so many: both at 16 bits, the layer with
/// what drawing it takes, the group at 8 bits as well, and packed.
fn bytes(group: f64, largest: f64) -> u64 {
    // Saturates, and is then over any limit.
    ((2.0 * TEXEL) * group + (DRAWING + TEXEL) * largest) as u64
}

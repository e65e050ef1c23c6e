//! An animated PNG: the camera over the travel and back, eased, without end; where frames of fog are made, it flows meanwhile, once
//! through its loop.
//!
//! Source: PNG Specification, third edition (W3C, 2025), animation chunks acTL, fcTL and fdAT.

use crate::base::fault::{Class, Fault, Result};
use crate::base::limits::Limits;
use crate::base::picture::Picture;
use crate::base::units::{Camera, Travel};
use crate::output::forms::Pan;
use crate::output::png::mark_srgb;
use crate::stack::Stack;
use png::{BitDepth, ColorType, DeflateCompression, Encoder, EncodingError, Filter};
use rayon::prelude::*;

/// Camera places of the frames: a cosine from the start to the end and back, both ways at once, so that the last meets the first.
pub fn cameras(travel: Travel, frames: u16) -> Vec<Camera> {
    let turn = std::f64::consts::TAU / f64::from(frames.max(1));
    (0..frames.max(1)).map(|at| travel.at([0.5 * (1.0 - libm::cos(turn * f64::from(at))); 2])).collect()
}

/// The file.
pub fn bytes(stack: &Stack<'_>, pan: &Pan, limits: &Limits) -> Result<Vec<u8>> {
    let plan = stack.plan();
    let ([width, height], frames) = pan.size(plan, limits);
    pan.check(plan, limits)?;
    let cameras = cameras(plan.travel, frames);
    // At rest, the way back passes the same places.
    let there = if pan.flows { usize::from(frames) } else { usize::from(frames) / 2 + 1 };
    let pictures = cameras
        .iter()
        .take(there)
        .enumerate()
        .map(|(at, camera)| {
            if !pan.flows || at == 0 {
                return frame(stack, *camera, [width, height]);
            }
            let moment = plan.at(at as f64 / f64::from(frames), 0.0);
            frame(&stack.flowing(&moment), *camera, [width, height])
        })
        .collect::<Result<Vec<Vec<u8>>>>()?;
    let order = (0..usize::from(frames))
        .map(|at| pictures.get(at).unwrap_or_else(|| &pictures[usize::from(frames) - at]));
    write([width, height], frames, pan.between(plan, frames), order)
        .map_err(|error| Fault::new(Class::Output, format!("the animation can't be packed: {error}")).into())
}

/// One frame, RGB.
fn frame(stack: &Stack<'_>, camera: Camera, size: [u32; 2]) -> Result<Vec<u8>> {
    let still = stack.still(camera);
    let texels = still.sixteen().as_chunks::<4>().0.to_vec();
    let blending = stack.plan().blending;
    // Shrunk in linear light, as the eye blurs; in encoded values where the scene mixes so.
    let small = Picture { size: still.size, deep: true, texels }.resized(size, false, blending)?;
    let codes: Vec<u8> = small.eight();
    Ok(codes.par_chunks_exact(4).flat_map_iter(|texel| [texel[0], texel[1], texel[2]]).collect())
}

fn write<'a>(
    [width, height]: [u32; 2],
    frames: u16,
    delay: u16,
    pictures: impl Iterator<Item = &'a Vec<u8>>,
) -> std::result::Result<Vec<u8>, EncodingError> {
    let mut file = Vec::new();
    let mut encoder = Encoder::new(&mut file, width, height);
    encoder.set_color(ColorType::Rgb);
    encoder.set_depth(BitDepth::Eight);
    mark_srgb(&mut encoder);
    encoder.set_deflate_compression(DeflateCompression::Level(6));
    encoder.set_filter(Filter::Adaptive);
    // 0 plays: without end.
    encoder.set_animated(u32::from(frames), 0)?;
    encoder.set_frame_delay(delay, 1000)?;
    let mut writer = encoder.write_header()?;
    for picture in pictures {
        writer.write_image_data(picture)?;
    }
    writer.finish()?;
    Ok(file)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_way_is_closed_and_eased() {
        let cameras = cameras(Travel::new(1000.0, 100.0), 64);
        assert!(cameras.iter().all(|camera| (camera.right.0 - 10.0 * camera.down.0).abs() < 1e-9));
        let way: Vec<f64> = cameras.iter().map(|camera| camera.right.0).collect();
        assert_eq!((way[0], way[32]), (0.0, 1000.0));
        for at in 1..64 {
            assert!((way[at] - way[64 - at]).abs() < 1e-9);
        }
        // The steps at the turns are the smallest, those half way the largest.
        assert!(way[1] < 3.0 && (way[17] - way[16]) > 45.0);
    }
}

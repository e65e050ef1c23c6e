//! An animated PNG: the camera over the travel and back, eased, without end; where frames of fog are made, it flows meanwhile, once
//! through its loop.
//!
//! Source: PNG Specification, third edition (W3C, 2025), animation chunks acTL, fcTL and fdAT.

use crate::base::fault::{Class, Fault, Result};
use crate::base::limits::Limits;
use crate::base::picture::Picture;
use crate::base::units::{Camera, Travel};
use crate::output::png::mark_srgb;
use crate::plan::Plan;
use crate::stack::Stack;
use png::{BitDepth, ColorType, DeflateCompression, Encoder, EncodingError, Filter};
use rayon::prelude::*;

/// What is asked of the animation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pan {
    /// Most width in texels; the height follows the view.
    pub width: u32,
    /// Frames of the whole way, there and back.
    pub frames: u16,
    /// Time between frames, milliseconds, where fog is at rest; flowing fog takes the time of its loop.
    pub delay: u16,
    /// Whether the fog flows.
    pub flows: bool,
}

impl Default for Pan {
    /// Five seconds and a bit, small enough for a page.
    fn default() -> Pan {
        Pan { width: 480, frames: 64, delay: 80, flows: false }
    }
}

impl Pan {
    /// Width and height of a frame in texels, and how many there are: one where nothing moves.
    fn size(&self, plan: &Plan, limits: &Limits) -> ([u32; 2], u16) {
        let [wide, tall] = plan.texels;
        let width = self.width.clamp(1, limits.side).min(wide);
        let height =
            ((u64::from(tall) * u64::from(width) + u64::from(wide) / 2) / u64::from(wide)).max(1) as u32;
        ([width, height], if self.flows || !plan.travel.is_none() { self.frames.max(1) } else { 1 })
    }

    /// Time between so many frames, milliseconds.
    fn between(&self, plan: &Plan, frames: u16) -> u16 {
        if self.flows { (1000.0 * plan.loop_seconds / f64::from(frames)).round() as u16 } else { self.delay }
    }

    /// Texels of all frames.
    pub fn texels(&self, plan: &Plan, limits: &Limits) -> u64 {
        let ([width, height], frames) = self.size(plan, limits);
        u64::from(width) * u64::from(height) * u64::from(frames)
    }

    /// Whether all frames together are within the limits.
    ///
    /// # Errors
    /// Class `Limit`: they aren't.
    pub fn check(&self, plan: &Plan, limits: &Limits) -> Result<()> {
        let (texels, most) = (self.texels(plan, limits), limits.texels);
        if texels <= most {
            return Ok(());
        }
        let message = format!("the animation would have {texels} texels, over the limit of {most}");
        let remedy = format!("Use fewer or smaller frames, or raise the limit: --limit texels={texels}.");
        Err(Fault::new(Class::Limit, message).remedy(remedy).into())
    }
}

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

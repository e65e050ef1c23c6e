//! A loop of flowing fog as an animated PNG: one palette for all frames, and of each only what changes.
//!
//! Source: PNG Specification, third edition (W3C, 2025), animation chunks and their blending over what stands.

use super::Canvas;
use super::scenes::{self, Show};
use color_quant::NeuQuant;
use fogweft::base::fault::Result;
use fogweft::base::limits::Limits;
use fogweft::base::words::Bits;
use fogweft::plan::{Plan, haze};
use fogweft::scene::pictures::Pictures;
use fogweft::stack::Stack;
use fogweft::store::cache::Store;
use fogweft::store::maker::{Maker, Request};
use png::{
    BitDepth, BlendOp, ColorType, Compression, DisposeOp, Encoder, EncodingError, Filter, SrgbRenderingIntent,
};
use rayon::prelude::*;
use std::path::Path;

const WIDTH: f64 = 640.0;
/// Frames a second, and of the loop.
const RATE: u16 = 12;
const FRAMES: u32 = 72;
/// Colours of the palette; one more is for what stays.
const COLOURS: usize = 255;
/// The palette is found from every so many texels of the frames.
const SAMPLED: usize = 41;
/// A texel changes once its colour is so many codes nearer to another one of the palette.
const SLACK: i32 = 1;

/// A loop: places in a palette, frame by frame.
pub struct Loop {
    size: [u32; 2],
    palette: Vec<[u8; 3]>,
    frames: Vec<Vec<u8>>,
}

/// The marsh from the middle of its travel, once through the loop of its fog.
pub fn marsh(root: &Path) -> Result<Loop> {
    let (limits, store) = (Limits::default(), Store::default());
    let seconds = f64::from(FRAMES) / f64::from(RATE);
    let scene = scenes::scene(root, "salt-marsh", None, &[format!("air.loop_seconds={seconds}")])?;
    let pictures = Pictures::open(&scene, &limits)?;
    let scene = &*haze::sampled(&scene, &pictures, &limits)?;
    let plan = Plan::new(scene, &pictures.naturals(), WIDTH / scene.view[0].0, &limits)?.with_frames(FRAMES);
    let cameras = [plan.travel.middle()];
    let mut stack = Stack::empty(&plan);
    let needed = plan.files.iter().map(|job| Show::All.has(job)).collect();
    Maker::new(&store, &limits)
        .fill(&mut stack, &Request { needed, ..Request::all(&plan, &pictures, &cameras) })?;
    let frame = |at: u32| {
        let moment = plan.at(f64::from(at) / f64::from(FRAMES), 0.0);
        stack.flowing(&moment).shown(cameras[0], Bits::Eight).texels
    };
    let frames: Vec<Canvas> = (0..FRAMES).map(|at| scenes::canvas(frame(at))).collect();
    Ok(Loop::new(&frames))
}

impl Loop {
    /// Of pictures of one size.
    fn new(pictures: &[Canvas]) -> Loop {
        let all = pictures.iter().flat_map(|picture| picture.texels.chunks_exact(4));
        let sampled: Vec<u8> = all.step_by(SAMPLED).flatten().copied().collect();
        let colours = NeuQuant::new(1, COLOURS, &sampled);
        let palette: Vec<[u8; 3]> = colours.color_map_rgb().as_chunks::<3>().0.to_vec();
        let nearest: Vec<Vec<u8>> = pictures
            .par_iter()
            .map(|picture| {
                picture.texels.chunks_exact(4).map(|texel| colours.index_of(texel) as u8).collect()
            })
            .collect();
        // Once around before the first, so that what stays stays where the loop closes, too.
        let mut before = nearest[0].clone();
        let mut frames = Vec::new();
        for (at, (picture, nearest)) in
            pictures.iter().zip(&nearest).cycle().take(2 * pictures.len()).enumerate()
        {
            before = changed(&palette, picture, nearest, &before);
            if at >= pictures.len() {
                frames.push(before.clone());
            }
        }
        Loop { size: pictures[0].size, palette, frames }
    }

    /// Its frames as they are seen.
    pub fn frames(&self) -> Vec<Canvas> {
        let colour = |place: &u8| {
            let [r, g, b] = self.palette[usize::from(*place)];
            [r, g, b, 255]
        };
        let frame = |places: &Vec<u8>| Canvas::of(self.size, places.iter().flat_map(colour).collect());
        self.frames.iter().map(frame).collect()
    }

    /// Its file.
    pub fn png(&self) -> Vec<u8> {
        self.written().expect("a file in memory")
    }

    fn written(&self) -> std::result::Result<Vec<u8>, EncodingError> {
        let stays = self.palette.len();
        let mut file = Vec::new();
        let mut encoder = Encoder::new(&mut file, self.size[0], self.size[1]);
        encoder.set_color(ColorType::Indexed);
        encoder.set_depth(BitDepth::Eight);
        encoder.set_palette([self.palette.as_flattened(), &[0; 3]].concat());
        encoder.set_trns([vec![255; stays], vec![0]].concat());
        encoder.set_source_srgb(SrgbRenderingIntent::Perceptual);
        encoder.set_compression(Compression::High);
        encoder.set_filter(Filter::NoFilter);
        encoder.set_animated(self.frames.len() as u32, 0)?;
        encoder.set_frame_delay(1, RATE)?;
        encoder.set_dispose_op(DisposeOp::None)?;
        encoder.set_blend_op(BlendOp::Source)?;
        let mut writer = encoder.write_header()?;
        writer.write_image_data(&self.frames[0])?;
        writer.set_blend_op(BlendOp::Over)?;
        for pair in self.frames.windows(2) {
            let changed = pair[1].iter().zip(&pair[0]);
            let places: Vec<u8> =
                changed.map(|(now, before)| if now == before { stays as u8 } else { *now }).collect();
            writer.write_image_data(&places)?;
        }
        writer.finish()?;
        Ok(file)
    }
}

/// The places of a picture after those of the one before: a texel stays while its colour isn't clearly nearer to another.
fn changed(palette: &[[u8; 3]], picture: &Canvas, nearest: &[u8], before: &[u8]) -> Vec<u8> {
    let texels = picture.texels.chunks_exact(4).zip(nearest).zip(before);
    texels
        .map(|((texel, nearest), before)| {
            let [near, stays] = [*nearest, *before].map(|place| distance(texel, palette[usize::from(place)]));
            if stays <= near + SLACK { *before } else { *nearest }
        })
        .collect()
}

/// How far two colours are apart: the largest difference of a channel.
fn distance(texel: &[u8], colour: [u8; 3]) -> i32 {
    texel.iter().zip(colour).map(|(a, b)| (i32::from(*a) - i32::from(b)).abs()).max().unwrap_or(0)
}

//! glTF 2.0, binary: the stack as unlit, alpha-blended quads at their depths, before the plan's camera.
//!
//! Source: glTF 2.0 Specification (Khronos Group, ISO/IEC 12113:2022), KHR_materials_unlit. Axes: x right, y up, z toward the eye.
//! A scene px on the play plane is [`UNIT`] long; the eye stands a view's width before it, and depths are scaled to that, so
//! that a quad at depth d, enlarged by (camera + d) / camera, pans at the plan's rate.

use crate::base::fault::{Class, Fault, Result};
use crate::base::law;
use crate::base::placing::Kind;
use crate::base::units::Px;
use crate::base::words::{Alpha, Bits};
use crate::output::texture::{Shape, Tile};
use crate::output::{Effort, encode_channels};
use crate::plan::Plan;
use crate::scene::Texture;
use crate::stack::Stack;
use rayon::prelude::*;
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// Length of a scene px on the play plane.
const UNIT: f64 = 0.01;

/// Least distance between the depths of two pictures, as a share of the farther one's distance from the eye: enough for
/// viewers that sort by depth, too little to be seen.
const APART: f64 = 1e-4;

/// Longest side of a texture that any viewer of the format takes (the least that WebGPU grants).
const SIDE: u32 = 8192;

/// Most quads.
const MOST_QUADS: usize = 200_000;

/// A quad: left, top, width, height in scene px with the camera at the start of the travel, and the same of the texture.
type Quad = ([f64; 4], [f64; 4]);

struct Part {
    quads: Vec<Quad>,
    repeats: bool,
    png: Vec<u8>,
}

/// The file; `shapes` are those of the textures with 8 bits, if they are known.
pub fn bytes(stack: &Stack<'_>, shapes: Option<&[Shape]>, effort: Effort) -> Result<Vec<u8>> {
    let plan = stack.plan();
    let texture =
        Texture { alpha: Alpha::Straight, side: plan.texture.side.min(SIDE), trim: true, ..plan.texture };
    let alike = plan.texture.alpha == texture.alpha && plan.texture.trim;
    let pictures: Vec<Vec<Part>> = (0..plan.files.len())
        .into_par_iter()
        .map(|index| {
            let shape = match shapes {
                // Searching takes long; what was found holds here too.
                Some(shapes) if alike => {
                    Shape::from_bands(shapes[index].bands.clone(), stack.placing(index), &texture)
                }
                _ => Shape::new(stack, index, &texture, Bits::Eight),
            };
            let made = shape.make(stack, index, Bits::Eight, Alpha::Straight);
            let placing = stack.placing(index);
            let parts = shape.tiles.iter().zip(made).map(|(tile, texels)| Part {
                quads: quads(plan, tile, placing.pan_rate, placing.period),
                repeats: tile.repeat,
                png: encode_channels(texels.raster(), true, effort),
            });
            parts.collect()
        })
        .collect();
    let count: usize = pictures.iter().flatten().map(|part| part.quads.len()).sum();
    if count > MOST_QUADS {
        return Err(Fault::new(
            Class::Limit,
            format!("the glTF file would have {count} quads, over the limit of {MOST_QUADS}"),
        )
        .remedy("Repeat pictures at larger intervals.")
        .into());
    }
    let mut file = File::default();
    let depths = depths(plan);
    let far = depths.first().copied().unwrap_or(0.0).max(0.0);
    file.backdrop(plan, far + 0.05 * (plan.camera + far));
    for ((job, depth), parts) in plan.files.iter().zip(&depths).zip(pictures) {
        let placing = job.placing();
        let kind = match placing.kind {
            Kind::Fog => " fog",
            Kind::Rim => " rim",
            Kind::Art => "",
            Kind::Lamp => " lamp",
        };
        file.picture(plan, &format!("{}{kind}", placing.slot), *depth, parts);
    }
    file.camera(plan, &depths, far);
    file.finish(&plan.name)
}

/// Depths of the pictures as drawn: strictly falling from far to near.
fn depths(plan: &Plan) -> Vec<f64> {
    let mut depths: Vec<f64> = plan.files.iter().map(|job| job.placing().depth).collect();
    for at in (0..depths.len().saturating_sub(1)).rev() {
        let nearer = depths[at + 1];
        depths[at] = depths[at].max(nearer + APART * (plan.camera + nearer));
    }
    depths
}

/// Where a tile is drawn over the whole travel, and half a view beyond it.
fn quads(plan: &Plan, tile: &Tile, rate: f64, period: Option<Px>) -> Vec<Quad> {
    let [x, y, width, height] = tile.rect.into();
    let size = tile.texels().map(f64::from);
    let [left, top, wide, tall] = tile.part.map_or([0.0, 0.0, size[0], size[1]], |part| part.map(f64::from));
    let uv = [left / size[0], top / size[1], wide / size[0], tall / size[1]];
    let drawn = [x + uv[0] * width, y + uv[1] * height, uv[2] * width, uv[3] * height];
    let (Px(from), Px(to)) = (-0.5 * plan.view[0], 1.5 * plan.view[0] + plan.travel.right * rate);
    let Some(Px(period)) = period else { return vec![(drawn, uv)] };
    if tile.repeat {
        let across = [(from - x) / width, (to - from) / width];
        return vec![([from, drawn[1], to - from, drawn[3]], [across[0], uv[1], across[1], uv[3]])];
    }
    let first = ((from - drawn[0] - drawn[2]) / period).ceil() as i64;
    let last = ((to - drawn[0]) / period).floor() as i64;
    let at = |turn: i64| [drawn[0] + turn as f64 * period, drawn[1], drawn[2], drawn[3]];
    // One over the bound is enough to be told.
    (first..=last).take(MOST_QUADS + 1).map(|turn| (at(turn), uv)).collect()
}

/// The file in the making: its buffer, and the lists of its JSON by their names.
#[derive(Default)]
struct File {
    bin: Vec<u8>,
    lists: BTreeMap<&'static str, Vec<Value>>,
}

impl File {
    /// Adds to a list; gives the place in it.
    fn push(&mut self, list: &'static str, item: Value) -> usize {
        let list = self.lists.entry(list).or_default();
        list.push(item);
        list.len() - 1
    }

    fn view(&mut self, bytes: &[u8], target: Option<u32>) -> usize {
        while !self.bin.len().is_multiple_of(4) {
            self.bin.push(0);
        }
        let mut view = json!({"buffer": 0, "byteOffset": self.bin.len(), "byteLength": bytes.len()});
        if let Some(target) = target {
            view["target"] = target.into();
        }
        self.bin.extend_from_slice(bytes);
        self.push("bufferViews", view)
    }

    /// An accessor of numbers, `width` to an element.
    fn floats(&mut self, values: &[f32], width: usize, bounds: bool, target: Option<u32>) -> usize {
        let bytes: Vec<u8> = values.iter().flat_map(|value| value.to_le_bytes()).collect();
        let view = self.view(&bytes, target);
        let kind = ["", "SCALAR", "VEC2", "VEC3"][width];
        let mut accessor = json!({
            "bufferView": view, "componentType": 5126, "count": values.len() / width, "type": kind
        });
        if bounds {
            let bound = |pick: fn(f32, f32) -> f32| -> Vec<f64> {
                let of = |at: usize| values.iter().skip(at).step_by(width).copied().reduce(pick);
                (0..width).map(|at| f64::from(of(at).unwrap_or(0.0))).collect()
            };
            accessor["min"] = bound(f32::min).into();
            accessor["max"] = bound(f32::max).into();
        }
        self.push("accessors", accessor)
    }

    /// A primitive of quads, about `middle` (scene px), enlarged by `factor`.
    fn primitive(&mut self, quads: &[Quad], middle: [f64; 2], factor: f64, material: usize) -> Value {
        let (mut places, mut turns, mut indices) = (Vec::new(), Vec::new(), Vec::<u8>::new());
        for (at, (rect, uv)) in quads.iter().enumerate() {
            // Top left, foot left, foot right, top right: counter-clockwise, so that the front faces the eye.
            for [across, down] in [[0.0, 0.0], [0.0, 1.0], [1.0, 1.0], [1.0, 0.0]] {
                let x = (rect[0] + across * rect[2] - middle[0]) * factor * UNIT;
                let y = (middle[1] - rect[1] - down * rect[3]) * factor * UNIT;
                places.extend([x as f32, y as f32, 0.0]);
                turns.extend([(uv[0] + across * uv[2]) as f32, (uv[1] + down * uv[3]) as f32]);
            }
            let first = at as u32 * 4;
            for corner in [0, 1, 2, 0, 2, 3] {
                indices.extend((first + corner).to_le_bytes());
            }
        }
        let count = indices.len() / 4;
        let place = self.floats(&places, 3, true, Some(34962));
        let turn = self.floats(&turns, 2, false, Some(34962));
        let view = self.view(&indices, Some(34963));
        let indices = json!({"bufferView": view, "componentType": 5125, "count": count, "type": "SCALAR"});
        json!({
            "attributes": {"POSITION": place, "TEXCOORD_0": turn},
            "indices": self.push("accessors", indices),
            "material": material
        })
    }

    /// A node with a mesh, in the middle of its quads, so that viewers that sort by place sort by depth.
    fn mesh(&mut self, plan: &Plan, name: &str, depth: f64, parts: &[(Vec<Quad>, usize)]) {
        let factor = (plan.camera + depth) / plan.camera;
        let rects = || parts.iter().flat_map(|(quads, _)| quads).map(|(rect, _)| rect);
        let least = |at: usize| rects().map(|rect| rect[at]).fold(f64::INFINITY, f64::min);
        let most = |at: usize| rects().map(|rect| rect[at] + rect[at + 2]).fold(f64::NEG_INFINITY, f64::max);
        let middle = [0.5 * (least(0) + most(0)), 0.5 * (least(1) + most(1))];
        let primitives: Vec<Value> =
            parts.iter().map(|(quads, material)| self.primitive(quads, middle, factor, *material)).collect();
        let eye = plan.view.map(|side| 0.5 * side.0);
        let mesh = self.push("meshes", json!({"name": name, "primitives": primitives}));
        let translation = [
            (middle[0] - eye[0]) * factor * UNIT,
            (eye[1] - middle[1]) * factor * UNIT,
            -depth * depth_unit(plan),
        ];
        self.push("nodes", json!({"name": name, "mesh": mesh, "translation": translation}));
    }

    fn backdrop(&mut self, plan: &Plan, depth: f64) {
        let colour = plan.backdrop.linear().0.map(f64::from);
        let material = json!({
            "name": "backdrop",
            "pbrMetallicRoughness": {
                "baseColorFactor": [colour[0], colour[1], colour[2], 1.0],
                "metallicFactor": 0.0
            },
            "extensions": {"KHR_materials_unlit": {}}
        });
        let material = self.push("materials", material);
        let rate = plan.camera / (plan.camera + depth);
        let [width, height] = plan.view;
        let [wide, tall] = law::strip(plan.view, plan.travel, rate);
        let rect = [-0.5 * width, -0.5 * height, wide + width, tall + height].map(|side| side.0);
        self.mesh(plan, "backdrop", depth, &[(vec![(rect, [0.0, 0.0, 1.0, 1.0])], material)]);
    }

    fn picture(&mut self, plan: &Plan, name: &str, depth: f64, parts: Vec<Part>) {
        let mut made = Vec::new();
        for part in parts {
            let view = self.view(&part.png, None);
            let image = json!({"name": name, "bufferView": view, "mimeType": "image/png"});
            let source = self.push("images", image);
            let sampler = usize::from(part.repeats);
            let texture = self.push("textures", json!({"sampler": sampler, "source": source}));
            let material = json!({
                "name": name,
                "pbrMetallicRoughness": {"baseColorTexture": {"index": texture}, "metallicFactor": 0.0},
                "alphaMode": "BLEND",
                "doubleSided": false,
                "extensions": {"KHR_materials_unlit": {}}
            });
            let material = self.push("materials", material);
            if !part.quads.is_empty() {
                made.push((part.quads, material));
            }
        }
        if !made.is_empty() {
            self.mesh(plan, name, depth, &made);
        }
    }

    /// The plan's camera at the start of the travel, and its way there and back.
    fn camera(&mut self, plan: &Plan, depths: &[f64], far: f64) {
        let [width, height] = plan.view;
        let nearest = depths.iter().copied().fold(0.0, f64::min);
        let reach = |depth: f64| (plan.camera + depth) * depth_unit(plan);
        let lens = json!({
            "aspectRatio": width / height,
            "yfov": 2.0 * libm::atan(0.5 * height / width),
            "znear": 0.1 * reach(nearest),
            "zfar": 2.0 * reach(far)
        });
        let camera =
            self.push("cameras", json!({"name": "view", "type": "perspective", "perspective": lens}));
        let start = reach(0.0);
        let node = json!({"name": "camera", "camera": camera, "translation": [0.0, 0.0, start]});
        let node = self.push("nodes", node);
        if plan.travel.is_none() {
            return;
        }
        // A tenth of a view in a second, eased: flat tangents of a cubic.
        let way = plan.travel.right.max(plan.travel.down);
        let half = (way / (0.1 * width)).clamp(2.0, 60.0) as f32;
        let [right, down] = [plan.travel.right, plan.travel.down].map(|way| (way * UNIT).0 as f32);
        let times = self.floats(&[0.0, half, 2.0 * half], 1, true, None);
        let mut values = Vec::new();
        for [right, down] in [[0.0; 2], [right, down], [0.0; 2]] {
            // No negative zero where the camera stays at its height.
            values.extend([0.0, 0.0, 0.0, right, 0.0 - down, start as f32, 0.0, 0.0, 0.0]);
        }
        let places = self.floats(&values, 3, false, None);
        let animation = json!({
            "name": "pan",
            "samplers": [{"input": times, "output": places, "interpolation": "CUBICSPLINE"}],
            "channels": [{"sampler": 0, "target": {"node": node, "path": "translation"}}]
        });
        self.push("animations", animation);
    }

    fn finish(mut self, name: &str) -> Result<Vec<u8>> {
        while !self.bin.len().is_multiple_of(4) {
            self.bin.push(0);
        }
        let nodes: Vec<usize> = (0..self.lists["nodes"].len()).collect();
        let mut root = json!({
            "asset": {"version": "2.0", "generator": concat!("fogweft ", env!("CARGO_PKG_VERSION"))},
            "extensionsUsed": ["KHR_materials_unlit"],
            "scene": 0,
            "scenes": [{"name": name, "nodes": nodes}],
            "buffers": [{"byteLength": self.bin.len()}]
        });
        // The schema allows no empty lists; there are none.
        for (name, list) in self.lists {
            root[name] = list.into();
        }
        if root.get("textures").is_some() {
            // LINEAR, LINEAR_MIPMAP_LINEAR; CLAMP_TO_EDGE, and REPEAT along x.
            root["samplers"] = json!([
                {"magFilter": 9729, "minFilter": 9987, "wrapS": 33071, "wrapT": 33071},
                {"magFilter": 9729, "minFilter": 9987, "wrapS": 10497, "wrapT": 33071}
            ]);
        }
        let mut text = root.to_string().into_bytes();
        while !text.len().is_multiple_of(4) {
            text.push(b' ');
        }
        let total = 12 + 8 + text.len() + 8 + self.bin.len();
        let Ok(length) = u32::try_from(total) else {
            return Err(Fault::new(Class::Limit, "the glTF file would be over 4 GB")
                .remedy("Render at a smaller scale.")
                .into());
        };
        let mut bytes = Vec::with_capacity(total);
        for word in [0x4654_6c67, 2, length, text.len() as u32, 0x4e4f_534a] {
            bytes.extend(u32::to_le_bytes(word));
        }
        bytes.extend(text);
        for word in [self.bin.len() as u32, 0x004e_4942] {
            bytes.extend(u32::to_le_bytes(word));
        }
        bytes.extend(self.bin);
        Ok(bytes)
    }
}

/// Length of a depth unit: the eye stands a view's width before the play plane.
fn depth_unit(plan: &Plan) -> f64 {
    plan.view[0].0 / plan.camera * UNIT
}

//! What several checks share: small scenes, fields as texels, decoded files, the real program.

use fogweft::base::limits::Limits;
use fogweft::base::raster::Raster;
use fogweft::base::units::{Px, Scale, Texel};
use fogweft::base::words::Anchor;
use fogweft::output::{Effort, encode};
use fogweft::plan::{FogJob, Job, Plan};
use fogweft::scene::pictures::Pictures;
use fogweft::scene::recipe::layers::Resolved;
use fogweft::scene::recipe::shelf::Shelf;
use fogweft::scene::{Scene, read};
use fogweft::steps::field::{Field, FieldSpec, Sampling};
use fogweft::steps::recipe::Recipe;
use fogweft::steps::upsample::Upsampler;
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::{Command, Output};

/// Whether what takes long is done in full.
pub fn thorough() -> bool {
    std::env::var_os("FOGWEFT_THOROUGH").is_some()
}

/// `got` within `error` of `want`.
#[track_caller]
pub fn near(got: f64, want: f64, error: f64) {
    assert!((got - want).abs() <= error, "{got} for {want}, off by {:e}", (got - want).abs());
}

/// Names of all presets.
pub fn presets() -> Vec<String> {
    Shelf::embedded().names().into_iter().map(str::to_owned).collect()
}

/// A preset's anchor and recipe.
pub fn preset(name: &str) -> (Anchor, Recipe<Px>) {
    let preset = Shelf::embedded().get(name).unwrap();
    (preset.anchor, Resolved::of_preset(&preset).recipe().unwrap())
}

/// A recipe of even fog everywhere, without blurs.
pub fn even() -> Recipe<Px> {
    let mut recipe = Resolved::defaults().recipe().unwrap();
    recipe.bands.amount = 0.0;
    recipe.falloff.height = Px(f64::INFINITY);
    recipe.falloff.beyond = Px(f64::INFINITY);
    recipe.falloff.breath = 0.0;
    recipe.falloff.sway = Px(0.0);
    recipe.smear.length = Px(0.0);
    recipe.soften.sigma = Px(0.0);
    recipe.grade.lit = 0.0;
    recipe
}

/// The field of a preset as it would fill a view `size` texels large, the line where scenes have it.
pub fn spec(name: &str, size: [u32; 2], seed: u64) -> FieldSpec {
    let (anchor, recipe) = preset(name);
    let height = f64::from(size[1]);
    let line = match anchor {
        Anchor::Ground => 0.83 * height,
        Anchor::Sky => 0.0,
    };
    FieldSpec::new(size, anchor, Texel(line), Scale(height / 1080.0), &recipe, seed)
}

/// A field at every texel, row by row.
pub fn texels(spec: &FieldSpec, sampling: Sampling) -> Vec<Vec<f32>> {
    let mut field = Field::new(spec, sampling);
    let upsampler = Upsampler::new(field.grid, spec.cols as usize);
    upsampler.prefilter(&mut field.density);
    let mut line = Vec::new();
    (0..spec.rows)
        .map(|row| {
            let mut out = vec![0.0; spec.cols as usize];
            upsampler.down(&field.density, f64::from(row), [0, out.len()], &mut line);
            upsampler.across(&mut line, 0, &mut out);
            out
        })
        .collect()
}

/// Mean of numbers.
pub fn mean(numbers: impl IntoIterator<Item = f64>) -> f64 {
    let (mut sum, mut count) = (0.0, 0.0);
    for number in numbers {
        sum += number;
        count += 1.0;
    }
    sum / count
}

/// Reads a scene's text; pictures need not be there.
pub fn scene(text: &str) -> Scene {
    scene_with(text, &[])
}

/// Reads a scene's text under overrides.
pub fn scene_with(text: &str, sets: &[String]) -> Scene {
    read::read_text(Path::new("scene.toml"), text, sets, &Limits::default(), false)
        .unwrap_or_else(|faults| panic!("{faults}\n{text}"))
}

/// The plan of a scene at scale 1.
pub fn plan(scene: &Scene, pictures: &Pictures) -> Plan {
    Plan::new(scene, &pictures.naturals(), 1.0, &Limits::default())
        .unwrap_or_else(|faults| panic!("{faults}"))
}

/// The sheets of a plan.
pub fn fogs(plan: &Plan) -> Vec<&FogJob> {
    plan.files
        .iter()
        .filter_map(|job| match job {
            Job::Fog(job) => Some(job.as_ref()),
            Job::Own(_) | Job::Rim(_) | Job::Art(_) | Job::Lamp(_) => None,
        })
        .collect()
}

/// A PNG of one RGBA colour.
pub fn flat_png(size: [u32; 2], colour: [u8; 4]) -> Vec<u8> {
    let samples = colour.repeat((size[0] * size[1]) as usize);
    encode(Raster::Eight { size, samples: &samples }, Effort::Fast)
}

/// A decoded PNG.
pub struct Decoded {
    /// Width and height in texels.
    pub size: [u32; 2],
    /// RGBA; 8-bit codes are times 257.
    pub texels: Vec<[u16; 4]>,
    /// Whether the file has 16 bits per sample.
    pub deep: bool,
}

/// Decodes a PNG by crate `image`, which the program doesn't write with.
pub fn decode(bytes: &[u8]) -> Decoded {
    let picture = image::load_from_memory_with_format(bytes, image::ImageFormat::Png).unwrap();
    let deep = picture.color().bytes_per_pixel() / picture.color().channel_count() == 2;
    let size = [picture.width(), picture.height()];
    let texels = picture.into_rgba16().pixels().map(|pixel| pixel.0).collect();
    Decoded { size, texels, deep }
}

/// Decodes a PNG file.
pub fn decode_file(path: &Path) -> Decoded {
    decode(&fs::read(path).unwrap_or_else(|error| panic!("{}: {error}", path.display())))
}

/// Runs the real program in `folder`.
pub fn fogweft(folder: &Path, args: &[&str]) -> Output {
    command(folder).args(args).output().unwrap()
}

/// The real program, to be run in `folder`.
pub fn command(folder: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_fogweft"));
    command.current_dir(folder);
    command
}

/// Runs the real program, which must succeed; its standard output.
#[track_caller]
pub fn done(folder: &Path, args: &[&str]) -> String {
    let output = fogweft(folder, args);
    assert!(
        output.status.success(),
        "fogweft {}: {}\n{}",
        args.join(" "),
        output.status,
        String::from_utf8_lossy(&output.stderr)
    );
    String::from_utf8(output.stdout).unwrap()
}

/// Runs the real program, which must exit with `code`; its standard error.
#[track_caller]
pub fn fails(folder: &Path, code: i32, args: &[&str]) -> String {
    let output = fogweft(folder, args);
    let text = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(code), "fogweft {}:\n{text}", args.join(" "));
    assert!(!text.contains("panicked"), "{text}");
    text
}

/// Every file under `folder` by its path from there, with its bytes; without what is hidden, which is a run's own record.
pub fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    fn walk(folder: &Path, root: &Path, all: &mut BTreeMap<String, Vec<u8>>) {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.file_name().is_some_and(|name| name.to_string_lossy().starts_with('.')) {
                continue;
            }
            if path.is_dir() {
                walk(&path, root, all);
            } else {
                let name = path.strip_prefix(root).unwrap().to_string_lossy().replace('\\', "/");
                all.insert(name, fs::read(&path).unwrap());
            }
        }
    }
    let mut all = BTreeMap::new();
    walk(folder, folder, &mut all);
    all
}

/// Decodes an sRGB value (IEC 61966-2-1), on its own.
pub fn to_linear(value: f64) -> f64 {
    if value <= 0.04045 { value / 12.92 } else { libm::pow((value + 0.055) / 1.055, 2.4) }
}

/// Encodes linear light (IEC 61966-2-1), on its own.
pub fn to_encoded(value: f64) -> f64 {
    if value <= 0.003_130_8 { 12.92 * value } else { 1.055 * libm::pow(value, 1.0 / 2.4) - 0.055 }
}

/// Puts a run's files together as `manifest.json` alone says, with none of the program's code.
pub mod compose {
    use super::{decode_file, to_encoded, to_linear};
    use serde_json::Value;
    use std::path::Path;

    /// RGB of every texel of the view at camera place `camera`, encoded, in steps of 16 bits.
    pub fn stack(folder: &Path, backdrop: [u8; 3], camera: f64) -> Vec<[f64; 3]> {
        let text = std::fs::read_to_string(folder.join("manifest.json")).unwrap();
        let manifest: Value = serde_json::from_str(&text).unwrap();
        let number = |value: &Value| value.as_f64().unwrap();
        let scale = number(&manifest["scale"]);
        let linear = manifest["blending"] == "linear";
        let enter = |value: f64| if linear { to_linear(value) } else { value };
        let view = [0, 1].map(|side| (number(&manifest["view"][side]) * scale).round() as i64);
        let mut out = vec![backdrop.map(|code| enter(f64::from(code) / 255.0)); (view[0] * view[1]) as usize];
        let mut files: Vec<&Value> = manifest["files"].as_array().unwrap().iter().collect();
        files.sort_by_key(|file| file["order"].as_u64().unwrap());
        for file in files {
            let picture = decode_file(&folder.join(file["path"].as_str().unwrap()));
            let size = picture.size.map(i64::from);
            assert_eq!(file["texels"], serde_json::json!(picture.size), "{}", file["path"]);
            let top = (number(&file["rect"][1]) * scale).round() as i64;
            let start = (number(&file["rect"][0]) - camera * number(&file["pan_rate"])) * scale;
            let lefts: Vec<f64> = match file["period"].as_f64().map(|period| period * scale) {
                None => vec![start],
                Some(period) => {
                    let first = (-(start + size[0] as f64) / period).floor() as i64;
                    let last = ((view[0] as f64 - start) / period).ceil() as i64;
                    (first..=last).map(|repeat| start + repeat as f64 * period).collect()
                }
            };
            for left in lefts.into_iter().map(|left| left.round() as i64) {
                for y in 0..size[1] {
                    for x in 0..size[0] {
                        let (at_x, at_y) = (left + x, top + y);
                        if at_x < 0 || at_x >= view[0] || at_y < 0 || at_y >= view[1] {
                            continue;
                        }
                        let texel =
                            picture.texels[(y * size[0] + x) as usize].map(|v| f64::from(v) / 65535.0);
                        let under = &mut out[(at_y * view[0] + at_x) as usize];
                        for channel in 0..3 {
                            under[channel] =
                                under[channel] * (1.0 - texel[3]) + enter(texel[channel]) * texel[3];
                        }
                    }
                }
            }
        }
        out.into_iter()
            .map(|colour| colour.map(|value| 65535.0 * if linear { to_encoded(value) } else { value }))
            .collect()
    }
}

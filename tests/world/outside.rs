//! What the tests of outputs share: a small scene, the program, and readers of others.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use zune_png::zune_core::bytestream::ZCursor;
use zune_png::zune_core::options::DecoderOptions;
use zune_png::zune_core::result::DecodingResult;

/// A small scene: a sky, a repeating ridge that nearly fills the view, a hut that stands once and has a rim, and a slot with fog
/// alone.
pub const SCENE: &str = r##"
name = "small"
view = [240, 136]
travel = 360
camera = 300
horizon = 70
ground = 112
seed = 5
preset = "radiation-fog"
[air]
haze = "#cfd3d0"
visibility = 1500
[rim]
separation = 0
spread = 5
[bands]
size = 40
[smear]
length = 40
[soften]
sigma = 5
[falloff]
height = 60
wave = 300
[[slot]]
name = "sky"
depth = 3000
art = "sky.png"
x = 0
y = 0
[[slot]]
name = "ridge"
depth = 600
art = "ridge.png"
x = -20
y = 40
repeat = true
[[slot]]
name = "veil"
depth = 200
[[slot]]
name = "hut"
depth = 0
separation = 35
art = "hut.png"
x = 90
y = 50
"##;

/// Writes the scene with its pictures; returns the scene file.
pub fn write_scene(folder: &Path, text: &str) -> PathBuf {
    let picture = |name: &str, [width, height]: [u32; 2], texel: &dyn Fn(u32, u32) -> [u8; 4]| {
        let samples: Vec<u8> = (0..height).flat_map(|y| (0..width).flat_map(move |x| texel(x, y))).collect();
        image::save_buffer(folder.join(name), &samples, width, height, image::ColorType::Rgba8).unwrap();
    };
    picture("sky.png", [300, 136], &|x, y| [90 + (y / 2) as u8, 120 + (x % 7) as u8, 170, 255]);
    picture("ridge.png", [280, 80], &|x, y| {
        let top = 30 + (x as i32 - 140).unsigned_abs() / 5;
        [40, 60 + (x % 16) as u8, 50, if y < top { 0 } else { 255 }]
    });
    picture("hut.png", [70, 70], &|x, y| {
        let inside = (10..60).contains(&x) && y > 20;
        [
            70,
            30 + (y % 9) as u8 * 4,
            20,
            if inside {
                255
            } else if y > 18 {
                90
            } else {
                0
            },
        ]
    });
    let file = folder.join("scene.toml");
    std::fs::write(&file, text).unwrap();
    file
}

/// Runs the program.
pub fn fogweft(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_fogweft")).args(arguments).output().unwrap()
}

/// Runs the program, which must succeed; returns what it prints.
pub fn runs(arguments: &[&str]) -> String {
    let output = fogweft(arguments);
    assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

/// Renders `scene` into `out` with further arguments.
pub fn render(scene: &Path, out: &Path, more: &[&str]) -> serde_json::Value {
    let mut arguments = vec!["render", scene.to_str().unwrap(), "--out", out.to_str().unwrap(), "--quiet"];
    arguments.extend(more);
    runs(&arguments);
    serde_json::from_slice(&std::fs::read(out.join("manifest.json")).unwrap()).unwrap()
}

/// A picture's size and texels by a decoder of others: straight RGBA, 0 to 1.
pub fn decoded(bytes: &[u8]) -> ([u32; 2], Vec<[f64; 4]>) {
    let image = image::load_from_memory(bytes).unwrap().into_rgba16();
    let size = [image.width(), image.height()];
    let texels = image.pixels().map(|pixel| pixel.0.map(|code| f64::from(code) / 65535.0)).collect();
    (size, texels)
}

/// A picture's size and 8-bit codes.
pub fn codes(bytes: &[u8]) -> ([u32; 2], Vec<[u8; 4]>) {
    let image = image::load_from_memory(bytes).unwrap().into_rgba8();
    ([image.width(), image.height()], image.pixels().map(|pixel| pixel.0).collect())
}

/// Runs a tool of others. Where it isn't installed the check is left out, with a word about it; where FOGWEFT_CI_TOOLS is 1 that is
/// a failure.
pub fn tool(program: &str, arguments: &[&str]) -> Option<Output> {
    let mut command = Command::new(program);
    if program == "node" {
        command.env("NODE_PATH", node_modules());
    }
    match command.args(arguments).output() {
        Ok(output) => Some(output),
        Err(_) => skipped(&format!("{program} isn't here")),
    }
}

/// Where Node finds modules: what NODE_PATH says, else what is installed for all.
pub fn node_modules() -> String {
    std::env::var("NODE_PATH").unwrap_or_else(|_| {
        let root = Command::new("npm").args(["root", "--global"]).output();
        root.map(|output| String::from_utf8_lossy(&output.stdout).trim().to_owned()).unwrap_or_default()
    })
}

/// A check that can't be done here.
pub fn skipped<T>(why: &str) -> Option<T> {
    assert_ne!(std::env::var("FOGWEFT_CI_TOOLS").as_deref(), Ok("1"), "must be checked: {why}");
    eprintln!("skipped: {why}");
    None
}

/// Runs a Python script that needs `module`.
pub fn python(module: &str, script: &str, arguments: &[&str]) -> Option<String> {
    let found = tool("python3", &["-c", &format!("import {module}")])?;
    if !found.status.success() {
        return skipped(&format!("Python's {module} isn't here"));
    }
    let mut all = vec!["-c", script];
    all.extend(arguments);
    let output = tool("python3", &all)?;
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    Some(String::from_utf8(output.stdout).unwrap())
}

/// Runs a Node script that needs `module`.
pub fn node(module: &str, script: &str, arguments: &[&str]) -> Option<String> {
    let found = tool("node", &["-e", &format!("require.resolve('{module}')")])?;
    if !found.status.success() {
        return skipped(&format!("Node's {module} isn't here"));
    }
    let mut all = vec!["-e", script];
    all.extend(arguments);
    let output = tool("node", &all)?;
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    Some(String::from_utf8(output.stdout).unwrap())
}

/// A picture's size and texels by a decoder that shares nothing with the one of [`decoded`], not even how it unpacks.
pub fn second_reader(bytes: &[u8]) -> ([u32; 2], Vec<[f64; 4]>) {
    let mut reader = zune_png::PngDecoder::new(ZCursor::new(bytes));
    let (samples, most) = match reader.decode().unwrap() {
        DecodingResult::U8(samples) => (samples.into_iter().map(f64::from).collect::<Vec<_>>(), 255.0),
        DecodingResult::U16(samples) => (samples.into_iter().map(f64::from).collect(), 65535.0),
        _ => unreachable!("PNG has whole samples"),
    };
    let (width, height) = reader.dimensions().unwrap();
    let channels = reader.colorspace().unwrap().num_components();
    let texel = |texel: &[f64]| match *texel {
        [grey] => [grey, grey, grey, most],
        [grey, alpha] => [grey, grey, grey, alpha],
        [r, g, b] => [r, g, b, most],
        [r, g, b, alpha] => [r, g, b, alpha],
        _ => unreachable!("1 to 4 channels"),
    };
    let texels = samples.chunks_exact(channels).map(|samples| texel(samples).map(|code| code / most));
    ([width as u32, height as u32], texels.collect())
}

/// The frames of an animation by that decoder: samples as stored.
pub fn second_reader_of_frames(bytes: &[u8]) -> Vec<Vec<u8>> {
    let options = DecoderOptions::default().png_set_decode_animated(true);
    let mut reader = zune_png::PngDecoder::new_with_options(ZCursor::new(bytes), options);
    reader.decode_headers().unwrap();
    let mut frames = Vec::new();
    while reader.more_frames() {
        match reader.decode().unwrap() {
            DecodingResult::U8(samples) => frames.push(samples),
            _ => panic!("frames of 8 bits"),
        }
    }
    frames
}

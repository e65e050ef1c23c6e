//! What several tests share: scenes made in a folder, the run's files read back, and the stack composed from them.
#![allow(dead_code)]

use fogweft::base::limits::Limits;
use fogweft::base::raster::Raster;
use fogweft::base::units::Px;
use fogweft::base::words::Bits;
use fogweft::output::{self, Effort};
use fogweft::scene::pictures::{Pictures, Source};
use fogweft::scene::{ArtPlace, Repeat, Scene, read};
use fogweft::store::run::{self, Options};
use std::path::{Path, PathBuf};

/// A picture as straight, encoded values.
#[derive(Clone)]
pub struct Pixels {
    pub size: [usize; 2],
    pub texels: Vec<[f64; 4]>,
}

impl Pixels {
    pub fn new(width: usize, height: usize, paint: impl Fn(usize, usize) -> [f64; 4]) -> Pixels {
        let texels = (0..width * height).map(|at| paint(at % width, at / width)).collect();
        Pixels { size: [width, height], texels }
    }

    pub fn read(file: &Path) -> Pixels {
        let image = image::open(file).expect("a picture").into_rgba16();
        let size = [image.width() as usize, image.height() as usize];
        let texels = image.pixels().map(|pixel| pixel.0.map(|code| f64::from(code) / 65535.0)).collect();
        Pixels { size, texels }
    }

    pub fn png(&self) -> Vec<u8> {
        let samples: Vec<u8> =
            self.texels.iter().flatten().map(|value| (value * 255.0 + 0.5) as u8).collect();
        let size = self.size.map(|side| side as u32);
        output::encode(Raster::Eight { size, samples: &samples }, Effort::Fast)
    }

    /// The texel at a place, nothing outside.
    pub fn at(&self, x: i64, y: i64) -> [f64; 4] {
        let [width, height] = self.size.map(|side| side as i64);
        if x < 0 || y < 0 || x >= width || y >= height {
            [0.0; 4]
        } else {
            self.texels[(y * width + x) as usize]
        }
    }
}

/// A file of the manifest.
#[derive(Clone, Debug)]
pub struct Drawn {
    pub slot: String,
    pub kind: String,
    pub corner: [i64; 2],
    pub period: Option<i64>,
    pub path: PathBuf,
}

/// Reads a manifest's files, far to near, as they stand at the start of the travel.
pub fn manifest(folder: &Path) -> Vec<Drawn> {
    let text = std::fs::read_to_string(folder.join("manifest.json")).expect("a manifest");
    let json: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    let number = |value: &serde_json::Value| value.as_f64().expect("a number").round() as i64;
    json["files"]
        .as_array()
        .expect("files")
        .iter()
        .map(|file| Drawn {
            slot: file["slot"].as_str().expect("a slot").to_owned(),
            kind: file["kind"].as_str().expect("a kind").to_owned(),
            corner: [number(&file["rect"][0]), number(&file["rect"][1])],
            period: file["period"].as_f64().map(|period| period.round() as i64),
            path: folder.join(file["path"].as_str().expect("a path")),
        })
        .collect()
}

/// Draws a picture onto opaque colours, source-over on encoded values (Porter & Duff 1984).
pub fn draw(under: &mut [[f64; 3]], view: [usize; 2], drawn: &Drawn, pixels: &Pixels) {
    for y in 0..view[1] {
        for x in 0..view[0] {
            let mut at = x as i64 - drawn.corner[0];
            if let Some(period) = drawn.period {
                at = at.rem_euclid(period);
            }
            let [r, g, b, alpha] = pixels.at(at, y as i64 - drawn.corner[1]);
            for (under, over) in under[y * view[0] + x].iter_mut().zip([r, g, b]) {
                *under += (over - *under) * alpha;
            }
        }
    }
}

/// CIE L* of an encoded sRGB colour (IEC 61966-2-1, CIE 15).
pub fn lightness(colour: [f64; 3]) -> f64 {
    let [r, g, b] =
        colour.map(|v| if v <= 0.04045 { v / 12.92 } else { libm::pow((v + 0.055) / 1.055, 2.4) });
    let y = 0.2126 * r + 0.7152 * g + 0.0722 * b;
    if y > 216.0 / 24389.0 { 116.0 * libm::cbrt(y) - 16.0 } else { y * 24389.0 / 27.0 }
}

/// A scene with pictures from memory: `text` names the slots, `pictures` gives their pictures and left top.
pub fn scene(text: &str, pictures: &[(&str, &Pixels, [f64; 2])]) -> (Scene, Pictures) {
    let limits = Limits::default();
    let mut scene = read::read_text(Path::new("test"), text, &[], &limits, false).expect("a good scene");
    let mut found = Pictures::default();
    for (name, pixels, [x, y]) in pictures {
        found.add(name, Source::from_bytes(*name, pixels.png(), &limits).expect("a picture"));
        let slot = scene.slots.iter_mut().find(|slot| slot.name == *name).expect("the slot");
        slot.art = Some(ArtPlace {
            file: PathBuf::from(*name),
            layer: None,
            x: Px(*x),
            y: Some(Px(*y)),
            width: None,
            repeat: Repeat::No,
            flip: false,
            number: 0,
        });
    }
    (scene, found)
}

/// Renders into a folder of its own, 16 bits.
pub fn render(scene: &Scene, pictures: &Pictures) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    let options = Options { bits: Bits::Sixteen, effort: Effort::Fast, ..Options::new(folder.path()) };
    run::render(scene, pictures, &options).expect("a run");
    folder
}

/// One side of an outline against the other: texels of the picture just inside and just outside.
pub struct Edge {
    pub inside: [i64; 2],
    pub outside: [i64; 2],
}

/// The outline of a picture: neighbours of which one is at least half opaque and the other isn't, taken one texel farther on
/// either side where that is more solid, or more open.
pub fn outline(pixels: &Pixels) -> Vec<Edge> {
    let [width, height] = pixels.size.map(|side| side as i64);
    let mut edges = Vec::new();
    for y in 0..height {
        for x in 0..width {
            if pixels.at(x, y)[3] < 0.5 {
                continue;
            }
            for (dx, dy) in [(-1, 0), (1, 0), (0, -1), (0, 1)] {
                if pixels.at(x + dx, y + dy)[3] >= 0.5 {
                    continue;
                }
                let inside =
                    if pixels.at(x - dx, y - dy)[3] > pixels.at(x, y)[3] { [x - dx, y - dy] } else { [x, y] };
                let outside = if pixels.at(x + 2 * dx, y + 2 * dy)[3] < pixels.at(x + dx, y + dy)[3] {
                    [x + 2 * dx, y + 2 * dy]
                } else {
                    [x + dx, y + dy]
                };
                if pixels.at(inside[0], inside[1])[3] - pixels.at(outside[0], outside[1])[3] >= 0.4 {
                    edges.push(Edge { inside, outside });
                }
            }
        }
    }
    edges
}

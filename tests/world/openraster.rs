//! OpenRaster, out and in. Rules: OpenRaster file layout and layer stack specification, draft 0.0.5.

use crate::outside::{self, SCENE, codes, fogweft, render, runs, write_scene};
use std::collections::BTreeMap;
use std::io::{Cursor, Read, Write};
use std::path::Path;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipArchive, ZipWriter};

struct Layer {
    name: String,
    src: String,
    at: [i64; 2],
}

struct Ora {
    bytes: Vec<u8>,
    names: Vec<String>,
    files: BTreeMap<String, Vec<u8>>,
    canvas: [u32; 2],
    /// Topmost first.
    layers: Vec<Layer>,
}

fn open(bytes: Vec<u8>) -> Ora {
    let mut archive = ZipArchive::new(Cursor::new(&bytes)).unwrap();
    let (mut names, mut files) = (Vec::new(), BTreeMap::new());
    for at in 0..archive.len() {
        let mut file = archive.by_index(at).unwrap();
        let name = file.name().unwrap().into_owned();
        assert_eq!(file.compression(), CompressionMethod::Stored, "{name}");
        let mut content = Vec::new();
        file.read_to_end(&mut content).unwrap();
        names.push(name.clone());
        files.insert(name, content);
    }
    let text = String::from_utf8(files["stack.xml"].clone()).unwrap();
    let document = resvg::usvg::roxmltree::Document::parse(&text).unwrap();
    let image = document.root_element();
    assert_eq!(image.tag_name().name(), "image");
    assert_eq!(image.attribute("version").unwrap().split('.').count(), 3, "a version in three parts");
    let canvas = ["w", "h"].map(|side| image.attribute(side).unwrap().parse::<u32>().unwrap());
    let stacks: Vec<_> = image.children().filter(|node| node.is_element()).collect();
    assert_eq!(stacks.len(), 1, "one root stack");
    assert_eq!(stacks[0].tag_name().name(), "stack");
    assert_eq!(stacks[0].attributes().len(), 0, "the root stack has no attributes");
    let layers = stacks[0]
        .children()
        .filter(|node| node.is_element())
        .map(|node| {
            assert_eq!(node.tag_name().name(), "layer");
            let number = |name: &str| node.attribute(name).unwrap().parse::<i64>().unwrap();
            assert_eq!(node.attribute("composite-op"), Some("svg:src-over"));
            assert_eq!(node.attribute("visibility"), Some("visible"));
            Layer {
                name: node.attribute("name").unwrap().to_owned(),
                src: node.attribute("src").unwrap().to_owned(),
                at: [number("x"), number("y")],
            }
        })
        .collect();
    Ora { bytes, names, files, canvas, layers }
}

fn written(folder: &Path, more: &[&str]) -> (Ora, serde_json::Value) {
    let scene = write_scene(folder, SCENE);
    let mut arguments = vec!["--also", "ora", "--at", "0"];
    arguments.extend(more);
    let manifest = render(&scene, &folder.join("out"), &arguments);
    (open(std::fs::read(folder.join("out/scene.ora")).unwrap()), manifest)
}

#[test]
fn the_archive_is_what_the_standard_asks_for() {
    let folder = tempfile::tempdir().unwrap();
    let (ora, manifest) = written(folder.path(), &[]);
    assert_eq!(&ora.bytes[30..38], b"mimetype");
    assert_eq!(&ora.bytes[38..54], b"image/openraster");
    assert_eq!(ora.names[0], "mimetype");
    assert_eq!(ora.files["mimetype"], b"image/openraster");
    assert_eq!(ora.canvas, [240, 136]);

    let info =
        |name: &str| png::Decoder::new(Cursor::new(&ora.files[name])).read_info().unwrap().info().clone();
    let thumbnail = info("Thumbnails/thumbnail.png");
    assert!(!thumbnail.interlaced && thumbnail.bit_depth == png::BitDepth::Eight);
    assert_eq!((thumbnail.width, thumbnail.height), (240, 136), "as large as fits without growing");
    let merged = info("mergedimage.png");
    assert_eq!([merged.width, merged.height], ora.canvas);
    assert!(merged.bit_depth == png::BitDepth::Eight && !merged.interlaced);

    // Topmost first: the manifest from its end, then what all stands on.
    let mut names: Vec<String> = manifest["files"]
        .as_array()
        .unwrap()
        .iter()
        .rev()
        .map(|file| {
            let kind = if file["kind"] == "art" {
                String::new()
            } else {
                format!(".{}", file["kind"].as_str().unwrap())
            };
            format!("{}{kind} depth {}", file["slot"].as_str().unwrap(), file["depth"].as_f64().unwrap())
        })
        .collect();
    names.push("backdrop".into());
    // Further places of what repeats are layers of their own.
    let again = |layer: &&Layer| layer.name == "ridge.again-280 depth 600";
    assert_eq!(ora.layers.iter().filter(again).count(), 1);
    let seen = ora.layers.iter().filter(|layer| !again(layer));
    // Sheets and rims end in a fingerprint of what was made.
    for (layer, name) in seen.zip(&names) {
        let rest = layer.name.strip_prefix(name.as_str()).unwrap_or_else(|| panic!("{} {name}", layer.name));
        let made = [".fog depth", ".rim depth"].iter().any(|kind| name.contains(kind));
        let is_print = rest.strip_prefix(" made ").is_some_and(|print| print.len() == 10);
        assert_eq!((made, rest.is_empty()), (is_print, !made), "{}", layer.name);
    }
    assert_eq!(ora.layers.iter().filter(|layer| !again(layer)).count(), names.len());
    for layer in &ora.layers {
        assert!(layer.src.starts_with("data/") && layer.src.ends_with(".png"));
        assert!(ora.files.contains_key(&layer.src));
        assert!(!info(&layer.src).interlaced);
    }
}

#[test]
fn the_thumbnail_keeps_the_aspect() {
    let folder = tempfile::tempdir().unwrap();
    // 640 x 360 becomes 256 x 144, as the specification's own example has it.
    let scene = SCENE.replace("view = [240, 136]", "view = [640, 360]");
    let scene = write_scene(folder.path(), &scene);
    render(&scene, &folder.path().join("out"), &["--also", "ora"]);
    let ora = open(std::fs::read(folder.path().join("out/scene.ora")).unwrap());
    assert_eq!(codes(&ora.files["Thumbnails/thumbnail.png"]).0, [256, 144]);
}

#[test]
fn the_layers_compose_to_the_merged_picture() {
    let folder = tempfile::tempdir().unwrap();
    for more in [
        &[][..],
        &["--set", "air.blending=linear", "--scale", "0.75"][..],
        // Seen several times in one view, edge to edge and overlapping.
        &["--set", "slot.ridge.width=70", "--set", "slot.ridge.x=100"][..],
        &["--set", "slot.ridge.repeat=130", "--set", "slot.ridge.x=60"][..],
        // The camera pans down, too: layers reach below the canvas.
        &["--set", "travel=[360, 200]", "--set", "ground=300"][..],
    ] {
        let (ora, _) = written(folder.path(), more);
        let [width, height] = ora.canvas.map(i64::from);
        // W3C Compositing and Blending Level 1, source-over, on the stored values; from nothing upward.
        let mut canvas = vec![[0.0_f64; 4]; (width * height) as usize];
        for layer in ora.layers.iter().rev() {
            let ([wide, tall], texels) = codes(&ora.files[&layer.src]);
            for (at, texel) in texels.iter().enumerate() {
                let (x, y) =
                    (at as i64 % i64::from(wide) + layer.at[0], at as i64 / i64::from(wide) + layer.at[1]);
                assert!(at < (wide * tall) as usize);
                if (0..width).contains(&x) && (0..height).contains(&y) {
                    let under = &mut canvas[(y * width + x) as usize];
                    let alpha = f64::from(texel[3]) / 255.0;
                    for channel in 0..3 {
                        under[channel] =
                            f64::from(texel[channel]) / 255.0 * alpha + under[channel] * (1.0 - alpha);
                    }
                    under[3] = alpha + under[3] * (1.0 - alpha);
                }
            }
        }
        let (size, merged) = codes(&ora.files["mergedimage.png"]);
        assert_eq!(size, ora.canvas);
        let below = |layer: &Layer| layer.at[1] + i64::from(codes(&ora.files[&layer.src]).0[1]) > height;
        let fog = ora.layers.iter().filter(|layer| layer.name.contains(".fog "));
        assert_eq!(fog.filter(|layer| below(layer)).count() > 1, more.contains(&"travel=[360, 200]"));
        for (own, theirs) in canvas.iter().zip(&merged) {
            for channel in 0..4 {
                assert!(
                    (own[channel] * 255.0 - f64::from(theirs[channel])).abs() <= 1.0,
                    "{own:?} {theirs:?}"
                );
            }
        }
        // Where the scene mixes as the format does, that is the still.
        if !more.contains(&"air.blending=linear") {
            let still = codes(&std::fs::read(folder.path().join("out/still.png")).unwrap()).1;
            let far = merged
                .iter()
                .flatten()
                .zip(still.iter().flatten())
                .map(|(a, b)| a.abs_diff(*b))
                .max()
                .unwrap();
            assert!(far <= 2, "{far}: both are made of dithered values");
        }
    }
}

#[test]
fn a_reader_of_others_finds_the_same() {
    let folder = tempfile::tempdir().unwrap();
    let (ora, _) = written(folder.path(), &[]);
    let script = "
import sys
from pyora import Project
project = Project.load(sys.argv[1])
print(*project.dimensions)
for layer in project.children_recursive:
    print(layer.name, *layer.offsets, layer.hidden, layer.opacity)
";
    let path = folder.path().join("out/scene.ora");
    let Some(said) = outside::python("pyora", script, &[path.to_str().unwrap()]) else { return };
    let mut expected: Vec<String> = ora
        .layers
        .iter()
        .map(|layer| format!("{} {} {} False 1.0", layer.name, layer.at[0], layer.at[1]))
        .collect();
    let mut lines: Vec<&str> = said.lines().collect();
    assert_eq!(lines.remove(0), "240 136");
    // The reader's own order runs upward or downward, by version.
    if lines[0] != expected[0] {
        expected.reverse();
    }
    assert_eq!(lines, expected);
}

#[test]
fn out_and_in_gives_the_same_scene() {
    let folder = tempfile::tempdir().unwrap();
    let (ora, manifest) = written(folder.path(), &[]);
    let again = folder.path().join("again");
    let file = folder.path().join("out/scene.ora");
    runs(&["new", again.to_str().unwrap(), "--copy", "--from", file.to_str().unwrap()]);
    let back = render(&again.join("scene.toml"), &again.join("out"), &["--also", "ora", "--at", "0"]);
    let seen = |manifest: &serde_json::Value| -> Vec<(String, String, f64)> {
        let files = manifest["files"].as_array().unwrap().iter();
        files
            .map(|file| {
                let text = |key: &str| file[key].as_str().unwrap().to_owned();
                (text("slot"), text("kind"), file["depth"].as_f64().unwrap())
            })
            .collect()
    };
    assert_eq!(seen(&manifest), seen(&back), "names, order, depths");
    assert_eq!(manifest["view"], back["view"]);
    for (one, other) in manifest["files"].as_array().unwrap().iter().zip(back["files"].as_array().unwrap()) {
        if one["kind"] == "art" {
            for key in ["rect", "period", "repeat"] {
                assert_eq!(one[key], other[key], "{}: {key}", one["path"]);
            }
            let texels = |out: &Path, file: &serde_json::Value| {
                codes(&std::fs::read(out.join(file["path"].as_str().unwrap())).unwrap())
            };
            let (first, second) =
                (texels(&folder.path().join("out"), one), texels(&again.join("out"), other));
            assert!(first == second, "{}", one["path"]);
        }
    }
    let second = open(std::fs::read(again.join("out/scene.ora")).unwrap());
    for (one, other) in ora.layers.iter().zip(&second.layers) {
        // A rim, and a sheet of another air, is made anew.
        let plain = |layer: &Layer| layer.name.split(" made ").next().unwrap_or_default().to_owned();
        assert_eq!(plain(one), plain(other));
        // A rim is solved anew, as the new scene wants it.
        if !one.name.contains(".rim depth ") {
            assert_eq!(one.at, other.at, "{}", one.name);
        }
    }
    assert_eq!(manifest["still"]["backdrop"], back["still"]["backdrop"]);
}

/// An archive as painters save it: compressed, with stacks in stacks.
pub fn painted(xml: &str, pictures: &[(&str, [u32; 2], [u8; 4])]) -> Vec<u8> {
    let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
    let stored = SimpleFileOptions::default().compression_method(CompressionMethod::Stored);
    let packed = SimpleFileOptions::default().compression_method(CompressionMethod::Deflated);
    archive.start_file("mimetype", stored).unwrap();
    archive.write_all(b"image/openraster").unwrap();
    archive.start_file("stack.xml", packed).unwrap();
    archive.write_all(xml.as_bytes()).unwrap();
    for (name, [width, height], texel) in pictures {
        let samples = texel.repeat((width * height) as usize);
        let mut bytes = Cursor::new(Vec::new());
        image::RgbaImage::from_raw(*width, *height, samples)
            .unwrap()
            .write_to(&mut bytes, image::ImageFormat::Png)
            .unwrap();
        archive.start_file(*name, packed).unwrap();
        archive.write_all(bytes.get_ref()).unwrap();
    }
    archive.finish().unwrap().into_inner()
}

const LEVEL: &str = r#"<?xml version='1.0' encoding='UTF-8'?>
<image version="0.0.3" w="200" h="100">
 <stack>
  <layer name="reeds depth 120" src="data/a.png" x="-5" y="60"/>
  <stack name="far things" visibility="hidden">
   <layer name="hut" src="data/b.png" x="30" y="20" opacity="0.5"/>
  </stack>
  <layer name="sky" src="data/c.png"/>
 </stack>
</image>"#;

fn pictures() -> [(&'static str, [u32; 2], [u8; 4]); 3] {
    [
        ("data/a.png", [260, 40], [30, 40, 30, 255]),
        ("data/b.png", [50, 50], [90, 20, 20, 255]),
        ("data/c.png", [200, 100], [150, 170, 190, 255]),
    ]
}

#[test]
fn saving_the_painting_and_running_again_is_the_whole_loop() {
    let folder = tempfile::tempdir().unwrap();
    let level = folder.path().join("level.ora");
    std::fs::write(&level, painted(LEVEL, &pictures())).unwrap();
    let game = folder.path().join("game");
    let [at, from] = [&game, &level].map(|path| path.to_str().unwrap());
    runs(&["new", at, "--from", from, "--preset", "mist", "--view", "200,100", "--copy", "--ungroup"]);
    let text = std::fs::read_to_string(game.join("scene.toml")).unwrap();
    assert!(text.contains("level.ora#reeds\"") && text.contains("preset = \"mist\""), "{text}");
    assert!(text.starts_with("#:schema ./scene.schema.json\n\n") && game.join("scene.schema.json").is_file());
    let scene = game.join("scene.toml");
    let out = game.join("out");
    let arts = |manifest: &serde_json::Value| -> Vec<(String, Vec<f64>)> {
        let files = manifest["files"].as_array().unwrap().iter().filter(|file| file["kind"] == "art");
        files
            .map(|file| {
                let rect =
                    file["rect"].as_array().unwrap().iter().map(|side| side.as_f64().unwrap()).collect();
                (file["slot"].as_str().unwrap().to_owned(), rect)
            })
            .collect()
    };
    // Offsets and visibility are those of the layers.
    let first = render(&scene, &out, &[]);
    assert_eq!(
        arts(&first),
        [
            ("sky".to_owned(), vec![0.0, 0.0, 200.0, 100.0]),
            ("reeds".to_owned(), vec![-5.0, 60.0, 260.0, 40.0])
        ]
    );
    let files = first["files"].as_array().unwrap();
    assert!(
        files.iter().any(|file| file["slot"] == "hut" && file["kind"] == "fog"),
        "its fog is made either way"
    );
    let depth =
        |slot: &str| files.iter().find(|file| file["slot"] == slot).unwrap()["depth"].as_f64().unwrap();
    assert!(depth("reeds") == 120.0 && depth("sky") > depth("hut") && depth("hut") > 120.0);

    // The painter shows the hut, moves the reeds, and saves.
    let moved = LEVEL.replace("visibility=\"hidden\"", "").replace("x=\"-5\" y=\"60\"", "x=\"-9\" y=\"58\"");
    std::fs::write(game.join("level.ora"), painted(&moved, &pictures())).unwrap();
    let second = render(&scene, &out, &[]);
    let seen = arts(&second);
    assert_eq!(seen.len(), 3);
    assert_eq!(seen[1], ("hut".to_owned(), vec![30.0, 20.0, 50.0, 50.0]));
    assert_eq!(seen[2], ("reeds".to_owned(), vec![-9.0, 58.0, 260.0, 40.0]));
    // The scene has the last word.
    let fixed = render(&scene, &out, &["--set", "slot.reeds.x=3", "--set", "slot.hut.visible=false"]);
    assert_eq!(arts(&fixed)[1], ("reeds".to_owned(), vec![3.0, 58.0, 260.0, 40.0]));
}

#[test]
fn what_is_wrong_with_a_layered_file_is_said_once_and_plainly() {
    let folder = tempfile::tempdir().unwrap();
    let scene = folder.path().join("scene.toml");
    std::fs::write(
        &scene,
        "view = [200, 100]\n[[slot]]\nname = \"a\"\ndepth = 5\nart = \"level.ora#reds\"\n[[slot]]\nname = \"b\"\ndepth = 0\nart = \"none.ora#x\"\n",
    )
    .unwrap();
    let level = folder.path().join("level.ora");
    std::fs::write(&level, painted(LEVEL, &pictures())).unwrap();
    let fails = |code: i32, words: &[&str]| {
        let output = fogweft(&[
            "render",
            scene.to_str().unwrap(),
            "--out",
            folder.path().join("out").to_str().unwrap(),
        ]);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(code), "{said}");
        for word in words {
            assert!(said.contains(word), "{word}: {said}");
        }
        assert!(!said.contains("panicked"), "{said}");
    };
    // All faults at once, with the near name.
    fails(4, &["no layer \"reds\"", "Did you mean \"reeds\"?", "there is no picture"]);
    std::fs::write(
        &scene,
        "view = [200, 100]\n[[slot]]\nname = \"a\"\ndepth = 5\nart = \"level.ora#reeds\"\n",
    )
    .unwrap();
    for (bytes, word) in [
        (b"no archive".to_vec(), "not an OpenRaster file"),
        (painted("<image", &pictures()), "malformed"),
        (painted("<image w='0' h='5'><stack/></image>", &pictures()), "has no `w`"),
        (painted(LEVEL, &pictures()[1..]), "does not contain \"data/a.png\""),
    ] {
        std::fs::write(&level, bytes).unwrap();
        fails(4, &[word]);
    }
    let whole = painted(LEVEL, &pictures());
    for end in (0..whole.len()).step_by(97) {
        std::fs::write(&level, &whole[..end]).unwrap();
        fails(4, &[]);
    }
}

//! glTF 2.0: read by the `gltf` crate, checked by the official validator, and looked at through its own camera.

use crate::outside::{self, SCENE, render, write_scene};
use gltf::Semantic;
use gltf::camera::Projection;
use gltf::texture::WrappingMode;

struct Quads {
    name: String,
    /// x, y, z, u, v of each corner.
    corners: Vec<[f64; 5]>,
    wrap: Option<[WrappingMode; 2]>,
}

fn floats(bytes: &[u8], accessor: &gltf::Accessor<'_>) -> Vec<f64> {
    let view = accessor.view().unwrap();
    let width = accessor.dimensions().multiplicity();
    let from = view.offset() + accessor.offset();
    bytes[from..from + accessor.count() * width * 4]
        .chunks_exact(4)
        .map(|four| f64::from(f32::from_le_bytes(four.try_into().unwrap())))
        .collect()
}

fn read(bytes: &[u8]) -> (gltf::Gltf, Vec<Quads>, [f64; 3], f64) {
    let file = gltf::Gltf::from_slice(bytes).unwrap();
    let bin = file.blob.clone().unwrap();
    let (mut quads, mut eye, mut fov) = (Vec::new(), [0.0; 3], 0.0);
    for node in file.nodes() {
        let (place, ..) = node.transform().decomposed();
        let place = place.map(f64::from);
        if let Some(camera) = node.camera() {
            let Projection::Perspective(lens) = camera.projection() else { panic!("a perspective camera") };
            (eye, fov) = (place, f64::from(lens.yfov()));
            assert!((f64::from(lens.aspect_ratio().unwrap()) - 240.0 / 136.0).abs() < 1e-5);
        }
        let Some(mesh) = node.mesh() else { continue };
        for primitive in mesh.primitives() {
            let places = floats(&bin, &primitive.get(&Semantic::Positions).unwrap());
            let turns = floats(&bin, &primitive.get(&Semantic::TexCoords(0)).unwrap());
            let corners = places
                .chunks_exact(3)
                .zip(turns.chunks_exact(2))
                .map(|(p, t)| [p[0] + place[0], p[1] + place[1], p[2] + place[2], t[0], t[1]])
                .collect();
            let material = primitive.material();
            assert!(material.unlit() && !material.double_sided());
            let texture = material.pbr_metallic_roughness().base_color_texture();
            if texture.is_some() {
                assert_eq!(material.alpha_mode(), gltf::material::AlphaMode::Blend);
            }
            let wrap = texture.map(|info| {
                let sampler = info.texture().sampler();
                [sampler.wrap_s(), sampler.wrap_t()]
            });
            quads.push(Quads { name: node.name().unwrap().to_owned(), corners, wrap });
        }
    }
    (file, quads, eye, fov)
}

#[test]
fn the_stack_stands_in_space_as_in_the_plan() {
    let folder = tempfile::tempdir().unwrap();
    let scene = write_scene(folder.path(), SCENE);
    let out = folder.path().join("out");
    let manifest = render(&scene, &out, &["--also", "glb"]);
    let bytes = std::fs::read(out.join("scene.glb")).unwrap();
    let (file, quads, eye, fov) = read(&bytes);
    assert!(file.document.as_json().asset.generator.as_ref().unwrap().starts_with("fogweft"));

    // Through the camera, every corner stands where the manifest has it, also when the camera has moved.
    let unit = 0.01;
    for file in manifest["files"].as_array().unwrap() {
        let list = |key: &str| -> Vec<f64> {
            file[key].as_array().unwrap().iter().map(|n| n.as_f64().unwrap()).collect()
        };
        let (rect, rate) = (list("rect"), file["pan_rate"].as_f64().unwrap());
        let kind = if file["kind"] == "art" {
            String::new()
        } else {
            format!(" {}", file["kind"].as_str().unwrap())
        };
        let name = format!("{}{kind}", file["slot"].as_str().unwrap());
        let own = quads.iter().find(|quads| quads.name == name).unwrap();
        for camera in [0.0, 180.0, 360.0] {
            for [x, y, z, u, v] in &own.corners {
                let away = eye[2] - z;
                assert!(away > 0.0);
                let focus = 68.0 / libm::tan(fov / 2.0);
                let screen =
                    [120.0 + (x - eye[0] - camera * unit) / away * focus, 68.0 - (y - eye[1]) / away * focus];
                // Trimmed art shows a part of its rectangle: its texels tell which, its edges stay within it.
                if file["kind"] == "fog" {
                    let expected = rect[0] + u * rect[2] - camera * rate;
                    assert!(
                        (screen[0] - expected).abs() < 0.3,
                        "{name} at {camera}: {} for {expected}",
                        screen[0]
                    );
                    assert!(screen[1] >= rect[1] - 0.1 && screen[1] <= rect[1] + rect[3] + 0.1);
                } else if file["period"].is_null() {
                    assert!(
                        screen[0] >= rect[0] - camera * rate - 0.1
                            && screen[0] <= rect[0] + rect[2] - camera * rate + 0.1
                    );
                    assert!((0.0..=1.0).contains(u) && (0.0..=1.0).contains(v));
                }
            }
        }
        let wrap = own.wrap.unwrap();
        let repeats = file["period"].is_number();
        assert_eq!(wrap[0], if repeats { WrappingMode::Repeat } else { WrappingMode::ClampToEdge }, "{name}");
        assert_eq!(wrap[1], WrappingMode::ClampToEdge);
        if repeats {
            let last = own.corners.iter().map(|corner| corner[0]).fold(f64::MIN, f64::max);
            let away = eye[2] - own.corners[0][2];
            let focus = 68.0 / libm::tan(fov / 2.0);
            assert!(
                120.0 + (last - 360.0 * unit) / away * focus >= 240.0,
                "{name} fills the view to the travel's end"
            );
        }
    }
    // Far to near, without two at one depth.
    let depths: Vec<f64> = quads.iter().map(|quads| quads.corners[0][2]).collect();
    assert!(depths.windows(2).all(|pair| pair[0] < pair[1]), "{depths:?}");
    // The textures have 8 bits, and the camera moves.
    for image in file.images() {
        let gltf::image::Source::View { view, mime_type } = image.source() else { panic!("embedded") };
        assert_eq!(mime_type, "image/png");
        let bin = file.blob.as_ref().unwrap();
        let info =
            png::Decoder::new(std::io::Cursor::new(&bin[view.offset()..view.offset() + view.length()]))
                .read_info()
                .unwrap();
        assert_eq!(
            (info.info().bit_depth, info.info().color_type),
            (png::BitDepth::Eight, png::ColorType::Rgba)
        );
    }
    assert_eq!(file.animations().count(), 1);
}

#[test]
fn the_official_validator_finds_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let scene = write_scene(folder.path(), SCENE);
    for (name, more) in [
        ("plain", &[][..]),
        ("tiles", &["--set", "texture.side=64", "--bits", "16", "--set", "texture.alpha=premultiplied"][..]),
    ] {
        let out = folder.path().join(name);
        let mut arguments = vec!["--also", "glb"];
        arguments.extend(more);
        render(&scene, &out, &arguments);
        let script = "
const fs = require('fs');
require('gltf-validator').validateBytes(new Uint8Array(fs.readFileSync(process.argv[1]))).then((report) => {
  const found = report.issues.messages.filter((message) => message.severity < 2);
  console.log(report.issues.numErrors, report.issues.numWarnings, JSON.stringify(found));
  const images = report.info.resources.filter((resource) => resource.image);
  console.log(images.length, images.every((resource) => resource.image.bits === 8));
});
";
        let path = out.join("scene.glb");
        let Some(said) = outside::node("gltf-validator", script, &[path.to_str().unwrap()]) else { return };
        let lines: Vec<&str> = said.lines().collect();
        assert_eq!(lines[0], "0 0 []", "{name}");
        assert!(lines[1].ends_with(" true") && !lines[1].starts_with("0 "), "{said}");
    }
}

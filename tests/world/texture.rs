//! Textures and their manifest: the still composed from the manifest alone.

use crate::compose::{beyond, codes_apart, compose, distance};
use crate::outside::{self, SCENE, decoded, render, write_scene};
use serde_json::Value;

/// Renders the scene as `sets` say and composes it at two camera places; the still is exact (16 bits), the textures have 8.
fn check(sets: &[&str], scale: &str, most: f64) -> Value {
    check_mean(sets, scale, most, 0.3)
}

fn check_mean(sets: &[&str], scale: &str, most: f64, most_mean: f64) -> Value {
    let folder = tempfile::tempdir().unwrap();
    let scene = write_scene(folder.path(), SCENE);
    let mut manifest = Value::Null;
    for camera in ["0", "220"] {
        let set: Vec<&str> =
            sets.iter().flat_map(|set| ["--set", *set]).chain(["--scale", scale, "--at", camera]).collect();
        manifest = render(&scene, &folder.path().join("eight"), &set);
        let deep: Vec<&str> = set.iter().copied().chain(["--bits", "16"]).collect();
        render(&scene, &folder.path().join("sixteen"), &deep);
        let (size, frame) = compose(&folder.path().join("eight"), &manifest, [camera.parse().unwrap(), 0.0]);
        let (still_size, still) = decoded(&std::fs::read(folder.path().join("sixteen/still.png")).unwrap());
        assert_eq!(size.map(|side| side as u32), still_size);
        let (far, mean) = distance(&frame, &still);
        println!("{sets:?} at {camera}: at most {far:.3} codes, {mean:.4} in the mean");
        assert!(far <= most, "{sets:?} at camera {camera}: {far} codes");
        assert!(mean <= most_mean, "{sets:?} at camera {camera}: {mean} codes in the mean");
    }
    manifest
}

fn texels(manifest: &Value, kind: &str) -> f64 {
    let files = manifest["files"].as_array().unwrap().iter().filter(|file| file["kind"] == kind);
    files.map(|file| file["texels"][0].as_f64().unwrap() * file["texels"][1].as_f64().unwrap()).sum()
}

#[test]
fn whole_textures_compose_to_the_still() {
    // Colours are dithered: each sheet's may round the other way.
    check(&[], "1", 1.25);
}

#[test]
fn fitted_and_trimmed_textures_compose_to_the_still() {
    let whole = {
        let folder = tempfile::tempdir().unwrap();
        let rims = ["--set", "slot.hut.separation=43"];
        render(&write_scene(folder.path(), SCENE), &folder.path().join("out"), &rims)
    };
    let fitted = check(&["texture.fit=error:0.5", "texture.trim=true", "slot.hut.separation=43"], "1", 1.0);
    assert!(texels(&fitted, "fog") < texels(&whole, "fog") / 2.0);
    assert!(texels(&fitted, "art") < texels(&whole, "art"));
    let rims = texels(&whole, "rim");
    assert!(rims > 1_000.0, "the hut's rim holds something: {rims}");
    let fewer = texels(&fitted, "rim");
    assert!(fewer < 0.6 * rims, "{fewer} of {rims}");
    for file in fitted["files"].as_array().unwrap() {
        // Never along a repeat.
        if file["period"].is_number() {
            assert_eq!(file["rect"][2], file["period"], "{}", file["path"]);
        }
    }
}

/// The manifest with the files of this slot's fog alone, on a ground of this colour, in a view that shows all of a period.
fn alone(manifest: &Value, slot: &Value, ground: &str) -> Value {
    let mut alone = manifest.clone();
    let files = manifest["files"].as_array().unwrap().iter();
    let fog: Vec<&Value> = files.filter(|file| file["kind"] == "fog" && &file["slot"] == slot).collect();
    alone["view"][0] = fog[0]["period"].clone();
    alone["files"] = fog.into_iter().cloned().collect();
    alone["still"]["backdrop"] = ground.into();
    alone
}

/// What `texture.fit = "error:…"` promises: stretched by a linear filter, each sheet by itself is drawn over black and over white, which
/// bound every ground (source-over is linear in what is beneath, Porter & Duff 1984), within so many steps of what it is
/// whole. At 16 bits, where rounding is a 257th of a step. And it takes no more texels than it must: some sheet goes near the bound.
#[test]
fn no_fitted_sheet_is_drawn_further_off_than_it_may_be() {
    let folder = tempfile::tempdir().unwrap();
    let scene = write_scene(folder.path(), SCENE);
    let whole = folder.path().join("whole");
    let plain = render(&scene, &whole, &["--bits", "16"]);
    let slots: std::collections::BTreeMap<&str, &Value> = plain["files"]
        .as_array()
        .unwrap()
        .iter()
        .map(|file| (file["slot"].as_str().unwrap(), &file["slot"]))
        .collect();
    let mut nearest = 0.0_f64;
    for steps in [0.3, 0.5, 0.8, 1.5, 3.0] {
        let out = folder.path().join(steps.to_string());
        let fitted = render(&scene, &out, &["--bits", "16", "--set", &format!("texture.fit=error:{steps}")]);
        for slot in slots.values() {
            for ground in ["#000000", "#ffffff"] {
                let (_, exact) = compose(&whole, &alone(&plain, slot, ground), [0.0; 2]);
                let (_, drawn) = compose(&out, &alone(&fitted, slot, ground), [0.0; 2]);
                let channels = exact.iter().flatten().zip(drawn.iter().flatten());
                let far = channels.map(|(a, b)| (a - b).abs() * 255.0).fold(0.0, f64::max);
                assert!(far <= steps + 0.02, "{slot} within {steps} steps: {far} on {ground}");
                nearest = nearest.max(far / steps);
            }
        }
    }
    println!("the bound is used up to {:.1} %", 100.0 * nearest);
    assert!(nearest > 0.9, "{nearest}");
}

#[test]
fn tiles_meet_without_a_seam() {
    for (sets, most) in [
        (&["texture.side=64"][..], 1.25),
        (&["texture.side=64", "texture.fit=error:0.5", "texture.trim=true"][..], 1.25),
        (&["texture.side=64", "texture.fit=error:0.5", "texture.alpha=premultiplied"][..], 1.5),
    ] {
        let manifest = check(sets, "1", most);
        let files = manifest["files"].as_array().unwrap();
        assert!(files.iter().any(|file| file["part"].is_array()));
        for file in files {
            for side in file["texels"].as_array().unwrap() {
                assert!(side.as_u64().unwrap() <= 64, "{}", file["path"]);
            }
        }
        let orders: std::collections::BTreeSet<u64> =
            files.iter().map(|file| file["order"].as_u64().unwrap()).collect();
        assert_eq!(orders.len(), files.len());
    }
}

#[test]
fn premultiplied_textures_compose_to_the_still() {
    // Colours times a low alpha are rounded, half a code for each of four sheets and pictures that aren't opaque.
    let manifest = check_mean(&["texture.alpha=premultiplied"], "1", 2.25, 0.35);
    assert_eq!(manifest["alpha"], "premultiplied");
    assert!(manifest["files"].as_array().unwrap().iter().all(|file| file["alpha"] == "premultiplied"));
}

#[test]
fn linear_light_composes_to_the_still() {
    // A code of alpha weighs up to 12.92 codes over black where light is mixed (IEC 61966-2-1, the curve's slope at 0), so
    // textures of 8 bits can't hold one code everywhere; here nothing is black.
    for sets in [
        &["air.blending=linear"][..],
        &["air.blending=linear", "texture.fit=error:0.5", "texture.trim=true"][..],
        &["air.blending=linear", "texture.alpha=premultiplied", "texture.fit=error:0.5"][..],
    ] {
        let manifest = check(sets, "1", 2.5);
        assert!(manifest["files"].as_array().unwrap().iter().all(|file| file["blending"] == "linear"));
    }
}

#[test]
fn other_scales_compose_to_the_still() {
    check(&["texture.fit=error:0.5", "texture.trim=true"], "1.5", 1.0);
}

#[test]
fn powers_of_two_and_halves_are_what_they_say() {
    let folder = tempfile::tempdir().unwrap();
    let scene = write_scene(folder.path(), SCENE);
    let whole = render(&scene, &folder.path().join("full"), &[]);
    let powers = render(&scene, &folder.path().join("powers"), &["--set", "texture.fit=power-of-two"]);
    for file in powers["files"].as_array().unwrap() {
        for side in file["texels"].as_array().unwrap() {
            assert!(side.as_u64().unwrap().is_power_of_two(), "{}", file["path"]);
        }
    }
    let halves = render(&scene, &folder.path().join("half"), &["--set", "texture.fit=half"]);
    for (full, half) in whole["files"].as_array().unwrap().iter().zip(halves["files"].as_array().unwrap()) {
        for axis in 0..2 {
            let side = full["texels"][axis].as_u64().unwrap();
            let expected = if full["kind"] == "art" { side } else { side.div_ceil(2) };
            assert_eq!(half["texels"][axis], expected);
        }
        // The first and last texels of a stretched sheet or rim stand in the middle of those of the view; none are along a repeat.
        let number = |file: &Value, key: &str, at: usize| file[key][at].as_f64().unwrap();
        for axis in 0..2 {
            let over = match axis == 0 && full["repeat"] == true {
                true => 0.0,
                false => (number(half, "stretch", axis) - number(full, "stretch", axis)) / 2.0,
            };
            assert!((number(full, "rect", axis) - over - number(half, "rect", axis)).abs() < 1e-9);
            assert!(
                (number(full, "rect", axis + 2) + 2.0 * over - number(half, "rect", axis + 2)).abs() < 1e-9
            );
        }
    }
}

#[test]
fn sixteen_bits_say_what_their_colours_are() {
    // PNG (third edition) 11.3.2: sRGB with perceptual intent, and the gAMA and cHRM that stand for it, before the pixels.
    let folder = tempfile::tempdir().unwrap();
    let scene = write_scene(folder.path(), SCENE);
    let manifest =
        render(&scene, &folder.path().join("out"), &["--bits", "16", "--set", "air.blending=linear"]);
    for file in manifest["files"].as_array().unwrap() {
        let path = folder.path().join("out").join(file["path"].as_str().unwrap());
        let bytes = std::fs::read(&path).unwrap();
        let mut reader = png::Decoder::new(std::io::Cursor::new(&bytes)).read_info().unwrap();
        let info = reader.info().clone();
        assert_eq!(info.srgb, Some(png::SrgbRenderingIntent::Perceptual), "{}", file["path"]);
        assert_eq!(info.gama_chunk.unwrap().into_scaled(), 45455);
        assert_eq!(info.chrm_chunk.unwrap().white.0.into_scaled(), 31270);
        if file["kind"] != "art" {
            assert_eq!(info.bit_depth, png::BitDepth::Sixteen);
            assert_eq!(file["bits"], 16);
        } else {
            assert_eq!(file["bits"], 8);
        }
        let mut samples = vec![0; reader.output_buffer_size().unwrap()];
        reader.next_frame(&mut samples).unwrap();
        if let Some(output) = outside::tool("pngcheck", &["-q", path.to_str().unwrap()]) {
            assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stdout));
        }
    }
}

/// A far slot's fog drifts over the view as slowly as the slot pans: the pinhole's camera / (camera + depth). What is in one place
/// drifts by the same scene px whatever the scale.
#[test]
fn fog_is_suggested_to_drift_by_its_pan_rate() {
    let folder = tempfile::tempdir().unwrap();
    let scene = write_scene(folder.path(), SCENE);
    for scale in ["0.5", "1"] {
        let out = folder.path().join(scale);
        let manifest = render(&scene, &out, &["--set", "air.drift=20", "--scale", scale]);
        let files = manifest["files"].as_array().unwrap();
        assert_eq!(files.iter().filter(|file| file["kind"] == "fog").count(), 4);
        for file in files {
            let depth = file["depth"].as_f64().unwrap();
            let wanted = if file["kind"] == "fog" { 20.0 * 300.0 / (300.0 + depth) } else { 0.0 };
            let drift = file["drift"].as_f64().unwrap();
            assert!((drift - wanted).abs() < 1e-9, "{}: {drift} for {wanted}", file["path"]);
        }
    }
}

#[test]
fn a_rerun_makes_nothing_and_finds_the_same_shapes() {
    let folder = tempfile::tempdir().unwrap();
    let scene = write_scene(folder.path(), SCENE);
    let out = folder.path().join("out");
    let sets = [
        "--set",
        "texture.fit=error:0.5",
        "--set",
        "texture.trim=true",
        "--set",
        "texture.side=64",
        "--also",
        "ora,glb",
    ];
    let first = render(&scene, &out, &sets);
    let mut arguments = vec!["render", scene.to_str().unwrap(), "--out", out.to_str().unwrap()];
    arguments.extend(sets);
    let said = outside::runs(&arguments);
    assert!(said.contains("nothing changed"), "{said}");
    let again: Value = serde_json::from_slice(&std::fs::read(out.join("manifest.json")).unwrap()).unwrap();
    assert_eq!(first, again);
    // Forms that aren't asked for again are told of once they are out of date.
    let said = outside::runs(&[
        "render",
        scene.to_str().unwrap(),
        "--out",
        out.to_str().unwrap(),
        "--set",
        "smear.length=50",
    ]);
    assert!(said.contains("scene.ora is out of date; --also ora updates it"), "{said}");
}

#[test]
fn the_demo_saves_eight_times_the_texels() {
    let folder = tempfile::tempdir().unwrap();
    outside::runs(&["demo", folder.path().join("demo").to_str().unwrap()]);
    let scene = folder.path().join("demo/scene.toml");
    let whole: Value = serde_json::from_slice(
        &std::fs::read(folder.path().join("demo/scene-sheets/manifest.json")).unwrap(),
    )
    .unwrap();
    let out = folder.path().join("fitted");
    let sets = ["--set", "texture.fit=error:0.5", "--set", "texture.trim=true"];
    let fitted = render(&scene, &out, &[&sets[..], &["--bits", "16"]].concat());
    let factor = texels(&whole, "fog") / texels(&fitted, "fog");
    println!("the demo's sheets have {factor:.1} times fewer texels");
    assert!(factor >= 8.0, "{factor}");
    let (_, still) = decoded(&std::fs::read(out.join("still.png")).unwrap());
    let (_, frame) = compose(&out, &fitted, [fitted["still"]["camera"][0].as_f64().unwrap(), 0.0]);
    let (far, mean) = distance(&frame, &still);
    println!("composed from the manifest at 16 bits: at most {far:.3} codes off, {mean:.4} in the mean");
    assert!(far <= 0.5, "{far} codes");
    // At 8 bits every one of the two dozen layers is rounded by itself.
    let eight = render(&scene, &out, &[&sets[..], &["--again"]].concat());
    let (_, frame) = compose(&out, &eight, [eight["still"]["camera"][0].as_f64().unwrap(), 0.0]);
    let (far, mean) = distance(&frame, &still);
    let over = beyond(&frame, &still, 1.0);
    let shown = codes_apart(&frame, &still);
    println!(
        "at 8 bits: at most {far:.3} codes off, {mean:.4} in the mean; {over:.1e} of the channels over one; \
         shown in 8 bits at most {shown}"
    );
    assert!(shown <= 2 && far <= 1.35 && over <= 4e-5, "{shown} codes, {far}, {over}");
}

#[test]
fn the_schema_holds_for_what_is_written() {
    let folder = tempfile::tempdir().unwrap();
    let scene = write_scene(folder.path(), SCENE);
    let out = folder.path().join("out");
    render(&scene, &out, &["--set", "texture.side=64", "--also", "ora", "--frames", "3"]);
    let schema = folder.path().join("manifest.schema.json");
    std::fs::write(&schema, outside::runs(&["schema", "manifest"])).unwrap();
    // Checked by Python's jsonschema; a manifest with a key of another type must fail.
    let script = "
import json, sys, jsonschema
schema = json.load(open(sys.argv[1])); manifest = json.load(open(sys.argv[2]))
jsonschema.Draft7Validator.check_schema(schema)
validator = jsonschema.Draft7Validator(schema)
validator.validate(manifest)
manifest['files'][0]['rect'] = 'here'
assert list(validator.iter_errors(manifest))
";
    outside::python(
        "jsonschema",
        script,
        &[schema.to_str().unwrap(), out.join("manifest.json").to_str().unwrap()],
    );
}

/// One level of mips as drivers make them: plain means of two by two texels.
fn halved(([wide, tall], texels): &(Size, Vec<[f64; 4]>)) -> (Size, Vec<[f64; 4]>) {
    let size = [wide / 2, tall / 2];
    let mean = |x: usize, y: usize| {
        let corners = [[0, 0], [1, 0], [0, 1], [1, 1]].map(|[i, j]| texels[(2 * y + j) * wide + 2 * x + i]);
        std::array::from_fn(|at| corners.iter().map(|corner| corner[at]).sum::<f64>() / 4.0)
    };
    (size, (0..size[1]).flat_map(|y| (0..size[0]).map(move |x| [x, y])).map(|[x, y]| mean(x, y)).collect())
}

type Size = [usize; 2];

#[test]
fn mips_keep_their_colours() {
    // Means of straight colours count those under alpha 0 in; what is drawn must still be what means of premultiplied ones draw
    // (Porter & Duff 1984: filters work on those). Common practice, no source: that drivers make mips by plain means.
    let folder = tempfile::tempdir().unwrap();
    let scene = write_scene(folder.path(), SCENE);
    // A disc as painters hand it on: black where nothing is.
    let disc = |x: u32, y: u32| (x as i32 - 35).pow(2) + (y as i32 - 35).pow(2) < 900;
    let texel = |x, y| if disc(x, y) { [200, 90, 40, 255] } else { [0; 4] };
    let samples: Vec<u8> = (0..70).flat_map(|y| (0..70).flat_map(move |x| texel(x, y))).collect();
    image::save_buffer(folder.path().join("hut.png"), &samples, 70, 70, image::ColorType::Rgba8).unwrap();
    for sets in [&[][..], &["--set", "texture.fit=error:0.5", "--set", "texture.trim=true"][..]] {
        let out = folder.path().join(sets.len().to_string());
        let manifest = render(&scene, &out, sets);
        for file in manifest["files"].as_array().unwrap() {
            let (size, texels) = decoded(&std::fs::read(out.join(file["path"].as_str().unwrap())).unwrap());
            let premultiplied = texels.iter().map(|[r, g, b, a]| [r * a, g * a, b * a, *a]).collect();
            let size = size.map(|side| side as usize);
            let (mut straight, mut exact) = ((size, texels), (size, premultiplied));
            while straight.0[0] >= 8 && straight.0[1] >= 8 {
                (straight, exact) = (halved(&straight), halved(&exact));
                for (texel, exact) in straight.1.iter().zip(&exact.1) {
                    for channel in 0..3 {
                        let gap = (texel[channel] * texel[3] - exact[channel]).abs() * 255.0;
                        assert!(gap <= 4.0, "{} at {:?}: {gap} codes", file["path"], straight.0);
                        if file["slot"] == "hut" && file["kind"] == "art" {
                            assert!(gap <= 0.6, "a fringe of {gap} codes at {:?}", straight.0);
                        }
                    }
                }
            }
        }
    }
}

#[test]
fn every_texture_is_read_alike_by_readers_of_others() {
    let folder = tempfile::tempdir().unwrap();
    let scene = write_scene(folder.path(), SCENE);
    let premultiplied = ["--set", "texture.alpha=premultiplied"];
    let small = ["--set", "texture.fit=error:0.5", "--set", "texture.trim=true", "--set", "texture.side=64"];
    let lit = ["--set", "grade.lit=0.5", "--bits", "16"];
    for (name, more) in [
        ("plain", &[][..]),
        ("frames", &["--frames", "2"][..]),
        ("premultiplied", &premultiplied[..]),
        ("small", &small[..]),
        ("lit", &lit[..]),
    ] {
        let out = folder.path().join(name);
        render(&scene, &out, more);
        let mut count = 0;
        for entry in std::fs::read_dir(&out).unwrap() {
            let path = entry.unwrap().path();
            if path.extension().is_none_or(|ending| ending != "png") {
                continue;
            }
            count += 1;
            let bytes = std::fs::read(&path).unwrap();
            let (size, texels) = decoded(&bytes);
            let (second_size, second) = outside::second_reader(&bytes);
            assert_eq!(size, second_size, "{}", path.display());
            assert!(texels == second, "{}", path.display());
            if let Some(output) = outside::tool("pngcheck", &["-q", path.to_str().unwrap()]) {
                assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stdout));
            }
        }
        assert!(count >= 8, "{name}: {count} files");
    }
}

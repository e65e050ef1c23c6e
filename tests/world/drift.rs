//! Fog that lives: closed loops of a sheet.

use crate::outside::{self, decoded, render, runs, write_scene};
use std::path::{Path, PathBuf};

const FRAMES: usize = 16;

/// A loop of one preset's sheet: each frame's opacities.
fn frames(folder: &Path, preset: &str, more: &[&str]) -> Vec<Vec<f64>> {
    let out = folder.join(format!("{preset}.png"));
    let frames = FRAMES.to_string();
    let mut arguments = vec![
        "sheet",
        "--preset",
        preset,
        "--size",
        "1024x192",
        "--set",
        "bands.size=32",
        "--bits",
        "16",
        "--frames",
        &frames,
        "--out",
        out.to_str().unwrap(),
    ];
    arguments.extend(more);
    runs(&arguments);
    let path = |frame: usize| -> PathBuf {
        if frame == 0 { out.clone() } else { folder.join(format!("{preset}.f{frame:03}.png")) }
    };
    (0..FRAMES)
        .map(|frame| decoded(&std::fs::read(path(frame)).unwrap()).1.iter().map(|texel| texel[3]).collect())
        .collect()
}

fn step(a: &[f64], b: &[f64]) -> f64 {
    (a.iter().zip(b).map(|(a, b)| (a - b) * (a - b)).sum::<f64>() / a.len() as f64).sqrt()
}

fn moments(frame: &[f64]) -> (f64, f64) {
    let mean = frame.iter().sum::<f64>() / frame.len() as f64;
    (
        mean,
        (frame.iter().map(|value| (value - mean) * (value - mean)).sum::<f64>() / frame.len() as f64).sqrt(),
    )
}

#[test]
fn loops_close_without_a_jump() {
    let folder = tempfile::tempdir().unwrap();
    // Gradient noise smooth and ridged, and cells.
    for preset in ["radiation-fog", "steam-fog", "low-stratus"] {
        let all = frames(folder.path(), preset, &[]);
        let steps: Vec<f64> = (0..FRAMES).map(|at| step(&all[at], &all[(at + 1) % FRAMES])).collect();
        let (least, most) =
            steps.iter().fold((f64::MAX, 0.0_f64), |(low, high), s| (low.min(*s), high.max(*s)));
        println!("{preset}: steps from {least:.5} to {most:.5}");
        assert!(least > 1e-4, "{preset} stands still: {steps:?}");
        // The step over the loop's end is one like the others.
        assert!(
            steps[FRAMES - 1] <= 1.5 * steps[..FRAMES - 1].iter().sum::<f64>() / (FRAMES - 1) as f64,
            "{steps:?}"
        );
        // No frame comes twice within the loop.
        for far in 2..FRAMES - 1 {
            assert!(
                step(&all[0], &all[far]) > 1.2 * steps[0].min(steps[FRAMES - 1]),
                "{preset}: frame {far}"
            );
        }
    }
}

#[test]
fn the_look_stays_through_the_loop() {
    // Mean and deviation of opacity. Without the line's breath and sway, of which a sheet has so few waves that their own chance shows.
    let folder = tempfile::tempdir().unwrap();
    for preset in ["radiation-fog", "steam-fog", "low-stratus"] {
        let all = frames(folder.path(), preset, &["--set", "falloff.breath=0", "--set", "falloff.sway=0"]);
        let (mean, deviation) = moments(&all[0]);
        for frame in &all {
            let (m, d) = moments(frame);
            println!("{preset}: {m:.3} {d:.3} for {mean:.3} {deviation:.3}");
            assert!(
                (m - mean).abs() < 0.15 * mean && d > 0.75 * deviation && d < 1.33 * deviation,
                "{preset}: {m} {d} for {mean} {deviation}"
            );
        }
    }
}

#[test]
fn the_first_frame_is_the_plain_sheet() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let make = |out: &str, more: &[&str]| {
        let mut arguments = vec!["sheet", "--preset", "radiation-fog", "--size", "256x128", "--out", out];
        arguments.extend(more);
        runs(&arguments);
        std::fs::read(out).unwrap()
    };
    let plain = make(&path("plain.png"), &[]);
    assert_eq!(plain, make(&path("loop.png"), &["--frames", "4"]));
    // One strip holds the same frames, one below the other.
    let (size, strip) = outside::codes(&make(&path("strip.png"), &["--frames", "4", "--strip"]));
    assert_eq!(size, [256, 512]);
    let all: Vec<[u8; 4]> = ["loop.png", "loop.f001.png", "loop.f002.png", "loop.f003.png"]
        .iter()
        .flat_map(|name| outside::codes(&std::fs::read(path(name)).unwrap()).1)
        .collect();
    assert!(strip == all);
}

#[test]
fn a_scene_lists_its_frames() {
    let folder = tempfile::tempdir().unwrap();
    let scene = write_scene(folder.path(), outside::SCENE);
    let plain = render(&scene, &folder.path().join("plain"), &[]);
    let out = folder.path().join("out");
    let manifest = render(&scene, &out, &["--frames", "3"]);
    for (file, at_rest) in
        manifest["files"].as_array().unwrap().iter().zip(plain["files"].as_array().unwrap())
    {
        // A rim is solved for the worst of a few moments.
        if file["kind"] != "rim" {
            assert_eq!(file["hash"], at_rest["hash"], "the first frame is the sheet at rest");
        }
        if file["kind"] != "fog" {
            assert!(file.get("frames").is_none());
            continue;
        }
        let frames = file["frames"].as_array().unwrap();
        assert_eq!(frames.len(), 2);
        for frame in frames {
            let bytes = std::fs::read(out.join(frame["path"].as_str().unwrap())).unwrap();
            assert_eq!(frame["hash"], blake3::hash(&bytes).to_hex().as_str());
            assert_ne!(frame["hash"], file["hash"]);
            assert_eq!(serde_json::json!(outside::codes(&bytes).0), file["texels"]);
        }
    }
}

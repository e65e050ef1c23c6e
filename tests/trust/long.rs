//! Long runs don't grow.

use super::util::{Scene, TEXT, count};
use std::fs;
use std::time::{Duration, Instant};

/// Kilobytes that a process holds now.
fn held(process: u32) -> u64 {
    let text = fs::read_to_string(format!("/proc/{process}/status")).expect("the process is there");
    let line = text.lines().find(|line| line.starts_with("VmRSS")).expect("its size");
    line.split_whitespace().nth(1).expect("a number").parse().expect("a number")
}

/// `FOGWEFT_SAVES` of them: at about a second each, 3600 make an hour.
#[test]
fn watching_does_not_grow() {
    let scene = Scene::new();
    let edits = count("FOGWEFT_SAVES", 12, 60);
    let mut child = scene
        .command(&["render", "scene.toml", "--out", "o", "--watch", "--quiet"])
        .stdout(std::process::Stdio::null())
        .stderr(std::process::Stdio::null())
        .spawn()
        .expect("runs");
    let still = scene.path("o/still.png");
    let changed = |before: &Option<Vec<u8>>| {
        let start = Instant::now();
        while fs::read(&still).ok() == *before {
            assert!(start.elapsed() < Duration::from_secs(60), "an edit was not followed");
            std::thread::sleep(Duration::from_millis(20));
        }
    };
    changed(&None);
    let mut early = 0;
    for edit in 0..edits {
        let before = fs::read(&still).ok();
        scene.write(
            "scene.toml",
            TEXT.replace("visibility = 900", &format!("visibility = {}", 300 + 7 * (edit % 90))),
        );
        changed(&before);
        // The first few fill caches.
        if edit == edits / 4 {
            early = held(child.id());
        }
    }
    let late = held(child.id());
    let _ = child.kill();
    let _ = child.wait();
    println!("{edits} edits: {early} KB after a quarter of them, {late} KB at the end");
    assert!(late as f64 <= 1.2 * early as f64 + 2048.0, "{early} KB, {late} KB");
}

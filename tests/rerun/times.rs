//! How long reruns take. Run alone on a quiet machine: `cargo test --release --test rerun times -- --ignored --nocapture`.

use super::util::Scene;
use std::fs;
use std::time::{Duration, Instant};

/// A whole process, from its start to its end.
fn time(scene: &Scene, args: &[&str]) -> Duration {
    let start = Instant::now();
    scene.run(args).well();
    start.elapsed()
}

fn median(mut times: Vec<Duration>) -> Duration {
    times.sort();
    times[times.len() / 2]
}

#[test]
#[ignore = "times mean nothing beside other work"]
fn nothing_changed_at_4k_takes_under_50_ms() {
    let scene = Scene::new();
    scene.run(&["demo", "marsh"]).well();
    let args = ["render", "marsh/scene.toml", "--scale", "2", "--out", "o"];
    let full = time(&scene, &args);
    // At once, when files are too young for their stamps to be believed and have to be read; and from then on.
    let young = time(&scene, &args);
    std::thread::sleep(Duration::from_millis(3200));
    let first = time(&scene, &args);
    let later = median((0..15).map(|_| time(&scene, &args)).collect());
    println!(
        "full {full:?}; unchanged: at once {young:?}, after 3 s {first:?}, then {later:?} (median of 15)"
    );
    assert!(later < Duration::from_millis(50) && first < Duration::from_millis(50) * 10);
}

/// A run that keeps all that it has a use for: by default a large scene keeps less than a tweak would find.
const KEEPING: [&str; 4] = ["render", "scene.toml", "--cache", "100"];

/// Each full run is followed by tweaks, so that all go by the same clock: a machine's speed changes within seconds.
#[test]
#[ignore = "times mean nothing beside other work"]
fn one_slots_tweak_takes_little_more_than_its_share() {
    for count in [4, 8, 16] {
        let scene = Scene::new();
        let mut text = "view = [1920, 1080]\ntravel = 1920\nair.haze = \"#c8ccd0\"\n".to_owned();
        for slot in 0..count {
            // Alike in all that counts: the same lengths, the same size.
            let depth = 100 * slot;
            text += &format!("[[slot]]\nname = \"s{slot}\"\ndepth = {depth}\nshrink = 1\nperiod = 4096\n");
            text += "smear.length = 120\n";
        }
        scene.write("scene.toml", &text);
        let (mut fulls, mut shares) = (Vec::new(), [const { Vec::new() }; 3]);
        for round in 0..7 {
            let _ = fs::remove_dir_all(scene.path("o"));
            let full = time(&scene, &[&KEEPING[..], &["--out", "o"]].concat());
            fulls.push(full);
            for (tweak, shares) in shares.iter_mut().enumerate() {
                let length = 130 + 10 * round + tweak;
                let set = format!("slot.s{}.smear.length={length}", count / 2);
                let tweak = time(&scene, &[&KEEPING[..], &["--out", "o", "--set", &set]].concat());
                shares.push(tweak.as_secs_f64() / full.as_secs_f64());
            }
        }
        let middle = |shares: &[f64]| {
            let mut shares = shares.to_vec();
            shares.sort_by(f64::total_cmp);
            shares[shares.len() / 2]
        };
        let (share, most) = (middle(&shares.concat()), 1.0 / f64::from(count) + 0.1);
        let [first, second, third] = shares.map(|shares| middle(&shares));
        println!(
            "{count} slots: full {:?}; a tweak {share:.3} of it, at most {most:.3} \
             (the first {first:.3}, the next {second:.3} and {third:.3})",
            median(fulls)
        );
        assert!(share <= most);
    }
}

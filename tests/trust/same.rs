//! The same bytes on any number of threads, in any locale, from any folder, optimised or not, time and again.

use super::util::{Scene, count, outputs, skipped};
use std::process::Command;

const ALL: [&str; 6] = ["--also", "ora,glb,pan,preview,strip", "--pan-width", "64", "--pan-frames", "4"];

#[test]
fn the_same_bytes_on_1_to_8_threads_in_any_locale_from_any_folder() {
    let scene = Scene::new();
    scene.well(&[&["render", "scene.toml", "--out", "first"], &ALL[..]].concat());
    let first = outputs(&scene.path("first"));
    assert!(first.len() >= 11, "{:?}", first.keys());
    let locales = ["C", "C.UTF-8", "de_DE.UTF-8", "tr_TR.UTF-8", "ar_EG.UTF-8"];
    let times = count("FOGWEFT_REPEATS", 10, 50);
    for time in 0..times as usize {
        let (threads, locale) = (1 + time % 8, locales[time % locales.len()]);
        let out = scene.path(&format!("again-{time}"));
        let file = scene.path("scene.toml");
        let mut command = scene.command(
            &[&["render", file.to_str().unwrap(), "--out", out.to_str().unwrap()], &ALL[..]].concat(),
        );
        command
            .env("RAYON_NUM_THREADS", threads.to_string())
            .env("LC_ALL", locale)
            .env("TZ", "Asia/Kathmandu");
        if time % 2 == 1 {
            command.current_dir("/");
        }
        let done = command.output().expect("the binary runs");
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
        assert!(outputs(&out) == first, "{threads} threads, {locale}");
    }
    println!("{times} runs gave the same bytes");
}

/// `FOGWEFT_DEBUG_BINARY` names the program built without optimisation.
#[test]
fn the_same_bytes_without_optimisation() {
    let Some(program) = std::env::var_os("FOGWEFT_DEBUG_BINARY") else {
        return skipped("no build without optimisation is named by FOGWEFT_DEBUG_BINARY");
    };
    let scene = Scene::new();
    scene.well(&[&["render", "scene.toml", "--out", "optimised"], &ALL[..]].concat());
    let mut plain = Command::new(program);
    plain.args([&["render", "scene.toml", "--out", "plain"], &ALL[..]].concat()).current_dir(scene.path("."));
    let done = plain.env("XDG_CONFIG_HOME", scene.path("config")).output().expect("the program runs");
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    assert!(outputs(&scene.path("plain")) == outputs(&scene.path("optimised")));
}

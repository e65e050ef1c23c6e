//! Pictures are read in processes of their own: what takes too long or too much there is told, and changes nothing elsewhere.

use super::util::{Scene, told};
#[cfg(target_os = "linux")]
use std::process::Command;

/// A scene whose one picture this is.
#[cfg(unix)]
fn with(scene: &Scene, name: &str, content: impl AsRef<[u8]>) {
    scene.write(name, content);
    let slot = format!("[[slot]]\nname = \"a\"\ndepth = 9\nart = \"{name}\"\n");
    scene.write("odd.toml", format!("view = [64, 36]\n{slot}"));
}

#[cfg(unix)]
fn svg(inside: &str) -> String {
    format!("<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"64\" height=\"36\">{inside}</svg>")
}

/// Every rule is compared with every element: 400 million times.
#[cfg(unix)]
fn slow() -> String {
    let rules: String = (0..20_000).map(|at| format!(".c{at}{{fill:#123}}")).collect();
    svg(&format!("<style>{rules}</style>{}", "<rect class=\"x\" width=\"1\" height=\"1\"/>".repeat(20_000)))
}

#[test]
#[cfg(unix)]
fn what_takes_too_long_to_read_is_told_with_the_limit() {
    let scene = Scene::new();
    with(&scene, "slow.svg", slow());
    let text = scene.refused(6, &["render", "odd.toml", "--out", "o", "--limit", "read-seconds=1"]);
    // By the processor's time, or by the clock where others keep it busy.
    for part in ["slow.svg", "takes longer than 1", "--limit read-seconds="] {
        assert!(text.contains(part), "{part}: {text}");
    }
    assert!(!scene.path("o").join("manifest.json").exists());
}

#[test]
#[cfg(target_os = "linux")]
fn what_takes_too_much_memory_to_read_is_told_with_the_limit() {
    let scene = Scene::new();
    with(&scene, "crowd.svg", svg(&"<rect width=\"1\" height=\"1\"/>".repeat(200_000)));
    let args = ["plan", "odd.toml", "--limit"];
    let text = scene.refused(6, &[&args[..], &["read-memory=1000000"]].concat());
    for part in ["crowd.svg", "memory", "--limit read-memory="] {
        assert!(text.contains(part), "{part}: {text}");
    }
    scene.well(&[&args[..], &["read-memory=1000000000"]].concat());
}

/// The bytes that a program makes which reads pictures itself are those of one that reads them apart: PNG and SVG, at their own size and at
/// others, and a layer of a layered file.
#[test]
fn what_is_read_apart_is_what_is_read_here() {
    use fogweft::base::limits::Limits;
    use fogweft::base::words::Blending;
    use fogweft::scene::pictures::Source;
    let scene = Scene::new();
    image::RgbaImage::from_fn(64, 20, |x, y| image::Rgba([(3 * x) as u8, (9 * y) as u8, 7, (x * y) as u8]))
        .save(scene.path("far.png"))
        .expect("saved");
    for (name, size) in [("far.svg", [64, 20]), ("far.png", [64, 20]), ("far.png", [31, 47])] {
        let text = format!(
            "view = [64, 36]\n[rim]\nseparation = 0\n[[slot]]\nname = \"far\"\ndepth = 0\nart = \"{name}\"\nwidth = {}\nheight = {}\n[air]\nhaze = \"#fff\"\nvisibility = 1e9\n",
            size[0], size[1]
        );
        let text = if name.ends_with("svg") { text.replace("height = 20\n", "") } else { text };
        scene.write("one.toml", text.replace("height = 47\n", "").replace("height = 20\n", ""));
        let _ = std::fs::remove_dir_all(scene.path("o"));
        scene.well(&["render", "one.toml", "--out", "o", "--quiet"]);
        let made = image::open(scene.path("o/far.art.png")).expect("a PNG").into_rgba8();
        let limits = Limits::default();
        let source = Source::open(scene.path(name), &limits).expect("read");
        let size = [made.width(), made.height()];
        let mut here = source.draw(size, false, false, Blending::Encoded, &limits).expect("drawn");
        if source.natural == size.map(f64::from) && name.ends_with("png") {
            here.bleed(false);
        }
        let codes: Vec<u8> = here.texels.iter().flatten().map(|value| (value / 257) as u8).collect();
        assert!(codes == *made.as_raw(), "{name} at {size:?}");
    }
}

/// A reader stands while it is asked and ends with the program, however that ends.
#[test]
#[cfg(target_os = "linux")]
fn a_reader_ends_with_the_program() {
    let scene = Scene::new();
    with(&scene, "slow.svg", slow());
    let mut child = scene
        .command(&["render", "odd.toml", "--out", "o", "--limit", "read-seconds=2"])
        .stderr(std::process::Stdio::null())
        .spawn()
        .expect("runs");
    let readers = |parent: u32| {
        let listed = Command::new("ps").args(["-o", "pid=", "--ppid", &parent.to_string()]).output();
        let text =
            listed.map(|listed| String::from_utf8_lossy(&listed.stdout).into_owned()).unwrap_or_default();
        text.split_whitespace().filter_map(|pid| pid.parse::<u32>().ok()).collect::<Vec<_>>()
    };
    let begun = std::time::Instant::now();
    let seen = loop {
        let seen = readers(child.id());
        if !seen.is_empty() || begun.elapsed().as_secs() > 20 {
            break seen;
        }
    };
    assert_eq!(seen.len(), 1, "one picture, one reader");
    child.kill().expect("ended");
    child.wait().expect("waited for");
    let there = |pid: u32| std::path::Path::new(&format!("/proc/{pid}")).exists();
    // What it reads it reads to the end, or to its limit.
    while there(seen[0]) && begun.elapsed().as_secs() < 60 {
        std::thread::sleep(std::time::Duration::from_millis(50));
    }
    assert!(!there(seen[0]));
}

/// The hidden command takes nothing that isn't a request.
#[test]
fn the_command_of_readers_refuses_anything_else() {
    let scene = Scene::new();
    scene.write("noise", [7; 100]);
    let noise = std::fs::File::open(scene.path("noise")).expect("open");
    let done = scene.command(&["read-pictures"]).stdin(noise).output().expect("runs");
    told(2, &done);
    let done = scene.command(&["read-pictures"]).stdin(std::process::Stdio::null()).output().expect("runs");
    assert!(done.status.success() && done.stdout.is_empty());
}

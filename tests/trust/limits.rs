//! Every limit has its own message, which names the file and the way to raise it; raised, the same input goes through.

use super::util::{Scene, told};
use fogweft::base::limits::NAMES;

#[test]
fn every_limit_is_told_by_its_name_and_can_be_raised() {
    let scene = Scene::new();
    scene.well(&["render", "scene.toml", "--out", "o", "--also", "ora"]);
    // A limit that the small scene is over, and one that it is within; what the message must name besides.
    let cases: [(&str, u64, u64, &str); 9] = [
        ("side", 20, 1000, "far.fog.png"),
        ("texels", 1000, 100_000, "far.fog.png"),
        ("file-bytes", 100, 1000, ".svg"),
        ("text-bytes", 100, 1000, "scene.toml"),
        ("slots", 1, 2, "scene.toml"),
        ("octaves", 2, 24, "near"),
        ("memory", 10_000, 1 << 30, "the run"),
        ("entries", 2, 100, "scene.ora"),
        ("unpacked", 100, 100_000, "scene.ora"),
    ];
    let mut messages = std::collections::BTreeSet::new();
    // Those of reading pictures: `apart.rs`.
    assert_eq!(NAMES[cases.len()..], ["read-seconds", "read-memory"]);
    for ((name, low, high, place), known) in cases.into_iter().zip(NAMES) {
        assert_eq!(name, known, "every limit is tried");
        let with = |limit: u64| {
            let limit = format!("{name}={limit}");
            let mut args = match name {
                "entries" | "unpacked" => vec!["new", "from", "--from", "o/scene.ora"],
                _ => vec!["render", "scene.toml", "--out", "o"],
            };
            let _ = std::fs::remove_dir_all(scene.path("from"));
            args.extend(["--limit", &limit]);
            scene.run(&args)
        };
        let text = told(6, &with(low));
        assert!(text.contains(&format!("--limit {name}=")), "{name}: {text}");
        // Memory is told in MB.
        let number = if name == "memory" { "0 MB".to_owned() } else { low.to_string() };
        assert!(text.contains(&number) && text.contains(place), "{name}: {text}");
        assert!(messages.insert(text.lines().next().map(str::to_owned)), "{name}: {text}");
        let done = with(high);
        assert!(done.status.success(), "{name}: {}", String::from_utf8_lossy(&done.stderr));
    }
}

/// The largest of anything that a single number asks for: refused with the limit's own code, or made within it; never an abort. The
/// address space is bounded, so that what isn't counted fails.
#[test]
#[cfg(target_os = "linux")]
fn no_number_ends_the_program() {
    let scene = Scene::new();
    let numbers = [
        "slot.far.depth=1e9",
        "slot.far.depth=1e6",
        "slot.near.depth=-31.9999",
        "slot.near.repeat=1",
        "bands.size=1",
        "bands.size=8192 bands.warp=4 bands.octaves=10 bands.lacunarity=1.2",
        "bands.stretch=0.05 bands.size=1",
        "bands.kind=cellular bands.size=1 slot.far.depth=1e5",
        "smear.length=16384 smear.angle=90 soften.sigma=0",
        "soften.sigma=2048 soften.stretch=40",
        "slot.far.period=1e7",
        "slot.far.shrink=1000",
        "slot.far.shrink=0.001",
        "falloff.wave=8 falloff.sway=100000",
    ];
    for (at, set) in numbers.iter().enumerate() {
        let out = format!("o{at}");
        let mut args =
            vec!["render", "scene.toml", "--out", &out, "--scale", "0.5", "--limit", "memory=500000000"];
        args.extend(set.split(' ').flat_map(|set| ["--set", set]));
        let done = bounded(&scene, &args);
        let text = String::from_utf8_lossy(&done.stderr);
        assert!(matches!(done.status.code(), Some(0 | 6)), "{set}: {:?} {text}", done.status);
    }
}

/// Runs with an address space of 1.5 GB: three times the limit on memory, as threads reserve more than they take.
#[cfg(target_os = "linux")]
pub fn bounded(scene: &Scene, args: &[&str]) -> std::process::Output {
    let plain = scene.command(args);
    let mut shell = std::process::Command::new("sh");
    shell
        .args(["-c", "ulimit -v 1500000; exec \"$0\" \"$@\""])
        .arg(plain.get_program())
        .args(plain.get_args());
    shell.envs(plain.get_envs().filter_map(|(name, value)| Some((name, value?))));
    shell.current_dir(plain.get_current_dir().expect("the scene's folder")).output().expect("a shell")
}

/// Frames of a loop, a moving picture and a strip of frames are counted before they are made.
#[test]
fn loops_strips_and_moving_pictures_are_within_the_limits() {
    let scene = Scene::new();
    let refused = |args: &[&str], limit: &str, word: &str| {
        let text = scene.refused(6, &[args, &["--limit", limit]].concat());
        assert!(text.contains(word), "{args:?}, {limit}: {text}");
    };
    let render = ["render", "scene.toml", "--out", "o", "--scale", "8", "--quiet"];
    let memory = "memory=45000000";
    let plain = [&render[..], &["--limit", memory]].concat();
    scene.well(&plain);
    let _ = std::fs::remove_dir_all(scene.path("o"));
    refused(&[&render[..], &["--frames", "240"]].concat(), memory, "with fewer frames or forms");
    let pan = ["--also", "pan", "--pan-width", "512", "--pan-frames", "600"];
    refused(&[&render[..], &pan].concat(), memory, "with fewer frames or forms");
    refused(&[&render[..], &pan].concat(), "texels=20000000", "texels=");
    assert!(!scene.path("o").exists());
    let sheet = ["sheet", "--preset", "mist", "--size", "500x300", "--frames", "60", "--out", "s.png"];
    let strip = [&sheet[..], &["--strip"]].concat();
    refused(&strip, "memory=40000000", "memory=");
    refused(&strip, "texels=1000000", "texels=");
    assert!(!scene.path("s.png").exists());
    scene.well(
        &[&sheet[..2], &["mist"], &sheet[3..5], &["--out", "s.png", "--limit", "memory=40000000"]].concat(),
    );
}

/// Two small layers far from each other are a large group.
#[test]
fn a_group_of_layers_is_counted_before_it_is_put_together() {
    let scene = Scene::new();
    let mut png = std::io::Cursor::new(Vec::new());
    image::RgbaImage::from_pixel(8, 8, image::Rgba([9, 9, 9, 200]))
        .write_to(&mut png, image::ImageFormat::Png)
        .expect("a PNG");
    let layer = |x: u32, y: u32| format!("<layer name=\"l{x}\" src=\"a.png\" x=\"{x}\" y=\"{y}\"/>");
    let group = format!("<stack name=\"trees\">{}{}</stack>", layer(0, 0), layer(3000, 2000));
    let xml = format!(
        "<image version=\"0.0.3\" w=\"3008\" h=\"2008\"><stack>{group}{}</stack></image>",
        layer(40, 40)
    );
    scene.layered_with("level.ora", &xml, &[("a.png", png.get_ref())]);
    scene.write(
        "odd.toml",
        "view = [640, 360]\n[[slot]]\nname = \"trees\"\ndepth = 9\nart = \"level.ora#trees\"\nwidth = 64\n",
    );
    let text = scene.refused(6, &["plan", "odd.toml", "--limit", "memory=90000000"]);
    assert!(text.contains("level.ora#trees") && text.contains("the group takes"), "{text}");
    scene.well(&["plan", "odd.toml", "--limit", "memory=200000000"]);
}

/// However little the system has: a fault with code 6, or a run; never a signal, never a panic.
#[test]
#[cfg(target_os = "linux")]
fn where_memory_ends_a_fault_says_so() {
    let scene = Scene::new();
    let fog: String = super::util::TEXT
        .lines()
        .filter(|line| !line.contains("art") && !line.contains("repeat"))
        .fold(String::new(), |text, line| text + line + "\n");
    scene.write("fog.toml", fog);
    let run = |kilobytes: u32, args: &[&str]| {
        let plain = scene.command(args);
        let mut shell = std::process::Command::new("sh");
        shell.args(["-c", &format!("ulimit -v {kilobytes}; exec \"$0\" \"$@\"")]);
        shell.arg(plain.get_program()).args(plain.get_args()).current_dir(scene.path("."));
        shell.envs(plain.get_envs().filter_map(|(name, value)| Some((name, value?))));
        shell.output().expect("a shell")
    };
    // What the program itself needs to be loaded.
    let least = (10..60).map(|at| 1000 * at).find(|least| run(*least, &["--version"]).status.success());
    let least = least.expect("enough for the program");
    let mut codes = std::collections::BTreeSet::new();
    for more in (0..60).map(|at| 2000 * at) {
        for file in ["fog.toml", "scene.toml"] {
            let done =
                run(least + more, &["render", file, "--out", "o", "--again", "--quiet", "--scale", "8"]);
            let text = String::from_utf8_lossy(&done.stderr);
            let code = done.status.code();
            assert!(
                matches!(code, Some(0 | 6)) && !text.contains("panicked"),
                "{file}, {least} + {more} KB: {:?} {text}",
                done.status
            );
            codes.insert(code);
        }
    }
    assert_eq!(codes.len(), 2, "{codes:?}");
}

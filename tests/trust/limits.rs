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

//! `render --watch`: on every save, until Ctrl-C.

use super::util::{Scene, hill};
use std::fs;
use std::io::{BufRead, BufReader, Read};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{self, Receiver};
use std::time::{Duration, Instant};

struct Watch {
    child: Child,
    lines: Receiver<String>,
}

impl Watch {
    fn start(scene: &Scene) -> Watch {
        let mut command = scene.command(&["render", "scene.toml", "--watch"]);
        let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().expect("runs");
        let (send, lines) = mpsc::channel();
        let readers: [Box<dyn Read + Send>; 2] =
            [Box::new(child.stdout.take().expect("piped")), Box::new(child.stderr.take().expect("piped"))];
        for reader in readers {
            let send = send.clone();
            std::thread::spawn(move || {
                for line in BufReader::new(reader).lines().map_while(Result::ok) {
                    let _ = send.send(line);
                }
            });
        }
        Watch { child, lines }
    }

    /// Waits for a line that holds `words`; fails the test after a while.
    #[track_caller]
    fn until(&self, words: &str) {
        self.until_all(&[words]);
    }

    /// The same for several lines: what goes to standard output and to standard error comes in any order.
    #[track_caller]
    fn until_all(&self, words: &[&str]) {
        let end = Instant::now() + Duration::from_secs(20);
        let (mut seen, mut left) = (Vec::new(), words.to_vec());
        while let Ok(line) = self.lines.recv_timeout(end.saturating_duration_since(Instant::now())) {
            left.retain(|words| !line.contains(words));
            seen.push(line);
            if left.is_empty() {
                return;
            }
        }
        panic!("no line with {left:?} in {seen:#?}");
    }

    /// Fails the test if anything is said for a while.
    #[track_caller]
    fn silent(&self) {
        if let Ok(line) = self.lines.recv_timeout(Duration::from_millis(1500)) {
            panic!("said without a cause: {line}");
        }
    }

    fn stop(mut self) {
        let id = self.child.id().to_string();
        assert!(Command::new("kill").args(["-INT", &id]).status().expect("kill").success());
        self.until("stopped");
        assert_eq!(self.child.wait().expect("ended").code(), Some(0));
    }
}

impl Drop for Watch {
    fn drop(&mut self) {
        let _ = self.child.kill();
    }
}

#[test]
fn every_save_is_rendered_and_ctrl_c_ends_it() {
    let scene = Scene::new();
    let watch = Watch::start(&scene);
    watch.until_all(&["watching scene.toml", "made 8 of 8 files"]);
    watch.silent();

    scene.edit("scene.toml", "smear.length = 22", "smear.length = 26");
    watch.until("mid.fog.png: smear.length 22 -> 26");
    watch.until("watching");

    // As many editors save: a new file takes the old one's place.
    let text =
        fs::read_to_string(scene.path("scene.toml")).expect("text").replace("length = 26", "length = 30");
    scene.write("scene.toml~", &text);
    fs::rename(scene.path("scene.toml~"), scene.path("scene.toml")).expect("renamed");
    watch.until("mid.fog.png: smear.length 26 -> 30");
    watch.until("watching");

    scene.write("far.svg.tmp", &hill("#ff00ff"));
    fs::rename(scene.path("far.svg.tmp"), scene.path("far.svg")).expect("renamed");
    watch.until("far.art.png: its picture changed");
    watch.until("watching");

    // A folder of presets that wasn't there when it began.
    scene.write("presets/drift.toml", "title = \"Drift\"\nfrom = \"mist\"\n[smear]\nlength = 77\n");
    watch.until("nothing changed");
    watch.until("watching");
    scene.edit("scene.toml", "seed = 3", "seed = 3\npreset = \"drift\"");
    watch.until("far.fog.png: slot.preset");
    watch.until("watching");
    scene.edit("presets/drift.toml", "77", "78");
    watch.until("far.fog.png: smear.length 77 -> 78");
    watch.until("watching");
    watch.stop();
    scene.like_a_clean_run("watched");
    let drafts = fs::read_dir(scene.path("scene-sheets")).expect("read").flatten();
    assert!(drafts.into_iter().all(|entry| !entry.file_name().to_string_lossy().ends_with(".part")));
}

#[test]
fn a_saved_stroke_and_a_curve_are_rendered() {
    let scene = Scene::new();
    let stroke = |y: u32| {
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"48\" height=\"27\"><path d=\"M4 {y}H40\" stroke=\"#fff\" stroke-width=\"5\"/></svg>"
        )
    };
    scene.write("mid.strokes.svg", &stroke(8));
    scene.edit("scene.toml", "smear.length = 22", "smear.length = 22\nstrokes = \"mid.strokes.svg\"");
    let watch = Watch::start(&scene);
    watch.until("watching scene.toml");
    scene.write("mid.strokes.svg", &stroke(12));
    watch.until("mid.fog.png: its strokes changed");
    watch.until("watching");
    scene.edit("scene.toml", "strokes =", "along = [[0, 1], [20, 2]]\nstrokes =");
    watch.until("mid.fog.png: slot.along");
    watch.until("watching");
    // What isn't a drawing is told, and the last outputs stay.
    let before = scene.bytes("mid.fog.png");
    scene.write("mid.strokes.svg", "no drawing");
    watch.until("the last good outputs are kept");
    assert_eq!(scene.bytes("mid.fog.png"), before);
    scene.write("mid.strokes.svg", &stroke(12));
    watch.until("watching");
    watch.stop();
    scene.like_a_clean_run("strokes");
}

#[test]
fn the_last_good_outputs_stay_while_the_scene_is_broken() {
    let scene = Scene::new();
    let watch = Watch::start(&scene);
    watch.until("watching");
    let good = scene.files("scene-sheets");
    for (from, to, words) in [
        ("smear.length = 22", "smear.lenght = 22", "unknown key \"lenght\" in [smear]"),
        ("smear.lenght = 22", "smear.length = ", "scene.toml:"),
    ] {
        scene.edit("scene.toml", from, to);
        watch.until(words);
        watch.until("the last good outputs are kept");
        assert_eq!(scene.files("scene-sheets"), good);
    }
    watch.silent();
    // A picture that goes and comes back while the scene is broken wakes nobody for long.
    scene.edit("scene.toml", "smear.length = ", "smear.length = 31");
    watch.until("mid.fog.png: smear.length 22 -> 31");
    watch.until("watching");
    fs::remove_file(scene.path("near.svg")).expect("removed");
    watch.until("near.svg");
    watch.until("the last good outputs are kept");
    scene.write("near.svg", &hill("#010203"));
    watch.until("near.art.png: its picture changed");
    watch.until("watching");
    watch.stop();
    scene.like_a_clean_run("mended");
}

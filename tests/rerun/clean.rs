//! After any sequence of edits and reruns the outputs are those of a clean run; and two runs at once don't spoil them.

use super::util::{Dice, Scene, hill};
use std::fs;

/// A scene that is edited: slots in any order, numbers given or not.
struct Edited {
    top: Vec<String>,
    slots: Vec<(String, i32, Vec<String>)>,
    named: usize,
}

impl Edited {
    fn new() -> Edited {
        let slot = |name: &str, depth| (name.to_owned(), depth, vec![format!("art = \"{name}.svg\"")]);
        Edited { top: Vec::new(), slots: vec![slot("far", 600), slot("mid", 200), slot("near", 0)], named: 0 }
    }

    fn text(&self) -> String {
        let mut text = "view = [48, 27]\nair.haze = \"#c8ccd0\"\nrim.spread = 3\n".to_owned();
        text += &self.top.concat();
        for (name, depth, lines) in &self.slots {
            text += &format!("[[slot]]\nname = \"{name}\"\ndepth = {depth}\n");
            for line in lines {
                text += &format!("{line}\n");
            }
        }
        text
    }

    /// One edit of the scene, of a picture, or of the output folder.
    fn step(&mut self, scene: &Scene, dice: &mut Dice) {
        let number = dice.roll(60) + 1;
        let at = dice.roll(self.slots.len());
        let set = |lines: &mut Vec<String>, key: &str, value: String, end: &str| {
            lines.retain(|line| !line.starts_with(&format!("{key} ")));
            lines.push(format!("{key} = {value}{end}"));
        };
        match dice.roll(21) {
            0 => set(&mut self.top, "air.visibility", format!("{}", 200 + 20 * number), "\n"),
            1 => set(&mut self.top, "travel", number.to_string(), "\n"),
            2 => set(&mut self.top, "seed", number.to_string(), "\n"),
            3 => set(&mut self.top, "soften.sigma", (number / 4).to_string(), "\n"),
            4 => {
                let preset = ["mist", "ice-fog", "low-stratus", "steam-fog"][dice.roll(4)];
                set(&mut self.top, "preset", format!("\"{preset}\""), "\n");
            }
            5 => set(&mut self.slots[at].2, "smear.length", number.to_string(), ""),
            6 => set(&mut self.slots[at].2, "falloff.height", (3 * number).to_string(), ""),
            7 => set(&mut self.slots[at].2, "x", number.to_string(), ""),
            8 => set(&mut self.slots[at].2, "flip", number.is_multiple_of(2).to_string(), ""),
            9 => set(&mut self.slots[at].2, "fog", (!number.is_multiple_of(3)).to_string(), ""),
            10 => self.slots[at].1 = 10 * number as i32,
            11 => scene.write(
                &format!("{}.svg", ["far", "mid", "near"][dice.roll(3)]),
                &hill(&format!("#3344{:02x}", number * 4)),
            ),
            12 if self.slots.len() > 1 => drop(self.slots.remove(at)),
            13 => {
                self.named += 1;
                let name = format!("slot-{}", self.named);
                self.slots.push((name, 7 * number as i32, vec!["art = \"mid.svg\"".into()]));
            }
            14 => {
                let files: Vec<String> = scene.files("scene-sheets").into_keys().collect();
                if !files.is_empty() {
                    let _ = fs::remove_file(scene.out(&files[dice.roll(files.len())]));
                }
            }
            15 => set(&mut self.top, "rim.separation", (number % 12).to_string(), "\n"),
            16 => set(&mut self.slots[at].2, "separation", (number % 20).to_string(), ""),
            17 => set(&mut self.slots[at].2, "tint", format!("{}", (number % 5) as f64 / 4.0), ""),
            18 => {
                set(&mut self.slots[at].2, "fade", format!("\"{}\"", ["no", "top", "foot"][number % 3]), "")
            }
            19 => set(&mut self.top, "air.light", (5 * number).to_string(), "\n"),
            _ => self.slots.rotate_left(at),
        }
    }
}

/// Forty; 200 where `FOGWEFT_THOROUGH` is set, as continuous integration does.
#[test]
fn after_many_sequences_of_edits_the_outputs_are_those_of_a_clean_run() {
    let mut dice = Dice(11);
    let count = if std::env::var_os("FOGWEFT_THOROUGH").is_some() { 200 } else { 40 };
    for sequence in 0..count {
        let scene = Scene::new();
        let mut edited = Edited::new();
        scene.write("scene.toml", &edited.text());
        let mut told = String::new();
        for _ in 0..=dice.roll(4) {
            let more: &[&str] = match dice.roll(6) {
                0 => &["--again", "--quiet"],
                1 => &["--bits", "16", "--quiet"],
                2 => &["--at", "5", "--quiet"],
                _ => &["--quiet"],
            };
            let name = edited.slots[dice.roll(edited.slots.len())].0.clone();
            let only = [more, &["--only", &name]].concat();
            scene.render(if dice.roll(5) == 0 { &only } else { more }).well();
            for _ in 0..=dice.roll(3) {
                edited.step(&scene, &mut dice);
            }
            scene.write("scene.toml", &edited.text());
            told += &edited.text();
        }
        let said = scene.render(&["--prune"]).well();
        assert!(!said.out.contains("edited"), "sequence {sequence}: {}", said.out);
        scene.like_a_clean_run(&format!("sequence {sequence}\n{told}"));
        let said = scene.render(&[]).well();
        assert!(said.out.contains("nothing changed"), "sequence {sequence}: {}", said.out);
    }
}

#[test]
fn two_runs_at_once_dont_spoil_the_folder() {
    let scene = Scene::new();
    let mut refused = 0;
    for round in 0..10 {
        let spawn = || {
            let mut command = scene.command(&["render", "scene.toml", "--again", "--quiet"]);
            command.stdout(std::process::Stdio::piped()).stderr(std::process::Stdio::piped());
            command.spawn().expect("runs")
        };
        let both = [spawn(), spawn()].map(|child| child.wait_with_output().expect("ended"));
        let codes = both.each_ref().map(|done| done.status.code());
        assert!(codes.contains(&Some(0)), "round {round}: {codes:?}");
        for done in both.iter().filter(|done| !done.status.success()) {
            let text = String::from_utf8_lossy(&done.stderr);
            assert_eq!(done.status.code(), Some(5), "{text}");
            assert!(
                text.contains("another run is using this folder") && text.contains(".fogweft-lock"),
                "{text}"
            );
            refused += 1;
        }
        scene.like_a_clean_run("two at once");
    }
    println!("{refused} of 10 second runs were refused");
}

#[test]
fn a_lock_is_named_and_ends_with_its_process() {
    let scene = Scene::new();
    scene.render(&[]).well();
    let lock =
        fs::File::options().read(true).write(true).open(scene.out(".fogweft-lock")).expect("it stays behind");
    lock.try_lock().expect("nobody holds it");
    let said = scene.render(&[]);
    assert_eq!(said.code, 5);
    assert!(said.err.contains("another run is using this folder: process "), "{}", said.err);
    drop(lock);
    scene.render(&[]).well();
}

//! The limit on memory is true: what a plan says is what a run takes, about, and never less; and no combination of numbers ends the program.

use super::util::{Dice, Scene, count};
use fogweft::scene::keys::{KEYS, Kind, Section};
use std::io::Read;
use std::process::{Command, Stdio};

/// Bytes that any run takes, and those that no plan knows: the program itself, its threads' stacks.
const PROGRAM: u64 = 24 << 20;

/// The same of a process that reads pictures.
const READER: u64 = 12 << 20;

/// One over the least share of its plan that a run takes. A picture is planned as the kind that takes most while it is drawn, a PNG of another
/// size; a drawing, whose rows are sent as they come, takes a third of that.
const LEAST: u64 = 3;

fn one<T: Copy>(dice: &mut Dice, all: &[T]) -> T {
    all[dice.roll(all.len())]
}

/// A scene of slots, some with pictures, that plans some tens to hundreds of MB.
fn scene(dice: &mut Dice) -> Scene {
    let scene = Scene::new();
    let presets = [
        "advection-fog",
        "dust-haze",
        "ground-fog",
        "haze-deck",
        "ice-fog",
        "low-stratus",
        "mist",
        "steam-fog",
        "valley-fog",
    ];
    let (view, travel) =
        ([one(dice, &[640, 1280, 1920]), one(dice, &[360, 720, 1080])], one(dice, &[0, 300, 1000]));
    let mut text = format!(
        "view = {view:?}\ntravel = {travel}\nseed = {}\n[air]\nhaze = \"#c8ccd0\"\nvisibility = {}\n[rim]\nspread = {}\n",
        dice.roll(1000),
        one(dice, &[100, 900, 5000]),
        one(dice, &[3, 20])
    );
    for slot in 0..2 + dice.roll(4) {
        text += &format!(
            "[[slot]]\nname = \"s{slot}\"\ndepth = {}\n",
            slot as i64 + one(dice, &[-50, 0, 100, 600, 3000])
        );
        if dice.roll(3) == 0 {
            text += &format!("preset = \"{}\"\n", dice.of(&presets));
        }
        if dice.roll(2) == 0 {
            let [wide, tall] = [one(dice, &[200_u32, 1000, 2000]), one(dice, &[100, 500, 1500])];
            picture(&scene, &format!("s{slot}"), [wide, tall], dice);
            let ending = dice.of(&["png", "svg"]);
            text += &format!(
                "art = \"s{slot}.{ending}\"\nx = {}\nrepeat = {}\n",
                dice.roll(300),
                dice.roll(3) == 0
            );
            if dice.roll(2) == 0 {
                text += &format!("width = {}\n", one(dice, &[100, 600, 1500]));
            }
        }
    }
    scene.write("scene.toml", text);
    scene
}

/// Runs of a scene that seems to take too little: of a reader that ends between two looks at it, only what it took until then is seen.
const TRIES: usize = 4;

/// Hills as PNG and as SVG.
fn picture(scene: &Scene, name: &str, [wide, tall]: [u32; 2], dice: &mut Dice) {
    let tops: Vec<u32> = (0..9).map(|_| dice.roll(tall as usize) as u32).collect();
    let hill = |x: u32| {
        let (at, part) = ((8 * x / wide) as usize, 8 * x % wide);
        (tops[at] * (wide - part) + tops[at + 1] * part) / wide
    };
    let texel = |x, y| {
        if y < hill(x) { image::Rgba([0, 0, 0, 0]) } else { image::Rgba([70, 80, (x % 50) as u8, 255]) }
    };
    image::RgbaImage::from_fn(wide, tall, texel).save(scene.path(&format!("{name}.png"))).expect("saved");
    let points: String = (0..=8).map(|at| format!("{},{} ", at * wide / 8, tops[at as usize])).collect();
    let shape = format!("<polygon points=\"0,{tall} {points} {wide},{tall}\" fill=\"#456\"/>");
    scene.write(
        &format!("{name}.svg"),
        format!("<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{wide}\" height=\"{tall}\">{shape}</svg>"),
    );
}

/// Bytes that the program says it needs, working on one slot after the other and on as many at once as there are threads: a limit of nothing
/// makes it say so. What other forms, frames and bits need besides is looked at once the plan itself is within the limit.
fn planned(scene: &Scene, args: &[&str]) -> [u64; 2] {
    let needed = |limit: u64| {
        let limit = format!("memory={limit}");
        let done = scene.run(&[args, &["--limit", &limit]].concat());
        let text = String::from_utf8_lossy(&done.stderr).into_owned();
        let number = |before: &str| {
            let number = text.split(before).nth(1)?;
            number.split(|c: char| !c.is_ascii_digit()).next()?.parse::<u64>().ok()
        };
        let least = number("--limit memory=")?;
        assert_eq!(done.status.code(), Some(6), "{text}");
        // In whole MB.
        let most = number("of memory (").map_or(least, |megabytes| (megabytes + 1) << 20);
        Some([least, most])
    };
    let plain = needed(1).expect("what it needs");
    let whole = needed(plain[0]);
    let _ = std::fs::remove_dir_all(scene.path("o"));
    whole.unwrap_or(plain)
}

/// Bytes that a process has held at most so far; none where it has ended.
fn peak(process: u32) -> Option<u64> {
    let text = std::fs::read_to_string(format!("/proc/{process}/status")).ok()?;
    let line = text.lines().find_map(|line| line.strip_prefix("VmHWM:"))?;
    line.split_whitespace().next()?.parse().ok().map(|kilobytes: u64| kilobytes << 10)
}

/// Processes that this one has started.
fn started(process: u32) -> Vec<u32> {
    let tasks = std::fs::read_dir(format!("/proc/{process}/task")).into_iter().flatten().flatten();
    let lists = tasks.filter_map(|task| std::fs::read_to_string(task.path().join("children")).ok());
    lists.flat_map(|list| list.split(' ').filter_map(|pid| pid.parse().ok()).collect::<Vec<u32>>()).collect()
}

/// Exit code, most bytes in memory with those of all readers, how many readers there were, and what was said.
fn taken(mut command: Command) -> (Option<i32>, u64, u64, String) {
    let mut child = command.stdout(Stdio::null()).stderr(Stdio::piped()).spawn().expect("runs");
    let mut most = std::collections::BTreeMap::new();
    loop {
        let ended = child.try_wait().expect("asked");
        for process in started(child.id()).into_iter().chain([child.id()]) {
            let peak = peak(process).unwrap_or(0);
            let known = most.entry(process).or_insert(0);
            *known = peak.max(*known);
        }
        if let Some(ended) = ended {
            let mut said = String::new();
            child.stderr.take().expect("piped").read_to_string(&mut said).expect("text");
            return (ended.code(), most.values().sum(), most.len() as u64 - 1, said);
        }
        std::thread::sleep(std::time::Duration::from_millis(2));
    }
}

#[test]
fn what_is_planned_is_what_is_taken() {
    let mut wrong = Vec::new();
    let (mut least, mut most) = (f64::MAX, 0.0_f64);
    let first = count("FOGWEFT_FIRST", 0, 0);
    for round in first..first + count("FOGWEFT_ROUNDS", 12, 24) {
        let mut dice = Dice(9000 + round);
        let scene = scene(&mut dice);
        let mut args = vec!["render", "scene.toml", "--out", "o", "--quiet"];
        match dice.roll(5) {
            0 => args.extend(["--also", dice.of(&["ora", "glb", "pan", "preview", "svg", "strip"])]),
            1 => args.extend(["--frames", "4"]),
            2 => args.extend(["--bits", "16"]),
            _ => {}
        }
        let [least_planned, most_planned] = planned(&scene, &args);
        // In turns within the least that it needs, one slot after the other, and on all threads.
        let limit = format!("memory={least_planned}");
        let planned = if round % 2 == 0 { least_planned } else { most_planned };
        if round % 2 == 0 {
            args.extend(["--limit", &limit]);
        }
        let (mut bytes, mut readers) = (0, 0);
        for _ in 0..TRIES {
            let (code, more, beside, said) = taken(scene.command(&args));
            assert_eq!(code, Some(0), "{round}: {said}");
            (bytes, readers) = (bytes, readers).max((more, beside));
            if LEAST * bytes >= planned {
                break;
            }
            let _ = std::fs::remove_dir_all(scene.path("o"));
        }
        let fixed = PROGRAM + readers * READER;
        let own = bytes.saturating_sub(fixed);
        let share = own as f64 / planned as f64;
        (least, most) = (least.min(share), most.max(share));
        println!(
            "{round}: planned {} MB, taken {} MB with {readers} readers, {share:.2} {:?}",
            planned >> 20,
            bytes >> 20,
            &args[5..]
        );
        if own > planned || LEAST * bytes < planned {
            wrong.push(format!("{round}: planned {planned}, taken {bytes}, {args:?}"));
            println!("{}", std::fs::read_to_string(scene.path("scene.toml")).expect("written"));
        }
    }
    println!("from {least:.2} to {most:.2} of what was planned");
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// Both ends of what every key of a scene may hold, as `--set` takes them: those of the scene and its air, of recipes, and of slots.
fn ends() -> Vec<(String, Vec<String>)> {
    let both = |min: f64, max: f64| vec![min.to_string(), max.to_string()];
    let mut all = Vec::new();
    for key in KEYS {
        let path = match key.section() {
            Section::Scene | Section::Air | Section::Rim | Section::Texture | Section::Light => {
                key.path.to_owned()
            }
            _ if key.is_step() => key.path.to_owned(),
            Section::Slot => key.path.replace("slot.", "slot.near."),
            _ => continue,
        };
        let values = match key.kind {
            Kind::Number { min, max, endless } => {
                let more = if endless { vec!["inf".to_owned()] } else { Vec::new() };
                [both(min, max), more].concat()
            }
            Kind::Whole { min, max } => vec![min.to_string(), max.to_string()],
            Kind::FlagOrNumber { min, max } => [both(min, max), vec!["true".to_owned()]].concat(),
            Kind::Pair { min, max } => {
                vec![format!("[{min},{min}]"), format!("[{max},{max}]"), format!("[{min},{max}]")]
            }
            Kind::NumberOrPair { min, max, .. } => [both(min, max), vec![format!("[{min},{max}]")]].concat(),
            Kind::Flag => vec!["true".to_owned(), "false".to_owned()],
            Kind::Choice(words) => words.iter().map(|word| format!("\"{word}\"")).collect(),
            Kind::Fit => vec!["\"error:0.01\"".to_owned(), "\"error:9\"".to_owned()],
            Kind::Preset => vec!["\"steam-fog\"".to_owned(), "\"stratocumulus\"".to_owned()],
            Kind::ColourOr(word) => vec![format!("\"{word}\"")],
            // Words, colours, files, curves.
            _ => continue,
        };
        all.push((path, values));
    }
    all
}

/// The address space is bounded, so that what isn't counted ends the program.
#[test]
fn no_combination_of_numbers_ends_the_program() {
    let scene = Scene::new();
    let mut codes = std::collections::BTreeMap::new();
    let (all, mut uncounted) = (ends(), 0);
    assert!(all.len() > 60, "{} keys", all.len());
    for round in 0..count("FOGWEFT_COMBINATIONS", 60, 200) {
        let mut dice = Dice(77_000 + round);
        // A pair, and sometimes more.
        let sets: Vec<String> = (0..2 + dice.roll(3))
            .map(|_| {
                let (key, ends) = &all[dice.roll(all.len())];
                format!("{key}={}", ends[dice.roll(ends.len())])
            })
            .collect();
        let mut args = vec!["render", "scene.toml", "--out", "o", "--limit", "memory=300000000"];
        args.extend(["--quiet", "--scale", dice.of(&["0.5", "1", "4"])]);
        args.extend(sets.iter().flat_map(|set| ["--set", set]));
        let done = super::limits::bounded(&scene, &args);
        let text = String::from_utf8_lossy(&done.stderr);
        let code = done.status.code();
        // Some are outside what their key may hold, or ask a picture for what it has not: told with codes 2 to 4.
        assert!(
            matches!(code, Some(0 | 2 | 3 | 4 | 6)) && !text.contains("panicked"),
            "{sets:?}: {:?} {text}",
            done.status
        );
        uncounted += u32::from(text.contains("bytes were asked for"));
        *codes.entry(code).or_insert(0) += 1;
    }
    println!("exit codes: {codes:?}; {uncounted} ended where nobody had counted");
    assert!(codes.get(&Some(0)).is_some_and(|made| *made > 0), "{codes:?}");
}

/// What the system has no room for is told before it is begun, though the limit would allow it.
#[test]
fn where_the_system_has_no_more_it_is_told_with_code_6() {
    let scene = Scene::new();
    scene.write("scene.toml", super::util::TEXT.replace("[64, 36]", "[2000, 1000]"));
    let mut args = vec!["render", "scene.toml", "--out", "o", "--scale", "16"];
    for limit in ["memory=900000000000", "texels=9000000000", "side=200000"] {
        args.extend(["--limit", limit]);
    }
    let done = super::limits::bounded(&scene, &args);
    let text = super::util::told(6, &done);
    assert!(text.contains("system"), "{text}");
    assert!(!scene.path("o").exists());
}

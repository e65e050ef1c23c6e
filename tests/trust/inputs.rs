//! Whatever stands in a file, reading it ends soon, within the stated memory, and with a value or a fault that can be shown.
//!
//! Mutations of whole files: bytes, pieces that matter to the reader, numbers out of range, stretches cut, doubled or moved. Each
//! round is drawn from its number alone, so that a find is reproduced by that number: put it into [`FINDS`].

use super::crc::crc;
use super::pieces::PIECES;
use super::util::{Dice, Scene, count};
use fogweft::base::fault::Result;
use fogweft::base::limits::Limits;
use fogweft::base::report;
use fogweft::base::words::Blending;
use fogweft::plan::Plan;
use fogweft::scene::layered::{self, Layered};
use fogweft::scene::pictures::{Pictures, Source};
use fogweft::scene::read::read_text;
use fogweft::scene::recipe::shelf::Shelf;
use fogweft::store::rerun::Records;
use std::fs;
use std::path::Path;
use std::time::{Duration, Instant};

/// Rounds that once went wrong, by what they mutate.
const FINDS: &[(&str, u64)] = &[];

const SCENES: [&str; 4] = [
    include_str!("../../presets/salt-marsh/scene.toml"),
    include_str!("../../presets/shelf/scene.toml"),
    include_str!("../../presets/cloud-cableway/scene.toml"),
    include_str!("../../presets/night-quay/scene.toml"),
];

/// The longest that any one round may take, and what the whole process may hold: both as promised to users.
const SOON: Duration = Duration::from_secs(10);
const MEMORY: u64 = 2 << 20;

/// Another text: up to four edits, half the time one.
fn text(dice: &mut Dice, from: &str) -> String {
    let mut text: Vec<char> = from.chars().collect();
    for _ in 0..=dice.roll(4) * dice.roll(2) {
        let at = dice.roll(text.len() + 1);
        let end = (at + dice.roll(12)).min(text.len());
        match dice.roll(6) {
            0 => drop(text.splice(at..end, dice.of(PIECES).chars())),
            1 => drop(text.splice(at..at, dice.of(PIECES).chars())),
            2 => drop(text.drain(at..end)),
            3 => {
                // A line or more, once again elsewhere.
                let end = (at + dice.roll(200)).min(text.len());
                let part = text[at..end].to_vec();
                let to = dice.roll(text.len() + 1);
                drop(text.splice(to..to, part));
            }
            4 => {
                // The next number becomes another.
                let digit = (at..text.len()).find(|at| text[*at].is_ascii_digit());
                if let Some(start) = digit {
                    let end = (start..text.len())
                        .find(|at| !matches!(text[*at], '0'..='9' | '.'))
                        .unwrap_or(text.len());
                    let other = match dice.roll(4) {
                        0 => dice.of(&PIECES[..3]).to_owned(),
                        1 => format!("{}", dice.next() as i64),
                        2 => format!("{:e}", f64::from_bits(dice.next())),
                        _ => format!("{}", dice.roll(3)),
                    };
                    drop(text.splice(start..end, other.chars()));
                }
            }
            _ => {
                if let Some(sign) = text.get_mut(at) {
                    *sign = char::from_u32(dice.next() as u32 % 0x300).unwrap_or('?');
                }
            }
        }
    }
    text.into_iter().collect()
}

/// Another text with one number other than it was, still within reason.
fn number(dice: &mut Dice, from: &str) -> String {
    let starts: Vec<usize> = from.match_indices("= ").map(|(at, _)| at + 2).collect();
    let numbers: Vec<usize> = starts.into_iter().filter(|at| from.as_bytes()[*at].is_ascii_digit()).collect();
    let start = numbers[dice.roll(numbers.len())];
    let end = start + from[start..].find('\n').unwrap_or(0);
    let other = [0.0, 1.0, 0.001, 7.5, 90.0, 4000.0, 1e5, -3.0][dice.roll(8)];
    format!("{}{other}{}", &from[..start], &from[end..])
}

/// Other bytes: up to seven edits. The sums of a PNG's chunks are mended half the time, so that what lies behind them is reached.
fn bytes(dice: &mut Dice, from: &[u8]) -> Vec<u8> {
    let mut bytes = from.to_vec();
    for _ in 0..=dice.roll(6) * dice.roll(2) {
        let at = dice.roll(bytes.len().max(1));
        let end = (at + dice.roll(64)).min(bytes.len());
        match dice.roll(6) {
            0 if at < bytes.len() => bytes[at] ^= 1 << dice.roll(8),
            1 if at < bytes.len() => bytes[at] = dice.next() as u8,
            2 => drop(bytes.drain(at.min(end)..end)),
            3 => {
                let part = bytes[at.min(end)..end].to_vec();
                drop(bytes.splice(at..at, part));
            }
            4 => bytes.truncate(at.max(8)),
            _ => {
                let numbers = [0_u32, 1, 0x7fff_ffff, 0xffff_ffff, 65_535];
                let number = numbers[dice.roll(numbers.len())].to_be_bytes();
                for (byte, number) in bytes.iter_mut().skip(at).zip(number) {
                    *byte = number;
                }
            }
        }
    }
    if from.starts_with(b"\x89PNG") && dice.roll(2) == 0 {
        mend(&mut bytes);
    }
    bytes
}

/// Puts the right sum behind every chunk that is still whole.
fn mend(bytes: &mut [u8]) {
    let mut at = 8;
    while at + 12 <= bytes.len() {
        let length = u32::from_be_bytes(bytes[at..at + 4].try_into().expect("four")) as usize;
        let Some(end) = at.checked_add(8).and_then(|at| at.checked_add(length)) else { return };
        if end + 4 > bytes.len() {
            return;
        }
        let sum = crc(&bytes[at + 4..end]);
        bytes[end..end + 4].copy_from_slice(&sum.to_be_bytes());
        at = end + 4;
    }
}

/// Faults have messages, and can be shown.
fn shown<T>(what: &str, round: u64, result: Result<T>) -> Option<T> {
    match result {
        Ok(value) => Some(value),
        Err(faults) => {
            assert!(!faults.list.is_empty(), "{what} {round}");
            assert!(faults.list.iter().all(|fault| !fault.message.is_empty()), "{what} {round}");
            assert!((2..=6).contains(&faults.exit_code()), "{what} {round}");
            assert!(report::render(&faults, false).contains("error"), "{what} {round}");
            None
        }
    }
}

/// Rounds of `check`, those of [`FINDS`] first; the share that was read in spite of all.
fn rounds(what: &str, rounds: u64, mut check: impl FnMut(&mut Dice, u64) -> bool) {
    let finds = FINDS.iter().filter(|(of, _)| *of == what).map(|(_, round)| *round);
    let (mut read, mut longest) = (0, Duration::ZERO);
    for round in finds.chain(0..rounds) {
        let start = Instant::now();
        read += u64::from(check(&mut Dice(round.wrapping_mul(0x2545_f491_4f6c_dd1d)), round));
        let took = start.elapsed();
        assert!(took < SOON, "{what} {round} took {took:?}");
        longest = longest.max(took);
    }
    println!("{what}: {rounds} rounds, {read} read all the same, the longest {longest:?}");
    held(what);
}

/// The most memory that this process ever held is within bounds.
fn held(what: &str) {
    if let Ok(text) = fs::read_to_string("/proc/self/status") {
        let line = text.lines().find(|line| line.starts_with("VmHWM")).expect("its most");
        let most: u64 = line.split_whitespace().nth(1).expect("a number").parse().expect("a number");
        println!("{what}: at most {most} KB held");
        assert!(most < MEMORY, "{what}: {most} KB");
    }
}

#[test]
fn mutated_scenes() {
    let limits = Limits::default();
    rounds("scenes", count("FOGWEFT_TEXTS", 2000, 6000), |dice, round| {
        let from = dice.of(&SCENES);
        let text = text(dice, from);
        let scene = shown("scenes", round, read_text(Path::new("level.toml"), &text, &[], &limits, false));
        scene.is_some_and(|scene| {
            shown("plans", round, Plan::new(&scene, &Default::default(), 1.0, &limits)).is_some()
        })
    });
}

#[test]
fn mutated_overrides() {
    let limits = Limits::default();
    let sets = [
        "air.visibility=400",
        "slot.hut.smear.length=20",
        "bands.kind=ridged",
        "view=[640, 360]",
        "air.haze=#c0c0d0",
    ];
    rounds("overrides", count("FOGWEFT_TEXTS", 1000, 3000), |dice, round| {
        let mut other = |_| {
            let from = dice.of(&sets);
            text(dice, from)
        };
        let sets: Vec<String> = (0..1 + round % 3).map(&mut other).collect();
        shown("overrides", round, read_text(Path::new("level.toml"), SCENES[0], &sets, &limits, false))
            .is_some()
    });
}

#[test]
fn mutated_presets() {
    let names = Shelf::embedded().names().into_iter().map(str::to_owned).collect::<Vec<_>>();
    rounds("presets", count("FOGWEFT_TEXTS", 1000, 3000), |dice, round| {
        let mut shelf = Shelf::embedded();
        let name = &names[dice.roll(names.len())];
        let other = text(dice, shelf.text(name).expect("a preset"));
        shelf.put("mine", "mine.toml", other);
        shown("presets", round, shelf.get("mine")).is_some()
    });
}

/// Draws a picture small, if it can be read.
fn draws(what: &str, round: u64, name: &str, bytes: Vec<u8>) -> bool {
    let mut limits = Limits::default();
    limits.side = 4096;
    limits.texels = 4 << 20;
    let source = shown(what, round, Source::from_bytes(name, bytes, &limits));
    source.is_some_and(|source| {
        shown(what, round, source.draw([24, 16], false, false, Blending::Encoded, &limits)).is_some()
    })
}

#[test]
fn mutated_pngs() {
    let horse = fs::read(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/horse.png")).expect("a picture");
    let scene = Scene::new();
    scene.well(&["render", "scene.toml", "--out", "eight"]);
    scene.well(&["render", "scene.toml", "--out", "sixteen", "--bits", "16"]);
    let own = |name: &str| fs::read(scene.path(name)).expect("a picture");
    let all = [
        horse,
        own("eight/still.png"),
        own("eight/near.fog.png"),
        own("sixteen/near.fog.png"),
        own("eight/near.art.png"),
    ];
    rounds("png", count("FOGWEFT_PICTURES", 400, 1500), |dice, round| {
        let from = dice.roll(all.len());
        let bytes = bytes(dice, &all[from]);
        draws("png", round, "a.png", bytes)
    });
}

#[test]
fn mutated_svgs() {
    let all = [
        include_str!("../../presets/salt-marsh/posts.svg"),
        include_str!("../../presets/shelf/house.svg"),
        include_str!("../../presets/start/ground/ridge.svg"),
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"40\" height=\"14\"><defs><filter id=\"f\"><feGaussianBlur stdDeviation=\"3\"/></filter><linearGradient id=\"g\"><stop offset=\"0\" stop-color=\"#fff\"/></linearGradient><clipPath id=\"c\"><rect width=\"9\" height=\"9\"/></clipPath></defs><g filter=\"url(#f)\" clip-path=\"url(#c)\"><path id=\"p\" d=\"M0 14 L9 3 L22 8 L40 14 Z\" fill=\"url(#g)\"/><use href=\"#p\" x=\"4\"/></g></svg>",
    ];
    rounds("svg", count("FOGWEFT_PICTURES", 300, 1000), |dice, round| {
        let from = dice.of(&all);
        let text = text(dice, from);
        draws("svg", round, "a.svg", text.into_bytes())
    });
}

#[test]
fn mutated_layered_files() {
    let scene = Scene::new();
    scene.well(&["render", "scene.toml", "--out", "o", "--also", "ora"]);
    let whole = fs::read(scene.path("o/scene.ora")).expect("an archive");
    let mut limits = Limits::default();
    limits.side = 4096;
    limits.texels = 4 << 20;
    let file = scene.path("other.ora");
    rounds("layered files", count("FOGWEFT_PICTURES", 300, 1000), |dice, round| {
        fs::write(&file, bytes(dice, &whole)).expect("written");
        let Some(layered) = shown("layered", round, Layered::open(&file, &limits).map_err(Into::into)) else {
            return false;
        };
        layered.layers.iter().take(4).all(|layer| {
            let picture = layered::pictures(&file, &layer.name, &limits).map_err(Into::into);
            shown("layered", round, picture).is_some_and(|(_, all)| {
                all.into_iter().all(|bytes| draws("layered", round, "layer.png", bytes))
            })
        })
    });
}

/// What an earlier run left is somebody else's word too.
#[test]
fn mutated_records_of_earlier_runs() {
    let scene = Scene::new();
    scene.well(&["render", "scene.toml", "--out", "o"]);
    let [state, manifest] = [".fogweft-run.json", "manifest.json"]
        .map(|name| fs::read_to_string(scene.path("o").join(name)).expect("a record"));
    let kept = super::util::outputs(&scene.path("o"));
    let file = scene.path("o");
    rounds("records", count("FOGWEFT_TEXTS", 500, 2000), |dice, round| {
        let (name, from) =
            if dice.roll(2) == 0 { (".fogweft-run.json", &state) } else { ("manifest.json", &manifest) };
        fs::write(file.join(name), text(dice, from)).expect("written");
        let read = shown("records", round, Records::read(&file)).is_some();
        // The program itself, now and then: it makes what is missing, and keeps or renews the rest.
        if round % 50 == 0 {
            let done = scene.run(&["render", "scene.toml", "--out", "o"]);
            let said = String::from_utf8_lossy(&done.stderr);
            assert!(matches!(done.status.code(), Some(0 | 5)), "records {round}: {said}");
            for (name, bytes) in super::util::outputs(&file) {
                if let Some(whole) = kept.get(&name)
                    && name.ends_with(".png")
                {
                    assert!(bytes == *whole, "records {round}: {name}");
                }
            }
        }
        fs::write(file.join(".fogweft-run.json"), &state).expect("written");
        fs::write(file.join("manifest.json"), &manifest).expect("written");
        read
    });
}

/// Not only reading: what was read is rendered, small, by the whole program.
#[test]
fn what_is_read_is_rendered_or_refused() {
    let scene = Scene::new();
    let (mut rendered, all) = (0, count("FOGWEFT_RENDERS", 40, 200));
    for round in 0..all {
        let mut dice = Dice(round ^ 0x5eed);
        // Two in three have one edit in their numbers; the others whatever comes.
        let other = if round % 3 > 0 {
            number(&mut dice, super::util::TEXT)
        } else {
            text(&mut dice, super::util::TEXT)
        };
        scene.write("other.toml", other);
        let start = Instant::now();
        let done = scene.run(&["render", "other.toml", "--out", "other", "--scale", "0.5"]);
        let said = String::from_utf8_lossy(&done.stderr);
        assert!(!said.contains("panicked"), "{round}: {said}");
        assert!(
            matches!(done.status.code(), Some(0 | 3 | 4 | 6)),
            "{round}: {:?} {said}",
            done.status.code()
        );
        assert!(start.elapsed() < SOON, "{round} took {:?}", start.elapsed());
        rendered += u64::from(done.status.success());
        let _ = fs::remove_dir_all(scene.path("other"));
    }
    println!("{rendered} of {all} mutated scenes were rendered, the others refused");
    assert!(rendered > 0);
}

#[test]
fn arts_that_are_not_there_are_all_named_at_once() {
    let limits = Limits::default();
    let read = read_text(Path::new("no/such/level.toml"), SCENES[0], &[], &limits, false).expect("a scene");
    let Err(faults) = Pictures::open(&read, &limits) else { panic!("no pictures are there") };
    assert!(faults.list.len() >= 8, "{}", faults.list.len());
}

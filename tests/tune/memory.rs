//! A number that asks for more memory than there is leaves the page's server standing, with the unsaved edits in it.

use crate::client::{SCENE, Tune, set, value};
use serde_json::json;
use std::process::Command;

/// The address space is held to what the server has and a quarter of a GB, as on a machine that has no more.
#[test]
#[cfg_attr(windows, ignore = "nothing bounds a process's memory there from outside")]
fn a_number_that_memory_is_not_enough_for_ends_no_server() {
    let tune = Tune::start(SCENE);
    let mut page = tune.socket();
    page.picture(0, true);
    let status = std::fs::read_to_string(format!("/proc/{}/status", tune.child.id())).unwrap();
    let line = status.lines().find_map(|line| line.strip_prefix("VmSize:")).unwrap();
    let held: u64 = line.split_whitespace().next().unwrap().parse().unwrap();
    let limit = (held << 10) + (256 << 20);
    let pid = tune.child.id().to_string();
    let bounded = Command::new("prlimit").args(["--pid", &pid, &format!("--as={limit}")]).status();
    if !bounded.is_ok_and(|done| done.success()) {
        return println!("skipped: prlimit isn't there");
    }
    let edits = [
        (Some("hut"), "slot.width", json!(9000)),
        (Some("hut"), "slot.width", json!(30000)),
        (Some("hut"), "slot.width", json!(60)),
        (Some("ridge"), "slot.depth", json!(1e9)),
        (Some("ridge"), "slot.depth", json!(1e6)),
        (Some("ridge"), "slot.depth", json!(500)),
        (Some("hut"), "slot.repeat", json!(1)),
        (Some("hut"), "slot.repeat", json!(false)),
        (Some("veil"), "slot.period", json!(3e6)),
        (Some("veil"), "slot.period", json!(4000)),
        (None, "bands.size", json!(1)),
        (None, "bands.size", json!(200)),
    ];
    for (at, (slot, key, number)) in edits.into_iter().enumerate() {
        page.send(set(slot, key, number.clone()));
        page.now();
        std::thread::sleep(std::time::Duration::from_millis(200));
        let done = page.act(set(None, "air.visibility", json!(700 + at)));
        assert_eq!(done, Ok(()), "{slot:?} {key} {number}");
    }
    let stamp = page.send(set(None, "air.visibility", json!(777)));
    page.picture(stamp, true);
    assert_eq!(value(&page.now(), None, "air.visibility")[0], 777.0);
}

/// All threads of the server have one heap, of which what is free is given back: further ones kept some 50 MB of what their threads once held.
/// glibc has those at multiples of 64 MiB, and holds as much for each (`HEAP_MAX_SIZE` in its malloc/arena.c).
#[test]
#[cfg(all(target_os = "linux", target_env = "gnu"))]
fn all_threads_have_one_heap() {
    const HEAP: u64 = 64 << 20;
    let tune = Tune::start(SCENE);
    let mut page = tune.socket();
    let stamp = page.send(set(None, "air.visibility", json!(777)));
    page.picture(stamp, true);
    let maps = std::fs::read_to_string(format!("/proc/{}/maps", tune.child.id())).unwrap();
    let ends = |line: &str| -> Option<[u64; 2]> {
        let (from, to) = line.split(' ').next()?.split_once('-')?;
        Some([from, to].map(|end| u64::from_str_radix(end, 16).unwrap()))
    };
    let all: Vec<[u64; 2]> = maps.lines().filter_map(ends).collect();
    let is_heap = |pair: &&[[u64; 2]]| {
        pair[0][0].is_multiple_of(HEAP) && pair[0][1] == pair[1][0] && pair[1][1] == pair[0][0] + HEAP
    };
    let heaps: Vec<_> = all.windows(2).filter(is_heap).collect();
    assert!(heaps.is_empty(), "{heaps:x?}");
}

/// A picture that stalls its reader is told on the page, which goes on meanwhile; mended, it is drawn.
#[test]
#[cfg_attr(windows, ignore = "the clock alone bounds a reader there, later than this waits")]
fn a_picture_that_stalls_its_reader_is_told_and_the_page_goes_on() {
    let tune = Tune::with(SCENE, &["--port", "0", "--limit", "read-seconds=3"]);
    let mut page = tune.socket();
    page.picture(0, true);
    let file = tune.scene.with_file_name("hut.png");
    let before = std::fs::read(&file).unwrap();
    let rules: String = (0..20_000).map(|at| format!(".c{at}{{fill:#123}}")).collect();
    let shapes = "<rect class=\"x\" width=\"1\" height=\"1\"/>".repeat(20_000);
    let svg = "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"40\" height=\"30\">";
    std::fs::write(&file, format!("{svg}<style>{rules}</style>{shapes}</svg>")).unwrap();
    let faults = |page: &mut crate::client::Socket| page.now()["faults"].to_string();
    let (mut edits, mut told, begun) = (0, String::new(), std::time::Instant::now());
    while !told.contains("read-seconds") && begun.elapsed().as_secs() < 60 {
        let asked = std::time::Instant::now();
        assert_eq!(page.act(set(None, "air.visibility", json!(700 + edits % 50))), Ok(()));
        assert!(asked.elapsed().as_millis() < 2000, "{:?}", asked.elapsed());
        (edits, told) = (edits + 1, faults(&mut page));
        std::thread::sleep(std::time::Duration::from_millis(50));
    }
    assert!(told.contains("hut.png") && edits > 10, "{edits}: {told}");
    std::fs::write(&file, before).unwrap();
    while faults(&mut page) != "null" && begun.elapsed().as_secs() < 90 {
        std::thread::sleep(std::time::Duration::from_millis(50));
    }
    let stamp = page.send(set(None, "air.visibility", json!(777)));
    page.picture(stamp, true);
    assert_eq!(faults(&mut page), "null");
}

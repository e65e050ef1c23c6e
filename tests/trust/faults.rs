//! Faults at any moment: every file stays whole, what was there stays or is replaced, the next run finishes the work.

use super::util::{Dice, Scene, TEXT, count, outputs, told};
use std::fs;
use std::process::Command;
use std::time::{Duration, Instant, SystemTime};

/// The outputs of a clean run of `text`.
fn clean(text: &str) -> std::collections::BTreeMap<String, Vec<u8>> {
    let scene = Scene::new();
    scene.write("scene.toml", text);
    scene.well(&["render", "scene.toml", "--out", "o"]);
    outputs(&scene.path("o"))
}

fn other() -> String {
    TEXT.replace("visibility = 900", "visibility = 400")
}

#[test]
fn killed_at_any_moment_every_file_is_whole_and_old_or_new() {
    let (old, new) = (clean(TEXT), clean(&other()));
    let scene = Scene::new();
    let mut dice = Dice(5);
    let start = Instant::now();
    scene.well(&["render", "scene.toml", "--out", "o"]);
    let whole = start.elapsed();
    let kills = count("FOGWEFT_KILLS", 40, 500);
    let mut half = 0;
    for kill in 0..kills {
        let (text, from, to) =
            if kill % 2 == 0 { (other(), &old, &new) } else { (TEXT.to_owned(), &new, &old) };
        scene.write("scene.toml", &text);
        let mut child =
            scene.command(&["render", "scene.toml", "--out", "o", "--quiet"]).spawn().expect("runs");
        if dice.roll(3) == 0 {
            std::thread::sleep(whole.mul_f64(dice.roll(1100) as f64 / 1000.0));
        } else {
            // The record is renewed before the first output: from then on files are being written.
            let record = || fs::read(scene.path("o/.fogweft-run.json")).ok();
            let before = record();
            let start = Instant::now();
            while record() == before && start.elapsed() < 3 * whole {
                std::thread::yield_now();
            }
            std::thread::sleep(Duration::from_micros(dice.roll(12_000) as u64));
        }
        let _ = child.kill();
        let _ = child.wait();
        let there = outputs(&scene.path("o"));
        for (name, bytes) in &there {
            assert!(bytes == &from[name] || bytes == &to[name], "kill {kill}: {name} is neither old nor new");
        }
        half += u64::from(there != *from && there != *to);
        let said = scene.well(&["render", "scene.toml", "--out", "o"]);
        assert!(!said.contains("edited"), "kill {kill}: {said}");
        assert!(outputs(&scene.path("o")) == *to, "kill {kill}");
        let litter: Vec<_> = fs::read_dir(scene.path("o"))
            .expect("read")
            .flatten()
            .map(|entry| entry.file_name().to_string_lossy().into_owned())
            .filter(|name| name.contains("tmp") || name.contains("part"))
            .collect();
        assert!(litter.is_empty(), "kill {kill}: {litter:?}");
    }
    println!("{kills} runs killed, {half} of them between their first file and their last");
}

/// A limit on file sizes fails writes as a full disk does; the signal that comes with it is ignored.
#[test]
#[cfg_attr(windows, ignore = "a shell bounds nothing there")]
fn where_no_more_fits_the_old_files_stay() {
    let scene = Scene::new();
    scene.well(&["render", "scene.toml", "--out", "o"]);
    let before = outputs(&scene.path("o"));
    scene.write("scene.toml", other());
    let done = Command::new("bash")
        .args([
            "-c",
            "trap '' XFSZ; ulimit -f 1; exec \"$0\" render scene.toml --out o --quiet",
            env!("CARGO_BIN_EXE_fogweft"),
        ])
        .current_dir(scene.path("."))
        .output()
        .expect("bash runs");
    let text = told(5, &done);
    assert!(text.contains("o/"), "{text}");
    assert_whole_and_finished(&scene, &before);
}

/// Outputs of many lengths, and a limit between each few of them: the textures are all there, or none is.
#[test]
#[cfg_attr(windows, ignore = "a shell bounds nothing there")]
fn whichever_file_is_the_first_that_no_more_fits_the_others_are_whole() {
    const RUN: [&str; 7] = ["render", "scene.toml", "--out", "o", "--quiet", "--scale", "4"];
    let whole = Scene::new();
    whole.well(&RUN);
    let whole = outputs(&whole.path("o"));
    let is_texture = |name: &&String| name.ends_with(".png") && !name.starts_with("still");
    let textures =
        |files: &std::collections::BTreeMap<String, Vec<u8>>| files.keys().filter(is_texture).count();
    let mut kept = std::collections::BTreeSet::new();
    for kilobytes in [0, 4, 8, 16, 32, 64, 1024] {
        let scene = Scene::new();
        let script = format!("trap '' XFSZ; ulimit -f {kilobytes}; exec \"$0\" {}", RUN.join(" "));
        let done = Command::new("bash")
            .args(["-c", &script, env!("CARGO_BIN_EXE_fogweft")])
            .current_dir(scene.path("."))
            .output()
            .expect("bash runs");
        let there = outputs(&scene.path("o"));
        let cut: Vec<_> = there.iter().filter(|(name, bytes)| whole.get(*name) != Some(bytes)).collect();
        assert!(cut.is_empty(), "{kilobytes} kB: {:?}", cut[0].0);
        match done.status.code() {
            Some(0) => assert!(there == whole, "{kilobytes} kB"),
            _ => drop(told(5, &done)),
        }
        assert!([0, textures(&whole)].contains(&textures(&there)), "{kilobytes} kB: {:?}", there.keys());
        kept.insert(there.len());
    }
    assert!(kept.len() > 2 && kept.contains(&whole.len()), "{kept:?} of {}", whole.len());
}

/// What is printed is lost on a full device, and that is told; a reader that has gone is no fault.
#[test]
#[cfg_attr(windows, ignore = "there is no full device")]
fn a_full_standard_output_is_told() {
    let scene = Scene::new();
    scene.well(&["render", "scene.toml", "--out", "o"]);
    let commands: [&[&str]; 8] = [
        &["schema", "scene"],
        &["completions", "bash"],
        &["presets"],
        &["presets", "show", "mist"],
        &["plan", "scene.toml"],
        &["plan", "scene.toml", "--json"],
        &["check", "scene.toml"],
        &["render", "scene.toml", "--out", "o"],
    ];
    for args in commands {
        let full = fs::File::options().write(true).open("/dev/full").expect("the full device");
        let done = scene.command(args).stdout(full).output().expect("runs");
        let text = told(5, &done);
        assert!(text.contains("standard output"), "{args:?}: {text}");
        let plain = scene.command(args).output().expect("runs").status;
        let (reader, writer) = std::io::pipe().expect("a pipe");
        drop(reader);
        let done = scene.command(args).stdout(writer).output().expect("runs");
        assert_eq!(done.status.code(), plain.code(), "{args:?}: {}", String::from_utf8_lossy(&done.stderr));
    }
}

/// A disk of a few kilobytes, where the machine lets one be made.
#[test]
#[cfg_attr(windows, ignore = "no disk of a few kilobytes can be made there")]
fn a_full_disk_is_told_and_costs_nothing() {
    let scene = Scene::new();
    fs::create_dir(scene.path("o")).expect("made");
    // The folder as a disk of its own, in a name space of its own; the old files are copied back out.
    let script = "mount -t tmpfs -o size=48k none o && \"$0\" render scene.toml --out o --quiet; code=$?; \
                  ls -A o > listed; cp o/*.png o/*.json . 2>/dev/null; exit $code";
    let done = Command::new("unshare")
        .args(["--mount", "--map-root-user", "bash", "-c", script, env!("CARGO_BIN_EXE_fogweft")])
        .current_dir(scene.path("."))
        .output();
    let Ok(done) = done else { return println!("skipped: unshare isn't there") };
    let text = String::from_utf8_lossy(&done.stderr).into_owned();
    if text.contains("unshare:") || text.contains("mount:") {
        return println!("skipped: no disk may be made here: {text}");
    }
    told(5, &done);
    let listed = fs::read_to_string(scene.path("listed")).expect("listed");
    assert!(listed.lines().all(|name| !name.contains("tmp") && !name.contains("part")), "{listed}");
    let whole = clean(TEXT);
    for (name, bytes) in outputs(&scene.path(".")) {
        if let Some(new) = whole.get(&name) {
            assert!(bytes == *new, "{name} is cut");
        }
    }
}

/// On a disk that holds the outputs twice and a few runs' cache, run after run with other fields each: the cache makes room.
#[test]
#[cfg_attr(windows, ignore = "no disk of a few kilobytes can be made there")]
fn a_full_disk_gives_the_cache_back() {
    const RUNS: u32 = 8;
    let scene = Scene::new();
    let big = TEXT.replace("[64, 36]", "[256, 144]");
    scene.write("scene.toml", &big);
    let other = |number: u32| format!("bands.size={}", 20 + 3 * number);
    for number in 0..RUNS {
        scene.well(&[
            "render",
            "scene.toml",
            "--out",
            "free",
            "--quiet",
            "--cache",
            "100",
            "--set",
            &other(number),
        ]);
    }
    // Blocks of 4096 bytes, as a disk counts them.
    let blocks = |folder: &str| {
        let entries = fs::read_dir(scene.path(folder)).expect("a folder").flatten();
        entries
            .filter_map(|entry| entry.metadata().ok())
            .filter(fs::Metadata::is_file)
            .map(|data| 1 + data.len() / 4096)
            .sum::<u64>()
    };
    let (outputs_of, cache) = (blocks("free"), blocks("free/.fogweft-cache"));
    let disk = 2 * outputs_of + 8 + 2 * cache / u64::from(RUNS);
    assert!(outputs_of + cache > disk, "{outputs_of} blocks and {cache} of cache fit {disk}");
    fs::create_dir(scene.path("o")).expect("made");
    let runs: String = (0..RUNS)
        .map(|number| {
            format!("\"$0\" render scene.toml --out o --quiet --cache 100 --set {} || exit; ", other(number))
        })
        .collect();
    let script = format!("mount -t tmpfs -o size={}k none o || exit; {runs} cp o/*.png o/*.json .", 4 * disk);
    let done = Command::new("unshare")
        .args(["--mount", "--map-root-user", "bash", "-c", &script, env!("CARGO_BIN_EXE_fogweft")])
        .current_dir(scene.path("."))
        .output();
    let Ok(done) = done else { return println!("skipped: unshare isn't there") };
    let text = String::from_utf8_lossy(&done.stderr).into_owned();
    if text.contains("unshare:") || text.contains("mount:") {
        return println!("skipped: no disk may be made here: {text}");
    }
    assert!(done.status.success(), "{text}");
    for (name, bytes) in outputs(&scene.path("free")) {
        assert!(fs::read(scene.path(&name)).is_ok_and(|found| found == bytes), "{name}");
    }
}

fn assert_whole_and_finished(scene: &Scene, before: &std::collections::BTreeMap<String, Vec<u8>>) {
    let new = clean(&other());
    for (name, bytes) in outputs(&scene.path("o")) {
        assert!(before.get(&name) == Some(&bytes) || new.get(&name) == Some(&bytes), "{name}");
    }
    let said = scene.well(&["render", "scene.toml", "--out", "o"]);
    assert!(!said.contains("edited"), "{said}");
    assert!(outputs(&scene.path("o")) == new);
}

/// Root writes where it may not; so this runs as nobody.
#[cfg(unix)]
#[test]
fn a_folder_that_may_not_be_written_is_told() {
    let scene = Scene::new();
    for (out, word) in
        [("/proc/fogweft", "/proc/fogweft"), ("/dev/null/o", "/dev/null"), ("scene.toml", "scene.toml")]
    {
        let text = scene.refused(5, &["render", "scene.toml", "--out", out]);
        assert!(text.contains(word), "{text}");
    }
    scene.well(&["render", "scene.toml", "--out", "o"]);
    let before = outputs(&scene.path("o"));
    scene.write("scene.toml", other());
    let writable = |may: bool| {
        use std::os::unix::fs::PermissionsExt as _;
        let rights = fs::Permissions::from_mode(if may { 0o755 } else { 0o555 });
        fs::set_permissions(scene.path("o"), rights).expect("set");
    };
    writable(false);
    let root = Command::new("id").arg("-u").output().is_ok_and(|done| done.stdout == b"0\n");
    if root {
        open_to_all(&scene.path("."));
        // Where it was built nobody may have a way to it.
        fs::copy(env!("CARGO_BIN_EXE_fogweft"), scene.path("program")).expect("copied");
        let nobody = Command::new("setpriv")
            .args(["--reuid", "65534", "--clear-groups", "./program", "render", "scene.toml", "--out", "o"])
            .current_dir(scene.path("."))
            .output();
        match nobody {
            Ok(done) if done.status.code() == Some(5) => drop(told(5, &done)),
            Ok(done) if done.status.code() == Some(0) => panic!("it wrote where it may not"),
            Ok(done) => println!("skipped: nobody can't run it: {}", String::from_utf8_lossy(&done.stderr)),
            Err(error) => println!("skipped: setpriv: {error}"),
        }
    } else {
        scene.refused(5, &["render", "scene.toml", "--out", "o"]);
    }
    writable(true);
    assert!(outputs(&scene.path("o")) == before);
}

/// Lets everybody read `folder`, its files and the folders above it that are temporary.
#[cfg(unix)]
fn open_to_all(folder: &std::path::Path) {
    use std::os::unix::fs::PermissionsExt as _;
    fs::set_permissions(folder, fs::Permissions::from_mode(0o755)).expect("set");
}

/// Somebody removes and replaces files while a run is at work.
#[test]
fn files_that_go_or_change_during_a_run_are_not_lost() {
    let scene = Scene::new();
    let mut dice = Dice(17);
    let start = Instant::now();
    scene.well(&["render", "scene.toml", "--out", "o"]);
    let whole = start.elapsed();
    for round in 0..count("FOGWEFT_ROUNDS", 12, 100) {
        let text = if round % 2 == 0 { other() } else { TEXT.to_owned() };
        scene.write("scene.toml", &text);
        let mut child = scene
            .command(&["render", "scene.toml", "--out", "o", "--again", "--quiet"])
            .spawn()
            .expect("runs");
        std::thread::sleep(whole.mul_f64(dice.roll(1000) as f64 / 1000.0));
        let name = dice.of(&["near.fog.png", "far.art.png", "still.png"]);
        let painted = format!("painted in round {round}");
        let hand = dice.roll(3);
        match hand {
            0 => drop(fs::remove_file(scene.path("o").join(name))),
            1 => fs::write(scene.path("o").join(name), &painted).expect("painted"),
            _ => {
                scene.write("far.svg", format!("<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"64\" height=\"20\"><path d=\"M0 20L{} 3L64 20Z\" fill=\"#667788\"/></svg>", round + 5));
            }
        }
        let code = child.wait().expect("ended").code();
        assert!(matches!(code, Some(0 | 4 | 5)), "round {round}: {code:?}");
        if hand == 1 {
            // Painted over before the run wrote it: kept. After: the run is over it only if it never saw the hand.
            let there = fs::read(scene.path("o").join(name)).unwrap_or_default();
            let kept = there == painted.as_bytes();
            let said = scene.well(&["render", "scene.toml", "--out", "o"]);
            if kept {
                assert_eq!(
                    fs::read(scene.path("o").join(name)).expect("there"),
                    painted.as_bytes(),
                    "{said}"
                );
            }
        }
        scene.well(&["render", "scene.toml", "--out", "o", "--replace", "--prune"]);
        let own = Scene::new();
        own.write("scene.toml", &text);
        fs::copy(scene.path("far.svg"), own.path("far.svg")).expect("copied");
        own.well(&["render", "scene.toml", "--out", "o"]);
        let (there, want) = (outputs(&scene.path("o")), outputs(&own.path("o")));
        for (name, bytes) in want {
            assert!(there.get(&name) == Some(&bytes), "round {round}, hand {hand}: {name}");
        }
    }
}

/// Files from the future, as after a clock that was set back.
#[test]
fn a_clock_that_goes_back_hides_no_edit() {
    let scene = Scene::new();
    let future = SystemTime::now() + Duration::from_secs(86_400);
    let date = |name: &str, time: SystemTime| {
        fs::File::options()
            .write(true)
            .open(scene.path(name))
            .expect("opened")
            .set_modified(time)
            .expect("dated");
    };
    scene.well(&["render", "scene.toml", "--out", "o"]);
    for name in outputs(&scene.path("o")).keys() {
        date(&format!("o/{name}"), future);
    }
    for name in ["scene.toml", "far.svg", "near.svg"] {
        date(name, future);
    }
    scene.well(&["render", "scene.toml", "--out", "o"]);
    // Edited, and as long as before, now that the clock is right again.
    scene.write("scene.toml", TEXT.replace("visibility = 900", "visibility = 400"));
    scene.well(&["render", "scene.toml", "--out", "o"]);
    assert!(outputs(&scene.path("o")) == clean(&other()));
    // A picture painted over, with the very time that it had.
    let file = scene.path("o/near.fog.png");
    let mut bytes = fs::read(&file).expect("read");
    let last = bytes.len() - 20;
    bytes[last] ^= 1;
    fs::write(&file, &bytes).expect("painted");
    date("o/near.fog.png", future);
    let said = scene.well(&["render", "scene.toml", "--out", "o", "--set", "air.visibility=500"]);
    assert_eq!(fs::read(&file).expect("read"), bytes, "{said}");
}

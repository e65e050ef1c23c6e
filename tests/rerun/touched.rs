//! What somebody painted on is never lost.

use super::util::{Dice, Scene};
use std::fs;

#[test]
fn a_touched_output_stays_and_the_new_version_stands_beside() {
    let scene = Scene::new();
    scene.render(&[]).well();
    fs::write(scene.out("mid.fog.png"), "painted").expect("written");
    // As long as there is nothing new, there is nothing to put beside it.
    let said = scene.render(&[]).well();
    assert!(said.out.contains("mid.fog.png: edited since the last run, kept\n"), "{}", said.out);
    assert!(!scene.out("mid.fog.new.png").exists());

    scene.edit("scene.toml", "smear.length = 22", "smear.length = 26");
    let said = scene.render(&[]).well();
    let line = "mid.fog.png: edited since the last run, kept; the new version is mid.fog.new.png (smear.length 22 -> 26)\n";
    assert!(said.out.contains(line), "{}", said.out);
    assert_eq!(scene.bytes("mid.fog.png"), b"painted");
    scene.render(&["--out", "clean"]).well();
    assert_eq!(scene.bytes("mid.fog.new.png"), fs::read(scene.path("clean/mid.fog.png")).expect("read"));

    // Once there, it is not made again, but kept up to date.
    let times = scene.times();
    let said = scene.render(&[]).well();
    assert!(said.out.contains("mid.fog.new.png is up to date, kept\n"), "{}", said.out);
    assert_eq!(scene.renewed(&times), Vec::<String>::new());
    let old = scene.bytes("mid.fog.new.png");
    scene.edit("scene.toml", "smear.length = 26", "smear.length = 30");
    scene.render(&[]).well();
    assert_ne!(scene.bytes("mid.fog.new.png"), old);
    assert_eq!(scene.bytes("mid.fog.png"), b"painted");

    // The new version may be painted on too.
    fs::write(scene.out("mid.fog.new.png"), "painted too").expect("written");
    scene.edit("scene.toml", "smear.length = 30", "smear.length = 34");
    for _ in 0..2 {
        scene.render(&[]).well();
        assert_eq!(scene.bytes("mid.fog.new.png"), b"painted too");
        assert!(scene.out("mid.fog.new-2.png").exists() && !scene.out("mid.fog.new-3.png").exists());
    }
    let said = scene.render(&["--replace"]).well();
    assert!(said.out.contains("mid.fog.png: edited since the last run, replaced\n"), "{}", said.out);
    let _ = fs::remove_dir_all(scene.path("clean"));
    scene.render(&["--out", "clean"]).well();
    assert_eq!(scene.bytes("mid.fog.png"), fs::read(scene.path("clean/mid.fog.png")).expect("read"));
    assert_eq!(scene.bytes("mid.fog.new.png"), b"painted too", "only the output itself is replaced");
    let said = scene.render(&["--prune"]).well();
    assert!(said.out.contains("mid.fog.new-2.png: no longer part of the scene, deleted\n"), "{}", said.out);
    assert_eq!(scene.bytes("mid.fog.new.png"), b"painted too");
}

#[test]
fn who_moves_the_new_version_over_the_old_one_has_accepted_it() {
    let scene = Scene::new();
    scene.render(&[]).well();
    fs::write(scene.out("mid.fog.png"), "painted").expect("written");
    scene.edit("scene.toml", "smear.length = 22", "smear.length = 26");
    scene.render(&[]).well();
    fs::rename(scene.out("mid.fog.new.png"), scene.out("mid.fog.png")).expect("moved");
    let said = scene.render(&[]).well();
    assert!(said.out.contains("nothing changed") && !said.out.contains("edited"), "{}", said.out);
    scene.like_a_clean_run("accepted");
}

#[test]
fn the_manifest_and_the_still_are_outputs_too() {
    let scene = Scene::new();
    scene.render(&[]).well();
    let edited = fs::read_to_string(scene.out("manifest.json")).expect("text").replacen("24", "25", 1);
    fs::write(scene.out("manifest.json"), &edited).expect("written");
    fs::write(scene.out("still.png"), "painted").expect("written");
    scene.edit("scene.toml", "smear.length = 22", "smear.length = 26");
    let said = scene.render(&[]).well();
    assert!(said.out.contains("the new version is manifest.new.json"), "{}", said.out);
    assert!(said.out.contains("the new version is still.new.png"), "{}", said.out);
    assert_eq!(scene.bytes("manifest.json"), edited.as_bytes());
    assert_eq!(scene.bytes("still.png"), b"painted");
    let fresh: serde_json::Value = serde_json::from_slice(&scene.bytes("manifest.new.json")).expect("JSON");
    assert_eq!(fresh["travel"][0].as_f64(), Some(24.0));
}

#[test]
fn an_edit_that_keeps_length_and_time_is_not_lost() {
    let scene = Scene::new();
    scene.render(&[]).well();
    // Long enough for the record to trust what the disk says of its files.
    std::thread::sleep(std::time::Duration::from_millis(3200));
    scene.render(&[]).well();
    let path = scene.out("mid.fog.png");
    let written = fs::metadata(&path).and_then(|data| data.modified()).expect("a time");
    let mut bytes = scene.bytes("mid.fog.png");
    bytes[40] ^= 1;
    fs::write(&path, &bytes).expect("written");
    fs::File::options()
        .append(true)
        .open(&path)
        .and_then(|file| file.set_modified(written))
        .expect("set back");
    for more in [&[][..], &["--again"]] {
        scene.edit("scene.toml", "smear.length = ", "smear.length = 1");
        let said = scene.render(more).well();
        assert!(said.out.contains("mid.fog.png: edited"), "{}", said.out);
        assert_eq!(scene.bytes("mid.fog.png"), bytes);
    }
}

#[test]
fn files_of_slots_that_are_gone_are_listed_and_removed_only_when_asked() {
    let scene = Scene::new();
    scene.render(&[]).well();
    let before = scene.files("scene-sheets");
    let text = fs::read_to_string(scene.path("scene.toml")).expect("text");
    let mid = text.find("[[slot]]\nname = \"mid\"").expect("there");
    let near = text.find("[[slot]]\nname = \"near\"").expect("there");
    scene.write("scene.toml", &format!("{}{}", &text[..mid], &text[near..]));
    for _ in 0..2 {
        let said = scene.render(&[]).well();
        for name in ["mid.fog.png", "mid.art.png"] {
            assert!(
                said.out.contains(&format!("{name}: no longer part of the scene; --prune deletes it\n")),
                "{}",
                said.out
            );
            assert_eq!(scene.bytes(name), before[name]);
        }
    }
    fs::write(scene.out("mid.art.png"), "painted").expect("written");
    let said = scene.render(&["--prune"]).well();
    assert!(said.out.contains("mid.fog.png: no longer part of the scene, deleted\n"), "{}", said.out);
    assert!(
        said.out.contains("mid.art.png: no longer part of the scene; edited since it was made, kept\n"),
        "{}",
        said.out
    );
    assert!(!scene.out("mid.fog.png").exists());
    assert_eq!(scene.bytes("mid.art.png"), b"painted");
    // The slot comes back: its touched picture is still somebody's.
    scene.write("scene.toml", &text);
    scene.render(&[]).well();
    assert_eq!(scene.bytes("mid.art.png"), b"painted");
    assert_eq!(scene.bytes("mid.fog.png"), before["mid.fog.png"]);
}

#[test]
fn a_file_that_no_run_made_is_refused() {
    let scene = Scene::new();
    fs::create_dir(scene.path("scene-sheets")).expect("made");
    fs::write(scene.out("mid.fog.png"), "mine").expect("written");
    for more in [&[][..], &["--replace"], &["--again"]] {
        let said = scene.render(more);
        assert_eq!(said.code, 5, "{}", said.err);
        assert!(
            said.err.contains("mid.fog.png") && said.err.contains("no earlier run made it"),
            "{}",
            said.err
        );
        assert_eq!(scene.bytes("mid.fog.png"), b"mine");
    }
    // Nor is one in the way of a new version.
    fs::remove_file(scene.out("mid.fog.png")).expect("removed");
    scene.render(&[]).well();
    fs::write(scene.out("mid.fog.png"), "painted").expect("written");
    fs::write(scene.out("mid.fog.new.png"), "mine").expect("written");
    scene.edit("scene.toml", "smear.length = 22", "smear.length = 26");
    scene.render(&[]).well();
    assert_eq!(scene.bytes("mid.fog.new.png"), b"mine");
    assert!(scene.out("mid.fog.new-2.png").exists());
}

/// Of 500 files that somebody painted on in one way or another, none is lost, whatever is edited and asked for.
#[test]
fn of_500_touched_files_none_is_lost() {
    let mut dice = Dice(5);
    let scene = Scene::new();
    scene.render(&[]).well();
    let mut touched = 0;
    let mut round = 0;
    while touched < 500 {
        round += 1;
        let mut painted = Vec::new();
        for (name, bytes) in scene.files("scene-sheets") {
            if dice.roll(3) == 0 {
                continue;
            }
            let path = scene.out(&name);
            let time = fs::metadata(&path).and_then(|data| data.modified()).expect("a time");
            let mut fresh = bytes.clone();
            let at = dice.roll(bytes.len().max(1));
            match dice.roll(5) {
                0 => fresh.push(7),
                1 => fresh.truncate(at),
                2 => fresh = Vec::new(),
                3 => fresh = format!("round {round}").into_bytes(),
                _ if fresh.is_empty() => fresh.push(1),
                // Never back to what it once was.
                _ => fresh[at] = fresh[at].wrapping_add(1),
            }
            // The manifest's text must stay one, or the run asks for it to be moved away.
            if name.starts_with("manifest") {
                fresh = [bytes.as_slice(), b" "].concat();
            }
            fs::write(&path, &fresh).expect("written");
            if dice.roll(2) == 0 {
                let file = fs::File::options().append(true).open(&path).expect("opened");
                file.set_modified(time).expect("set back");
            }
            painted.push((name, fresh));
        }
        touched += painted.len();
        scene.edit("scene.toml", "visibility = ", "visibility = 1");
        if dice.roll(2) == 0 {
            scene.edit("scene.toml", "depth = 200", "depth = 210");
        }
        let more: &[&str] =
            [&[][..], &["--again"], &["--prune"], &["--only", "mid"], &["--bits", "16", "--prune"]]
                [dice.roll(5)];
        scene.render(more).well();
        for (name, bytes) in &painted {
            assert!(scene.bytes(name) == *bytes, "round {round}: {name} was lost");
        }
        let text = super::util::TEXT;
        scene.write("scene.toml", text);
        // Now and then all of it is given up, else nothing would ever be made anew.
        if round % 4 == 0 {
            scene.render(&["--replace"]).well();
        }
    }
}

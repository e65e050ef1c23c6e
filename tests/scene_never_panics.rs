//! Whatever stands in a scene file or an override, reading ends with a scene or with faults that can be shown.

#[path = "common/pieces.rs"]
mod pieces;

use fogweft::base::limits::Limits;
use fogweft::base::report::render;
use fogweft::scene::read::read_text;
use pieces::PIECES;
use proptest::prelude::*;
use std::path::Path;
use std::time::{Duration, Instant};

/// Reads and, if that fails, shows the faults; they have messages and come in the order of the file.
fn check(text: &str, sets: &[String]) {
    let file = Path::new("no/such/folder/level.toml");
    let Err(faults) = read_text(file, text, sets, &Limits::default(), true) else { return };
    assert!(!faults.list.is_empty());
    assert!(faults.list.iter().all(|fault| !fault.message.is_empty()));
    let places = faults.list.iter().filter(|fault| fault.file.as_deref() == Some(file));
    let starts: Vec<usize> = places.filter_map(|fault| fault.span.as_ref().map(|span| span.start)).collect();
    assert!(starts.is_sorted());
    for colour in [false, true] {
        assert!(render(&faults, colour).contains("error"));
    }
}

const GOOD: &str = r##"name = "Mill"
view = [1920, 1080]
travel = 2000
preset = "mist"
bands.kind = "ridged"
[air]
haze = "#c3ccd4"
visibility = 800
[falloff]
height = inf
[[slot]]
name = "reeds-near"
depth = 120.5
art = "art/reeds.png"
repeat = true
smear.length = 40
[slot.soften]
sigma = 3
[[slot]]
name = "ridge"
depth = 900
seed = 7
"##;

proptest! {
    #[test]
    fn any_text(text in any::<String>(), set in any::<String>()) {
        check(&text, &[set]);
    }

    #[test]
    fn any_lines_of_keys(
        lines in prop::collection::vec(("(view|travel|air|slot|smear|bands|name|[a-z]{1,5})(\\.(haze|length|name|kind))?", "[ -~]{0,12}"), 0..12)
    ) {
        let text: String = lines.iter().map(|(key, value)| format!("{key} = {value}\n")).collect();
        let sets: Vec<String> = lines.iter().map(|(key, value)| format!("{key}={value}")).collect();
        check(&text, &[]);
        check(GOOD, &sets);
    }

    #[test]
    fn mutated_scenes(edits in prop::collection::vec((any::<prop::sample::Index>(), 0_usize..9, 0_usize..PIECES.len()), 1..7)) {
        let mut text: Vec<char> = GOOD.chars().collect();
        for (at, cut, piece) in edits {
            let start = at.index(text.len() + 1);
            let end = (start + cut).min(text.len());
            text.splice(start..end, PIECES[piece].chars());
        }
        check(&text.into_iter().collect::<String>(), &[]);
    }

    #[test]
    fn mutated_overrides(piece in 0_usize..PIECES.len(), key in "(slot\\.(ridge|reeds-near)\\.)?(depth|smear\\.length|art|preset|air\\.haze|view)", gap in "[ =.\"]{0,3}") {
        check(GOOD, &[format!("{key}{gap}={}", PIECES[piece])]);
        check(GOOD, &[format!("{key}{gap}{}", PIECES[piece])]);
    }
}

#[test]
fn absurd_nesting_and_absurd_lengths_end_in_time() {
    let many = 60_000;
    let start = Instant::now();
    for piece in [
        "[",
        "{",
        "a.",
        "a=[",
        "a={b=",
        "[[",
        "\"",
        "a\n",
        "=",
        "[a]\n",
        "[[slot]]\n",
        "slot.",
        "#",
        "'''",
        ",",
        "\\",
        "[[a.b]]\n",
    ] {
        check(&piece.repeat(many / piece.len()), &[piece.repeat(1000)]);
        check(
            &format!("view = {}", piece.repeat(many / piece.len())),
            &[format!("view={}", piece.repeat(1000))],
        );
    }
    let keys: String = (0..20_000).map(|at| format!("k{at} = {at}\n")).collect();
    check(&keys, &[]);
    check(&format!("name = \"{}\"\nview = 3", "x".repeat(many)), &[]);
    check(&format!("view = \"{}\"", "x".repeat(many)), &[]);
    assert!(start.elapsed() < Duration::from_secs(60), "{:?}", start.elapsed());
}

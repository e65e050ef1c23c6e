//! The shelf: every preset that comes with the program, and presets built on others.

use fogweft::base::units::Px;
use fogweft::base::words::Anchor;
use fogweft::scene::recipe::layers::{Layer, Resolved};
use fogweft::scene::recipe::shelf::{Shelf, visibility_of};
use std::collections::BTreeSet;

#[test]
fn every_file_in_the_folder_is_on_the_shelf() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/presets");
    let mut files: Vec<String> = std::fs::read_dir(folder)
        .expect("the folder of presets")
        .map(|entry| entry.expect("an entry").file_name().into_string().expect("a plain name"))
        .filter_map(|name| name.strip_suffix(".toml").map(str::to_owned))
        .collect();
    files.sort();
    assert_eq!(Shelf::embedded().names(), files);
    assert!(files.len() >= 12);
}

#[test]
fn every_preset_is_whole_and_keeps_to_its_weather_word() {
    let shelf = Shelf::embedded();
    let (mut anchors, mut titles) = (BTreeSet::new(), BTreeSet::new());
    for name in shelf.names() {
        let preset = shelf.get(name).unwrap_or_else(|faults| panic!("{faults}"));
        // Classes: the international visibility code, and the limits of weather reports for mist and haze.
        let class = visibility_of(&preset.word).expect("a word with a class");
        assert!(class.contains(&preset.visibility), "{name}: {} m is no {}", preset.visibility, preset.word);
        for text in [&preset.about, &preset.definition, &preset.source] {
            assert!(text.len() > 20, "{name}: {text}");
        }
        assert!(titles.insert(preset.title.clone()), "{name}: a title twice");
        anchors.insert(format!("{:?}", preset.anchor));
        // A preset that stands on its own names every number, so that a new default changes no picture.
        let resolved = Resolved::of_preset(&preset);
        resolved.recipe().unwrap_or_else(|faults| panic!("{faults}"));
        assert!(
            resolved.settings.values().all(|setting| setting.layer == Layer::Preset(name.to_owned())),
            "{name}"
        );
    }
    assert_eq!(anchors.len(), 2, "some lie on the ground, some under the sky");
}

#[test]
fn weather_words_have_the_classes_of_the_code() {
    // Fog below 1000 m; its classes part at 50, 200 and 500 m (international visibility code); mist from 1000 m.
    for (word, inside, outside) in [
        ("dense fog", 49.0, 50.0),
        ("thick fog", 50.0, 200.0),
        ("moderate fog", 200.0, 500.0),
        ("light fog", 999.0, 1000.0),
        ("mist", 1000.0, 999.0),
        ("haze", 4999.0, 5001.0),
        ("smoke", 4999.0, 5001.0),
        ("cloud", 4999.0, 5001.0),
    ] {
        let class = visibility_of(word).expect("a class");
        assert!(class.contains(&inside) && !class.contains(&outside), "{word}");
    }
    assert_eq!(visibility_of("drizzle"), None);
}

#[test]
fn a_preset_built_on_another_takes_over_what_it_does_not_give() {
    let mut shelf = Shelf::embedded();
    shelf.put("deck", "mine/deck.toml", "title = \"Deck\"\nfrom = \"low-stratus\"\n[smear]\nlength = 7\n");
    shelf.put("thin-deck", "mine/thin-deck.toml", "title = \"Thin\"\nfrom = \"deck\"\nvisibility = 4000\n");
    let (thin, base) = (shelf.get("thin-deck").expect("good"), shelf.get("low-stratus").expect("good"));
    assert_eq!((thin.anchor, thin.visibility, &thin.word), (Anchor::Sky, 4000.0, &base.word));
    assert_eq!(thin.built_on, ["deck", "low-stratus"]);
    let resolved = Resolved::of_preset(&thin);
    assert_eq!(resolved.layer("smear.length"), Some(&Layer::Preset("deck".into())));
    assert_eq!(resolved.layer("smear.angle"), Some(&Layer::Preset("low-stratus".into())));
    assert_eq!(resolved.recipe().expect("whole").smear.length, Px(7.0));
}

#[test]
fn faulty_presets_say_what_is_wrong() {
    let message = |texts: &[(&str, &str)], name: &str| {
        let mut shelf = Shelf::embedded();
        for (name, text) in texts {
            shelf.put(*name, format!("mine/{name}.toml"), *text);
        }
        let faults = shelf.get(name).expect_err("faulty");
        assert!(faults.to_string().contains(&faults.list[0].message));
        faults.list.iter().map(|fault| fault.message.clone()).collect::<Vec<_>>().join("; ")
    };
    assert_eq!(message(&[], "elephant"), "there is no preset \"elephant\"");
    assert_eq!(
        message(&[("a", "title = \"A\"\nfrom = \"b\""), ("b", "title = \"B\"\nfrom = \"a\"")], "a"),
        "presets are built on each other: a from b from a"
    );
    assert_eq!(
        message(&[("a", "from = \"a\"\ntitle = \"A\"")], "a"),
        "presets are built on each other: a from a"
    );
    assert_eq!(
        message(&[("a", "from = \"steam-fgo\"\ntitle = \"A\"")], "a"),
        "there is no preset \"steam-fgo\""
    );
    assert_eq!(
        message(&[("a", "from = \"mist\"\ntitle = \"A\"\nvisibility = -1\n[bands]\nsize = nan")], "a"),
        "`preset.visibility` is -1, which is too small; `bands.size` is nan, which is not a number"
    );
    assert!(message(&[("a", "")], "a").starts_with("the preset has no `title`; the preset has no `word`"));
    assert_eq!(
        message(&[("a", "from = \"mist\"\ntitle = \"A\"\ntravel = 3")], "a"),
        "unknown key \"travel\" in a preset"
    );
    let chain: Vec<(String, String)> =
        (0..5000).map(|at| (format!("p{at}"), format!("title = \"P\"\nfrom = \"p{}\"", at + 1))).collect();
    let chain: Vec<(&str, &str)> = chain.iter().map(|(name, text)| (name.as_str(), text.as_str())).collect();
    assert_eq!(message(&chain[..], "p0"), "more than 32 presets are built on each other");
}

//! What each stage's key follows from: the numbers that it reads, and no others.

use crate::util::{flat_png, plan, scene_with};
use fogweft::base::key::Key as Hash;
use fogweft::base::limits::Limits;
use fogweft::base::words::Bits;
use fogweft::plan::Job;
use fogweft::scene::keys::{KEYS, Key};
use fogweft::scene::pictures::{Pictures, Source};
use fogweft::steps::field::Sampling;
use std::collections::BTreeMap;

/// A slot in which every number counts, and one in front of it.
const TEXT: &str = "view = [192, 108]\ntravel = 96\ncamera = 96\nhorizon = 50\nground = 90\nbackdrop = \"#203040\"\n\
    [air]\nhaze = \"#c8ccd0\"\naloft = \"#80a0c0\"\nvisibility = 900\nbeyond = 300\n[rim]\ndarken = true\n\
    [[slot]]\nname = \"reeds\"\ndepth = 200\nseed = 5\nperiod = 256\nart = \"reeds.png\"\nx = 4\ny = 30\n\
    haze = \"#c0b0a0\"\ntint = 0.3\nfade = \"foot\"\nstrokes = \"strokes.png\"\n\
    [[slot]]\nname = \"near\"\ndepth = 0\n";

/// The stages by a letter each: bands, field, opacity, light, sheet, drawn picture, treated picture, rim, and the
/// sheet that is a picture.
type Stages = BTreeMap<char, Hash>;

fn stages(text: &str, sets: &[String], slot: &str) -> Stages {
    let scene = scene_with(text, sets);
    let mut pictures = Pictures::default();
    for slot in &scene.slots {
        let source =
            Source::from_bytes("reeds.png", flat_png([40, 24], [60, 70, 50, 255]), &Limits::default());
        let source = source.expect("a picture");
        if let Some(place) = &slot.strokes {
            let added = pictures.add_strokes(&slot.name, place, source.clone(), &Limits::default());
            added.expect("strokes");
        }
        if slot.sheet.is_some() {
            pictures.add_sheet(&slot.name, source.clone());
        }
        if slot.art.is_some() {
            pictures.add(&slot.name, source);
        }
    }
    let plan = plan(&scene, &pictures);
    let mut all = Stages::new();
    for (job, key) in plan.files.iter().zip(plan.keys(&pictures, Bits::Eight)) {
        if job.placing().slot != slot {
            continue;
        }
        match job {
            Job::Fog(job) => {
                all.insert('b', job.spec.field.bands(Sampling::Reduced).key());
                all.insert('f', job.spec.field.key());
                all.insert('o', job.spec.opacity_key());
                all.extend(job.spec.facing_key().map(|key| ('l', key)));
                all.insert('s', key);
            }
            Job::Own(_) => drop(all.insert('w', key)),
            Job::Art(job) => {
                all.insert('d', job.untreated_key(&pictures.hash(slot, job.placing.kind), plan.blending));
                all.insert('t', key);
            }
            Job::Rim(_) => drop(all.insert('r', key)),
            Job::Lamp(_) => drop(all.insert('g', key)),
        }
    }
    all
}

/// For each key of the table but those of a preset's head another value, and the stages of the slot `reeds` that read it. With `?`
/// the bands may follow too: their grid does from the blurs, and from where there is any fog.
#[rustfmt::skip] // One row, one line.
const READ: &[(&str, &str, &str)] = &[
    ("name", "other", ""), ("view", "[160, 100]", "bfolsr"), ("also_view", "[[90, 80]]", ""), ("travel", "128", "r"), ("camera", "120", "bfolstr"),
    ("horizon", "44", "bfolstr"), ("ground", "94", "bfolstr"), ("sky", "5", ""), ("seed", "9", ""),
    ("preset", "mist", "bfolstr"), ("floor", "4", "str"), ("backdrop", "#304050", "r"),
    ("air.haze", "#d0d0d0", "str"), ("air.aloft", "#90b0d0", "sr"), ("air.glow", "#ffffff", "sr"),
    ("air.shade", "#808080", "sr"), ("air.visibility", "800", "olstr"), ("air.clear", "5000", "olstr"),
    ("air.anchor", "sky", "bfolstr"),
    ("air.light", "60", "lsr"), ("air.blending", "linear", "dtr"), ("air.beyond", "400", "olsr"), ("air.drift", "3", ""), ("air.loop_seconds", "5", ""), ("air.along", "[[0, 1], [90, 2]]", "?folstr"),
    ("light.cast", "#8090c0", "tr"), ("light.exposure", "-1", "tr"), ("light.keep", "20", ""),
    ("texture.fit", "half", ""), ("texture.alpha", "premultiplied", ""), ("texture.side", "64", ""), ("texture.trim", "true", ""),
    ("rim.separation", "9", "r"), ("rim.spread", "12", "r"), ("rim.most", "0.4", "r"), ("rim.darken", "false", "r"),
    ("rim.dark", "#101010", "r"),
    ("check.below", "0.2", ""), ("check.darkest", "3", ""), ("check.lightest", "97", ""), ("check.steady", "true", ""),
    ("check.memory", "9", ""), ("check.overdraw", "9", ""),
    ("bands.kind", "ridged", "bfolsr"), ("bands.amount", "0.31", "bfolsr"), ("bands.size", "77", "bfolsr"),
    ("bands.stretch", "3.1", "bfolsr"), ("bands.octaves", "3", "bfolsr"), ("bands.gain", "0.41", "bfolsr"),
    ("bands.lacunarity", "2.3", "bfolsr"), ("bands.coverage", "0.51", "bfolsr"), ("bands.contrast", "0.21", "bfolsr"),
    ("bands.warp", "0.3", "bfolsr"), ("bands.shape", "0.5", "bfolsr"), ("bands.flow", "5", ""), ("bands.flow_angle", "45", ""),
    ("falloff.height", "131", "?folstr"), ("falloff.beyond", "171", "?folstr"), ("falloff.lift", "7", "bfolstr"),
    ("falloff.breath", "0.11", "?folsr"), ("falloff.sway", "3", "?folsr"), ("falloff.wave", "913", "?folsr"),
    ("falloff.firm", "0.4", "?folsr"), ("falloff.heaps", "0.7", "?folsr"), ("falloff.strands", "0.3", "folsr"), ("falloff.slope", "5", "bfolstr"),
    ("smear.length", "91", "?folsr"), ("smear.angle", "7", "?folsr"),
    ("soften.sigma", "9", "?folsr"), ("soften.stretch", "1.7", "?folsr"), ("soften.torn", "0.31", "folsr"),
    ("grade.thickness", "1.3", "olsr"), ("grade.lit", "0.37", "sr"), ("grade.aloft", "431", "sr"),
    ("slot.depth", "150", "bfolstr"), ("slot.art", "other.png", ""), ("slot.x", "9", "r"), ("slot.y", "33", "tr"),
    ("slot.width", "60", "dtr"), ("slot.visible", "false", "olsdtr"), ("slot.repeat", "true", "dtr"), ("slot.flip", "true", "dtr"),
    ("slot.separation", "11", "r"), ("slot.tint", "0.5", "olstr"), ("slot.clear", "0.5", "olsr"),
    ("slot.cast", "#8090c0", "tr"), ("slot.exposure", "-1", "tr"), ("slot.keep", "20", ""),
    ("slot.fade", "top", "tr"), ("slot.fade_from", "40", "tr"),
    ("slot.fade_over", "5", "tr"), ("slot.fade_curve", "late", "tr"), ("slot.fog", "false", "bfolstr"),
    ("slot.seed", "6", "bfolsr"), ("slot.stream", "other", "bfolsr"), ("slot.preset", "mist", "bfolstr"), ("slot.anchor", "sky", "bfolstr"),
    ("slot.haze", "#a0b0c0", "str"), ("slot.haze_share", "0.9", "str"), ("slot.line", "71", "bfolstr"),
    ("slot.shrink", "0.4", "bfolstr"), ("slot.period", "300", "bfolsr"),
    ("slot.along", "[[0, 1], [90, 2]]", "?folsr"), ("slot.strokes", "other.png", ""), ("slot.strokes_x", "9", "folsr"), ("slot.strokes_y", "33", "folsr"),
    ("slot.sheet", "other.png", ""), ("slot.sheet_x", "9", ""), ("slot.sheet_y", "33", ""), ("slot.sheet_width", "60", ""),
    ("slot.strokes_width", "60", "folsr"), ("slot.strokes_weight", "0.5", "folsr"), ("slot.strokes_only", "true", "folsr"),
];

/// The keys of a scene and its slots.
fn keys() -> impl Iterator<Item = &'static Key> {
    KEYS.iter().filter(|key| {
        !["preset.", "place.", "lamp."].iter().any(|table| key.path.starts_with(table))
            && key.path != "slot.name"
    })
}

/// The path by which an override reaches it, another value, and who reads it.
fn row(key: &Key) -> (String, &'static str, &'static str) {
    let row = READ.iter().find(|row| row.0 == key.path);
    let (path, value, read) = row.unwrap_or_else(|| panic!("who reads {}?", key.path));
    let own = match (path.strip_prefix("slot."), key.is_step()) {
        (Some(name), _) => format!("slot.reeds.{name}"),
        (None, true) => format!("slot.reeds.{path}"),
        (None, false) => (*path).to_owned(),
    };
    (own, value, read)
}

/// No air, no recipe and no light changes it: how it is drawn larger or smaller, and whether it is there.
#[test]
fn a_sheet_that_is_a_picture_follows_from_it_and_its_size_alone() {
    const SIZE: [&str; 3] = ["air.blending", "slot.sheet_width", "slot.fog"];
    let text = TEXT.replace("strokes = \"strokes.png\"", "sheet = \"sheet.png\"\nsheet_x = 3");
    let before = stages(&text, &[], "reeds");
    assert_eq!(before.keys().collect::<String>(), "drtw");
    for key in keys().filter(|key| !key.path.starts_with("slot.strokes")) {
        let (own, value, _) = row(key);
        let after = stages(&text, &[format!("{own}={value}")], "reeds");
        assert_eq!(after.get(&'w') != Some(&before[&'w']), SIZE.contains(&key.path), "{own} = {value}");
        // The rim is solved on it, wherever it stands.
        if key.path.starts_with("slot.sheet_") {
            assert_ne!(after[&'r'], before[&'r'], "{own} = {value}");
        }
    }
}

#[test]
fn a_stage_follows_from_what_it_reads_and_from_nothing_else() {
    let before = stages(TEXT, &[], "reeds");
    assert_eq!(before.keys().collect::<String>(), "bdflorst");
    for key in keys().filter(|key| key.path != "slot.sheet") {
        let (own, value, read) = row(key);
        let after = stages(TEXT, &[format!("{own}={value}")], "reeds");
        for (stage, key) in &before {
            if *stage == 'b' && read.contains('?') {
                continue;
            }
            assert_eq!(
                after.get(stage) != Some(key),
                read.contains(*stage),
                "{own} = {value}: stage {stage}"
            );
        }
    }
}

#[test]
fn names_and_order_are_no_part_of_texels() {
    let before = stages(TEXT, &[], "reeds");
    // A slot's own name is part of its seed, and so of its fog; of nothing else.
    let renamed = stages(&TEXT.replace("\"reeds\"", "\"rushes\""), &[], "rushes");
    assert!(['d', 't'].iter().all(|stage| renamed[stage] == before[stage]));
    assert_eq!(stages(&TEXT.replace("\"near\"", "\"a\""), &[], "reeds"), before);
    let more = format!("{TEXT}[[slot]]\nname = \"front\"\ndepth = -10\nfog = false\n");
    assert_eq!(stages(&more, &[], "reeds"), before);
}

#[test]
fn what_nobody_sees_is_no_part_of_texels() {
    // No colour aloft: nobody reads where it would begin. No lit side: nobody reads where the light is.
    let plain = TEXT.replace("aloft = \"#80a0c0\"\n", "");
    let sets = |list: &[&str]| -> Vec<String> { list.iter().map(|set| (*set).to_owned()).collect() };
    let of = |list: &[&str]| stages(&plain, &sets(list), "reeds")[&'s'];
    assert_eq!(of(&["grade.aloft=500"]), of(&[]));
    assert_eq!(of(&["grade.lit=0", "air.light=3"]), of(&["grade.lit=0"]));
    assert_ne!(of(&["grade.lit=0"]), of(&[]));
}

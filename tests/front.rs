//! What programs call that use the library: a sheet of fog on its own, and a scene in memory.

#[path = "common/program.rs"]
mod program;

use fogweft::base::fault::{Class, Faults};
use fogweft::base::limits::Limits;
use fogweft::base::units::Camera;
use fogweft::base::words::{Anchor, Bits};
use fogweft::output::forms::Also;
use fogweft::scene::start::DEMO;
use fogweft::store::run::Sink;
use fogweft::{Fog, RenderedScene, SceneInMemory};
use program::program;
use proptest::prelude::*;
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::sync::Mutex;

/// Every file below a folder but for hidden ones, by its path with `/`.
fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    fn below(folder: &Path, path: &str, all: &mut BTreeMap<String, Vec<u8>>) {
        for entry in fs::read_dir(folder).expect("a folder").map(|entry| entry.expect("an entry")) {
            let name = entry.file_name().into_string().expect("text");
            match entry.path() {
                _ if name.starts_with('.') => {}
                path_of if path_of.is_dir() => below(&path_of, &format!("{path}{name}/"), all),
                file => drop(all.insert(format!("{path}{name}"), fs::read(file).expect("a file"))),
            }
        }
    }
    let mut all = BTreeMap::new();
    below(folder, "", &mut all);
    all
}

/// A world of the demo in memory: its scene, with all its pictures.
fn in_memory(world: &[(&str, &[u8])]) -> SceneInMemory {
    let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).expect("text");
    let (scenes, pictures): (Vec<&(&str, &[u8])>, Vec<_>) =
        world.iter().partition(|(name, _)| name.ends_with(".toml"));
    let scene = SceneInMemory::from_text(text(scenes[0].1));
    pictures.into_iter().fold(scene, |scene, (name, bytes)| scene.with_picture(*name, *bytes))
}

/// What the program leaves of a world of the demo.
fn by_program(world: &[(&str, &[u8])], args: &[&str]) -> BTreeMap<String, Vec<u8>> {
    let folder = tempfile::tempdir().expect("a folder");
    for (name, bytes) in world {
        let file = folder.path().join(name);
        fs::create_dir_all(file.parent().expect("a folder")).expect("made");
        fs::write(file, bytes).expect("written");
    }
    let args = [&["render", "scene.toml", "--out", "out", "--quiet"], args].concat();
    let output = program(folder.path(), &args).output().expect("it runs");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    files(&folder.path().join("out"))
}

fn compare(rendered: &RenderedScene, program: &BTreeMap<String, Vec<u8>>) {
    let names: Vec<&str> = rendered.files.iter().map(|file| file.name.as_str()).collect();
    assert_eq!(names, program.keys().collect::<Vec<_>>());
    for file in &rendered.files {
        assert!(file.bytes == program[&file.name], "{} differs", file.name);
    }
}

#[test]
fn a_scene_in_memory_gives_the_bytes_that_the_program_writes() {
    // At two scales with every form; the marsh has moods, which its manifest tells of.
    let rendered = Also::ALL.into_iter().fold(in_memory(DEMO), SceneInMemory::also);
    let rendered = rendered.scales([0.125, 0.25]).render().expect("rendered");
    let program =
        by_program(DEMO, &["--scale", "0.125", "--scale", "0.25", "--also", "ora,glb,pan,preview,svg,strip"]);
    assert!(rendered.files.len() > 40 && rendered.manifests.len() == 2, "{}", rendered.files.len());
    compare(&rendered, &program);
    // With everything that changes them.
    let rendered = in_memory(DEMO).scales([0.25]).bits(Bits::Sixteen).camera(Camera::new(40.0, 0.0));
    let rendered = rendered.frames(3).set("air.visibility=700").render().expect("rendered");
    let args = ["--scale=0.25", "--bits=16", "--at=40", "--frames=3", "--set=air.visibility=700"];
    compare(&rendered, &by_program(DEMO, &args));
    let manifest = rendered.file("manifest.json").expect("a manifest");
    assert_eq!(rendered.manifests[0].text().as_bytes(), manifest);
}

/// The scene of a slot with a picture.
const SMALL: &str = "view = [64, 48]\n[[slot]]\nname = \"a\"\ndepth = 100\nart = \"a.svg\"\n";
const SQUARE: &str =
    "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"9\" height=\"9\"><path d=\"M1 1h7v7H1z\"/></svg>";

/// Message and class of each fault.
fn told(faults: &Faults) -> Vec<(Class, String)> {
    faults.list.iter().map(|fault| (fault.class, format!("{} {}", fault.message, fault.remedy))).collect()
}

#[test]
fn all_that_is_wrong_with_a_scene_in_memory_is_told_at_once() {
    let scene = SceneInMemory::from_text(SMALL).with_picture("b.svg", SQUARE).scales([f64::NAN, 3.0, 3.0]);
    let faults = scene.frames(0).camera(Camera::new(f64::INFINITY, 0.0)).render().expect_err("refused");
    let told = told(&faults);
    for (class, words) in [
        (Class::Usage, "`scale` is NaN"),
        (Class::Usage, "the scale 3 is given twice"),
        (Class::Usage, "`frames` is 0"),
        (Class::Usage, "`camera` is inf"),
        (Class::Picture, "no such picture Did you mean \"b.svg\"?"),
        (Class::Usage, "no slot names this picture"),
    ] {
        assert!(told.iter().any(|(of, text)| *of == class && text.contains(words)), "{words}: {told:?}");
    }
    assert_eq!(told.len(), 6, "{told:?}");
    let layered = SMALL.replace("a.svg", "a.ora#reeds");
    let faults = SceneInMemory::from_text(layered).render().expect_err("refused");
    assert!(faults.list[0].message.contains("layer"), "{faults:?}");
    let faults = SceneInMemory::from_text("view = [0, inf]\n").render().expect_err("refused");
    assert!(faults.list.len() >= 2 && faults.list[0].class == Class::Scene, "{faults:?}");
    let mut limits = Limits::default();
    limits.text_bytes = 20;
    let faults = SceneInMemory::from_text(SMALL).limits(limits).render().expect_err("refused");
    assert_eq!((faults.list.len(), faults.list[0].class), (1, Class::Limit));
}

/// Puts down what it takes, and refuses what `refuses` names.
#[derive(Default)]
struct Listed {
    names: Mutex<Vec<String>>,
    refuses: &'static str,
}

impl Sink for Listed {
    fn take(&self, name: &str, bytes: Vec<u8>) -> fogweft::base::fault::Result<()> {
        assert!(!bytes.is_empty(), "{name}");
        if name == self.refuses {
            return Err(fogweft::base::fault::Fault::new(Class::Output, "full").into());
        }
        self.names.lock().expect("unharmed").push(name.to_owned());
        Ok(())
    }
}

#[test]
fn a_sink_gets_the_still_first_and_the_manifest_last() {
    let scene = SceneInMemory::from_text(SMALL).with_picture("a.svg", SQUARE).scales([1.0, 2.0]);
    let sink = Listed::default();
    scene.render_into(&sink).expect("rendered");
    let names = sink.names.into_inner().expect("unharmed");
    for folder in ["scale-1/", "scale-2/"] {
        let own: Vec<&String> = names.iter().filter(|name| name.starts_with(folder)).collect();
        assert_eq!(own.first(), Some(&&format!("{folder}still.png")));
        assert_eq!(own.last(), Some(&&format!("{folder}manifest.json")));
    }
    // What it refuses ends the run with its own words.
    let sink = Listed { refuses: "scale-2/a.fog.png", ..Listed::default() };
    let faults = scene.render_into(&sink).expect_err("refused");
    assert_eq!(faults.list[0].message, "full");
    assert!(!sink.names.into_inner().expect("unharmed").contains(&"scale-2/manifest.json".to_owned()));
}

#[test]
#[cfg_attr(windows, ignore = "wine can't start the Cargo that compiled it")]
fn a_program_compiles_with_what_the_first_page_shows() {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("consumer");
    let mut cargo = std::process::Command::new(env!("CARGO"));
    cargo.current_dir(env!("CARGO_MANIFEST_DIR")).env("CARGO_TARGET_DIR", folder);
    let output =
        cargo.args(["check", "--locked", "--package", "fogweft-consumer"]).output().expect("it runs");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
}

/// A sheet that is quick to make.
fn small() -> Fog {
    Fog::preset("radiation-fog").size(96, 64).line(44.0).scale(0.25)
}

#[test]
fn a_sheet_on_its_own_keeps_the_law() {
    // Bouguer-Lambert: what comes through an optical depth tau is exp(-tau) (Bohren & Clothiaux, Fundamentals of Atmospheric Radiation,
    // 2006, section 2.1; from memory). Both are drawn by splines of their own, which agree to a step of 8 bits.
    for (depth, clear) in [(0.3, 0.0), (1.0, 0.2), (4.0, 1.0)] {
        let sheet = small().optical_depth(depth).clear_depth(clear).build().expect("built");
        let (texels, density) = (sheet.rgba32f(), sheet.density());
        assert_eq!(density.len() * 4, texels.len());
        for (texel, density) in texels.as_chunks::<4>().0.iter().zip(density) {
            let through = libm::exp(-(clear + depth * f64::from(density)));
            assert!((1.0 - through - f64::from(texel[3])).abs() < 1.0 / 255.0, "{texel:?} {density}");
        }
    }
    // All depths of texels are of the same numbers.
    let sheet = small().build().expect("built");
    let (eight, sixteen, floats) = (sheet.rgba8(), sheet.rgba16(), sheet.rgba32f());
    for ((eight, sixteen), float) in eight.iter().zip(sixteen).zip(floats) {
        assert!((float * 65535.0 - f32::from(sixteen)).abs() <= 0.51, "{float} {sixteen}");
        assert!((float * 255.0 - f32::from(*eight)).abs() <= 1.01, "{float} {eight}");
    }
}

#[test]
fn the_density_of_an_even_line_has_the_mean_1_along_it() {
    for name in Fog::presets() {
        let level = Fog::preset(&name).set("falloff.sway", 0).set("falloff.slope", 0).set("soften.torn", 0);
        let sheet = level.set("falloff.lift", 0).size(256, 96).line(48.0).scale(0.2).build().expect("built");
        let around = [47, 48].map(|row| (0..256).map(|x| [x, row]).collect::<Vec<_>>());
        let mean = sheet.density_at(&around.concat()).iter().sum::<f32>() / 512.0;
        assert!((mean - 1.0).abs() < 0.05, "{name}: {mean}");
    }
}

#[test]
fn what_is_asked_of_a_sheet_is_what_comes() {
    let texels = |fog: Fog| fog.build().expect("built").rgba8();
    let own = texels(small());
    assert_eq!(own, texels(small()));
    for other in [
        small().seed(2),
        small().line(30.0),
        small().scale(0.3),
        small().optical_depth(0.5),
        small().clear_depth(0.5),
        small().haze([200, 10, 10]),
        small().glow([255, 0, 0]),
        small().shade([0, 0, 255]),
        small().aloft([0, 200, 0]),
        small().light(-45.0),
        small().anchor(Anchor::Sky),
        small().time(0.5),
        small().set("bands.size", 20),
        Fog::from_text("from = \"radiation-fog\"\ntitle = \"Own\"\nfalloff.height = 90\n")
            .size(96, 64)
            .line(44.0)
            .scale(0.25),
    ] {
        assert_ne!(own, texels(other.clone()), "{other:?}");
    }
    // Both ends of the loop are the fog at rest; the colours stand also where nothing is seen of them.
    assert_eq!(own, texels(small().time(1.0)));
    let plain = small().haze([1, 2, 3]).set("grade.lit", 0).build().expect("built").rgba8();
    assert!(plain.as_chunks::<4>().0.iter().all(|texel| texel[..3] == [1, 2, 3]));
    // Periodic: columns wrap.
    let sheet = small().build().expect("built");
    assert_eq!(sheet.density_at(&[[5, 3], [7, 99]]), sheet.density_at(&[[96 + 5, 3], [7, 63]]));
}

#[test]
fn faults_of_a_sheet_come_at_once_with_their_remedies() {
    let wrong = Fog::preset("radiation-fgo").size(0, 9).line(f64::NAN).scale(0.0).time(2.0);
    let faults = wrong.optical_depth(-1.0).build().expect_err("refused");
    assert_eq!(faults.list.len(), 6, "{faults:?}");
    assert!(faults.list.iter().all(|fault| !fault.remedy.is_empty()), "{faults:?}");
    assert!(told(&faults).iter().any(|(_, text)| text.contains("Did you mean \"radiation-fog\"?")));
    let sets = small()
        .set("bands.sise", 3)
        .set("air.visibility", 3)
        .set("bands.octaves", 2.5)
        .set("bands.size", f64::NAN);
    let faults = sets.set("bands.kind", "ridged").build().expect_err("refused");
    assert_eq!(faults.list.len(), 4, "{faults:?}");
    let mut limits = Limits::default();
    limits.octaves = 2;
    assert_eq!(small().limits(limits).build().expect_err("refused").list[0].class, Class::Limit);
    let mut limits = Limits::default();
    limits.memory = 1 << 16;
    assert_eq!(small().limits(limits).build().expect_err("refused").list[0].class, Class::Limit);
    let faults = Fog::from_text("title = 3").build().expect_err("refused");
    assert!(faults.list.iter().all(|fault| fault.class == Class::Scene), "{faults:?}");
}

/// Numbers that break what isn't checked: the ends of ranges and what lies beside them, no numbers, nothing, vast ones, any.
fn number() -> impl Strategy<Value = f64> {
    prop_oneof![
        prop::sample::select(vec![
            0.0,
            -0.0,
            1.0,
            -1.0,
            1e-3,
            9.99e-4,
            1e3,
            1001.0,
            1e6,
            -1e6,
            1e6 + 1.0,
            360.0,
            -360.0,
            361.0,
            3600.0,
            f64::NAN,
            f64::INFINITY,
            f64::NEG_INFINITY,
            f64::MAX,
            f64::MIN,
            f64::MIN_POSITIVE,
            5e-324,
        ]),
        any::<f64>(),
        -10.0..10.0f64,
    ]
}

/// Keys of recipes, and what isn't one.
fn key() -> impl Strategy<Value = String> {
    let keys = fogweft::scene::keys::KEYS.iter().filter(|key| key.is_step()).map(|key| key.path.to_owned());
    prop::sample::select(keys.chain(["bands".to_owned(), String::new()]).collect::<Vec<_>>())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, ..ProptestConfig::default() })]

    /// Whatever numbers come, the answer is a sheet of numbers that are in range, or faults that say something.
    #[test]
    fn no_number_makes_a_sheet_panic(
        name in prop::sample::select(Fog::presets()),
        size in prop_oneof![(0u32..70, 0u32..70), Just((u32::MAX, 1)), Just((1, u32::MAX)), Just((70_000, 70_000))],
        numbers in prop::array::uniform7(number()),
        tame in prop::array::uniform7(any::<bool>()),
        sets in prop::collection::vec((key(), number()), 0..3),
        seed in any::<u64>(),
        sky in any::<bool>(),
    ) {
        // All wild at once would hardly ever be built.
        let usual = [40.0, 0.2, 1.0, 0.1, 135.0, 0.3, 16.0];
        let pick = |at: usize| if tame[at] { usual[at] } else { numbers[at] };
        let mut limits = Limits::default();
        limits.memory = 256 << 20;
        let mut fog = Fog::preset(name).size(size.0, size.1).seed(seed).limits(limits);
        fog = fog.line(pick(0)).scale(pick(1)).optical_depth(pick(2)).clear_depth(pick(3)).light(pick(4));
        fog = fog.time(pick(5)).loop_seconds(pick(6));
        for (key, number) in sets {
            fog = fog.set(key, number);
        }
        if sky {
            fog = fog.anchor(Anchor::Sky);
        }
        match fog.build() {
            Ok(sheet) => {
                prop_assert!(sheet.rgba32f().iter().all(|number| (0.0..=1.0).contains(number)));
                prop_assert!(sheet.density().iter().all(|number| *number >= 0.0 && number.is_finite()));
                prop_assert_eq!(sheet.rgba8().len(), sheet.rgba16().len());
            }
            Err(faults) => {
                prop_assert!(!faults.list.is_empty());
                prop_assert!(faults.list.iter().all(|fault| !fault.message.is_empty()));
            }
        }
    }
}

#[test]
fn a_scene_in_memory_reads_no_file_that_it_builds_on() {
    let text = "from = \"../common.toml\"\nview = [64, 36]\n[[slot]]\nname = \"a\"\ndepth = 10\n";
    let faults = SceneInMemory::from_text(text).render().expect_err("a fault");
    let told = faults.to_string();
    assert!(told.contains("common.toml") && told.contains("remove `from`"), "{told}");
}

/// A veil that is a picture, drawn in vectors.
fn veil(fill: &str) -> String {
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"64\" height=\"20\"><path d=\"M0 6h64v9H0z\" fill=\"{fill}\" fill-opacity=\".6\"/></svg>"
    )
}

/// Sheets that are pictures, and strokes, are read from memory too: at all moods, the bytes are those of the program.
#[test]
fn own_sheets_and_strokes_in_memory_give_the_bytes_that_the_program_writes() {
    let text = format!(
        "{SMALL}sheet = \"a.veil.svg\"\nsheet_y = 20\n[[slot]]\nname = \"b\"\ndepth = 20\nstrokes = \"b.strokes.svg\"\nstrokes_y = 10\n\
         [mood.dusk]\nair.haze = \"#b07a60\"\n[mood.dusk.slot.a]\nsheet = \"dusk.veil.svg\"\nsheet_y = 12\n"
    );
    let (day, dusk) = (veil("#cdd"), veil("#b86"));
    let world: [(&str, &str); 5] = [
        ("scene.toml", &text),
        ("a.svg", SQUARE),
        ("a.veil.svg", &day),
        ("dusk.veil.svg", &dusk),
        ("b.strokes.svg", &veil("#fff")),
    ];
    let files: Vec<(&str, &[u8])> = world.iter().map(|(name, text)| (*name, text.as_bytes())).collect();
    for mood in [None, Some("dusk")] {
        let scene = in_memory(&files).scales([2.0]);
        let rendered = match mood {
            Some(mood) => scene.mood(mood).render(),
            None => scene.render(),
        };
        let rendered = rendered.unwrap_or_else(|faults| panic!("{faults}"));
        let args: Vec<&str> = ["--scale", "2"].into_iter().chain(mood.map(|_| "--mood=dusk")).collect();
        // In a folder a mood has one of its own.
        let program = by_program(&files, &args).into_iter();
        let program = program.map(|(name, bytes)| (name.trim_start_matches("mood-dusk/").to_owned(), bytes));
        compare(&rendered, &program.collect());
        let sheet = rendered.files.iter().find(|file| file.name.ends_with("a.fog.png")).expect("a sheet");
        let red = if mood.is_some() { 0xbb } else { 0xcc };
        let shown = image::load_from_memory(&sheet.bytes).expect("a picture").to_rgba8();
        let thick = shown.pixels().max_by_key(|texel| texel[3]).expect("texels");
        assert!(thick[0].abs_diff(red) <= 2 && thick[3] == 153, "{thick:?} is not the picture's own colour");
    }
    // One that isn't there is told by its name.
    let missing = in_memory(&files[..2]).render().expect_err("refused");
    let told = told(&missing);
    for name in ["a.veil.svg", "b.strokes.svg"] {
        assert!(missing.list.iter().any(|fault| fault.file.as_deref() == Some(Path::new(name))), "{told:?}");
    }
}

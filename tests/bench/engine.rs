//! What the engine costs, as ratios taken in one run: `cargo bench`. Prints two tables, of one sheet and of whole scenes, with each bar
//! beside what was reached, and the raw figures below; `cargo bench -- sheet` or `-- scene` prints one. Linux only where memory is read.

mod measure;
mod scene;
mod soften;

use fogweft::base::law;
use fogweft::base::limits::Limits;
use fogweft::base::words::Bits;
use fogweft::output::stream;
use fogweft::plan::{Job, Plan};
use fogweft::scene::read;
use fogweft::steps::field::Sampling;
use fogweft::steps::sheet::{Sheet, SheetSpec};
use measure::{Table, best, program, run};
use std::path::Path;

/// The recipe measured: six octaves, warped, a long smear, a wide Gaussian; lengths in texels of the sheet.
const RECIPE: [&str; 17] = [
    "bands.kind=smooth",
    "bands.amount=0.8",
    "bands.size=240",
    "bands.stretch=4",
    "bands.octaves=6",
    "bands.gain=0.5",
    "bands.lacunarity=2",
    "bands.coverage=0.6",
    "bands.contrast=0.4",
    "bands.warp=0.125",
    "falloff.height=400",
    "falloff.breath=0.5",
    "smear.length=400",
    "smear.angle=0",
    "soften.sigma=24",
    "soften.stretch=1",
    "grade.lit=0",
];

/// Width, height: the sheet that most rows measure.
const SHEET: [u32; 2] = [7680, 2160];

fn main() {
    let folder = tempfile::tempdir().expect("a folder for the files measured");
    let folder = folder.path();
    let asked: Vec<String> = std::env::args().skip(1).filter(|word| !word.starts_with('-')).collect();
    let wants = |name: &str| asked.is_empty() || asked.iter().any(|word| word == name);
    let parts = scene::PARTS.iter().filter(|(name, _)| wants("scene") || wants(name));
    let parts: Vec<scene::Part> = parts.map(|(_, part)| *part).collect();
    if wants("sheet") {
        let mut table = Table::new();
        sheet(&mut table, folder);
        table.print();
    }
    if !parts.is_empty() {
        let mut table = Table::new();
        scene::rows(&mut table, folder, &parts);
        table.print();
    }
}

fn sheet(table: &mut Table, folder: &Path) {
    one_sheet(table, folder);
    soften::rows(table);
    memory(table, folder);
    growth(table, folder);
    let start = best(20, || run(program().arg("--version")));
    table.row("`fogweft --version`, whole process, ms", 1e3 * start.time.as_secs_f64(), 5.0);
}

/// The command that writes one sheet.
fn sheet_command(size: [u32; 2], unit: f64, out: &Path) -> std::process::Command {
    let mut command = program();
    command.args(["sheet", "--preset", "mist", "--size", &format!("{}x{}", size[0], size[1])]);
    for set in RECIPE {
        command.arg("--set").arg(scaled(set, unit));
    }
    command.arg("--out").arg(out);
    command
}

/// A setting with its length times `unit`.
fn scaled(set: &str, unit: f64) -> String {
    match set.split_once('=') {
        Some((key @ ("bands.size" | "falloff.height" | "smear.length" | "soften.sigma"), number)) => {
            format!("{key}={}", number.parse::<f64>().expect("a length") * unit)
        }
        _ => set.to_owned(),
    }
}

/// The same sheet, from the library.
fn spec(size: [u32; 2]) -> SheetSpec {
    let text = format!(
        "view = [{}, {}]\npreset = \"mist\"\nhorizon = 0\n[air]\nhaze = \"#d9d4c7\"\nvisibility = {:?}\nbeyond = 1.0\n\
         [[slot]]\nname = \"sheet\"\ndepth = 0.0\nperiod = {}\ngrade.thickness = 1.0\n",
        size[0],
        size[1],
        law::DEPTH_OF_VISIBILITY,
        size[0],
    );
    let (limits, sets) = (Limits::default(), RECIPE.map(str::to_owned));
    let scene = read::read_text(Path::new("bench"), &text, &sets, &limits, true).expect("a scene");
    let plan = Plan::new(&scene, &Default::default(), 1.0, &limits).expect("a plan");
    match plan.files.into_iter().next() {
        Some(Job::Fog(job)) => job.spec,
        _ => unreachable!("one slot, one sheet"),
    }
}

fn one_sheet(table: &mut Table, folder: &Path) {
    let file = folder.join("sheet.png");
    let spec = spec(SHEET);
    let mut texels = Vec::new();
    let whole = measure::pair(
        12,
        || run(&mut sheet_command(SHEET, 1.0, &file)),
        || {
            if texels.is_empty() {
                texels = measure::rgba(&file);
            }
            measure::timed(|| measure::encode_fast(&texels, SHEET))
        },
    );
    let drawing = best(12, || {
        measure::timed(|| {
            let sheet = Sheet::new(spec.clone(), Sampling::Reduced);
            stream::draw(&sheet, SHEET[0], Bits::Eight, |band, _| {
                std::hint::black_box(band);
            })
        })
    });
    let fast = whole.1.time.as_secs_f64();
    table.raw("7680x2160 sheet, whole process", &whole.0);
    table.raw("the same as RGBA by crate png at Fast, one thread", &whole.1);
    table.raw("its rendering, all but encoding", &drawing);
    let bytes = std::fs::metadata(&file).map_or(0, |data| data.len());
    table.note(&format!(
        "its file: {bytes} bytes; by crate png at Fast: {} bytes",
        measure::encode_fast(&texels, SHEET)
    ));
    table.row("sheet, whole process / crate png's Fast", whole.0.time.as_secs_f64() / fast, 0.6);
    table.row("its rendering / crate png's Fast", drawing.time.as_secs_f64() / fast, 0.25);
}

fn memory(table: &mut Table, folder: &Path) {
    let size = [16_384, 4096];
    let big = best(3, || run(&mut sheet_command(size, 2.0, &folder.join("big.png"))));
    table.raw("16384x4096 sheet, whole process", &big);
    let rgba = f64::from(size[0]) * f64::from(size[1]) * 4.0;
    table.row("peak memory of 16384x4096 / its RGBA", big.peak as f64 / rgba, 0.2);
}

/// Sixteen times the texels: the same picture four times as large.
fn growth(table: &mut Table, folder: &Path) {
    let (small, large) = measure::pair(
        6,
        || run(&mut sheet_command([1920, 1080], 0.5, &folder.join("small.png"))),
        || run(&mut sheet_command([7680, 4320], 2.0, &folder.join("large.png"))),
    );
    table.raw("1920x1080 sheet, whole process", &small);
    table.raw("7680x4320 sheet, whole process", &large);
    table.row("time at 7680x4320 / at 1920x1080", large.time.as_secs_f64() / small.time.as_secs_f64(), 14.0);
    table.row("memory at 7680x4320 / at 1920x1080", large.peak as f64 / small.peak.max(1) as f64, 4.0);
}
